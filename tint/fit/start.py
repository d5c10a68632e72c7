"""A first guess for the fit: K and S of each casting read over two backings, shared out by non-negative regression."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tint.fit.problem import Problem, mixing_shares
from tint.optics import two_flux

Array = NDArray[np.float64]

_PLAIN_K, _PLAIN_S = 0.05, 0.3  # 1/mm; of a casting that cannot be inverted


def first_guess(problem: Problem) -> Array:
    """theta to start from, shape (n_wavelengths, 2 n_components); no entry is zero.

    Notes
    -----
    The closed two-flux inverse ignores noise and mixing, so it only has to be of the right size.
    """
    from scipy.optimize import nnls  # 0.3 s to import; only fitting needs it

    K, S = _invert_pairs(problem)
    share = mixing_shares(problem, problem.loadings)
    n_wavelengths, n_components = problem.read.shape[1], problem.n_components
    theta = np.empty((n_wavelengths, 2 * n_components))
    for at in range(n_wavelengths):
        for block, amount in enumerate((K[:, at], S[:, at])):
            # Relative residuals: a clear casting says as much as a strong one.
            weight = 1.0 / (amount + 0.02)
            theta[at, block * n_components : (block + 1) * n_components] = nnls(
                share * weight[:, None], amount * weight
            )[0]
    typical = np.maximum(np.median(theta, axis=0), 1e-4)
    return np.maximum(theta, 0.03 * typical)


def _invert_pairs(problem: Problem) -> tuple[Array, Array]:
    shape = (problem.thickness.size, problem.read.shape[1])
    K, S = np.full(shape, _PLAIN_K), np.full(shape, _PLAIN_S)
    for swatch in range(shape[0]):
        rows = np.flatnonzero((problem.swatch == swatch) & (problem.backing >= 0))
        if rows.size < 2:
            continue
        level = problem.backings[problem.backing[rows]].mean(axis=1)
        dark, light = rows[np.argmin(level)], rows[np.argmax(level)]
        optics = problem.optics[problem.base[swatch]]
        k, s = two_flux.from_black_and_white(
            problem.read[dark],
            problem.read[light],
            black=problem.backings[problem.backing[dark]],
            white=problem.backings[problem.backing[light]],
            thickness=problem.thickness[swatch],
            refractive_index=optics.refractive_index,
            geometry=optics.geometry,
            seat="wet" if problem.wet[dark] else "air",
        )
        good = np.isfinite(k) & np.isfinite(s) & (k >= 0.0) & (s >= 0.0) & (k < 200.0) & (s < 200.0)
        K[swatch], S[swatch] = np.where(good, k, _PLAIN_K), np.where(good, s, _PLAIN_S)
    return K, S
