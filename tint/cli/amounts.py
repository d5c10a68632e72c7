"""Options that name pigments, each with an amount: `--load white=0.5`, `--stock white=20`."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass

import click

from tint.cli.options import Decorator, known, number
from tint.errors import InputError

AGAIN = "May be given more than once."

Pairs = tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Kind:
    """What an amount is called, what it is told in, its unit, its largest and an example."""

    what: str
    measure: str
    unit: str
    most: float
    example: str

    @property
    def form(self) -> str:
        """How it is written, with its pigment."""
        return f"PIGMENT={self.measure.upper()}"

    @property
    def named(self) -> str:
        """What is expected after the pigment's name."""
        return f"{self.what} in {self.measure}, as in {self.example}"

    @property
    def bounds(self) -> str:
        """Between which amounts it lies."""
        return f"0 {self.unit} or more" if math.isinf(self.most) else f"from 0 to {self.most:g} {self.unit}"


PERCENT = Kind("a loading", "percent", "%", 100.0, "0.5")
GRAMS = Kind("an amount", "grams", "g", math.inf, "20")


def amounts_option(name: str, text: str, kind: Kind) -> Decorator:
    """An option that takes a pigment with an amount, and may be repeated."""

    def convert(given: str) -> tuple[str, float]:
        pigment, sign, amount = (part.strip() for part in given.rpartition("="))
        form = f"expected {kind.form}, as in white={kind.example}"
        if not sign or not pigment:
            raise InputError(name, f"`{given}`", form)
        if "=" in pigment:
            raise InputError(name, f"`{given}` names more than one pigment", form, f"give {name} once for each")
        where = f"{name} {pigment}"
        value = number(amount.removesuffix(kind.unit), where, kind.named)
        if not 0.0 <= value <= kind.most:
            raise InputError(where, f"{value:g} {kind.unit}", f"expected {kind.what} {kind.bounds}")
        return pigment, value

    return click.option(name, type=convert, multiple=True, metavar=kind.form, help=f"{text} {AGAIN}")


def each_once(pairs: Pairs, option: str) -> dict[str, float]:
    """Pigments and their amounts.

    Raises
    ------
    InputError
        If a pigment is named twice.
    """
    names = [name for name, _ in pairs]
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        raise InputError(option, f"{twice[0]} is given twice", "expected each pigment once")
    return dict(pairs)


def all_known(amounts: Mapping[str, float], names: Collection[str], option: str) -> dict[str, float]:
    """The same amounts, if every pigment is one of `names`."""
    return {known(name, names, option): amount for name, amount in amounts.items()}


# `--thickness`: one wall thickness, a list of them, or a range from:to:step.


MOST = 200  # thicknesses in one table

_WHERE = "--thickness"
_ONE = "a wall thickness in mm"
_FORMS = "a wall thickness in mm, a list as 1,2,4 or a range as 0.5:6:0.5"
_RANGE = "expected a range from:to:step in mm, as in 0.5:6:0.5"


def one_thickness(text: object) -> float:
    """The one thickness in a text [mm].

    Raises
    ------
    InputError
        If it is none, or more than one.
    """
    words = str(text).strip()
    if ":" in words or words.count(",") > 1:
        told = "`tint predict` takes a list or a range"
        raise InputError(_WHERE, f"`{words}` is more than one thickness", f"expected {_ONE}", told)
    return number(words, _WHERE, _ONE)


def thicknesses(text: object) -> tuple[float, ...]:
    """The thicknesses that a text lists or spans, thinnest first, each once [mm].

    Raises
    ------
    InputError
        If it holds none, too many, or one that no part has.
    """
    words = str(text).strip()
    depths = _span(words) if ":" in words else sorted({number(part, _WHERE, _FORMS) for part in words.split(",")})
    _check_count(len(depths), words)
    for depth in depths:
        if not 0.0 < depth <= 100.0:
            mend = "write decimals with a point" if "," in words else ""
            raise InputError(_WHERE, f"{depth:g} mm", "expected more than 0 and at most 100 mm", mend)
    return tuple(depths)


def _span(words: str) -> list[float]:
    parts = words.split(":")
    if len(parts) != 3:
        raise InputError(_WHERE, f"`{words}`", _RANGE)
    first, last, step = (number(part, _WHERE, "numbers in from:to:step") for part in parts)
    if step <= 0.0:
        raise InputError(_WHERE, f"`{words}` has a step of {step:g} mm", _RANGE)
    if last < first:
        raise InputError(_WHERE, f"`{words}` runs down from {first:g} to {last:g} mm", _RANGE)
    steps = (last - first) / step * (1.0 + 1e-9) + 1e-9  # an end that rounding put beyond its step belongs
    _check_count(steps + 1.0, words)
    return [round(first + at * step, 9) for at in range(math.floor(steps) + 1)]


def _check_count(count: float, words: str) -> None:
    if count >= MOST + 1:
        told = f"`{words}` is {count:.0f} thicknesses" if count < 1e6 else f"`{words}` is too many thicknesses"
        raise InputError(_WHERE, told, f"expected at most {MOST}", "take a larger step")
