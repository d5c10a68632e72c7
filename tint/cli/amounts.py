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
