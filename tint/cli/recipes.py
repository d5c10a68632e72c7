"""The blend of a command that takes a recipe: named dose by dose, or read from what `tint solve --json` wrote."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import msgspec
import numpy as np

from tint.appearance import Setting
from tint.cli.asked import Doses, blend_options, setting_of
from tint.cli.options import Command, Decorator, count_option, number
from tint.errors import InputError
from tint.palette import Palette
from tint.target import Look, Target

_EXPECTED = "what `tint solve --json` writes"


class _Written(msgspec.Struct, kw_only=True):
    base: str
    loadings: dict[str, float]
    limits: list[str] = []


class _Setting(msgspec.Struct, kw_only=True):
    thickness_mm: float | None = None
    over: str | None = None
    seat: str | None = None
    light: str | None = None
    observer: int | None = None
    geometry: str | None = None


class _Look(msgspec.Struct, kw_only=True):
    lab: tuple[float, float, float]
    over: str | None = None
    seat: str | None = None
    thickness_mm: float | None = None


class _Target(msgspec.Struct, kw_only=True):
    lab: tuple[float, float, float]
    contrast_ratio: float | None = None
    contrast_ratio_min: float | None = None
    contrast_ratio_max: float | None = None
    transmittance: float | None = None
    transmittance_min: float | None = None
    transmittance_max: float | None = None
    haze: float | None = None
    haze_min: float | None = None
    haze_max: float | None = None
    tolerance: float = 1.0
    thickness_mm: float | None = None
    also: list[_Look] = []
    source: str = ""


class _Solved(msgspec.Struct, kw_only=True):
    recipes: list[_Written]
    setting: _Setting | None = None
    target: _Target | None = None


@dataclass(frozen=True)
class Chosen:
    """A blend as asked for, and the setting it was solved in, where a file tells it."""

    doses: Doses
    solved_in: Mapping[str, Any]

    def setting(self, palette: Palette, casting: Mapping[str, Any]) -> Setting:
        """What the options say, and for the rest what the recipe was solved in."""
        return setting_of(palette, {**self.solved_in, **casting})


@dataclass(frozen=True)
class Several:
    """Recipes of one file, by rank, with what binds each; the setting they were solved in, and the target."""

    recipes: Mapping[int, Doses]
    limits: Mapping[int, tuple[str, ...]]
    solved_in: Mapping[str, Any]
    target: Target | None


def picks(text: str) -> tuple[int, ...]:
    """Ranks as in `2` or `1,3`, each once.

    Raises
    ------
    InputError
        If one is no whole number of at least 1.
    """
    expected = "whole numbers of at least 1, as in 1,3"
    named = [number(part, "--pick", expected) for part in text.split(",")]
    if any(value < 1 or value != int(value) for value in named):
        raise InputError("--pick", f"`{text}`", f"expected {expected}")
    return tuple(dict.fromkeys(map(int, named)))


def recipe_options(command: Command) -> Command:
    """--base and --load, or --recipe and --pick."""
    return _recipe_options(count_option("--pick", "Which recipe of the file.  [default: 1, the best]"), command)


def recipes_options(command: Command) -> Command:
    """The same, with several recipes to pick."""
    said = "Which recipe of the file; to compare, which of them.  [default: 1, the best; to compare, up to six]"
    return _recipe_options(click.option("--pick", type=picks, metavar="N[,N ...]", help=said), command)


def _recipe_options(pick: Decorator, command: Command) -> Command:
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
    _check_once(doses)
    where = "standard input" if recipe == "-" else recipe
    solved = _decoded(_content(recipe), where)
    written = _picked(solved, 1 if pick is None else pick, where)
    return Chosen(Doses(written.base, written.loadings), _told(solved))


def several(doses: Doses, recipe: str | None, ranks: tuple[int, ...] | None, *, most: int) -> Several:
    """The recipes that a comparison is given: those of these ranks, or all of the file up to `most`.

    Raises
    ------
    InputError
        If there is no file, or it cannot be read, or does not hold them.
    """
    if recipe is None:
        raise InputError("--compare", "its recipes stand in no file", mend="name one with --recipe")
    _check_once(doses)
    where = "standard input" if recipe == "-" else recipe
    solved = _decoded(_content(recipe), where)
    chosen_ones = ranks or tuple(range(1, min(len(solved.recipes), most) + 1))
    written = {rank: _picked(solved, rank, where) for rank in chosen_ones}
    return Several(
        recipes={rank: Doses(each.base, each.loadings) for rank, each in written.items()},
        limits={rank: tuple(each.limits) for rank, each in written.items()},
        solved_in=_told(solved),
        target=None if solved.target is None else _target(solved.target),
    )


def _check_once(doses: Doses) -> None:
    if doses.given:
        raise InputError("--recipe", "given together with --base or --load", "expected one or the other")


def _target(written: _Target) -> Target:
    plain = msgspec.structs.asdict(written)
    also = [
        Look(lab=np.array(each.lab), over=each.over or "", seat=each.seat or "", thickness_mm=each.thickness_mm)
        for each in written.also
    ]
    return Target(**(plain | {"lab": np.array(written.lab), "also": tuple(also)}))


def _picked(solved: _Solved, rank: int, where: str) -> _Written:
    if not 1 <= rank <= len(solved.recipes):
        raise InputError("--pick", f"{rank}", f"expected 1 to {len(solved.recipes)}, the recipes in {where}")
    return solved.recipes[rank - 1]


def _told(solved: _Solved) -> dict[str, Any]:
    """What the file says of the setting."""
    setting = {} if solved.setting is None else msgspec.structs.asdict(solved.setting)
    return {name: value for name, value in setting.items() if value is not None}


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
