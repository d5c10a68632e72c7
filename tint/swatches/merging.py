"""Planned readings brought together with those that stand in readings.csv: doubles told, the file made and read."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from tint.errors import Fault, InputError
from tint.spectra import Array
from tint.swatches.casts import Casts
from tint.swatches.declaration import Declared
from tint.swatches.gather import Gathered, shown
from tint.swatches.measured import read_measured
from tint.swatches.planned import (
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
from tint.swatches.records import NO_BACKING, READINGS_FILE
from tint.swatches.rewriting import Written, cells_of, rewritten
from tint.swatches.tables import Row, decoded, number, read_table


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
    where, twin = planned.measurement.where, seen.setdefault(planned.key, planned)
    name = shown(planned.measurement.name)
    own = in_words(planned.key) if planned.measurement.name == planned.key[0] else f"{name}, {in_words(planned.key)},"
    if twin is not planned:
        if not (doubles.add or doubles.replace):
            mend = "name one otherwise with --as, or take both as replicates with --add"
            found = f"{own} is also {twin.measurement.where}"
            return replace(planned, action=FAULT, fault=InputError(where, found, "one of each", mend))
        return replace(planned, action=REPLICATE)
    if not before:
        return planned
    rows = ", ".join(str(row.number) for row in before)
    if doubles.replace:
        return replace(planned, action=REPLACES, rows=tuple(row.number for row in before))
    same = [row.number for row in before if np.array_equal(_values(written, row), planned.values)]
    if same:
        found = f"{name} is row {same[0]} of {READINGS_FILE} to the last digit"
        mend = "leave it out, or measure anew"
        return replace(planned, action=FAULT, fault=InputError(where, found, "a reading that is not there yet", mend))
    if doubles.add:
        return replace(planned, action=REPLICATE)
    found = f"{own} was read before, in row {rows} of {READINGS_FILE}"
    mend = "keep both with --add, or put it in their place with --replace"
    return replace(planned, action=FAULT, fault=InputError(where, found, "a reading that is not there yet", mend))


def _key(written: Written, row: Row) -> Key:
    swatch, backing, seat, quantity = (written.table.cell(row, column) for column in KEY_COLUMNS)
    return swatch, backing, "" if backing in ("", NO_BACKING) else seat, quantity or "reflectance"


def _values(written: Written, row: Row) -> Array:
    numbers = [number(written.table.cell(row, column)) for column in written.value_columns]
    return np.array([np.nan if value is None else value for value in numbers])


def composed(
    placed: Sequence[Planned], written: Written, declared: Declared, casts: Casts
) -> tuple[list[Planned], bytes]:
    """The plan with what `tint check` would say of its rows, and the file as it is going to be; empty after a fault."""
    going = {at: each for at, each in enumerate(placed) if each.action in GOING and each.values is not None}
    cells = {at: _cells(written, each, each.values) for at, each in going.items() if each.values is not None}
    changed: dict[int, dict[str, str] | None] = {row: None for each in going.values() for row in each.rows}
    changed |= {each.rows[0]: cells[at] for at, each in going.items() if each.rows}
    data = rewritten(written, changed, [cells[at] for at, each in going.items() if not each.rows])
    told = _told(data, declared, casts)
    stands = _rows(going, changed, len(written.records))
    checked = [_with_faults(each, told.get(stands.get(at, -1), [])) for at, each in enumerate(placed)]
    return checked, data if going and not any(each.fault for each in checked) else b""


def _rows(going: Mapping[int, Planned], changed: Mapping[int, object], count: int) -> dict[int, int]:
    """The row of the new file in which each planned reading will stand."""
    taken_out = [row for row, cells in changed.items() if cells is None]
    behind = itertools.count(count - len(taken_out) + 1)
    return {
        at: each.rows[0] - sum(row < each.rows[0] for row in taken_out) if each.rows else next(behind)
        for at, each in going.items()
    }


def _cells(written: Written, planned: Planned, values: Array) -> dict[str, str]:
    label = dict(zip(KEY_COLUMNS, planned.key, strict=True)) | {"source": planned.measurement.source}
    if planned.quantity == "reflectance":
        del label["quantity"]  # as a blank cell says
    return cells_of(written, label, values)


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
        error = InputError(planned.measurement.where, found, fault.expected, fault.mend)
        # The names in the row were checked. What is left is a card without a bare reading, which may yet come.
        if fault.grave and fault.column != "backing":
            planned = replace(planned, action=FAULT, fault=planned.fault or error)
        else:
            planned = replace(planned, warnings=(*planned.warnings, str(error)))
    return planned
