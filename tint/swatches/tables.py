"""Text and tables as spreadsheets write them: encoding, separator, decimal mark, and cells that are numbers.

A separator may be a comma, a semicolon or a tab, and is found from the header. A decimal mark may be a point
or a comma, but one file keeps to one of them: where it does not, nobody can tell 1,234 from 1.234.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

from tint.swatches.gather import Gathered, quoted

_SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_DIGIT = re.compile(r"\d", re.ASCII)
_SAVE_AS_UTF8 = "save it again as text with the encoding UTF-8"


@dataclass(frozen=True)
class Row:
    """One row: its number in the spreadsheet, its cells, and whether it has as many as the header."""

    number: int
    cells: tuple[str, ...]
    whole: bool = True


@dataclass(frozen=True)
class Table:
    """Columns and rows, cells stripped, blank rows left out."""

    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    header_row: int

    def cell(self, row: Row, column: str) -> str:
        """The cell of a row under a column; blank where the table has no such column."""
        return row.cells[self.columns.index(column)] if column in self.columns else ""


def decoded(data: bytes, faults: Gathered) -> str | None:
    """The text of a file, or None when it is not UTF-8 text with something in it."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        faults.grave("the text is encoded as UTF-16", expected="expected UTF-8", mend=_SAVE_AS_UTF8)
        return None
    if data.startswith(b"PK\x03\x04"):
        faults.grave("this is a spreadsheet workbook", expected="expected plain text", mend="export it as CSV")
        return None
    if b"\x00" in data:
        faults.grave("the file holds zero bytes", expected="expected plain text", mend=_SAVE_AS_UTF8)
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = error.object[: error.start].count(b"\n") + 1
        byte = error.object[error.start]
        faults.grave(f"byte 0x{byte:02X} is not UTF-8 text", row=row, expected="expected UTF-8", mend=_SAVE_AS_UTF8)
        return None
    if not text.strip():
        faults.grave("the file is empty")
        return None
    return text


def read_table(text: str, faults: Gathered, *, first: str) -> Table | None:
    """Read a table whose header names the column `first`; None when no table can be made of it.

    Parameters
    ----------
    text : str
        The whole file, decoded and not blank.
    faults : Gathered
        Takes what is wrong.
    first : str
        A column that the header must name: it tells the separator.
    """
    separator = _separator(text, first)
    records = _records(text, separator, faults)
    if records is None:
        return None
    if not records:
        faults.grave("every cell is blank")
        return None
    (header_row, header), *body = records
    if first not in header:
        faults.grave(
            f"the header has no column {first}, it begins {quoted(text.strip().splitlines()[0])}",
            row=header_row,
            expected="expected the names of the columns in the first row",
            mend="separate columns by commas, semicolons or tabs",
        )
        return None
    rows = tuple(_fitted(number, cells, len(header), separator, faults) for number, cells in body)
    _check_header(header, header_row, rows, faults)
    return Table(header, rows, header_row)


def number(cell: str) -> float | None:
    """The finite number written in a cell with a decimal point or comma; None when there is none."""
    if _NUMBER.fullmatch(cell) is None:
        return None
    value = float(cell.replace(",", "."))
    return value if math.isfinite(value) else None


def why_no_number(cell: str) -> tuple[str, str]:
    """For a cell without a number: what was found, and what mends it."""
    if not cell:
        return "the cell is blank", "fill it in"
    bare = cell.lstrip("+-").lower()
    if bare in ("nan", "inf", "infinity") or _NUMBER.fullmatch(cell):
        return f"{quoted(cell)} is not a finite number", "measure it, or leave the row out"
    if cell.startswith("#"):
        return f"{quoted(cell)} is a formula that failed", "mend the formula in the spreadsheet"
    if "," in cell and "." in cell:
        return f"{quoted(cell)} has two kinds of marks", "write it without thousands separators"
    if _is_number_and_words(cell):
        return f"{quoted(cell)} is more than a number", "write the number alone, without a unit"
    return f"{quoted(cell)} is not a number", "write digits with a decimal point or comma"


def _is_number_and_words(cell: str) -> bool:
    """Whether a cell begins with a number and ends in something else, as `2 mm` does."""
    words = cell.lstrip("+-0123456789.,")
    return bool(words) and not _DIGIT.search(words) and _DIGIT.search(cell) is not None


