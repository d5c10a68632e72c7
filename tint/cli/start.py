"""`tint start`: a folder to begin with, from a dozen plain questions or their options."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from tint.cli import options, show
from tint.cli.keys import Command, option
from tint.cli.plan import castings_json, show_castings
from tint.errors import InputError
from tint.materials import GEOMETRIES, Base, Pigment
from tint.photographs.squares import SQUARES_FILE
from tint.planning import MOULDS_MM
from tint.starting import READERS, Answers, answers_of, base_in, cures_in, pigment_in, start, tells_what_there_is
from tint.starting.folder import SQUARES_PAGE, holds_castings, print_squares
from tint.starting.plan import is_light
from tint.weighing import AREA_CM2
from tint.weighing.premix import STEP_G

if TYPE_CHECKING:
    from tint.starting import Started

Kind = TypeVar("Kind")

_GEOMETRY = "di:8 is a sphere with gloss (SCI), de:8 without (SCE), 45:0 no sphere"
_CURE_WORDS = {"addition": "platinum", "condensation": "tin"}


@click.command("start", cls=Command)
@click.argument("folder", type=options.PATH)
@options.under(
    "Bases and pigments",
    option("--name", metavar="WORDS", help="Of the workshop.  [default: the folder's]"),
    options.several(
        "--base", "A rubber: platinum or tin, parts by mass, percent of pigment it bears, as in clear=platinum,1:1,3.",
        "NAME=CURE,MIX,BEARS", to="bases",
    ),
    options.several(
        "--pigment", "A pigment, the cures it is known to be safe with (platinum, tin, both, unknown), the most of it "
        "in percent: rose=tin,1.", "NAME[=CURES[,MOST]]", to="pigments",
    ),
    option("--white", metavar="PIGMENT", help="The white pigment, where no name says which it is."),
)  # fmt: skip
@options.under(
    "How it is read and weighed",
    options.choice("--reads", READERS, "What castings are read with.  [default: nothing yet]"),
    options.choice("--geometry", GEOMETRIES, "Of the instrument.  [default: di:8]"),
    options.several("--card", "A card.", "NAME", default="black, white", to="cards"),
    options.several("--mould", "Depth of a swatch mould.", "MM", to="moulds"),
    options.number(
        "--swatch-cm2", "Area of a swatch.", expected="cm2 of a swatch", metavar="CM2", default=AREA_CM2, to="area_cm2"
    ),
    options.number("--scale-step", "Smallest step of the scale.  [default: 0.01]", expected="grams", metavar="G"),
    options.number("--scale-max", "The most that it carries.", expected="grams", metavar="G"),
    options.flag("--workbook", "All tables as sheets of one swatches.xlsx."),
    options.flag("--squares", "Label squares for `tint photograph`, of castings that are there too."),
)  # fmt: skip
@options.as_json
def command(folder: Path, area_cm2: float, workbook: bool, squares: bool, **told: Any) -> None:
    """Begin a swatch folder, with a plan of what to pour first.

    Example: tint start swatches_demo/mine --base clear=platinum,1:1,3 --pigment white=both --pigment blue=platinum

    At a terminal it asks for what the options leave open. It writes palette.toml with every key explained, swatches.csv
    with the planned castings, and a plan to print. Files that are there stay as they are.
    """
    answers = None
    if not tells_what_there_is(folder):
        answers = _answers(folder, told, ask=at_a_terminal() and not show.asked_for_json())
    elif any(value for value in told.values()):
        found = "tells what there is already, in palette.toml or swatches.xlsx"
        raise InputError(str(folder), found, mend="change that file itself, or name another folder")
    if squares and holds_castings(folder):
        _print_squares(folder, area_cm2)
        return
    begun = start(folder, answers, area_cm2=area_cm2, workbook=workbook, squares=squares)
    told = {
        "folder": str(begun.folder), **show.fields(begun, "written", "kept"), **castings_json(begun.plan),
        "next": begun.next_steps,
    }  # fmt: skip
    show.answer(told, lambda out: _show(out, begun))


def _print_squares(folder: Path, area_cm2: float) -> None:
    labels = print_squares(folder, area_cm2=area_cm2)
    written = [str(folder / name) for name in (SQUARES_FILE, SQUARES_PAGE)]

    def page(out: show.Page) -> None:
        out.title(f"Label squares: {folder}", f"{len(labels.squares)} in all, {labels.new} of them new")
        out.print(f"Written: {' and '.join(written)}.")
        out.print(
            f"Print {SQUARES_PAGE}, cut it up, and lay each casting right of its square, with a colour chart in the "
            f"picture. Then run `tint photograph PICTURE {folder} --out colours.csv`."
        )

    show.answer({"squares": labels.squares, "new": labels.new, "written": written}, page)


def at_a_terminal() -> bool:
    return sys.stdin.isatty() and sys.stdout.isatty()


# Answers, from options and from questions.


def _answers(folder: Path, told: dict[str, Any], *, ask: bool) -> Answers:
    name = told["name"] or (_ask("Name of the workshop", folder.resolve().name) if ask else folder.resolve().name)
    bases = [base_in(each) for each in told["bases"]] or (_ask_bases() if ask else [])
    pigments = [pigment_in(each) for each in told["pigments"]] or (_ask_pigments(bases) if ask else [])
    reads = told["reads"] or (_ask("What do you read castings with", "nothing", READERS) if ask else "nothing")
    geometry = told["geometry"] or ""
    if ask and not geometry and reads in ("spectrophotometer", "colorimeter"):
        geometry = _ask(f"Its geometry, as its manual tells it: {_GEOMETRY}", "di:8", GEOMETRIES)
    moulds = [options.number_in(each, "--mould", "millimetres") for each in told["moulds"]]
    moulds = moulds or (_ask_moulds() if ask else list(MOULDS_MM))
    step = told["scale_step"] or (_ask_number("Smallest step of the scale, in grams", STEP_G) if ask else STEP_G)
    cards = told["cards"] or (_ask_names("Cards to read over, dark one first", "black, white") if ask else ())
    white = told["white"] or ""
    if not white and ask and not any(map(is_light, pigments)):
        white = _again(partial(_ask_white, pigments))
    return answers_of(
        name=name, bases=bases, pigments=pigments, white=white, reads=reads, geometry=geometry,
        cards=cards, moulds_mm=moulds, scale_step_g=step, scale_max_g=told["scale_max"],
    )  # fmt: skip


def _ask(question: str, default: str, choices: tuple[str, ...] = ()) -> str:
    kind = click.Choice(choices) if choices else None
    answer: str = click.prompt(question, type=kind, default=default, show_default=bool(default), err=True)
    return answer.strip()


def _again(ask: Callable[[], Kind]) -> Kind:
    """Ask until the answer can be read; what is wrong with it is told."""
    while True:
        try:
            return ask()
        except InputError as error:
            click.echo(str(error), err=True)


def _ask_number(question: str, default: float) -> float:
    return _again(lambda: options.number_in(_ask(question, f"{default:g}"), question, "a number"))


def _ask_names(question: str, default: str) -> list[str]:
    return [name.strip() for name in _ask(question, default).split(",") if name.strip()]


def _ask_moulds() -> list[float]:
    question, default = "Depths of the moulds for swatches, in mm", ", ".join(f"{depth:g}" for depth in MOULDS_MM)
    return _again(
        lambda: [options.number_in(each, "moulds", "millimetres") for each in _ask(question, default).split(",")]
    )


def _ask_bases() -> list[Base]:
    def one(name: str) -> Base:
        cure = _ask(f"{name}: how does it cure", "platinum", ("platinum", "tin"))
        ratio = "1:1" if cure == "platinum" else "100:5"
        mixed = _again(lambda: base_in(f"{name}={cure},{_ask(f'{name}: mixing ratio by mass, A:B', ratio)}"))
        mix = ":".join(f"{share:g}" for share in mixed.mix.values())
        bears = f"{name}: percent of pigment that it bears, all together (its data sheet, else 3)"
        return _again(lambda: base_in(f"{name}={cure},{mix},{_ask(bears, '3')}"))

    names = _ask_names("Your rubber, or rubbers, by a short name each", "clear")
    return [_again(partial(one, name)) for name in names]


def _ask_pigments(bases: list[Base]) -> list[Pigment]:
    question = "Your pigments, with commas between"
    pigments = _again(lambda: {name: pigment_in(name) for name in _ask_names(question, "white, black")})
    for cure in dict.fromkeys(base.cure for base in bases):
        word = _CURE_WORDS[cure]
        for name in _again(partial(_ask_safe, pigments, word)):
            cures = pigments[name].cures or ()
            pigments[name] = replace(pigments[name], cures=(*cures, *(cures_in(word, name) or ())))
    return list(pigments.values())


def _ask_white(pigments: list[Pigment]) -> str:
    white = _ask("Which pigment is the white that tints are made with (blank for none)", "")
    if white:
        options.known(white, [each.name for each in pigments], "pigment")
    return white


def _ask_safe(pigments: Mapping[str, Pigment], cure: str) -> list[str]:
    said = _ask_names(f"Which of them are known to be safe with {cure} cure (names, all or none)", "none")
    safe = list(pigments) if said == ["all"] else [] if said == ["none"] else said
    for name in safe:
        options.known(name, pigments, "pigment")
    return safe


# What was begun.


def _show(out: show.Page, begun: Started) -> None:
    written = f"written: {', '.join(begun.written)}" if begun.written else "nothing was written"
    kept = f"; there before and left alone: {', '.join(begun.kept)}" if begun.kept else ""
    out.title(f"Begun: {begun.folder}", written + kept)
    show_castings(out, begun.plan)
    out.print()
    for at, step in enumerate(begun.next_steps, start=1):
        out.print(f"{at}. {step}")
