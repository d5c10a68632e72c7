"""Light that passes a slab as a beam and light that it spreads: regular transmittance and haze.

A slab of clear amber and one of milk can let the same light through; what lies behind is seen only through the first.
Regular light leaves within 2.5 degrees of the beam that came in; haze is the rest of what passes, as a share of all of
it (ASTM D1003 and ISO 14782, their 2.5 degrees as read in GB/T 2410-2008).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.optics.surface import DEGREES_8, fresnel, refracted_cosine

Array = NDArray[np.float64]

WITHIN_DEGREES = 2.5  # of the beam, in air
_STEP = 1e-4  # of g, for the slope of a closed form


def regular(x: ArrayLike, y: ArrayLike, z: ArrayLike, *, refractive_index: float) -> tuple[Array, Array]:
    """Regular transmittance of a free slab with smooth faces for a beam at 8 degrees, with its slopes.

    Parameters
    ----------
    x, y, z : array_like, broadcastable to shape (...)
        K d, S d and M d [-].
    refractive_index : float
        Of the rubber [-].

    Returns
    -------
    values : ndarray, shape (...)
        [-]
    slopes : ndarray, shape (3, ...)
        By x, y and z.

    Notes
    -----
    The beam is dimmed by absorption K / 2 and by what scatters out of 2.5 degrees, ``(4/3) M (1 - F(g))``, F the share
    of a Henyey-Greenstein lobe within the angle, bent by the face; then ``(1 - r)^2 t / (1 - r^2 t^2)`` with the faces'
    reflection r. Light scattered more than once and yet within the angle is counted as if each turn had to be; light
    that wanders back into the angle from farther off is not counted: a share of 1e-3 of all that passes
    (tests/figures/clarity.py).
    """
    x, y, z = np.broadcast_arrays(*(np.asarray(each, dtype=float) for each in (x, y, z)))
    some = z > 0.0
    inverse = 1.0 / np.where(some, z, 1.0)
    g = np.where(some, np.clip(1.0 - y * inverse, 0.0, 0.99), 0.0)
    kept = near_forward(g, refractive_index)
    by_g = (near_forward(g + _STEP, refractive_index) - near_forward(g - _STEP, refractive_index)) / (2.0 * _STEP)
    # At 8 degrees, as the total is: along the normal both pass up to a hundredth more, and their ratio is the same.
    face = float(fresnel(refractive_index, DEGREES_8))
    longer = 1.0 / float(refracted_cosine(refractive_index, DEGREES_8))
    out = (1.0 - kept) / 0.75
    through = np.exp(-longer * (0.5 * x + out * z))
    passed = (1.0 - face) ** 2 * through / (1.0 - (face * through) ** 2)
    by_log = longer * passed * (1.0 + (face * through) ** 2) / (1.0 - (face * through) ** 2)
    # g = 1 - y / z: by y it falls with 1 / z, by z it rises with y / z^2.
    by_y, by_z = -by_g / 0.75, by_g * y * inverse / 0.75 - out
    return passed, np.stack((-0.5 * by_log, by_log * by_y, by_log * by_z))


def near_forward(g: ArrayLike, refractive_index: float) -> Array:
    """Share of scattered light that stays within 2.5 degrees in air of its way, by the mean cosine g [-].

    Notes
    -----
    The integral of the Henyey-Greenstein function from 0 to the angle (Henyey and Greenstein 1941, Astrophys. J. 93,
    70; the integral by hand).
    """
    g = np.asarray(g, dtype=float)
    cosine = np.sqrt(1.0 - (np.sin(np.radians(WITHIN_DEGREES)) / refractive_index) ** 2)
    sharp = np.where(np.abs(g) < 1e-3, 1e-3, g)
    whole = 1.0 / (1.0 - sharp) - 1.0 / np.sqrt(1.0 + sharp**2 - 2.0 * sharp * cosine)
    return np.asarray((1.0 - sharp**2) / (2.0 * sharp) * whole)
