"""A mesh from a file: nothing unpacked before its size is known, no other file opened, its surface closed.

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
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tint.errors import InputError

Array = NDArray[np.float64]

UNITS = ("mm", "cm", "m", "in")
KINDS = (".stl", ".3mf", ".obj")
# The longest side of what is cast in silicone by hand, at all and mostly; common practice, no source.
SMALLEST_MM, LARGEST_MM = 1.0, 1000.0
_LIKELY_MM = (5.0, 500.0)
# With so much a reading takes less than 1 GB (measured on spheres): a file, what it unpacks to, and its triangles.
_MOST_BYTES, _MOST_UNPACKED, _MOST_TRIANGLES, _MOST_PLACED = 50_000_000, 35_000_000, 1_000_000, 1_000
_FEWER = "export it with fewer triangles: 100,000 serve for any picture"


def read_mesh(path: Path, *, unit: str = "") -> Array:
    """Triangles of a closed surface in an STL, 3MF or OBJ, shape (n, 3, 3) [mm].

    Parameters
    ----------
    unit : str
        `mm`, `cm`, `m` or `in`; when empty, what the file says, else mm.

    Raises
    ------
    InputError
        If it cannot be read, is larger than memory serves, not closed, or too large or too small to be a part.
    """
    mesh = _load(path)
    scale = _mm(unit or mesh.units or "mm")
    _check_size(path.name, np.asarray(mesh.extents, dtype=float) * scale, named=bool(unit))
    _check_closed(path.name, mesh)
    return np.asarray(mesh.triangles, dtype=float) * scale


def _load(path: Path) -> Any:
    try:
        import trimesh
    except ImportError as error:
        raise InputError(
            f"--part {path.name}", "reading it needs trimesh", mend="run `pip install 'tint[part]'`"
        ) from error
    kind = path.suffix.lower()
    if kind not in KINDS:
        raise InputError(str(path), "is not a mesh that can be read", "expected " + ", ".join(KINDS))
    data = _bytes(path)
    try:
        with _strictly():
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


def _bytes(path: Path) -> bytes:
    try:
        if not path.is_file():
            raise InputError(str(path), "cannot be read (no such file)", mend="check the name")
        size = path.stat().st_size
        if size > _MOST_BYTES:
            raise InputError(str(path), f"{size / 1e6:.0f} MB", f"expected at most {_MOST_BYTES / 1e6:.0f} MB", _FEWER)
        return path.read_bytes()
    except OSError as error:
        raise InputError(str(path), f"cannot be read ({error.strerror})", mend="check the name") from error


@contextmanager
def _strictly() -> Iterator[None]:
    """Have trimesh fail on numbers that are none instead of warning of them, and log nothing."""
    log = logging.getLogger("trimesh.util")
    before, log.disabled = log.disabled, True
    try:
        with np.errstate(all="ignore"), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            warnings.filterwarnings("error", message="string or file could not be read")
            yield
    finally:
        log.disabled = before


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
    parts: dict[str, list[str]] = {"": []}  # the build, by no name, and each object: what they place
    waiting: list[str] = []
    triangles = 0
    each_model = (iterparse(io.BytesIO(model), events=("end",)) for model in models)
    for _, each in itertools.chain.from_iterable(each_model):
        name = each.tag.rpartition("}")[2]
        if name == "triangle":
            triangles += 1
        elif name == "component":
            waiting.append(each.get("objectid", ""))
        elif name == "item":
            parts[""].append(each.get("objectid", ""))
        elif name == "object":
            own[each.get("id", "")] += triangles
            parts.setdefault(each.get("id", ""), []).extend(waiting)
            triangles, waiting = 0, []
        if name in ("vertex", "triangle"):
            each.clear()
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
    guess = f"is it in {' or '.join(fits)}? then add --unit {fits[0]}" if fits else "export it in mm"
    raise InputError(name, f"its longest side is {told}", expected, guess)


def _check_closed(name: str, mesh: Any) -> None:
    import trimesh

    if not mesh.is_watertight:
        paired = trimesh.grouping.group_rows(mesh.edges_sorted, 2)  # type: ignore[no-untyped-call]
        open_ = len(mesh.edges_unique) - len(paired)
        found = f"its surface is not closed: {open_} edge{'s' if open_ != 1 else ''} with one face or more than two"
        mend = "give an open shell its wall, or close the holes, in the program that it was drawn in"
        raise InputError(name, found, "expected a solid, since a shell without a wall has no thickness", mend)
    if not mesh.is_winding_consistent:
        trimesh.repair.fix_winding(mesh)  # type: ignore[no-untyped-call]
