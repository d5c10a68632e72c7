"""The part itself, a closed surface or a height map, as the material along every line of sight and its front."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, UnidentifiedImageError

from tint.errors import InputError
from tint.proofs.portrait import normals_at
from tint.proofs.scan import scan

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
UNITS = ("mm", "cm", "m", "in")

# The longest side of what is cast in silicone by hand, at all and mostly; common practice, no source.
_SMALLEST_MM, _LARGEST_MM = 1.0, 1000.0
_LIKELY_MM = (5.0, 500.0)
_MARGIN = 0.03  # of the picture, left free around the part; chosen by eye
_MOST_PIXELS = 25_000_000  # about 1 GB of memory while it is shaded
_SEAM = 1e-6  # of the part's size, by which rounding may leave material less than nothing


@dataclass(frozen=True, eq=False)
class Part:
    """A closed surface.

    Parameters
    ----------
    name : str
        Of its file.
    triangles : ndarray, shape (n, 3, 3)
        Corners, anticlockwise seen from outside [mm].
    volume_cm3 : float
        What it takes to fill it [cm3]; bodies that overlap count twice.
    """

    name: str
    triangles: Array
    volume_cm3: float

    @property
    def size_mm(self) -> Array:
        """Along x, y and z, shape (3,) [mm]."""
        return np.asarray(np.ptp(self.triangles.reshape(-1, 3), axis=0))


@dataclass(frozen=True, eq=False)
class View:
    """A part seen from one side.

    Parameters
    ----------
    thickness_mm : ndarray, shape (height, width)
        Material along the line of sight; 0 where there is none [mm].
    height_mm : ndarray, shape (height, width)
        Of the front above the hindmost point; 0 where there is no part [mm].
    normals : ndarray, shape (height, width, 3)
        Of the front: right, up, towards the eye [-].
    mm_per_pixel : float
        [mm]
    """

    thickness_mm: Array
    height_mm: Array
    normals: Array
    mm_per_pixel: float

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
        If it cannot be read, is not closed, or is too large or too small to be a part.
    """
    path = Path(path)
    mesh = _load(path)
    scale = _mm(unit or mesh.units or "mm")
    _check_size(path.name, np.asarray(mesh.extents, dtype=float) * scale, named=bool(unit))
    _check_closed(path.name, mesh)
    return part_of(np.asarray(mesh.triangles, dtype=float) * scale, name=path.name)


def part_of(triangles: ArrayLike, *, name: str = "part") -> Part:
    """A closed surface from its triangles, shape (n, 3, 3) [mm]; turned inside out where it must be."""
    import trimesh

    corners = np.asarray(triangles, dtype=float)
    volume = float(trimesh.triangles.mass_properties(corners, skip_inertia=True).volume)
    return Part(name, corners if volume >= 0.0 else corners[:, ::-1], abs(volume) / 1000.0)


def _load(path: Path) -> Any:
    try:
        import trimesh
    except ImportError as error:
        raise InputError(
            f"--part {path.name}", "reading it needs trimesh", mend="run `pip install 'tint[part]'`"
        ) from error
    kinds = (".stl", ".3mf", ".obj")
    if path.suffix.lower() not in kinds:
        raise InputError(str(path), "is not a mesh that can be read", "expected " + ", ".join(kinds))
    if not path.is_file():
        raise InputError(str(path), "cannot be read (no such file)", mend="check the name")
    try:
        mesh = trimesh.load(path, force="mesh")
    except ImportError as error:
        raise InputError(str(path), f"needs {error.name}", mend="run `pip install 'tint[part]'`") from error
    except Exception as error:  # trimesh raises whatever its readers come upon
        told = str(error).splitlines()[0][:80] if str(error) else type(error).__name__
        raise InputError(str(path), f"cannot be read ({told})", mend="export it again") from error
    if not len(getattr(mesh, "faces", ())):
        raise InputError(str(path), "holds no surface", "expected triangles", "export it again")
    return mesh


def _mm(unit: str) -> float:
    """How long a unit is [mm]; 1 for one that nobody knows."""
    from trimesh.units import unit_conversion

    try:
        return float(unit_conversion(unit, "mm"))
    except (KeyError, ValueError):
        return 1.0


