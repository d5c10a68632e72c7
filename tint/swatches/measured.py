"""readings.csv: what was measured, row by row, on swatches and on bare backings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tint.materials import SEATS
from tint.spectra import Array
from tint.swatches.declaration import Declared
from tint.swatches.gather import Gathered, did_you_mean, one_of, shown
from tint.swatches.records import (
    NO_BACKING,
    PALETTE_FILE,
    QUANTITIES,
    READING_COLUMNS,
    SWATCHES_FILE,
    Reading,
)
from tint.swatches.tables import Row, Table, check_marks, number
from tint.swatches.values import check_grid, checked_values


@dataclass(frozen=True)
class Measured:
    """The good readings: of swatches, and the mean of the bare readings of each backing.

    `named` holds all that stands under swatch: what is at fault was measured all the same.
    """

    wavelengths: Array
    named: frozenset[str]
    readings: tuple[Reading, ...]
    backings: dict[str, Array]


@dataclass(frozen=True)
class _Label:
    """What a row of readings.csv says it is; a bare backing has itself for its backing."""

    row: Row
    swatch: str
    backing: str
    seat: str
    quantity: str
    bare: bool


def read_measured(
    table: Table, declared: Declared, swatch_rows: Mapping[str, int] | None, faults: Gathered
) -> Measured:
    """Read the readings of a table.

    Parameters
    ----------
    table : Table
        readings.csv.
    declared : Declared
        The backings whose names count, and the instrument's noise.
    swatch_rows : dict of str to int, or None
        The swatches whose names count; None when swatches.csv could not be read and any name may be one.
    faults : Gathered
        Takes what is wrong.
    """
    _check_columns(table, faults)
    columns = [column for column in table.columns if number(column) is not None]
    check_marks(table, columns, faults)
    wavelengths = check_grid(columns, table.header_row, faults)
    labels = [_label(row, table, declared, swatch_rows, faults) for row in table.rows]
    named = frozenset(table.cell(row, "swatch") for row in table.rows)
    _check_backings(labels, named, declared, faults)
    noise = None if declared.instrument is None else declared.instrument.repeatability
    cells = _value_cells(table, columns)
    values = checked_values(table.rows, cells, columns, noise=noise, faults=faults)
    told = [label for label in labels if label is not None and label.row.number in values]
    readings = [_reading(label, values[label.row.number]) for label in told if not label.bare]
    bare: dict[str, list[Array]] = {}
    for label in told:
        if label.bare:
            bare.setdefault(label.backing, []).append(values[label.row.number])
    if not table.rows:
        faults.grave("there is no reading below the header", mend="write one row for each reading")
    backings = {name: _locked(np.mean(bare[name], axis=0)) for name in declared.backings if name in bare}
    return Measured(_locked(wavelengths), named, tuple(readings), backings)


def _value_cells(table: Table, columns: list[str]) -> list[tuple[str, ...]]:
    wanted = [table.columns.index(column) for column in columns]
    return [tuple(row.cells[at] for at in wanted) for row in table.rows]


def _reading(label: _Label, values: Array) -> Reading:
    return Reading(
        swatch=label.swatch,
        backing=label.backing,
        seat=label.seat,
        quantity=label.quantity,
        values=_locked(values),
        row=label.row.number,
    )


def _locked(values: Array) -> Array:
    values.flags.writeable = False
    return values


def _check_columns(table: Table, faults: Gathered) -> None:
    for column in ("backing", "seat"):
        if column not in table.columns:
            faults.grave(f"the column {column} is missing", row=table.header_row, mend="add it to the header")
    for column in table.columns:
        if column and column not in READING_COLUMNS and number(column) is None:
            faults.grave(
                "there is no such column",
                row=table.header_row,
                column=column,
                expected="expected swatch, backing, seat, quantity or a wavelength in nm",
                mend=did_you_mean(column, READING_COLUMNS, otherwise="write a wavelength as a bare number"),
            )


def _label(
    row: Row, table: Table, declared: Declared, swatch_rows: Mapping[str, int] | None, faults: Gathered
) -> _Label | None:
    """What a row says it is, or None when it contradicts itself or the other files."""
    if not row.whole:
        return None
    name = table.cell(row, "swatch")
    if not name:
        faults.grave("the reading has no swatch", row=row.number, column="swatch", mend="say what was measured")
        return None
    if name in declared.backings:
        return _bare_label(row, table, name, faults)
    known = swatch_rows is None or name in swatch_rows
    if not known and swatch_rows is not None:
        near = (*swatch_rows, *declared.backings)
        faults.grave(
            f"{shown(name)} is neither a swatch of {SWATCHES_FILE} nor a backing of {PALETTE_FILE}",
            row=row.number,
            column="swatch",
            mend=did_you_mean(name, near, otherwise=f"add its row to {SWATCHES_FILE}"),
        )
    quantity = _quantity(row, table, faults)
    backing = _backing(row, table, declared, quantity, faults)
    seat = _seat(row, table, backing, faults)
    if not known or quantity is None or backing is None or seat is None:
        return None
    return _Label(row, name, backing, seat, quantity, bare=False)


def _bare_label(row: Row, table: Table, name: str, faults: Gathered) -> _Label | None:
    good = True
    for column in ("backing", "seat"):
        cell = table.cell(row, column)
        if cell:
            faults.grave(
                f"{shown(cell)} stands beside the backing {shown(name)}",
                row=row.number,
                column=column,
                expected="expected a blank cell, as the backing was read bare",
                mend="clear the cell, or name the swatch that was read",
            )
            good = False
    if _quantity(row, table, faults) == "transmittance":
        faults.grave(
            "transmittance of a backing",
            row=row.number,
            column="quantity",
            expected="expected its reflectance",
        )
        good = False
    return _Label(row, name, name, "", "reflectance", bare=True) if good else None


def _quantity(row: Row, table: Table, faults: Gathered) -> str | None:
    cell = table.cell(row, "quantity") or "reflectance"
    return cell if _is_known(cell, QUANTITIES, row, "quantity", faults) else None


def _backing(row: Row, table: Table, declared: Declared, quantity: str | None, faults: Gathered) -> str | None:
    cell = table.cell(row, "backing")
    if "backing" not in table.columns:
        return None
    if quantity == "transmittance":
        if cell == NO_BACKING:
            return cell
        faults.grave(
            f"transmittance over {shown(cell)}" if cell else "transmittance with a blank backing",
            row=row.number,
            column="backing",
            expected=f"expected {NO_BACKING}: light cannot be read through a backing",
            mend=f"write {NO_BACKING}, or reflectance under quantity",
        )
        return None
    return cell if _is_known(cell, (*declared.backings, NO_BACKING), row, "backing", faults) else None


def _seat(row: Row, table: Table, backing: str | None, faults: Gathered) -> str | None:
    cell = table.cell(row, "seat")
    if "seat" not in table.columns:
        return None
    if backing == NO_BACKING and not cell:
        return "air"
    if not _is_known(cell, SEATS, row, "seat", faults):
        return None
    if backing == NO_BACKING and cell != "air":
        faults.warn(
            f"seat {cell} with nothing behind the swatch",
            row=row.number,
            column="seat",
            expected="expected air or a blank cell; it is read as air",
            mend="clear the cell, or name the backing",
        )
        return "air"
    return cell


def _is_known(cell: str, known: tuple[str, ...], row: Row, column: str, faults: Gathered) -> bool:
    if cell in known:
        return True
    undeclared = f"declare it in {PALETTE_FILE}" if column == "backing" and cell else ""
    faults.grave(
        f"there is no {column} {shown(cell)}" if cell else "the cell is blank",
        row=row.number,
        column=column,
        expected=one_of(known),
        mend=did_you_mean(cell, known, otherwise=undeclared) if cell else "",
    )
    return False


def _check_backings(labels: list[_Label | None], named: frozenset[str], declared: Declared, faults: Gathered) -> None:
    """A backing that swatches were read over must have been read bare, or it says nothing."""
    for name in declared.backings:
        if name in named:
            continue
        used = [label.row.number for label in labels if label is not None and label.backing == name]
        mend = f"measure it bare: a row with {shown(name)} under swatch, backing and seat blank"
        if used:
            found = f"swatches were read over {shown(name)}, which has no bare reading"
            faults.grave(found, row=used[0], column="backing", mend=mend)
        else:
            faults.warn(f"the backing {shown(name)} has no reading", mend=mend)
