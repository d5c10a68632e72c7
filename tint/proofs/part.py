"""The part itself, a closed surface or a height map, as the material along every line of sight and its front."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, UnidentifiedImageError

from tint.errors import InputError
from tint.files import hushed
from tint.proofs.mesh import LARGEST_MM, read_mesh
from tint.proofs.portrait import normals_at
from tint.proofs.scan import scan
from tint.proofs.walls import Walls, wall_at

Array = NDArray[np.float64]

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
_MOST_PIXELS = 25_000_000  # of a height map; 0.1 GB of memory while it is read
_MOST_ASIDE = 2000  # pixels along a side of a height map that are kept: a picture shows 900 of them
_KINDS = ("PNG", "TIFF", "JPEG", "BMP", "WEBP", "GIF", "PPM")
_SPARSE = 4  # of so many pixels along each side one is told its wall
_STRAIGHT, _RIM = 0.95, 1.5  # cosine from which a face looks at the eye; times the wall that is a rim's depth
_OVERLAP_PIXELS = 700  # along the longer side, by which what bodies have in common is measured
_SEAM = 1e-6  # of the part's size, by which rounding may leave material less than nothing


@dataclass(frozen=True, eq=False)
class Part:
    """A closed surface."""

    name: str  # of its file
    triangles: Array  # (n, 3, 3): corners, anticlockwise seen from outside [mm]
    volume_cm3: float  # what it takes to fill it [cm3]

    @property
    def size_mm(self) -> Array:
        """Along x, y and z, shape (3,) [mm]."""
        return np.asarray(np.ptp(self.triangles.reshape(-1, 3), axis=0))


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
    def has_part(self) -> NDArray[np.bool_]:
        """Where there is material."""
        return np.asarray(self.thickness_mm > 0.0)


def read_part(path: str | Path, *, unit: str = "") -> Part:
    """Read an STL, 3MF or OBJ.

    Parameters
    ----------
    unit : str
        `mm`, `cm`, `m` or `in`; when empty, what the file says, else mm.

    Raises
    ------
    InputError
        As of `tint.proofs.mesh.read_mesh`.
    """
    path = Path(path)
    part = part_of(read_mesh(path, unit=unit), name=path.name)
    if not part.volume_cm3 > _SEAM * float(part.size_mm.max()) ** 3 / 1000.0:
        raise InputError(str(path), "its surface encloses nothing", "expected a solid", "export it again")
    return part


def part_of(triangles: ArrayLike, *, name: str = "part") -> Part:
    """A closed surface from its triangles, shape (n, 3, 3) [mm]; turned inside out where it must be."""
    corners = np.asarray(triangles, dtype=float)
    about = corners - corners.reshape(-1, 3).mean(axis=0)  # far from the origin the sum would lose its digits
    volume = float(np.einsum("ni,ni->", about[:, 0], np.cross(about[:, 1], about[:, 2]))) / 6.0
    turned = corners if volume >= 0.0 else corners[:, ::-1]
    return Part(name, turned, (abs(volume) - _twice_mm3(turned)) / 1000.0)


def _twice_mm3(corners: Array) -> float:
    """What bodies that overlap have in common, counted once for each body but the first [mm3]."""
    low, size = corners.reshape(-1, 3).min(axis=0), np.ptp(corners.reshape(-1, 3), axis=0)
    side = float(size[:2].max()) / _OVERLAP_PIXELS
    if side == 0.0:
        return 0.0
    width, height = (int(np.ceil(extent / side)) + 1 for extent in size[:2])
    placed = (corners - low) / np.array([side, side, 1.0]) * np.array([1.0, -1.0, 1.0])
    placed[..., 1] += size[1] / side
    return float(scan(placed, width=width, height=height).twice.sum()) * side**2


def view_of(part: Part, side: str = "top", *, pixels: int = 1000, walls: Walls | None = None) -> View:
    """Look at a part from a side, with parallel lines of sight.

    Parameters
    ----------
    side : str
        `top`, `bottom`, `front`, `back`, `left`, `right` or `corner`.
    pixels : int
        The longer side of the picture [px].
    walls : Walls, optional
        Of the part, to be told of what is seen.

    Raises
    ------
    InputError
        If there is no such side, or material comes out less than nothing.
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
    tiny = _SEAM * float(part.size_mm.max())
    if seen.least.min() < -tiny:
        raise InputError(part.name, "some of its faces are inside out", mend="recompute its normals and export again")
    thickness = np.where(seen.material > tiny, seen.material, 0.0)
    there = (seen.face >= 0) & (thickness > 0.0)
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
        told, across_it = _wall_map(walls, place, facing, there), thickness - beyond
        # A wall that faces the eye is known at every pixel, but for a rim, along whose wall one looks.
        straight = (normals[..., 2] > _STRAIGHT) & (across_it < _RIM * told)
        wall = np.where(there, np.where(straight, across_it, told), 0.0)
    return View(np.where(there, thickness, 0.0), height_mm, normals, mm_per_pixel, beyond_mm=beyond, wall_mm=wall)


