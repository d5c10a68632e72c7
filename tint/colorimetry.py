"""Spectra to colours: tristimulus weights, CIELAB, CIEDE2000, sRGB, contrast ratio.

Observers, lights and the matrices of sRGB come from colour-science. They are kept in the cache directory, because
importing that library costs ten times what all else here does; after the first use a spectrum becomes XYZ by one
matrix product. The formulas below are short, have the slopes that fitting and solving need, and are held to
colour-science's own functions by the tests.

References
----------
CIE 15:2018, Colorimetry. ASTM E308, Computing the colors of objects by using the CIE system. ASTM E2022, Calculation of
weighting factors for tristimulus integration. Sharma, Wu and Dalal (2005), Color Res. Appl. 30, 21: CIEDE2000.
IEC 61966-2-1:1999: sRGB.
"""

from __future__ import annotations

import difflib
import functools
import warnings
from dataclasses import dataclass
from importlib.metadata import version

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError
from tint.files import cached_arrays

Array = NDArray[np.float64]

CIE_RANGE_NM = np.arange(360.0, 781.0)
OBSERVERS = (2, 10)
_EPSILON, _KAPPA = (6.0 / 29.0) ** 3, (29.0 / 6.0) ** 2 / 3.0  # of CIELAB's linear foot


@dataclass(frozen=True, eq=False)
class Viewing:
    """A light and an observer, held as weights on one wavelength grid.

    Parameters
    ----------
    light : str
        A CIE illuminant.
    observer : int
        Field size: 2 or 10 [degrees].
    weights : ndarray, shape (n_wavelengths, 3)
        A spectrum times these is XYZ, Y of the perfect white being 100 [-].
    white : ndarray, shape (3,)
        XYZ of the perfect white by the same weights [-].
    """

    light: str
    observer: int
    weights: Array
    white: Array

    def __str__(self) -> str:
        return f"{self.light}, {self.observer}° observer"


def _build_tables() -> dict[str, Array]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it tells of optional packages that tint does not use
        import colour  # 1 s; once per machine

    tables = {
        "observer 2": "CIE 1931 2 Degree Standard Observer",
        "observer 10": "CIE 1964 10 Degree Standard Observer",
    }
    arrays: dict[str, Array] = {}
    for name, key in tables.items():
        cmfs = colour.MSDS_CMFS[key]
        inside = np.isin(cmfs.wavelengths, CIE_RANGE_NM)
        arrays[name] = np.asarray(cmfs.values[inside], dtype=float)
    for name, light in colour.SDS_ILLUMINANTS.items():
        if " " not in name:
            # CIE 15 interpolates tabulated lights linearly; line spectra would ring under anything smoother.
            arrays[f"light {name}"] = np.interp(CIE_RANGE_NM, light.wavelengths, light.values)
    srgb = colour.RGB_COLOURSPACES["sRGB"]
    arrays["rgb from xyz"] = np.asarray(srgb.matrix_XYZ_to_RGB, dtype=float)
    arrays["xyz from rgb"] = np.asarray(srgb.matrix_RGB_to_XYZ, dtype=float)
    arrays["adaptation"] = np.asarray(colour.CHROMATIC_ADAPTATION_TRANSFORMS["CAT16"], dtype=float)
    return arrays


@functools.lru_cache(maxsize=1)
def _tables() -> dict[str, Array]:
    return cached_arrays(f"colorimetry 1, colour-science {version('colour-science')}", _build_tables)


def lights() -> tuple[str, ...]:
    """Names of the CIE lights that `viewing` takes."""
    return tuple(name.removeprefix("light ") for name in _tables() if name.startswith("light "))


def viewing(wavelengths: ArrayLike, *, light: str = "D65", observer: int = 10) -> Viewing:
    """The weights of a light and an observer on a grid.

    Parameters
    ----------
    wavelengths : array_like, shape (n_wavelengths,)
        Regular grid [nm].
    light : str
        A CIE illuminant: `D65`, `D50`, `A`, `FL2` (or `F2`), `LED-B3` ...
    observer : int
        2 or 10 [degrees].

    Raises
    ------
    InputError
        For an unknown light or observer.

    Notes
    -----
    ASTM E2022: the spectrum between readings is the cubic (at the ends quadratic) Lagrange polynomial through them, at
    1 nm. ASTM E308: what lies past the first and last reading takes that reading's value.
    """
    grid = tuple(np.asarray(wavelengths, dtype=float).tolist())
    return _viewing(grid, _light_name(light), _observer(observer))


