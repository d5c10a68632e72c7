"""Doses that a scale can weigh: alone in whole steps, or let down in base first, at most twice."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tint.materials import Blend
from tint.palette import Palette
from tint.recipes.aims import Problem, judge
from tint.recipes.answer import Rules
from tint.recipes.sets import Bounds
from tint.weighing import Scale
from tint.weighing.premix import TOLERANCE_PERCENT, WEAKEST, premixes

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Truth = NDArray[np.bool_]

_LARGER = (1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 10.0, 20.0)  # times the batch
_OF_A_PREMIX = 1.3  # of the smallest weighing: what is weighed of a premix, its strength being a round number


def scale_of(rules: Rules) -> Scale | None:
    """The scale that doses are weighed on; None where scale or batch are not told."""
    if rules.batch_g is None or rules.scale_step_g is None:
        return None
    return Scale(step_g=rules.scale_step_g, tolerance_percent=rules.dose_tolerance_percent or TOLERANCE_PERCENT)


def least_dose(palette: Palette, base: str, rules: Rules) -> float:
    """The least loading that can be weighed, through two premixes; 0 where the batch has no base for one [%]."""
    scale = scale_of(rules)
    if scale is None or _part_g(palette, base, rules) < (1.0 + _OF_A_PREMIX) * scale.smallest_g:
        return 0.0
    return 100.0 * scale.smallest_g / WEAKEST / float(rules.batch_g or 1.0)


def _part_g(palette: Palette, base: str, rules: Rules, loading: float = 0.0) -> float:
    """What the batch holds of the part that takes the pigment [g]."""
    own = palette.bases[base]
    return float(rules.batch_g or 0.0) * (1.0 - loading / 100.0) * own.mix[own.pigment_in] / sum(own.mix.values())


def unweighable(palette: Palette, blend: Blend, rules: Rules) -> tuple[str, ...]:
    """Pigments of which the scale cannot weigh the dose, not even let down in base twice."""
    scale = scale_of(rules)
    if scale is None:
        return ()
    doses = {name: x * float(rules.batch_g or 0.0) / 100.0 for name, x in blend.loadings.items() if x > 0.0}
    part = palette.bases[blend.base].pigment_in
    made = premixes(doses, scale=scale, part=part, base_g=_part_g(palette, blend.base, rules, blend.total), lots={})
    return tuple(name for name, grams in doses.items() if grams < scale.least_g and name not in made)


def least_batch(palette: Palette, blend: Blend, rules: Rules) -> float | None:
    """The batch in which the scale weighs a recipe, its size going up in steps; None where the batch does, or up to
    twenty times of it do not [g].
    """
    now = float(rules.batch_g or 0.0)
    for factor in _LARGER:
        batch = now * factor
        if not unweighable(palette, blend, replace(rules, batch_g=batch)):
            return batch if factor > 1.0 else None
    return None


def too_small(blend: Blend, rules: Rules) -> tuple[str, ...]:
    """Pigments whose dose the scale does not weigh to the tolerance as it is: it takes a premix."""
    scale = scale_of(rules)
    if scale is None:
        return ()
    batch = float(rules.batch_g or 0.0)
    return tuple(name for name, x in blend.loadings.items() if x * batch / 100.0 < scale.least_g)


def to_round(palette: Palette, base: str, loadings: Array, rules: Rules) -> Truth:
    """Which doses are weighed as they are, and so in whole steps; like the loadings, shape (n, m)."""
    scale = scale_of(rules)
    if scale is None:
        return np.zeros(loadings.shape, dtype=bool)
    if least_dose(palette, base, rules) == 0.0:
        return np.ones(loadings.shape, dtype=bool)
    return np.asarray(loadings * float(rules.batch_g or 0.0) / 100.0 >= scale.least_g)


def best_roundings(
    problem: Problem, sets: Index, loadings: Array, step: float, bounds: Bounds, rounded: Truth | None = None
) -> Array:
    """Loadings as whole steps, each up or down, whichever choice misses the target least.

    Parameters
    ----------
    sets, loadings : ndarray, shape (n, m)
        Blends [%].
    step : float
        What one step of the scale is in the batch [%].
    rounded : ndarray of bool, shape (n, m), optional
        Which doses are to be whole steps; all, when absent. One that is fixed stands as it is.

    Returns
    -------
    ndarray, shape (n, m)
        As they were where no choice is within the bounds.
    """
    n, m = loadings.shape
    low, high = bounds.low[sets], bounds.high[sets]
    rounded = (loadings > 0.0) & (low < high) & (True if rounded is None else rounded)
    below = np.floor(loadings / step + 1e-9)
    best, least = loadings, np.full(n, np.inf)
    for ups in itertools.product((0.0, 1.0), repeat=m):
        trial = np.where(rounded, (below + np.array(ups)) * step, loadings)
        inside = np.all((trial >= low - 1e-9) & (trial <= high + 1e-9) | ~rounded, axis=1)
        inside &= trial.sum(axis=1) <= bounds.total + 1e-9
        cost = np.sum(judge(problem, sets, trial).residuals ** 2, axis=1)
        better = inside & (cost < least)
        best, least = np.where(better[:, None], trial, best), np.where(better, cost, least)
    return best
