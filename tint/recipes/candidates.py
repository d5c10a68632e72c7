"""Candidates: sets of pigments with their loadings, picked, joined, replaced, and brought to their optimum."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tint.recipes.aims import Problem
from tint.recipes.judging import judge, spread
from tint.recipes.search import Found, minimise
from tint.spectra import Array, Index, Mask

_NAMES = ("sets", "loadings", "cost", "pull", "room")
_ALIKE = 0.02  # doses that differ by no more than this share make one recipe
_FLOOR = 1e-8  # a gain of less cost moves a colour by 1e-4 CIEDE2000 at most


@dataclass(frozen=True, eq=False)
class Bounds:
    """Limits of the loadings, shape (n_pigments + 1,), the empty slot last [%]; and of their sum."""

    low: Array
    high: Array
    total: float

    @property
    def largest(self) -> Array:
        """What each pigment can reach alone, within the total, shape (n_pigments + 1,) [%]."""
        return np.minimum(self.high, self.total)


@dataclass(frozen=True, eq=False)
class Candidates:
    """Sets at their optimum."""

    sets: Index  # shape (n, most): pigments of each; the number of pigments stands for an empty slot
    # loadings, pull: shape (n, most): as `search.Found`
    loadings: Array
    cost: Array  # shape (n,)
    pull: Array
    room: Array  # shape (n, 3): that their opacity is to have to its bounds, as of `aims.Problem`

    def rows(self, chosen: Index | Mask) -> Candidates:
        """Some of them."""
        return Candidates(*(getattr(self, name)[chosen] for name in _NAMES))


def where_ended(sets: Index, found: Found, chosen: Index | slice = slice(None)) -> Candidates:
    """Where a search ended, in no need of room."""
    return Candidates(sets, found.loadings[chosen], found.cost[chosen], found.pull[chosen], np.zeros((len(sets), 3)))


def joined(several: Sequence[Candidates]) -> Candidates:
    """Several as one."""
    return Candidates(*(np.concatenate([getattr(each, name) for each in several]) for name in _NAMES))


def put(whole: Candidates, rows: Mask, part: Candidates) -> Candidates:
    """The whole with some of its rows replaced."""
    told = [np.array(getattr(whole, name)) for name in _NAMES]
    for values, name in zip(told, _NAMES, strict=True):
        values[rows] = getattr(part, name)
    return Candidates(*told)


def same(later: Candidates, earlier: Candidates) -> Mask:
    """Which recipes are one but for what nobody could weigh apart, shape (n_later, n_earlier)."""
    n = 1 + max(int(later.sets.max()), int(earlier.sets.max()))
    one, two = spread(later.sets, later.loadings, n)[:, None], spread(earlier.sets, earlier.loadings, n)[None]
    return np.asarray(np.all(np.abs(one - two) <= _ALIKE * np.maximum(one, two), axis=2))


def optimise(
    problem: Problem,
    sets: Index,
    start: Array,
    bounds: Bounds,
    *,
    tolerance: float,
    most_steps: int,
    emphasis: Array | None = None,
) -> Found:
    """The optimum of each set near loadings to start from; all else as of `search.minimise` and `judging.judge`."""

    def residuals(rows: Index, loadings: Array) -> tuple[Array, Array]:
        weights = None if emphasis is None else emphasis[rows]
        judged = judge(problem, sets[rows], loadings, rows, weights)
        return judged.residuals, judged.slopes

    return minimise(
        residuals,
        start,
        low=bounds.low[sets],
        high=bounds.high[sets],
        total=bounds.total,
        tolerance=tolerance,
        floor=_FLOOR,
        most_steps=most_steps,
    )
