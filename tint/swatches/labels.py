"""What a row of readings.csv says it is: a swatch over a backing in a seat, or a backing read bare."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tint.materials import SEATS
from tint.swatches.declaration import Declared
from tint.swatches.gather import Gathered, did_you_mean, one_of, shown
from tint.swatches.records import NO_BACKING, PALETTE_FILE, PHOTOGRAPH, QUANTITIES, SWATCHES_FILE, THROUGH
from tint.swatches.tables import Row, Table


@dataclass(frozen=True)
class Label:
    """What a row of readings.csv says it is; a bare backing has itself for its backing."""

    row: Row
    swatch: str
    backing: str
    seat: str
    quantity: str
    source: str
    bare: bool


def label_of(
    row: Row, table: Table, declared: Declared, swatch_rows: Mapping[str, int] | None, faults: Gathered
) -> Label | None:
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
    source = _source(row, table, faults)
    if not known or quantity is None or backing is None or seat is None or source is None:
        return None
    return Label(row, name, backing, seat, quantity, source, bare=False)


def _bare_label(row: Row, table: Table, name: str, faults: Gathered) -> Label | None:
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
    quantity = _quantity(row, table, faults)
    if quantity in THROUGH:
        faults.grave(
            f"{quantity} of a backing",
            row=row.number,
            column="quantity",
            expected="expected its reflectance",
        )
        good = False
    source = _source(row, table, faults)
    return Label(row, name, name, "", "reflectance", source, bare=True) if good and source is not None else None


def _source(row: Row, table: Table, faults: Gathered) -> str | None:
    cell = table.cell(row, "source")
    if cell in ("", PHOTOGRAPH):
        return cell
    faults.grave(
        f"there is no source {shown(cell)}",
        row=row.number,
        column="source",
        expected=f"expected {PHOTOGRAPH}, or a blank cell for an instrument",
        mend=did_you_mean(cell, (PHOTOGRAPH,), otherwise="clear the cell"),
    )
    return None


def _quantity(row: Row, table: Table, faults: Gathered) -> str | None:
    cell = table.cell(row, "quantity") or "reflectance"
    return cell if _is_known(cell, QUANTITIES, row, "quantity", faults) else None


def _backing(row: Row, table: Table, declared: Declared, quantity: str | None, faults: Gathered) -> str | None:
    cell = table.cell(row, "backing")
    if "backing" not in table.columns:
        return None
    if quantity in THROUGH:
        if cell == NO_BACKING:
            return cell
        faults.grave(
            f"{quantity} over {shown(cell)}" if cell else f"{quantity} with a blank backing",
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
