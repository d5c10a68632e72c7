"""What a customer wants: a colour in a stated light, over a stated backing, and the opacity that goes with it."""

from __future__ import annotations

import csv
import difflib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint import colorimetry, spectra
from tint.colorimetry import Viewing
from tint.errors import InputError

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Target:
    """A colour and an opacity to reach.

    Parameters
    ----------
    lab : ndarray, shape (3,)
        CIELAB in the light, observer, backing and seat of the setting it is solved in [-].
    spectrum : ndarray, shape (n_wavelengths,), optional
        Reflectance, when the target was measured [-].
    contrast_ratio : float, optional
        To be reached [-].
    contrast_ratio_min, contrast_ratio_max : float, optional
        Not to be left [-].
    tolerance : float
        CIEDE2000 within which the colour counts as reached [-].
    source : str
        Where it came from, in words.
    """

    lab: Array
    spectrum: Array | None = None
    contrast_ratio: float | None = None
    contrast_ratio_min: float | None = None
    contrast_ratio_max: float | None = None
    tolerance: float = 1.0
    source: str = ""

    def __post_init__(self) -> None:
        lightness = float(self.lab[0])
        if np.shape(self.lab) != (3,) or not np.all(np.isfinite(self.lab)) or not 0.0 <= lightness <= 110.0:
            raise InputError("target", f"Lab {np.asarray(self.lab).tolist()}", "three numbers, L* from 0 to 100")
        for name in ("contrast_ratio", "contrast_ratio_min", "contrast_ratio_max"):
            value = getattr(self, name)
            if value is not None and not 0.0 < value <= 1.0:
                raise InputError(f"target, {name.replace('_', ' ')}", f"{value:g}", "more than 0 and at most 1")
        low, high = self.contrast_ratio_min, self.contrast_ratio_max
        if low is not None and high is not None and low > high:
            raise InputError("target", f"contrast ratio at least {low:g} and at most {high:g}", mend="swap them")
        if self.contrast_ratio is not None and (low is not None or high is not None):
            raise InputError("target", "a contrast ratio to reach and a bound on it", "one or the other")
        if not self.tolerance > 0.0:
            raise InputError("target, tolerance", f"{self.tolerance:g}", "more than 0")

    @property
    def asks_opacity(self) -> bool:
        """Whether anything was said of opacity."""
        return not (self.contrast_ratio is None and self.contrast_ratio_min is None and self.contrast_ratio_max is None)

    def opacity_miss(self, contrast_ratio: ArrayLike) -> Array:
        """How far contrast ratios, shape (...), are from what was asked, signed; 0 where it is met [-]."""
        ratio = np.asarray(contrast_ratio, dtype=float)
        if self.contrast_ratio is not None:
            return np.asarray(ratio - self.contrast_ratio)
        low = -np.inf if self.contrast_ratio_min is None else self.contrast_ratio_min
        high = np.inf if self.contrast_ratio_max is None else self.contrast_ratio_max
        return np.asarray(np.minimum(ratio - low, 0.0) + np.maximum(ratio - high, 0.0))


def target_from_lab(
    lab: ArrayLike,
    *,
    contrast_ratio: float | None = None,
    contrast_ratio_min: float | None = None,
    contrast_ratio_max: float | None = None,
    tolerance: float = 1.0,
    source: str = "",
    spectrum: Array | None = None,
) -> Target:
    """A target given as CIELAB, shape (3,)."""
    colour = np.asarray(lab, dtype=float)
    return Target(
        lab=colour,
        spectrum=spectrum,
        contrast_ratio=contrast_ratio,
        contrast_ratio_min=contrast_ratio_min,
        contrast_ratio_max=contrast_ratio_max,
        tolerance=tolerance,
        source=source or "Lab " + ", ".join(f"{x:g}" for x in colour),
    )


def target_from_srgb(code: str, view: Viewing, **opacity: float | None) -> Target:
    """A target given as a screen colour `#rrggbb`, adapted from the screen's white to the light of `view`.

    Other arguments are those of `target_from_lab`. A screen colour says nothing of opacity: ask for it.
    """
    lab = colorimetry.srgb_to_lab(colorimetry.hex_to_srgb(code), view)
    return _with_opacity(lab, opacity, source=f"screen colour {code}")


def target_from_reading(where: str, view: Viewing, *, wavelengths: ArrayLike, **opacity: float | None) -> Target:
    """A target that was measured: a row of a readings table.

    Parameters
    ----------
    where : str
        `FILE` or `FILE:NAME`: a CSV whose columns are wavelengths [nm], named by its first column.
    wavelengths : array_like, shape (n_wavelengths,)
        The palette's [nm]; the reading is brought onto them.

    Raises
    ------
    InputError
        If there is no such file or row, or the reading does not cover the wavelengths.
    """
    file, name = _split(where)
    grid, rows = _read_rows(file)
    chosen = [values for label, values in rows if name in ("", label)]
    if not chosen:
        labels = list(dict(rows))
        near = difflib.get_close_matches(name, labels, n=1)
        mend = f"did you mean {near[0]}?" if near else ""
        known = ", ".join(labels[:6]) + (" ..." if len(labels) > 6 else "")
        raise InputError(file, f"no reading is named `{name}`", f"one of {known}", mend)
    if not name and len({label for label, _ in rows}) > 1:
        raise InputError(file, f"it holds {len(rows)} readings", mend=f"name one, as in {file}:{rows[0][0]}")
    try:
        spectrum = spectra.resample(np.mean(chosen, axis=0), grid, onto=wavelengths)
    except InputError as error:
        raise InputError(file, error.found, error.expected, error.mend) from error
    return _with_opacity(colorimetry.lab(spectrum, view), opacity, source=where, spectrum=spectrum)


def _with_opacity(
    lab: Array, opacity: dict[str, float | None], *, source: str, spectrum: Array | None = None
) -> Target:
    given = {name: value for name, value in opacity.items() if value is not None}
    return target_from_lab(lab, source=source, spectrum=spectrum, **given)


def _split(where: str) -> tuple[str, str]:
    """FILE[:NAME], where FILE itself may hold a colon."""
    if Path(where).is_file() or ":" not in where:
        return where, ""
    file, _, name = where.rpartition(":")
    return file, name


def _read_rows(file: str) -> tuple[Array, list[tuple[str, Array]]]:
    try:
        with Path(file).open(encoding="utf-8-sig", newline="") as stream:
            lines = [row for row in csv.reader(stream) if any(cell.strip() for cell in row)]
    except OSError as error:
        raise InputError(file, f"cannot be read ({error.strerror})", mend="check the name") from error
    except (UnicodeDecodeError, csv.Error) as error:
        raise InputError(file, "is not a table in UTF-8", mend="save it as CSV, UTF-8") from error
    if len(lines) < 2:
        raise InputError(file, "holds no reading", "a header with wavelengths in nm, then a row a reading")
    columns = [at for at, cell in enumerate(lines[0]) if _number(cell) is not None]
    grid = np.array([float(lines[0][at]) for at in columns])
    fault = spectra.grid_fault(grid) if columns else "no column is a wavelength in nm"
    if fault:
        raise InputError(f"{file}, row 1", fault, "wavelengths in nm as columns")
    rows = []
    for number, row in enumerate(lines[1:], start=2):
        values = [_number(row[at]) if at < len(row) else None for at in columns]
        if any(value is None or not 0.0 <= value <= 1.5 for value in values):
            raise InputError(f"{file}, row {number}", "a cell is not a reflectance", "numbers from 0 to 1")
        rows.append((row[0].strip(), np.array(values, dtype=float)))
    return grid, rows


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None
