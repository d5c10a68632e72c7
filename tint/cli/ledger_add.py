"""`tint ledger add`: an entry of each kind, from options, what other commands wrote as JSON, and readings."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import click

from tint import colorimetry
from tint import ledger as record
from tint.cli import options, show
from tint.cli.asked import picked
from tint.cli.keys import Command
from tint.cli.ledger_entries import column_options, day_text, number_of, option_name, summary
from tint.cli.wanted import Wish, target_options
from tint.errors import InputError
from tint.ledger import LAB, Reading, columns
from tint.recipes import from_json as recipes_from
from tint.swatches import QUANTITIES, folder_digest, read_declared, read_folder
from tint.swatches.instruments import Given as Said
from tint.swatches.one_reading import read_one
from tint.weighing import from_json as sheet_from

Given = dict[str, Any]
Built = tuple[Given, Sequence[Reading]]  # the columns of an entry, and readings that belong to it


@dataclass(frozen=True)
class Asked:
    """The swatch folder, the columns of an entry that options name, and whether it corrects another."""

    folder: Path
    given: Given
    corrects: bool


@click.group("add", invoke_without_command=True)
@click.pass_context
def add(ctx: click.Context) -> None:
    """Add an entry.

    Example: tint ledger add lesson swatches_demo --text "Warm part A before the white goes in"
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def _adds(
    kind: str, *more: options.Decorator, leave_out: Sequence[str] = (), text: str | None = None
) -> Callable[[Callable[..., Built]], click.Command]:
    """Make a command of a function that turns what is given into the columns of an entry."""
    own = [each.name for each in columns(kind)]

    def decorate(build: Callable[..., Built]) -> click.Command:
        @functools.wraps(build)
        def run(folder: Path, corrects: int | None, reason: str, withdraw: bool, **told: Any) -> None:
            given = {name: told.pop(name) for name in own if name in told}
            content = {name: value for name, value in given.items() if value not in (None, ())}
            if withdraw and corrects is None:
                raise InputError("--withdraw", "given without --corrects", "expected the number of the entry")
            content, readings = build(Asked(folder, content, corrects is not None), **told)
            path, digest = record.ledger_path(folder), folder_digest(folder)
            with record.open_ledger(path, palette_digest=digest) as ledger, ledger.transaction():
                if isinstance(content.get("order_id"), str):
                    content["order_id"] = record.find_order(ledger, content["order_id"]).id
                if corrects is not None:
                    new = replace(record.get(ledger, kind, corrects).content, **content)
                else:
                    for column in columns(kind):
                        if column.needed and not content.get(column.name):
                            raise InputError(option_name(column.name), "not given", f"expected {column.about}")
                    new = record.KINDS[kind](**content)
                number = record.add(ledger, new, corrects=corrects, reason=reason, withdrawn=withdraw)
                pointer: Given = {f"{kind}_id": number}
                pointed = [record.add(ledger, replace(each, **pointer)) for each in readings]
                entry = record.get(ledger, kind, number)
            with_them = f", with reading {' and '.join(map(str, pointed))}" if pointed else ""
            words = f"Added: {kind} {number} ({summary(kind, entry)}){with_them}"
            show.answer({"kind": kind, "readings": pointed} | record.as_dict(entry), show.line(words))

        every: Any = (options.folder, *column_options(kind, *leave_out), *more, *_correction_options, options.as_json)
        made: Any = functools.reduce(lambda made, option: option(made), reversed(every), run)
        return add.command(kind, cls=Command, help=text or build.__doc__)(made)

    return decorate


_correction_options = (
    click.option("--corrects", type=number_of, metavar="NUMBER", help="The entry that it stands for; give changes."),
    click.option("--reason", metavar="TEXT", default="", help="Why it is corrected or withdrawn."),
    options.flag("--withdraw", "With --corrects: it no longer holds, and nothing does."),
)  # fmt: skip


# A reading: a row of a readings table or a colour, and the conditions that it was taken in.


reading_options = options.grouped(
    "seen",
    lambda over, observer, **told: options.given(backing=over, observer_degrees=observer, **told),
    click.option(
        "--reading", metavar="FILE[:NAME]", help="As measured: in a table or an instrument's file, with --over."
    ),
    options.lab("--lab", "Or the colour that the instrument told."),
    click.option("--over", metavar="BACKING", help="What lay behind, or `none`."),
    options.seat(),
    options.geometry,
    *options.view(light="CIE light of the colour.", default=False),
    options.choice("--quantity", QUANTITIES, "What was measured.  [default: reflectance]"),
    day_text("--read-on", "Day of the reading.  [default: today]"),
    options.scale,
)


def is_read(seen: Given) -> bool:
    """Whether options tell a spectrum or a colour, not merely conditions."""
    return "reading" in seen or "lab" in seen


def measured(folder: Path, seen: Given) -> Given:
    """The columns of a reading that options tell of; a spectrum's Lab is computed."""
    told = {name: value for name, value in seen.items() if name not in ("reading", "lab", "scale")}
    if "reading" in seen and "lab" in seen:
        raise InputError("--reading", "given together with --lab", "expected one or the other")
    if not is_read(seen):
        if told.keys() & {"light", "observer_degrees"}:
            raise InputError("--light or --observer", "given without what it is of", "expected --reading or --lab, too")
        return told
    said = options.said_of(*(seen.get(name) for name in ("scale", "light", "observer_degrees", "geometry")))
    usual = Given(light="D65", observer_degrees=10, quantity="reflectance", read_on=date.today().isoformat())
    told = usual | told
    if "lab" in seen:
        colorimetry.viewing(range(400, 701, 10), light=told["light"], observer=told["observer_degrees"])  # are known
        return told | dict(zip(LAB, seen["lab"], strict=True))
    return _spectrum(folder, seen["reading"], told, said)


