"""A slab with its Fresnel faces, read in every way that an instrument reads it, and the directions that light takes.

Directions are Gauss nodes, split at the critical angle. The cone that can leave is laid out in the cosine *outside*,
where Fresnel's formulas are smooth up to grazing exit. The instrument's own directions (normal, 8 and 45 degrees
outside) ride along with a weight so small that no flux feels them: what is seen along them is then computed, not
interpolated.

References
----------
Prahl, S. A., van Gemert, M. J. C. and Welch, A. J. (1993), Appl. Opt. 32, 559: the slab with Fresnel faces.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.errors import InputError
from tint.optics.surface import DEGREES_8, DEGREES_45, external_diffuse, fresnel, refracted_cosine
from tint.optics.surface import reflected as mirrored

Array = NDArray[np.float64]

WATCHED = (1.0, DEGREES_8, DEGREES_45)  # cosines outside of the instrument's directions: the last entries
NORMAL, AT_8, AT_45 = -3, -2, -1
_WATCHED = slice(-len(WATCHED), None)

_WATCHED_WEIGHT = 1e-9  # too light for any flux, heavy enough that its products keep their digits
_TOTAL = 1.0 - 1e-13  # total reflection, with a leak that gives a perfectly clear slab one solution


@dataclass(frozen=True, kw_only=True, eq=False)
class Directions:
    """Downward directions in the rubber; arrays of shape (n,), the watched ones last."""

    index: float  # refractive index of the rubber [-]
    # cosine inside, and its share of the integral over cosines 0 to 1 [-]
    cosine: Array
    weight: Array
    outside: Array  # cosine in air; 0 beyond the critical angle [-]
    reflected: Array  # by the face, from inside [-]

    @property
    def flux(self) -> Array:
        """Flux carried by unit radiance along each direction: sums to 1 over the hemisphere [-]."""
        return 2.0 * self.cosine * self.weight

    @property
    def enter(self) -> Array:
        """Radiance inside for unit radiance outside [-]."""
        return (1.0 - self.reflected) * self.index**2

    @property
    def beam_45(self) -> float:
        """Radiance inside, along its own direction, of a beam at 45 degrees that brings unit flux [-]."""
        return float((1.0 - self.reflected[AT_45]) / self.flux[AT_45])

    @property
    def leave(self) -> Array:
        """Radiance outside for unit radiance inside [-]."""
        return (1.0 - self.reflected) / self.index**2

    @property
    def escaping(self) -> Array:
        """Flux outside for unit radiance inside along each direction [-]."""
        return self.flux * self.index**2 * self.leave


@functools.lru_cache(maxsize=64)
def directions(refractive_index: float, nodes: int) -> Directions:
    """Quadrature of the downward hemisphere inside the rubber, and the watched directions.

    `nodes` is even; with faces half of them lie beyond the critical angle. An index of 1 means no faces; one
    outside 1 to 4 is an InputError.
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


READINGS = tuple((geometry, seat) for geometry in ("di:8", "de:8", "45:0") for seat in ("air", "wet"))
PASSED = "passed"  # beside "<geometry> <seat>" the name of what a slab with nothing behind it passes, in tables


@dataclass(frozen=True, kw_only=True, eq=False)
class Slab:
    """What a slab with faces does; watched directions are the normal, 8 and 45 degrees in air."""

    index: float  # refractive index [-]
    # shape (3, ...): total reflectance and transmittance of the free slab for a beam along each watched direction; by
    # reciprocity the radiance factor seen along it under diffuse light [-]
    beam_reflected: Array
    beam_passed: Array
    # shape (...): of the free slab under Lambertian light [-]
    diffuse_reflected: Array
    diffuse_passed: Array
    gloss: Array  # shape (3, ...): unscattered reflection of the free slab along each watched direction, both faces [-]
    from_45: Array  # shape (...): radiance factor of the free slab along the normal, lit by a beam at 45 degrees [-]
    # shapes (3, ...) and (...): as `beam_reflected` and `from_45` with the upper face only, and nothing coming back
    # from below [-]
    wet_reflected: Array
    wet_from_45: Array
    # shape (3, ...): radiance factor along each watched direction for unit Lambertian light inside, from below [-]
    wet_seen: Array
    wet_passed: Array  # shape (...): of Lambertian light outside, arrived at the bottom [-]
    wet_back: Array  # shape (...): of Lambertian light inside, from below, sent back down [-]

    def terms(self, geometry: str, seat: str) -> Array:
        """front, through and back of the layer as an instrument reads it, shape (3, ...) [-].

        Over a backing of reflectance Rg it reads ``front + through Rg / (1 - back Rg)``.
        """
        check_reading(geometry, seat)
        if seat == "wet":
            # By reciprocity a beam brings index^2 times to the bottom what is seen along it from there.
            lit, seen, diffuse = self.index**2 * self.wet_seen, self.wet_seen, self.wet_passed
            from_45, reflected, back = self.wet_from_45, self.wet_reflected, self.wet_back
            gloss = fresnel(self.index, np.array(WATCHED))
        else:
            lit = seen = self.beam_passed
            diffuse = self.diffuse_passed
            from_45, reflected, back = self.from_45, self.beam_reflected, self.diffuse_reflected
            gloss = self.gloss
        if geometry == "45:0":
            return np.stack((from_45, lit[AT_45] * seen[NORMAL], back))
        front = reflected[AT_8] - (gloss[AT_8] if geometry == "de:8" else 0.0)
        return np.stack((front, diffuse * seen[AT_8], back))


