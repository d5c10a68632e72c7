"""A small good swatch folder (invented), and small changes to it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np

WAVELENGTHS = list(range(400, 701, 20))

PALETTE = """\
format = 1
name = "Pottery lids"

[instrument]
geometry = "di:8"
repeatability = 0.001

[backings.black]
[backings.white]

[bases.clear]
cure = "addition"
density = 1.08
refractive_index = 1.41
max_loading = 3.0
mix = { A = 1.0, B = 1.0 }
pigment_in = "A"

[bases.milky]
cure = "condensation"
density = 1.2
refractive_index = 1.42
max_loading = 5.0
mix = { A = 10.0, B = 1.0 }
pigment_in = "A"
k1 = 0.03
k2 = 0.55

[pigments.yellow]
cures = ["addition", "condensation"]
max_loading = 2.0
density = 1.6
lot = "Y-117"
price = 46.0

[pigments."deep blue"]
"""

SWATCHES = """\
swatch,base,thickness_mm,yellow,deep blue,note
clear-2,clear,2.02,,,
clear-4,clear,4.1,,,poured late
milky-2,milky,1.98,,,
yellow-1,clear,2,0.5,,
yellow-2,clear,2,1.0,,
blue-1,clear,2.05,,0.2,
green-1,milky,3,0.5,0.4,
"""

LABELS = (
    ("black", "", "", "", 0.04, 0.0),
    ("white", "", "", "", 0.88, 0.02),
    ("clear-2", "black", "air", "", 0.1, 0.01),
    ("clear-2", "white", "air", "", 0.8, 0.02),
    ("clear-4", "black", "wet", "reflectance", 0.06, 0.01),
    ("clear-4", "white", "wet", "", 0.7, 0.02),
    ("milky-2", "black", "air", "", 0.3, 0.05),
    ("milky-2", "white", "air", "", 0.6, 0.05),
    ("yellow-1", "black", "air", "", 0.12, 0.3),
    ("yellow-1", "white", "air", "", 0.3, 0.5),
    ("yellow-2", "black", "air", "", 0.11, 0.25),
    ("yellow-2", "white", "air", "", 0.2, 0.55),
    ("yellow-2", "white", "air", "", 0.201, 0.551),
    ("blue-1", "none", "", "", 0.1, 0.1),
    ("blue-1", "none", "air", "transmittance", 0.6, -0.5),
    ("green-1", "black", "air", "", 0.09, 0.1),
    ("green-1", "white", "air", "", 0.1, 0.12),
)

Files = dict[str, bytes]
Change = Callable[[Files], None]


def spectrum(level: float, slope: float) -> list[float]:
    """A smooth invented spectrum on the example's wavelengths, to four decimals."""
    at = (np.array(WAVELENGTHS) - 400.0) / 300.0
    return [round(float(value), 4) for value in level + slope * at**2]


def readings_text() -> str:
    header = ["swatch", "backing", "seat", "quantity", *map(str, WAVELENGTHS)]
    rows = [[*label, *map(str, spectrum(level, slope))] for *label, level, slope in LABELS]
    return "".join(",".join(row) + "\n" for row in (header, *rows))


def good_files() -> Files:
    texts = {"palette.toml": PALETTE, "swatches.csv": SWATCHES, "readings.csv": readings_text()}
    return {file: text.encode() for file, text in texts.items()}


def write(folder: Path, files: Mapping[str, bytes]) -> Path:
    folder.mkdir(exist_ok=True)
    for file, content in files.items():
        (folder / file).write_bytes(content)
    return folder


def replace(file: str, old: str, new: str) -> Change:
    """Replace a text that stands in the file once."""

    def change(files: Files) -> None:
        assert files[file].count(old.encode()) == 1, f"{old!r} does not stand in {file} once"
        files[file] = files[file].replace(old.encode(), new.encode())

    return change


def put(file: str, row: int, column: str, cell: str) -> Change:
    """Write one cell, found as a spreadsheet counts."""

    def change(files: Files) -> None:
        rows = [line.split(",") for line in files[file].decode().split("\n")]
        rows[row - 1][rows[0].index(column)] = cell
        files[file] = "\n".join(",".join(cells) for cells in rows).encode()

    return change


def scale(row: int, factor: float, add: float = 0.0) -> Change:
    """Rescale the values of one row of readings.csv."""

    def change(files: Files) -> None:
        rows = [line.split(",") for line in files["readings.csv"].decode().split("\n")]
        rows[row - 1][4:] = [f"{float(cell) * factor + add:.4f}" for cell in rows[row - 1][4:]]
        files["readings.csv"] = "\n".join(",".join(cells) for cells in rows).encode()

    return change


def drop(file: str, *rows: int) -> Change:
    """Remove rows."""

    def change(files: Files) -> None:
        lines = files[file].decode().split("\n")
        files[file] = "\n".join(line for at, line in enumerate(lines, 1) if at not in rows).encode()

    return change


def add(file: str, line: str) -> Change:
    """Append a row."""

    def change(files: Files) -> None:
        files[file] += f"{line}\n".encode()

    return change


def raw(file: str, content: bytes) -> Change:
    """Replace a whole file."""

    def change(files: Files) -> None:
        files[file] = content

    return change


def every(*changes: Change) -> Change:
    """Several changes in turn."""

    def change(files: Files) -> None:
        for each in changes:
            each(files)

    return change


def changed(change: Change) -> Files:
    files = good_files()
    change(files)
    return files
