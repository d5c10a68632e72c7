"""How a scattering event turns light: Henyey-Greenstein, cut for a finite set of directions.

Only what is averaged over azimuth is needed: fluxes, and radiances along the normal or under diffuse light.

References
----------
Henyey, L. G. and Greenstein, J. L. (1941), Astrophys. J. 93, 70: Legendre moments ``g^l``.
Wiscombe, W. J. (1977), J. Atmos. Sci. 34, 1408: delta-M, the forward peak taken as not scattered.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def henyey_greenstein(cosine: float, g: float) -> float:
    """Phase function at a scattering angle, with mean 1 over the sphere [-]."""
    return float((1.0 - g * g) / (1.0 + g * g - 2.0 * g * cosine) ** 1.5)


def peak(g: float, moments: int) -> float:
    """Share of the scattered light that delta-M counts as not scattered, ``g^moments`` [-]."""
    return float(g**moments)


def redistribution(cosines: Array, g: float, moments: int) -> tuple[Array, Array]:
    """Azimuth-averaged phase function between directions, its delta-M peak taken out.

    Parameters
    ----------
    cosines : ndarray, shape (n,)
        Of the directions, in the rubber [-].
    g : float
        Anisotropy, 0 to below 1 [-].
    moments : int
        Legendre moments kept [-].

    Returns
    -------
    forward, backward : ndarray, shape (n, n)
        Within a hemisphere and into the other one; their mean over both hemispheres is 1 up to the quadrature
        [-].
    """
    orders = np.arange(moments)
    share = peak(g, moments)
    strength = (2 * orders + 1) * (np.power(g, orders) - share) / (1.0 - share)
    legendre = np.polynomial.legendre.legvander(cosines, moments - 1)
    forward = (legendre * strength) @ legendre.T
    backward = (legendre * strength * np.where(orders % 2, -1.0, 1.0)) @ legendre.T
    return forward, backward
