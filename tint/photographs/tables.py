"""Tables that go with a photograph: spots, a maker's own chart, and the readings that a swatch folder takes over.

Who reads one raises InputError, which names row and column of its first fault.
"""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tint.colorimetry import PATCHES, difference, lab, lab_to_xyz, viewing, xyz_to_lab
from tint.errors import Gathered, InputError, did_you_mean, one_of, quoted
from tint.files import csv_table, neutral
from tint.materials import SEATS
from tint.photographs.colours import Photographed, SpotColour
from tint.photographs.places import Spot
from tint.photographs.squares import NUMBERS, SQUARES_FILE, Square
from tint.spectra import Array
from tint.swatches.records import PHOTOGRAPH
from tint.swatches.tables import Row, Table, check_marks, read_table
from tint.swatches.text import decoded, number, why_no_number
from tint.uncertainty import Z95

COLUMNS = ("name", "backing", "seat", "light", "observer", "source", "L", "a", "b")
_SPOT_COLUMNS = ("name", "backing", "seat", "x", "y", "size")
_SQUARE_COLUMNS = ("square", "name", "backing", "seat")
_OF_COLOURS = ("light", "observer", "L", "a", "b")
_STEP = 1e-4  # of X, Y or Z, a perfect white being 1


@dataclass(frozen=True, kw_only=True, eq=False)
class PhotoReading:
    """The colour of a swatch or a bare card over all its places in one photograph."""

    # as readings are named
    name: str
    backing: str
    seat: str
    lab: Array  # shape (3,): mean of its places [-]
    # CIEDE2000 that holds 95 times in 100: the mean of theirs, for what a photograph misses it misses at each [-]
    error: float


def photo_readings(told: Photographed) -> tuple[PhotoReading, ...]:
    """One reading for each name, backing and seat, in the order of the spots."""
    places: dict[tuple[str, str, str], list[SpotColour]] = {}
    for each in told.spots:
        places.setdefault((each.spot.name, each.spot.backing, each.spot.seat), []).append(each)
    return tuple(
        PhotoReading(
            name=name,
            backing=backing,
            seat=seat,
            lab=np.mean([each.lab for each in held], axis=0),
            error=float(np.mean([each.error for each in held])),
        )
        for (name, backing, seat), held in places.items()
    )


def repeatability(told: Photographed) -> float:
    """The `repeatability` that a folder of such photographs should state: of X, Y and Z, as shares of white's [-].

    Errors of X, Y and Z of one size and independent make, in a colour, the CIEDE2000 of the root of the sum of squares
    of what each alone makes. The figure is the size that makes what the photograph states of each of its readings, the
    root mean square of them. A photograph's errors are neither independent nor of one size; `tint fit` finds what
    this leaves out from the castings, and calls it model_error.
    """
    readings = photo_readings(told)
    lab = np.array([each.lab for each in readings])
    errors = np.array([each.error for each in readings])
    share = lab_to_xyz(lab, np.ones(3))
    beside = xyz_to_lab(share[:, None, :] + _STEP * np.eye(3), np.ones(3))
    slopes = difference(lab[:, None, :], beside) / _STEP
    sizes = errors / Z95 / np.sqrt(np.sum(slopes**2, axis=-1))
    return float(np.sqrt(np.mean(sizes**2)))


def colours_csv(told: Photographed) -> bytes:
    """The colours as a table that `tint import` takes over: one for each name, the mean of its places."""
    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\n")
    writer.writerow(COLUMNS)
    for each in photo_readings(told):
        named = (each.name, each.backing, each.seat, told.light, told.observer, PHOTOGRAPH)
        writer.writerow((*map(neutral, named), *(f"{value:.2f}" for value in each.lab + 0.0)))
    return held.getvalue().encode()


