"""What the faces between air and rubber do: reflect, spread where they are rough, and let a beam pass straight.

References
----------
Walsh, J. W. T. (1926), as printed in Prahl, S. A. (1988), thesis, eq. B.41: the closed form the tests check against.
Judd, D. B. (1942), J. Res. NBS 29, 329: diffuse reflection of a face, inside and outside.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError

Array = NDArray[np.float64]

DEGREES_8 = float(np.cos(np.radians(8.0)))
DEGREES_45 = float(np.cos(np.radians(45.0)))


def fresnel(refractive_index: float, cosine: ArrayLike) -> Array:
    """Reflectance of unpolarised light that meets the face from the air side, by the cosine of its angle in air [-]."""
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


# Light that passes a slab without being scattered, and is reflected by its faces as by a mirror.


def reflected(refractive_index: float, depth: ArrayLike, *, cosine: ArrayLike, seat: str) -> tuple[Array, Array]:
    """Unscattered reflection of a slab, and its slope by the depth; both of the depth's shape [-].

    `depth` is the optical thickness by which unscattered light is dimmed, by absorption and all scattering;
    `cosine` that of the angle of incidence in air. With the seat `air` both faces reflect, with `wet` the upper one
    only.
    """
    single = fresnel(refractive_index, cosine)
    if seat == "wet":
        return np.broadcast_to(single, np.shape(depth)), np.zeros(np.shape(depth))
    twice = 2.0 / refracted_cosine(refractive_index, cosine)
    passed = np.exp(-twice * np.asarray(depth, dtype=float))
    between = 1.0 - single**2 * passed
    returned = single * (1.0 - single) ** 2 * passed / between
    return single + returned, -twice * returned / between


# Slabs of clear amber and of milk can let the same light through; what lies behind is seen only through the first.
# Regular light leaves within 2.5 degrees of the beam that came in; haze is the rest of what passes, as a share of all
# of it (ASTM D1003 and ISO 14782, their 2.5 degrees as read in GB/T 2410-2008).


WITHIN_DEGREES = 2.5  # of the beam, in air


def regular(x: ArrayLike, y: ArrayLike, z: ArrayLike, *, refractive_index: float) -> tuple[Array, Array]:
    """Regular transmittance of a free slab with smooth faces for a beam at 8 degrees, with its slopes.

    For K d, S d and M d of shape (...): values of that shape and slopes by each, shape (3, ...) [-].

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


# Faces that are not smooth: what of the mirror reflection a rough face spreads, to first order.
#
# A face of rms height sigma keeps exp(-(4 pi sigma cos(theta) / lambda)^2) of its mirror reflection as a mirror
# (Bennett, H. E. and Porteus, J. O. 1961, JOSA 51, 123; from memory), and of a beam that passes it
# exp(-(2 pi sigma (n - 1) / lambda)^2) as a beam; the rest is spread. What is reflected in all stays the same. The
# heights that stand for the words are common practice, no source: a polished mould, a fine blasted one, a coarse one.


HEIGHTS_UM = {"gloss": 0.0, "satin": 0.05, "matt": 0.5}
_SPELLINGS = {"matte": "matt", "smooth": "gloss", "glossy": "gloss"}
_STEP = 1e-4  # of the index or of g, for the slope of a closed form
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


def added_by_finish(finish: str, wavelengths: ArrayLike, *, geometry: str, refractive_index: float) -> Array:
    """What a finish adds to the reading of a smooth face, shape of wavelengths [-].

    With the specular included nothing: the sphere sees spread light as well. Excluded, the gloss that is spread past
    the trap. At 45:0 the gloss of facets tilted by 22.5 degrees, as if it were spread alike every way.
    """
    spread = 1.0 - mirrored_share(finish, wavelengths)
    if geometry == "di:8":
        return np.zeros_like(spread)
    cosine = DEGREES_8 if geometry == "de:8" else _HALFWAY
    return np.asarray(float(fresnel(refractive_index, cosine)) * spread)


@dataclass(frozen=True, eq=False)
class Faces:
    """What rough faces do at each wavelength, shape (n_wavelengths,) each."""

    # as of `added_by_finish`, and its slope by the refractive index [-]
    added: Array
    by_index: Array
    kept: Array  # as of `passed_share` [-]

    def picked(self, which: slice) -> Faces:
        """At some of the wavelengths."""
        return Faces(self.added[which], self.by_index[which], self.kept[which])


def faces(finish: str, wavelengths: Array, *, geometry: str, refractive_index: float) -> Faces | None:
    """Faces of a finish, as `word_for` knows it; None for smooth ones."""
    word = word_for(finish)
    if not _height(word):
        return None
    here, above, below = (
        added_by_finish(word, wavelengths, geometry=geometry, refractive_index=refractive_index + step)
        for step in (0.0, _STEP, -_STEP)
    )
    return Faces(here, (above - below) / (2.0 * _STEP), passed_share(word, wavelengths, refractive_index))


def common(finishes: Iterable[str]) -> str:
    """The one finish of those that were written; smooth where there are several or none."""
    words = {word_for(each) for each in finishes if each}
    return words.pop() if len(words) == 1 else "gloss"


def word_for(finish: str) -> str:
    """A maker's word for a face as one of `HEIGHTS_UM`; smooth where it says nothing that is known."""
    return known_word(finish) or "gloss"


def known_word(finish: str) -> str:
    """As `word_for`; empty where it says nothing that is known."""
    word = " ".join(finish.split()).casefold()
    return word if word in HEIGHTS_UM else _SPELLINGS.get(word, "")


def _height(finish: str) -> float:
    if finish not in HEIGHTS_UM:
        raise InputError("finish", f"`{finish}` is not known", ", ".join(HEIGHTS_UM))
    return HEIGHTS_UM[finish]
