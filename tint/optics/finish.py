"""Faces that are not smooth: what of the mirror reflection a rough face spreads, to first order.

A face of rms height sigma keeps ``exp(-(4 pi sigma cos(theta) / lambda)^2)`` of its mirror reflection as a mirror
(Bennett, H. E. and Porteus, J. O. 1961, JOSA 51, 123; from memory), and of a beam that passes it
``exp(-(2 pi sigma (n - 1) / lambda)^2)`` as a beam; the rest is spread. What is reflected in all stays the same. The
heights that stand for the words are common practice, no source: a polished mould, a fine blasted one, a coarse one.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError
from tint.optics.surface import DEGREES_8, fresnel

Array = NDArray[np.float64]

HEIGHTS_UM = {"gloss": 0.0, "satin": 0.05, "matt": 0.5}
_HALFWAY = float(np.cos(np.radians(22.5)))  # facets so tilted send light at 45 degrees straight out


def mirrored_share(finish: str, wavelengths: ArrayLike) -> Array:
    """Share of a face's mirror reflection at 8 degrees that stays one, shape of wavelengths [nm]; 1 for `gloss`.

    Raises
    ------
    InputError
        If the finish is not known.
    """
    phase = 4.0 * np.pi * 1e3 * _height(finish) * DEGREES_8 / np.asarray(wavelengths, dtype=float)
    return np.asarray(np.exp(-(phase**2)))


def passed_share(finish: str, wavelengths: ArrayLike, refractive_index: float) -> Array:
    """Share of a beam that two such faces pass as a beam, shape of wavelengths [nm]."""
    phase = 2.0 * np.pi * 1e3 * _height(finish) * (refractive_index - 1.0) / np.asarray(wavelengths, dtype=float)
    return np.asarray(np.exp(-2.0 * phase**2))


def added(finish: str, wavelengths: ArrayLike, *, geometry: str, refractive_index: float) -> Array:
    """What a finish adds to the reading of a smooth face, shape of wavelengths [-].

    With the specular included nothing: the sphere sees spread light as well. Excluded, the gloss that is spread past
    the trap. At 45:0 the gloss of facets tilted by 22.5 degrees, as if it were spread alike every way.
    """
    spread = 1.0 - mirrored_share(finish, wavelengths)
    if geometry == "di:8":
        return np.zeros_like(spread)
    cosine = DEGREES_8 if geometry == "de:8" else _HALFWAY
    return np.asarray(float(fresnel(refractive_index, cosine)) * spread)


def _height(finish: str) -> float:
    if finish not in HEIGHTS_UM:
        raise InputError("finish", f"`{finish}` is not known", ", ".join(HEIGHTS_UM))
    return HEIGHTS_UM[finish]
