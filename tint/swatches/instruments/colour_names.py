"""How the files of instruments name the columns of Lab and XYZ."""

from __future__ import annotations

from collections.abc import Sequence

from tint.swatches.instruments.spectral_names import wavelength_in

_LAB = (("l", "labl", "cielabl", "lstar"), ("a", "laba", "cielaba", "astar"), ("b", "labb", "cielabb", "bstar"))
_XYZ = (("x", "xyzx", "ciex"), ("y", "xyzy", "ciey"), ("z", "xyzz", "ciez"))


def bare(column: str) -> str:
    """A column's name for comparison: its letters only, small."""
    return "".join(each for each in column.lower() if each.isalpha())


def triple_columns(columns: Sequence[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The columns of Lab and those of XYZ, each empty when one of the three is missing."""
    by_word = {bare(column): column for column in reversed(columns) if wavelength_in(column, plain=True) is None}
    read = []
    for triple in (_LAB, _XYZ):
        found = [next((by_word[word] for word in words if word in by_word), None) for words in triple]
        read.append(tuple(each for each in found if each is not None) if None not in found else ())
    return read[0], read[1]
