"""A spreadsheet's text from an instrument: its separator, its header wherever that stands, and its numbers."""

from __future__ import annotations

import contextlib
import csv
import io
import itertools
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from tint.errors import InputError
from tint.swatches.gather import Gathered, shown
from tint.swatches.instruments.colour_names import bare, triple_columns
from tint.swatches.instruments.measurement import LARGEST_VALUE, MOST_WAVELENGTHS, WAVELENGTHS_NM
from tint.swatches.instruments.spectral_names import wavelength_in
from tint.swatches.tables import Row, Table, check_marks, number, why_no_number

SEPARATORS = (",", ";", "\t")
LEAST_COLUMNS = 5  # wavelengths that make a row a header
_UNITS = {"nm", "%", "-", "r", "t", "r%", "t%", "%r", "%t", "unit", "units", "1", "mm", "reflectance", "transmittance"}
_PREAMBLE = 60  # rows above the header at most
_MOST_COLUMNS = MOST_WAVELENGTHS + 500
_PLAIN = re.compile(r"[\d.;eE+-]*", re.ASCII)
_WAVELENGTH_WORDS = {"wavelength", "wavelengthnm", "nm", "lambda", "lambdanm", "wl", "wlnm", "nanometers"}


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A table, the facts that stood above it, and whether its rows are measurements (`wide`) or wavelengths."""

    table: Table
    told: Mapping[str, str]
    wide: bool
    file: str
    left: str = ""

    def where(self, row: Row | None = None, column: str = "") -> str:
        """A place in it, as errors name it."""
        told = self.file if row is None else f"{self.file}, row {row.number}"
        return f"{told}, column {shown(column)}" if column else told


def is_wavelength_column(column: str) -> bool:
    """Whether the column holds wavelengths, so that each row is one point of a spectrum."""
    return bare(column) in _WAVELENGTH_WORDS


def read_sheet(text: str, file: str) -> Sheet | None:
    """The table in a text; None when no header with wavelengths, Lab or XYZ is found in it.

    Raises
    ------
    InputError
        If a row is not as wide as the header, or quotation marks are astray.
    """
    found = [(each, header) for each in SEPARATORS if (header := _header(text, each)) is not None]
    if not found:  # columns may be set apart by blanks alone
        text = "\n".join("\t".join(line.split()) for line in text.split("\n"))
        found = [("\t", header) for header in [_header(text, "\t")] if header is not None]
    if not found:
        return None
    separator, header = max(found, key=lambda pair: len(pair[1].cells))
    above: dict[str, str] = {}
    rows: list[Row] = []
    left = ""
    before, width = 0, len(header.cells)
    for counted, cells in _records(text, separator, file):
        if rows and (_is_footer(cells, width) or (counted > before + 1 and len(cells) != width)):
            below = shown(next(filter(None, cells), ""))
            left = f"taken to row {before}: what stands below, from {below} on, is no row of the table"
            break  # a line of words, or another table behind a blank line
        before = counted
        if counted == header.row + 1 and not header.invented and _are_units(cells):
            continue
        if counted < header.row:
            if len(cells) > 1 and bare(cells[0]):
                above.setdefault(bare(cells[0]), cells[1])
        elif counted > header.row or header.invented:
            rows.append(Row(counted, _fitted(cells, len(header.cells), counted, file)))
    table = Table(header.cells, tuple(rows), header.row)
    return Sheet(table=table, told=above, wide=header.wide, file=file, left=left)


@dataclass(frozen=True, kw_only=True)
class _Header:
    """The names of the columns, and the row they stand in; invented ones stand for a row that is already numbers."""

    row: int
    cells: tuple[str, ...]
    wide: bool = False
    invented: bool = False


def _header(text: str, separator: str) -> _Header | None:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    try:
        for counted, row in enumerate(itertools.islice(reader, _PREAMBLE), start=1):
            used = max((at for at, cell in enumerate(row, start=1) if cell.strip()), default=0)
            if used > _MOST_COLUMNS:
                return None
            cells = tuple(cell.strip() for cell in row[:used])
            if sum(wavelength_in(cell, plain=True) is not None for cell in cells) >= LEAST_COLUMNS:
                return _Header(row=counted, cells=cells, wide=True)
            if len(cells) > 1 and any(map(is_wavelength_column, cells)):
                return _Header(row=counted, cells=cells)
            if any(triple_columns(cells)):
                return _Header(row=counted, cells=cells, wide=True)
            if _are_points(cells):
                return _Header(row=counted, cells=_names(len(cells)), invented=True)
    except csv.Error:
        return None
    return None


def _is_footer(cells: tuple[str, ...], width: int) -> bool:
    """Whether a row below the table is a line of words: one cell where a measurement takes several."""
    used = [cell for cell in cells if cell]
    return width > 2 and len(used) == 1 and number(used[0]) is None and (len(cells) == 1 or not any(cells[1:]))


def _are_units(cells: tuple[str, ...]) -> bool:
    """Whether a row only tells the units of the columns."""
    used = [cell.strip("[]() ").lower() for cell in cells if cell]
    return bool(used) and all(cell in _UNITS for cell in used)


def _are_points(cells: Sequence[str]) -> bool:
    """Whether a row is, without any header, a wavelength and values at it."""
    numbers = [number(cell) for cell in cells]
    first = numbers[0] if len(numbers) > 1 else None
    return first is not None and None not in numbers and WAVELENGTHS_NM[0] <= first <= WAVELENGTHS_NM[1]


def _names(count: int) -> tuple[str, ...]:
    return ("wavelength", "value") if count == 2 else ("wavelength", *(f"column {at}" for at in range(2, count + 1)))


def _records(text: str, separator: str, file: str) -> Iterator[tuple[int, tuple[str, ...]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    counted = 0
    try:
        for counted, cells in enumerate(reader, start=1):
            stripped = tuple(cell.strip() for cell in cells)
            if any(stripped):
                yield counted, stripped
    except csv.Error as error:
        mend = "remove the mark or write it twice"
        raise InputError(f"{file}, row {counted + 1}", "a quotation mark is out of place", "pairs", mend) from error


def _fitted(cells: tuple[str, ...], width: int, counted: int, file: str) -> tuple[str, ...]:
    """A row of the header's width; blank cells past it are a spreadsheet's leavings."""
    if len(cells) < width or any(cells[width:]):
        used = len(cells) if len(cells) < width else max(at for at, cell in enumerate(cells, start=1) if cell)
        raise InputError(f"{file}, row {counted}", f"the row has {used} cells", f"{width} as in the header")
    return cells[:width]


def numbers(sheet: Sheet, row: Row, columns: Sequence[int]) -> list[float]:
    """The numbers of a row at some places.

    Raises
    ------
    InputError
        For the first that is none.
    """
    # A row at once where all is plain: cell by cell it takes several times as long.
    plain = ";".join([row.cells[at] for at in columns]).replace(",", ".")
    if _PLAIN.fullmatch(plain):
        with contextlib.suppress(ValueError):
            quick = [float(cell) for cell in plain.split(";")]
            # A cell with a semicolon of its own would pass for two.
            if len(quick) == len(columns) and max(map(abs, quick)) <= LARGEST_VALUE:
                return quick
    read = []
    for at in columns:
        value = number(row.cells[at])
        if value is None or abs(value) > LARGEST_VALUE:
            found, mend = why_no_number(row.cells[at])
            raise InputError(sheet.where(row, sheet.table.columns[at]), found, "a number", mend)
        read.append(value)
    return read


def check_decimals(sheet: Sheet, columns: Sequence[str]) -> None:
    """Refuse decimal points and commas in one file.

    Raises
    ------
    InputError
        With the first cell that departs.
    """
    faults = Gathered(sheet.file)
    check_marks(sheet.table, columns, faults, header_too=False)
    for fault in faults.faults:
        raise InputError(fault.where, fault.found, fault.expected, fault.mend)
