"""Doses that a scale can weigh: of the roundings next to a recipe, the one that predicts best."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from tint.materials import Blend
from tint.recipes.aims import Problem, judge
from tint.recipes.answer import Rules
from tint.recipes.sets import Bounds

Array = NDArray[np.float64]
Index = NDArray[np.int64]

_TRUSTED_STEPS = 20  # a dose of fewer steps is off by up to 2.5 % from rounding alone


def best_roundings(problem: Problem, sets: Index, loadings: Array, step: float, bounds: Bounds) -> Array:
    """Loadings as whole steps, each up or down, whichever choice misses the target least.

    Parameters
    ----------
    sets, loadings : ndarray, shape (n, m)
        Blends [%].
    step : float
        What one step of the scale is in the batch [%].

    Returns
    -------
    ndarray, shape (n, m)
        Rounded down where no choice is within the bounds.
    """
    n, m = loadings.shape
    below = np.floor(loadings / step + 1e-9)
    best, least = below * step, np.full(n, np.inf)
    low, high = bounds.low[sets], bounds.high[sets]
    fixed = (low == high) & (high > 0.0)  # to the nearest step, whatever it is
    low, high = np.where(fixed, loadings - 0.5 * step, low), np.where(fixed, loadings + 0.5 * step, high)
    for ups in itertools.product((0.0, 1.0), repeat=m):
        trial = (below + np.array(ups)) * step
        trial = np.where(loadings > 0.0, trial, 0.0)
        # A step over a limit by less than its own width is no sin, but it is not taken.
        inside = np.all((trial >= low - 1e-9) & (trial <= high + 1e-9), axis=1)
        inside &= trial.sum(axis=1) <= bounds.total + 1e-9
        cost = np.sum(judge(problem, sets, trial).residuals ** 2, axis=1)
        better = inside & (cost < least)
        best, least = np.where(better[:, None], trial, best), np.where(better, cost, least)
    return best


def too_small(blend: Blend, rules: Rules) -> tuple[str, ...]:
    """Pigments whose dose in the batch is too few steps of the scale to be weighed well."""
    if rules.batch_g is None or rules.scale_step_g is None:
        return ()
    least = _TRUSTED_STEPS * rules.scale_step_g
    return tuple(name for name, x in blend.loadings.items() if x * rules.batch_g / 100.0 < least - 1e-9)
