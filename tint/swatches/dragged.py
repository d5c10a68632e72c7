"""Cells that a spreadsheet filled in by itself, when one was dragged down over those below it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tint.errors import Gathered
from tint.spectra import Array
from tint.swatches.records import Reading, Swatch

# Rows from which it is asked: fewer measured thicknesses rise by one step by chance, and depths of planned moulds do.
_DEPTHS, _VALUES = 6, 4  # no source, chosen by eye
_BESIDE = 0.1  # reflectance by which the same rows differ a wavelength further; spectra of rubber are smooth


def warn_dragged_depths(swatches: Sequence[Swatch], faults: Gathered) -> None:
    """Ask about thicknesses that rise or fall by one step from row to row."""
    depths = np.array([each.thickness_mm for each in swatches])
    steps = np.diff(depths)
    first, count = _longest(np.isclose(np.diff(steps), 0.0, atol=1e-9) & ~np.isclose(steps[1:], 0.0, atol=1e-9))
    if count + 2 >= _DEPTHS:
        found = f"{count + 2} thicknesses in a row change by {steps[first]:+.3g} mm each, from {depths[first]:g} mm"
        mend = "was a cell dragged? write what was measured"
        faults.warn(found, row=swatches[first].row, column="thickness_mm", mend=mend)


def warn_dragged_values(readings: Sequence[Reading], wavelengths: Array, faults: Gathered) -> None:
    """Ask about a wavelength at which readings are alike to the last digit, and beside it are not."""
    if len(readings) < _VALUES:
        return
    values = np.array([each.values for each in readings])
    windows = np.lib.stride_tricks.sliding_window_view(values, _VALUES, axis=0)  # shape (n, n_wavelengths, _VALUES)
    spread = np.ptp(windows, axis=-1)
    beside = np.minimum(spread, _BESIDE)
    beside = np.maximum(np.pad(beside, ((0, 0), (1, 0)))[:, :-1], np.pad(beside, ((0, 0), (0, 1)))[:, 1:])
    for at in np.flatnonzero(((spread == 0.0) & (beside >= _BESIDE)).any(axis=0)):
        row = readings[int(np.flatnonzero((spread[:, at] == 0.0) & (beside[:, at] >= _BESIDE))[0])].row
        found = f"from here on at least {_VALUES} readings are the same to the last digit, and beside it they are not"
        mend = "was a cell dragged? take them from the instrument's file again"
        faults.warn(found, row=row, column=f"{wavelengths[at]:g}", mend=mend)


def _longest(holds: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> tuple[int, int]:
    """Where the longest run of what holds begins, and how long it is."""
    best, begun = (0, 0), 0
    for at, each in enumerate([*holds.tolist(), False]):
        if not each:
            best, begun = max(best, (at - begun, -begun)), at + 1
    return -best[1], best[0]
