"""readings.csv written on in its own hand: separator, decimal mark, columns, line ends; the other rows as they were."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tint.errors import FolderError
from tint.spectra import Array
from tint.swatches.gather import Gathered
from tint.swatches.records import COLOUR_COLUMNS, COLOURS, READING_COLUMNS, SPECTRA
from tint.swatches.tables import Row, Table, decoded, number, read_table

# A tenth of the last digit that instruments print, and a hundredth of their noise.
DECIMALS = {SPECTRA: 5, COLOURS: 3}
_FIRST_COLUMNS = {SPECTRA: READING_COLUMNS[:4], COLOURS: READING_COLUMNS[:3]}  # others are added when needed
_BOM = "\ufeff"


@dataclass(frozen=True, kw_only=True)
class Written:
    """A table as it stands in its file.

    Parameters
    ----------
    records : tuple of str
        The text of every row, header and blank ones too, each with its line end; row 1 first.
    """

    table: Table
    records: tuple[str, ...]
    separator: str = ","
    decimal: str = "."
    line_end: str = "\n"
    bom: str = ""

    @property
    def wavelengths(self) -> dict[str, float]:
        """The columns that are wavelengths, and those [nm]."""
        return {each: nm for each in self.table.columns if (nm := number(each)) is not None}

    @property
    def kind(self) -> str:
        """Whether its rows hold spectra or colours."""
        return COLOURS if set(COLOUR_COLUMNS) <= set(self.table.columns) and not self.wavelengths else SPECTRA

    @property
    def value_columns(self) -> tuple[str, ...]:
        """The columns that hold the values of a reading, in the order of those."""
        return COLOUR_COLUMNS if self.kind == COLOURS else tuple(self.wavelengths)


def as_written(data: bytes, file: str, *, folder: str) -> Written:
    """How a file of readings is written.

    Raises
    ------
    FolderError
        If no table can be made of it.
    """
    faults = Gathered(file)
    text = decoded(data, faults)
    table = None if text is None else read_table(text, faults, first="swatch")
    grave = [fault for fault in faults.faults if fault.grave]
    if text is None or table is None or grave:
        raise FolderError(folder, grave)
    separator, records = _cut(text, table)
    cells = [cell for row in table.rows for cell in row.cells] + list(table.columns)
    has_comma = separator != "," and any("," in cell and number(cell) is not None for cell in cells)
    return Written(
        table=table,
        records=records,
        separator=separator,
        decimal="," if has_comma else ".",
        line_end="\r\n" if "\r\n" in records[0] else "\n",
        bom=_BOM if data.startswith(_BOM.encode()) else "",
    )


def begun(wavelengths: Array | None) -> Written:
    """A file that does not exist yet: its header on a grid [nm], or of colours."""
    if wavelengths is None:
        columns = (*_FIRST_COLUMNS[COLOURS], *COLOUR_COLUMNS)
    else:
        columns = (*_FIRST_COLUMNS[SPECTRA], *(f"{nm:.10g}" for nm in wavelengths))
    return Written(table=Table(columns, (), 1), records=(",".join(columns) + "\n",))


def _cut(text: str, table: Table) -> tuple[str, tuple[str, ...]]:
    """The separator that gives the table's own header, and the text of every row."""
    for separator in ",;\t":
        lines = list(io.StringIO(text, newline=""))
        reader = csv.reader(lines, delimiter=separator)
        records, before, header = [], 0, False
        for cells in reader:
            records.append("".join(lines[before : reader.line_num]))
            before = reader.line_num
            header = header or tuple(cell.strip() for cell in cells) == table.columns
        if header:
            return separator, tuple(records)
    raise AssertionError("a table was read with none of its separators")


def with_column(written: Written, column: str) -> Written:
    """With a further column behind the others, blank in every row."""
    if column in written.table.columns:
        return written
    head = written.table.header_row
    records = [
        _line(record) + written.separator + (column if at == head else "") + record[len(_line(record)) :]
        if at == head or _line(record).strip(written.separator + " ")
        else record
        for at, record in enumerate(written.records, start=1)
    ]
    rows = tuple(Row(row.number, (*row.cells, ""), row.whole) for row in written.table.rows)
    table = Table((*written.table.columns, column), rows, head)
    return replace(written, table=table, records=tuple(records))


def _line(record: str) -> str:
    return record.rstrip("\r\n")


def cells_of(written: Written, label: Mapping[str, str], values: Array) -> dict[str, str]:
    """The cells of a new row by column; `values`, shape (n,), on the file's wavelengths in its order, or a colour."""
    decimals = DECIMALS[written.kind]
    texts = [f"{value:.{decimals}f}".replace(".", written.decimal) for value in np.asarray(values) + 0.0]
    return {**label, **dict(zip(written.value_columns, texts, strict=True))}


def rewritten(
    written: Written, rows: Mapping[int, Mapping[str, str] | None], new: Sequence[Mapping[str, str]]
) -> bytes:
    """The file with some rows put in place of others, taken out (None), or put behind all.

    Parameters
    ----------
    rows : mapping of int to mapping or None
        By row number, the cells of the row that takes its place.
    new : sequence of mapping
        The cells of further rows.
    """
    records = list(written.records)
    for at, cells in rows.items():
        records[at - 1] = "" if cells is None else _record(written, cells)
    kept = "".join(records)
    if new and kept and not kept.endswith(("\n", "\r")):
        kept += written.line_end
    return (written.bom + kept + "".join(_record(written, cells) for cells in new)).encode()


def _record(written: Written, cells: Mapping[str, str]) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, delimiter=written.separator, lineterminator=written.line_end)
    writer.writerow([cells.get(column, "") for column in written.table.columns])
    return stream.getvalue()
