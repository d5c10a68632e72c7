"""Spectra made of others or of a colour, on a finer grid or a coarser one; and those of real objects and of the chart.

References
----------
CIE 167:2005, Recommended practice for tabulating spectral data for use in colour computations: Sprague's fifth-order
polynomial between values at equal steps. CIE 214:2014, Effect of instrumental bandpass functions and measurement
interval on spectral quantities: a triangle as wide at half its height as the step. What they say is from memory.
Finlayson, Mackiewicz and Hurlbert (2015), IEEE Trans. Image Process. 24, 1460: root-polynomial colour correction. The
chart's spectra are the mean of thirty, as colour-science ships them.
"""

from __future__ import annotations

import functools
import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.colorimetry.cielab import lab as lab_of
from tint.colorimetry.cielab import lab_to_xyz
from tint.colorimetry.weights import Viewing, from_colour_science, viewing
from tint.errors import InputError
from tint.files import Array

LEAST_FOR_SPRAGUE = 6  # values that the polynomial and its ends need

_REACH = 12  # steps to keep to either side, more than the polynomial and its ends reach


def resample_sprague(values: ArrayLike, wavelengths: ArrayLike, *, onto: ArrayLike) -> Array:
    """Spectra at wavelengths between those measured, by Sprague's polynomial.

    `values` (..., n): spectra on `wavelengths` [-].
    `wavelengths`, `onto` (n,) and (m,): rising in equal steps, 6 at least; and within them [nm].
    Returns shape (..., m)
    Raises InputError if the steps differ, values are too few, or `onto` reaches past them: nothing is extrapolated.

    Slopes and curvatures are equal where two pieces meet. Exact for polynomials up to the fourth degree, but for the
    first and last two intervals: there the values that the method invents past the ends keep straight lines only. The
    result is linear in the values, so it is a matrix, which colour-science makes once for a pair of grids.
    """
    old, new = _grids(wavelengths, onto)
    return _sprague(np.asarray(values, dtype=float), old, new)


def resample_wider(values: ArrayLike, wavelengths: ArrayLike, *, onto: ArrayLike) -> Array:
    """Spectra as an instrument of a coarser step would have read them: means under a triangle of that step.

    Arguments, result and errors are those of `resample_sprague`, but that `onto` rises in equal, coarser steps.

    The triangle is as wide at half its height as the new step. A sum of narrow triangles, each one old step wide,
    weighted by the height of the wide one, is that wide one exactly: an instrument whose bandpass is its step reads
    the same by either way. Where the new grid does not fall on the old one, Sprague's polynomial is taken first.
    Towards an end of the measured range the triangle narrows, evenly on both sides, so that straight spectra stay as
    they are.
    """
    old, new = _grids(wavelengths, onto)
    spectra = np.asarray(values, dtype=float)
    step = float(new[1] - new[0])
    parts = max(1, math.ceil(step / float(old[1] - old[0]) - 1e-6))
    fine = step / parts
    before, behind = (math.floor(room / fine + 1e-6) for room in (new[0] - old[0], old[-1] - new[-1]))
    between = new[0] - before * fine + fine * np.arange(before + behind + parts * (new.size - 1) + 1)
    between = np.clip(between, old[0], old[-1])  # rounding alone may have left them
    matrix = _triangles(between.size, before + parts * np.arange(new.size), parts)
    return np.asarray(_sprague(spectra, old, between) @ matrix.T)


def _triangles(count: int, centres: NDArray[np.intp], parts: int) -> Array:
    """Weights, shape (len(centres), count): triangles of `parts` steps to either side, narrower towards the ends."""
    half = np.minimum(parts, np.minimum(centres, count - 1 - centres) + 1)[:, None]
    height = np.maximum(half - np.abs(np.arange(count) - centres[:, None]), 0)
    return np.asarray(height / half**2, dtype=np.float64)


def _grids(wavelengths: ArrayLike, onto: ArrayLike) -> tuple[Array, Array]:
    old, new = np.asarray(wavelengths, dtype=float), np.asarray(onto, dtype=float)
    steps = np.diff(old)
    if old.size < LEAST_FOR_SPRAGUE or np.ptp(steps) > 1e-6 * steps.max():
        raise InputError("spectrum", f"{old.size} wavelengths, not in equal steps or too few", "6 in equal steps")
    if new[0] < old[0] - 1e-9 or new[-1] > old[-1] + 1e-9:
        mend = "measure the missing wavelengths; tint does not guess them"
        raise InputError("spectrum", f"it spans {old[0]:g} to {old[-1]:g} nm", f"{new[0]:g} to {new[-1]:g} nm", mend)
    return old, new


