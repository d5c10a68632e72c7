"""A measurement brought onto the wavelengths of a folder, by the means that its own steps call for."""

from __future__ import annotations

import numpy as np

from tint.colorimetry.resampling import LEAST_FOR_SPRAGUE, resample_sprague, resample_wider
from tint.errors import InputError
from tint.spectra import STEP_NM, Array, resample
from tint.swatches.instruments.measurement import Measurement

_SAME = 1e-6  # nm


def on_grid(measurement: Measurement, wavelengths: Array) -> tuple[Array, str]:
    """Values on a grid, and how they came there.

    Parameters
    ----------
    measurement : Measurement
        With a spectrum.
    wavelengths : ndarray, shape (m,)
        The grid, in equal steps [nm].

    Returns
    -------
    values : ndarray, shape (m,)
        [-]
    note : str
        In words; empty where every wavelength of the grid was measured at that step.

    Raises
    ------
    InputError
        If there is no spectrum, it does not reach over the grid, or its steps are wider than 20 nm.
    """
    old, values = measurement.wavelengths, measurement.values
    if old is None or values is None:
        mend = "export the spectra too; colours alone go into a folder of colours, see docs/folder.md"
        raise InputError(measurement.where, "it holds Lab or XYZ only", "a spectrum", mend)
    steps = np.diff(old)
    if steps.max() > STEP_NM[1] + _SAME:
        found = f"a step of {steps.max():g} nm"
        raise InputError(measurement.where, found, f"at most {STEP_NM[1]:g} nm", "export the spectrum in finer steps")
    step = float(wavelengths[1] - wavelengths[0])
    is_even = bool(np.ptp(steps) <= 1e-6 * steps.max()) and old.size >= LEAST_FOR_SPRAGUE
    try:
        return _moved(values, old, wavelengths, step=step, is_even=is_even)
    except InputError as error:
        raise InputError(measurement.where, error.found, error.expected, error.mend) from error


def _moved(values: Array, old: Array, wavelengths: Array, *, step: float, is_even: bool) -> tuple[Array, str]:
    if not is_even:
        return resample(values, old, onto=wavelengths), "brought onto the grid by a cubic spline: its steps differ"
    own = float(old[1] - old[0])
    if own < step - _SAME:
        note = f"from {own:g} to {step:g} nm as means under triangles {step:g} nm wide at half their height"
        return resample_wider(values, old, onto=wavelengths), note
    at = np.rint((wavelengths - old[0]) / own)
    is_on_it = np.allclose(old[0] + at * own, wavelengths, rtol=0.0, atol=_SAME)
    how = f"from {own:g} to {step:g} nm" if own > step + _SAME else "shifted between its own wavelengths"
    note = "" if is_on_it else f"{how} by Sprague's polynomial (CIE 167)"
    return resample_sprague(values, old, onto=wavelengths), note
