"""How a scattering event turns light: Henyey-Greenstein, a share thrown backwards, cut for a finite set of directions.

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

BACKWARDS = -0.5  # mean cosine of the lobe that is thrown backwards
_TAPER = 4  # the lobe shrinks with 1 - g^4: the forward lobe that is left can make up for it at any g up to a sixth


def lobes(g: float, lobe: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Share and mean cosine of the forward and the backward lobe, whose mean is g.

    Parameters
    ----------
    g : float
        Anisotropy, 0 to below 1 [-].
    lobe : float
        Share of the light that is thrown backwards where g is 0; less where it is high [-].
    """
    back = lobe * (1.0 - g**_TAPER)
    return (1.0 - back, (g - back * BACKWARDS) / (1.0 - back)), (back, BACKWARDS)


def moments(g: float, count: int, lobe: float = 0.0) -> Array:
    """Legendre moments 0 to `count` of the phase function, shape (count + 1,) [-]."""
    orders = np.arange(count + 1)
    return np.asarray(sum(share * np.power(cosine, orders) for share, cosine in lobes(g, lobe)))


def phase_function(cosine: float, g: float, lobe: float = 0.0) -> float:
    """Phase function at a scattering angle, with mean 1 over the sphere [-]."""
    return float(
        sum(
            share * (1.0 - mean * mean) / (1.0 + mean * mean - 2.0 * mean * cosine) ** 1.5
            for share, mean in lobes(g, lobe)
        )
    )


def peak(g: float, count: int, lobe: float = 0.0) -> float:
    """Share of the scattered light that delta-M counts as not scattered: the first moment left out [-]."""
    return max(float(moments(g, count, lobe)[-1]), 0.0)


def redistribution(cosines: Array, g: float, count: int, lobe: float = 0.0) -> tuple[Array, Array]:
    """Azimuth-averaged phase function between directions, its delta-M peak taken out.

    Parameters
    ----------
    cosines : ndarray, shape (n,)
        Of the directions, in the rubber [-].
    g : float
        Anisotropy, 0 to below 1 [-].
    count : int
        Legendre moments kept [-].
    lobe : float
        As of `lobes` [-].

    Returns
    -------
    forward, backward : ndarray, shape (n, n)
        Within a hemisphere and into the other one; their mean over both hemispheres is 1 up to the quadrature
        [-].
    """
    orders = np.arange(count)
    share = peak(g, count, lobe)
    strength = (2 * orders + 1) * (moments(g, count, lobe)[:-1] - share) / (1.0 - share)
    legendre = np.polynomial.legendre.legvander(cosines, count - 1)
    forward = (legendre * strength) @ legendre.T
    backward = (legendre * strength * np.where(orders % 2, -1.0, 1.0)) @ legendre.T
    return forward, backward
