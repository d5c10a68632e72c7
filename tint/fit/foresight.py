"""How well the fit would have foretold each swatch, had that swatch not been there: the ground of the stated error.

Every swatch is left out in turn, by linear algebra rather than by fitting again, and foretold from the thickness and
doses as written, which is all that a maker knows of a casting to come. The misses are set against those that the
palette's covariance, thickness, doses and reading noise lead one to expect. Where alike swatches were missed by more,
a prediction says so.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.colorimetry import Viewing
from tint.fit.problem import Forward, Problem
from tint.palette import Evidence

Array = NDArray[np.float64]

_LEVERAGE = 0.05  # a reading that alone holds up a coefficient cannot be foretold: its miss is kept from running away


def evidence(
    problem: Problem,
    view: Viewing,
    *,
    at: Forward,
    shared: Array,
    scale: Array,
    weight: Array,
    local: Array,
    modes: Array,
) -> Evidence:
    """Set every reading beside what a fit without its swatch says of it.

    Parameters
    ----------
    view : Viewing
        The light and observer that misses are judged in.
    at : Forward
        The fit's predictions and slopes.
    shared : ndarray, shape (n_shared,)
        Fitted thickness and dose shifts, in standard deviations.
    scale : ndarray, shape (n_readings, n_wavelengths)
        Standard deviation of each reading in the fit.
    weight : ndarray, shape (n_swatches,)
    local, modes : ndarray
        The palette's covariance.
    """
    missed, variance = _left_out(problem, at, shared, scale, weight, local)
    foretold = problem.read - missed
    lab, by_reading = colorimetry.lab_slopes(np.maximum(foretold, 0.0), view)
    _, by_lab = colorimetry.difference_parts_slopes(lab, lab)
    outward = by_lab @ by_reading  # (n_readings, 3, n_wavelengths)
    parts = colorimetry.difference_parts(lab, colorimetry.lab(problem.read, view))
    return Evidence(
        read=problem.read,
        fitted=at.predicted,
        foretold=foretold,
        swatch=np.unique(problem.swatch, return_inverse=True)[1],  # the palette lists only swatches that were read
        backing=problem.backing,
        missed=np.sum(parts**2, axis=-1),
        expected=_expected(problem, outward, at, variance, modes),
    )


def _left_out(
    problem: Problem, at: Forward, shared: Array, scale: Array, weight: Array, local: Array
) -> tuple[Array, Array]:
    """Miss of each reading, had its swatch not been fitted, and the fit's own variance there.

    Both of shape (n_readings, n_wavelengths).

    Notes
    -----
    With the hat matrix H of a swatch's own readings at one wavelength, its residual e becomes ``(I - H)^-1 e`` when it
    is left out, and the variance of what is foretold ``(I - H)^-1 H`` (Cook and Weisberg 1982, Residuals and Influence
    in Regression, 2.2; from memory). Readings of one swatch leave together, whatever their backing.
    """
    shift = np.append(shared, 0.0)[problem.own][problem.swatch]
    missed = (problem.read - at.predicted).T + np.einsum("wmu,mu->wm", at.by_own, shift)
    variance = np.empty_like(missed)
    slopes = at.by_theta * (np.sqrt(weight[problem.swatch])[:, None] / scale).T[..., None]
    for swatch in np.unique(problem.swatch):
        rows = np.flatnonzero(problem.swatch == swatch)
        own, size = slopes[:, rows], scale.T[:, rows]
        hat = own @ local @ np.swapaxes(own, 1, 2)
        right = np.concatenate((hat, (missed[:, rows] / size)[..., None]), axis=-1)
        solved = np.linalg.solve(np.eye(rows.size) * (1.0 + _LEVERAGE) - hat, right)
        missed[:, rows] = size * solved[..., -1]
        variance[:, rows] = size**2 * np.einsum("wii->wi", solved[..., :-1])
    return missed.T, variance.T


def _expected(problem: Problem, outward: Array, at: Forward, variance: Array, modes: Array) -> Array:
    """Mean square CIEDE2000 to expect of each miss, shape (n_readings,)."""
    alone = np.sum(outward**2 * (variance + problem.instrument.repeatability**2)[:, None, :], axis=(1, 2))
    made = np.einsum("mow,wmu->mou", outward, at.by_own, optimize=True)
    common = np.einsum("mow,wmp,rwp->mor", outward, at.by_theta, modes, optimize=True)
    return np.asarray(alone + np.sum(made**2, axis=(1, 2)) + np.sum(common**2, axis=(1, 2)))
