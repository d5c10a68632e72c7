"""CIELAB and CIEDE2000, with the slopes that fitting and solving need.

The formulas are short; the tests hold them to colour-science's own functions.

References
----------
CIE 15:2018, Colorimetry. Sharma, Wu and Dalal (2005), Color Res. Appl. 30, 21: CIEDE2000.
"""

from __future__ import annotations

from string import hexdigits

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.colorimetry.weights import Viewing, tables, xyz
from tint.errors import InputError
from tint.files import Array

_EPSILON, _KAPPA = (6.0 / 29.0) ** 3, (29.0 / 6.0) ** 2 / 3.0  # of CIELAB's linear foot
_DARKEST = 1e-4  # reflectance: less reads as noise below zero does, and has no cube root worth the name; by eye
# L*, a*, b* by the cube roots of the three ratios.
_FROM_F = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])
# Of CIEDE2000's T: how often each of its waves comes round in a circle, and where it begins [degrees].
_WAVES, _PHASES = np.array([1.0, 2.0, 3.0, 4.0]), np.array([-30.0, 0.0, 6.0, -63.0])


def xyz_to_lab(tristimulus: ArrayLike, white: ArrayLike) -> Array:
    """CIELAB (CIE 15:2018) of XYZ relative to a white, shapes (..., 3) [-]."""
    ratio = np.asarray(tristimulus, dtype=float) / np.asarray(white, dtype=float)
    f = np.where(ratio > _EPSILON, np.cbrt(ratio), _KAPPA * ratio + 4.0 / 29.0)
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


def lab(spectra: ArrayLike, view: Viewing) -> Array:
    """CIELAB of spectra, shape (..., n_wavelengths) to (..., 3) [-]."""
    return xyz_to_lab(xyz(spectra, view), view.white)


def xyz_to_lab_slopes(tristimulus: ArrayLike, white: ArrayLike) -> tuple[Array, Array]:
    """`xyz_to_lab` and its derivative by XYZ, shapes (..., 3) and (..., 3, 3)."""
    white = np.asarray(white, dtype=float)
    ratio = np.asarray(tristimulus, dtype=float) / white
    steep = np.where(ratio > _EPSILON, np.cbrt(np.maximum(ratio, _EPSILON)) ** -2 / 3.0, _KAPPA) / white
    return xyz_to_lab(ratio, np.ones(3)), _FROM_F * steep[..., None, :]


def lab_slopes(spectra: ArrayLike, view: Viewing) -> tuple[Array, Array]:
    """CIELAB of spectra and its derivative by each reading.

    Returns `lab` (..., 3)
    Returns `slopes` (..., 3, n_wavelengths)
    """
    colour, by_xyz = xyz_to_lab_slopes(xyz(spectra, view), view.white)
    return colour, by_xyz @ view.weights.T


def lab_share_slopes(spectra: ArrayLike, view: Viewing) -> tuple[Array, Array, Array]:
    """CIELAB of spectra, and its derivatives by what a colorimeter and by what a spectrophotometer reads.

    `spectra` (..., n_wavelengths): what is darker than 0.0001 counts as that, so that its colour keeps a slope [-].
    Returns `lab` (..., 3)
    Returns `by_share` (..., 3, 3): by X, Y and Z, each as a share of the perfect white's.
    Returns `by_reading` (..., 3, n_wavelengths): by the reading at each wavelength.
    """
    share = xyz(np.maximum(np.asarray(spectra, dtype=float), _DARKEST), view) / view.white
    colour, by_share = xyz_to_lab_slopes(share, np.ones(3))
    return colour, by_share, by_share @ (view.weights / view.white).T


def difference_parts(lab_a: ArrayLike, lab_b: ArrayLike) -> Array:
    """CIEDE2000 as three parts whose root sum of squares it is.

    `lab_a`, `lab_b` (..., 3) [-]
    Returns shape (..., 3) [-]

    Sharma, Wu and Dalal 2005, eqs. 2 to 22, parametric factors 1. Its last term, ``x^2 + y^2 + R_T x y``, is written
    as ``(x + R_T y / 2)^2 + (1 - R_T^2 / 4) y^2``, so that least squares can work on the parts.
    """
    one, two = np.asarray(lab_a, dtype=float), np.asarray(lab_b, dtype=float)
    chroma, hue = _chroma_and_hue(one[..., 1], one[..., 2], two[..., 1], two[..., 2])
    return np.stack((_lightness(one[..., 0], two[..., 0]), chroma, hue), axis=-1)


