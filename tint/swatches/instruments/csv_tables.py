"""CSV with a row for each wavelength: a column of values with names beside it, or a column for each sample."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from tint.errors import InputError
from tint.spectra import Array
from tint.swatches.gather import listed, shown
from tint.swatches.instruments.colour_names import bare, triple_columns, view_in
from tint.swatches.instruments.geometry import OF_SPHERE
from tint.swatches.instruments.labels import label_places, labelled
from tint.swatches.instruments.measurement import (
    MOST_MEASUREMENTS,
    NO_VALUE,
    VISIBLE_NM,
    Measurement,
    check_count,
    checked_wavelengths,
)
from tint.swatches.instruments.sheet import Sheet, check_decimals, is_wavelength_column, numbers
from tint.swatches.instruments.spectral_names import said_by, wavelength_in
from tint.swatches.tables import Row

_NOTHING = NO_VALUE | {""}
_VALUES = {
    "reflectance": ("reflectance", "reflectancefactor", "rfactor", "r", "reflectancepercent"),
    "transmittance": ("transmittance", "transmittancefactor", "tfactor", "t", "transmittancepercent"),
    "": ("value", "values", "spectrum", "intensity"),
}


def read_long(sheet: Sheet) -> list[Measurement]:
    """The measurements of a sheet.

    Raises
    ------
    InputError
        If a wavelength of one spectrum stands twice, a cell is no number, or there is no row.
    """
    columns = sheet.table.columns
    at = next(at for at, each in enumerate(columns) if is_wavelength_column(each))
    if not sheet.table.rows:
        raise InputError(sheet.file, "no row below the header", "a row for each wavelength")
    named = [(each, kind) for each in columns for kind, words in _VALUES.items() if bare(each) in words]
    kinds = [kind for _, kind in named]
    if len(set(kinds)) < len(kinds) or ("" in kinds and len(kinds) > 1):
        found = f"several columns of values, {listed(each for each, _ in named)}"
        raise InputError(sheet.file, found, "one, or one for reflectance and one for transmittance")
    if named:
        return [each for value, kind in named for each in _stacked(sheet, at, columns.index(value), kind)]
    return _side_by_side(sheet, at)


def _stacked(sheet: Sheet, at: int, value: int, quantity: str) -> list[Measurement]:
    """Rows of one name, backing and so on make one spectrum."""
    columns = sheet.table.columns
    check_decimals(sheet, (columns[at], columns[value]))
    labels = label_places(columns)
    groups: dict[tuple[str, ...], list[Row]] = {}
    for row in sheet.table.rows:
        groups.setdefault(tuple(row.cells[label] for label in labels.values()), []).append(row)
    if len(groups) > MOST_MEASUREMENTS:
        raise InputError(sheet.file, f"{len(groups)} samples", f"at most {MOST_MEASUREMENTS}")
    read = []
    for rows in groups.values():
        told = labelled(sheet, rows[0], labels)
        where = f"{sheet.file}, rows {rows[0].number} to {rows[-1].number} ({shown(told.name)})"
        check_count(len(rows), where)
        points = np.array([numbers(sheet, row, (at, value)) for row in rows])
        order = np.argsort(points[:, 0], kind="stable")
        read.append(
            replace(
                told,
                wavelengths=checked_wavelengths(points[order, 0].tolist(), where),
                values=points[order, 1],
                quantity=told.quantity or quantity,
                scale=_scale(columns[value]),
            )
        )
    return read


def _side_by_side(sheet: Sheet, at: int) -> list[Measurement]:
    """Every column but the wavelengths is a sample."""
    columns = sheet.table.columns
    samples = [place for place, each in enumerate(columns) if place != at and each]
    check_decimals(sheet, [columns[place] for place in (at, *samples)])
    check_count(len(sheet.table.rows), f"{sheet.file}, column {shown(columns[at])}")
    points = np.array([numbers(sheet, row, (at, *samples)) for row in sheet.table.rows])
    order = np.argsort(points[:, 0], kind="stable")
    wavelengths = checked_wavelengths(points[order, 0].tolist(), f"{sheet.file}, column {shown(columns[at])}")
    return [
        Measurement(
            name=" ".join(columns[place].split()),
            wavelengths=wavelengths,
            values=points[order, column],
            file=sheet.file,
            place=f"column {shown(columns[place])}",
        )
        for column, place in enumerate(samples, start=1)
    ]


def _scale(column: str) -> str:
    """The scale that the name of the column of values tells."""
    return "percent" if "%" in column or "percent" in column.lower() else ""


# CSV with a row for each measurement: a column for each wavelength, or Lab or XYZ alone.


def read_wide(sheet: Sheet) -> list[Measurement]:
    """The measurements of a sheet.

    Raises
    ------
    InputError
        If wavelengths stand twice, a cell is no number, or there is no row.
    """
    columns = sheet.table.columns
    spectral = sorted(
        (nm, at) for at, each in enumerate(columns) if (nm := wavelength_in(each, plain=True)) is not None
    )
    head = f"{sheet.file}, row {sheet.table.header_row}"
    wavelengths = checked_wavelengths([nm for nm, _ in spectral], head) if spectral else None
    places = [at for _, at in spectral]
    lab, xyz = triple_columns(columns)
    check_decimals(sheet, [*(columns[at] for at in places), *lab, *xyz])
    if not 0 < len(sheet.table.rows) <= MOST_MEASUREMENTS:
        found = f"{len(sheet.table.rows)} rows below the header"
        raise InputError(sheet.file, found, f"1 to {MOST_MEASUREMENTS}")
    # Without a column that is plainly the name, the first that is no number is taken.
    other = next((each for each in columns if each not in lab + xyz and wavelength_in(each, plain=True) is None), None)
    labels = label_places(columns)
    said, (light, observer) = said_by(columns[at] for at in places), view_in([*lab, *xyz])
    named_by_first = "name" not in labels and other is not None
    read = []
    for row in sheet.table.rows:
        own = row.cells[columns.index(other)] if named_by_first and other else ""
        start = labelled(sheet, row, labels, name=own or f"row {row.number}")
        start = replace(start, light=start.light or light, observer=start.observer or observer)
        if said.specular and start.specular not in ("", said.specular):
            found = f"the specular component is {start.specular} by the row and {said.specular} by the header"
            raise InputError(sheet.where(row), found, "one of the two")
        notes = (*start.notes, *([f"named by the column {shown(other)}"] if named_by_first and other else []))
        read.append(
            replace(
                start,
                quantity=start.quantity or said.quantity,
                scale=start.scale or said.scale,
                specular=start.specular or said.specular,
                geometry=start.geometry or OF_SPHERE.get(said.specular, ""),
                **_spectrum(sheet, row, places, wavelengths),
                lab=_values(sheet, row, [columns.index(each) for each in lab]),
                xyz=_values(sheet, row, [columns.index(each) for each in xyz]),
                notes=notes,
            )
        )
    return read


def _spectrum(sheet: Sheet, row: Row, places: Sequence[int], wavelengths: Array | None) -> dict[str, Any]:
    """Wavelengths and values of a row; a cell beyond the visible may say that nothing was read there."""
    if wavelengths is None:
        return {"wavelengths": None, "values": None}
    low, high = VISIBLE_NM
    read = [
        at
        for at, place in enumerate(places)
        if low <= wavelengths[at] <= high or row.cells[place].lower() not in _NOTHING
    ]
    return {"wavelengths": wavelengths[read], "values": _values(sheet, row, [places[at] for at in read])}


def _values(sheet: Sheet, row: Row, places: Sequence[int]) -> Array | None:
    return np.array(numbers(sheet, row, places)) if places else None
