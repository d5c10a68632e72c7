"""Sheets of a workbook, each as the text of a table."""

from __future__ import annotations

import csv
import io
import warnings
import zipfile
from collections.abc import Iterable, Iterator
from datetime import date, time
from typing import Any

from tint.errors import InputError, shown
from tint.swatches.text import WORKBOOK, held_in

# Bounds against archives that unpack without end: common practice, no source.
_MOST_PARTS = 2_000  # files in the archive
_MOST_UNPACKED = 400 * 2**20  # bytes of all of them
_MOST_TEXT = 100 * 2**20  # characters of a sheet
_MOST_CELLS, _MOST_ROWS = 16_384, 1_048_576  # in a row; in a sheet; as spreadsheets have at most
_INSTEAD = "or export the sheet as CSV"


def sheet_name(file: str, title: str) -> str:
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

    InputError if it is of the old kind, cannot be read, or is too large.
    """
    held = held_in(data) or "no workbook"
    if held != WORKBOOK:
        found = f"this is {held}" + ", or one with a password" * held.endswith("(.xls)")
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
                    yield sheet.title, _text_of(sheet.iter_rows(), sheet_name(file, sheet.title))
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
        if len(cells[-1]) > _MOST_CELLS or len(cells) > _MOST_ROWS or size > _MOST_TEXT:
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
        return value.isoformat().removesuffix("T00:00:00")
    if not isinstance(value, int | float):
        return str(value)
    shown_as = str(cell.number_format)
    if "%" in shown_as:
        return f"{100.0 * value:.12g}%"
    if set(shown_as) == {"0"} and value == int(value):  # 7 that is shown as 007
        return f"{int(value):0{len(shown_as)}d}"
    return f"{value:.15g}"