def _light_name(light: str) -> str:
    name = light.strip().upper()
    known = {known.upper(): known for known in lights()}
    if name not in known and name.startswith("F") and name[1:2].isdigit():
        name = "FL" + name[1:]
    if name not in known:
        near = difflib.get_close_matches(name, known, n=1)
        mend = f"did you mean {known[near[0]]}?" if near else ""
        raise InputError(
            "light", f"`{light}` is not known", "D65, D50, A, FL2, FL11, LED-B3 or another CIE light", mend
        )
    return known[name]


def _observer(observer: int) -> int:
    if observer not in OBSERVERS:
        raise InputError("observer", f"{observer} is not known", "2 or 10 (degrees)")
    return observer


@functools.lru_cache(maxsize=64)
def _viewing(grid: tuple[float, ...], light: str, observer: int) -> Viewing:
    tables = _tables()
    power = tables[f"light {light}"][:, None] * tables[f"observer {observer}"]
    weights = _interpolation(np.asarray(grid)).T @ power
    weights *= 100.0 / weights[:, 1].sum()
    return Viewing(light, observer, weights, weights.sum(axis=0))


def _interpolation(grid: Array) -> Array:
    """Matrix, shape (421, n), from readings on a regular grid to 1 nm from 360 to 780 nm (ASTM E2022, E308)."""
    step = grid[1] - grid[0]
    first, last = int((grid[0] - 360.0) // step), int((780.0 - grid[-1]) // step)
    count = grid.size + max(first, 0) + max(last, 0)  # the grid carried on to the ends of the CIE range
    place = (CIE_RANGE_NM - (grid[0] - max(first, 0) * step)) / step
    cell = np.clip(np.floor(place).astype(int), 0, count - 2)
    matrix = np.zeros((CIE_RANGE_NM.size, count))
    for row, (at, low) in enumerate(zip(place, cell, strict=True)):
        if at <= 0 or at >= count - 1:
            matrix[row, 0 if at <= 0 else count - 1] = 1.0
            continue
        # Cubic through four readings; quadratic through three in the first and last interval.
        nodes = np.arange(max(low - 1, 0), min(low + 3, count))
        for node in nodes:
            others = nodes[nodes != node]
            matrix[row, node] = np.prod((at - others) / (node - others))
    start = max(first, 0)
    folded = matrix[:, start : start + grid.size].copy()
    folded[:, 0] += matrix[:, :start].sum(axis=1)
    folded[:, -1] += matrix[:, start + grid.size :].sum(axis=1)
    return folded


def xyz(spectra: ArrayLike, view: Viewing) -> Array:
    """XYZ of spectra, shape (..., n_wavelengths) to (..., 3); Y of the perfect white is 100 [-]."""
    return np.asarray(np.asarray(spectra, dtype=float) @ view.weights)


def contrast_ratio(over_black: ArrayLike, over_white: ArrayLike, view: Viewing) -> Array:
    """Luminance factor over the black backing divided by that over the white one, shape (...) [-]."""
    luminance = view.weights[:, 1]
    return np.asarray((np.asarray(over_black) @ luminance) / (np.asarray(over_white) @ luminance))


def xyz_to_lab(tristimulus: ArrayLike, white: ArrayLike) -> Array:
    """CIELAB (CIE 15:2018) of XYZ relative to a white, shapes (..., 3) [-]."""
    f = _cube_root(np.asarray(tristimulus, dtype=float) / np.asarray(white, dtype=float))
    return np.stack(
        (116.0 * f[..., 1] - 16.0, 500.0 * (f[..., 0] - f[..., 1]), 200.0 * (f[..., 1] - f[..., 2])), axis=-1
    )


def lab_to_xyz(lab: ArrayLike, white: ArrayLike) -> Array:
    """The inverse of `xyz_to_lab`."""
    lab = np.asarray(lab, dtype=float)
    fy = (lab[..., 0] + 16.0) / 116.0
    f = np.stack((fy + lab[..., 1] / 500.0, fy, fy - lab[..., 2] / 200.0), axis=-1)
    ratio = np.where(f > 6.0 / 29.0, f**3, (f - 4.0 / 29.0) / _KAPPA)
    return np.asarray(ratio * np.asarray(white, dtype=float))


def _cube_root(ratio: Array) -> Array:
    return np.where(ratio > _EPSILON, np.cbrt(ratio), _KAPPA * ratio + 4.0 / 29.0)


def lab(spectra: ArrayLike, view: Viewing) -> Array:
    """CIELAB of spectra, shape (..., n_wavelengths) to (..., 3) [-]."""
    return xyz_to_lab(xyz(spectra, view), view.white)


def lab_slopes(spectra: ArrayLike, view: Viewing) -> tuple[Array, Array]:
    """CIELAB of spectra and its derivative by each reading.

    Returns
    -------
    lab : ndarray, shape (..., 3)
    slopes : ndarray, shape (..., 3, n_wavelengths)
    """
    ratio = xyz(spectra, view) / view.white
    steep = np.where(ratio > _EPSILON, np.cbrt(np.maximum(ratio, _EPSILON)) ** -2 / 3.0, _KAPPA)
    by_reading = steep[..., :, None] * (view.weights / view.white).T
    x, y, z = by_reading[..., 0, :], by_reading[..., 1, :], by_reading[..., 2, :]
    slopes = np.stack((116.0 * y, 500.0 * (x - y), 200.0 * (y - z)), axis=-2)
    return xyz_to_lab(ratio, np.ones(3)), slopes


def difference_parts(lab_a: ArrayLike, lab_b: ArrayLike) -> Array:
    """CIEDE2000 as three parts whose root sum of squares it is.

    Parameters
    ----------
    lab_a, lab_b : array_like, broadcastable to shape (..., 3)
        [-]

    Returns
    -------
    ndarray, shape (..., 3)
        [-]

    Notes
    -----
    Sharma, Wu and Dalal 2005, eqs. 2 to 22, parametric factors 1. Its last term, ``x^2 + y^2 + R_T x y``, is written
    as ``(x + R_T y / 2)^2 + (1 - R_T^2 / 4) y^2``, so that least squares can work on the parts.
    """
    one, two = np.broadcast_arrays(np.asarray(lab_a, dtype=float), np.asarray(lab_b, dtype=float))
    mean_chroma7 = (0.5 * (np.hypot(one[..., 1], one[..., 2]) + np.hypot(two[..., 1], two[..., 2]))) ** 7
    stretch = 1.5 - 0.5 * np.sqrt(mean_chroma7 / (mean_chroma7 + 25.0**7))
    a1, a2 = stretch * one[..., 1], stretch * two[..., 1]
    c1, c2 = np.hypot(a1, one[..., 2]), np.hypot(a2, two[..., 2])
    h1 = np.degrees(np.arctan2(one[..., 2], a1)) % 360.0
    h2 = np.degrees(np.arctan2(two[..., 2], a2)) % 360.0
    coloured = c1 * c2 != 0.0
    turn = np.where(coloured, (h2 - h1 + 180.0) % 360.0 - 180.0, 0.0)
    turn = np.where((turn == -180.0) & (h2 > h1), 180.0, turn)
    apart = np.abs(h1 - h2) > 180.0
    half = 0.5 * (h1 + h2)
    hue = np.where(coloured, np.where(apart, np.where(h1 + h2 < 360.0, half + 180.0, half - 180.0), half), h1 + h2)
    lightness, chroma = 0.5 * (one[..., 0] + two[..., 0]), 0.5 * (c1 + c2)
    t = (
        1.0
        - 0.17 * _cosd(hue - 30.0)
        + 0.24 * _cosd(2.0 * hue)
        + 0.32 * _cosd(3.0 * hue + 6.0)
        - 0.20 * _cosd(4.0 * hue - 63.0)
    )
    chroma7 = chroma**7
    rotation = (
        -2.0
        * np.sqrt(chroma7 / (chroma7 + 25.0**7))
        * np.sin(np.radians(60.0 * np.exp(-(((hue - 275.0) / 25.0) ** 2))))
    )
    bright = (lightness - 50.0) ** 2
    d_lightness = (two[..., 0] - one[..., 0]) / (1.0 + 0.015 * bright / np.sqrt(20.0 + bright))
    d_chroma = (c2 - c1) / (1.0 + 0.045 * chroma)
    d_hue = 2.0 * np.sqrt(c1 * c2) * np.sin(np.radians(turn) / 2.0) / (1.0 + 0.015 * chroma * t)
    return np.stack(
        (d_lightness, d_chroma + 0.5 * rotation * d_hue, np.sqrt(1.0 - 0.25 * rotation**2) * d_hue), axis=-1
    )


def _cosd(degrees: Array) -> Array:
    return np.asarray(np.cos(np.radians(degrees)))


def difference(lab_a: ArrayLike, lab_b: ArrayLike) -> Array:
    """CIEDE2000 between colours, shapes (..., 3) to (...) [-]."""
    return np.asarray(np.linalg.norm(difference_parts(lab_a, lab_b), axis=-1))


def difference_parts_slopes(lab_a: ArrayLike, lab_b: ArrayLike) -> tuple[Array, Array]:
    """`difference_parts` and its derivative by the second colour, shapes (..., 3) and (..., 3, 3).

    Central differences: the formula is smooth away from its hue seam, and these are good to eight digits.
    """
    one, two = np.broadcast_arrays(np.asarray(lab_a, dtype=float), np.asarray(lab_b, dtype=float))
    step = 1e-4 * np.eye(3)
    beside = difference_parts(one[..., None, None, :], two[..., None, None, :] + np.stack((step, -step), axis=-2))
    by_colour = (beside[..., 0, :] - beside[..., 1, :]) / 2e-4
    return difference_parts(one, two), np.swapaxes(by_colour, -1, -2)


def _adapt(tristimulus: Array, white: Array, *, to: Array) -> Array:
    """Chromatic adaptation by CAT16 with full adaptation (Li and others 2017, Color Res. Appl. 42, 703)."""
    matrix = _tables()["adaptation"]
    gain = (matrix @ to) / (matrix @ white)
    return np.asarray(tristimulus @ (np.linalg.inv(matrix) @ (gain[:, None] * matrix)).T)


def _screen_white() -> Array:
    return np.asarray(_tables()["xyz from rgb"].sum(axis=1))


def xyz_to_srgb(tristimulus: ArrayLike, white: ArrayLike) -> tuple[Array, NDArray[np.bool_]]:
    """sRGB of colours seen under a white, adapted to the screen's.

    Parameters
    ----------
    tristimulus, white : array_like, shapes (..., 3) and (3,)
        XYZ of the colours and of their white, on one scale [-].

    Returns
    -------
    srgb : ndarray, shape (..., 3)
        0 to 1, clipped to what a screen can show [-].
    in_gamut : ndarray of bool, shape (...)
        Whether nothing was clipped by more than half a level of 255.
    """
    white = np.asarray(white, dtype=float)
    relative = np.asarray(tristimulus, dtype=float) / white[1]
    linear = _adapt(relative, white / white[1], to=_screen_white()) @ _tables()["rgb from xyz"].T
    shown = np.clip(linear, 0.0, 1.0)
    in_gamut = np.max(np.abs(encode(shown) - encode_signed(linear)), axis=-1) <= 0.5 / 255.0
    return encode(shown), np.asarray(in_gamut)


def encode(linear: Array) -> Array:
    """sRGB's transfer function, light 0 to 1 to signal 0 to 1 (IEC 61966-2-1:1999)."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055)


def encode_signed(linear: Array) -> Array:
    """`encode`, carried on to negative light by symmetry, so that the depth of a clipped colour can be told."""
    return np.asarray(np.sign(linear) * encode(np.abs(linear)))


def decode(signal: Array) -> Array:
    """The inverse of `encode`."""
    return np.where(signal <= 0.040449936, signal / 12.92, ((np.maximum(signal, 0.04) + 0.055) / 1.055) ** 2.4)


def srgb_to_lab(srgb: ArrayLike, view: Viewing) -> Array:
    """CIELAB, under a light and observer, of a screen colour adapted from the screen's white, shapes (..., 3) [-]."""
    screen = decode(np.asarray(srgb, dtype=float)) @ _tables()["xyz from rgb"].T
    white = view.white / view.white[1]
    return xyz_to_lab(_adapt(screen, _screen_white(), to=white), white)


def lab_to_srgb(lab: ArrayLike, view: Viewing) -> tuple[Array, NDArray[np.bool_]]:
    """sRGB and gamut flag, as `xyz_to_srgb`, of CIELAB colours under a light and observer."""
    return xyz_to_srgb(lab_to_xyz(lab, view.white), view.white)


def hex_code(srgb: ArrayLike) -> str:
    """`#rrggbb` of one colour, shape (3,), 0 to 1."""
    levels = np.rint(np.clip(np.asarray(srgb, dtype=float), 0.0, 1.0) * 255.0).astype(int)
    return "#" + "".join(f"{level:02x}" for level in levels)


def hex_to_srgb(code: str) -> Array:
    """sRGB 0 to 1, shape (3,), of `#rrggbb` or `rrggbb`.

    Raises
    ------
    InputError
        If the text is neither.
    """
    digits = code.strip().removeprefix("#")
    try:
        if len(digits) != 6:
            raise ValueError
        return np.array([int(digits[at : at + 2], 16) for at in (0, 2, 4)]) / 255.0
    except ValueError:
        raise InputError("screen colour", f"`{code}` is not one", "six hexadecimal digits", "as in #c8a060") from None