def _sprague(spectra: Array, old: Array, new: Array) -> Array:
    """`resample_sprague`, or the very values measured where every wavelength is among them."""
    step = (old[-1] - old[0]) / (old.size - 1)
    at = np.rint((new - old[0]) / step).astype(int)
    if np.allclose(old[0] + at * step, new, rtol=0.0, atol=1e-6):
        return np.asarray(spectra[..., at])
    # A value acts on six intervals only, so what lies further off is left out of the matrix.
    first, last = max(0, int(at.min()) - _REACH), min(old.size, int(at.max()) + _REACH + 1)
    return np.asarray(spectra[..., first:last] @ _sprague_matrix(old[first:last], new).T)


def _sprague_matrix(old: Array, new: Array) -> Array:
    """Matrix, shape (m, n), from values on one grid to values between them."""

    def build() -> dict[str, Array]:
        from colour.algebra import SpragueInterpolator

        inside = np.clip(new, old[0], old[-1])
        columns = [SpragueInterpolator(old, unit)(inside) for unit in np.eye(old.size)]
        return {"matrix": np.stack([np.asarray(column, dtype=float) for column in columns], axis=-1)}

    return from_colour_science(f"sprague 1, {old.tolist()} onto {new.tolist()}", build)["matrix"]


_STEPS, _LONGEST, _DONE = 60, 1.0, 1e-11
_FARTHEST = 9.0  # of z, one part in 10^8 from 0 or 1: past it colours lose their slope, as where none is light enough
_NEAREST = 1e-4  # to 0 and 1, of a spectrum that is to be bent
_FIRMNESS = 1e-9  # keeps colours that no spectrum has from breaking the solver


def smoothest_spectrum(lab: ArrayLike, view: Viewing, *, near: ArrayLike | None = None) -> Array:
    """Reflectance between 0 and 1 that has a colour, and otherwise the least slope.

    `lab` (..., 3): in the view's light [-].
    `near` (..., n_wavelengths): reflectance whose shape is to be kept as far as the colour allows [-].
    Returns shape (..., n_wavelengths) [-]. A colour that no reflectance has is met as nearly as the search came.

    With ``R = (1 + tanh z) / 2`` the sum of squared differences of z (of z less that of `near`) between neighbouring
    wavelengths is least, the three tristimulus values held by Lagrange multipliers, solved by Newton's method: the
    least hyperbolic tangent slope squared of S. A. Burns, Numerical methods for smoothest reflectance reconstruction,
    Color Res. Appl. 45 (2020), 8 (from memory).
    """
    target = lab_to_xyz(lab, view.white)
    n = view.weights.shape[0]
    bend = np.diff(np.eye(n), axis=0)
    rough = 2.0 * bend.T @ bend
    level = np.clip(target[..., 1] / 100.0, 0.005, 0.995)
    start = np.zeros(n) + level[..., None] if near is None else np.asarray(near, dtype=float)
    z = np.arctanh(2.0 * np.clip(start, _NEAREST, 1.0 - _NEAREST) - 1.0)
    kept = np.zeros_like(z) if near is None else z
    multiplier = np.zeros(target.shape)
    for _ in range(_STEPS):
        step = _newton(z, z - kept, multiplier, target, rough, view.weights)
        longest = np.abs(step[..., :n]).max(axis=-1, keepdims=True)
        step *= np.minimum(1.0, _LONGEST / np.maximum(longest, 1e-300))
        z, multiplier = np.clip(z + step[..., :n], -_FARTHEST, _FARTHEST), multiplier + step[..., n:]
        if longest.max(initial=0.0) < _DONE:
            break
    return np.asarray(0.5 * (1.0 + np.tanh(z)))


def _newton(z: Array, bent: Array, multiplier: Array, target: Array, rough: Array, weights: Array) -> Array:
    """One step of z and the multipliers, shape (..., n_wavelengths + 3)."""
    n = z.shape[-1]
    t = np.tanh(z)
    slope = 0.5 * (1.0 - t**2)
    pull = multiplier @ weights.T
    jacobian = np.zeros((*z.shape[:-1], n + 3, n + 3))
    jacobian[..., :n, :n] = rough + np.eye(n) * (-t * 2.0 * slope * pull)[..., None, :]
    jacobian[..., :n, n:] = slope[..., None] * weights
    jacobian[..., n:, :n] = np.swapaxes(slope[..., None] * weights, -1, -2)
    jacobian[..., n:, n:] = -_FIRMNESS * np.eye(3)
    missed = np.concatenate((bent @ rough + pull * slope, 0.5 * (1.0 + t) @ weights - target), axis=-1)
    return np.asarray(np.linalg.solve(jacobian, -missed[..., None])[..., 0])


