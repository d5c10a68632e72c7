"""Tables in text, a folder's own and an instrument's export alike: header, separator, decimal mark, rows, cells.

A separator may be a comma, a semicolon, a tab or, in an export, blanks; it is found from the header. A decimal mark may
be a point or a comma, but one file keeps to one of them: where it does not, nobody can tell 1,234 from 1.234.
"""

from __future__ import annotations

import csv
import functools
import itertools
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from tint.errors import Gathered, quoted, shown
from tint.files import restored
from tint.swatches.text import Marks, note_marks, number, tell_marks, without_percent

Cells = tuple[str, ...]
Naming = Callable[[Cells, Sequence[Cells]], Cells | None]

_SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
_HINT = re.compile(r"\"?sep=(.)\"?", re.IGNORECASE)  # a line by which a spreadsheet is told the separator
_UNITS = re.compile(r"nm|%|-|1|mm|[rt]|%?\s?[rt]\s?%?|units?|(?:reflectance|transmittance)(?: factor)?", re.IGNORECASE)
_LABELS = {"swatch", "base", "backing", "seat", "quantity", "source", "name", "note"}
# Of a folder's own table: a reading may be 1 all over, which is no unit.
_OWN_UNITS = re.compile(
    r"nm|%|percent|mm|cm|inch|µm|g|g/cm3|days?|°? ?[cf]|0(?: to |-)1(?:00)?|text|name|unit", re.IGNORECASE
)
# Bounds of an export: common practice, no source.
_PREAMBLE = 120  # rows above a header at most
_MOST_COLUMNS = 5_500  # of an export: wavelengths, and names beside them


@dataclass(frozen=True)
class Row:
    """One row: its number in the spreadsheet, its cells, and whether it has as many as the header."""

    number: int
    cells: Cells
    whole: bool = True


@dataclass(frozen=True)
class Table:
    """Columns and rows, cells stripped, blank rows left out; `units` are those of a row below the header, if any."""

    columns: Cells
    rows: tuple[Row, ...]
    header_row: int
    separator: str = ","
    units: Cells = ()

    def with_unit(self, column: str) -> str:
        """The name of a column, and the percent that the row of units below it says, as `400 [%]`."""
        unit = self.units[self.columns.index(column)].strip("[]() ").lower() if self.units else ""
        return f"{column} [%]" if unit in ("%", "percent", "0 to 100", "0-100") else column

    def cell(self, row: Row, column: str) -> str:
        """The cell of a row under a column; blank where the table has no such column."""
        at = self._places.get(column)
        return "" if at is None else row.cells[at]

    @functools.cached_property
    def _places(self) -> dict[str, int]:
        """Where each column stands; the first of those of one name."""
        return {column: at for at, column in reversed(list(enumerate(self.columns)))}


@dataclass(frozen=True, kw_only=True)
class Header:
    """The names of the columns, the row that they stand in, the separator, and what stood above and right below.

    `invented` names stand for a row that is already numbers; `before` are the rows above, and `above` what their cells
    say of the first one; `units` are those of a row that tells nothing else.
    """

    row: int
    cells: Cells
    separator: str
    invented: bool = False
    before: tuple[Cells, ...] = ()
    above: dict[str, str] = field(default_factory=dict)
    units: Cells = ()


def read_table(text: str, faults: Gathered, *, first: str) -> Table | None:
    """Read a table whose header names the column `first`, which tells the separator; None when none can be made of it.

    The text is the whole file, decoded and not blank.
    """
    separator = max(_SEPARATORS, key=lambda each: _merit(text, each, first))
    every = list(records(text, separator, faults))
    if faults.any_grave:
        return None
    if not every:
        faults.grave("every cell is blank")
        return None
    header_row, columns = every[0][0], tuple(map(_small_label, every[0][1]))
    if first not in columns:
        found = f"the header has no column {first}, it begins {quoted(text.strip().splitlines()[0])}"
        mend = "separate columns by commas, semicolons or tabs"
        faults.grave(found, row=header_row, expected="expected the names of the columns in the first row", mend=mend)
        return None
    units = every[1][1] if len(every) > 1 and _are_units(every[1][1], _OWN_UNITS) else ()
    body = every[2:] if units else every[1:]
    rows = tuple(_fitted(number, cells, len(columns), separator, faults) for number, cells in body)
    _check_header(columns, header_row, rows, faults)
    return Table(columns, rows, header_row, separator, (*units, *[""] * len(columns))[: len(columns)] if units else ())


