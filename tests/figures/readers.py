"""Every kind of file that tint reads, good files of it, and what reads them: tests/figures/mutants.py breaks them."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import random
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
from instrument_files import seeds
from ledger_example import DIGEST, fill
from numpy.typing import NDArray
from PIL import Image

import tint
from tint import jsonable
from tint.fans.rows import parquet_of, read_rows, table_of
from tint.fans.run import journal
from tint.fans.solving import asked_of, row_of, solved
from tint.fans.targets import Common, Wish, read_targets
from tint.files import arrays_from_bytes, arrays_to_bytes, cached_arrays
from tint.ledger import entries, import_json, open_ledger, read_ledger, to_csv, to_json
from tint.ledger.records import KINDS
from tint.orders.order import read_order
from tint.orders.record import STATE, Files
from tint.palette import Palette, fit_path, read_palette, write_palette
from tint.photographs.picture import read_picture
from tint.proofs.part import read_part
from tint.proofs.photo import read_height_map, read_photo
from tint.proofs.portrait import View, view_of
from tint.recipes import Rules
from tint.recipes import from_json as recipes_of
from tint.swatches import read_folder
from tint.swatches.blank_workbook import blank_workbook
from tint.swatches.declaration import read_workshop
from tint.swatches.instruments import parse_measurements
from tint.trials.files import read_trial
from tint.weighing import from_json as sheet_of

os.environ.setdefault("ARROW_DEFAULT_MEMORY_POOL", "system")  # its own pool claims a gigabyte before it holds any
_SEAL = 32  # bytes of the digest at the end of an archive of arrays
ROOT = Path(__file__).resolve().parents[2]
TRIAL = b"""base = "clear"
thickness_mm = 3.0
days_of_cure = 7
cure_c = 60

[loadings]
white = 0.4
yellow = 0.1

[[readings]]
file = "readings.csv"
name = "peach-lid"
over = "white"
seat = "air"
"""


ORDERS = [
    (ROOT / "swatches_demo" / "orders" / "lid.toml").read_bytes(),
    b"""format = 1
reading = "readings.csv:black"
opacity = [0.9, 0.95]
walls_mm = [2, 3.5]
parts = 12
light = "D65"
also_light = "A"
over = "white"
seat = "air"
tolerance = 1.5

[limits]
keep = ["white"]
leave_out = ["rose"]
fix = { yellow = 0.1 }
smallest = 0.05
max_total = 2.5
""",
    b"""format = 1
