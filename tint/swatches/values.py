"""The values of readings.csv: the wavelength grid, spectra that can be reflectances, and L*, a*, b*."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence

import numpy as np

from tint.colorimetry import lab_to_xyz
from tint.errors import Gathered, quoted
from tint.spectra import NEEDED_NM, STEP_NM, Array, grid_fault
from tint.swatches.instruments.words import said_by, wavelength_in
from tint.swatches.records import COLOUR_COLUMNS
from tint.swatches.tables import Row, Table
from tint.swatches.text import number, why_no_number, without_percent

# Reflectance, 0 to 1, but for the two counts; common practice, no source.
CEILING = 1.2  # above 1 a reading may be fluorescence or a drifted white; above this it is a slip
PERCENT = 2.0  # a row with several values above this was written in percent
_NOISE_SIGMAS = 3.0  # of repeatability that a value may lie below 0
_LEAST_NOISE = 0.002  # what the last of three printed decimals and a dark reading may do
_TOO_LIGHT = "a fluorescent pigment or a drifted white calibration does this"
_UNPREDICTED = "calibrate and measure again; tint cannot predict fluorescence"
_ROWS_TOLD = 3  # rows in percent that are told one by one; more are told at once


def wavelength_of(column: str) -> float | None:
    """The wavelength [nm] of a column of reflectances, as `400`, `400 nm` or `400 [%]`; None where it has none."""
    value = number(column)
    if value is not None:
        return value
    said = said_by([column])
    if said.quantity == "transmittance" or said.specular:
        return None
    return wavelength_in(column, plain=True)


@functools.lru_cache(maxsize=4096)  # every cell of a column asks
def in_percent(column: str) -> bool:
    """Whether the name of a column says that its values are percent."""
    return said_by([column]).scale == "percent"


def reflectance(cell: str, column: str) -> float | None:
    """The value in a cell as a fraction, where cell or column may say that it is percent; None when there is none."""
    value = number(without_percent(cell))
    return value if value is None or not (cell.endswith("%") or in_percent(column)) else value / 100.0


def check_grid(columns: Sequence[str], header_row: int, faults: Gathered) -> Array:
    """The wavelengths [nm] that name these columns, told when they are not a grid."""
    wavelengths = np.array([wavelength_of(column) for column in columns], dtype=np.float64)
    doubled = [at for at, value in enumerate(wavelengths) if value in wavelengths[:at]]
    found, column = grid_fault(wavelengths), _odd_column(wavelengths, columns)
    if doubled:
        column = columns[doubled[0]]
        # A column of the very same spelling is already told as one that stands twice.
        found = "" if column in columns[: doubled[0]] else f"{wavelengths[doubled[0]]:g} nm stands twice"
    if found:
        step, cover = (f"{low:g} to {high:g} nm" for low, high in (STEP_NM, NEEDED_NM))
        expected = f"expected wavelengths rising by one step of {step} that cover {cover}"
        mend = "export the readings again on such a grid"
        faults.grave(found, row=header_row, column=column, expected=expected, mend=mend)
    return wavelengths


def noise_margin(repeatability: float | None) -> float:
    """By which noise may carry a value past its bounds [reflectance, 0 to 1]."""
    return max(_NOISE_SIGMAS * (repeatability or 0.0), _LEAST_NOISE)


def checked_values(table: Table, columns: Sequence[str], *, margin: float, faults: Gathered) -> Mapping[int, Array]:
    """The spectra, shape (n_wavelengths,), of the rows that have one under wavelength columns, by row number.

    Noise may carry a value below 0, or above 1 untold, by `margin` [reflectance, 0 to 1].
    """
    wanted, columns = [table.columns.index(each) for each in columns], [table.with_unit(each) for each in columns]
    spectra = {}
    percent = []
    for row in table.rows if wanted else ():
        if not row.whole:
            continue
        texts = tuple(row.cells[at] for at in wanted)
        values = _numbers(row, texts, columns, faults)
        if values is None:
            continue
        if np.count_nonzero(values > PERCENT) > 1:
            percent.append((row.number, columns[int(np.argmax(values))], float(values.max())))
        elif _is_in_range(values, row, columns, margin, faults):
            spectra[row.number] = values
    told = percent if len(percent) <= _ROWS_TOLD else percent[:1]
    more = f" (and so in {len(percent) - 1} more rows)" if len(percent) > _ROWS_TOLD else ""
    for at, column, value in told:
        mend = "it looks like percent: divide by 100"
        faults.grave(f"reading {value:g} is outside 0 to 1{more}", row=at, column=column, mend=mend)
    return spectra


def _odd_column(wavelengths: Array, columns: Sequence[str]) -> str | None:
    """The column where the step departs from the usual one; None when the whole grid is at fault."""
    if wavelengths.size < 3:
        return None
    steps = np.diff(wavelengths)
    usual = float(np.median(steps))
    odd = np.abs(steps - usual) > 1e-6 * abs(usual)
    return columns[int(np.argmax(odd)) + 1] if odd.any() else None


def _numbers(row: Row, texts: tuple[str, ...], columns: Sequence[str], faults: Gathered) -> Array | None:
    values = [reflectance(text, column) for text, column in zip(texts, columns, strict=True)]
    signs = [text.endswith("%") or in_percent(column) for text, column in zip(texts, columns, strict=True)]
    if any(signs) and not all(signs):
        at = signs.index(False)
        found = f"{quoted(texts[at])} has no sign of percent, others of the row have one"
        faults.grave(found, row=row.number, column=columns[at], mend="write all in percent or none")
        return None
    bad = [at for at, value in enumerate(values) if value is None]
    if not bad:
        return np.array(values, dtype=np.float64)
    found, mend = why_no_number(texts[bad[0]])
    expected = "expected a number from 0 to 1"
    faults.grave(found + _and_more(len(bad) - 1), row=row.number, column=columns[bad[0]], expected=expected, mend=mend)
    return None


def _is_in_range(values: Array, row: Row, columns: Sequence[str], margin: float, faults: Gathered) -> bool:
    """Tell what no reading can be; False when the row cannot be used."""
    low, high = int(np.argmin(values)), int(np.argmax(values))
    if values[low] < -margin:
        found = f"reading {values[low]:g} is negative beyond noise" + _and_more(int(np.sum(values < -margin)) - 1)
        mend = "calibrate the instrument's zero and measure again"
        faults.grave(found, row=row.number, column=columns[low], expected="expected 0 to 1", mend=mend)
    if values[high] > CEILING:
        found = f"reading {values[high]:g} is outside 0 to 1" + _and_more(int(np.sum(values > CEILING)) - 1)
        mend = "correct it, or divide the row by 100 if it is in percent"
        faults.grave(found, row=row.number, column=columns[high], mend=mend)
    elif values[high] > 1 + margin:
        found = f"reading {values[high]:g} is above 1" + _and_more(int(np.sum(values > 1 + margin)) - 1)
        expected = f"expected 0 to 1; {_TOO_LIGHT}"
        faults.warn(found, row=row.number, column=columns[high], expected=expected, mend=_UNPREDICTED)
    return bool(values[low] >= -margin and values[high] <= CEILING)


def _and_more(count: int) -> str:
    return f" (and {count} more in the row)" if count else ""


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


def check_colour_columns(table: Table, faults: Gathered) -> None:
    """Tell what is missing of the three columns."""
    if set(XYZ_COLUMNS) <= set(table.columns) and not set(COLOUR_COLUMNS) & set(table.columns):
        mend = "convert them, or let tint import do so"
        faults.grave("the columns X, Y, Z", row=table.header_row, expected="expected L, a, b", mend=mend)
        return
    for column in COLOUR_COLUMNS:
        if column not in table.columns:
            faults.grave(f"the column {column} is missing", row=table.header_row, mend="add it to the header")


def checked_colours(table: Table, *, margin: float, faults: Gathered) -> Mapping[int, Array]:
    """L*, a*, b*, shape (3,), of the rows that have them, by row number.

    Noise may carry a luminance factor below 0, or above 1 untold, by `margin` [reflectance, 0 to 1].
    """
    if not set(COLOUR_COLUMNS) <= set(table.columns):
        return {}
    colours, lightest = {}, -np.inf
    for row in table.rows:
        values = _colour_numbers(row, table, faults) if row.whole else None
        if values is None:
            continue
        lightest = max(lightest, float(values[0]))
        if _is_a_colour(values, row, margin, faults):
            colours[row.number] = values
    if len(table.rows) > 1 and 0.0 < lightest <= 1.0:
        mend = "multiply L, a and b by 100"
        faults.grave(f"no L is above {lightest:g}", column="L", expected="expected 100 for a perfect white", mend=mend)
    return colours


def _colour_numbers(row: Row, table: Table, faults: Gathered) -> Array | None:
    """The three of a row; None when one is none, and then each such cell is told."""
    values = {column: number(table.cell(row, column)) for column in COLOUR_COLUMNS}
    for column, value in values.items():
        if value is None:
            found, mend = why_no_number(table.cell(row, column))
            expected = f"expected a number from {_RANGES[column]}"
            faults.grave(found, row=row.number, column=column, expected=expected, mend=mend)
    good = [value for value in values.values() if value is not None]
    return np.array(good, dtype=np.float64) if len(good) == len(values) else None


def _is_a_colour(values: Array, row: Row, margin: float, faults: Gathered) -> bool:
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
        expected = f"expected 0 to 100; {_TOO_LIGHT}"
        faults.warn(f"L {lightness:g} is above 100", row=row.number, column="L", expected=expected, mend=_UNPREDICTED)
    return good
