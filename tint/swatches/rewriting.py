"""readings.csv written on in its own hand: separator, decimal mark, columns, line ends; the other rows as they were."""

from __future__ import annotations

import csv
import io
import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tint.errors import Fault, FolderError, Gathered, InputError, shown
from tint.spectra import Array
from tint.swatches.casts import Casts
from tint.swatches.declaration import Declared
from tint.swatches.import_plan import (
    FAULT,
    GOING,
    KEY_COLUMNS,
    NEW,
    REPLACES,
    REPLICATE,
    Doubles,
    Key,
    Planned,
    in_words,
)
from tint.swatches.measured import read_measured
from tint.swatches.records import COLOUR_COLUMNS, COLOURS, NO_BACKING, READING_COLUMNS, READINGS_FILE, SPECTRA
from tint.swatches.tables import Row, Table, read_table
from tint.swatches.text import decoded, encoding_of, number, without_percent
from tint.swatches.values import in_percent, reflectance, wavelength_of

# A tenth of the last digit that instruments print, and a hundredth of their noise.
DECIMALS = {SPECTRA: 5, COLOURS: 3}
_FIRST_COLUMNS = {SPECTRA: READING_COLUMNS[:4], COLOURS: READING_COLUMNS[:3]}  # others are added when needed
_BOM = "\ufeff"
_OF_SCALE = {  # what mends a value above 1 of a measurement, by the scale that it was taken to be on
    "fraction": "give --set scale=percent if the file is in percent, else measure it again",
    "percent": "it was taken as percent already: measure it again, or give --set scale=fraction if it is none",
}


@dataclass(frozen=True, kw_only=True)
class Written:
    """A table as it stands in its file."""

    table: Table
    records: tuple[str, ...]  # the text of every row, header and blank ones too, each with its line end; row 1 first
    decimal: str = "."
    line_end: str = "\n"
    bom: str = ""
    encoding: str = "utf-8"
    data: bytes = b""  # the file as it was read; nothing where there is none yet

    @property
    def wavelengths(self) -> dict[str, float]:
        """The columns that are wavelengths, and those [nm]."""
        return {each: nm for each in self.table.columns if (nm := wavelength_of(each)) is not None}

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

    FolderError if no table can be made of it.
    """
    faults = Gathered(file)
    text = decoded(data, faults)
    table = None if text is None else read_table(text, faults, first="swatch")
    grave = [fault for fault in faults.faults if fault.grave]
    if text is None or table is None or grave:
        raise FolderError(folder, grave)
    records = _cut(text, table)
    cells = [cell for row in table.rows for cell in row.cells] + list(table.columns)
    has_comma = table.separator != "," and any(
        "," in cell and number(without_percent(cell)) is not None for cell in cells
    )
    return Written(
        table=table,
        records=records,
        decimal="," if has_comma else ".",
        line_end="\r\n" if "\r\n" in records[0] else "\n",
        bom=_BOM if data.startswith(_BOM.encode()) else "",
        encoding=encoding_of(data).removesuffix("-sig"),
        data=data,
    )


def begun(wavelengths: Array | None) -> Written:
    """A file that does not exist yet: its header on a grid [nm], or of colours."""
    if wavelengths is None:
        columns = (*_FIRST_COLUMNS[COLOURS], *COLOUR_COLUMNS)
    else:
        columns = (*_FIRST_COLUMNS[SPECTRA], *(f"{nm:.10g}" for nm in wavelengths))
    return Written(table=Table(columns, (), 1), records=(",".join(columns) + "\n",))


def _cut(text: str, table: Table) -> tuple[str, ...]:
    """The text of every row."""
    lines = list(io.StringIO(text, newline=""))
    reader = csv.reader(lines, delimiter=table.separator)
    records, before = [], 0
    for _ in reader:
        records.append("".join(lines[before : reader.line_num]))
        before = reader.line_num
    return tuple(records)


def with_column(written: Written, column: str) -> Written:
    """With a further column behind the others, blank in every row."""
    if column in written.table.columns:
        return written
    separator, records = written.table.separator, []
    for at, record in enumerate(written.records, start=1):
        line, is_head = record.rstrip("\r\n"), at == written.table.header_row
        is_row = is_head or line.strip(separator + " ")
        records.append(line + separator + column * is_head + record[len(line) :] if is_row else record)
    rows = tuple(Row(row.number, (*row.cells, ""), row.whole) for row in written.table.rows)
    units = (*written.table.units, "") if written.table.units else ()
    table = replace(written.table, columns=(*written.table.columns, column), rows=rows, units=units)
    return replace(written, table=table, records=tuple(records))


def cells_of(written: Written, label: Mapping[str, str], values: Array) -> dict[str, str]:
    """The cells of a new row by column; `values`, shape (n,), on the file's wavelengths in its order, or a colour."""
    told = dict(label)
    for column, value in zip(written.value_columns, np.asarray(values) + 0.0, strict=True):
        is_percent = in_percent(written.table.with_unit(column))
        factor, decimals = (100.0, DECIMALS[written.kind] - 2) if is_percent else (1.0, DECIMALS[written.kind])
        told[column] = f"{factor * value:.{decimals}f}".replace(".", written.decimal)
    return told


