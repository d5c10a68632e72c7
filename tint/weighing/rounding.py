"""Weighings rounded to the scale: of all ways up or down, the one that keeps the ratio and then looks best."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.appearance import Setting, render
from tint.opacity import FAIR
from tint.palette import Palette
from tint.target import Target
from tint.weighing.premix import Premix

Array = NDArray[np.float64]

# Lines that are tried both ways, those of the fewest steps; the rest go to the nearest step. 4096 ways are predicted in
# one go, and five pigments with two parts need 128; tests/figures/weighing.py judges the roundings.
_MOST_FREE = 12
_RATIO_SLACK_PERCENT = 0.1  # of a part: mixing ratios so near cure equally well; common practice, no source
_NO_DIFFERENCE = 1e-3  # CIEDE2000 that nobody sees, below which the way nearer to the exact weights is taken; no source
# Of a step, and of a gram: floating-point numbers so near another are that number.
_ALMOST, _BETWEEN, _NOTHING_G = 1e-9, 1e-6, 1e-12


@dataclass(frozen=True, kw_only=True, eq=False)
class Weighings:
    """The lines of a sheet as arrays, before rounding.

    Parameters
    ----------
    exact : ndarray, shape (n_lines,)
        [g]
    steps : ndarray, shape (n_lines,)
        By which each can be weighed [g].
    pigment : ndarray, shape (n_lines, n_pigments)
        What share of a line is which pigment [-].
    base : ndarray, shape (n_lines, n_parts)
        What share of a line is which part of the base [-].
    own : ndarray of bool, shape (n_lines,)
        Whether a line is a part itself.
    mix : ndarray, shape (n_parts,)
        The base's mixing ratio; sums to 1 [-].
    """

    exact: Array
    steps: Array
    pigment: Array
    base: Array
    own: NDArray[np.bool_]
    mix: Array

    def loadings(self, grams: Array) -> Array:
        """Of weights, shape (..., n_lines) [g], the loadings, shape (..., n_pigments) [%]."""
        loadings: Array = 100.0 * (grams @ self.pigment) / grams.sum(axis=-1, keepdims=True)
        return loadings

    def mix_error(self, grams: Array) -> Array:
        """Largest relative error of a part in the mixing ratio, shape (...) [%]; 100 where there is no base."""
        parts = grams @ self.base
        poured = parts.sum(axis=-1, keepdims=True)
        share = np.divide(parts, poured, out=np.zeros_like(parts), where=poured > 0.0)
        error: Array = np.max(np.abs(100.0 * (share / self.mix - 1.0)), axis=-1)
        return error


def looks(palette: Palette, base: str, loadings: Array, *, setting: Setting) -> tuple[Array, Array]:
    """CIELAB over the setting's backing, shape (n, 3), and contrast ratio, shape (n,), of many blends."""
    over = setting.behind(palette)
    pair = palette.pair
    view = setting.viewing(palette)
    shares = palette.shares(base, loadings)
    seen = render(palette, shares, base=base, setting=setting, backings=(over, *pair)).reflectance
    ratio = colorimetry.contrast_ratio(seen[1], seen[2], view) if pair else np.full(len(loadings), np.nan)
    return colorimetry.lab(seen[0], view), ratio


def missed(aim: Target, labs: Array, ratios: Array) -> Array:
    """How far looks are from an aim, shape (n,): CIEDE2000, and what opacity is missed by in the same coin [-]."""
    colour = colorimetry.difference(aim.lab, labs)
    if not aim.asks_opacity:
        return colour
    return np.hypot(colour, np.nan_to_num(aim.opacity_miss(ratios)) / FAIR)


def ways(weighings: Weighings, *, reach: int = 0) -> Array:
    """All roundings to the steps next to the exact weights, shape (n_ways, n_lines) [g].

    Parameters
    ----------
    reach : int
        How many steps beyond the next ones are tried too.

    Notes
    -----
    Base that rounded premixes bring along is taken off its part before that is rounded: its exact weight then is the
    one that keeps the ratio.
    """
    exact, steps = weighings.exact, weighings.steps
    doses = np.flatnonzero(~weighings.own)
    below = np.floor(exact / steps + _ALMOST)
    between = np.abs(exact / steps - np.rint(exact / steps)) > _BETWEEN
    brings = weighings.base[doses].any()
    free = np.flatnonzero(between | (reach > 0) | (weighings.own & brings))
    free = free[np.argsort(exact[free] / steps[free], kind="stable")][:_MOST_FREE]
    ups = np.array(list(itertools.product(range(-reach, reach + 2), repeat=free.size)), dtype=float)
    nearest = np.rint(exact / steps) - below
    chosen = np.broadcast_to(nearest, (len(ups), exact.size)).copy()
    chosen[:, free] = ups
    grams = (below + chosen) * steps
    brought = (grams[:, doses] - exact[doses]) @ weighings.base[doses]
    for line in np.flatnonzero(weighings.own):
        (part,) = np.flatnonzero(weighings.base[line])
        wanted = (exact[line] - brought[:, part]) / steps[line]
        up = chosen[:, line] if line in free else np.rint(wanted) - np.floor(wanted + _ALMOST)
        grams[:, line] = (np.floor(wanted + _ALMOST) + up) * steps[line]
    possible: Array = grams[np.all(grams >= 0.0, axis=1) & (grams.sum(axis=1) > 0.0)]
    return possible


def best_rounding(palette: Palette, base: str, weighings: Weighings, *, setting: Setting, aim: Target) -> Array:
    """The weights to show, shape (n_lines,) [g]: ratio first, then the look, then nearness to the exact weights."""
    grams = ways(weighings)
    error = weighings.mix_error(grams)
    grams = grams[error <= error.min() + _RATIO_SLACK_PERCENT]
    cost = missed(aim, *looks(palette, base, weighings.loadings(grams), setting=setting))
    off = np.sum(((grams - weighings.exact) / weighings.steps) ** 2, axis=1)
    best: Array = grams[np.lexsort((off, np.rint((cost - cost.min()) / _NO_DIFFERENCE)))[0]]
    return best


# Which weighing must be done most carefully: what one step of the scale does to the colour.


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
    return 100.0 * np.maximum(pigments, 0.0) / np.maximum(totals, _NOTHING_G)[:, None]
