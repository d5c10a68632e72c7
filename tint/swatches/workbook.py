"""Workbooks: the sheets of any as text of tables, and swatches.xlsx in place of a folder's three files."""

from __future__ import annotations

import csv
import io
import json
import math
import re
import warnings
import zipfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, time
from itertools import chain, zip_longest
from pathlib import Path
from typing import Any

import msgspec

from tint.errors import ChangedError, Fault, FolderError, Gathered, InputError, shown
from tint.swatches.keys import InstrumentTable, WorkshopTable
from tint.swatches.records import PALETTE_FILE, READINGS_FILE, SWATCHES_FILE
from tint.swatches.tables import read_table, records
from tint.swatches.text import WORKBOOK, held_in, number, without_percent

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


# A swatch folder in one workbook.

BOOK_FILE = "swatches.xlsx"
SHEETS = {SWATCHES_FILE: "swatches", READINGS_FILE: "readings"}
MIX = "mix_"
# A number that was typed as text, beside true numbers, which have no mark of their own; none here is above 999.
_COMMA = re.compile(r"(?<=\t)([+-]?\d*),(\d+ ?%?)(?=[\t\n])", re.ASCII)
_TEXT = {"cure", "pigment_in", "lot", "kind", "currency", "light", "geometry", "price_unit", "name"}
_LISTS = {"cures": str, "mould_depths_mm": float}
_SECTIONS: dict[str, type[msgspec.Struct]] = {"instrument": InstrumentTable, "workshop": WorkshopTable}


def read_book(book: Path) -> dict[str, tuple[str, bytes]]:
    """What the sheets of a workbook say in place of the three files, and what messages call it; the palette is TOML.

    A sheet with nothing below its header is none. FolderError if it is no workbook, or openpyxl is missing.
    """
    try:
        sheets = sheets_of(book.read_bytes(), BOOK_FILE)
        texts = {title.strip().lower(): _COMMA.sub(r"\1.\2", text) for title, text in sheets}
    except InputError as error:
        fault = Fault(file=error.where, found=error.found, expected=error.expected, mend=error.mend)
        raise FolderError(str(book.parent), [fault]) from error
    except OSError as error:
        raise FolderError(str(book.parent), [Fault(file=BOOK_FILE, found=f"it cannot be opened: {error}")]) from error
    held = {}
    for file, title in SHEETS.items():
        text = texts.get(title, "")
        if _has_rows(text, "swatch"):
            held[file] = (f"{BOOK_FILE}, sheet {title}", text.encode())
    if any(_has_rows(texts.get(title, ""), "name") for title in ("bases", "pigments")):
        held[PALETTE_FILE] = (f"{BOOK_FILE}, its sheets of the palette", _palette(texts).encode())
    return held


def _has_rows(text: str, first: str) -> bool:
    table = read_table(text, Gathered(""), first=first) if text.strip() else None
    # What is no table is taken, so that it is told what is wrong with it.
    return bool(text.strip()) if table is None else bool(table.rows)


# The palette as TOML, so that it is checked as any other.


def _palette(texts: Mapping[str, str]) -> str:
    lines = ["format = 1"]
    keys = dict(_pairs(texts.get("palette", "")))
    if keys.get("name"):
        lines.append(f"name = {_value('name', keys['name'])}")
    known = {"name", "format"}
    for section, struct in _SECTIONS.items():
        own = {key: cell for key, cell in keys.items() if key in struct.__struct_fields__}
        lines += [f"[{section}]", *_lines(own)] if own or section == "instrument" else []
        known.update(struct.__struct_fields__)
    # Keys that nobody knows stand under a table of their own: so they are told.
    lines += [f"[{_text(key)}]" for key, cell in keys.items() if cell and key not in known]
    for kind in ("backings", "bases", "pigments"):
        for name, cells in _entries(texts.get(kind, "")):
            lines += [f"[{kind}.{_text(name)}]", *_lines(cells)]
    return "\n".join(lines) + "\n"