def _lightness(one: Array, two: Array) -> Array:
    """The first of the three parts, by L* of either colour."""
    bright = (0.5 * (one + two) - 50.0) ** 2
    return np.asarray((two - one) / (1.0 + 0.015 * bright / np.sqrt(20.0 + bright)))


def _chroma_and_hue(a1: Array, b1: Array, a2: Array, b2: Array) -> tuple[Array, Array]:
    """The other two, by a* and b*."""
    stretch = 1.5 - 0.5 * _vividness(0.5 * (np.hypot(a1, b1) + np.hypot(a2, b2)))
    a1, a2 = stretch * a1, stretch * a2
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = _hue(a1, b1), _hue(a2, b2)
    both = c1 * c2
    coloured, turn, whole = both != 0.0, h2 - h1, h1 + h2
    apart = np.abs(turn) > 180.0
    turn = np.where(coloured, np.where(apart, turn - np.copysign(360.0, turn), turn), 0.0)
    half = 0.5 * whole
    hue = np.where(coloured, np.where(apart, np.where(half < 180.0, half + 180.0, half - 180.0), half), whole)
    chroma = 0.5 * (c1 + c2)
    waves = np.cos(np.radians(np.multiply.outer(_WAVES, hue) + _PHASES.reshape(-1, *(1,) * hue.ndim)))
    t = 1.0 - 0.17 * waves[0] + 0.24 * waves[1] + 0.32 * waves[2] - 0.20 * waves[3]
    rotation = -2.0 * _vividness(chroma) * np.sin(np.radians(60.0 * np.exp(-(((hue - 275.0) / 25.0) ** 2))))
    d_chroma = (c2 - c1) / (1.0 + 0.045 * chroma)
    d_hue = 2.0 * np.sqrt(both) * np.sin(np.radians(turn) / 2.0) / (1.0 + 0.015 * chroma * t)
    return d_chroma + 0.5 * rotation * d_hue, np.sqrt(1.0 - 0.25 * rotation**2) * d_hue


def _vividness(chroma: Array) -> Array:
    """From 0 of a grey towards 1."""
    square = chroma * chroma
    seventh = square * square * square * chroma
    return np.asarray(np.sqrt(seventh / (seventh + 25.0**7)))


def _hue(a: Array, b: Array) -> Array:
    """From 0 to 360 degrees."""
    angle = np.degrees(np.arctan2(b, a))
    return np.where(angle < 0.0, angle + 360.0, angle)


def difference(lab_a: ArrayLike, lab_b: ArrayLike) -> Array:
    """CIEDE2000 between colours, shapes (..., 3) to (...) [-]."""
    return np.asarray(np.linalg.norm(difference_parts(lab_a, lab_b), axis=-1))


_NEAR = 1e-4  # of L*, a*, b*: the step of the differences
# Steps of one of them and of two, and the colour itself, last.
_ONE, _TWO = (_NEAR * np.concatenate((np.eye(n), -np.eye(n), np.zeros((1, n)))).T for n in (1, 2))


def difference_parts_slopes(lab_a: ArrayLike, lab_b: ArrayLike) -> tuple[Array, Array]:
    """`difference_parts` and its derivative by the second colour, shapes (..., 3) and (..., 3, 3).

    Central differences: the formula is smooth away from its hue seam, and these are good to eight digits. The first
    part depends on L* alone, the others on a* and b* alone.
    """
    one, two = np.asarray(lab_a, dtype=float)[..., None], np.asarray(lab_b, dtype=float)[..., None]
    light = _lightness(one[..., 0, :], two[..., 0, :] + _ONE[0])
    rest = np.stack(
        _chroma_and_hue(one[..., 1, :], one[..., 2, :], two[..., 1, :] + _TWO[0], two[..., 2, :] + _TWO[1]), axis=-2
    )
    by_colour = np.zeros((*light.shape[:-1], 3, 3))
    by_colour[..., 0, 0] = (light[..., 0] - light[..., 1]) / (2.0 * _NEAR)
    by_colour[..., 1:, 1:] = (rest[..., 0:2] - rest[..., 2:4]) / (2.0 * _NEAR)
    return np.concatenate((light[..., -1:], rest[..., -1]), axis=-1), by_colour


