"""Light that passes a slab without being scattered, and is reflected by its faces as by a mirror.

References
----------
Bouguer's law and the Fresnel equations, summed over all passes between two parallel faces without interference.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.optics.surface import fresnel, refracted_cosine

Array = NDArray[np.float64]


def reflected(refractive_index: float, depth: ArrayLike, *, cosine: ArrayLike, seat: str) -> tuple[Array, Array]:
    """Unscattered reflection of a slab, and its slope by the depth.

    Parameters
    ----------
    refractive_index : float
        Of the rubber [-].
    depth : array_like, shape (...)
        Optical thickness, by which unscattered light is dimmed: absorption and all scattering [-].
    cosine : array_like, broadcastable with depth
        Of the angle of incidence, in air [-].
    seat : str
        `air`: both faces; `wet`: the upper one only.

    Returns
    -------
    values, slopes : ndarray, shape (...)
        [-]
    """
    single = fresnel(refractive_index, cosine)
    if seat == "wet":
        return np.broadcast_to(single, np.shape(depth)), np.zeros(np.shape(depth))
    twice = 2.0 / refracted_cosine(refractive_index, cosine)
    passed = np.exp(-twice * np.asarray(depth, dtype=float))
    between = 1.0 - single**2 * passed
    returned = single * (1.0 - single) ** 2 * passed / between
    return single + returned, -twice * returned / between