def _spectrum(folder: Path, where: str, told: Given, said: Said) -> Given:
    if "backing" not in told:
        raise InputError("--over", "not given", "expected what lay behind the reading, as in --over white")
    swatches = read_folder(folder)
    own = told.get("geometry", swatches.instrument.geometry)
    conditions: dict[str, str] = {name: told[name] for name in ("backing", "seat", "quantity") if name in told}
    read = read_one(where, onto=swatches.wavelengths, told=conditions, geometry=own, said=said)
    view = colorimetry.viewing(swatches.wavelengths, light=told["light"], observer=told["observer_degrees"])
    lab = dict(zip(LAB, read.seen(view).tolist(), strict=True))
    told = {"geometry": own, **told, **lab, "light": view.light, "source": where}
    if read.spectrum is not None:
        told |= {"wavelengths_nm": tuple(swatches.wavelengths.tolist()), "spectrum": tuple(read.spectrum.tolist())}
    return told


# A command for each kind: what it takes besides one option for each column.

_from_option = click.option(
    "--from", "file", metavar="FILE", help="What the other command wrote as JSON, or - for stdin."
)


@_adds(
    "order",
    target_options,
    click.option("--over", metavar="BACKING", help="What lay behind a target that was measured."),
    options.said_options,
)
def _order(asked: Asked, wish: Wish, over: str | None, said: Said) -> Built:
    """What a customer asked for.

    Example: tint ledger add order swatches_demo --name "celadon lid" --words "as the glaze" --target-lab 70,-8,6
    """
    target = options.given(**wish.colour) | wish.asked
    told = asked.given | ({"target": target} if target else {})
    if wish.target_reading is None:
        return told, ()
    sample = {"reading": wish.target_reading, "backing": over, "observer_degrees": int(said.observer or 0)}
    sample |= show.fields(said, "scale", "light", "geometry")
    return told, [Reading(**measured(asked.folder, {name: value for name, value in sample.items() if value}))]


@_adds(
    "recipe",
    _from_option,
    options.count("--pick", "Which recipe of the file.  [default: 1, the best]"),
    leave_out=[each.name for each in columns("recipe") if each.name not in ("order_id", "note")],
)
def _recipe(asked: Asked, file: str | None, pick: int | None) -> Built:
    """A recipe that tint solve found.

    Example: tint ledger add recipe swatches_demo --order "celadon lid" --from recipe.json
    """
    if file is None:
        if not asked.corrects:
            raise InputError("--from", "not given", "expected what `tint solve --json` writes")
        return asked.given, ()
    data, where = options.read_file(file)
    answer = recipes_from(data, where=where)
    recipe = picked(answer, 1 if pick is None else pick, where)
    return record.of_recipe(answer, recipe, read_declared(asked.folder).pigments) | asked.given, ()


@_adds("batch", _from_option, leave_out=["weighed"])
def _batch(asked: Asked, file: str | None) -> Built:
    """A mix that was weighed.

    Example: tint ledger add batch swatches_demo --recipe 1 --from sheet.json --lot white=W-203
    """
    if file is None:
        return asked.given, ()
    data, where = options.read_file(file)
    return record.of_sheet(sheet_from(data, where=where)) | asked.given, ()


@_adds(
    "reading",
    reading_options,
    leave_out=["name", "source", "read_on", "quantity", "backing", "seat", "geometry", "light", "observer_degrees"],
)
def _reading(asked: Asked, seen: Given) -> Built:
    """A further reading: of a trial, or of a swatch that is kept.

    Example: tint ledger add reading swatches_demo --reference 1 --read-on 2026-03-01 --lab 69.6,-7.9,6.4
    """
    if not asked.corrects and not is_read(seen):
        raise InputError("--reading", "neither it nor --lab is given", "expected what was read")
    return measured(asked.folder, seen) | asked.given, ()


@_adds("lot")
def _lot(asked: Asked) -> Built:
    """A new lot of a pigment or base, and how strong it is.

    Example: tint ledger add lot swatches_demo --material white --lot W-204 --strength 0.94 --strength-error 0.02
    """
    if "material" not in asked.given or asked.corrects:
        return asked.given, ()
    swatches = read_folder(asked.folder)
    material = options.known(asked.given["material"], [*swatches.pigments, *swatches.bases], "--material")
    lot = swatches.pigments[material].lot if material in swatches.pigments else None
    return ({"relative_to_lot": lot} if lot else {}) | asked.given, ()


def _as_told(asked: Asked, seen: Given | None = None) -> Built:
    """What options say, with what was read on the very thing that is added."""
    if not seen:
        return asked.given, ()
    if not is_read(seen):
        raise InputError("--over, --seat ...", "given without a reading", "expected --reading or --lab, too")
    made = {"read_on": asked.given["made_on"]} if "made_on" in asked.given else {}
    return asked.given, [Reading(**measured(asked.folder, made | seen))]


for _kind, _options, _text, _example in (
    ("trial", [reading_options], "A casting that was judged, with what was read on it.",
     "--recipe 1 --thickness 3.1 --cure-days 2 --lab 70,-8,6 --over white"),
    ("reference", [reading_options], "A swatch that is kept to compare with.",
     "--name R-1 --made 2025-03-01 --expires 2027-03-01 --lab 70,-8,6"),
    ("approval", [], "A customer's word on a swatch.",
     '--order "celadon lid" --recipe 1 --by "the customer" --light D65'),
    ("lesson", [], "What was learnt, tied to anything.", '--material white --text "Settles within the hour: stir"'),
):  # fmt: skip
    _adds(_kind, *_options, text=f"{_text}\n\nExample: tint ledger add {_kind} swatches_demo {_example}")(_as_told)