# Reflectances of real objects: what a spectrum is likely to look like before it is measured.


def object_spectra(wavelengths: ArrayLike) -> Array:
    """Reflectance of 99 objects that stand for paints, textiles, plastics, plants, skin and print.

    `wavelengths` (n_wavelengths,): within 380 to 780 nm; linear between every 5 nm [nm].
    Returns shape (99, n_wavelengths) [-]

    The test colour samples of CIE 224:2017, Colour Fidelity Index for accurate scientific use, which were chosen from
    105,000 measured objects so as to be even in colour and in wavelength. colour-science ships them.
    """
    kept = from_colour_science("objects 1", _build_objects)
    return np.stack([np.interp(np.asarray(wavelengths), kept["wavelengths"], each) for each in kept["reflectance"]])


def _build_objects() -> dict[str, Array]:
    import colour
    from colour.quality.cfi2017 import load_TCS_CIE2017

    samples = load_TCS_CIE2017(colour.SpectralShape(380, 780, 5))
    return {
        "wavelengths": np.asarray(samples.wavelengths, dtype=float),
        "reflectance": np.asarray(samples.values, dtype=float).T,
    }


# The colour chart of 4 by 6 patches, and root polynomials that bring a camera to it.

COLUMNS, ROWS = 6, 4
# By row and column, the chart lying so that its row of greys is D and begins with white: A1 is at the upper left.
PATCHES = tuple(f"{row}{column}" for row in "ABCD" for column in range(1, COLUMNS + 1))
# Their key among the charts of colour-science.
_SPECTRA = "BabelColor Average"
GREYS = slice(18, 24)  # D1, white, to D6, black
DEGREES = (1, 2, 3, 4)


def _build_chart() -> dict[str, Array]:
    import colour
    from colour.characterisation import polynomial_expansion_Finlayson2015 as expanded

    # The powers of R, G and B in each term: what it becomes where one of them is e and the others are 1.
    powers = {
        f"powers {degree}": np.log(np.stack([expanded(np.exp(unit), degree, True) for unit in np.eye(3)], axis=-1))
        for degree in DEGREES
    }
    spectra = list(colour.SDS_COLOURCHECKERS[_SPECTRA].values())
    return powers | {
        "wavelengths": np.asarray(spectra[0].wavelengths, dtype=float),
        "spectra": np.stack([np.asarray(each.values, dtype=float) for each in spectra]),
    }


@functools.lru_cache(maxsize=1)
def _chart() -> dict[str, Array]:
    return from_colour_science("chart 1", _build_chart)


def chart_spectra() -> tuple[Array, Array]:
    """Wavelengths [nm], and the reflectances of the 24 patches in the order of `PATCHES`, shape (24, n) [0 to 1]."""
    return _chart()["wavelengths"], _chart()["spectra"]


def chart_lab(*, light: str = "D65", observer: int = 10) -> Array:
    """CIELAB of the 24 patches in a light, from their spectra, so that nothing is adapted; shape (24, 3) [-].

    Raises InputError for an unknown light or observer.
    """
    wavelengths, spectra = chart_spectra()
    return lab_of(spectra, viewing(wavelengths, light=light, observer=observer))


def root_terms(rgb: Array, degree: int) -> Array:
    """Root-polynomial terms of camera responses, shape (..., 3) to (..., terms) [-].

    `rgb` (..., 3): responses linear in light, above zero [-].
    `degree`: 1 (no more than a matrix) to 4.

    Every term is a product of powers that sum to one, as sqrt(RG): the terms of twice the light are twice the terms, so
    a correction that was fitted at one exposure holds at another.
    """
    return np.asarray(np.exp(np.log(rgb) @ _chart()[f"powers {degree}"].T))


def root_matrix(rgb: Array, xyz: Array, degree: int, *, use: Array | None = None) -> Array:
    """The matrix that brings root-polynomial terms nearest to XYZ, each patch's colour counting as the eye would.

    `rgb`, `xyz` (..., n, 3): responses linear in light, and the tristimulus values they stand for [-].
    `degree`: 1 to 4.
    `use` (..., n): 1 for a patch that counts, 0 for one that is left out [-].
    Returns shape (..., terms, 3): `root_terms(rgb, degree)` times this is XYZ.

    Least squares, as Finlayson and others 2015, but with each patch divided by Y^(2/3): L* follows Y^(1/3), so an equal
    difference in XYZ is worth so much more in a dark patch.
    """
    weight = np.maximum(xyz[..., 1:2], 1e-6) ** (-2.0 / 3.0)
    if use is not None:
        weight = weight * use[..., None]
    return np.asarray(np.linalg.pinv(root_terms(rgb, degree) * weight) @ (xyz * weight))
