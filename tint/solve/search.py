"""Least squares over many small sets of pigments at once, each within its bounds and a common total.

Every row of a batch is one set of pigments from one starting point. All rows step together: Levenberg-Marquardt with
the colour difference's own parts as residuals, bounds kept by holding what would leave them, the total by an equality
while it binds. Rows that stop gaining are taken out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.int64]

# (sets (n, m), loadings (n, m)) to residuals (n, r) and slopes (n, r, m)
Residuals = Callable[[Index, Array], tuple[Array, Array]]


@dataclass(frozen=True, eq=False)
class Found:
    """Where each row ended.

    Parameters
    ----------
    loadings : ndarray, shape (n, m)
        [%]
    cost : ndarray, shape (n,)
        Sum of squared residuals.
    pull : ndarray, shape (n, m)
        Minus half the gradient: positive where more of a pigment would still help.
    """

    loadings: Array
    cost: Array
    pull: Array


def minimise(
    residuals: Residuals,
    sets: Index,
    start: Array,
    *,
    low: Array,
    high: Array,
    total: float,
    most_steps: int = 80,
    tolerance: float = 1e-8,
) -> Found:
    """Minimise each row's sum of squares over low <= loadings <= high with their sum at most `total`.

    Parameters
    ----------
    residuals : callable
    sets : ndarray of int, shape (n, m)
        Handed on to `residuals`, row by row.
    start, low, high : ndarray, shape (n, m)
        [%]
    """
    x = into_bounds(start, low, high, total)
    r, slopes = residuals(sets, x)
    cost = np.sum(r**2, axis=1)
    damping = np.full(cost.shape, 1e-2)
    pull = np.einsum("nr,nrm->nm", -r, slopes)
    curve = np.einsum("nrm,nrk->nmk", slopes, slopes)
    idle = np.zeros(cost.shape, dtype=int)
    for _ in range(most_steps):
        live = np.flatnonzero((idle < 2) & (damping < 1e8))
        if live.size == 0:
            break
        step = _step(x[live], pull[live], curve[live], damping[live], low[live], high[live], total)
        trial = into_bounds(x[live] + step, low[live], high[live], total)
        r, slopes = residuals(sets[live], trial)
        trial_cost = np.sum(r**2, axis=1)
        better = trial_cost < cost[live]
        small = cost[live] - trial_cost < tolerance * (cost[live] + 1e-6)
        idle[live] = np.where(better & small, idle[live] + 1, np.where(better, 0, idle[live]))
        damping[live] *= np.where(better, 0.2, 6.0)
        won = live[better]
        x[won], cost[won] = trial[better], trial_cost[better]
        pull[won] = np.einsum("nr,nrm->nm", -r[better], slopes[better])
        curve[won] = np.einsum("nrm,nrk->nmk", slopes[better], slopes[better])
    return Found(x, cost, pull)


def into_bounds(x: Array, low: Array, high: Array, total: float) -> Array:
    """The loadings brought within their bounds, then (what is above `low` shrunk alike) within the total."""
    inside = np.clip(x, low, high)
    over = inside.sum(axis=1) > total
    floor = low.sum(axis=1)
    room = np.maximum(total - floor, 0.0) / np.maximum(inside.sum(axis=1) - floor, 1e-300)
    return np.where(over[:, None], low + (inside - low) * room[:, None], inside)


def _step(x: Array, pull: Array, curve: Array, damping: Array, low: Array, high: Array, total: float) -> Array:
    held = ((x <= low) & (pull <= 0.0)) | ((x >= high) & (pull >= 0.0))
    size = np.einsum("nmm->nm", curve)
    scale = np.where(size > 0.0, size, 1.0)
    both_free = ~(held[:, :, None] | held[:, None, :])
    eye = np.eye(x.shape[1])
    system = np.where(both_free, curve, 0.0)
    system = system + eye * np.where(held, scale, (damping[:, None] + 1e-10) * scale)[:, None, :]
    # One solve serves both the free step and the direction that the total's multiplier adds.
    right = np.stack((np.where(held, 0.0, pull), np.where(held, 0.0, 1.0)), axis=-1)
    solved = np.linalg.solve(system, right)
    step, along = solved[..., 0], solved[..., 1]
    excess = (x + step).sum(axis=1) - total
    give = np.where(excess > 0.0, excess / np.maximum(along.sum(axis=1), 1e-300), 0.0)
    return np.asarray(step - give[:, None] * along)
