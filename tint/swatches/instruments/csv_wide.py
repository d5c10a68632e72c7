"""CSV with a row for each measurement: a column for each wavelength, or Lab or XYZ alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tint.errors import InputError
from tint.spectra import Array
from tint.swatches.gather import shown
from tint.swatches.instruments.colour_names import triple_columns
from tint.swatches.instruments.labels import label_places, labelled
from tint.swatches.instruments.measurement import MOST_MEASUREMENTS, Measurement, checked_wavelengths
from tint.swatches.instruments.sheet import Sheet, check_decimals, numbers
from tint.swatches.instruments.spectral_names import wavelength_in
from tint.swatches.tables import Row


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
    named_by_first = "name" not in labels and other is not None
    read = []
    for row in sheet.table.rows:
        own = row.cells[columns.index(other)] if named_by_first and other else ""
        start = labelled(sheet, row, labels, name=own or f"row {row.number}")
        notes = (f"named by the column {shown(other)}",) if named_by_first and other else ()
        read.append(
            replace(
                start,
                wavelengths=wavelengths,
                values=_values(sheet, row, places),
                lab=_values(sheet, row, [columns.index(each) for each in lab]),
                xyz=_values(sheet, row, [columns.index(each) for each in xyz]),
                notes=notes,
            )
        )
    return read


def _values(sheet: Sheet, row: Row, places: Sequence[int]) -> Array | None:
    return np.array(numbers(sheet, row, places)) if places else None