def rewritten(
    written: Written, rows: Mapping[int, Mapping[str, str] | None], new: Sequence[Mapping[str, str]]
) -> bytes:
    """The file with rows put in place of others by their numbers, taken out (None), or, if they are `new`, behind all.

    Rows are cells by column.
    """
    records = list(written.records)
    for at, cells in rows.items():
        records[at - 1] = "" if cells is None else _record(written, cells)
    kept = "".join(records)
    if new and kept and not kept.endswith(("\n", "\r")):
        kept += written.line_end
    whole = written.bom + kept + "".join(_record(written, cells) for cells in new)
    try:
        return whole.encode(written.encoding)
    except UnicodeEncodeError:  # a new name has a letter that the old code page lacks
        return whole.encode("utf-8-sig")


def _record(written: Written, cells: Mapping[str, str]) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, delimiter=written.table.separator, lineterminator=written.line_end)
    writer.writerow([cells.get(column, "") for column in written.table.columns])
    return stream.getvalue()


# Planned readings brought together with those that stand in readings.csv: doubles told, the file made and read.


def doubled(placed: Sequence[Planned], written: Written, doubles: Doubles) -> list[Planned]:
    """Told apart from what was read before: new, a replicate, or in its place."""
    before: dict[Key, list[Row]] = {}
    for row in written.table.rows:
        before.setdefault(_key(written, row), []).append(row)
    seen: dict[Key, Planned] = {}
    return [_double(each, before.get(each.key, []), seen, written, doubles) for each in placed]


def _double(
    planned: Planned, before: Sequence[Row], seen: dict[Key, Planned], written: Written, doubles: Doubles
) -> Planned:
    if planned.action != NEW or planned.values is None:
        return planned
    twin, name = seen.setdefault(planned.key, planned), shown(planned.measurement.name)
    own = in_words(planned.key) if planned.measurement.name == planned.key[0] else f"{name}, {in_words(planned.key)},"
    if twin is not planned:
        if doubles.add or doubles.replace:
            return replace(planned, action=REPLICATE)
        mend = "name one otherwise with --as, or take both as replicates with --add"
        found = f"{own} is also {twin.measurement.where}{_difference(twin, planned)}"
        return planned.refused(found, "one of each", mend)
    rows = tuple(row.number for row in before)
    if not rows:
        return planned
    if doubles.replace:
        return replace(planned, action=REPLACES, rows=rows)
    same = [row.number for row in before if np.array_equal(_values(written, row), planned.values)]
    if same:
        found, mend = f"{name} is row {same[0]} of {READINGS_FILE} to the last digit", "leave it out, or measure anew"
        return planned.refused(found, "a reading that is not there yet", mend)
    if doubles.add:
        return replace(planned, action=REPLICATE)
    found = f"{own} was read before, in row {', '.join(map(str, rows))} of {READINGS_FILE}"
    mend = "keep both with --add, or put it in their place with --replace"
    return planned.refused(found, "a reading that is not there yet", mend)


