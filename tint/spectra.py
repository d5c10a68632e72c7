"""The wavelength grid of readings, and spectra moved from one grid to another."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError

# What most is reckoned with: real numbers, numbers of rows and columns, what holds and what does not.
Array = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]

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
