"""The blend of a command that takes a recipe: named dose by dose, or read from what `tint solve --json` wrote."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import msgspec

from tint.appearance import Setting
from tint.cli.asked import Doses, blend_options, setting_of
from tint.cli.options import Command, count_option
from tint.errors import InputError
from tint.palette import Palette

_EXPECTED = "what `tint solve --json` writes"


class _Written(msgspec.Struct, kw_only=True):
    base: str
    loadings: dict[str, float]


class _Setting(msgspec.Struct, kw_only=True):
    thickness_mm: float | None = None
    over: str | None = None
    seat: str | None = None
    light: str | None = None
    observer: int | None = None
    geometry: str | None = None


class _Solved(msgspec.Struct, kw_only=True):
    recipes: list[_Written]
    setting: _Setting | None = None


@dataclass(frozen=True)
class Chosen:
    """A blend as asked for, and the setting it was solved in, where a file tells it."""

    doses: Doses
    solved_in: Mapping[str, Any]

    def setting(self, palette: Palette, casting: Mapping[str, Any]) -> Setting:
        """What the options say, and for the rest what the recipe was solved in."""
        return setting_of(palette, {**self.solved_in, **casting})


def recipe_options(command: Command) -> Command:
    """--base and --load, or --recipe and --pick."""
    pick = count_option("--pick", "Which recipe of the file.  [default: 1, the best]")
    file = click.option("--recipe", metavar="FILE", help="Instead: what tint solve --json writes, or - for stdin.")
    return blend_options(file(pick(command)))


def chosen(doses: Doses, recipe: str | None, pick: int | None) -> Chosen:
    """The blend that a command is given.

    Raises
    ------
    InputError
        If it is given twice or not at all, or the recipe cannot be read.
    """
    if recipe is None:
        if pick is not None:
            raise InputError("--pick", "no recipe file to pick from", mend="name one with --recipe")
        return Chosen(doses, {})
    if doses.given:
        raise InputError("--recipe", "given together with --base or --load", "expected one or the other")
    where = "standard input" if recipe == "-" else recipe
    solved = _decoded(_content(recipe), where)
    number = 1 if pick is None else pick
    if not 1 <= number <= len(solved.recipes):
        raise InputError("--pick", f"{number}", f"expected 1 to {len(solved.recipes)}, the recipes in {where}")
    written = solved.recipes[number - 1]
    setting = {} if solved.setting is None else msgspec.structs.asdict(solved.setting)
    told = {name: value for name, value in setting.items() if value is not None}
    return Chosen(Doses(written.base, written.loadings), told)


def _content(recipe: str) -> bytes:
    try:
        return sys.stdin.buffer.read() if recipe == "-" else Path(recipe).read_bytes()
    except OSError as error:
        raise InputError(recipe, f"cannot be read ({error.strerror})", mend="check the name") from error


def _decoded(data: bytes, where: str) -> _Solved:
    try:
        solved = msgspec.json.decode(data, type=_Solved)
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise InputError(where, f"is not a recipe ({str(error)[:120]})", f"expected {_EXPECTED}") from error
    if not solved.recipes:
        raise InputError(where, "holds no recipe", f"expected {_EXPECTED}")
    return solved
