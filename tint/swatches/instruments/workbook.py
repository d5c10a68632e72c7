"""A workbook (.xlsx): each sheet as the text of a table, and that read as any other; bounded in all that it unpacks."""

from __future__ import annotations

import csv
import io
import warnings
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date, time
from typing import Any

from tint.errors import InputError
from tint.swatches.gather import listed, shown
from tint.swatches.instruments.measurement import Measurement
from tint.swatches.instruments.sample_tables import read_sheet
from tint.swatches.instruments.sheet import sheet_in
from tint.swatches.instruments.words import OF_SPHERE, specular_in
from tint.swatches.text import held_in

# Bounds against archives that unpack without end: common practice, no source.
_MOST_PARTS = 2_000  # files in the archive
_MOST_UNPACKED = 400 * 2**20  # bytes of all of them
_MOST_TEXT = 100 * 2**20  # characters of a sheet
_MOST_CELLS = 16_384  # in a row, as spreadsheets have at most
_INSTEAD = "or export the sheet as CSV"


def read_workbook(data: bytes, file: str) -> list[Measurement]:
    """The measurements of the first sheet that holds some, spectra before colours; which one it was is noted.

    Sheets that are named by the specular component, as `SCI` and `SCE`, are all taken.

    Raises
    ------
    InputError
        If it is of the old kind, cannot be read, is too large, or holds no measurements.
    """
    held = [(title, sheet) for title, text in sheets_of(data, file) if (sheet := sheet_in(text, _where(file, title)))]
    if not held:
        raise InputError(file, "no sheet has a table of measurements", "wavelengths in nm, or L, a, b, as columns")
    spectral = [each for each in held if each[1].is_spectral] or held
    chosen = [each for each in spectral if specular_in(each[0])] or spectral[:1]
    left = [title for title, _ in held if title not in [title for title, _ in chosen]]
    rest = f"; not from {listed(left)}, where tables stand too" if left else ""
    read = []
    for title, sheet in chosen:
        note, gloss = f"taken from the sheet {shown(title)}{rest}", specular_in(title)
        for each in read_sheet(sheet):
            own = each.specular or gloss
            geometry = each.geometry or OF_SPHERE.get(own, "")
            notes = (note, *each.notes)
            read.append(replace(each, specular=own, geometry=geometry, notes=notes))
    return read


def _where(file: str, title: str) -> str:
    return f"{file}, sheet {shown(title)}"


def _check_size(data: bytes, file: str) -> None:
    """Refuse what would unpack without end, by the sizes that the archive itself tells and is held to."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError) as error:
        raise InputError(file, "this is no workbook, or a broken one", mend=f"save it again, {_INSTEAD}") from error
    size = sum(part.file_size for part in parts)
    if len(parts) > _MOST_PARTS or size > _MOST_UNPACKED:
        found = f"the workbook unpacks to {size // 2**20} MB in {len(parts)} parts"
        expected = f"at most {_MOST_UNPACKED // 2**20} MB in {_MOST_PARTS} parts"
        raise InputError(file, found, expected, "export fewer measurements")


def sheets_of(data: bytes, file: str) -> Iterator[tuple[str, str]]:
    """Title and text of every sheet that is not hidden.

    Raises
    ------
    InputError
        If it is of the old kind, cannot be read, or is too large.
    """
    if not data.startswith(b"PK"):
        found = f"this is {held_in(data) or 'no workbook'}, or one with a password"
        raise InputError(file, found, "a workbook of the kind .xlsx", f"save it as that, {_INSTEAD}")
    _check_size(data, file)
    try:
        from openpyxl import load_workbook
    except ImportError:
        found = "reading a workbook needs openpyxl"
        raise InputError(file, found, mend=f'run pip install "tint[workbook]", {_INSTEAD}') from None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of styles and extensions that say nothing of numbers
            book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            for sheet in book.worksheets:
                if sheet.sheet_state == "visible":
                    sheet.reset_dimensions()  # what the sheet says of its size need not be true
                    yield sheet.title, _text_of(sheet.iter_rows(), _where(file, sheet.title))
    except (InputError, GeneratorExit, MemoryError):
        raise
    except Exception as error:  # a reader of strangers' files may fail in any way
        raise InputError(file, "this is no workbook, or a broken one", mend=f"save it again, {_INSTEAD}") from error


def _text_of(rows: Iterable[Iterable[Any]], where: str) -> str:
    """A sheet as text between tabs, a line a row, every row as wide as the widest."""
    cells: list[list[str]] = []
    size = 0
    for row in rows:
        cells.append([_cell(each) for each in row])
        size += 1 + len(cells[-1]) + sum(map(len, cells[-1]))
        if len(cells[-1]) > _MOST_CELLS or size > _MOST_TEXT:
            raise InputError(where, "the sheet is too large", mend="export fewer measurements")
    width = max(map(len, cells), default=0)
    stream = io.StringIO()
    writer = csv.writer(stream, delimiter="\t", lineterminator="\n")
    writer.writerows(row + [""] * (width - len(row)) if row else row for row in cells)
    return stream.getvalue()


def _cell(cell: Any) -> str:
    """What a cell shows, to all its digits: 0.842 that is shown in percent is `84.2%`."""
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, bool | str):
        return " ".join(str(value).split())
    if isinstance(value, date | time):
        return value.isoformat()
    if not isinstance(value, int | float):
        return str(value)
    if "%" in str(cell.number_format):
        return f"{100.0 * value:.12g}%"
    return f"{value:.15g}"
