"""Options of `tint ledger`: kinds and numbers of entries, an option for each column of a kind, and what was read."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import click

from tint import colorimetry
from tint.cli import options
from tint.cli.keys import option
from tint.errors import InputError
from tint.ledger import KINDS, LAB, TABLES, Column, columns
from tint.swatches import QUANTITIES, read_folder
from tint.swatches.instruments import Given
from tint.swatches.one_reading import read_one


def number_of(told: str) -> int:
    """The number of an entry."""
    text = str(told)
    if not text.isdecimal() or not 0 < len(text) < 19 or int(text) < 1:
        raise InputError("ledger", f"`{text}` is not the number of an entry", "expected a whole number of at least 1")
    return int(text)


def kind_argument(*, required: bool) -> options.Decorator:
    """The kind of entry, by its name or its table's."""

    def convert(told: str) -> str:
        word = told.lower().replace("-", "_")
        kinds = {name: kind for kind, table in TABLES.items() for name in (kind, table)} | {"references": "reference"}
        if word not in kinds:
            raise InputError("ledger", f"there is no kind `{told}`", "expected one of " + ", ".join(KINDS))
        return kinds[word]

    return click.argument("kind", type=convert, required=required, metavar="KIND" if required else "[KIND]")


# An option for each column.

# Where an option is not called as its column is, but for a unit, a day or a number behind.
_CALLED = {
    "customer_words": "--words",
    "temperature_c": "--temperature",
    "backing": "--over",
    "approved_by": "--by",
    "approved_on": "--on",
    "read_on": "--on",
    "limit_samples": "--limit",
}
_BEHIND = re.compile("_(mm|ciede2000|degrees|id|on)$")


def option_name(column: str) -> str:
    """What the option for a column is called."""
    return _CALLED.get(column, "--" + _BEHIND.sub("", column).replace("_", "-"))


def column_options(kind: str, *leave_out: str) -> list[options.Decorator]:
    """An option for each column of a kind that can be told in a word; its value reaches the command by column."""
    own = [each for each in columns(kind) if each.name not in (*leave_out, *LAB)]
    told = ("lots", "weighed", "limit_samples")
    return [_option(each) for each in own if each.kind not in ("object", "list", "flag") or each.name in told]


def _option(column: Column) -> options.Decorator:
    name, about = option_name(column.name), column.about[:1].upper() + column.about[1:] + "."
    if column.name == "weighed":
        return options.amounts(name, "What was really weighed, in grams.", options.GRAMS, once=False)
    if column.name == "lots":
        return options.several("--lot", about, "NAME=LOT", type=_lot, to=column.name)
    if column.name == "limit_samples":
        return options.several(name, about, "TEXT", to=column.name)
    if column.points == "order":
        return option(name, metavar="ORDER", help=f"{about[:-1]}, by number or name.", to=column.name)
    if column.points:
        return option(name, type=number_of, metavar="NUMBER", help=about, to=column.name)
    if column.kind == "date":
        return option(name, type=day_text(name), metavar="DAY", help=about, to=column.name)
    if column.kind in ("number", "whole"):
        return option(name, type=_number(name, column), metavar="X", help=about, to=column.name)
    if column.words:
        return options.choice(name, filter(None, column.words), about, to=column.name)
    return option(name, metavar="TEXT", help=about, to=column.name)


def _number(name: str, column: Column) -> Callable[[str], float]:
    def convert(told: str) -> float:
        value = options.number_in(told, name, column.about)
        return int(value) if column.kind == "whole" and value == int(value) else value

    return convert


def _lot(told: str) -> tuple[str, str]:
    name, sign, lot = (part.strip() for part in told.partition("="))
    if not sign or not name or not lot:
        raise InputError("--lot", f"`{told}`", "expected NAME=LOT, as in white=W-203")
    return name, lot


def day_text(option: str) -> Callable[[str], str]:
    """A converter to a day as the ledger keeps it."""
    return lambda told: options.day_in(option)(told).isoformat()


# A reading: a row of a readings table or a colour, and the conditions that it was taken in.


def _seen(over: str | None, observer: int | None, **told: Any) -> dict[str, Any]:
    return options.given(backing=over, observer_degrees=observer, **told)


reading_options = options.grouped(
    "seen",
    _seen,
    click.option(
        "--reading", metavar="FILE[:NAME]", help="As measured: in a table or an instrument's file, with --over."
    ),
    options.lab("--lab", "Or the colour that the instrument told."),
    click.option("--over", metavar="BACKING", help="What lay behind, or `none`."),
    options.seat(),
    options.geometry(),
    *options.view(light="CIE light of the colour.", default=False),
    options.choice("--quantity", QUANTITIES, "What was measured.  [default: reflectance]"),
    click.option("--read-on", type=day_text("--read-on"), metavar="DAY", help="Day of the reading.  [default: today]"),
    options.scale(),
)


def is_read(seen: dict[str, Any]) -> bool:
    """Whether options tell a spectrum or a colour, not merely conditions."""
    return "reading" in seen or "lab" in seen


def measured(folder: Path, seen: dict[str, Any]) -> dict[str, Any]:
    """The columns of a reading that options tell of; a spectrum's Lab is computed."""
    told = {name: value for name, value in seen.items() if name not in ("reading", "lab", "scale")}
    if "reading" in seen and "lab" in seen:
        raise InputError("--reading", "given together with --lab", "expected one or the other")
    if not is_read(seen):
        if told.keys() & {"light", "observer_degrees"}:
            raise InputError("--light or --observer", "given without what it is of", "expected --reading or --lab, too")
        return told
    names = {"scale": "scale", "light": "light", "observer": "observer_degrees", "geometry": "geometry"}
    said = Given(**{name: str(seen.get(column, "")) for name, column in names.items()})
    usual: dict[str, Any] = {"light": "D65", "observer_degrees": 10, "quantity": "reflectance"}
    told = usual | {"read_on": date.today().isoformat()} | told
    if "lab" in seen:
        colorimetry.viewing(range(400, 701, 10), light=told["light"], observer=told["observer_degrees"])  # are known
        return told | dict(zip(LAB, seen["lab"], strict=True))
    return _spectrum(folder, seen["reading"], told, said)


def _spectrum(folder: Path, where: str, told: dict[str, Any], said: Given) -> dict[str, Any]:
    if "backing" not in told:
        raise InputError("--over", "not given", "expected what lay behind the reading, as in --over white")
    swatches = read_folder(folder)
    own = told.get("geometry", swatches.instrument.geometry)
    conditions: dict[str, str] = {name: told[name] for name in ("backing", "seat", "quantity") if name in told}
    read = read_one(where, onto=swatches.wavelengths, told=conditions, geometry=own, said=said)
    view = colorimetry.viewing(swatches.wavelengths, light=told["light"], observer=told["observer_degrees"])
    lab = dict(zip(LAB, read.seen(view).tolist(), strict=True))
    columns_known = {"geometry": own, **told, **lab, "light": view.light, "source": where}
    if read.spectrum is None:
        return columns_known
    grid, values = tuple(swatches.wavelengths.tolist()), tuple(read.spectrum.tolist())
    return {**columns_known, "wavelengths_nm": grid, "spectrum": values}
