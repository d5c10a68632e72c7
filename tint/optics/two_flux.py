"""Two-flux theory: the Kubelka-Munk layer with Saunderson faces.

The body of a layer depends on two numbers only, x = K d and y = S d, and everything here is written in them, so that
the limits S -> 0 (a dye), K -> 0 (a white), d -> 0 and d -> hiding are reached without a special case.

References
----------
Kubelka, P. (1948), JOSA 38, 448: the hyperbolic solution. Kubelka, P. (1954), JOSA 44, 330: addition of layers.
Saunderson, J. L. (1942), JOSA 32, 727: reflection at the faces.
"""

from __future__ import annotations

import functools
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError
from tint.optics.surface import DEGREES_8, DEGREES_45, external_diffuse, fresnel, internal_diffuse

Array = NDArray[np.float64]


def body(x: ArrayLike, y: ArrayLike) -> tuple[Array, Array]:
    """Reflectance over nothing and transmittance of a layer without faces, with their slopes by x = K d and y = S d.

    Values of shape (2, ...) and slopes of shape (2, 2, ...) [-].

    Notes
    -----
    With ``q = sqrt(x (x + 2 y))``, ``R0 = y s / D`` and ``T = 1 / D``, where ``s = sinh(q) / q`` and
    ``D = (x + y) s + cosh(q)``: Kubelka 1948 with ``a = (x + y) / y``, ``b S d = q``. Numerators and denominators are
    carried times ``exp(-q)``, so a layer of any thickness stays finite.
    """
    x, y = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
    p = x + y
    z = x * (x + y + y)
    q = np.sqrt(z)
    fade = np.exp(-q)
    fade_twice = fade * fade
    cosh = 0.5 + 0.5 * fade_twice
    small = z < 1e-2
    safe = np.where(small, 1.0, z)
    sinhc = np.where(
        small,
        fade * (1.0 + z / 6.0 * (1.0 + z / 20.0 * (1.0 + z / 42.0 * (1.0 + z / 72.0)))),
        (0.5 - 0.5 * fade_twice) / np.sqrt(safe),
    )
    # d sinhc / d z, by its series where the closed form cancels.
    bend = np.where(
        small,
        fade * (1.0 / 6.0 + z * (1.0 / 60.0 + z * (1.0 / 1680.0 + z / 90720.0))),
        0.5 * (cosh - sinhc) / safe,
    )
    over = 1.0 / (p * sinhc + cosh)
    reflected, passed = y * sinhc * over, fade * over
    slopes = np.empty((2, 2, *x.shape))
    turn = 2.0 * bend * over
    along_x = (1.0 + p) * sinhc * over + p * p * turn  # d ln D / d x
    along_y = (1.0 + x) * sinhc * over + p * x * turn
    slopes[0, 0] = y * p * turn - reflected * along_x
    slopes[0, 1] = sinhc * over + y * x * turn - reflected * along_y
    slopes[1, 0] = -passed * along_x
    slopes[1, 1] = -passed * along_y
    return np.stack((reflected, passed)), slopes


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

    `di:8` is lit diffusely and seen at 8 degrees, specular included, `de:8` excluded; `45:0` is lit at 45 degrees
    and seen along the normal; any other is an InputError. k1 and k2 stand in place of the face's reflection outside
    and inside.

    Saunderson, J. L. (1942), JOSA 32, 727, with the entry and exit losses of each geometry written apart: light
    seen along one direction leaves with ``(1 - r) / n^2`` of the radiance inside.
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


def terms(
    x: ArrayLike,
    y: ArrayLike,
    *,
    refractive_index: float,
    geometry: str,
    seat: str,
    k1: float | None = None,
    k2: float | None = None,
) -> tuple[Array, Array]:
    """The three numbers of a layer, as of `many_flux.terms`, by x = K d and y = S d; k1 and k2 as of `faces`.

    Values of shape (3, ...) and slopes of shape (3, 2, ...) [-].
    """
    face = faces(refractive_index, geometry, k1=k1, k2=k2)
    (reflected, passed), slopes = body(x, y)
    along = _free_slab if seat == "air" else _on_backing
    values, by_body = along(reflected, passed, face)
    # Chain rule over (R0, T), written out: it is faster than a matrix product of this shape.
    return values, by_body[:, :1] * slopes[0] + by_body[:, 1:] * slopes[1]


