"""A part seen from one side: material along the line of sight, its front, and the light and shade by which it reads.

Shade multiplies light and gloss adds to it; where the front faces the eye and nothing stands above it, shade is 1 and
gloss 0, so that a flat wall shows the predicted colour itself. How a form is lit here is drawing, not prediction.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import binary_erosion, uniform_filter

from tint.errors import InputError
from tint.proofs.part import SEAM, Part, corner_normals
from tint.proofs.picture import DARK, WHITE
from tint.proofs.rays import scan
from tint.proofs.render import LAMP, ColourTable, Hollow, Levels, Light, hollow_light, light_at
from tint.proofs.walls import Walls, wall_at
from tint.spectra import Array, Index, Mask

_AT_ONCE = 100_000  # pixels whose normals are worked out together, for the sake of memory
DASH = 6  # of an outline [px]; chosen by eye
FINER = 2  # lines of sight a pixel of the portrait, along each side
# All of these are of the drawing and chosen by eye: no source.
_LAMP = np.array([-0.45, 0.55, 0.70]) / np.linalg.norm([-0.45, 0.55, 0.70])  # right, up, towards the eye
_FILL = 0.55  # of the light comes from all around
_BRIGHTEST = 1.15  # of the light that falls on a flat front
_GLOSS, _SHARPNESS = 0.20, 45.0  # how bright, in linear light, and the power of the cosine that it falls off by
_SHADOW, _SOFT = 0.30, 0.6  # how dark, and over what slope its edge fades
_HOLLOW, _REACH = 0.35, 0.02  # how dark, and how far around one looks, as a share of the picture
_STEPS = (1, 2, 3, 4, 6, 8, 11, 15, 20, 27, 36)  # px towards the lamp
_SPARSE = 4  # of so many pixels along each side one is told its wall
_STRAIGHT, _RIM = 0.95, 1.5  # cosine from which a face looks at the eye; times the wall that is a rim's depth

# By side: the axes of the part that point right, up and towards the eye.
SIDES: dict[str, Array] = {
    "top": np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
    "bottom": np.array([[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, -1.0]]),
    "front": np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]]),
    "back": np.array([[-1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, 1.0, 0.0]]),
    "right": np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]]),
    "left": np.array([[0.0, -1.0, 0.0], [0.0, 0.0, 1.0], [-1.0, 0.0, 0.0]]),
    "corner": np.array([[1.0, 1.0, 0.0], [-0.5, 0.5, 1.0], [1.0, -1.0, 1.0]])
    / np.sqrt([[2.0], [1.5], [3.0]]),
}  # fmt: skip
MARGIN = 0.03  # of the picture, left free around the part; chosen by eye


@dataclass(frozen=True, eq=False)
class View:
    """A part seen from one side."""

    thickness_mm: Array  # (height, width): material along the line of sight; 0 where there is none [mm]
    height_mm: Array  # (height, width): of the front above the hindmost point; 0 where there is no part [mm]
    normals: Array  # (height, width, 3): of the front: right, up, towards the eye [-]
    mm_per_pixel: float  # [mm]
    # (height, width): of the material what lies behind the near wall, across air; nowhere when absent [mm]
    beyond_mm: Array | None = None
    # (height, width): the wall that is seen, along its normal; what lies in the line of sight when absent [mm]
    wall_mm: Array | None = None

    @property
    def has_part(self) -> Mask:
        """Where there is material."""
        return np.asarray(self.thickness_mm > 0.0)


def view_of(part: Part, side: str = "top", *, pixels: int = 1000, walls: Walls | None = None) -> View:
    """Look at a part from a side, with parallel lines of sight.

    `side`: `top`, `bottom`, `front`, `back`, `left`, `right` or `corner`.
    `pixels`: the longer side of the picture [px].
    `walls`: of the part, to be told of what is seen.
    Raises InputError if there is no such side, no pixel meets the part, or material comes out less than nothing.
    """
    if side not in SIDES:
        raise InputError("side", f"`{side}` is not known", ", ".join(SIDES))
    turned = part.triangles @ SIDES[side].T
    low, high = turned.reshape(-1, 3).min(axis=0), turned.reshape(-1, 3).max(axis=0)
    mm_per_pixel = float((high - low)[:2].max()) / (pixels * (1.0 - 2.0 * MARGIN))
    margin = MARGIN * pixels
    width, height = (int(np.ceil(extent / mm_per_pixel + 2.0 * margin)) for extent in (high - low)[:2])
    placed = np.stack(
        (
            (turned[..., 0] - low[0]) / mm_per_pixel + margin,
            (high[1] - turned[..., 1]) / mm_per_pixel + margin,
            turned[..., 2] - low[2],
        ),
        axis=-1,
    )
    seen = scan(placed, width=width, height=height)
    tiny = SEAM * float(part.size_mm.max())
    if seen.least.min() < -tiny:
        raise InputError(part.name, "some of its faces are inside out", mend="recompute its normals and export again")
    thickness = np.where(seen.material > tiny, seen.material, 0.0)
    there = (seen.face >= 0) & (thickness > 0.0)
    if not there.any():
        found = f"from {side} it is thinner than a pixel, {mm_per_pixel:.2g} mm"
        raise InputError(part.name, found, mend="look at it from another side, as with --set side=corner")
    normals = np.zeros((height, width, 3))
    normals[..., 2] = 1.0
    normals[there] = normals_at(turned, placed[..., :2], face=seen.face[there], at=np.argwhere(there))
    beyond = np.where(there & (seen.material - seen.first > tiny), seen.material - seen.first, 0.0)
    height_mm = np.where(there, seen.nearest, 0.0)
    wall = None
    if walls is not None:
        rows, columns = np.indices(there.shape)[:, ::_SPARSE, ::_SPARSE]
        across = low[0] + (columns + 0.5 - margin) * mm_per_pixel
        up = high[1] - (rows + 0.5 - margin) * mm_per_pixel
        place = np.stack((across, up, height_mm[::_SPARSE, ::_SPARSE] + low[2]), axis=-1) @ SIDES[side]
        facing = normals[::_SPARSE, ::_SPARSE] @ SIDES[side]
        reach = 0.1 * float(np.ptp(walls.place, axis=0).max())
        told = wall_at(walls, place.reshape(-1, 3), facing.reshape(-1, 3), reach_mm=reach).reshape(rows.shape)
        told = told.repeat(_SPARSE, axis=0).repeat(_SPARSE, axis=1)[:height, :width]  # to the pixels about each
        across_it = thickness - beyond
        # A wall that faces the eye is known at every pixel, but for a rim, along whose wall one looks.
        straight = (normals[..., 2] > _STRAIGHT) & (across_it < _RIM * told)
        wall = np.where(there, np.where(straight, across_it, told), 0.0)
    return View(np.where(there, thickness, 0.0), height_mm, normals, mm_per_pixel, beyond_mm=beyond, wall_mm=wall)


def volume_cm3(view: View) -> float:
    """What the material in a view takes to cast [cm3]."""
    return float(view.thickness_mm.sum()) * view.mm_per_pixel**2 / 1000.0


@dataclass(frozen=True, eq=False)
class Portrait:
    """What of a view a picture is coloured from, in pixels of the picture."""

    thickness_mm: Array  # (height, width): mean over what of the pixel the part covers; 0 where it covers none [mm]
    beyond_mm: Array  # (height, width): of it, what lies behind the near wall, across air [mm]
    # (height, width): the wall that is seen, along its normal where that is known; else the near wall along the line
    # of sight [mm]
    wall_mm: Array
    cover: Array  # (height, width): the share of the pixel that it covers, 0 to 1 [-]
    shade: Array  # (height, width): to multiply light by [-]
    gloss: Array  # (height, width): to add to light [-]
    mm_per_pixel: float  # [mm]

    @property
    def has_part(self) -> Mask:
        """Where the part covers any of a pixel."""
        return np.asarray(self.cover > 0.0)

    @property
    def upto_mm(self) -> float:
        """The thickest [mm]."""
        return float(self.thickness_mm.max())

    @property
    def hollow(self) -> Mask:
        """Where air lies between the near wall and another one."""
        return np.asarray(self.beyond_mm > 0.0)

    @property
    def both_upto_mm(self) -> tuple[float, float]:
        """The thickest near and the thickest far wall of what is hollow [mm]."""
        near, far = (each[self.hollow] for each in (self.thickness_mm - self.beyond_mm, self.beyond_mm))
        return float(near.max()), float(far.max())


def portrait_of(view: View, *, finer: int = FINER) -> Portrait:
    """A view with its lines of sight gathered into pixels, `finer` by `finer` to each."""
    there = view.has_part
    shade, gloss = shading(view.normals, view.height_mm, has_part=there, mm_per_pixel=view.mm_per_pixel)
    cover = _gathered(there.astype(float), finer)
    share = np.maximum(cover, 1e-9)
    shade, gloss = _gathered(np.where(there, shade, 0.0), finer) / share, _gathered(gloss, finer) / share
    beyond = np.zeros_like(view.thickness_mm) if view.beyond_mm is None else view.beyond_mm
    wall = view.thickness_mm - beyond if view.wall_mm is None else view.wall_mm
    return Portrait(
        thickness_mm=_gathered(view.thickness_mm, finer) / share,
        beyond_mm=_gathered(beyond, finer) / share,
        wall_mm=_gathered(wall, finer) / share,
        cover=cover,
        shade=np.where(cover > 0.0, shade, 1.0),
        gloss=gloss,
        mm_per_pixel=view.mm_per_pixel * finer,
    )


def _gathered(values: Array, finer: int) -> Array:
    """Mean over squares of pixels; what is over at the right and the bottom is dropped."""
    rows, columns = (side // finer for side in values.shape)
    squares = values[: rows * finer, : columns * finer].reshape(rows, finer, columns, finer)
    return np.asarray(squares.mean(axis=(1, 3)))


def light_of(portrait: Portrait, table: ColourTable, hollow: Hollow | None = None) -> Light:
    """The portrait in linear sRGB, not clipped, shape (height, width, 3); `hollow` where air lies between walls.

    A lamp behind is not shaded: what then shows the form is how much comes through.
    """
    linear = plain_light(portrait, table, hollow)
    if table.over != LAMP:
        linear = linear * portrait.shade[..., None].astype(np.float32) + portrait.gloss[..., None].astype(np.float32)
    cover = portrait.cover[..., None].astype(np.float32)
    return np.asarray(cover * linear + (1.0 - cover) * table.bare.astype(np.float32), dtype=np.float32)


def plain_light(portrait: Portrait, table: ColourTable, hollow: Hollow | None = None) -> Light:
    """Likewise without shade and gloss, and as if the part covered the pixels at its edge."""
    linear = light_at(table, portrait.thickness_mm)
    if hollow is not None:
        there = portrait.hollow
        beyond = portrait.beyond_mm[there]
        linear[there] = hollow_light(hollow, portrait.thickness_mm[there] - beyond, beyond)
    return linear


def outlined(pixels: Levels, mask: Mask | None, *, dash: int) -> Levels:
    """Pixels with a line just inside the edge of a mask, dark and white by turns, so that it shows on any colour."""
    if mask is None:
        return pixels
    rows, columns = np.nonzero(mask & ~binary_erosion(mask))
    drawn = pixels.copy()
    drawn[rows, columns] = np.where(((rows // dash + columns // dash) % 2 == 0)[:, None], DARK, WHITE)
    return drawn


# Form, light and shade.


def normals_at(triangles: Array, placed: Array, *, face: Index, at: Index) -> Array:
    """Normals of the front at pixels: run smoothly over blunt edges, broken at sharp ones.

    `triangles` (n_faces, 3, 3), turned to the eye, have their corners at `placed` (n_faces, 3, 2), column and row;
    `face` (n,) is what is seen `at` (n, 2), row and column.
    """
    at_corners, normals = corner_normals(triangles), np.empty((face.size, 3))
    for first in range(0, face.size, _AT_ONCE):
        some = slice(first, first + _AT_ONCE)
        a, b, c = placed[face[some]].swapaxes(0, 1)
        one, two, to = b - a, c - a, at[some, ::-1] + 0.5 - a
        area = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
        area = np.where(np.abs(area) < 1e-12, 1e-12, area)
        u = (to[:, 0] * two[:, 1] - to[:, 1] * two[:, 0]) / area
        v = (one[:, 0] * to[:, 1] - one[:, 1] * to[:, 0]) / area
        shares = np.clip(np.stack((1.0 - u - v, u, v), axis=-1), 0.0, 1.0)
        normals[some] = np.einsum("nk,nkj->nj", shares, at_corners[face[some]])
    return np.asarray(normals / np.maximum(np.linalg.norm(normals, axis=-1, keepdims=True), 1e-12))


def shading(normals: Array, height_mm: Array, *, has_part: Mask, mm_per_pixel: float) -> tuple[Array, Array]:
    """What to multiply light by on a front and what to add to it [-]; what lies beside the part is left as it is."""
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


def _hollow(height_mm: Array, has_part: Mask, mm_per_pixel: float) -> Array:
    """How far each pixel lies below what is around it, 0 to 1."""
    reach = max(round(_REACH * max(height_mm.shape)), 2)
    size = 2 * reach + 1
    share = uniform_filter(has_part.astype(float), size, mode="constant")
    around = uniform_filter(np.where(has_part, height_mm, 0.0), size, mode="constant") / np.maximum(share, 1e-9)
    return np.asarray(np.clip((around - height_mm) / (reach * mm_per_pixel), 0.0, 1.0))
