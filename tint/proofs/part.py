"""The part itself, from a file: a mesh whose surface is closed.

A file may be small and unpack to more than there is memory: what a 3MF says of its size, and how often it places what
it holds, is added up first.
"""

from __future__ import annotations

import io
import itertools
import logging
import warnings
import zipfile
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from tint.errors import InputError
from tint.files import bytes_within
from tint.proofs.rays import scan
from tint.spectra import Array

UNITS = ("mm", "cm", "m", "in")
KINDS = (".stl", ".3mf", ".obj")
# The longest side of what is cast in silicone by hand, at all and mostly; common practice, no source.
SMALLEST_MM, LARGEST_MM = 1.0, 1000.0
_LIKELY_MM = (5.0, 500.0)
SEAM = 1e-6  # of the part's size, by which rounding may leave material less than nothing
_CREASE = np.radians(35.0)  # faces whose normals are less apart are one smooth surface [rad]
# With so much a reading takes less than 1 GB (measured on spheres): a file, what it unpacks to, and its triangles.
_MOST_BYTES, _MOST_UNPACKED, _MOST_TRIANGLES, _MOST_PLACED = 50_000_000, 35_000_000, 1_000_000, 1_000
_FEWER = "export it with fewer triangles: 100,000 serve for any picture"
_OVERLAP_PIXELS = 700  # along the longer side, by which what bodies have in common is measured


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

    def seen_from(self, side: str) -> str:
        """What it is and from where it is seen, in words."""
        plain = self.name.rpartition(".")[0].replace("_", " ") or self.name
        return f"{plain[:1].upper()}{plain[1:]} from {'a' if side == 'corner' else 'the'} {side}"


def read_part(path: str | Path, *, unit: str = "", shell_mm: float | None = None) -> Part:
    """Read an STL, 3MF or OBJ.

    `unit`: `mm`, `cm`, `m` or `in`; when empty, what the file says, else mm.
    `shell_mm`: the wall of a mesh that is only a surface, half of it to either side [mm].
    Raises InputError if it cannot be read, is larger than memory serves, not closed and without a wall, or no size for
        a part.
    """
    path = Path(path)
    mesh = _load(path)
    scale = _mm(unit or mesh.units or "mm")
    _check_size(path.name, np.asarray(mesh.extents, dtype=float) * scale, named=bool(unit))
    mesh.apply_scale(scale)
    if shell_mm is None:
        _check_closed(path.name, mesh)
    part = part_of(mesh.triangles if shell_mm is None else _thickened(path.name, mesh, shell_mm), name=path.name)
    if not part.volume_cm3 > SEAM * float(part.size_mm.max()) ** 3 / 1000.0:
        raise InputError(str(path), "its surface encloses nothing", "expected a solid", "export it again")
    return part


def part_of(triangles: ArrayLike, *, name: str = "part") -> Part:
    """A closed surface from its triangles, shape (n, 3, 3) [mm]; turned inside out where it must be."""
    corners = np.asarray(triangles, dtype=float)
    volume = enclosed_mm3(corners)
    turned = corners if volume >= 0.0 else corners[:, ::-1]
    return Part(name, turned, (abs(volume) - _twice_mm3(turned)) / 1000.0)


def enclosed_mm3(corners: Array) -> float:
    """What a closed surface encloses, shape (n, 3, 3) [mm]; less than 0 where it is inside out [mm3]."""
    about = corners - corners.reshape(-1, 3).mean(axis=0)  # far from the origin the sum would lose its digits
    return float(np.linalg.det(about).sum()) / 6.0


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


def corner_normals(triangles: Array) -> Array:
    """At each corner of each face, the mean of the normals of what is smooth about it, shape (n, 3, 3)."""
    import trimesh  # every part comes from it

    mesh = trimesh.Trimesh(**trimesh.triangles.to_kwargs(triangles))  # type: ignore[no-untyped-call]
    blunt = mesh.face_adjacency[mesh.face_adjacency_angles < _CREASE]
    smooth = trimesh.graph.connected_component_labels(  # type: ignore[no-untyped-call]
        blunt, node_count=len(mesh.faces)
    )
    _, corner = np.unique(mesh.faces * (smooth.max() + 1) + smooth[:, None], return_inverse=True)
    corner = corner.reshape(-1, 3)
    normals = trimesh.geometry.weighted_vertex_normals(  # type: ignore[no-untyped-call]
        corner.max() + 1, corner, mesh.face_normals, mesh.face_angles
    )
    return np.asarray(normals[corner])