def _pairs(text: str) -> Iterator[tuple[str, str]]:
    """Keys and values of the sheet `palette`, below its header."""
    for _, cells in records(text, "\t", Gathered("")):
        if cells[0] and cells[0].lower() != "key" and len(cells) > 1 and cells[1]:
            yield cells[0], cells[1]


def _entries(text: str) -> Iterator[tuple[str, dict[str, str]]]:
    table = read_table(text, Gathered(""), first="name") if text.strip() else None
    for row in table.rows if table else ():
        cells = dict(zip(table.columns if table else (), row.cells, strict=True))
        yield cells.pop("name"), {key: cell for key, cell in cells.items() if cell and key}


def _lines(cells: Mapping[str, str]) -> list[str]:
    mix = {key.removeprefix(MIX): cell for key, cell in cells.items() if key.startswith(MIX)}
    lines = [f"{_text(key)} = {_value(key, cell)}" for key, cell in cells.items() if not key.startswith(MIX)]
    parts = ", ".join(f"{_text(part)} = {_value('', cell)}" for part, cell in mix.items())
    return [*lines, f"mix = {{ {parts} }}"] if mix else lines


def _value(key: str, cell: str) -> str:
    if key in _LISTS:
        return f"[{', '.join(_value('name' if _LISTS[key] is str else '', part) for part in _parts(cell))}]"
    value = None if key in _TEXT else number(without_percent(cell))
    if value is None:
        return _text(cell)
    return f"{value:.0f}" if key == "observer" and value == math.floor(value) else repr(value)


def _parts(cell: str) -> list[str]:
    return [part for part in cell.replace(";", " ").replace(", ", " ").split() if part]


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


# Readings written back.


def with_tables(book: Path, tables: Mapping[str, tuple[bytes, bytes]]) -> tuple[bytes, bytes]:
    """A workbook as it is, and with some of its tables as they are going to be; all else stays as openpyxl keeps it.

    ChangedError if a sheet is no longer what was read. `tables` holds by the name of its file a table as it was read,
    text between tabs, empty where there was none; and as it is going to be. Cells that stay the same are left as they
    are, and drop-downs, widths and colours kept; pictures and charts are not.
    """
    from openpyxl import load_workbook

    before, held = book.read_bytes(), read_book(book)
    workbook = load_workbook(io.BytesIO(before))
    for file, (was, data) in tables.items():
        if held.get(file, ("", b""))[1] != was:
            found = "was changed by another program meanwhile"
            raise ChangedError(str(book), found, mend="nothing was written; try again")
        title = next((each for each in workbook.sheetnames if each.strip().lower() == SHEETS[file]), None)
        sheet = workbook.create_sheet(SHEETS[file]) if title is None else workbook[title]
        for cell in chain.from_iterable(() if was else sheet.iter_rows()):  # a header without rows
            cell.value = None
        for at, (old, cells) in enumerate(zip_longest(_rows(was.decode()), _rows(data.decode()), fillvalue=()), 1):
            for column, (there, text) in enumerate(zip_longest(old, cells, fillvalue=""), 1):
                if there == text:
                    continue
                cell = sheet.cell(at, column)
                cell.value = _typed(text, is_percent="%" in str(cell.number_format))
                if cell.data_type == "f":  # a name that begins as a formula does
                    cell.data_type = "s"
    stream = io.BytesIO()
    workbook.save(stream)
    return before, stream.getvalue()


def _rows(text: str) -> Iterator[Sequence[str]]:
    """The rows of a table in a text, blank ones too, each in its place."""
    before, table = 0, read_table(text, Gathered(""), first="swatch")
    for at, cells in records(text, table.separator if table else "\t", Gathered("")):
        yield from ((),) * (at - before - 1)
        yield cells
        before = at


def _typed(text: str, *, is_percent: bool) -> float | int | str | None:
    value = number(without_percent(text))
    if not text or value is None:
        return text or None
    if text.endswith("%"):
        return value / 100.0 if is_percent else text
    return int(value) if text.isdigit() else value