def read_spots(path: str | os.PathLike[str]) -> tuple[Spot, ...]:
    """Spots from a table with the columns name, x, y and, where wanted, backing, seat and size."""
    faults = Gathered(str(path))
    table = _table(Path(path), faults, first="name")
    _check_columns(table, _SPOT_COLUMNS, ("x", "y"), faults)
    check_marks(table, ("x", "y", "size"), faults)
    spots = [_spot(table, row, faults) for row in table.rows]
    if not spots:
        faults.grave("there is no spot in it")
    _stop(faults)
    return tuple(spots)


def _spot(table: Table, row: Row, faults: Gathered) -> Spot:
    named = _named(table, row, faults)
    x, y = (_number(table, row, column, faults) for column in ("x", "y"))
    size = _number(table, row, "size", faults) if table.cell(row, "size") else None
    return Spot(**named, x=x, y=y, size=size)


def _named(table: Table, row: Row, faults: Gathered) -> dict[str, Any]:
    """What a row names."""
    told = {column: table.cell(row, column) for column in ("name", "backing", "seat")}
    if not told["name"]:
        faults.grave("the cell is blank", row=row.number, column="name", mend="name the swatch or the card")
    if told["seat"] and told["seat"] not in SEATS:
        faults.grave(f"{quoted(told['seat'])} is no seat", row=row.number, column="seat", expected=one_of(SEATS))
    return told


def _check_columns(table: Table, known: tuple[str, ...], needed: tuple[str, ...], faults: Gathered) -> None:
    for column in (*table.columns, *needed):
        if column not in known:
            mend = did_you_mean(column, known)
            faults.grave("is no column of such a table", column=column, expected=one_of(known), mend=mend)
        elif column not in table.columns:
            faults.grave(f"there is no column {column}", expected=one_of(known))
    _stop(faults)


def read_squares(folder: str | os.PathLike[str]) -> dict[int, Square]:
    """What each label square of a swatch folder stands for, by its number; InputError where it has none."""
    path = Path(folder) / SQUARES_FILE
    if not path.exists():
        mend = f"run `tint start {folder} --squares`, and print what it writes"
        raise InputError(str(path), "is not there", "what each label square stands for", mend)
    faults = Gathered(str(path))
    table = _table(path, faults, first="square")
    _check_columns(table, _SQUARE_COLUMNS, _SQUARE_COLUMNS[:2], faults)
    squares: dict[int, Square] = {}
    for row in table.rows:
        cell = table.cell(row, "square")
        number = int(cell) if cell.isdecimal() and len(cell) < 4 else NUMBERS
        if number >= NUMBERS:
            expected = f"a whole number from 0 to {NUMBERS - 1}"
            faults.grave(f"{quoted(cell)} is no square", row=row.number, column="square", expected=expected)
        elif number in squares:
            mend = "give each row its own, as it is printed"
            faults.grave(f"square {number} stands twice", row=row.number, column="square", mend=mend)
        squares[number] = Square(number=number, **_named(table, row, faults))
    _stop(faults)
    return squares


def squares_csv(squares: Iterable[Square]) -> bytes:
    """The same table, as `read_squares` reads it."""
    return csv_table((_SQUARE_COLUMNS, *((each.number, each.name, each.backing, each.seat) for each in squares)))


def read_chart(path: str | os.PathLike[str], *, light: str, observer: int) -> tuple[Array, Array]:
    """A maker's own chart: CIELAB of its patches in a light, shape (24, 3), and XYZ of that light's white.

    `path`: a table of 24 rows with the column patch (A1 to D6 by row and column, or 1 to 24), and either wavelengths
        with reflectances from 0 to 1, or L, a, b with the light and observer that they hold for.
    InputError also where colours are of another light than the one asked for.
    """
    faults = Gathered(str(path))
    table = _table(Path(path), faults, first="patch")
    rows = _in_order(table, faults)
    waves = [column for column in table.columns if number(column) is not None]
    if not waves and not set(_OF_COLOURS) <= set(table.columns):
        expected = "expected wavelengths, or light, observer, L, a and b"
        faults.grave("there are no spectra and no colours", expected=expected)
    _stop(faults)
    numeric = waves or ["L", "a", "b"]
    check_marks(table, numeric, faults)
    values = np.array([[_number(table, row, column, faults) for column in numeric] for row in rows])
    _stop(faults)
    if not waves:
        _check_light(table, rows, light, observer, faults)
        _stop(faults)
        return values, viewing(np.arange(380.0, 781.0, 5.0), light=light, observer=observer).white
    wavelengths = np.array([float(column.replace(",", ".")) for column in waves])
    _check_spectra(wavelengths, values, faults)
    _stop(faults)
    view = viewing(wavelengths, light=light, observer=observer)
    return lab(values, view), view.white