# A mesh: nothing unpacked before its size is known, no other file opened, its surface closed.


def _load(path: Path) -> Any:
    try:
        import trimesh
    except ImportError as error:
        mend = "run `pip install 'tint[part]'`"
        raise InputError(f"--part {path.name}", "reading it needs trimesh", mend=mend) from error
    logging.getLogger("trimesh").setLevel(logging.CRITICAL)  # what it warns of is told here
    kind = path.suffix.lower()
    if kind not in KINDS:
        raise InputError(str(path), "is not a mesh that can be read", "expected " + ", ".join(KINDS))
    data = bytes_within(path, _MOST_BYTES, mend=_FEWER)
    try:
        with np.errstate(all="ignore"), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            warnings.filterwarnings("error", message="string or file could not be read")  # a number that is none
            if kind == ".3mf":
                _check_3mf(str(path), data)
            # From bytes, not from a path: a reader that has no folder opens no other file of it.
            mesh: Any = trimesh.load(io.BytesIO(data), file_type=kind[1:], force="mesh", skip_materials=True)
    except InputError:
        raise
    except ImportError as error:
        raise InputError(str(path), f"needs {error.name}", mend="run `pip install 'tint[part]'`") from error
    except Exception as error:  # trimesh raises whatever its readers come upon
        told = str(error).splitlines()[0][:80] if str(error).strip() else type(error).__name__
        raise InputError(str(path), f"cannot be read ({told})", mend="export it again") from error
    count = len(getattr(mesh, "faces", ()))
    if not count:
        raise InputError(str(path), "holds no surface", "expected triangles", "export it again")
    _check_count(str(path), count)
    if not np.isfinite(mesh.vertices).all():
        raise InputError(str(path), "holds coordinates that are no numbers", mend="export it again")
    return mesh


def _check_count(where: str, count: int) -> None:
    if count > _MOST_TRIANGLES:
        raise InputError(where, f"{count:,} triangles", f"expected at most {_MOST_TRIANGLES:,}", _FEWER)


