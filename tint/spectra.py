"""The wavelength grid of readings, spectra moved from one grid to another, and a reading picked from a table."""

from __future__ import annotations

import csv
import difflib
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError

Array = NDArray[np.float64]

NEEDED_NM = (400.0, 700.0)
STEP_NM = (1.0, 20.0)


def grid_fault(wavelengths: ArrayLike) -> str:
    """Say in words what keeps these wavelengths [nm] from being a grid for readings; empty when nothing does."""
    grid = np.asarray(wavelengths, dtype=float)
    if grid.ndim != 1 or grid.size < 2:
        return "fewer than two wavelengths"
    if not np.all(np.isfinite(grid)):
        return "a wavelength is not a number"
    steps = np.diff(grid)
    if np.any(steps <= 0):
        return "wavelengths do not rise from column to column"
    if np.ptp(steps) > 1e-6 * steps.max():
        at = int(np.argmax(np.abs(steps - np.median(steps))))
        return f"the step changes between {grid[at]:g} and {grid[at + 1]:g} nm"
    if not STEP_NM[0] - 1e-9 <= steps[0] <= STEP_NM[1] + 1e-9:
        return f"the step of {steps[0]:g} nm is outside {STEP_NM[0]:g} to {STEP_NM[1]:g} nm"
    if grid[0] > NEEDED_NM[0] or grid[-1] < NEEDED_NM[1]:
        return f"{grid[0]:g} to {grid[-1]:g} nm does not cover {NEEDED_NM[0]:g} to {NEEDED_NM[1]:g} nm"
    return ""


def resample(values: ArrayLike, wavelengths: ArrayLike, *, onto: ArrayLike) -> Array:
    """Move spectra onto another grid by a cubic spline.

    Parameters
    ----------
    values : array_like, shape (..., n)
        Spectra on `wavelengths`.
    wavelengths : array_like, shape (n,)
        [nm], rising.
    onto : array_like, shape (m,)
        The grid wanted [nm].

    Returns
    -------
    ndarray, shape (..., m)

    Raises
    ------
    InputError
        If `onto` reaches past the ends of `wavelengths`: nothing is extrapolated.

    Notes
    -----
    CIE 15 allows third-order interpolation of regularly sampled spectra.
    """
    old, new = np.asarray(wavelengths, dtype=float), np.asarray(onto, dtype=float)
    spectra = np.asarray(values, dtype=float)
    if old.shape == new.shape and np.allclose(old, new, rtol=0.0, atol=1e-9):
        return spectra
    if new[0] < old[0] - 1e-9 or new[-1] > old[-1] + 1e-9:
        raise InputError(
            "spectrum",
            f"it spans {old[0]:g} to {old[-1]:g} nm",
            f"{new[0]:g} to {new[-1]:g} nm is needed",
            "measure the missing wavelengths; tint does not guess them",
        )
    from scipy.interpolate import CubicSpline  # 0.3 s to import, and most spectra lie on the grid already

    return np.asarray(CubicSpline(old, spectra, axis=-1)(new))


def read_spectrum(where: str, *, onto: ArrayLike, told: Mapping[str, str] | None = None) -> Array:
    """One reading from a table, the mean of the rows of its name, on the grid wanted.

    Parameters
    ----------
    where : str
        `FILE` or `FILE:NAME`: a CSV whose columns are wavelengths [nm], named by its first column.
    onto : array_like, shape (m,)
        [nm]
    told : mapping of str to str, optional
        Columns and what must stand in them, as `{"backing": "white"}`, where the table has such columns. An empty cell
        says nothing and counts.

    Returns
    -------
    ndarray, shape (m,)
        Reflectance [-].

    Raises
    ------
    InputError
        If there is no such file or row, or the reading does not cover the wavelengths.
    """
    file, name = _split(where)
    table = _read_table(file)
    grid = _grid(file, table[0])
    rows = [(number, row) for number, row in enumerate(table[1:], start=2) if name in ("", row[0].strip())]
    labels = list(dict.fromkeys(row[0].strip() for row in table[1:]))
    if not rows:
        near = difflib.get_close_matches(name, labels, n=1)
        mend = f"did you mean {near[0]}?" if near else ""
        known = ", ".join(labels[:6]) + (" ..." if len(labels) > 6 else "")
        raise InputError(file, f"no reading is named `{name}`", f"one of {known}", mend)
    if not name and len(labels) > 1:
        raise InputError(file, f"it holds {len(table) - 1} readings", mend=f"name one, as in {file}:{labels[0]}")
    values = [_values(file, number, row, grid) for number, row in _fitting(file, table[0], rows, told or {})]
    chosen = np.array(values, dtype=float)
    try:
        return resample(chosen.mean(axis=0), [nm for _, nm in grid], onto=onto)
    except InputError as error:
        raise InputError(file, error.found, error.expected, error.mend) from error


def _split(where: str) -> tuple[str, str]:
    """FILE[:NAME], where FILE itself may hold a colon."""
    if Path(where).is_file() or ":" not in where:
        return where, ""
    file, _, name = where.rpartition(":")
    return file, name


def _read_table(file: str) -> list[list[str]]:
    try:
        with Path(file).open(encoding="utf-8-sig", newline="") as stream:
            lines = [row for row in csv.reader(stream) if any(cell.strip() for cell in row)]
    except OSError as error:
        raise InputError(file, f"cannot be read ({error.strerror})", mend="check the name") from error
    except (UnicodeDecodeError, csv.Error) as error:
        raise InputError(file, "is not a table in UTF-8", mend="save it as CSV, UTF-8") from error
    if len(lines) < 2:
        raise InputError(file, "holds no reading", "a header with wavelengths in nm, then a row a reading")
    return lines


def _grid(file: str, header: list[str]) -> list[tuple[int, float]]:
    """Columns that are wavelengths: their places and nm."""
    columns = [(at, nm) for at, cell in enumerate(header) if (nm := _number(cell)) is not None]
    fault = grid_fault([nm for _, nm in columns]) if columns else "no column is a wavelength in nm"
    if fault:
        raise InputError(f"{file}, row 1", fault, "wavelengths in nm as columns")
    return columns


def _fitting(
    file: str, header: list[str], rows: list[tuple[int, list[str]]], told: Mapping[str, str]
) -> list[tuple[int, list[str]]]:
    """The rows in which the columns hold what they must."""
    places = {name: at for at, cell in enumerate(header) if (name := cell.strip().lower()) in told}
    for name, at in places.items():
        cells = [row[at].strip() if at < len(row) else "" for _, row in rows]
        kept = [row for row, cell in zip(rows, cells, strict=True) if cell in ("", told[name])]
        if not kept:
            found = f"{rows[0][1][0].strip()} has {name} {' and '.join(sorted(set(cells)))}"
            raise InputError(file, found, f"a reading with {name} {told[name]}")
        rows = kept
    return rows


def _values(file: str, number: int, row: list[str], grid: list[tuple[int, float]]) -> list[float]:
    values = [_number(row[at]) if at < len(row) else None for at, _ in grid]
    read = [value for value in values if value is not None and 0.0 <= value <= 1.5]
    if len(read) < len(values):
        raise InputError(f"{file}, row {number}", "a cell is not a reflectance", "numbers from 0 to 1")
    return read


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None
