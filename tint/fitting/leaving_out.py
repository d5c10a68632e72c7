"""Leaving out: what a fit without some castings would have said of them. Fit, check and the stated error all use this.

The castings leave with all their readings, and with the thicknesses and doses that tie those readings together; they
are then predicted from what was written, which is all that a maker knows of a casting to come. By linear algebra about
the fitted minimum, in place of fitting again.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.fitting.chain import covariance
from tint.fitting.minimise import Minimum
from tint.fitting.posterior import Posterior
from tint.fitting.problem import Problem
from tint.fitting.weighing import Weighting
from tint.swatches import SwatchFolder

Array = NDArray[np.float64]
Index = NDArray[np.int64]

# What is left to say of a direction that the castings left out hold up alone, as a share: it keeps the solution finite.
_ALONE = 1e-4


@dataclass(frozen=True, eq=False)
class LeftOut:
    """Castings without which the rest was fitted."""

    castings: Index  # shape (n_castings,): numbers in the problem
    rows: Index  # shape (n_readings,): their readings
    missed: Array  # shape (n_readings, n_wavelengths): read less predicted [-]
    # shape (n_readings n_wavelengths, n_readings n_wavelengths): to be expected of the misses: of the rest of the
    # palette, of making and of reading these castings
    covariance: Array
    # shape (n_slots, n_readings, n_wavelengths): by the scores of thickness and doses, where one casting is left out
    slopes: Array
    told: bool  # whether the rest of the castings say anything of all that these hold


@dataclass(frozen=True, eq=False)
class Fitted:
    """A fit, as leaving out needs it."""

    folder: SwatchFolder  # with all that stands for readings
    problem: Problem
    minimum: Minimum
    weighting: Weighting
    posterior: Posterior
    # shape (n_readings, n_wavelengths): standard deviation of every value in the fit, the casting's weight in it
    noise: Array


def one_by_one(fitted: Fitted) -> Iterator[LeftOut]:
    """Every casting left out in turn."""
    for casting in range(fitted.problem.thickness.size):
        yield leave_out(fitted, np.array([casting]))


def leave_out(fitted: Fitted, castings: Index) -> LeftOut:
    """Some castings left out together.

    Notes
    -----
    With V the covariance of their readings about the palette (noise, thickness and doses) and H that of the fit there,
    what is missed at thickness and doses as written, e, becomes ``V (V - H)^-1 e`` without them, and the fit's own
    covariance ``V (V - H)^-1 H`` (Cook and Weisberg 1982, Residuals and Influence in Regression, 2.2; from memory).
    """
    problem, shown, wide = fitted.problem, fitted.minimum.shown, fitted.problem.n_wavelengths
    rows = np.flatnonzero(np.isin(problem.readings.casting, castings))
    of = problem.readings.casting[rows]
    own = shown.by_own[:, rows]
    score = fitted.minimum.at.own[of].T[..., None]
    as_written = problem.read[rows] - shown.values[rows] + np.sum(own * score, axis=0)
    made = _of_making(own, of, castings)
    V = np.diag(fitted.noise[rows].ravel() ** 2) + made @ made.T
    H = _of_palette(fitted, rows)
    solved = solve(V * (1.0 + _ALONE) - H, np.concatenate((as_written.reshape(-1, 1), V), axis=1))
    expected = V @ solved[:, 1:]
    return LeftOut(
        castings=castings,
        rows=rows,
        missed=(V @ solved[:, 0]).reshape(rows.size, wide),
        covariance=0.5 * (expected + expected.T),
        slopes=own,
        told=bool(np.max(np.diag(expected) / np.diag(V)) < 0.5 / _ALONE),
    )


def _of_making(own: Array, of: Index, castings: Index) -> Array:
    """Slopes of all values by every casting's own scores, shape (n_values, n_castings n_slots)."""
    n_slots, n_rows, wide = own.shape
    result = np.zeros((n_rows, wide, castings.size, n_slots))
    for number, casting in enumerate(castings):
        at = np.flatnonzero(of == casting)
        result[at, :, number] = np.moveaxis(own[:, at], 0, -1)
    return result.reshape(n_rows * wide, -1)


def _of_palette(fitted: Fitted, rows: Index) -> Array:
    """Covariance of the predicted values by that of the palette, shape (n_values, n_values)."""
    problem, shown, wide = fitted.problem, fitted.minimum.shown, fitted.problem.n_wavelengths
    known, n, values = fitted.posterior, fitted.problem.n_components, rows.size * fitted.problem.n_wavelengths
    share = shown.share[problem.readings.casting[rows]]
    held = np.flatnonzero(share.any(axis=0))
    share, by_bend = share[:, held], shown.m_by_bend[:, held]
    by_k, by_s, by_m = shown.by_mixed[:, rows]
    every = np.arange(wide)
    by_ks = np.zeros((wide, 2, held.size, rows.size, wide))  # of the values, which are the last two axes
    by_ks[every, 0, :, :, every] = np.einsum("rw,rp->wpr", by_k, share)
    by_ks[every, 1, :, :, every] = np.einsum("pwr,rp->wpr", by_s.T + shown.m_by_s[held, :, None] * by_m.T, share)
    of_bend = np.einsum("rw,bpw,rp->pbrw", by_m, by_bend, share, optimize=True)
    slopes = np.concatenate((by_ks.reshape(-1, values), of_bend.reshape(-1, values)))
    of_ks = (every[:, None, None] * 2 + np.arange(2)[:, None]) * n + held
    place = np.concatenate((of_ks.ravel(), (2 * n * wide + 2 * held[:, None] + np.arange(2)).ravel()))
    if known.covariance is not None:
        return np.asarray(slopes.T @ known.covariance[np.ix_(place, place)] @ slopes)
    whole = np.zeros((known.factored.border.shape[0] + known.factored.root.shape[0], values))
    whole[place] = slopes
    return covariance(known.factored, whole)


# Positive matrices of unknowns of very different size: solved in units of their own diagonal.


_ROUNDING = 1e-10  # share of the largest eigenvalue below which one is rounding


def solve(matrix: Array, right: Array) -> Array:
    """Solve ``matrix x = right``; where rounding leaves the matrix not quite positive, by its pseudo-inverse.

    Parameters
    ----------
    matrix : ndarray, shape (n, n)
    right : ndarray, shape (n, m)
    """
    from scipy.linalg import LinAlgError, cho_factor, cho_solve  # only fitting needs it

    scale = 1.0 / np.sqrt(np.maximum(np.diag(matrix), 1e-300))
    scaled = matrix * scale[:, None] * scale
    try:
        factor = cho_factor(scaled, lower=True, check_finite=False)
        return np.asarray(scale[:, None] * cho_solve(factor, scale[:, None] * right, check_finite=False))
    except LinAlgError:
        solved = np.linalg.pinv(scaled, rcond=_ROUNDING, hermitian=True) @ (scale[:, None] * right)
        return np.asarray(scale[:, None] * solved)
