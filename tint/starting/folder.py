"""A swatch folder to begin with, its label squares, and what to do next; nothing is written over."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tint.errors import FolderError, Gathered, InputError
from tint.files import csv_table, write_all, write_whole
from tint.photographs.squares import CASTING, CELLS, MARGIN, NUMBERS, SQUARES_FILE, Square, cells_of
from tint.photographs.tables import read_squares, squares_csv
from tint.starting.answers import Answers, instrument_keys, palette_text
from tint.starting.plan import CastingPlan, plan_castings, plan_page
from tint.swatches import PALETTE_FILE, READINGS_FILE, SWATCHES_FILE, read_declared
from tint.swatches.blank_workbook import blank_workbook
from tint.swatches.declaration import Declared, read_declaration
from tint.swatches.folder import read_cast
from tint.swatches.records import COLOUR_COLUMNS
from tint.swatches.workbook import BOOK_FILE, MIX
from tint.weighing import AREA_CM2

PLAN_FILE, SQUARES_PAGE = "casting-plan.html", "squares.html"
_TABLES = (PALETTE_FILE, SWATCHES_FILE, READINGS_FILE, BOOK_FILE)


@dataclass(frozen=True, kw_only=True)
class Started:
    """What was begun."""

    folder: Path
    plan: CastingPlan
    # files that were written, and those that were there and stay as they were
    written: tuple[str, ...]
    kept: tuple[str, ...]
    next_steps: tuple[str, ...]  # three lines


def start(
    folder: Path, answers: Answers | None, *, area_cm2: float = AREA_CM2, workbook: bool = False, squares: bool = False
) -> Started:
    """Write what a folder lacks: palette.toml, swatches.csv with the planned castings, and the plan to print.

    The folder is made if need be. `answers` need not tell what the folder tells. A swatch has an area [cm2]. All tables
    go into one swatches.xlsx if `workbook`; if `squares`, the plan has label squares even where castings are not read
    by a telephone. InputError if nothing tells what the workshop has, or the folder cannot be written to; FolderError
    if the folder tells what there is, and is at fault.
    """
    _check_area(area_cm2)
    try:
        str(folder).encode()
    except UnicodeEncodeError as error:
        raise InputError(ascii(str(folder)), "the name holds what is no letter", mend="name it in letters") from error
    if folder.exists() and not folder.is_dir():
        raise InputError(str(folder), "is a file", "expected the name of a folder")
    there = tuple(name for name in (*_TABLES, PLAN_FILE) if (folder / name).exists())
    if tells_what_there_is(folder):
        answers, declared = None, read_declared(folder)
    elif answers is None:
        mend = "tell what there is: --base clear=platinum,1:1,3 --pigment white=both ..."
        raise InputError(str(folder), f"holds no {PALETTE_FILE}", mend=mend)
    else:
        declared = _as_declared(answers)
    plan = plan_castings(declared, area_cm2=area_cm2)
    labels = _planned_labels(folder, declared, plan, asked=squares) if squares or plan.photographed else None
    contents = _contents(declared, answers, plan, workbook=workbook, there=there, labels=labels)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(str(folder), f"cannot be made ({error.strerror})", mend="choose another place") from error
    for name, content in contents.items():
        write_whole(folder / name, content)
    book = BOOK_FILE in (*there, *contents)
    steps = _next_steps(folder, plan, printed=PLAN_FILE in contents, book=book, squares=labels is not None)
    return Started(folder=folder, plan=plan, written=tuple(contents), kept=there, next_steps=steps)


def _check_area(area_cm2: float) -> None:
    if not 1.0 <= area_cm2 <= 1000.0:
        raise InputError("swatch", f"{area_cm2:g} cm2", "1 to 1000 cm2")


def tells_what_there_is(folder: Path) -> bool:
    """Whether a folder declares bases and pigments already."""
    return any((folder / name).exists() for name in (PALETTE_FILE, BOOK_FILE))


def holds_castings(folder: Path) -> bool:
    """Whether a folder tells castings already."""
    return any((folder / name).exists() for name in (SWATCHES_FILE, BOOK_FILE))


def _as_declared(answers: Answers) -> Declared:
    faults = Gathered(PALETTE_FILE)
    declared = read_declaration(palette_text(answers), faults, folder_name=answers.name)
    grave = [fault for fault in faults.faults if fault.grave]
    if declared is None or grave:
        raise FolderError(PALETTE_FILE, grave)
    return declared


def _planned_labels(folder: Path, declared: Declared, plan: CastingPlan, *, asked: bool) -> Labels | None:
    """The label squares of the planned castings; None where nobody asked for them and nothing draws them."""
    try:
        return _labels(folder, [cup.name for cup in plan.sheet.cups], declared, plan.area_cm2)
    except InputError:
        if asked:
            raise
        return None


def _contents(
    declared: Declared, answers: Answers | None, plan: CastingPlan, *, workbook: bool, there: tuple[str, ...],
    labels: Labels | None,
) -> dict[str, bytes]:  # fmt: skip
    """The files that are to be written, all of them made before the first is."""
    contents: dict[str, bytes] = {}
    cast = BOOK_FILE in there or SWATCHES_FILE in there
    castings: list[dict[str, object]] = [
        {
            "swatch": cup.name, "base": cup.blend.base, "thickness_mm": cup.thickness_mm, **cup.blend.loadings,
            "note": f"planned: {casting.reason}",
        }
        for casting, cup in zip(plan.castings, plan.sheet.cups, strict=True)
    ]  # fmt: skip
    if answers is not None and workbook and not cast:
        contents[BOOK_FILE] = _begun_workbook(answers, castings, colours=plan.colours)
    elif answers is not None:
        contents[PALETTE_FILE] = palette_text(answers).encode()
    if not cast and BOOK_FILE not in contents:
        columns = ("swatch", "base", "thickness_mm", *declared.pigments, "note")
        cells = [[each.get(column, "") for column in columns] for each in castings]
        rows = [[f"{cell:g}" if isinstance(cell, float) else cell for cell in row] for row in cells]
        contents[SWATCHES_FILE] = csv_table([columns, *rows])
        if plan.colours and READINGS_FILE not in there:
            contents[READINGS_FILE] = csv_table([("swatch", "backing", "seat", "source", *COLOUR_COLUMNS)])
    if not cast and PLAN_FILE not in there:  # castings that are there are not those of a new plan
        contents[PLAN_FILE] = plan_page(plan, title=declared.name, squares=None if labels is None else labels.told)
        if labels is not None:
            contents[SQUARES_FILE] = labels.table
    return contents


def _begun_workbook(answers: Answers, castings: Sequence[dict[str, object]], *, colours: bool) -> bytes:
    """What the workshop has and what it pours first, as the bytes of swatches.xlsx; InputError without openpyxl."""
    shop = answers.workshop
    depths = ", ".join(f"{depth:g}" for depth in shop.mould_depths_mm)
    keys = {"name": answers.name, **instrument_keys(answers), "scale_step_g": shop.scale_step_g}
    keys |= {"mould_depths_mm": depths, "scale_max_g": shop.scale_max_g}
    own = ("cure", "density", "refractive_index", "max_loading", "pigment_in")
    bases = {
        name: {key: getattr(base, key) for key in own} | {f"{MIX}{part}": share for part, share in base.mix.items()}
        for name, base in answers.bases.items()
    }
    pigments = {
        name: {"cures": each.cures and ", ".join(each.cures), "max_loading": each.max_loading, "kind": each.kind}
        for name, each in answers.pigments.items()
    }
    return blank_workbook(
        keys=keys, bases=bases, pigments=pigments, backings=answers.cards, castings=castings, colours=colours
    )


def _next_steps(folder: Path, plan: CastingPlan, *, printed: bool, book: bool, squares: bool) -> tuple[str, ...]:
    cards = " and ".join(plan.cards)
    table, readings = (f"sheet {name} of {BOOK_FILE}" if book else f"{name}.csv" for name in ("swatches", "readings"))
    pour = f"Print {folder / PLAN_FILE}, pour what it says, and put measured thicknesses into {table}."
    if not printed:
        pour = f"{folder} holds castings or a plan already: pour what is missing, and measure its thickness."
    into = " --into-workbook" if book else ""
    read = (
        f"Read each over {cards}, named as in c01 {plan.cards[0]}, and each bare card three times, named as in "
        f"{plan.cards[0]}; then `tint import {folder} FILE --pattern '{{swatch}} {{backing}}' --seat air --add{into}`."
    )
    if plan.photographed:
        read = f"Photograph them on {cards} with a colour chart; `tint photograph` gives the rows of {readings}."
        if squares:
            read = (
                f"Photograph them on {cards} beside their label squares, with a colour chart; then `tint photograph "
                f"PICTURE {folder} --out colours.csv`, and `tint import {folder} colours.csv{into}`."
            )
    elif plan.colours:
        read = f"Read each over {cards}, and the bare cards; type L, a, b into {readings}, or `tint import` a file."
    return (
        pour,
        read,
        f"Then `tint check {folder}`, `tint fit {folder}`, and `tint plan {folder}` for what teaches most.",
    )


# Label squares of a folder: which number stands for which casting on which card, and the page to cut them from.

# Places of a bare card: of the white one as many as tell light that falls off along a curve, of another two.
_BARE_WHITE, _BARE = 8, 2
_SEAT = "air"  # castings lie on the cards, nothing between


def squares_for(
    castings: Sequence[str], cards: Sequence[str], *, name: str, kept: Sequence[Square] = ()
) -> tuple[Square, ...]:  # fmt: skip
    """A square for each casting on each card, and for the bare cards; those that there are stay as they are.

    Castings are named as in swatches.csv; of the cards the white one stands last. The squares of a workshop begin at a
    number that its `name` gives, so that squares of another folder, laid by mistake, are mostly none of this one;
    `kept` are those that were printed before. InputError if there are more castings than numbers.
    """
    wanted = [(casting, card, _SEAT) for casting in castings for card in cards]
    have = [(each.name, each.backing, each.seat) for each in kept]
    new = [each for each in wanted if each not in have]
    for card in cards:
        count = _BARE_WHITE if card == cards[-1] else _BARE
        new += [(card, "", "")] * (count - have.count((card, "", "")))
    used = {each.number for each in kept}
    first = int(hashlib.sha256(name.encode()).hexdigest(), 16) % NUMBERS
    free = [number for step in range(NUMBERS) if (number := (first + step) % NUMBERS) not in used]
    if len(new) > len(free):
        found = f"{len(new) + len(used)} are needed for {len(castings)} castings"
        raise InputError("squares", found, f"{NUMBERS} at most", "name the places with `tint photograph --spots`")
    made = [
        Square(number=number, name=casting, backing=card, seat=seat)
        for number, (casting, card, seat) in zip(free, new, strict=False)
    ]
    return (*kept, *made)


@dataclass(frozen=True, kw_only=True)
class Labels:
    """The label squares of a folder."""

    squares: tuple[Square, ...]
    new: int  # how many of them were not printed before
    told: dict[str, object]  # what the sheet of them is filled in with

    @property
    def table(self) -> bytes:
        """squares.csv."""
        return squares_csv(self.squares)


def _labels(folder: Path, castings: Sequence[str], declared: Declared, area_cm2: float) -> Labels:
    """The label squares of castings on the cards, with those that the folder has; sized by a swatch's area [cm2].

    InputError if OpenCV is missing, which draws them, or squares.csv is at fault; and as of `squares_for`.
    """
    kept = tuple(read_squares(folder).values()) if (folder / SQUARES_FILE).exists() else ()
    squares = squares_for(castings, declared.backings, name=declared.name, kept=kept)
    side_mm = 10.0 * area_cm2**0.5 / CASTING
    told: dict[str, object] = {
        "labels": [(each, _path(each.number)) for each in squares],
        "wide_mm": f"{(1.0 + 2.0 * MARGIN) * side_mm:.1f}",
        "casting_mm": f"{10.0 * area_cm2**0.5:.0f}",
        "folder": str(folder),
        "on": list(declared.backings),
    }
    return Labels(squares=squares, new=len(squares) - len(kept), told=told)


def _path(number: int) -> str:
    """The black cells of a square as a path, a cell wide one, from its upper left corner."""
    return "".join(f"M{x} {y}h1v1h-1z" for y, x in np.argwhere(~cells_of(number)) + round(MARGIN * CELLS))


def print_squares(folder: Path, *, area_cm2: float = AREA_CM2) -> Labels:
    """Write squares.csv and squares.html for all castings of a folder; squares that were printed before stay.

    InputError as of `_labels`, or if the typeface of the page is not installed; FolderError if palette.toml or
    swatches.csv is at fault.
    """
    from tint.proofs.leaf import rendered  # pages are for those who print

    _check_area(area_cm2)
    declared, casts = read_cast(folder)
    labels = _labels(folder, [swatch.name for swatch in casts.swatches], declared, area_cm2)
    page = rendered("squares.html.j2", title=declared.name, squares=labels.told)
    write_all({folder / SQUARES_FILE: labels.table, folder / SQUARES_PAGE: page})
    return labels