def _wall_map(walls: Walls, place: Array, normals: Array, there: NDArray[np.bool_]) -> Array:
    """The wall at some points of the front, given to the pixels about each, shape (height, width) [mm]."""
    reach = 0.1 * float(np.ptp(walls.place, axis=0).max())
    some = wall_at(walls, place.reshape(-1, 3), normals.reshape(-1, 3), reach_mm=reach).reshape(place.shape[:2])
    every = np.repeat(np.repeat(some, _SPARSE, axis=0), _SPARSE, axis=1)
    return np.asarray(every[: there.shape[0], : there.shape[1]])


def read_height_map(path: str | Path, *, mm_per_level: float, mm_per_pixel: float = 0.1) -> View:
    """Read a grey picture whose levels are thickness.

    Parameters
    ----------
    mm_per_level : float
        Thickness of one grey level [mm].
    mm_per_pixel : float
        [mm]

    Raises
    ------
    InputError
        If it cannot be read, is coloured or too large, or a level is negative, no number or thicker than any part.

    Notes
    -----
    Of a map with more than 2000 pixels along a side every second pixel is taken, or every third, and so on.
    """
    for name, value in (("--mm-per-level", mm_per_level), ("--mm-per-pixel", mm_per_pixel)):
        if not 0.0 < value < 100.0:
            raise InputError(name, f"{value:g}", "expected more than 0 and less than 100 mm")
    path = Path(path)
    levels = _grey(path)
    every = -(-max(levels.shape) // _MOST_ASIDE)
    levels, mm_per_pixel = levels[::every, ::every], mm_per_pixel * every
    if not (levels.min() >= 0.0 and levels.max() < np.inf):  # written so that a NaN fails too
        raise InputError(str(path), "holds levels below 0 or that are no numbers", "expected 0 where there is nothing")
    if not levels.any():
        raise InputError(str(path), "is black all over", "expected brighter where the part is thicker")
    if min(levels.shape) < 2:
        raise InputError(str(path), f"{levels.shape[1]} x {levels.shape[0]} pixels", "expected at least 2 either way")
    thickness = levels * mm_per_level
    if thickness.max() > LARGEST_MM:
        expected = f"expected at most {LARGEST_MM:g} mm"
        raise InputError(str(path), f"{thickness.max():.3g} mm thick", expected, "check --mm-per-level")
    down, right = np.gradient(thickness, mm_per_pixel)
    normals = np.stack((-right, down, np.ones_like(thickness)), axis=-1)
    normals /= np.linalg.norm(normals, axis=-1, keepdims=True)
    return View(thickness, thickness, normals, mm_per_pixel)


def _grey(path: Path) -> Array:
    expected = "expected a grey PNG"
    try:
        # Pillow warns of odd tags, which do no harm, and of a great many pixels, which are refused here.
        with hushed(), Image.open(path, formats=_KINDS) as image:
            if image.width * image.height > _MOST_PIXELS:
                found = f"{image.width} x {image.height} pixels"
                raise InputError(str(path), found, f"expected at most {_MOST_PIXELS // 1_000_000} million", "scale it")
            pixels = np.asarray(image if image.mode[:1] in ("I", "L", "F") else image.convert("RGB"))
    except InputError:
        raise
    except (UnidentifiedImageError, Image.DecompressionBombError) as error:
        raise InputError(str(path), "cannot be read (not a picture)", expected, "check the name") from error
    except Exception as error:  # pillow's decoders raise whatever they like on broken bytes
        told = getattr(error, "strerror", None)
        mend = "check the name" if told else "save it again"
        raise InputError(str(path), f"cannot be read ({told or 'it is broken'})", expected, mend) from error
    if pixels.ndim == 3 and pixels.shape[-1] >= 3 and np.ptp(pixels[..., :3], axis=-1).max() > 0:
        raise InputError(str(path), "is coloured", "expected a grey picture", "save it in grey")
    levels = pixels[..., 0] if pixels.ndim == 3 else pixels
    return levels.astype(float)


def volume_cm3(view: View) -> float:
    """What the material in a view takes to cast [cm3]."""
    return float(view.thickness_mm.sum()) * view.mm_per_pixel**2 / 1000.0