def _check_3mf(where: str, data: bytes) -> None:
    """Refuse an archive that unpacks to, or places, more than serves; what its directory says bounds what is read."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        every = archive.infolist()
        unpacked = sum(each.file_size for each in every)
        if unpacked > _MOST_UNPACKED or len(every) > _MOST_PLACED:
            found = f"unpacks to {unpacked / 1e6:,.0f} MB in {len(every)} files"
            raise InputError(where, found, f"expected at most {_MOST_UNPACKED / 1e6:.0f} MB", _FEWER)
        placed, triangles = _placed(archive.read(each) for each in every if each.filename.lower().endswith(".model"))
    if placed > _MOST_PLACED:
        raise InputError(where, "places too many bodies", f"expected at most {_MOST_PLACED:,}", "export one part alone")
    _check_count(where, triangles)


def _placed(models: Iterable[bytes]) -> tuple[int, int]:
    """How many bodies the models of a 3MF place, and how many triangles they have.

    As the 3MF Core Specification has it: a build of items, which are objects, each a mesh or components, objects too.
    """
    from defusedxml.ElementTree import iterparse  # only needed by a 3MF

    own: dict[str, int] = defaultdict(int)
    parts: dict[str, list[str]] = defaultdict(list)  # the build, by no name, and each object: what they place
    waiting: list[str] = []
    triangles = 0
    each_model = (iterparse(io.BytesIO(model), events=("end",)) for model in models)
    for _, each in itertools.chain.from_iterable(each_model):
        match each.tag.rpartition("}")[2]:
            case "vertex":
                each.clear()
            case "triangle":
                triangles += 1
                each.clear()
            case "component":
                waiting.append(each.get("objectid", ""))
            case "item":
                parts[""].append(each.get("objectid", ""))
            case "object":
                own[each.get("id", "")] += triangles
                parts[each.get("id", "")] += waiting
                triangles, waiting = 0, []
    counted: dict[str, tuple[int, int]] = {}

    def count(name: str, depth: int = 0) -> tuple[int, int]:
        if depth > len(parts):
            return _MOST_PLACED + 1, 0  # an object that holds itself
        if name not in counted:
            inner = [count(each, depth + 1) for each in parts.get(name, ())]
            counted[name] = (1 + sum(each for each, _ in inner), own[name] + sum(each for _, each in inner))
        return counted[name]

    return count("")


def _mm(unit: str) -> float:
    """How long a unit is [mm]; 1 for one that nobody knows."""
    from trimesh.units import unit_conversion

    try:
        return float(unit_conversion(unit, "mm"))
    except (KeyError, ValueError):
        return 1.0


def _check_size(name: str, size_mm: Array, *, named: bool) -> None:
    longest = float(size_mm.max())
    if SMALLEST_MM <= longest <= LARGEST_MM:
        return
    told = f"{longest / 1000:.3g} m" if longest > LARGEST_MM else f"{longest:.2g} mm"
    expected = f"expected a part of {SMALLEST_MM:g} mm to {LARGEST_MM / 1000:g} m"
    fits = [unit for unit in UNITS if not named and _LIKELY_MM[0] <= longest * _mm(unit) <= _LIKELY_MM[1]]
    guess = f"is it in {' or '.join(fits)}? then add --set unit={fits[0]}" if fits else "export it in mm"
    raise InputError(name, f"its longest side is {told}", expected, guess)


def _check_closed(name: str, mesh: Any) -> None:
    import trimesh

    if not mesh.is_watertight:
        paired = trimesh.grouping.group_rows(mesh.edges_sorted, 2)  # type: ignore[no-untyped-call]
        open_ = len(mesh.edges_unique) - len(paired)
        found = f"its surface is not closed: {open_} edge{'s' if open_ != 1 else ''} with one face or more than two"
        mend = "tell the wall of an open shell, as in --set shell_mm=2, or close the holes where it was drawn"
        raise InputError(name, found, "expected a solid, since a shell without a wall has no thickness", mend)
    if not mesh.is_winding_consistent:
        trimesh.repair.fix_winding(mesh)  # type: ignore[no-untyped-call]


def _thickened(name: str, mesh: Any, wall_mm: float) -> Array:
    """The triangles of a body about an open surface, half its wall to either side, closed along the surface's edges."""
    import trimesh

    where = f"{name}, wall of {wall_mm:g} mm"
    if mesh.is_watertight:
        raise InputError(where, "its surface is closed", "expected a shell", "leave the wall out: it has its own")
    if not 0.0 < wall_mm < 0.5 * float(np.max(mesh.extents)):
        raise InputError(where, "no wall for a part of its size", "expected more than 0, and less than half its length")
    trimesh.repair.fix_winding(mesh)  # type: ignore[no-untyped-call]
    alone = trimesh.grouping.group_rows(mesh.edges_sorted, 1)  # type: ignore[no-untyped-call]
    paired = trimesh.grouping.group_rows(mesh.edges_sorted, 2)  # type: ignore[no-untyped-call]
    if len(alone) + len(paired) < len(mesh.edges_unique) or not mesh.is_winding_consistent:
        found, mend = "more than two faces meet at an edge, or it has one side only", "draw it as a solid"
        raise InputError(where, found, "expected a surface", mend)
    points, faces, normals = np.asarray(mesh.vertices), np.asarray(mesh.faces), np.asarray(mesh.vertex_normals)
    # At a corner the way out is longer than half the wall, so that every face about it moves by half.
    along = np.einsum("nkj,nj->nk", normals[faces], mesh.face_normals)
    mean = np.bincount(faces.ravel(), along.ravel(), len(points)) / np.maximum(np.bincount(faces.ravel()), 1)
    out = 0.5 * wall_mm * normals / np.clip(mean, 0.5, 1.0)[:, None]
    (a, b), inner = np.asarray(mesh.edges)[alone].T, len(points)
    rim = np.concatenate((np.stack((b, a, a + inner), axis=-1), np.stack((b, a + inner, b + inner), axis=-1)))
    every = np.concatenate((faces, faces[:, ::-1] + inner, rim))
    return np.asarray(np.concatenate((points + out, points - out))[every], dtype=float)
