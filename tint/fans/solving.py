"""Many targets, each of them solved as it would be alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tint import verbs
from tint.errors import TintError
from tint.fans.targets import Common, Wish, read_targets, wish_of
from tint.given import verb
from tint.palette import Palette
from tint.recipes import Answer, Rules
from tint.swatches.instruments import Given
from tint.target import Target, solid_unless_told

# What one target may fail by without stopping the others: what tint says on purpose, and arithmetic that broke down.
FAILURES = (TintError, ArithmeticError, np.linalg.LinAlgError)


@dataclass(frozen=True, kw_only=True, eq=False)
class Solved:
    """A target and what came of it."""

    number: int  # its place among all, from 1
    wish: Wish
    answer: Answer | None = None  # as `tint.solve` gives it; absent where it failed
    fault: str = ""  # why it failed, in a line; empty where it did not


@verb
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
    walls = tuple(walls_mm) or (() if thickness_mm is None else (thickness_mm,))
    asked = opacity if opacity is None or isinstance(opacity, str | float) else (opacity[0], opacity[1])
    common = Common(
        opacity=asked, tolerance=tolerance, walls_mm=walls, base=base, rules=rules or Rules(), seen=dict(seen)
    )
    common.setting()  # an argument that there is not is no fault of the first target
    wishes: Iterable[Wish | Mapping[str, Any]]
    wishes = read_targets(targets, palette, common, said=said) if isinstance(targets, str | Path) else targets
    return (solved(palette, wish_of(each, at), common, at) for at, each in enumerate(wishes, start=1))


def solved(palette: Palette, wish: Wish, common: Common, place: int, *, best_only: bool = False) -> Solved:
    """One target, with its reason where it fails; `best_only` as in `tint.solve`."""
    if wish.fault:
        return Solved(number=place, wish=wish, fault=wish.fault)
    try:
        told = arguments(palette, wish, common)
        answer = verbs.solve(palette, loosen=not best_only, best_only=best_only, **told)
        return Solved(number=place, wish=wish, answer=answer)
    except FAILURES as error:
        return Solved(number=place, wish=wish, fault=str(error) or type(error).__name__)


def arguments(palette: Palette, wish: Wish, common: Common) -> dict[str, Any]:
    """The arguments of `tint.solve` that ask for one wish."""
    opacity = common.opacity if wish.opacity is None else wish.opacity
    asked: dict[str, Any] = {
        "opacity": opacity,
        "tolerance": common.tolerance if wish.tolerance is None else wish.tolerance,
        "base": wish.base or common.base,
        "walls_mm": wish.walls_mm or common.walls_mm,
        "rules": common.rules,
        **common.seen,
    }
    if wish.spectrum is None:
        return asked | {"lab": wish.lab, "srgb": wish.srgb}
    target = Target(lab=np.array(wish.lab), spectrum=np.array(wish.spectrum), source=wish.name)
    return asked | {"target": target if opacity is not None else solid_unless_told(target, palette)}
