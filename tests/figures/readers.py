"""Every kind of file that tint reads, good files of it, and what reads them: tests/figures/mutants.py breaks them."""

from __future__ import annotations

import io
import json
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from instrument_files import seeds
from ledger_example import DIGEST, fill
from numpy.typing import NDArray
from PIL import Image

import tint
from tint import jsonable
from tint.files import arrays_to_bytes
from tint.ledger import entries, import_json, open_ledger, read_ledger, to_csv, to_json
from tint.ledger.records import KINDS
from tint.palette import Palette, fit_path, read_palette, write_palette
from tint.photographs.picture import read_picture
from tint.proofs.part import View, read_height_map, read_part, view_of
from tint.proofs.trial import read_photo
from tint.recipes import from_json as recipes_of
from tint.swatches import read_folder
from tint.swatches.instruments import parse_measurements
from tint.trials.files import read_trial
from tint.weighing import from_json as sheet_of

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
    import openpyxl

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
    readers["npz"] = Reader([fitted.read_bytes()], of_path(place / "a.fit", _palette), _resealed)
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
    readers["workbook"] = Reader([_workbook()], _measurements)
    for name in ("cgats", "cxf", "jcamp", "csv"):
        readers[name] = Reader([data for each, data in texts.items() if name in each.lower()], _measurements)
    readers["any export"] = Reader(list(texts.values()), _measurements)
    return readers


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