colour = "#9ab19c"
opacity = "milky"
walls_mm = [4]
part = "readings.csv"
due = 2027-03-01
""",
]
TARGETS = [
    b"name,colour,opacity,tolerance,walls_mm,base,note\na,#9ab19c,solid,1.5,3 4.5,clear,x\nb,#e8701a,,,,,\n",
    b"name;L;a;b;opacity\na;70;-12,5;8;0,9..0,95\nb;40;1;2;milky\n",
]
MIX = {"mix_A": 1.0, "mix_B": 1.0, "pigment_in": "A"}
BOOK_BASES = {"clear": "addition", "milky": "condensation"}


class NotFiniteError(Exception):
    """What was read holds a number that is none."""


class AlteredError(Exception):
    """Reading has changed the file."""


@dataclass(frozen=True)
class Reader:
    """A kind of file: good ones, and what reads one."""

    good: list[bytes]
    read: Callable[[bytes], object]
    sealed: Callable[[bytes], bytes] = lambda data: data
    broken: Callable[[bytes, random.Random], bytes] | None = None  # in a way of its own


def finite(*arrays: NDArray[np.float64] | float | None) -> None:
    """Raise NotFiniteError unless all are."""
    for each in arrays:
        if each is not None and not np.isfinite(each).all():
            raise NotFiniteError(str(np.shape(each)))


def of_path(path: Path, read: Callable[[Path], object]) -> Callable[[bytes], object]:
    """A reader of a path as one of bytes, which must leave the file as it is."""

    def run(data: bytes) -> object:
        path.write_bytes(data)
        try:
            return read(path)
        finally:
            if path.read_bytes() != data:
                raise AlteredError(path.name)

    return run


def unpacked(data: bytes) -> dict[str, bytes]:
    """The members of a zip."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def packed(members: dict[str, bytes]) -> bytes:
    """A zip of members."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return stream.getvalue()


def _meshes() -> dict[str, list[bytes]]:
    import trimesh

    shapes = [trimesh.creation.box((20.0, 10.0, 5.0)), trimesh.creation.icosphere(1, 9.0)]
    kinds = ("stl", "stl_ascii", "obj", "3mf")
    told = {kind: [shape.export(file_type=kind) for shape in shapes] for kind in kinds}
    of = {kind: [each.encode() if isinstance(each, str) else each for each in every] for kind, every in told.items()}
    return {"stl": of["stl"] + of["stl_ascii"], "obj": of["obj"], "3mf": of["3mf"]}


def _part(path: Path) -> None:
    part = read_part(path)
    view = view_of(part, pixels=60)
    finite(part.volume_cm3, part.triangles, view.thickness_mm, view.normals)


def _map(path: Path) -> None:
    view: View = read_height_map(path, mm_per_level=0.01)
    finite(view.thickness_mm, view.normals)
    if view.thickness_mm.min() < 0.0:
        raise NotFiniteError("negative")


def _pictures() -> list[bytes]:
    levels = np.arange(100 * 90).reshape(90, 100) % 256
    pictures = [
        (Image.fromarray(levels.astype(np.uint8)), ("PNG", "TIFF", "PPM", "JPEG", "BMP", "GIF", "WEBP")),
        (Image.fromarray(levels.astype(np.uint16)), ("PNG", "TIFF")),
        (Image.fromarray(levels.astype(np.float32)), ("TIFF",)),
        (Image.fromarray(np.stack([levels] * 3, axis=-1).astype(np.uint8)), ("PNG", "TIFF", "JPEG")),
    ]
    every = []
    for image, kinds in pictures:
        for kind in kinds:
            stream = io.BytesIO()
            image.save(stream, kind)
            every.append(stream.getvalue())
    stream = io.BytesIO()
    pictures[2][0].save(stream, "TIFF", compression="tiff_deflate")
    return [*every, stream.getvalue()]


def _any_picture(path: Path) -> None:
    refusals = []
    for read in (_map, read_photo, read_picture):
        try:
            read(path)
        except tint.InputError as error:
            refusals.append(error)
    if refusals:
        raise refusals[0]


def _palette(path: Path) -> None:
    palette = read_palette(path)
    look = tint.predict(palette, {"white": 0.5, "yellow": 0.1}, base="clear", thickness_mm=3.0)
    finite(look.reflectance, look.lab, look.expected_error)


def _resealed(data: bytes) -> bytes:
    try:
        return arrays_to_bytes(_any_arrays(data[:-_SEAL]))
    except Exception:  # what is no archive at all stays as it is
        return data


def _any_arrays(data: bytes) -> dict[str, NDArray[np.float64]]:
    with np.load(io.BytesIO(data), allow_pickle=False) as archive:
        return {name: archive[name] for name in archive.files}


def _ledger(path: Path) -> None:
    with read_ledger(path, wait_s=0.1) as ledger:
        for record in KINDS.values():
            entries(ledger, record)
        to_json(ledger)
        to_csv(ledger)


def _taken_in(path: Path) -> Callable[[bytes], object]:
    with open_ledger(path, palette_digest=DIGEST) as ledger:
        ledger.connection.execute("PRAGMA journal_mode = DELETE")
    empty = path.read_bytes()

    def run(data: bytes) -> None:
        for each in path.parent.glob(f"{path.name}*"):
            each.unlink()
        path.write_bytes(empty)
        with open_ledger(path, palette_digest=DIGEST) as ledger:
            import_json(ledger, data, where="there.json")
            to_json(ledger)
            to_csv(ledger)

    return run


def _few(folder: Path) -> None:
    """Leave a folder with few castings: a mutant is then read in little time."""
    for file, count in (("swatches.csv", 7), ("readings.csv", 12)):
        lines = (folder / file).read_text().splitlines(keepends=True)
        (folder / file).write_text("".join(lines[:count]))


def _workbook() -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    for row in (["name", *range(400, 701, 20)], *[[f"s{at}", *np.linspace(0.1, 0.9, 16).tolist()] for at in range(3)]):
        sheet.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _measurements(data: bytes) -> None:
    for each in parse_measurements(data, file="mutant"):
        finite(each.wavelengths, each.values, each.lab, each.xyz)


def _folder(folder: Path) -> None:
    read = read_folder(folder)
    finite(read.wavelengths, *(each.values for each in read.readings))


@contextmanager
def all_kinds() -> Iterator[dict[str, Reader]]:
    """Every kind, in a folder that is gone afterwards."""
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        yield _kinds(place)


def _kinds(place: Path) -> dict[str, Reader]:
    folder = place / "demo"
    shutil.copytree(ROOT / "swatches_demo", folder, ignore=shutil.ignore_patterns("*.fit"))
    palette = tint.fit(folder, optics="two-flux")
    fitted = fit_path(folder, "two-flux")
    write_palette(palette, fitted)
    answer = tint.solve(palette, lab=(70, -12, 8), base="clear", thickness_mm=3.0)
    sheet = tint.weigh(palette, answer.best, batch_g=120)
    with open_ledger(place / "ledger.sqlite3", palette_digest=DIGEST) as ledger:
        fill(ledger)
        exported = to_json(ledger)
        ledger.connection.execute("PRAGMA journal_mode = DELETE")
    meshes, texts = _meshes(), seeds()
    shutil.copytree(folder, place / "other")
    small = place / "other"
    _few(small)
    readers = {kind: Reader(good, of_path(place / f"part.{kind}", _part)) for kind, good in meshes.items()}
    readers["picture"] = Reader(_pictures(), of_path(place / "picture.png", _any_picture))
    readers["sqlite"] = Reader([(place / "ledger.sqlite3").read_bytes()], _fresh(place / "copy.sqlite3", _ledger))
    readers["json recipe"] = Reader([answer.to_json().encode()], lambda data: _mixed(palette, recipes_of(data)))
    readers["json sheet"] = Reader([sheet.to_json().encode()], sheet_of)
    readers["json ledger"] = Reader([exported], _taken_in(place / "taken.sqlite3"))
    readers["toml trial"] = Reader([TRIAL], of_path(folder / "t.toml", lambda path: read_trial(path, palette)))
    told = json.dumps({"base": "clear", "thickness_mm": 3.0, "loadings": {"white": 0.4}, "readings": []}).encode()
    readers["json trial"] = Reader([told], of_path(folder / "t.json", lambda path: read_trial(path, palette)))
    for file in ("palette.toml", "swatches.csv", "readings.csv"):
        path = small / file
        good = path.read_bytes()
        readers[file] = Reader([good], _restored(path, good, lambda _: _folder(small)))
    readers |= _of_orders(folder, palette) | _of_fans(place, palette) | _of_arrays(place, fitted)
    readers["workbook"] = Reader([_workbook()], _measurements)
    readers["workbook folder"] = _book(place / "booked", small)
    for name in ("cgats", "cxf", "jcamp", "csv"):
        readers[name] = Reader([data for each, data in texts.items() if name in each.lower()], _measurements)
    readers["any export"] = Reader(list(texts.values()), _measurements)
    return readers


def _of_orders(folder: Path, palette: Palette) -> dict[str, Reader]:
    """Files of orders, and the memory of what was made of one."""
    (folder / "orders").mkdir(exist_ok=True)
    shutil.copy(folder / "readings.csv", folder / "orders" / "readings.csv")
    workshop = read_workshop((folder / "palette.toml").read_text())

    def order(path: Path) -> None:
        read = read_order(path)
        read.rules(workshop)
        finite(*read.walls_mm, read.target(palette).tolerance)

    made = Files(folder / "made")
    made.write({folder / "made" / f"{at}.txt": (str(at), b"x") for at in range(3)})
    memory = (folder / "made" / STATE).read_bytes()

    def state(_: Path) -> None:
        files = Files(folder / "made")
        for at in range(3):
            files.is_fresh(folder / "made" / f"{at}.txt", str(at))
            files.is_ours(folder / "made" / f"{at}.txt")

    return {
        "toml order": Reader(ORDERS, of_path(folder / "orders" / "o.toml", order)),
        "json made": Reader([memory], _restored(folder / "made" / STATE, memory, state)),
    }


def _of_fans(place: Path, palette: Palette) -> dict[str, Reader]:
    """Targets of a fan, its journal and its table."""
    common = Common(walls_mm=(3.0,), base="clear", opacity="any", rules=Rules(most_pigments=1, most_recipes=1))
    wishes = [Wish(name=f"t{at}", lab=(40.0 + 20.0 * at, 0.0, 5.0)) for at in range(3)]
    found = [solved(palette, wish, common, at) for at, wish in enumerate(wishes, start=1)]
    rows = [row_of(each, asked_of(each.wish, common)) for each in found]
    with journal(place / "fan.part") as written:
        written.begin("made with")
        written.keep(())
        written.add(rows[:2])
        written.add(rows[2:])

    def go_on(path: Path) -> None:
        with journal(path) as found:
            found.begin("made with")
            found.keep([row.asked for row in rows])
            for row in found.rows():
                finite(*row.loadings.values())

    def targets(path: Path) -> None:
        for wish in read_targets(path, palette, common):
            finite(np.array(wish.lab or ()), wish.tolerance, np.array(wish.walls_mm))

    def table_read(path: Path) -> None:
        for row in read_rows(path):
            finite(*row.loadings.values(), np.array(row.lab or ()), np.array(row.target or ()))

    table = b"".join(table_of(rows, palette.pigments))
    return {
        "fan journal": Reader([(place / "fan.part").read_bytes()], _fresh(place / "again.part", go_on)),
        "fan table": Reader([table], of_path(place / "fan.csv", table_read)),
        "fan parquet": Reader([parquet_of(rows, palette.pigments)], of_path(place / "fan.parquet", table_read)),
        "fan targets": Reader(TARGETS, of_path(place / "targets.csv", targets)),
    }


def _of_arrays(place: Path, fitted: Path) -> dict[str, Reader]:
    """Archives of arrays: a fitted palette, and a table of the cache, which is built again when it is another."""
    good = {"table": np.linspace(0.0, 1.0, 60).reshape(3, 4, 5), "few": np.arange(3.0)}

    def cached(path: Path) -> None:
        before = os.environ.get("TINT_CACHE")
        os.environ["TINT_CACHE"] = str(path.parent)
        try:
            again = cached_arrays("some table", lambda: good)
        finally:
            os.environ.pop("TINT_CACHE")
            os.environ |= {} if before is None else {"TINT_CACHE": before}
        if not all(np.array_equal(again[name], good[name]) for name in good):
            raise AlteredError("a table")

    (place / "cache").mkdir()
    table = arrays_to_bytes(good, key="some table")
    at = place / "cache" / f"{hashlib.sha256(b'some table').hexdigest()[:32]}.npz"
    return {
        "npz": Reader([fitted.read_bytes()], of_path(place / "a.fit", _palette), _resealed),
        "npz arrays": Reader([fitted.read_bytes()], of_path(place / "a.fit", _palette), broken=_other_arrays),
        "npz table": Reader([table], _fresh(at, cached)),
    }


def _other_arrays(data: bytes, chance: random.Random) -> bytes:
    """The archive with an array or two that are others: their numbers, shape, kind or name; sealed anew."""
    arrays: dict[str, Any] = dict(arrays_from_bytes(data))
    for _ in range(chance.choice((1, 1, 2))):
        name, other = chance.choice(list(arrays)), chance.choice(list(arrays))
        now = chance.random()
        if now < 0.4:
            arrays[name] = _one_number(arrays[name], chance)
        elif now < 0.8:
            arrays[name] = chance.choice(_CHANGES)(arrays[name])
        elif now < 0.9:
            arrays[name] = arrays[other]
        else:
            arrays[chance.choice(("", "k", "../k", f"{name}x"))] = arrays.pop(name)
    return arrays_to_bytes(arrays)


def _one_number(array: Any, chance: random.Random) -> Any:
    array = array.copy()
    if array.size and array.dtype.kind == "f":
        array.flat[chance.randrange(array.size)] = chance.choice((np.nan, np.inf, -1.0, 0.0, 1e308, 1e-308, -1e9))
    elif array.size and array.dtype.kind in "iuSU":
        array.flat[chance.randrange(array.size)] = chance.choice((0, 1, 7, 99))
    return array


_CHANGES: tuple[Callable[[Any], Any], ...] = (
    lambda array: array[..., :0] if array.ndim else array,
    lambda array: array[..., :3] if array.ndim else array,
    lambda array: array[::-1] if array.ndim else array,
    lambda array: array.T,
    lambda array: np.expand_dims(array, 0),
    lambda array: array.ravel(),
    lambda array: np.zeros((0, 0)),  # noqa: ARG005
    lambda array: np.array(1.0),  # noqa: ARG005
    lambda array: array.astype(complex) if array.dtype.kind in "fi" else array,
    lambda array: array.astype("f4") if array.dtype.kind == "f" else array,
    lambda array: array.astype(">f8") if array.dtype.kind == "f" else array,
    lambda array: array.astype(str),
    lambda array: array.astype("S") if array.dtype.kind in "fi" else array,
    lambda array: -array if array.dtype.kind == "f" else array,
    lambda array: 0.0 * array if array.dtype.kind == "f" else array,
    lambda array: np.sign(array) * 1e300 if array.dtype.kind == "f" else array,
)


def _book(folder: Path, like: Path) -> Reader:
    """A folder that is one workbook, with the castings and readings of another."""
    folder.mkdir()
    castings, readings = (
        list(csv.reader((like / name).read_text().splitlines())) for name in ("swatches.csv", "readings.csv")
    )
    nm = np.array([float(each) for each in readings[0] if each.isdigit()])
    bases = {
        name: {"cure": cure, "density": 1.1, "refractive_index": 1.41, "max_loading": 5.0} | MIX
        for name, cure in BOOK_BASES.items()
    }
    pigments: dict[str, dict[str, Any]] = {name: {"max_loading": 3.0} for name in castings[0][3:-1]}
    blank = blank_workbook(
        keys={"geometry": "di:8", "repeatability": 0.001}, bases=bases, pigments=pigments, wavelengths=nm
    )
    book = openpyxl.load_workbook(io.BytesIO(blank))
    columns = {cell.value: cell.column for cell in book["swatches"][1]}
    for at, row in enumerate(castings[1:], start=3):
        for name, cell in zip(castings[0], row, strict=True):
            book["swatches"].cell(at, columns[name]).value = _typed(cell)
    for row in readings[1:]:
        book["readings"].append([_typed(cell) for cell in row])
    stream = io.BytesIO()
    book.save(stream)
    return Reader([stream.getvalue()], of_path(folder / "swatches.xlsx", lambda path: _folder(path.parent)))


def _typed(cell: str) -> float | str | None:
    try:
        return float(cell)
    except ValueError:
        return cell or None


def _mixed(palette: Palette, file: jsonable.Answer) -> None:
    for each in file.recipes:
        look = tint.predict(palette, each.loadings, base=each.base, thickness_mm=3.0)
        finite(look.reflectance, look.lab, look.expected_error)


def _fresh(path: Path, read: Callable[[Path], object]) -> Callable[[bytes], object]:
    """A reader of a path that may keep files beside it."""

    def run(data: bytes) -> object:
        for each in path.parent.glob(f"{path.name}*"):
            each.unlink()
        path.write_bytes(data)
        return read(path)

    return run


def _restored(path: Path, good: bytes, read: Callable[[Path], object]) -> Callable[[bytes], object]:
    """A reader of one file among others, put back as it was."""
    own = of_path(path, read)

    def run(data: bytes) -> object:
        try:
            return own(data)
        finally:
            path.write_bytes(good)

    return run
