"""Least squares over many small sets of pigments at once, each within its bounds and a common total.

Every row of a batch is one set of pigments from one starting point. All rows step together: Levenberg-Marquardt with
the colour difference's own parts as residuals, bounds kept by holding what would leave them, the total by an equality
while it binds. Rows that stop gaining are taken out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tint.spectra import Array, Index, Mask

_FREE = 0.1  # damping up to which a step is about what least squares would do

# (rows (n,), loadings (n, m)) to residuals (n, r) and slopes (n, r, m)
Residuals = Callable[[Index, Array], tuple[Array, Array]]


@dataclass(frozen=True, eq=False)
class Found:
    """Where each row ended."""

    loadings: Array  # shape (n, m): [%]
    cost: Array  # shape (n,): sum of squared residuals
    pull: Array  # shape (n, m): minus half the gradient: positive where more of a pigment would still help


def minimise(
    residuals: Residuals,
    start: Array,
    *,
    low: Array,
    high: Array,
    total: float,
    most_steps: int = 80,
    tolerance: float = 1e-8,
    floor: float = 1e-14,
) -> Found:
    """Minimise each row's sum of squares over low <= loadings <= high with their sum at most `total`.

    `residuals`: given numbers of rows and their loadings.
    `start`, `low`, `high` (n, m) [%]
    `tolerance`, `floor`: a row ends where a step gains less than this share of its cost and this.
    """
    x = into_bounds(start, low, high, total)
    r, slopes = residuals(np.arange(len(start)), x)
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
        trial = _snapped(into_bounds(x[live] + step, low[live], high[live], total), low[live], high[live], total)
        still = np.max(np.abs(step), axis=1, initial=0.0) <= 1e-9 * total
        idle[live[still]] = 2  # nothing that is free would move
        live, trial = live[~still], trial[~still]
        if live.size == 0:
            continue
        r, slopes = residuals(live, trial)
        trial_cost = np.sum(r**2, axis=1)
        better = trial_cost < cost[live]
        small = cost[live] - trial_cost < tolerance * cost[live] + floor
        # A step that gains little is the last where it was hardly damped; where it was held short the second is.
        ended = np.where(damping[live] <= _FREE, 2, idle[live] + 1)
        idle[live] = np.where(better & small, ended, np.where(better, 0, idle[live]))
        damping[live] *= np.where(better, 0.2, 6.0)
        won = live[better]
        x[won], cost[won] = trial[better], trial_cost[better]
        pull[won] = np.einsum("nr,nrm->nm", -r[better], slopes[better])
        curve[won] = np.einsum("nrm,nrk->nmk", slopes[better], slopes[better])
    return Found(x, cost, pull)


def into_bounds(x: Array, low: Array, high: Array, total: float) -> Array:
    """The loadings brought within their bounds, then (what is above `low` shrunk alike) within the total."""
    inside = np.minimum(np.maximum(x, low), high)
    held = inside.sum(axis=1)
    over = held > total
    if not over.any():
        return inside
    floor = low.sum(axis=1)
    room = np.maximum(total - floor, 0.0) / np.maximum(held - floor, 1e-300)
    return np.where(over[:, None], low + (inside - low) * room[:, None], inside)


def _snapped(x: Array, low: Array, high: Array, total: float) -> Array:
    """On a bound what is a rounding away from it: only there is it held."""
    near = 1e-13 * total
    return np.where(x - low <= near, low, np.where(high - x <= near, high, x))


def _step(x: Array, pull: Array, curve: Array, damping: Array, low: Array, high: Array, total: float) -> Array:
    size = np.einsum("nmm->nm", curve)
    scale = np.where(size > 0.0, size, 1.0)
    damped = curve.copy()
    np.einsum("nmm->nm", damped)[...] += (damping[:, None] + 1e-10) * scale
    held = ((x <= low) & (pull <= 0.0)) | ((x >= high) & (pull >= 0.0))
    step = _solve(damped, pull[..., None], held)[..., 0]
    over = np.flatnonzero((x + step).sum(axis=1) > total)
    if over.size:
        step[over] = _step_to_total(x[over], pull[over], damped[over], low[over], high[over], total)
    return step


def _solve(damped: Array, right: Array, held: Mask) -> Array:
    """Solve for what is free; 0 for what is held."""
    if held.any():
        either = held[:, :, None] | held[:, None, :]
        damped = np.where(either, np.eye(held.shape[1]), damped)
        right = np.where(held[..., None], 0.0, right)
    return np.asarray(np.linalg.solve(damped, right), dtype=float)


def _step_to_total(x: Array, pull: Array, damped: Array, low: Array, high: Array, total: float) -> Array:
    """The step that ends at the total: what would pass a bound is set on it, and the others make up for it."""
    worth = pull - _price(x, pull, damped, low, high, total)[:, None]
    held = ((x <= low) & (worth <= 0.0)) | ((x >= high) & (worth >= 0.0))
    step = np.zeros_like(x)
    for _ in range(x.shape[1]):
        right = worth - np.einsum("nij,nj->ni", damped, np.where(held, step, 0.0))
        solved = _solve(damped, np.stack((right, np.ones_like(right)), axis=-1), held)
        free, along = solved[..., 0], solved[..., 1]
        excess = (x + np.where(held, step, free)).sum(axis=1) - total
        free = free - (excess / np.maximum(along.sum(axis=1), 1e-300))[:, None] * along
        step = np.where(held, step, np.clip(free, low - x, high - x))
        passed = ~held & (step != free)
        if not passed.any():
            break
        held = held | passed
    return step


def _price(x: Array, pull: Array, damped: Array, low: Array, high: Array, total: float) -> Array:
    """What a percent of the total is worth where the total binds, shape (n,).

    A pigment whose pull is less than that gives way to the others, even from its largest loading. The price is the one
    at which the steps that the bounds allow, pull less price over curvature, end at the total; their sum falls with the
    price in straight pieces, with a corner at every pull.
    """
    corners = np.sort(np.concatenate((np.zeros((len(x), 1)), np.maximum(pull, 0.0)), axis=1), axis=1)
    steps = (pull[:, None, :] - corners[:, :, None]) / np.einsum("nmm->nm", damped)[:, None, :]
    barred = ((x <= low)[:, None, :] & (steps < 0.0)) | ((x >= high)[:, None, :] & (steps > 0.0))
    excess = np.sum(x, axis=1)[:, None] + np.sum(np.where(barred, 0.0, steps), axis=2) - total
    # Falling along the corners, to 0 or less at the last: where does it pass 0?
    after = np.argmax(excess <= 1e-12 * total, axis=1)
    before, each = np.maximum(after - 1, 0), np.arange(len(x))
    above, below = excess[each, before], excess[each, after]
    share = np.where(after > 0, above / np.maximum(above - below, 1e-300), 0.0)
    return np.asarray(corners[each, before] + share * (corners[each, after] - corners[each, before]))
