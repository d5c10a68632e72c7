"""Every reading beside what a fit without its casting says of it: the ground of the stated error."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.colorimetry import Viewing
from tint.fit.leaving_out import Fitted, one_by_one
from tint.palette import Evidence

Array = NDArray[np.float64]


def gather(fitted: Fitted, view: Viewing) -> Evidence:
    """Leave every casting out in turn.

    Parameters
    ----------
    view : Viewing
        The light and observer that misses are judged in.
    """
    problem = fitted.problem
    foretold, expected = np.empty_like(problem.read), np.empty(len(problem.read))
    for each in one_by_one(fitted):
        foretold[each.rows] = problem.read[each.rows] - each.missed
        lab, by_reading = colorimetry.lab_slopes(np.maximum(foretold[each.rows], 0.0), view)
        _, by_lab = colorimetry.difference_parts_slopes(lab, lab)
        outward = by_lab @ by_reading  # (n_readings, 3, n_wavelengths)
        n, wide = each.rows.size, problem.n_wavelengths
        every = np.arange(n)
        own = each.covariance.reshape(n, wide, n, wide)[every, :, every]
        expected[each.rows] = np.einsum("row,rwv,rov->r", outward, own, outward, optimize=True)
    lab = colorimetry.lab(np.maximum(foretold, 0.0), view)
    parts = colorimetry.difference_parts(lab, colorimetry.lab(problem.read, view))
    return Evidence(
        read=problem.read,
        fitted=fitted.minimum.shown.values,
        foretold=foretold,
        swatch=problem.readings.casting,
        backing=problem.readings.backing,
        missed=np.sum(parts**2, axis=-1),
        expected=expected,
    )