def _check_size(name: str, size_mm: Array, *, named: bool) -> None:
    longest = float(size_mm.max())
    if _SMALLEST_MM <= longest <= _LARGEST_MM:
        return
    told = f"{longest / 1000:.3g} m" if longest > _LARGEST_MM else f"{longest:.2g} mm"
    expected = f"expected a part of {_SMALLEST_MM:g} mm to {_LARGEST_MM / 1000:g} m"
    fits = [unit for unit in UNITS if not named and _LIKELY_MM[0] <= longest * _mm(unit) <= _LIKELY_MM[1]]
    guess = f"is it in {' or '.join(fits)}? then add --unit {fits[0]}" if fits else "export it in mm"
    raise InputError(name, f"its longest side is {told}", expected, guess)


def _check_closed(name: str, mesh: Any) -> None:
    import trimesh

    if not mesh.is_watertight:
        paired = trimesh.grouping.group_rows(mesh.edges_sorted, 2)  # type: ignore[no-untyped-call]
        open_ = len(mesh.edges_unique) - len(paired)
        found = f"its surface is not closed: {open_} edge{'s' if open_ != 1 else ''} with one face or more than two"
        raise InputError(name, found, "expected a solid", "mend it in the program that it was drawn in")
    if not mesh.is_winding_consistent:
        trimesh.repair.fix_winding(mesh)  # type: ignore[no-untyped-call]


def view_of(part: Part, side: str = "top", *, pixels: int = 1000) -> View:
    """Look at a part from a side, with parallel lines of sight.

    Parameters
    ----------
    side : str
        `top`, `bottom`, `front`, `back`, `left`, `right` or `corner`.
    pixels : int
        The longer side of the picture [px].

    Raises
    ------
    InputError
        If there is no such side, or material comes out less than nothing.
    """
    if side not in SIDES:
        raise InputError("side", f"`{side}` is not known", ", ".join(SIDES))
    turned = part.triangles @ SIDES[side].T
    low, high = turned.reshape(-1, 3).min(axis=0), turned.reshape(-1, 3).max(axis=0)
    mm_per_pixel = float((high - low)[:2].max()) / (pixels * (1.0 - 2.0 * _MARGIN))
    margin = _MARGIN * pixels
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
    if seen.material.min() < -tiny:
        raise InputError(part.name, "some of its faces are inside out", mend="recompute its normals and export again")
    thickness = np.where(seen.material > tiny, seen.material, 0.0)
    there = (seen.face >= 0) & (thickness > 0.0)
    normals = np.zeros((height, width, 3))
    normals[..., 2] = 1.0
    normals[there] = normals_at(turned, placed[..., :2], face=seen.face[there], at=np.argwhere(there))
    return View(np.where(there, thickness, 0.0), np.where(there, seen.nearest, 0.0), normals, mm_per_pixel)


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
        If it cannot be read, is coloured, or too large.
    """
    for name, value in (("--mm-per-level", mm_per_level), ("--mm-per-pixel", mm_per_pixel)):
        if not 0.0 < value < 100.0:
            raise InputError(name, f"{value:g}", "expected more than 0 and less than 100 mm")
    levels = _grey(Path(path))
    if not levels.any():
        raise InputError(str(path), "is black all over", "expected brighter where the part is thicker")
    thickness = levels * mm_per_level
    down, right = np.gradient(thickness, mm_per_pixel)
    normals = np.stack((-right, down, np.ones_like(thickness)), axis=-1)
    normals /= np.linalg.norm(normals, axis=-1, keepdims=True)
    return View(thickness, thickness, normals, mm_per_pixel)


def _grey(path: Path) -> Array:
    try:
        with Image.open(path) as image:
            if image.width * image.height > _MOST_PIXELS:
                found = f"{image.width} x {image.height} pixels"
                raise InputError(str(path), found, f"expected at most {_MOST_PIXELS // 1_000_000} million", "scale it")
            pixels = np.asarray(image if image.mode[:1] in ("I", "L", "F") else image.convert("RGB"), dtype=float)
    except (OSError, UnidentifiedImageError, Image.DecompressionBombError) as error:
        told = getattr(error, "strerror", None) or "not a picture"
        raise InputError(str(path), f"cannot be read ({told})", "expected a grey PNG", "check the name") from error
    if pixels.ndim == 3 and pixels.shape[-1] >= 3:
        if np.ptp(pixels[..., :3], axis=-1).max() > 0:
            raise InputError(str(path), "is coloured", "expected a grey picture", "save it in grey")
        pixels = pixels[..., 0]
    return pixels[..., 0] if pixels.ndim == 3 else pixels


def volume_cm3(view: View) -> float:
    """What the material in a view takes to cast [cm3]."""
    return float(view.thickness_mm.sum()) * view.mm_per_pixel**2 / 1000.0
