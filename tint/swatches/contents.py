"""What a folder's three files hold, be it in palette.toml and two CSVs or in the sheets of one workbook."""

from __future__ import annotations

import io
import json
import math
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, zip_longest
from pathlib import Path

import msgspec

from tint.errors import ChangedError, Fault, FolderError, Gathered, InputError, shown
from tint.swatches.keys import InstrumentTable, WorkshopTable
from tint.swatches.records import INPUT_FILES, PALETTE_FILE, READINGS_FILE, SWATCHES_FILE
from tint.swatches.sheets import sheets_of
from tint.swatches.tables import Table, read_table, records
from tint.swatches.text import decoded, number, without_percent
from tint.swatches.values import reflectance, wavelength_of

BOOK_FILE = "swatches.xlsx"


@dataclass(frozen=True, kw_only=True)
class Content:
    """The content of one of the three files; `file` is what messages call it, `fault` says why there is none."""

    file: str
    data: bytes | None = None
    fault: Fault | None = None
    is_missing: bool = False

    @property
    def is_sheet(self) -> bool:
        """Whether it stands in the workbook."""
        return self.file.startswith(BOOK_FILE)


def contents_of(folder: Path) -> Mapping[str, Content]:
    """What the three files of a folder hold, by their names; what stands in sheets of swatches.xlsx needs no file.

    A sheet is text between tabs; sheets of the palette are TOML.
    """
    files = {file: _file(folder, file) for file in INPUT_FILES}
    book = folder / BOOK_FILE
    if not book.is_file():
        return files
    try:
        sheets = read_book(book)
    except FolderError as error:
        return {file: Content(file=BOOK_FILE, fault=error.faults[0]) for file in INPUT_FILES}
    return {file: _chosen(each, sheets.get(file), folder) for file, each in files.items()}


def _file(folder: Path, file: str) -> Content:
    try:
        return Content(file=file, data=(folder / file).read_bytes())
    except FileNotFoundError:
        taken = f"`tint import {folder} FILE` takes readings over"
        begin = taken if file == READINGS_FILE else "`tint start` makes one"
        fault = Fault(file=file, found="the file is missing", expected=f"expected it in {folder}", mend=begin)
        return Content(file=file, fault=fault, is_missing=True)
    except (OSError, ValueError) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        return Content(file=file, fault=Fault(file=file, found=f"it cannot be opened: {reason}"))


def _chosen(file: Content, sheet: Content | None, folder: Path) -> Content:
    """The sheet or the file; both only where they say the same."""
    if sheet is None:
        if file.is_missing:
            found = f"neither the file nor its sheet in {BOOK_FILE} is there; a hidden sheet is not read"
            return Content(file=file.file, fault=Fault(file=file.file, found=found), is_missing=True)
        return file
    if file.is_missing or _is_same(file, sheet):
        return sheet
    found = f"it contradicts {shown(sheet.file)}, which stands in {folder}"
    mend = f"keep one of the two: move {file.file} away, or clear what the workbook says of it"
    fault = Fault(file=file.file, found=found, expected="expected the same in both", mend=mend)
    return Content(file=file.file, fault=fault)


def _is_same(one: Content, two: Content) -> bool:
    """Whether two contents say the same in other spelling."""
    texts = [decoded(each.data or b"", Gathered(""), utf8_only=one.file == PALETTE_FILE) for each in (one, two)]
    if texts[0] is None or texts[1] is None:
        return False
    if one.file == PALETTE_FILE:
        try:
            return tomllib.loads(texts[0]) == tomllib.loads(texts[1])
        except (ValueError, RecursionError):  # TOMLDecodeError, and what int() and datetime refuse
            return False
    tables = [read_table(text, Gathered(""), first="swatch") for text in texts if text]
    return all(tables) and _said(tables[0]) == _said(tables[1])


def _said(table: Table | None) -> list[dict[str, float | str]]:
    """The cells of a table that hold something, row by row, as numbers where they are."""
    if table is None:
        return []
    held = [zip(table.columns, row.cells, strict=True) for row in table.rows]
    return [{column: _as_said(cell, table.with_unit(column)) for column, cell in cells if cell} for cells in held]


def _as_said(cell: str, column: str) -> float | str:
    """A reading as a fraction, any other number as it stands, or the words."""
    nm = wavelength_of(column.removesuffix(" [%]"))
    value = number(without_percent(cell)) if nm is None else reflectance(cell, column)
    return cell if value is None else round(value, 9)


SHEETS = {SWATCHES_FILE: "swatches", READINGS_FILE: "readings"}
MIX = "mix_"
# A number that was typed as text, beside true numbers, which have no mark of their own; none here is above 999.
_COMMA = re.compile(r"(?<=\t)([+-]?\d*),(\d+ ?%?)(?=[\t\n])", re.ASCII)
_TEXT = {"cure", "pigment_in", "lot", "kind", "currency", "light", "geometry", "price_unit", "name"}
_LISTS = {"cures": str, "mould_depths_mm": float}
_SECTIONS: dict[str, type[msgspec.Struct]] = {"instrument": InstrumentTable, "workshop": WorkshopTable}


def read_book(book: Path) -> dict[str, Content]:
    """What the sheets of a workbook say in place of the three files; a sheet with nothing below its header is none.

    FolderError if it is no workbook, or openpyxl is missing.
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
            held[file] = Content(file=f"{BOOK_FILE}, sheet {title}", data=text.encode())
    if any(_has_rows(texts.get(title, ""), "name") for title in ("bases", "pigments")):
        held[PALETTE_FILE] = Content(file=f"{BOOK_FILE}, its sheets of the palette", data=_palette(texts).encode())
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

    ChangedError if a sheet is no longer what was read.

    Parameters
    ----------
    book : Path
        The workbook. Drop-downs, widths and colours are kept; pictures and charts are not.
    tables : mapping of str to pair of bytes
        By the name of its file, a table as it was read, text between tabs, empty where there was none; and as it is
        going to be. Cells that stay the same are left as they are.
    """
    from openpyxl import load_workbook

    before, held = book.read_bytes(), read_book(book)
    workbook = load_workbook(io.BytesIO(before))
    for file, (was, data) in tables.items():
        if ((held[file].data if file in held else b"") or b"") != was:
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
