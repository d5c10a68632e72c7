"""What a fit settles from round to round: the model's error, what each casting counts, the beams that stand for hazes.

A reading counts by its noise, by what the model itself leaves, and by whether its casting stands apart.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tint import colorimetry
from tint.fitting.problem import Problem
from tint.fitting.unknowns import Unknowns, made, seen_at
from tint.forward import TRANSMITTANCE
from tint.spectra import Array
from tint.swatches import Reading, SwatchFolder
from tint.swatches.records import HAZEMETER, NO_BACKING, REGULAR, SPECTRA

# Times the median residual, from where a casting loses weight, unless a tenth of all castings are nearly as far out:
# then it is the model that misses them (tests/figures/judgement.py).
_OUTLYING, _CROWD = 2.5, 1.8
_LARGEST = 100.0  # model error: more than any reading can be off by, however little was predicted
_PASSES = 3  # of telling model error and outliers apart (judgement)


@dataclass(frozen=True, eq=False)
class Weighting:
    """The model's error as a share of reflectance^(2/3), which is even in lightness, and each casting's weight."""

    model_error: float
    casting: Array


def standard_deviation(problem: Problem, predicted: Array, model_error: float) -> Array:
    """Of each value against the fit, shape (n_readings, n_wavelengths).

    Where nothing is predicted, as through a part that hides, the model may still be wrong by what noise looks like.
    """
    least = problem.noise
    return np.asarray(np.hypot(least, model_error * np.maximum(predicted, least) ** (2.0 / 3.0)))


def weights(problem: Problem, predicted: Array, weighting: Weighting) -> Array:
    """One over the standard deviation of each value, the casting's weight in it."""
    counted = np.sqrt(weighting.casting[problem.readings.casting])[:, None]
    return np.asarray(counted / standard_deviation(problem, predicted, weighting.model_error))


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
    model_error = 0.0
    for _ in range(_PASSES):
        model_error = _model_error(problem, squared, predicted, weight, spent)
        standard = squared / standard_deviation(problem, predicted, model_error) ** 2
        size = np.sqrt(np.bincount(of, standard.mean(axis=1), count) / np.bincount(of, minlength=count))
        far = max(_OUTLYING * float(np.median(size)), _CROWD * float(np.quantile(size, 0.9)), 1e-12)
        weight = np.minimum(1.0, (far / np.maximum(size, 1e-12)) ** 2)
    return Weighting(model_error, weight)


def _model_error(problem: Problem, squared: Array, predicted: Array, weight: Array, spent: float) -> float:
    from scipy.optimize import brentq

    counted = weight[problem.readings.casting]
    counted[problem.haze_rows] = 0.0  # they follow the model
    values = float(counted.sum()) * problem.n_wavelengths
    wanted = max(values - spent, 0.2 * values)

    def excess(model_error: float) -> float:
        standard = squared / standard_deviation(problem, predicted, model_error) ** 2
        return float(np.sum(standard * counted[:, None])) - wanted

    if excess(0.0) <= 0.0:
        return 0.0
    return float(brentq(excess, 0.0, _LARGEST, xtol=1e-6)) if excess(_LARGEST) < 0.0 else _LARGEST


# Haze is one number of all wavelengths together, and a fit's equations are of each alone. So a reading of regular
# transmittance stands for it, of the shape that the fit itself finds and of the height that has the haze. It moves with
# the fit from round to round, and each wavelength of it is as uncertain as makes all of them say as much as the one
# number does.


_FLAT = 0.9  # total transmittance to begin with
_DARK = 1e-6  # luminous regular transmittance below which its shape says nothing
_SETTLED = 0.2  # standard deviations within which no value moves any more


def as_beams(folder: SwatchFolder) -> SwatchFolder:
    """A folder with a reading for the haze of every casting that was read, but of those whose beam was read itself."""
    read = {each.swatch for each in folder.readings}
    known = {each.swatch for each in folder.readings if each.quantity == REGULAR}
    if folder.kind != SPECTRA:
        return folder
    beams = tuple(
        Reading(
            swatch=each.name,
            backing=NO_BACKING,
            seat="air",
            quantity=REGULAR,
            values=np.full(folder.wavelengths.size, _FLAT * (1.0 - each.haze)),
            source=HAZEMETER,
            row=each.row,
        )
        for each in folder.swatches
        if each.haze is not None and each.name in read - known
    )
    return replace(folder, readings=folder.readings + beams) if beams else folder


def at_height(problem: Problem, at: Unknowns, beams: Array) -> Problem:
    """A problem whose readings for hazes have the shape of `beams`, what is predicted of them, and those hazes."""
    rows = problem.haze_rows
    if not rows.size:
        return problem
    as_made = made(problem, at)
    once = replace(
        problem.readings,
        casting=problem.readings.casting[rows],
        backing=np.full(rows.size, TRANSMITTANCE, dtype=np.int64),
        wet=problem.readings.wet[rows],
        base=problem.readings.base[rows],
        faces=(),
    )
    optics = tuple(replace(each, spot=None) for each in problem.optics)  # a hazemeter's port is wide
    total = seen_at(problem, at, once, as_made.mixed, as_made.thickness, optics=optics).values
    luminance = colorimetry.viewing(problem.wavelengths, light="C", observer=2).weights[:, 1]
    wanted = (1.0 - problem.haze) * (total @ luminance) / luminance.sum()
    now = (beams @ luminance) / luminance.sum()
    shape = np.where(now[:, None] > _DARK, beams, total)
    height = wanted / np.maximum((shape @ luminance) / luminance.sum(), _DARK)
    read = problem.read.copy()
    read[rows] = shape * height[:, None]
    return replace(problem, read=read)


def have_settled(before: Problem, after: Problem) -> bool:
    """Whether readings for hazes move no more than their own uncertainty allows."""
    moved = np.abs(after.read - before.read)[after.haze_rows]
    return bool(np.all(moved <= _SETTLED * after.noise[after.haze_rows]))