def _difference(one: Planned, two: Planned) -> str:
    """The first column of words in which two rows differ, for a message; empty where none is."""
    for column, word in two.measurement.told.items():
        before = one.measurement.told.get(column, word)
        if before != word and number(word) is None:
            return f" (there {shown(column)} is {shown(before)}, here {shown(word)})"
    return ""


def _key(written: Written, row: Row) -> Key:
    swatch, backing, seat, quantity = (written.table.cell(row, column) for column in KEY_COLUMNS)
    return swatch, backing, "" if backing in ("", NO_BACKING) else seat, quantity or "reflectance"


def _values(written: Written, row: Row) -> Array:
    table = written.table
    cells = ((table.cell(row, column), table.with_unit(column)) for column in written.value_columns)
    numbers = [reflectance(cell, column) if written.kind == SPECTRA else number(cell) for cell, column in cells]
    return np.round([np.nan if value is None else value for value in numbers], DECIMALS[written.kind])


def composed(
    placed: Sequence[Planned], written: Written, declared: Declared, casts: Casts
) -> tuple[list[Planned], bytes]:
    """The plan with what `tint check` would say of its rows, and the file as it is going to be; empty after a fault."""
    going = {at: each for at, each in enumerate(placed) if each.action in GOING}
    cells = {at: _cells(written, each) for at, each in going.items()}
    changed: dict[int, dict[str, str] | None] = {row: None for each in going.values() for row in each.rows}
    changed |= {each.rows[0]: cells[at] for at, each in going.items() if each.rows}
    data = rewritten(written, changed, [cells[at] for at, each in going.items() if not each.rows])
    told = _told(data, declared, casts)
    # The row of the new file in which each will stand.
    taken_out = [row for row, new in changed.items() if new is None]
    behind = itertools.count(len(written.records) - len(taken_out) + 1)
    stands = {
        at: each.rows[0] - sum(row < each.rows[0] for row in taken_out) if each.rows else next(behind)
        for at, each in going.items()
    }
    checked = [_with_faults(each, told.get(stands.get(at, -1), [])) for at, each in enumerate(placed)]
    return checked, data if going and not any(each.fault for each in checked) else b""


def _cells(written: Written, planned: Planned) -> dict[str, str]:
    assert planned.values is not None  # else it is not going in
    label = dict(zip(KEY_COLUMNS, planned.key, strict=True)) | {"source": planned.measurement.source}
    if planned.quantity == "reflectance":
        del label["quantity"]  # as a blank cell says
    return cells_of(written, label, planned.values)


def _told(data: bytes, declared: Declared, casts: Casts) -> dict[int, list[Fault]]:
    """By row, what is wrong or odd with the readings as they would be."""
    faults = Gathered(READINGS_FILE)
    text = decoded(data, faults)
    table = read_table(text, faults, first="swatch") if text else None
    if table is not None:
        read_measured(table, declared, casts.rows, faults)
    told: dict[int, list[Fault]] = {}
    for fault in faults.faults:
        told.setdefault(fault.row or 0, []).append(fault)
    return told


def _with_faults(planned: Planned, told: Sequence[Fault]) -> Planned:
    for fault in told:
        at = f"{fault.column} nm: " if fault.column and number(fault.column) is not None else ""
        found = f"{shown(planned.measurement.name)}, {at}{fault.found}"
        mend = fault.mend if "divide" not in fault.mend else _OF_SCALE.get(planned.measurement.scale, "")
        error = InputError(planned.measurement.where, found, fault.expected, mend)
        # The names in the row were checked. What is left is a card without a bare reading, which may yet come.
        if fault.grave and fault.column != "backing":
            planned = replace(planned, action=FAULT, fault=planned.fault or error)
        else:
            planned = replace(planned, warnings=(*planned.warnings, str(error)))
    return planned
