"""How far a prediction may be off: the palette's covariance, thickness, doses, and what leaving out taught.

Everything is carried to first order into (L*, a*, b*, contrast ratio), whose covariance gives the two errors that are
shown: the CIEDE2000 radius and the half width of the contrast ratio, each to hold 95 times in 100 for a casting made
and read as the swatches were.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint import colorimetry
from tint.colorimetry import Viewing
from tint.materials import Blend
from tint.palette import Palette, beyond, bold, of_pigment, widening

Array = NDArray[np.float64]

# Standard deviation of a component's g as diffuse light tells it, where its phase function is not that of the model:
# tests/figures/clarity.py, workshops 1000 to 1026.
_PHASE = 0.07
_GREY = 0.3  # reflectance at which noise and the model's own error are set side by side: the middle of lightness
_MOST_MISFIT = 2.0  # times the noise's variance: more says that the noise is stated too small
UNKNOWN = 100.0  # CIEDE2000, from black to white: an error of that and more says that nothing is known
_LEAST_LIGHT = 1e-9  # transmittance below which there is nothing to be hazy
Z95 = 1.959964  # standard deviations of a normal error within which 95 of 100 lie; stated errors are such half widths
Z95_ONE_SIDED = 1.644854


@dataclass(frozen=True, eq=False)
class ColourError:
    """Covariance of L*, a*, b* and contrast ratio, shape (4, 4), and what is shown of it.

    `scatter` is the radius that casting and reading the very same blend again would have: no error of the palette.
    `of_reading` is the half width of the contrast ratio that the noise of its readings alone makes.
    """

    covariance: Array
    radius: float
    contrast_ratio: float
    scatter: float
    of_reading: float


def of_colour(
    palette: Palette,
    base: str,
    loadings: Array,
    reflectance: Array,
    slopes: Array,
    *,
    thickness_mm: float,
    view: Viewing,
    has_pair: bool,
) -> ColourError:
    """Error of one prediction.

    Parameters
    ----------
    loadings : ndarray, shape (n_pigments,)
        [%]
    reflectance : ndarray, shape (1 or 3, n_wavelengths)
        Over the backing asked for, then (with `has_pair`) over the darkest and the lightest [-].
    slopes : ndarray, shape (1 or 3, 5, n_wavelengths)
        By K, S, M, Q and thickness.
    thickness_mm : float
        [mm]
    """
    lab, by_reading = colorimetry.lab_slopes(reflectance[0], view)
    # Derivatives of (L*, a*, b*, contrast ratio) by K, S, M, Q and thickness at each wavelength: (4, 5, n_wavelengths).
    along = np.zeros((4, 5, palette.wavelengths.size))
    along[:3] = by_reading[:, None, :] * slopes[0]
    if has_pair:
        along[3] = _contrast_slopes(reflectance[1:], slopes[1:], view)
    again = _of_making(palette, base, loadings, along)
    noise = _of_reading(palette, by_reading, reflectance, view, has_pair=has_pair)
    again += noise
    widened = widened_by(palette, palette.blend(base, loadings), thickness_mm)
    covariance = widened * (again + of_palette(palette, along[:, :4], palette.shares(base, loadings)))
    half_width, of_reading = (
        Z95 * float(np.sqrt(each)) if has_pair else np.nan for each in (covariance[3, 3], widened * noise[3, 3])
    )
    known, scatter = (float(np.fmin(radius(lab, each[:3, :3]), UNKNOWN)) for each in (covariance, again))
    return ColourError(covariance, known, min(half_width, 1.0) if has_pair else half_width, scatter, of_reading)


@dataclass(frozen=True, eq=False)
class Light:
    """Luminous transmittance, regular luminous transmittance and haze, with half widths that hold 95 times in 100 [-].

    NaN where the palette cannot tell them.
    """

    total: float
    regular: float
    haze: float
    total_error: float
    regular_error: float
    haze_error: float


def of_light(
    palette: Palette,
    base: str,
    loadings: Array,
    passed: tuple[Array, Array],
    slopes: tuple[Array, Array],
    *,
    thickness_mm: float,
    view: Viewing,
) -> Light:
    """What a casting lets through in all and as a beam, and how well that is known.

    Parameters
    ----------
    passed : pair of ndarray, shape (n_wavelengths,)
        Total and regular transmittance [-].
    slopes : pair of ndarray, shape (5, n_wavelengths)
        Of each by K, S, M, Q and thickness.
    """
    if not palette.tells_opacity:
        return Light(*(np.nan,) * 6)
    luminance = view.weights[:, 1] / 100.0
    total, regular = (float(each @ luminance) for each in passed)
    counted = max(total, _LEAST_LIGHT)
    share = regular / counted
    by_total, by_regular = (luminance * each for each in slopes)
    along = np.stack((by_total, by_regular, (share * by_total - by_regular) / counted))
    covariance = _of_making(palette, base, loadings, along)
    covariance += of_palette(palette, along[:, :4], palette.shares(base, loadings))
    covariance *= widened_by(palette, palette.blend(base, loadings), thickness_mm)
    # Readings of diffuse light tell how much is turned round, and of all that is scattered only what the assumed phase
    # function makes of it: of each component for itself, unless a beam through it was read.
    doubt = np.where(palette.read_as_beam, 0.0, _PHASE)[:, None] / (1.0 - palette.g)
    scattered = palette.shares(base, loadings)[:, None] * palette.coefficients[2]
    turn = along[:, 2] @ (doubt * scattered).T
    covariance += turn @ turn.T
    # A share that is read of a transmittance is noisy as that is.
    noise = palette.instrument.repeatability * float(np.linalg.norm(luminance))
    covariance += np.diag([noise, noise, noise / counted]) ** 2
    errors = np.minimum(Z95 * np.sqrt(np.diag(covariance)), 1.0)
    if palette.model == "two-flux":
        return Light(total, np.nan, np.nan, float(errors[0]), np.nan, np.nan)
    return Light(total, regular, 1.0 - share, *(float(each) for each in errors))


def widened_by(palette: Palette, blend: Blend, thickness_mm: float) -> float:
    """By how much the stated variance of a prediction grows: outside what was cast, and where the model errs."""
    ways = bold(palette.seen, blend, thickness_mm) | {of_pigment(name) for name, held in blend.loadings.items() if held}
    return widening(palette.surprises, ways) * beyond(palette.seen, blend) * _of_model(palette)


def _of_model(palette: Palette) -> float:
    """What the model misses of castings that it was fitted to beside the noise, it misses of others in proportion.

    Measured where pigments scatter as no phase function of the model does: tests/figures/workshops.py --mie, seeds
    1000 to 1027.
    """
    # A colour's noise is not that of a wavelength; what two-flux theory misses is not of this kind, and far more.
    if palette.read_as != "spectra" or palette.model == "two-flux":
        return 1.0
    misfit = palette.model_error * float(_GREY ** (2.0 / 3.0))
    return 1.0 + min((misfit / palette.instrument.noise) ** 2, _MOST_MISFIT)


def _contrast_slopes(reflectance: Array, slopes: Array, view: Viewing) -> Array:
    luminance = view.weights[:, 1]
    black, white = (reflectance @ luminance)[..., None]
    return np.asarray(luminance * (slopes[0] / white - slopes[1] * (black / white**2)))


def of_palette(palette: Palette, along: Array, share: Array) -> Array:
    """Covariance, shape (..., n, n), of outputs of blends, `share` (..., n_components).

    `along` (..., n, 4, n_wavelengths): their slopes by K, S, M and Q.
    """
    by_k, by_s, *by_mq = np.moveaxis(along[..., None, :] * share[..., None, None, :, None], -3, 0)
    # m and q go along with s where the phase function is known.
    own = np.concatenate((by_k, by_s + sum(map(np.multiply, by_mq, palette.by_s))), axis=-2)
    alone = np.einsum("...apw,wpq,...bqw->...ab", own, palette.local, own, optimize=True)
    flat = np.concatenate((by_k, by_s, *by_mq), axis=-2)
    common = np.einsum("...apw,rwp->...ar", flat, palette.modes, optimize=True)
    return np.asarray(alone + common @ np.swapaxes(common, -1, -2))


def of_contrast_ratios(
    palette: Palette, base: str, loadings: Array, reflectance: Array, slopes: Array, *, thickness_mm: float,
    view: Viewing,
) -> Array:  # fmt: skip
    """Standard deviations of parts' contrast ratios, without the noise of a reading, shape (n,) [-].

    Parameters
    ----------
    loadings : ndarray, shape (n, n_pigments)
        [%]
    reflectance, slopes : ndarray, shape (2, n, n_wavelengths) and (2, 5, n, n_wavelengths)
        Over the darkest and the lightest backing, as of `of_colour`.
    """
    along = np.moveaxis(_contrast_slopes(reflectance, slopes, view), 0, 1)[:, None]  # (n, 1, 5, n_wavelengths)
    variance = of_palette(palette, along[:, :, :4], palette.shares(base, loadings))
    variance += _of_making(palette, base, loadings, along)
    widened = [widened_by(palette, palette.blend(base, each), thickness_mm) for each in loadings]
    return np.asarray(np.sqrt(widened * variance[:, 0, 0]))


def _of_making(palette: Palette, base: str, loadings: Array, along: Array) -> Array:
    """What thickness and doses of the new casting add, shape (..., n, n)."""
    instrument = palette.instrument
    thickness = along[..., 4, :].sum(axis=-1)[..., None] * instrument.thickness_error_mm
    by_dose = np.einsum("...aiw,ipw->...ap", along[..., :4, :], palette.gains(base), optimize=True)
    dosed = by_dose * loadings[..., None, :] * (instrument.dose_error_percent / 100.0)
    made = np.concatenate((thickness, dosed), axis=-1)
    return np.asarray(made @ np.swapaxes(made, -1, -2))


def _of_reading(palette: Palette, by_reading: Array, reflectance: Array, view: Viewing, *, has_pair: bool) -> Array:
    """What the noise of the readings that will judge the casting adds."""
    variance = palette.instrument.repeatability**2
    result = np.zeros((4, 4))
    # A colorimeter's noise is of X, Y and Z themselves; a spectrum's is of every wavelength, and evens out.
    by_colour = palette.read_as != "spectra"
    by_noise = colorimetry.lab_share_slopes(reflectance[0], view)[1] if by_colour else by_reading
    result[:3, :3] = variance * by_noise @ by_noise.T
    if has_pair:
        luminance = view.weights[:, 1]
        black, white = reflectance[1:] @ luminance
        size = view.white[1] ** 2 if by_colour else np.sum(luminance**2)
        result[3, 3] = variance * size * (1.0 + (black / white) ** 2) / white**2
    return result


def radius(lab: ArrayLike, covariance: ArrayLike) -> Array:
    """The CIEDE2000 that a normal error of a colour stays under 95 times in 100.

    Parameters
    ----------
    lab, covariance : array_like, shapes (..., 3) and (..., 3, 3)

    Returns
    -------
    ndarray, shape (...)
        [-]

    Notes
    -----
    To second order the squared difference is a quadratic form in a normal vector. Its distribution is matched by a
    scaled chi-square of the same mean and variance (Satterthwaite 1946, Biometrics Bull. 2, 110), whose quantile is
    that of Wilson and Hilferty (1931, PNAS 17, 684), good to 2 % here.
    """
    colour = np.array(lab, dtype=float)
    # Grey has no hue to take slopes along, so it is given the faintest one.
    colour[..., 1] += np.where(np.hypot(colour[..., 1], colour[..., 2]) < 1e-3, 2e-3, 0.0)
    _, by_colour = colorimetry.difference_parts_slopes(colour, colour)
    form = by_colour @ np.asarray(covariance, dtype=float) @ np.swapaxes(by_colour, -1, -2)
    mean = np.einsum("...ii->...", form)
    spread = np.einsum("...ij,...ji->...", form, form)
    freedom = mean**2 / np.maximum(spread, 1e-300)
    width = 2.0 / (9.0 * np.maximum(freedom, 1e-12))
    quantile = freedom * (1.0 - width + Z95_ONE_SIDED * np.sqrt(width)) ** 3
    return np.asarray(np.sqrt(np.maximum(quantile * spread / np.maximum(mean, 1e-300), 0.0)))


def chance(
    lab: Array,
    contrast_ratio: float,
    covariance: Array,
    target: Array,
    tolerance: float,
    opacity_miss: Callable[[Array], Array],
) -> float:
    """Chance that a casting lands within a tolerance of a target, colour and opacity together, 0 to 1.

    Parameters
    ----------
    lab, covariance : ndarray, shapes (3,) and (4, 4)
        The prediction, with the contrast ratio as fourth.
    target : ndarray, shape (3,)
    tolerance : float
        [CIEDE2000]
    opacity_miss : callable
        From contrast ratios to how far they are from what was asked, 0 where it is met.

    Notes
    -----
    By 2000 draws of the prediction's error, always the same, so that equal recipes get equal chances: good to 0.01.
    """
    values, vectors = np.linalg.eigh(np.nan_to_num(covariance))
    drawn = np.random.default_rng(1).standard_normal((2000, 4))
    error = (drawn * np.sqrt(np.maximum(values, 0.0))) @ vectors.T
    near = colorimetry.difference(target, lab + error[:, :3]) <= tolerance
    if np.isfinite(contrast_ratio):
        near &= opacity_miss(contrast_ratio + error[:, 3]) == 0.0
    return float(near.mean())
