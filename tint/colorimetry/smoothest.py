"""A spectrum for a colour: of all that look alike, the one that bends least, or that bends another one least."""

from __future__ import annotations

import warnings
from importlib.metadata import version

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.colorimetry.cielab import lab_to_xyz
from tint.colorimetry.weights import Viewing
from tint.files import cached_arrays

Array = NDArray[np.float64]

_STEPS, _LONGEST, _DONE = 60, 1.0, 1e-11
_FARTHEST = 9.0  # of z, one part in 10^8 from 0 or 1: past it colours lose their slope, as where none is light enough
_NEAREST = 1e-4  # to 0 and 1, of a spectrum that is to be bent
_FIRMNESS = 1e-9  # keeps colours that no spectrum has from breaking the solver


def smoothest_spectrum(lab: ArrayLike, view: Viewing, *, near: ArrayLike | None = None) -> Array:
    """Reflectance between 0 and 1 that has a colour, and otherwise the least slope.

    Parameters
    ----------
    lab : array_like, shape (..., 3)
        In the view's light [-].
    view : Viewing
    near : array_like, shape (..., n_wavelengths), optional
        Reflectance whose shape is to be kept as far as the colour allows [-].

    Returns
    -------
    ndarray, shape (..., n_wavelengths)
        [-]. A colour that no reflectance has is met as nearly as the search came.

    Notes
    -----
    With ``R = (1 + tanh z) / 2`` the sum of squared differences of z (of z less that of `near`) between neighbouring
    wavelengths is least, the three tristimulus values held by Lagrange multipliers, solved by Newton's method: the
    least hyperbolic tangent slope squared of S. A. Burns, Numerical methods for smoothest reflectance reconstruction,
    Color Res. Appl. 45 (2020), 8 (from memory).
    """
    target = lab_to_xyz(lab, view.white)
    n = view.weights.shape[0]
    bend = np.diff(np.eye(n), axis=0)
    rough = 2.0 * bend.T @ bend
    level = np.clip(target[..., 1] / 100.0, 0.005, 0.995)
    start = np.zeros(n) + level[..., None] if near is None else np.asarray(near, dtype=float)
    z = np.arctanh(2.0 * np.clip(start, _NEAREST, 1.0 - _NEAREST) - 1.0)
    kept = np.zeros_like(z) if near is None else z
    multiplier = np.zeros(target.shape)
    for _ in range(_STEPS):
        step = _newton(z, z - kept, multiplier, target, rough, view.weights)
        longest = np.abs(step[..., :n]).max(axis=-1, keepdims=True)
        step *= np.minimum(1.0, _LONGEST / np.maximum(longest, 1e-300))
        z, multiplier = np.clip(z + step[..., :n], -_FARTHEST, _FARTHEST), multiplier + step[..., n:]
        if longest.max(initial=0.0) < _DONE:
            break
    return np.asarray(0.5 * (1.0 + np.tanh(z)))


def _newton(z: Array, bent: Array, multiplier: Array, target: Array, rough: Array, weights: Array) -> Array:
    """One step of z and the multipliers, shape (..., n_wavelengths + 3)."""
    n = z.shape[-1]
    t = np.tanh(z)
    slope = 0.5 * (1.0 - t**2)
    pull = multiplier @ weights.T
    jacobian = np.zeros((*z.shape[:-1], n + 3, n + 3))
    jacobian[..., :n, :n] = rough + np.eye(n) * (-t * 2.0 * slope * pull)[..., None, :]
    jacobian[..., :n, n:] = slope[..., None] * weights
    jacobian[..., n:, :n] = np.swapaxes(slope[..., None] * weights, -1, -2)
    jacobian[..., n:, n:] = -_FIRMNESS * np.eye(3)
    missed = np.concatenate((bent @ rough + pull * slope, 0.5 * (1.0 + t) @ weights - target), axis=-1)
    return np.asarray(np.linalg.solve(jacobian, -missed[..., None])[..., 0])


# Reflectances of real objects: what a spectrum is likely to look like before it is measured.


def object_spectra(wavelengths: ArrayLike) -> Array:
    """Reflectance of 99 objects that stand for paints, textiles, plastics, plants, skin and print.

    Parameters
    ----------
    wavelengths : array_like, shape (n_wavelengths,)
        Within 380 to 780 nm; linear between every 5 nm [nm].

    Returns
    -------
    ndarray, shape (99, n_wavelengths)
        [-]

    Notes
    -----
    The test colour samples of CIE 224:2017, Colour Fidelity Index for accurate scientific use, which were chosen from
    105,000 measured objects so as to be even in colour and in wavelength. colour-science ships them.
    """
    kept = cached_arrays(f"objects 1, colour-science {version('colour-science')}", _build)
    return np.stack([np.interp(np.asarray(wavelengths), kept["wavelengths"], each) for each in kept["reflectance"]])


def _build() -> dict[str, Array]:
    # It tells of optional packages that tint does not use, and changes how NumPy prints for everyone.
    with warnings.catch_warnings(), np.printoptions():
        warnings.simplefilter("ignore")
        import colour
        from colour.quality.cfi2017 import load_TCS_CIE2017

        samples = load_TCS_CIE2017(colour.SpectralShape(380, 780, 5))
    return {
        "wavelengths": np.asarray(samples.wavelengths, dtype=float),
        "reflectance": np.asarray(samples.values, dtype=float).T,
    }
