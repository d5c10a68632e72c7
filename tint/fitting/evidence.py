"""Every reading beside what a fit without its casting says of it: the ground of the stated error."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.colorimetry import Viewing
from tint.fitting.leaving_out import Fitted, LeftOut, one_by_one
from tint.fitting.problem import Problem
from tint.palette import Evidence

Array = NDArray[np.float64]

_LEAST = 1e-4  # squared CIEDE2000: a hundredth, which no instrument repeats. Below black a colour hangs on nothing


def gather(fitted: Fitted, view: Viewing) -> Evidence:
    """Leave every casting out in turn.

    Parameters
    ----------
    view : Viewing
        The light and observer that misses are judged in.
    """
    problem, count = fitted.problem, len(fitted.problem.read)
    foretold, missed, expected = np.empty_like(problem.read), np.empty(count), np.empty(count)
    for each in one_by_one(fitted):
        foretold[each.rows] = problem.read[each.rows] - each.missed
        missed[each.rows], expected[each.rows] = in_colour(problem, each, view)
    return Evidence(
        read=problem.read,
        fitted=fitted.minimum.shown.values,
        foretold=foretold,
        swatch=problem.readings.casting,
        backing=problem.readings.backing,
        missed=missed,
        expected=expected,
    )


def in_colour(problem: Problem, left: LeftOut, view: Viewing) -> tuple[Array, Array]:
    """Squared CIEDE2000 by which every reading was missed, and the mean square to expect; both (n_readings,)."""
    read = problem.read[left.rows]
    lab, by_reading = colorimetry.lab_slopes(np.maximum(read - left.missed, 0.0), view)
    _, by_lab = colorimetry.difference_parts_slopes(lab, lab)
    outward = by_lab @ by_reading  # (n_readings, 3, n_wavelengths)
    n, wide = read.shape
    every = np.arange(n)
    own = left.covariance.reshape(n, wide, n, wide)[every, :, every]
    missed = np.sum(colorimetry.difference_parts(lab, colorimetry.lab(read, view)) ** 2, axis=-1)
    expected = np.einsum("row,rwv,rov->r", outward, own, outward, optimize=True)
    return missed, np.maximum(expected, _LEAST)
