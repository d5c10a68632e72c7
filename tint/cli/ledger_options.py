"""Options of `tint ledger`: kinds, numbers, days, colours, files; and one option for each column of a kind."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import click

from tint.cli.amounts import GRAMS, amounts_option
from tint.cli.options import Decorator, number
from tint.errors import InputError
from tint.ledger import KINDS, TABLES, Column, Weighing, columns

# Where an option is not called as its column is.
_CALLED = {
    "customer_words": "--words",
    "thickness_mm": "--thickness",
    "temperature_c": "--temperature",
    "hue_left_over_ciede2000": "--hue-left-over",
    "observer_degrees": "--observer",
    "backing": "--over",
    "approved_by": "--by",
    "approved_on": "--on",
    "read_on": "--on",
    "made_on": "--made",
    "received_on": "--received",
    "expires_on": "--expires",
    "limit_samples": "--limit",
}
_LAB = ("lab_l", "lab_a", "lab_b")


def option_name(column: str) -> str:
    """What the option for a column is called."""
    return _CALLED.get(column, "--" + column.removesuffix("_id").replace("_", "-"))


def column_options(kind: str, *leave_out: str) -> list[Decorator]:
    """An option for each column of a kind that can be told in a word; its value reaches the command by column."""
    return [_option(each) for each in columns(kind) if each.name not in (*leave_out, *_LAB) and _can_be_told(each)]


def _can_be_told(column: Column) -> bool:
    return column.kind not in ("object", "list", "flag") or column.name in ("lots", "weighed", "limit_samples")


def _option(column: Column) -> Decorator:
    name, about = option_name(column.name), column.about[:1].upper() + column.about[1:] + "."
    if column.name == "lots":
        return click.option(
            "--lot", column.name, type=_lot, multiple=True, metavar="NAME=LOT", help=f"{about[:-1]}; repeat."
        )
    if column.name == "weighed":
        return amounts_option(name, "What was really weighed, in grams; repeat.", GRAMS)
    if column.name == "limit_samples":
        return click.option(name, column.name, multiple=True, metavar="TEXT", help=f"{about[:-1]}; repeat.")
    if column.points == "order":
        return click.option(name, column.name, metavar="ORDER", help=f"{about[:-1]}, by number or name.")
    if column.points:
        return click.option(name, column.name, type=number_of, metavar="NUMBER", help=about)
    if column.kind == "date":
        return click.option(name, column.name, type=_day_text(name), metavar="DAY", help=about)
    if column.kind in ("number", "whole"):
        return click.option(name, column.name, type=_number(name, column), metavar="X", help=about)
    if column.allowed.startswith("IN"):
        words = [word.strip(" '") for word in column.allowed.removeprefix("IN").strip(" ()").split(",")]
        choice = click.Choice([word for word in words if word])
        return click.option(name, column.name, type=choice, help=about)
    return click.option(name, column.name, metavar="TEXT", help=about)


def _number(name: str, column: Column) -> Callable[[str], float]:
    def convert(given: str) -> float:
        value = number(given, name, column.about)
        return int(value) if column.kind == "whole" and value == int(value) else value

    return convert


def _lot(given: str) -> tuple[str, str]:
    name, sign, lot = (part.strip() for part in given.partition("="))
    if not sign or not name or not lot:
        raise InputError("--lot", f"`{given}`", "expected NAME=LOT, as in white=W-203")
    return name, lot


def weighings(pairs: tuple[tuple[str, float], ...]) -> tuple[Weighing, ...]:
    """What --weighed names."""
    return tuple(Weighing(what=what, grams=grams) for what, grams in pairs)


def number_of(given: str) -> int:
    """The number of an entry."""
    text = str(given)
    if not text.isdecimal() or not 0 < len(text) < 19 or int(text) < 1:
        raise InputError("ledger", f"`{text}` is not the number of an entry", "expected a whole number of at least 1")
    return int(text)


def day(option: str) -> Callable[[str], date]:
    """A converter to a day."""

    def convert(given: str) -> date:
        try:
            return date.fromisoformat(given)
        except ValueError:
            raise InputError(option, f"`{given}` is not a day", "expected YYYY-MM-DD") from None

    return convert


def _day_text(option: str) -> Callable[[str], str]:
    return lambda given: day(option)(given).isoformat()


def lab_option(name: str, text: str, *, required: bool = False) -> Decorator:
    """An option that takes a colour as L,a,b."""

    def convert(given: str) -> tuple[float, ...]:
        parts = given.replace(";", ",").split(",")
        expected = "three numbers L,a,b as in 70,20,40"
        if len(parts) != 3:
            raise InputError(name, f"`{given}`", f"expected {expected}")
        return tuple(number(part, name, expected) for part in parts)

    return click.option(name, type=convert, metavar="L,a,b", required=required, help=text)


def kind_argument(*, required: bool) -> Decorator:
    """The kind of entry, by its name or its table's."""

    def convert(given: str) -> str:
        word = given.lower().replace("-", "_")
        kinds = {name: kind for kind, table in TABLES.items() for name in (kind, table)} | {"references": "reference"}
        if word not in kinds:
            raise InputError("ledger", f"there is no kind `{given}`", "expected one of " + ", ".join(KINDS))
        return kinds[word]

    return click.argument("kind", type=convert, required=required, metavar="KIND" if required else "[KIND]")


def read_file(file: str) -> bytes:
    """What stands in a file, or on standard input for `-`.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    try:
        return sys.stdin.buffer.read() if file == "-" else Path(file).read_bytes()
    except OSError as error:
        raise InputError(file, f"cannot be read ({error.strerror})", mend="check the name") from error


def read_json(file: str, expected: str) -> dict[str, Any]:
    """The JSON object in a file, or on standard input for `-`.

    Raises
    ------
    InputError
        If there is none.
    """
    where = "standard input" if file == "-" else file
    try:
        content = json.loads(read_file(file))
    except (ValueError, RecursionError) as error:
        raise InputError(where, f"is not JSON ({str(error)[:80]})", f"expected {expected}") from error
    if not isinstance(content, dict):
        raise InputError(where, "is not a JSON object", f"expected {expected}")
    return content
