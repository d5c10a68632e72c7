"""readings.csv: what was measured, row by row, on swatches and on bare backings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tint.errors import Gathered, did_you_mean, listed, one_of, shown
from tint.materials import SEATS
from tint.spectra import Array
from tint.swatches.declaration import Declared
from tint.swatches.records import (
    COLOUR_COLUMNS,
    COLOUR_GRID_NM,
    COLOURS,
    NO_BACKING,
    PALETTE_FILE,
    PHOTOGRAPH,
    QUANTITIES,
    READING_COLUMNS,
    SPECTRA,
    SWATCHES_FILE,
    THROUGH,
    Reading,
)
from tint.swatches.tables import Row, Table, check_marks
from tint.swatches.text import name_remade
from tint.swatches.values import (
    XYZ_COLUMNS,
    are_meant,
    check_colour_columns,
    check_grid,
    checked_colours,
    checked_values,
    noise_margin,
    wavelength_of,
)

_NONE = np.empty(0)
_VALUE_COLUMNS = {SPECTRA: "a wavelength in nm", COLOURS: ", ".join(COLOUR_COLUMNS)}
_OTHERWISE = {SPECTRA: "write a wavelength as 400 or 400 nm", COLOURS: "remove it"}


@dataclass(frozen=True)
class Measured:
    """The good readings: of swatches and, by backing, of bare backings.

    `named` holds all that stands under swatch: what is at fault was measured all the same.
    """

    kind: str
    wavelengths: Array
    named: frozenset[str]
    readings: tuple[Reading, ...]
    bare: dict[str, tuple[Reading, ...]]

    @property
    def backings(self) -> dict[str, Array]:
        """The mean of the bare readings of each backing that has some."""
        return {name: _locked(np.mean([each.values for each in read], axis=0)) for name, read in self.bare.items()}


def read_measured(
    table: Table, declared: Declared, swatch_rows: Mapping[str, int] | None, faults: Gathered
) -> Measured:
    """The readings of readings.csv, with the backings declared and the instrument's noise.

    `swatch_rows` are the swatches whose names count; None when swatches.csv could not be read and any name may be one.
    """
    kind = _kind(table.columns)
    _check_columns(table, kind, faults)
    columns = [column for column in table.columns if wavelength_of(column) is not None]
    check_marks(table, columns if kind == SPECTRA else COLOUR_COLUMNS, faults)
    wavelengths = check_grid(columns, table.header_row, faults) if kind == SPECTRA else np.array(COLOUR_GRID_NM)
    labels = [_label(row, table, declared, swatch_rows, faults) for row in table.rows]
    named = frozenset(table.cell(row, "swatch") for row in table.rows)
    _check_backings(labels, named, declared, faults)
    values = _values(table, kind, columns, declared, faults)
    told = [replace(each, values=_locked(values[each.row])) for each in labels if each and each.row in values]
    readings = tuple(each for each in told if each.swatch)
    bare: dict[str, list[Reading]] = {}
    for each in told:
        if not each.swatch:
            bare.setdefault(each.backing, []).append(each)
    if not table.rows:
        faults.grave("there is no reading below the header", mend="write one row for each reading")
    in_order = {name: tuple(bare[name]) for name in declared.backings if name in bare}
    return Measured(kind, _locked(wavelengths), named, readings, in_order)


def _kind(columns: Sequence[str]) -> str:
    """What a header says that its rows hold: colours only where it has no wavelength."""
    has_wavelengths = any(wavelength_of(column) is not None for column in columns)
    return COLOURS if are_meant(columns) and not has_wavelengths else SPECTRA


def _values(
    table: Table, kind: str, columns: Sequence[str], declared: Declared, faults: Gathered
) -> Mapping[int, Array]:
    """The spectra or colours of the rows that have one, by row number."""
    margin = noise_margin(None if declared.instrument is None else declared.instrument.repeatability)
    if kind == COLOURS:
        for row in table.rows:
            if row.whole and table.cell(row, "quantity") in THROUGH:
                found, mend = (
                    "transmittance as a colour",
                    "leave the row out; light that comes through is read as a spectrum",
                )
                faults.grave(found, row=row.number, column="quantity", expected="expected reflectance", mend=mend)
        return checked_colours(table, margin=margin, faults=faults)
    return checked_values(table, columns, margin=margin, faults=faults)


def _locked(values: Array) -> Array:
    values.flags.writeable = False
    return values


def _check_columns(table: Table, kind: str, faults: Gathered) -> None:
    for column in ("backing", "seat"):
        if column not in table.columns:
            faults.grave(f"the column {column} is missing", row=table.header_row, mend="add it to the header")
    if kind == COLOURS:
        check_colour_columns(table, faults)
    both = [column for column in COLOUR_COLUMNS if column in table.columns] if kind == SPECTRA else []
    if both:
        found = f"{listed(both)} stands beside wavelengths"
        expected = "expected spectra, or the colours L, a, b, but not both"
        mend = "keep the spectra: they tell the colours too"
        faults.grave(found, row=table.header_row, column=both[0], expected=expected, mend=mend)
    known = (*READING_COLUMNS, *COLOUR_COLUMNS)
    told = ("", *known, *(XYZ_COLUMNS if kind == COLOURS else ()))
    for column in table.columns:
        if column not in told and wavelength_of(column) is None:
            found = "there is no such column"
            expected = f"expected {', '.join(READING_COLUMNS)} or {_VALUE_COLUMNS[kind]}"
            mend = did_you_mean(column, known, otherwise=_OTHERWISE[kind])
            faults.grave(found, row=table.header_row, column=column, expected=expected, mend=mend)


def _check_backings(
    labels: Sequence[Reading | None], named: frozenset[str], declared: Declared, faults: Gathered
) -> None:
    """A backing that swatches were read over must have been read bare, or it says nothing."""
    for name in declared.backings:
        if name in named:
            continue
        used = [label.row for label in labels if label is not None and label.backing == name]
        mend = f"measure it bare: a row with {shown(name)} under swatch, backing and seat blank"
        if used:
            found = f"swatches were read over {shown(name)}, which has no bare reading"
            faults.grave(found, row=used[0], column="backing", mend=mend)
        else:
            faults.warn(f"the backing {shown(name)} has no reading", mend=mend)


def _label(
    row: Row, table: Table, declared: Declared, swatch_rows: Mapping[str, int] | None, faults: Gathered
) -> Reading | None:
    """What a row says it is, still without values; None when it contradicts itself or the other files."""
    if not row.whole:
        return None
    name = table.cell(row, "swatch")
    if not name:
        faults.grave("the reading has no swatch", row=row.number, column="swatch", mend="say what was measured")
        return None
    if name in declared.backings:
        return _bare_label(row, table, name, faults)
    is_known = swatch_rows is None or name in swatch_rows
    if swatch_rows is not None and not is_known:
        near = (*swatch_rows, *declared.backings)
        found = f"{shown(name)} is neither a swatch of {SWATCHES_FILE} nor a backing of {PALETTE_FILE}"
        add = f"add its row to {SWATCHES_FILE}"
        mend = name_remade(name, near) or f"{did_you_mean(name, near)} else {add}".removeprefix(" else ")
        faults.grave(found, row=row.number, column="swatch", mend=mend)
    quantity = _quantity(row, table, faults)
    backing = _backing(row, table, declared, quantity, faults)
    seat = _seat(row, table, backing, faults)
    source = _source(row, table, faults)
    if not is_known or quantity is None or backing is None or seat is None or source is None:
        return None
    return Reading(
        swatch=name, backing=backing, seat=seat, quantity=quantity, values=_NONE, source=source, row=row.number
    )


def _bare_label(row: Row, table: Table, name: str, faults: Gathered) -> Reading | None:
    """What the row of a bare backing says: it is of no swatch."""
    good = True
    for column in ("backing", "seat"):
        cell = table.cell(row, column)
        if cell:
            found = f"{shown(cell)} stands beside the backing {shown(name)}"
            expected = "expected a blank cell, as the backing was read bare"
            mend = "clear the cell, or name the swatch that was read"
            faults.grave(found, row=row.number, column=column, expected=expected, mend=mend)
            good = False
    quantity = _quantity(row, table, faults)
    if quantity in THROUGH:
        faults.grave(f"{quantity} of a backing", row=row.number, column="quantity", expected="expected its reflectance")
        good = False
    source = _source(row, table, faults)
    if not good or source is None:
        return None
    return Reading(
        swatch="", backing=name, seat="", quantity="reflectance", values=_NONE, source=source, row=row.number
    )


def _source(row: Row, table: Table, faults: Gathered) -> str | None:
    cell = _word(table.cell(row, "source"), (PHOTOGRAPH,))
    if cell in ("", PHOTOGRAPH):
        return cell
    found = f"there is no source {shown(cell)}"
    expected = f"expected {PHOTOGRAPH}, or a blank cell for an instrument"
    mend = did_you_mean(cell, (PHOTOGRAPH,), otherwise="clear the cell")
    faults.grave(found, row=row.number, column="source", expected=expected, mend=mend)
    return None


def _quantity(row: Row, table: Table, faults: Gathered) -> str | None:
    cell = _word(table.cell(row, "quantity"), QUANTITIES) or "reflectance"
    return cell if _is_known(cell, QUANTITIES, row, "quantity", faults) else None


def _backing(row: Row, table: Table, declared: Declared, quantity: str | None, faults: Gathered) -> str | None:
    cell = table.cell(row, "backing")
    cell = cell if cell in declared.backings else _word(cell, (*declared.backings, NO_BACKING))
    if "backing" not in table.columns:
        return None
    if quantity in THROUGH:
        if cell == NO_BACKING:
            return cell
        found = f"{quantity} over {shown(cell)}" if cell else f"{quantity} with a blank backing"
        expected = f"expected {NO_BACKING}: light cannot be read through a backing"
        mend = f"write {NO_BACKING}, or reflectance under quantity"
        faults.grave(found, row=row.number, column="backing", expected=expected, mend=mend)
        return None
    return cell if _is_known(cell, (*declared.backings, NO_BACKING), row, "backing", faults) else None


def _seat(row: Row, table: Table, backing: str | None, faults: Gathered) -> str | None:
    cell = _word(table.cell(row, "seat"), SEATS)
    if "seat" not in table.columns:
        return None
    if backing == NO_BACKING and not cell:
        return "air"
    if not _is_known(cell, SEATS, row, "seat", faults):
        return None
    if backing == NO_BACKING and cell != "air":
        found = f"seat {cell} with nothing behind the swatch"
        expected = "expected air or a blank cell; it is read as air"
        mend = "clear the cell, or name the backing"
        faults.warn(found, row=row.number, column="seat", expected=expected, mend=mend)
        return "air"
    return cell


def _word(cell: str, known: tuple[str, ...]) -> str:
    """One of these words, for spreadsheets begin a cell with a capital; any other cell as it is."""
    return cell.casefold() if cell.casefold() in known else cell


def _is_known(cell: str, known: tuple[str, ...], row: Row, column: str, faults: Gathered) -> bool:
    if cell in known:
        return True
    undeclared = f"declare it in {PALETTE_FILE}" if column == "backing" and cell else ""
    found = f"there is no {column} {shown(cell)}" if cell else "the cell is blank"
    mend = did_you_mean(cell, known, otherwise=undeclared) if cell else ""
    faults.grave(found, row=row.number, column=column, expected=one_of(known), mend=mend)
    return False
