"""The directions in which radiative transfer follows the light, and what the face between rubber and air does
to them.

Gauss nodes, split at the critical angle. The cone that can leave is laid out in the cosine *outside*, where
Fresnel's formulas are smooth up to grazing exit. The instrument's own directions (normal, 8 and 45 degrees
outside) ride along with a weight so small that no flux feels them: what is seen along them is then computed,
not interpolated.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.errors import InputError
from tint.optics.surface import DEGREES_8, DEGREES_45, fresnel, refracted_cosine

Array = NDArray[np.float64]

WATCHED = (1.0, DEGREES_8, DEGREES_45)  # cosines outside of the instrument's directions: the last entries
NORMAL, AT_8, AT_45 = -3, -2, -1

_WATCHED_WEIGHT = 1e-9  # too light for any flux, heavy enough that its products keep their digits
_TOTAL = 1.0 - 1e-13  # total reflection, with a leak that gives a perfectly clear slab one solution


@dataclass(frozen=True, kw_only=True, eq=False)
class Directions:
    """Downward directions in the rubber; arrays of shape (n,), the watched ones last.

    Attributes
    ----------
    index : float
        Refractive index of the rubber [-].
    cosine, weight : ndarray
        Cosine inside, and its share of the integral over cosines 0 to 1 [-].
    outside : ndarray
        Cosine in air; 0 beyond the critical angle [-].
    reflected : ndarray
        By the face, from inside [-].
    """

    index: float
    cosine: Array
    weight: Array
    outside: Array
    reflected: Array

    @property
    def flux(self) -> Array:
        """Flux carried by unit radiance along each direction: sums to 1 over the hemisphere [-]."""
        return 2.0 * self.cosine * self.weight

    @property
    def enter(self) -> Array:
        """Radiance inside for unit radiance outside [-]."""
        return (1.0 - self.reflected) * self.index**2

    @property
    def leave(self) -> Array:
        """Radiance outside for unit radiance inside [-]."""
        return (1.0 - self.reflected) / self.index**2


@functools.lru_cache(maxsize=64)
def directions(refractive_index: float, nodes: int) -> Directions:
    """Quadrature of the downward hemisphere inside the rubber, and the watched directions.

    Parameters
    ----------
    refractive_index : float
        1 to 4; 1 means no faces [-].
    nodes : int
        Even; with faces half of them lie beyond the critical angle [-].

    Raises
    ------
    InputError
        For an index out of range.
    """
    n = float(refractive_index)
    if not 1.0 <= n <= 4.0:
        raise InputError("refractive index", f"{n:g} is outside 1 to 4", "that of the rubber, about 1.4")
    points, shares = np.polynomial.legendre.leggauss(nodes if n == 1.0 else nodes // 2)
    points, shares = 0.5 * (points + 1.0), 0.5 * shares
    critical = np.sqrt(1.0 - 1.0 / n**2)
    trapped = critical * points[: 0 if n == 1.0 else None]
    leaving = refracted_cosine(n, points)
    watched = np.array(WATCHED)
    outside = np.concatenate((np.zeros_like(trapped), points, watched))
    return Directions(
        index=n,
        cosine=np.concatenate((trapped, leaving, refracted_cosine(n, watched))),
        weight=np.concatenate(
            (
                critical * shares[: trapped.size],
                shares * points / (n**2 * leaving),  # d mu inside for d mu outside, by Snell's law
                np.full(watched.size, _WATCHED_WEIGHT),
            )
        ),
        outside=outside,
        reflected=np.concatenate((np.full(trapped.size, _TOTAL), fresnel(n, outside[trapped.size :]))),
    )
