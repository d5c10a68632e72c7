"""Reflectances of real objects: what a spectrum is likely to look like before it is measured."""

from __future__ import annotations

import warnings
from importlib.metadata import version

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.files import cached_arrays

Array = NDArray[np.float64]


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