def _merit(text: str, separator: str, first: str) -> tuple[bool, int]:
    """How well a separator cuts the first row: whether a column `first` appears, and how many there are."""
    _, cells = next(records(text, separator, Gathered("")), (0, ("",)))
    return first in map(_small_label, cells), len(cells)


def _small_label(column: str) -> str:
    """A column of labels in small letters; names of pigments keep their own."""
    return column.lower() if column.lower() in _LABELS else column


def find_header(text: str, named: Naming) -> tuple[str, Header] | None:
    """The header of an export, wherever it stands, and the text in which it separates columns; None where none is.

    `named` takes the cells of a row, and the rows above; it returns the names of the columns where it is a header:
    those cells or, for a row that is numbers already, others.
    """
    found = [header for each in _SEPARATORS if (header := _header(text, each, named)) is not None]
    for blanks in (r"\s{2,}", r"\s+") if not found else ():  # columns may be set apart by blanks alone
        apart = "\n".join(re.sub(blanks, "\t", line.strip()) for line in text.split("\n"))
        header = _header(apart, "\t", named)
        below = next(rows_below(apart, header, Gathered("")), None) if header is not None else None
        if header is not None and (below is None or below.whole):  # else blanks stand within the names
            return apart, header
    return (text, max(found, key=lambda header: len(header.cells))) if found else None


def _header(text: str, separator: str, named: Naming) -> Header | None:
    above: dict[str, str] = {}
    before: list[Cells] = []
    rows = records(text, separator, Gathered(""))
    for at, cells in rows:
        used = max(number for number, cell in enumerate(cells, start=1) if cell)
        if at > _PREAMBLE or used > _MOST_COLUMNS:
            return None
        names = named(cells[:used], before)
        if names is None:
            key, _, told = cells[0].partition(":")
            told = told if used == 1 else next(filter(None, cells[1:]), "")
            before.append(cells[:used])
            above.setdefault("".join(each for each in key.lower() if each.isalpha()), told.strip())
            continue
        invented = names != cells[:used] and any(number(without_percent(cell)) is not None for cell in cells[1:])
        _, below = (at, ()) if invented else next(rows, (at, ()))
        units = below if _are_units(below, _UNITS) else ()
        if not (invented or units) and (joined := _joined(cells, below)):
            names, units = joined, below
        return Header(
            row=at, cells=names, separator=separator, invented=invented, before=tuple(before), above=above, units=units
        )
    return None


def _joined(heads: Cells, below: Cells) -> Cells:
    """The names of columns of a header of two rows, where a cell of one heads several of the other; else none."""
    used = max((at for at, cell in enumerate(below, start=1) if cell), default=0)
    # A row of numbers, or one below a header without gaps, is no part of it.
    if any(number(cell) is not None for cell in below) or all(heads[1:used]) or used < 3:
        return ()
    carried: Iterator[str] = itertools.accumulate(heads[:used], lambda before, cell: cell or before)
    parts = zip(carried, below, strict=False)
    return tuple(head if _UNITS.fullmatch(cell) or not cell else f"{head} {cell}".strip() for head, cell in parts)


def rows_below(text: str, header: Header, faults: Gathered) -> Iterator[Row]:
    """The rows of an export, up to a line of words or another table behind a blank line, which is warned of."""
    width, before, begun = len(header.cells), header.row, False
    for at, cells in records(text, header.separator, faults):
        if at < header.row + (not header.invented) or (header.units and at == header.row + 1):
            before = at
            continue
        is_apart = at > before + 1 and (len(cells) != width or cells == header.cells)
        if begun and (_are_words(cells, width) or is_apart):
            below = shown(next(filter(None, cells), ""))
            faults.warn(f"taken to row {before}: what stands below, from {below} on, is no row of the table")
            return
        before, begun = at, True
        if cells == header.cells:
            continue  # as it stands on every page
        yield _fitted(at, cells, width, header.separator, faults)


