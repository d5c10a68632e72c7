"""The form of a part: normals of its front, and the modest light and shade by which it reads.

Shade multiplies light and gloss adds to it; where the front faces the eye and nothing stands above it, shade is 1 and
gloss 0, so that a flat wall shows the predicted colour itself. How a form is lit here is drawing, not prediction.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_CREASE = np.cos(np.radians(35.0))  # faces that meet at a blunter angle are one smooth surface
_PLACES = 2**20  # along each axis at which corners are told apart
_CROWDED = 64  # faces about a corner beyond which each keeps its own normal

_LAMP = np.array([-0.45, 0.55, 0.70]) / np.linalg.norm([-0.45, 0.55, 0.70])  # right, up, towards the eye
_FILL = 0.55  # of the light comes from all around
_BRIGHTEST = 1.15
_GLOSS, _SHARPNESS = 0.20, 45.0
_SHADOW, _SOFT = 0.30, 0.6
_HOLLOW, _REACH = 0.35, 0.02  # how dark, and how far around one looks, as a share of the picture
_STEPS = (1, 2, 3, 4, 6, 8, 11, 15, 20, 27, 36)  # px towards the lamp


def normals_at(triangles: Array, placed: Array, *, face: NDArray[np.int64], at: NDArray[np.int64]) -> Array:
    """Normals of the front at pixels: run smoothly over blunt edges, broken at sharp ones.

    Parameters
    ----------
    triangles : ndarray, shape (n_faces, 3, 3)
        Turned to the eye: right, up, towards it.
    placed : ndarray, shape (n_faces, 3, 2)
        Column and row of their corners [px].
    face : ndarray of int, shape (n,)
        What is seen at each pixel.
    at : ndarray of int, shape (n, 2)
        Row and column of the pixels.

    Returns
    -------
    ndarray, shape (n, 3)
        [-]
    """
    corners = placed[face]
    point = at[:, ::-1] + 0.5
    one, two, to = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0], point - corners[:, 0]
    area = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    area = np.where(np.abs(area) < 1e-12, 1e-12, area)
    u = (to[:, 0] * two[:, 1] - to[:, 1] * two[:, 0]) / area
    v = (one[:, 0] * to[:, 1] - one[:, 1] * to[:, 0]) / area
    shares = np.clip(np.stack((1.0 - u - v, u, v), axis=-1), 0.0, 1.0)
    mixed = np.einsum("nk,nkj->nj", shares, _corner_normals(triangles)[face])
    return np.asarray(mixed / np.maximum(np.linalg.norm(mixed, axis=-1, keepdims=True), 1e-12))


def _corner_normals(triangles: Array) -> Array:
    """At each corner of each face, the mean by area of the normals that meet its own bluntly, shape (n, 3, 3)."""
    by_area = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    flat = by_area / np.maximum(np.linalg.norm(by_area, axis=-1, keepdims=True), 1e-30)
    point = _points(triangles.reshape(-1, 3))
    order = np.argsort(point, kind="stable")
    counts = np.bincount(point)
    crowd = counts[point[order]]
    start = np.repeat(np.cumsum(counts) - counts, counts)
    of, place = order // 3, np.arange(order.size)
    total = by_area[of].copy()
    for step in range(1, min(int(counts.max(initial=1)), _CROWDED)):  # with the 1st, 2nd ... neighbour about the corner
        also = (crowd > step) & (crowd <= _CROWDED)
        here = place[also]
        other = of[start[also] + (here - start[also] + step) % crowd[also]]
        blunt = np.einsum("ni,ni->n", flat[of[here]], flat[other]) > _CREASE
        total[here[blunt]] += by_area[other[blunt]]
    smooth = np.empty((order.size, 3))
    smooth[order] = total / np.maximum(np.linalg.norm(total, axis=-1, keepdims=True), 1e-30)
    return smooth.reshape(-1, 3, 3)


def _points(corners: Array) -> NDArray[np.int64]:
    """A number for each corner, the same where they lie in one place, shape (n, 3) to (n,)."""
    low = corners.min(axis=0, initial=np.inf)
    step = max(float(np.ptp(corners)), 1e-9) / _PLACES
    x, y, z = np.rint((corners - low) / step).astype(np.int64).T
    _, point = np.unique((x * (_PLACES + 1) + y) * (_PLACES + 1) + z, return_inverse=True)
    return np.asarray(point, dtype=np.int64)


def shading(
    normals: Array, height_mm: Array, *, has_part: NDArray[np.bool_], mm_per_pixel: float
) -> tuple[Array, Array]:
    """Light and shade of a front.

    Parameters
    ----------
    normals : ndarray, shape (height, width, 3)
        Right, up, towards the eye [-].
    height_mm : ndarray, shape (height, width)
        [mm]
    has_part : ndarray of bool, shape (height, width)
        What lies beside the part is left as it is.

    Returns
    -------
    shade, gloss : ndarray, shape (height, width)
        To multiply light by, and to add to it [-].
    """
    facing = np.clip(normals @ _LAMP / _LAMP[2], 0.0, None)
    shade = np.minimum(_FILL + (1.0 - _FILL) * facing, _BRIGHTEST)
    shade *= 1.0 - _SHADOW * _shadow(height_mm, mm_per_pixel)
    shade *= 1.0 - _HOLLOW * _hollow(height_mm, has_part, mm_per_pixel)
    halfway = _LAMP + np.array([0.0, 0.0, 1.0])
    halfway /= np.linalg.norm(halfway)
    flat = halfway[2] ** _SHARPNESS
    gloss = _GLOSS * np.clip(np.clip(normals @ halfway, 0.0, None) ** _SHARPNESS - flat, 0.0, None) / (1.0 - flat)
    return np.where(has_part, shade, 1.0), np.where(has_part, gloss, 0.0)


def _shadow(height_mm: Array, mm_per_pixel: float) -> Array:
    """How far each pixel lies in the shadow of what stands towards the lamp, 0 to 1."""
    across, up = _LAMP[:2] / np.hypot(*_LAMP[:2])
    rise = _LAMP[2] / np.hypot(*_LAMP[:2])
    rows, columns = height_mm.shape
    reach = _STEPS[-1] + 1
    around = np.pad(height_mm, reach)
    shadow = np.zeros_like(height_mm)
    for step in _STEPS:
        down, right = reach - round(step * up), reach + round(step * across)
        there = around[down : down + rows, right : right + columns]
        steep = (there - height_mm) / (step * mm_per_pixel) - rise
        np.maximum(shadow, np.clip(steep / _SOFT, 0.0, 1.0), out=shadow)
    return shadow


def _hollow(height_mm: Array, has_part: NDArray[np.bool_], mm_per_pixel: float) -> Array:
    """How far each pixel lies below what is around it, 0 to 1."""
    reach = max(round(_REACH * max(height_mm.shape)), 2)
    share = _mean_around(has_part.astype(float), reach)
    around = _mean_around(np.where(has_part, height_mm, 0.0), reach) / np.maximum(share, 1e-9)
    return np.asarray(np.clip((around - height_mm) / (reach * mm_per_pixel), 0.0, 1.0))


def _mean_around(values: Array, reach: int) -> Array:
    """Mean over a square of pixels about each, by sums along rows and columns."""
    for axis in (0, 1):
        pad = [(0, 0), (0, 0)]
        pad[axis] = (reach + 1, reach)
        total = np.cumsum(np.pad(values, pad), axis=axis)
        size = values.shape[axis]
        span = 2 * reach + 1
        values = (np.take(total, range(span, span + size), axis) - np.take(total, range(size), axis)) / span
    return values