def _free_slab(reflected: Array, passed: Array, face: Faces) -> tuple[Array, Array]:
    """Both faces, light trapped between them (Kubelka 1954); derivatives by (R0, T)."""
    r = face.inside
    kept = 1.0 - r * reflected
    over = 1.0 / (kept * kept - (r * passed) ** 2)
    inner = (reflected * kept + r * passed * passed) * over  # of the body and its lower face, seen from inside
    crossing = passed * over
    # d over = 2 r over^2 (kept dR0 + r T dT); the rest follows by collecting terms.
    inner_by_reflected = (1.0 - 2.0 * r * reflected) * over + inner * 2.0 * r * kept * over
    inner_by_passed = 2.0 * r * crossing * (1.0 + r * inner)
    crossing_by_reflected = crossing * 2.0 * r * kept * over
    crossing_by_passed = over * (1.0 + 2.0 * (r * passed) ** 2 * over)
    out = face.enter * face.leave
    inward = face.enter_diffuse * (1.0 - r)
    values = np.empty((3, *reflected.shape))
    by_body = np.empty((3, 2, *reflected.shape))
    values[0] = face.gloss + out * inner
    values[1] = out * inward * crossing * crossing
    values[2] = face.outside + inward * inner
    by_body[0, 0], by_body[0, 1] = out * inner_by_reflected, out * inner_by_passed
    twice = 2.0 * out * inward * crossing
    by_body[1, 0], by_body[1, 1] = twice * crossing_by_reflected, twice * crossing_by_passed
    by_body[2, 0], by_body[2, 1] = inward * inner_by_reflected, inward * inner_by_passed
    return values, by_body


def _on_backing(reflected: Array, passed: Array, face: Faces) -> tuple[Array, Array]:
    """Upper face only: the backing touches the rubber; derivatives by (R0, T)."""
    r = face.inside
    over = 1.0 / (1.0 - r * reflected)
    crossing = passed * over
    out = face.enter * face.leave
    values = np.empty((3, *reflected.shape))
    by_body = np.empty((3, 2, *reflected.shape))
    values[0] = face.gloss + out * reflected * over
    values[1] = out * crossing * crossing
    values[2] = reflected + r * passed * crossing
    by_body[0, 0], by_body[0, 1] = out * over * over, 0.0
    by_body[1, 0], by_body[1, 1] = 2.0 * r * over * values[1], 2.0 * out * crossing * over
    by_body[2, 0], by_body[2, 1] = 1.0 + (r * crossing) ** 2, 2.0 * r * crossing
    return values, by_body


def transmitted(
    x: ArrayLike, y: ArrayLike, *, refractive_index: float, k1: float | None = None, k2: float | None = None
) -> tuple[Array, Array]:
    """Total transmittance of the free slab lit by a beam at 8 degrees, with its slopes by x and y, shape (2, ...)."""
    r = internal_diffuse(refractive_index) if k2 is None else k2
    enter = 1.0 - (float(fresnel(refractive_index, DEGREES_8)) if k1 is None else k1)
    (reflected, passed), slopes = body(x, y)
    kept = 1.0 - r * reflected
    over = 1.0 / (kept * kept - (r * passed) ** 2)
    out = enter * (1.0 - r)
    value = out * passed * over
    by_reflected = value * 2.0 * r * kept * over
    by_passed = out * over * (1.0 + 2.0 * (r * passed) ** 2 * over)
    return value, by_reflected * slopes[0] + by_passed * slopes[1]


def from_black_and_white(
    over_black: ArrayLike,
    over_white: ArrayLike,
    *,
    black: ArrayLike,
    white: ArrayLike,
    thickness: ArrayLike,
    refractive_index: float,
    geometry: str = "di:8",
    seat: str = "air",
) -> tuple[Array, Array]:
    """K and S of one casting read over two backings [1/mm], by the layer's inverse; NaN where no layer reads like that.

    All arrays are broadcastable to the shape of the readings; `black` and `white` are the reflectances of the
    backings themselves, the thickness is in mm.

    Without faces (refractive index 1) the closed form of Kubelka 1948 for two backings holds. With faces, the upper
    one is removed by Saunderson's inverse; for a wet seat the closed form holds again; for an air seat each backing
    is first replaced by the one it makes together with the rubber's lower face.
    """
    face = faces(refractive_index, geometry)
    r, out = face.inside, face.enter * face.leave

    def seen_inside(reading: ArrayLike) -> Array:
        bare = (np.asarray(reading, dtype=float) - face.gloss) / out
        return np.asarray(bare / (1.0 + r * bare))

    def under_face(backing: ArrayLike) -> Array:
        g = np.asarray(backing, dtype=float)
        if seat == "wet":
            return g
        return np.asarray(r + (1.0 - r) * face.enter_diffuse * g / (1.0 - face.outside * g))

    rb, rw, gb, gw = seen_inside(over_black), seen_inside(over_white), under_face(black), under_face(white)
    with np.errstate(divide="ignore", invalid="ignore"):
        a = 0.5 * ((rw - rb) * (1.0 + gb * gw) - (gw - gb) * (1.0 + rb * rw)) / (rw * gb - rb * gw)
        b = np.sqrt(a * a - 1.0)
        # Kubelka's R(Rg) solved for b S d: coth(b S d) from the reading over the black backing.
        scattering = np.arctanh(b * (rb - gb) / (a * (rb + gb) - rb * gb - 1.0)) / b
        scattering = np.abs(scattering) / np.asarray(thickness, dtype=float)
    return np.asarray((a - 1.0) * scattering), np.asarray(scattering)