def check_marks(table: Table, columns: Iterable[str], faults: Gathered, *, header_too: bool = True) -> None:
    """Refuse a file whose numbers use decimal commas in one cell and decimal points in another.

    An instrument's program may write its header with another mark than its cells: `header_too` leaves that out.
    """
    numeric = set(columns)
    wanted = [at for at, column in enumerate(table.columns) if column in numeric]
    header = Row(table.header_row, table.columns)
    first: dict[str, tuple[int, str, str]] = {}
    for row in (header, *table.rows) if header_too else table.rows:
        for at in wanted:
            cell = row.cells[at]
            for mark in ",.":
                if mark in cell and mark not in first and _NUMBER.fullmatch(cell):
                    first[mark] = (row.number, table.columns[at], cell)
    if len(first) == 2:
        (early, _, early_cell), (late, column, late_cell) = sorted(first.values())
        faults.grave(
            f"{quoted(late_cell)} and {quoted(early_cell)} (row {early}) mix decimal commas and points",
            row=late,
            column=column,
            expected="expected one decimal mark in the whole file",
            mend="set one number format for the sheet and export it again",
        )


def _separator(text: str, first: str) -> str:
    """The separator that makes a column `first` appear in the header, and the most columns."""
    header = text.lstrip().splitlines()[0]

    def merit(separator: str) -> tuple[bool, int]:
        cells = [cell.strip().strip('"').strip() for cell in header.split(separator)]
        return first in cells, len(cells)

    return max(_SEPARATORS, key=merit)


def _records(text: str, separator: str, faults: Gathered) -> list[tuple[int, tuple[str, ...]]] | None:
    """Numbered rows of stripped cells without the blank ones; None when the quoting is broken."""
    # A file that ends inside quotation marks, or has one astray, would swallow rows: strict refuses it.
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    records = []
    counted = 0
    try:
        for counted, cells in enumerate(reader, start=1):
            stripped = tuple(cell.strip() for cell in cells)
            if any(stripped):
                records.append((counted, stripped))
    except csv.Error:
        faults.grave(
            "a quotation mark is out of place, or a cell is far too long",
            row=counted + 1,
            expected="expected quotation marks in pairs around a whole cell",
            mend="remove the mark or write it twice",
        )
        return None
    return records


def _fitted(number: int, cells: tuple[str, ...], width: int, separator: str, faults: Gathered) -> Row:
    """A row of exactly the header's width.

    Even blank cells past the header are refused: 2,02 in a file of commas makes one, and shifts the rest.
    """
    if len(cells) == width:
        return Row(number, cells)
    strangers = [word for mark, word in _SEPARATORS.items() if mark != separator and mark in "".join(cells)]
    if len(cells) < width and strangers:
        mend = f"separate every row as the header does, by {_SEPARATORS[separator]}"
    elif len(cells) > width and separator == ",":
        mend = "if decimal commas are meant, separate columns by semicolons; else remove what is too much"
    else:
        mend = "add or remove separators until every row has all columns"
    faults.grave(
        f"the row has {len(cells)} {'cell' if len(cells) == 1 else 'cells'}",
        row=number,
        expected=f"expected {width} as in the header",
        mend=mend,
    )
    return Row(number, (*cells, *[""] * width)[:width], whole=False)


def _check_header(header: tuple[str, ...], header_row: int, rows: tuple[Row, ...], faults: Gathered) -> None:
    for at, column in enumerate(header):
        if not column and any(row.cells[at] for row in rows):
            faults.grave(
                "the column has cells but no name",
                row=header_row,
                column=_letters(at),
                mend="name it or clear it",
            )
        elif column and column in header[:at]:
            faults.grave(
                "the column stands twice",
                row=header_row,
                column=column,
                expected="expected every column once",
                mend="remove or rename one of the two",
            )


def _letters(at: int) -> str:
    """What a spreadsheet calls a column: A, B, ... Z, AA, ..."""
    name = ""
    at += 1
    while at:
        at, rest = divmod(at - 1, 26)
        name = chr(ord("A") + rest) + name
    return name