def records(text: str, separator: str, faults: Gathered) -> Iterator[tuple[int, Cells]]:
    """Numbered rows of stripped cells, without blank ones and the line that tells a spreadsheet the separator."""
    # A file that ends inside quotation marks, or has one astray, would swallow rows: strict refuses it.
    reader = csv.reader(_lines(text), delimiter=separator, strict=True)
    counted = 0
    try:
        for counted, cells in enumerate(reader, start=1):
            stripped = tuple([restored(cell.strip()) for cell in cells])
            if any(stripped) and not (counted == 1 and _HINT.fullmatch(separator.join(stripped))):
                yield counted, stripped
    except csv.Error:
        found = "a quotation mark is out of place, or a cell is far too long"
        expected = "expected quotation marks in pairs around a whole cell"
        mend = "remove the mark or write it twice"
        faults.grave(found, row=counted + 1, expected=expected, mend=mend)


def _lines(text: str) -> Iterator[str]:
    """Lines with their ends, of any of the three kinds, without a copy of the whole."""
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    start = 0
    while (end := text.find("\n", start)) >= 0:
        yield text[start : end + 1]
        start = end + 1
    if start < len(text):
        yield text[start:]


def _fitted(number: int, cells: Cells, width: int, separator: str, faults: Gathered) -> Row:
    """A row of exactly the header's width; blank cells past it are a spreadsheet's leavings.

    Not so where 2,02 in a file of commas may have made one and shifted the rest.
    """
    if len(cells) == width:
        return Row(number, cells)
    if len(cells) > width and not any(cells[width:]) and not (separator == "," and _may_be_split(cells)):
        return Row(number, cells[:width])
    strangers = [word for mark, word in _SEPARATORS.items() if mark != separator and mark in "".join(cells)]
    if len(cells) < width and strangers:
        mend = f"separate every row as the header does, by {_SEPARATORS[separator]}"
    elif len(cells) > width and separator == ",":
        mend = "if decimal commas are meant, separate columns by semicolons; else remove what is too much"
    else:
        mend = "add or remove separators until every row has all columns"
    found = f"the row has {len(cells)} {'cell' if len(cells) == 1 else 'cells'}"
    faults.grave(found, row=number, expected=f"expected {width} as in the header", mend=mend)
    return Row(number, (*cells, *[""] * width)[:width], whole=False)


def _may_be_split(cells: Cells) -> bool:
    """Whether two whole numbers stand side by side, as 2,02 does between commas."""
    return any(one.lstrip("+-").isdigit() and two.isdigit() for one, two in itertools.pairwise(cells))


def _are_words(cells: Cells, width: int) -> bool:
    """Whether a row below a table is a line of words: one cell where a measurement takes several."""
    used = [cell for cell in cells if cell]
    return width > 1 and len(used) == 1 and number(used[0]) is None and (len(cells) == 1 or not any(cells[1:]))


def _are_units(cells: Cells, units: re.Pattern[str]) -> bool:
    """Whether a row only tells the units of the columns."""
    used = [cell.strip("[]() ") for cell in cells if cell]
    return bool(used) and all(units.fullmatch(cell) for cell in used)


def _check_header(header: Cells, header_row: int, rows: tuple[Row, ...], faults: Gathered) -> None:
    for at, column in enumerate(header):
        if not column and any(row.cells[at] for row in rows):
            faults.grave(
                "the column has cells but no name", row=header_row, column=_letters(at), mend="name it or clear it"
            )
        elif column and column in header[:at]:
            found = "the column stands twice"
            mend = "remove or rename one of the two"
            faults.grave(found, row=header_row, column=column, expected="expected every column once", mend=mend)


def _letters(at: int) -> str:
    """What a spreadsheet calls a column: A, B, ... Z, AA, ..."""
    name = ""
    at += 1
    while at:
        at, rest = divmod(at - 1, 26)
        name = chr(ord("A") + rest) + name
    return name


def check_marks(table: Table, columns: Iterable[str], faults: Gathered) -> None:
    """Refuse a file whose numbers use decimal commas in one cell and decimal points in another."""
    numeric = set(columns)
    marks: Marks = {}
    wanted = [at for at, column in enumerate(table.columns) if column in numeric]
    for row in (Row(table.header_row, table.columns), *table.rows):
        note_marks(row.number, row.cells, wanted, table.columns, marks)
    tell_marks(marks, faults)
