"""Many targets, one after another: each solved as `tint.solve` solves it, and handed on before the next."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tint import verbs
from tint.errors import TintError
from tint.fans.targets import read_targets
from tint.fans.wish import Common, Wish, arguments, wish_of
from tint.given import palette_of
from tint.palette import Palette
from tint.recipes import Answer, Rules
from tint.swatches.instruments import Given

# What one target may fail by without stopping the others: what tint says on purpose, and arithmetic that broke down.
FAILURES = (TintError, ArithmeticError, np.linalg.LinAlgError)


@dataclass(frozen=True, kw_only=True, eq=False)
class Solved:
    """A target and what came of it."""

    number: int  # its place among all, from 1
    wish: Wish
    answer: Answer | None = None  # as `tint.solve` gives it; absent where it failed
    fault: str = ""  # why it failed, in a line; empty where it did not


def solve_many(
    palette: Palette, targets: str | Path | Iterable[Wish | Mapping[str, Any]], *,
    opacity: str | float | Sequence[float] | None = None, tolerance: float | None = None, base: str | None = None,
    thickness_mm: float | None = None, walls_mm: Sequence[float] = (), rules: Rules | None = None,
    said: Given | None = None, **seen: Any,
) -> Iterator[Solved]:  # fmt: skip
    """Recipes for many targets, in their order, each as it is found.

    Parameters
    ----------
    targets : path-like, or iterable of Wish or of mappings
        A table or a file of colours, as `tint.fans.read_targets` takes it; `tint.fans.lattice`; or any iterable, of
        which one is taken at a time.
    opacity, tolerance, base, thickness_mm, walls_mm, rules, said, **seen
        As in `tint.solve`; for the targets that do not say otherwise.

    Returns
    -------
    iterator of Solved
        The same answers as `tint.solve` gives one by one. A target that fails has its reason, and the next follows.

    Raises
    ------
    InputError
        If the file cannot be read.

    Examples
    --------
    >>> wishes = [{"name": "jar", "lab": (70, -12, 8)}, {"name": "lid", "srgb": "#e8701"}]
    >>> found = list(tint.solve_many(palette, wishes, base="clear", thickness_mm=3))
    >>> found[0].answer.best.reached, found[1].answer, found[1].wish.name
    (True, None, 'lid')
    """
    walls = tuple(float(each) for each in walls_mm) or (() if thickness_mm is None else (float(thickness_mm),))
    asked = opacity if opacity is None or isinstance(opacity, str | int | float) else (opacity[0], opacity[1])
    common = Common(
        opacity=asked, tolerance=tolerance, walls_mm=walls, base=base, rules=rules or Rules(), seen=dict(seen)
    )
    common.setting()  # an argument that there is not is no fault of the first target
    palette_of(palette)
    wishes: Iterable[Wish | Mapping[str, Any]]
    wishes = read_targets(targets, palette, common, said=said) if isinstance(targets, str | Path) else targets
    return solved_each(palette, (wish_of(each, at) for at, each in enumerate(wishes, start=1)), common)


def solved_each(palette: Palette, wishes: Iterable[Wish], common: Common, *, first: int = 1) -> Iterator[Solved]:
    """`solve_many` of what was read already; `first` is the number of the first of them."""
    for number, wish in enumerate(wishes, start=first):
        yield solved(palette, wish, common, number)


def solved(palette: Palette, wish: Wish, common: Common, number: int, *, loosen: bool = True) -> Solved:
    """One target, with its reason where it fails; `loosen` as in `tint.solve`."""
    if wish.fault:
        return Solved(number=number, wish=wish, fault=wish.fault)
    try:
        answer = verbs.solve(palette, loosen=loosen, **arguments(palette, wish, common))
        return Solved(number=number, wish=wish, answer=answer)
    except FAILURES as error:
        return Solved(number=number, wish=wish, fault=str(error) or type(error).__name__)
