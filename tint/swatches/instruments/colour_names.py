"""How the files of instruments name the columns of Lab and XYZ."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from tint.swatches.instruments.spectral_names import wavelength_in

_LAB = tuple((each, f"lab{each}", f"cielab{each}", f"cie{each}", f"{each}star") for each in "lab")
_LIGHT = re.compile(r"\b(?:D\d\d|FL?\d{1,2}|[AC])\b", re.IGNORECASE)
_ANGLE = re.compile(r"(?<!\d)(10|2)\s*(?:°|deg)", re.IGNORECASE)
_VIEW = re.compile(r"[\[(](?:(?:D\d\d|FL?\d{1,2}|[AC]|10|2|°|º|deg(?:ree)?s?)[/,;\s-]*)+[\])]", re.IGNORECASE)
_XYZ = (("x", "xyzx", "ciex"), ("y", "xyzy", "ciey"), ("z", "xyzz", "ciez"))


def bare(column: str) -> str:
    """A column's name for comparison: its letters only, small; a light in brackets behind it is no part of it."""
    return "".join(each for each in _VIEW.sub("", column).lower() if each.isalpha())


def view_in(columns: Iterable[str]) -> tuple[str, str]:
    """Light and observer that the names of colour columns tell, as `L*(10°/D65)`; empty where they tell none."""
    told = {match[0].strip("()[] ") for name in columns if (match := _VIEW.search(name)) is not None}
    words = told.pop() if len(told) == 1 else ""
    light, angle = _LIGHT.search(words), _ANGLE.search(words)
    return (light[0].upper() if light else ""), (angle[1] if angle else "")


def triple_columns(columns: Sequence[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The columns of Lab and those of XYZ, each empty when one of the three is missing."""
    by_word = {bare(column): column for column in reversed(columns) if wavelength_in(column, plain=True) is None}
    read = []
    for triple in (_LAB, _XYZ):
        found = [next((by_word[word] for word in words if word in by_word), None) for words in triple]
        read.append(tuple(each for each in found if each is not None) if None not in found else ())
    return read[0], read[1]
