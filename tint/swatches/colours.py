"""The numbers of readings.csv where it holds colours: L*, a*, b* that a colorimeter or a photograph can give."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from tint.colorimetry import lab_to_xyz
from tint.spectra import Array
from tint.swatches.gather import Gathered
from tint.swatches.records import COLOUR_COLUMNS
from tint.swatches.tables import Row, Table, number, why_no_number

LIGHTEST, MOST_CHROMA = 105.0, 150.0
_FOOT = 24389.0 / 27.0  # L* by Y/Yn where both are small (CIE 15:2018)
_AT_WHITE = 116.0 / 3.0  # likewise at the perfect white
_RANGES = {"L": "0 to 100", **dict.fromkeys("ab", f"-{MOST_CHROMA:g} to {MOST_CHROMA:g}")}
XYZ_COLUMNS = ("X", "Y", "Z")


def luminance(lab: Array) -> Array:
    """Luminance factor of colours, shape (..., 3) to (...) [reflectance, 0 to 1]."""
    return lab_to_xyz(lab, np.ones(3))[..., 1]


def are_meant(columns: Sequence[str]) -> bool:
    """Whether a header without wavelengths means colours, however it spells them."""
    words = {column.lower().rstrip("*") for column in columns}
    return len(words & {"l", "a", "b"}) > 1 or len(words & {"x", "y", "z"}) > 1


def is_xyz(columns: Sequence[str]) -> bool:
    """Whether a header has X, Y and Z in place of L, a and b."""
    return set(XYZ_COLUMNS) <= set(columns) and not set(COLOUR_COLUMNS) & set(columns)


def check_colour_columns(table: Table, faults: Gathered) -> None:
    """Tell what is missing of the three columns."""
    if is_xyz(table.columns):
        faults.grave(
            "the columns X, Y, Z",
            row=table.header_row,
            expected="expected L, a, b",
            mend="convert them, or let tint import do so",
        )
        return
    for column in COLOUR_COLUMNS:
        if column not in table.columns:
            faults.grave(f"the column {column} is missing", row=table.header_row, mend="add it to the header")


def checked_colours(table: Table, *, margin: float, faults: Gathered) -> Mapping[int, Array]:
    """The colours of the rows that have one, by row number.

    Parameters
    ----------
    margin : float
        By which noise may carry a luminance factor below 0, or above 1 untold [reflectance, 0 to 1].
    faults : Gathered
        Takes what is wrong.

    Returns
    -------
    dict of int to ndarray, shape (3,)
        L*, a*, b* [-].
    """
    if not set(COLOUR_COLUMNS) <= set(table.columns):
        return {}
    colours, lightest = {}, -np.inf
    for row in table.rows:
        values = _numbers(row, table, faults) if row.whole else None
        if values is None:
            continue
        lightest = max(lightest, float(values[0]))
        if _is_in_range(values, row, margin, faults):
            colours[row.number] = values
    if len(table.rows) > 1 and 0.0 < lightest <= 1.0:
        faults.grave(
            f"no L is above {lightest:g}",
            column="L",
            expected="expected 100 for a perfect white",
            mend="multiply L, a and b by 100",
        )
    return colours


def _numbers(row: Row, table: Table, faults: Gathered) -> Array | None:
    """The three of a row; None when one is none, and then each such cell is told."""
    values = {column: number(table.cell(row, column)) for column in COLOUR_COLUMNS}
    for column, value in values.items():
        if value is None:
            found, mend = why_no_number(table.cell(row, column))
            expected = f"expected a number from {_RANGES[column]}"
            faults.grave(found, row=row.number, column=column, expected=expected, mend=mend)
    good = [value for value in values.values() if value is not None]
    return np.array(good, dtype=np.float64) if len(good) == len(values) else None


def _is_in_range(values: Array, row: Row, margin: float, faults: Gathered) -> bool:
    """Tell what no colour can be; False when the row cannot be used."""
    lightness = float(values[0])
    good = True
    for column, value in zip(COLOUR_COLUMNS, values, strict=True):
        low, high = (-_FOOT * margin, LIGHTEST) if column == "L" else (-MOST_CHROMA, MOST_CHROMA)
        if not low <= value <= high:
            is_dark = column == "L" and value < low
            mend = "calibrate the instrument's zero and measure again" if is_dark else "is it CIELAB? correct it"
            expected = f"expected {_RANGES[column]}"
            faults.grave(f"{column} {value:g}", row=row.number, column=column, expected=expected, mend=mend)
            good = False
    if good and lightness > 100.0 + _AT_WHITE * margin:
        faults.warn(
            f"L {lightness:g} is above 100",
            row=row.number,
            column="L",
            expected="expected 0 to 100; a fluorescent pigment or a drifted white calibration does this",
            mend="calibrate and measure again; tint cannot predict fluorescence",
        )
    return good