# Colours on a screen: sRGB with a gamut flag, adapted from the light they are seen under to the screen's white.


def adapt(tristimulus: Array, white: Array, *, to: Array) -> Array:
    """XYZ, shape (..., 3), seen under one white, as they look the same under another: CAT16, fully adapted."""
    matrix = tables()["adaptation"]
    gain = (matrix @ to) / (matrix @ white)
    return np.asarray(tristimulus @ (np.linalg.inv(matrix) @ (gain[:, None] * matrix)).T)


def _screen_white() -> Array:
    return np.asarray(tables()["xyz from rgb"].sum(axis=1))


def xyz_to_srgb(tristimulus: ArrayLike, white: ArrayLike) -> tuple[Array, NDArray[np.bool_]]:
    """sRGB of colours seen under a white, adapted to the screen's.

    `tristimulus`, `white` (..., 3) and (3,): XYZ of the colours and of their white, on one scale [-].
    Returns `srgb` (..., 3): 0 to 1, clipped to what a screen can show [-].
    Returns `in_gamut` (...): whether nothing was clipped by more than half a level of 255.
    """
    return light_to_srgb(xyz_to_light(tristimulus, white))


def light_to_srgb(linear: Array) -> tuple[Array, NDArray[np.bool_]]:
    """`xyz_to_srgb` of linear light, shape (..., 3), that is not clipped yet."""
    signal = encode(np.clip(linear, 0.0, 1.0))
    return signal, np.asarray(np.max(np.abs(signal - encode_signed(linear)), axis=-1) <= 0.5 / 255.0)


def xyz_to_light(tristimulus: ArrayLike, white: ArrayLike) -> Array:
    """As `xyz_to_srgb`, in linear light that is not clipped, shape (..., 3) [-]."""
    white = np.asarray(white, dtype=float)
    relative = np.asarray(tristimulus, dtype=float) / white[1]
    return np.asarray(adapt(relative, white / white[1], to=_screen_white()) @ tables()["rgb from xyz"].T)


def light_to_lab(linear: ArrayLike) -> Array:
    """CIELAB of linear sRGB, as of `xyz_to_light`, shape (..., 3), under the screen's white [-]."""
    screen = np.asarray(linear, dtype=float) @ tables()["xyz from rgb"].T
    return xyz_to_lab(np.maximum(screen, 0.0), _screen_white())


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
    screen = decode(np.asarray(srgb, dtype=float)) @ tables()["xyz from rgb"].T
    white = view.white / view.white[1]
    return xyz_to_lab(adapt(screen, _screen_white(), to=white), white)


def lab_to_srgb(lab: ArrayLike, view: Viewing) -> tuple[Array, NDArray[np.bool_]]:
    """sRGB and gamut flag, as `xyz_to_srgb`, of CIELAB colours under a light and observer."""
    return xyz_to_srgb(lab_to_xyz(lab, view.white), view.white)


def hex_code(srgb: ArrayLike) -> str:
    """`#rrggbb` of one colour, shape (3,), 0 to 1."""
    levels = np.rint(np.clip(np.asarray(srgb, dtype=float), 0.0, 1.0) * 255.0).astype(int)
    return "#" + "".join(f"{level:02x}" for level in levels)


def hex_to_srgb(code: str) -> Array:
    """sRGB 0 to 1, shape (3,), of `#rrggbb` or `rrggbb`.

    Raises InputError if the text is neither.
    """
    digits = code.strip().removeprefix("#")
    # int() alone would take "+1", " 1" and the digits of other scripts.
    if len(digits) != 6 or not set(digits) <= set(hexdigits):
        raise InputError("screen colour", f"`{code}` is not one", "six hexadecimal digits", "as in #c8a060")
    return np.array([int(digits[at : at + 2], 16) for at in (0, 2, 4)]) / 255.0
