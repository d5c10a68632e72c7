"""What a reading counts in the fit: its noise, what the model itself leaves, and whether its casting stands apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.fitting.problem import Problem

Array = NDArray[np.float64]

# Times the median residual, from where a casting loses weight, unless a tenth of all castings are nearly as far out:
# then it is the model that misses them (tests/figures/judgement.py).
_OUTLYING, _CROWD = 2.5, 1.8
_LARGEST = 100.0  # model error: more than any reading can be off by, however little was predicted
_PASSES = 3  # of telling model error and outliers apart (judgement)


@dataclass(frozen=True, eq=False)
class Weighting:
    """The model's error as a share of reflectance^(2/3), which is even in lightness, and each casting's weight."""

    misfit: float
    casting: Array


def standard_deviation(problem: Problem, predicted: Array, misfit: float) -> Array:
    """Of each value against the fit, shape (n_readings, n_wavelengths).

    Where nothing is predicted, as through a part that hides, the model may still be wrong by what noise looks like.
    """
    least = problem.noise
    return np.asarray(np.hypot(least, misfit * np.maximum(predicted, least) ** (2.0 / 3.0)))


def weights(problem: Problem, predicted: Array, weighting: Weighting) -> Array:
    """One over the standard deviation of each value, the casting's weight in it."""
    counted = np.sqrt(weighting.casting[problem.readings.casting])[:, None]
    return np.asarray(counted / standard_deviation(problem, predicted, weighting.misfit))


def weigh(problem: Problem, predicted: Array, spent: float) -> Weighting:
    """The model error that makes the residuals as large as they are said to be, and the castings that stand out.

    Parameters
    ----------
    spent : float
        How many unknowns the readings had to pin down.
    """
    squared = (problem.read - predicted) ** 2
    of, count = problem.readings.casting, problem.thickness.size
    weight = np.ones(count)
    misfit = 0.0
    for _ in range(_PASSES):
        misfit = _misfit(problem, squared, predicted, weight, spent)
        standard = squared / standard_deviation(problem, predicted, misfit) ** 2
        size = np.sqrt(np.bincount(of, standard.mean(axis=1), count) / np.bincount(of, minlength=count))
        far = max(_OUTLYING * float(np.median(size)), _CROWD * float(np.quantile(size, 0.9)), 1e-12)
        weight = np.minimum(1.0, (far / np.maximum(size, 1e-12)) ** 2)
    return Weighting(misfit, weight)


def _misfit(problem: Problem, squared: Array, predicted: Array, weight: Array, spent: float) -> float:
    from scipy.optimize import brentq

    counted = weight[problem.readings.casting]
    counted[problem.haze_rows] = 0.0  # they follow the model
    values = float(counted.sum()) * problem.n_wavelengths
    wanted = max(values - spent, 0.2 * values)

    def excess(misfit: float) -> float:
        standard = squared / standard_deviation(problem, predicted, misfit) ** 2
        return float(np.sum(standard * counted[:, None])) - wanted

    if excess(0.0) <= 0.0:
        return 0.0
    return float(brentq(excess, 0.0, _LARGEST, xtol=1e-6)) if excess(_LARGEST) < 0.0 else _LARGEST
