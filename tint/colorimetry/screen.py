"""Colours on a screen: sRGB with a gamut flag, adapted from the light they are seen under to the screen's white.

References
----------
IEC 61966-2-1:1999: sRGB. Li and others (2017), Color Res. Appl. 42, 703: CAT16.
"""

from __future__ import annotations

from string import hexdigits

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.colorimetry.cielab import lab_to_xyz, xyz_to_lab
from tint.colorimetry.weights import Viewing, tables
from tint.errors import InputError

Array = NDArray[np.float64]


def adapt(tristimulus: Array, white: Array, *, to: Array) -> Array:
    """XYZ, shape (..., 3), seen under one white, as they look the same under another: CAT16, fully adapted."""
    matrix = tables()["adaptation"]
    gain = (matrix @ to) / (matrix @ white)
    return np.asarray(tristimulus @ (np.linalg.inv(matrix) @ (gain[:, None] * matrix)).T)


def _screen_white() -> Array:
    return np.asarray(tables()["xyz from rgb"].sum(axis=1))


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
    linear = adapt(relative, white / white[1], to=_screen_white()) @ tables()["rgb from xyz"].T
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

    Raises
    ------
    InputError
        If the text is neither.
    """
    digits = code.strip().removeprefix("#")
    # int() alone would take "+1", " 1" and the digits of other scripts.
    if len(digits) != 6 or not set(digits) <= set(hexdigits):
        raise InputError("screen colour", f"`{code}` is not one", "six hexadecimal digits", "as in #c8a060")
    return np.array([int(digits[at : at + 2], 16) for at in (0, 2, 4)]) / 255.0
