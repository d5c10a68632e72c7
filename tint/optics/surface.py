"""What a smooth face between air and rubber reflects, by the Fresnel equations and their integrals.

References
----------
Walsh, J. W. T. (1926), as printed in Prahl, S. A. (1988), thesis, eq. B.41: the closed form the tests check against.
Judd, D. B. (1942), J. Res. NBS 29, 329: diffuse reflection of a face, inside and outside.
"""

from __future__ import annotations

import functools
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError

Array = NDArray[np.float64]

DEGREES_8 = float(np.cos(np.radians(8.0)))
DEGREES_45 = float(np.cos(np.radians(45.0)))


def fresnel(refractive_index: float, cosine: ArrayLike) -> Array:
    """Reflectance of unpolarised light that meets the face from the air side.

    Parameters
    ----------
    refractive_index : float
        Of the rubber [-].
    cosine : array_like, shape (...)
        Of the angle of incidence, in air [-].

    Returns
    -------
    ndarray, shape (...)
        [-]
    """
    mu = np.asarray(cosine, dtype=float)
    inside = refracted_cosine(refractive_index, mu)
    n = refractive_index
    # Written with products so that grazing light (mu = 0) divides by nothing.
    across = (mu - n * inside) / (mu + n * inside)
    along = (n * mu - inside) / (n * mu + inside)
    return np.asarray(0.5 * (across**2 + along**2))


def refracted_cosine(refractive_index: float, cosine: ArrayLike) -> Array:
    """Cosine inside the rubber of light that meets it from air (Snell) [-]."""
    mu = np.asarray(cosine, dtype=float)
    return np.asarray(np.sqrt(1.0 - (1.0 - mu**2) / refractive_index**2))


def fresnel_internal(refractive_index: float, cosine: ArrayLike) -> Array:
    """Reflectance of unpolarised light that meets the face from inside; 1 beyond the critical angle.

    Parameters
    ----------
    cosine : array_like, shape (...)
        Of the angle of incidence, in the rubber [-].
    """
    mu = np.asarray(cosine, dtype=float)
    sine_outside = (1.0 - mu**2) * refractive_index**2
    outside = np.sqrt(np.clip(1.0 - sine_outside, 0.0, None))
    return np.where(sine_outside < 1.0, fresnel(refractive_index, outside), 1.0)


@functools.lru_cache(maxsize=64)
def external_diffuse(refractive_index: float) -> float:
    """Reflectance of the face for Lambertian light from the air side, by Gauss-Legendre integration [-]."""
    nodes, weights = np.polynomial.legendre.leggauss(256)
    # mu = t^2 takes out the square-root behaviour at grazing incidence.
    t = 0.5 * (nodes + 1.0)
    mu = t**2
    return float(np.sum(0.5 * weights * 2.0 * mu * fresnel(refractive_index, mu) * 2.0 * t))


def internal_diffuse(refractive_index: float) -> float:
    """Reflectance of the face for Lambertian light from inside [-].

    Notes
    -----
    By reciprocity ``1 - r_i = (1 - r_e) / n^2``.
    """
    return 1.0 - (1.0 - external_diffuse(refractive_index)) / refractive_index**2


class Faces(NamedTuple):
    """What two-flux theory needs to know of a face, for one measuring geometry [all -]."""

    gloss: float  # reflected straight into the instrument
    enter: float  # of the instrument's light, passed into the rubber
    leave: float  # radiance factor seen for unit diffuse light that meets the face from inside
    inside: float  # of diffuse light inside, sent back in
    outside: float  # of diffuse light outside, sent back out
    enter_diffuse: float  # of diffuse light outside, passed in


@functools.lru_cache(maxsize=64)
def faces(refractive_index: float, geometry: str, *, k1: float | None = None, k2: float | None = None) -> Faces:
    """Saunderson's constants for a geometry, from the refractive index or, where given, as measured.

    Parameters
    ----------
    geometry : str
        `di:8`: lit diffusely and seen at 8 degrees, specular included; `de:8`: excluded; `45:0`: lit at 45 degrees,
        seen along the normal.
    k1, k2 : float, optional
        Measured constants in place of the face's reflection outside and inside [-].

    Raises
    ------
    InputError
        For a geometry that is none of these.

    Notes
    -----
    Saunderson, J. L. (1942), JOSA 32, 727, with the entry and exit losses of each geometry written apart: light seen
    along one direction leaves with ``(1 - r) / n^2`` of the radiance inside.
    """
    n = refractive_index
    inside = internal_diffuse(n) if k2 is None else k2
    outside = external_diffuse(n)
    at_8 = float(fresnel(n, DEGREES_8)) if k1 is None else k1
    # Measured constants describe the face as a whole, so what enters by 1 - k1 leaves by 1 - k2.
    diffuse_out = 1.0 - inside
    if geometry in ("di:8", "de:8"):
        gloss = at_8 if geometry == "di:8" else 0.0
        return Faces(gloss, 1.0 - at_8, diffuse_out, inside, outside, 1.0 - outside)
    if geometry == "45:0":
        lit = 1.0 - float(fresnel(n, DEGREES_45))
        seen = (1.0 - float(fresnel(n, 1.0))) / n**2
        return Faces(0.0, lit, seen, inside, outside, 1.0 - outside)
    raise InputError("geometry", f"`{geometry}` is not known", "di:8, de:8 or 45:0")


# Light that passes a slab without being scattered, and is reflected by its faces as by a mirror.


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
