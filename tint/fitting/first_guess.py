"""A first guess for the fit: K and S of each casting read over two backings, shared out by non-negative regression."""

from __future__ import annotations

import numpy as np

from tint.fitting.problem import Problem
from tint.fitting.unknowns import mixing_shares
from tint.optics import two_flux
from tint.spectra import Array

_PLAIN_K, _PLAIN_S = 0.05, 0.3  # 1/mm; of a casting that cannot be inverted
_MOST = 200.0  # 1/mm; beyond it the inverse has run away


def first_guess(problem: Problem) -> Array:
    """k and s to start from, shape (2, n_components, n_wavelengths); no entry is zero.

    Notes
    -----
    The closed two-flux inverse ignores noise and mixing, so it only has to be of the right size.
    """
    from scipy.optimize import nnls  # 0.3 s to import; only fitting needs it

    share = mixing_shares(problem, problem.loadings)
    guess = np.empty((2, problem.n_components, problem.n_wavelengths))
    for block, amounts in enumerate(_invert_pairs(problem)):
        for at, amount in enumerate(amounts.T):
            # Relative residuals: a clear casting says as much as a strong one.
            weight = 1.0 / (amount + 0.02)
            guess[block, :, at] = nnls(share * weight[:, None], amount * weight)[0]
    typical = np.maximum(np.median(guess, axis=2, keepdims=True), 1e-4)
    return np.maximum(guess, 0.03 * typical)


def _invert_pairs(problem: Problem) -> tuple[Array, Array]:
    """K and S of every casting, each of shape (n_castings, n_wavelengths)."""
    readings = problem.readings
    shape = (problem.thickness.size, problem.n_wavelengths)
    K, S = np.full(shape, _PLAIN_K), np.full(shape, _PLAIN_S)
    level = readings.backings.mean(axis=1)
    for casting in range(shape[0]):
        rows = np.flatnonzero((readings.casting == casting) & (readings.backing >= 0))
        if rows.size < 2:
            continue
        order = np.argsort(level[readings.backing[rows]])
        dark, light = rows[order[0]], rows[order[-1]]
        if readings.wet[dark] != readings.wet[light] or readings.backing[dark] == readings.backing[light]:
            continue
        optics = problem.optics[problem.base[casting]]
        k, s = two_flux.from_black_and_white(
            problem.read[dark],
            problem.read[light],
            black=readings.backings[readings.backing[dark]],
            white=readings.backings[readings.backing[light]],
            thickness=problem.thickness[casting],
            refractive_index=optics.refractive_index,
            geometry=optics.geometry,
            seat="wet" if readings.wet[dark] else "air",
        )
        good = np.isfinite(k) & np.isfinite(s) & (k >= 0.0) & (s >= 0.0) & (k < _MOST) & (s < _MOST)
        K[casting], S[casting] = np.where(good, k, _PLAIN_K), np.where(good, s, _PLAIN_S)
    return K, S
