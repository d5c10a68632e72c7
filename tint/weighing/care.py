"""Which weighing must be done most carefully: what one step of the scale does to the colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.appearance import Setting
from tint.palette import Palette
from tint.weighing.premix import Premix
from tint.weighing.rounding import Weighings, looks

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Care:
    """One weighing, and how much hangs on it.

    Parameters
    ----------
    what, into : str
        What is weighed, and what it goes into.
    step_g : float
        By which it is off: a step of the scale, in every cup where it is weighed cup by cup [g].
    delta_e : float
        CIEDE2000 that one step too much or too little makes, whichever makes more [-].
    """

    what: str
    into: str
    step_g: float
    delta_e: float


def care(
    palette: Palette, base: str, weighings: Weighings, grams: Array, *, setting: Setting,
    names: Sequence[tuple[str, str]], premixes: Sequence[Premix], step_g: float,
) -> tuple[Care, ...]:  # fmt: skip
    """Every weighing of a sheet, the most delicate first.

    Parameters
    ----------
    grams : ndarray, shape (n_lines,)
        As rounded [g].
    names : sequence of (str, str)
        What each line is and what it goes into.
    premixes : sequence of Premix
        Their own weighings of pigment are judged too.
    """
    pigments = grams @ weighings.pigment
    by_line = weighings.steps[:, None] * weighings.pigment
    rows, totals, told = list(by_line), list(weighings.steps), [*zip(names, weighings.steps, strict=True)]
    for premix in premixes:
        at = list(palette.pigments).index(premix.pigment)
        for letdown in premix.steps:
            row = np.zeros_like(pigments)
            row[at] = pigments[at] * step_g / letdown.grams
            rows.append(row)
            totals.append(0.0)
            told.append(((letdown.what, letdown.makes), step_g))
    change, total = np.array(rows), np.array(totals)
    labs = [
        looks(palette, base, _loadings(pigments + sign * change, grams.sum() + sign * total), setting=setting)[0]
        for sign in (1.0, -1.0)
    ]
    own = looks(palette, base, weighings.loadings(grams)[None], setting=setting)[0]
    off = np.max([colorimetry.difference(own, each) for each in labs], axis=0)
    listed = [
        Care(what=what, into=into, step_g=float(step), delta_e=float(delta_e))
        for ((what, into), step), delta_e in zip(told, off, strict=True)
    ]
    return tuple(sorted(listed, key=lambda each: -each.delta_e))


def _loadings(pigments: Array, totals: Array) -> Array:
    return 100.0 * np.maximum(pigments, 0.0) / np.maximum(totals, 1e-12)[:, None]