def check_reading(geometry: str, seat: str) -> None:
    """Refuse a geometry or a seat that is not known."""
    if geometry not in ("di:8", "de:8", "45:0"):
        raise InputError("geometry", f"`{geometry}` is not known", "di:8, de:8 or 45:0")
    if seat not in ("air", "wet"):
        raise InputError("seat", f"`{seat}` is not known", "air or wet")


def with_faces(R: Array, T: Array, *, depth: Array, at: Directions) -> Slab:
    """Add the faces to slabs of which reflection and transmission are known.

    R and T lead from radiance along each direction to radiance along each, back and onward, unscattered light
    included, shape (..., n, n); `depth` is the true optical thickness, by which unscattered light is dimmed, shape
    (...) [-].
    """
    return Slab(index=at.index, **_free(R, T, depth, at), **_wet(R, T, at))


def between_faces(R: Array, T: Array, *, reflected: Array, sources: Array) -> tuple[Array, Array]:
    """Of light that enters below the upper face: what rises under it, and what arrives at the lower one.

    Both faces turn light back, by the shares `reflected` (n,); `sources` (..., n, m), as is what comes out. Fields that
    are even and odd about the middle plane do not mix: two half-size solves.
    """
    same, face = np.eye(reflected.size), reflected[:, None]
    even = np.linalg.solve(same - face * (R + T), sources)
    odd = np.linalg.solve(same - face * (R - T), sources)
    down_top, up_bottom = 0.5 * (even + odd), 0.5 * (even - odd)
    return R @ down_top + T @ up_bottom, T @ down_top + R @ up_bottom


def below_a_face(R: Array, T: Array, *, reflected: Array, sources: Array) -> tuple[Array, Array]:
    """The same with the upper face only: what passes down stays down."""
    down = np.linalg.solve(np.eye(reflected.size) - reflected[:, None] * R, sources)
    return R @ down, T @ down


def _free(R: Array, T: Array, depth: Array, at: Directions) -> dict[str, Array]:
    """Both faces."""
    sources = np.stack((at.enter, _beam_45(at)), axis=-1)
    up_top, down_bottom = between_faces(R, T, reflected=at.reflected, sources=sources)
    leave, escaping = at.leave, at.escaping
    single = fresnel(at.index, np.array(WATCHED))
    gloss, _ = mirrored(at.index, depth[..., None], cosine=np.array(WATCHED), seat="air")
    return {
        "beam_reflected": np.moveaxis(single + (leave * up_top[..., 0])[..., _WATCHED], -1, 0),
        "beam_passed": np.moveaxis((leave * down_bottom[..., 0])[..., _WATCHED], -1, 0),
        "diffuse_reflected": external_diffuse(at.index) + up_top[..., 0] @ escaping,
        "diffuse_passed": down_bottom[..., 0] @ escaping,
        "gloss": np.moveaxis(gloss, -1, 0),
        "from_45": leave[NORMAL] * up_top[..., NORMAL, 1],
    }


def _wet(R: Array, T: Array, at: Directions) -> dict[str, Array]:
    """The upper face only."""
    rising = T.sum(axis=-1)  # of unit Lambertian light from below, what arrives under the face
    sources = np.stack(np.broadcast_arrays(at.reflected * rising, at.enter, _beam_45(at)), axis=-1)
    up, on = below_a_face(R, T, reflected=at.reflected, sources=sources)
    return {
        "wet_reflected": np.moveaxis(
            fresnel(at.index, np.array(WATCHED)) + (at.leave * up[..., 1])[..., _WATCHED], -1, 0
        ),
        "wet_from_45": at.leave[NORMAL] * up[..., NORMAL, 2],
        "wet_seen": np.moveaxis((at.leave * (up[..., 0] + rising))[..., _WATCHED], -1, 0),
        "wet_passed": on[..., 1] @ at.flux,
        "wet_back": (R.sum(axis=-1) + on[..., 0]) @ at.flux,
    }


def _beam_45(at: Directions) -> Array:
    """Radiance inside of a beam at 45 degrees that brings unit flux: a spike in its own direction."""
    beam = np.zeros(at.cosine.size)
    beam[AT_45] = at.beam_45
    return beam
