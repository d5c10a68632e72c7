"""What the words for opacity mean in numbers: one table, and the ways in which an opacity may be asked for.

`solid` is the hiding of paint, a contrast ratio of at least 0.98 (ISO 6504-3, hiding power of coatings; from memory).
The other limits are common practice, no source: `milky` lets a shape behind the part be seen and no more, `see-through`
lets print be read at a short distance, `glows` lets enough light through for a lamp shade. `clear` is a haze of at most
0.30: above it a material "is considered diffusing" (scope of ASTM D1003-13).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError

KINDS = ("contrast_ratio", "transmittance", "haze")  # what may be asked of a part beside its colour
# What each word asks of them, as (least, most) [-].
WORDS: dict[str, dict[str, tuple[float | None, float | None]]] = {
    "solid": {"contrast_ratio": (0.98, None)},
    "milky": {"contrast_ratio": (0.60, 0.95)},
    "see-through": {"contrast_ratio": (None, 0.60)},
    "glows": {"transmittance": (0.20, None)},
    "clear": {"haze": (None, 0.30)},
    "any": {},
}
# What else a maker may say, and the word for it.
_MEANT = {"opaque": "solid", "hiding": "solid", "translucent": "milky", "transparent": "clear", "glowing": "glows"}
FAIR = 0.01  # a miss of these that weighs as much as one CIEDE2000; common practice, no source [-]
ALLOWED = 0.005  # off a value to reach: what is nearer shows as the same in two digits. A bound is to be kept. [-]
_EXPECTED = {
    "contrast_ratio": "solid, milky, see-through, glows, clear, any, or a contrast ratio up to 1: "
    "0.95, 0.97.., ..0.6 or 0.6..0.7",
    "transmittance": "a luminous transmittance, more than 0 and at most 1: 0.45, 0.3.., ..0.5 or 0.3..0.4",
    "haze": "a haze, more than 0 and at most 1: 0.1, ..0.3 or 0.9..",
}


Bounds = dict[str, Any]  # numbers, by the names that a `Target` has for them [-]


def opacity_of(asked: str | float | Sequence[float]) -> Bounds:
    """An opacity from a word, a number or a range.

    Parameters
    ----------
    asked : str, float or sequence of two floats
        A word of `WORDS`; a contrast ratio to reach; the least and the most; or any of them as text, a range as
        `0.97..`, `..0.6` or `0.6..0.7` [-].

    Raises
    ------
    InputError
        If it is none of these.

    Examples
    --------
    >>> opacity_of("solid")
    {'contrast_ratio_min': 0.98}
    >>> opacity_of("0.6..0.7")
    {'contrast_ratio_min': 0.6, 'contrast_ratio_max': 0.7}
    """
    if isinstance(asked, str) and asked.strip().lower() in WORDS:
        word = WORDS[asked.strip().lower()]
        return {name: end for kind, ends in word.items() for name, end in _named(kind, None, *ends).items()}
    return _named("contrast_ratio", *_range(asked, "opacity", _EXPECTED["contrast_ratio"]))


def bounds_of(kind: str, asked: str | float | Sequence[float]) -> Bounds:
    """A luminous transmittance or a haze (`kind`) to reach, or its least and most, in the same forms but for the words.

    Raises
    ------
    InputError
        If it is none of these.
    """
    return _named(kind, *_range(asked, kind, _EXPECTED[kind]))


def _range(asked: object, where: str, expected: str) -> tuple[float | None, float | None, float | None]:
    """What is to be reached, the least and the most."""
    if isinstance(asked, str):
        low, dots, high = asked.strip().partition("..")
        if not dots:
            return _share(low, asked, where, expected), None, None
        ends = [_share(end, asked, where, expected) if end.strip() else None for end in (low, high)]
        if ends == [None, None]:
            raise InputError(where, f"`{asked}` names no bound", expected)
    elif isinstance(asked, int | float):
        return _share(asked, asked, where, expected), None, None
    elif isinstance(asked, Sequence) and len(asked) == 2:
        ends = [_share(end, asked, where, expected) for end in asked]
    else:
        raise InputError(where, f"`{asked}`", expected)
    least, most = ends
    if least is not None and least == most:
        return least, None, None
    if least is not None and most is not None and least > most:
        raise InputError(where, f"at least {least:g} and at most {most:g}", mend="swap them")
    return None, least, most


def _named(kind: str, reach: float | None, least: float | None, most: float | None) -> Bounds:
    told = {kind: reach, f"{kind}_min": least, f"{kind}_max": most}
    return {name: value for name, value in told.items() if value is not None}


def _share(given: object, asked: object, where: str, expected: str) -> float:
    try:
        value = float(str(given))
    except ValueError:
        value = math.nan
    if not 0.0 < value <= 1.0:
        raise InputError(where, f"`{asked}`", expected, _meant(str(asked).strip().lower(), where))
    return value


def _meant(told: str, where: str) -> str:
    """What somebody may have meant who told another word, or a number with a comma or in percent."""
    if where == "opacity" and told in _MEANT:
        return f"did you mean {_MEANT[told]}?"
    try:
        value = float(told.removesuffix("%").replace(",", ".")) / (100.0 if told.endswith("%") else 1.0)
    except ValueError:
        return ""
    return f"write {value:g}" if 0.0 < value <= 1.0 else ""


_FULL = 1e-6  # so near to hiding, or to nothing, no depth is told


def depth(kind: str, value: ArrayLike) -> NDArray[np.float64]:
    """The optical depth that an opacity stands for, with nothing but the one number known of the layer [-].

    Notes
    -----
    What a layer leaves to hiding, and the light it lets through, fall with its depth u about as exp(-u): it is
    ``-log(v)`` of a transmittance v, ``-log(1 - v)`` of a contrast ratio or a haze. What is not known of scattering and
    absorption is in proportion to it, whatever the opacity.
    """
    given = np.asarray(value, dtype=float)
    left = given if kind == "transmittance" else 1.0 - given
    return np.asarray(-np.log(np.clip(left, _FULL, 1.0 - _FULL)))


def at_depth(kind: str, depths: ArrayLike) -> NDArray[np.float64]:
    """The opacity of an optical depth, the inverse of `depth` [-]."""
    left = np.exp(-np.asarray(depths, dtype=float))
    return np.asarray(left if kind == "transmittance" else 1.0 - left)