def _in_order(table: Table, faults: Gathered) -> list[Row]:
    """The rows of patches A1 to D6."""
    names = {called.lower(): at for at in range(24) for called in (PATCHES[at], str(at + 1))}
    held: dict[int, Row] = {}
    for row in table.rows:
        cell = table.cell(row, "patch").lower()
        if cell not in names:
            expected = "A1 to D6 by row and column, or 1 to 24"
            faults.grave(f"{quoted(cell)} is no patch", row=row.number, column="patch", expected=expected)
        elif names[cell] in held:
            found = f"patch {PATCHES[names[cell]]} stands twice"
            faults.grave(found, row=row.number, column="patch", mend="keep one of the two")
        else:
            held[names[cell]] = row
    if len(held) < 24 and not faults.faults:
        missing = next(name for at, name in enumerate(PATCHES) if at not in held)
        faults.grave(f"{len(held)} patches, {missing} is missing", expected="expected 24", mend="give all of them")
    return [held[at] for at in sorted(held)]


def _check_light(table: Table, rows: list[Row], light: str, observer: int, faults: Gathered) -> None:
    for column, wanted in (("light", light), ("observer", str(observer))):
        for row in rows:
            cell = table.cell(row, column)
            if cell.upper() != wanted.upper():
                found = f"{quoted(cell)} is not {wanted}, which the colours are asked for in"
                expected = "expected that, since nothing is adapted"
                mend = f"give spectra, or ask for --{column} {cell}"
                faults.grave(found, row=row.number, column=column, expected=expected, mend=mend)


def _check_spectra(wavelengths: Array, values: Array, faults: Gathered) -> None:
    steps = np.diff(wavelengths)
    if len(wavelengths) < 3 or np.ptp(steps) > 1e-6 or steps[0] <= 0 or wavelengths[0] > 420 or wavelengths[-1] < 680:
        found = "its wavelengths do not run evenly from 420 nm or less to 680 nm or more"
        faults.grave(found, mend="give them by 10 nm")
    elif values.min() < 0 or values.max() > 1.2:
        found, mend = f"values from {values.min():g} to {values.max():g}", "divide by 100" * (values.max() <= 120)
        faults.grave(found, expected="reflectances from 0 to 1", mend=mend)


def _table(path: Path, faults: Gathered, *, first: str) -> Table:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(str(path), error.strerror or "cannot be read", mend="name a table as CSV") from error
    text = decoded(data, faults)
    table = None if text is None else read_table(text, faults, first=first)
    _stop(faults)
    assert table is not None  # else a fault says why
    return table


def _number(table: Table, row: Row, column: str, faults: Gathered) -> float:
    cell = table.cell(row, column)
    value = number(cell)
    if value is None:
        found, mend = why_no_number(cell)
        faults.grave(found, row=row.number, column=column, mend=mend)
    return np.nan if value is None else value


def _stop(faults: Gathered) -> None:
    if faults.any_grave:
        first = next(fault for fault in faults.faults if fault.grave)
        more = sum(fault.grave for fault in faults.faults) - 1
        rest = f"{first.mend}; and {more} more" if more else first.mend
        raise InputError(first.where, first.found, first.expected, rest.removeprefix("; "))
