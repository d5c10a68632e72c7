"""Plain ways to search, to hold tint's against: scipy's SLSQP looped over sets, and differential evolution.

They minimise the very same objective through the same forward model: `aims.judge`, a blend or a population at a time.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize
from scipy.optimize import LinearConstraint, differential_evolution, minimize

from tint.recipes.aims import Problem
from tint.recipes.candidates import Bounds
from tint.recipes.choice import closeness
from tint.recipes.judging import judge

Array = NDArray[np.float64]
Index = NDArray[np.int64]

_EVEN = 3.0  # loadings are drawn as high * u ** 3, so that traces are tried as often as plenty
_OVER = 1e3  # what a percent above the total costs


@dataclass(frozen=True, eq=False)
class Ended:
    """Where a search ended: the objective, the miss with opacity counted, loadings [%]."""

    cost: float
    miss: float
    loadings: Array


def all_sets(usable: Sequence[int], most: int) -> list[tuple[int, ...]]:
    """Every set of 1 to `most` of these pigments."""
    return [chosen for size in range(1, most + 1) for chosen in itertools.combinations(usable, size)]


def slsqp(problem: Problem, chosen: Sequence[int], bounds: Bounds, start: Array) -> Ended:
    """One set from one start (shares of the largest loadings), at scipy's own tolerances."""
    sets = np.array([chosen], dtype=np.int64)
    high = bounds.high[sets[0]]

    def objective(x: Array) -> tuple[float, Array]:
        judged = judge(problem, sets, (x * high)[None])
        r = judged.residuals[0]
        return float(r @ r), 2.0 * (r @ judged.slopes[0]) * high

    found = minimize(
        objective,
        np.minimum(start, bounds.total / high.sum()),
        jac=True,
        method="SLSQP",
        bounds=[(float(low), 1.0) for low in bounds.low[sets[0]] / high],
        constraints=LinearConstraint(high[None], -np.inf, bounds.total),
    )
    return _ended(problem, sets, np.clip(found.x, 0.0, 1.0) * high)


def _ended(problem: Problem, sets: Index, loadings: Array) -> Ended:
    judged = judge(problem, sets, loadings[None])
    return Ended(float(np.sum(judged.residuals**2)), float(closeness(judged)[2][0]), loadings)


def many_starts(problem: Problem, chosen: Sequence[int], bounds: Bounds, *, starts: int) -> Ended:
    """The best of several starts: three even shares of the limits, then random ones."""
    rng = np.random.default_rng([len(chosen), *chosen])
    shares = [np.full(len(chosen), share) for share in (0.02, 0.15, 0.5)][:starts]
    shares += [rng.random(len(chosen)) ** _EVEN for _ in range(starts - len(shares))]
    return min((slsqp(problem, chosen, bounds, share) for share in shares), key=lambda found: found.cost)


def evolved(problem: Problem, chosen: Sequence[int], bounds: Bounds, *, most: int, seed: int) -> Ended:
    """Differential evolution over these pigments, at most `most` of them, then SLSQP from where it ended.

    Of a candidate with more pigments the smallest doses are dropped; a total above the limit costs dearly.
    """
    pigments = np.array(chosen, dtype=np.int64)
    high = bounds.high[pigments]

    def largest(u: Array) -> tuple[Index, Array]:
        loadings = (u.T**_EVEN) * high
        pick = np.sort(np.argsort(-loadings, axis=1)[:, :most], axis=1)
        return pick, np.take_along_axis(loadings, pick, axis=1)

    def cost(u: Array, /) -> Array:
        pick, loadings = largest(u)
        over = np.maximum(loadings.sum(axis=1) - bounds.total, 0.0)
        return np.asarray(np.sum(judge(problem, pigments[pick], loadings).residuals ** 2, axis=1) + _OVER * over)

    found = differential_evolution(
        cost,  # type: ignore[arg-type]  # vectorized: one number a column
        optimize.Bounds(np.zeros(len(pigments)), np.ones(len(pigments))),
        maxiter=150,
        popsize=12,
        tol=1e-8,
        rng=seed,
        vectorized=True,
        updating="deferred",
        polish=False,
    )
    pick, loadings = largest(found.x[:, None])
    kept = pigments[pick[0]]
    polished = slsqp(problem, kept.tolist(), bounds, loadings[0] / bounds.high[kept])
    return min((_ended(problem, kept[None], loadings[0]), polished), key=lambda each: each.cost)
