"""L*, a*, b* in the one light and observer that a folder of colours holds: of its own rows, and of measurements."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from tint import colorimetry
from tint.colorimetry import OBSERVERS, Viewing, lab_to_xyz
from tint.errors import InputError
from tint.spectra import Array
from tint.swatches.declaration import light_name
from tint.swatches.gather import Gathered, quoted, shown
from tint.swatches.instruments.measurement import Measurement, on_grid
from tint.swatches.records import COLOUR_COLUMNS, COLOUR_GRID_NM
from tint.swatches.tables import Row, Table
from tint.swatches.text import number, why_no_number

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


# A measurement as such a colour.

# On the scale where a perfect white is 100; common practice, no source.
_SMALL_Y = 1.2  # no light part has all its Y below, where that of a perfect white is 100
_UNTOLD = "tell it in the file, in columns light and observer, or by --light and --observer"


def as_colour(measurement: Measurement, view: Viewing) -> tuple[Array, tuple[str, ...]]:
    """The colour of a measurement of reflectance, and how it came about.

    Parameters
    ----------
    view : Viewing
        The light and observer wanted, on 400, 410 ... 700 nm.

    Returns
    -------
    lab : ndarray, shape (3,)
        [-]
    notes : tuple of str
        In words; empty where the file tells this very colour.

    Raises
    ------
    InputError
        If it has no spectrum, and its Lab or XYZ hold for another light or observer, or nobody knows for which.
    """
    if measurement.values is not None:
        spectrum, note = on_grid(measurement, np.array(COLOUR_GRID_NM))
        made = f"L*, a*, b* made from the spectrum, for {view}"
        return colorimetry.lab(spectrum, view), (*([note] if note else []), made)
    name = shown(measurement.name)
    own = told_view(measurement)
    if own != (view.light, view.observer):
        found = f"the colour of {name} holds for {own[0]}, {own[1]}° observer"
        raise InputError(measurement.where, found, f"{view}", "export it for that, or export its spectrum")
    if measurement.lab is not None:
        return measurement.lab, measurement.notes
    if measurement.xyz is not None:
        made = "L*, a*, b* made from X, Y, Z"
        return colorimetry.xyz_to_lab(measurement.xyz, view.white), (*measurement.notes, made)
    raise InputError(measurement.where, f"{name} has neither spectrum nor colour", "one of the two")


def told_view(measurement: Measurement) -> tuple[str, int]:
    """Light and observer that the Lab and XYZ of a measurement hold for.

    Raises
    ------
    InputError
        If one of them is not told, or unknown.
    """
    words, degrees = measurement.light, measurement.observer
    both = re.fullmatch(r"([\w-]{1,20})\s*/\s*(2|10)\b.*", words[:80])  # D65/10°
    if both and not degrees:
        words, degrees = both[1], both[2]
    for what, told in (("light", words), ("observer", degrees)):
        if not told:
            found = f"no {what} is told for the colour of {shown(measurement.name)}"
            raise InputError(measurement.where, found, f"the {what} that it holds for", _UNTOLD)
    angle = re.fullmatch(r"0?(2|10)(?!\d).*", degrees.strip()[:80])
    if angle is None or int(angle[1]) not in OBSERVERS:
        raise InputError(measurement.where, f"the observer {quoted(degrees)} is not known", "2 or 10 (degrees)")
    try:
        return light_name(words), int(angle[1])
    except InputError as error:
        found = f"the light {quoted(words)} is not known"
        raise InputError(measurement.where, found, error.expected, error.mend) from error


def check_xyz_scale(measurements: Iterable[Measurement]) -> None:
    """Refuse X, Y, Z on a scale where those of a perfect white are about 1.

    Raises
    ------
    InputError
        If all of them that stand alone are that small.
    """
    alone = [each for each in measurements if each.values is None and each.lab is None and each.xyz is not None]
    tops = [float(each.xyz[1]) for each in alone if each.xyz is not None]
    if tops and max(tops) <= _SMALL_Y:
        found = f"no Y is above {max(tops):.3g}"
        raise InputError(alone[0].where, found, "100 for a perfect white", "export L*, a*, b*, or multiply by 100")
