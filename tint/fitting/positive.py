"""Positive matrices of unknowns of very different size: solved and inverted in units of their own diagonal."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_ROUNDING = 1e-10  # share of the largest eigenvalue below which one is rounding


def solve(matrix: Array, right: Array) -> Array:
    """Solve ``matrix x = right``; where rounding leaves the matrix not quite positive, by its pseudo-inverse.

    Parameters
    ----------
    matrix : ndarray, shape (n, n)
    right : ndarray, shape (n,) or (n, m)
    """
    from scipy.linalg import LinAlgError, cho_factor, cho_solve  # only fitting needs it

    scale = 1.0 / np.sqrt(np.maximum(np.diag(matrix), 1e-300))
    scaled = matrix * scale[:, None] * scale
    of_right = scale if right.ndim == 1 else scale[:, None]
    try:
        factor = cho_factor(scaled, lower=True, check_finite=False)
        return np.asarray(of_right * cho_solve(factor, of_right * right, check_finite=False))
    except LinAlgError:
        solved = np.linalg.pinv(scaled, rcond=_ROUNDING, hermitian=True) @ (of_right * right)
        return np.asarray(of_right * solved)


def inverse(matrix: Array) -> Array:
    """The inverse, symmetric to the last digit; shape (n, n)."""
    inverted = solve(matrix, np.eye(matrix.shape[0]))
    return np.asarray(0.5 * (inverted + inverted.T))
