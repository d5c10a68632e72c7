"""What a folder's three files hold, be it in palette.toml and two CSVs or in the sheets of one workbook."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tint.errors import Fault, FolderError
from tint.swatches.gather import Gathered, shown
from tint.swatches.records import INPUT_FILES, PALETTE_FILE, READINGS_FILE
from tint.swatches.tables import Table, read_table
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
    """What the three files of a folder hold, by their names.

    Parameters
    ----------
    folder : Path
        With palette.toml, swatches.csv and readings.csv; what stands in sheets of swatches.xlsx needs no file.

    Returns
    -------
    dict of str to Content
        A sheet is text between tabs; sheets of the palette are TOML.
    """
    files = {file: _file(folder, file) for file in INPUT_FILES}
    book = folder / BOOK_FILE
    if not book.is_file():
        return files
    from tint.swatches.workbook import read_book  # a workbook is not for those who have none

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
            found = f"neither the file nor its sheet in {BOOK_FILE} is there"
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
    return [{column: _value(cell, table.with_unit(column)) for column, cell in cells if cell} for cells in held]


def _value(cell: str, column: str) -> float | str:
    """A reading as a fraction, any other number as it stands, or the words."""
    nm = wavelength_of(column.removesuffix(" [%]"))
    value = number(without_percent(cell)) if nm is None else reflectance(cell, column)
    return cell if value is None else round(value, 9)
