"""Weighings rounded to the scale: of all ways up or down, the one that keeps the ratio and then looks best."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint import colorimetry
from tint.appearance import Setting, render
from tint.errors import InputError
from tint.palette import Palette

Array = NDArray[np.float64]

_MOST_FREE = 12  # lines that are tried both ways, those of the fewest steps; the rest go to the nearest step
_RATIO_SLACK_PERCENT = 0.1  # two ways whose mixing ratios are so near are equally good cures
_NO_DIFFERENCE = 1e-3  # CIEDE2000 below which the way nearer to the exact weights is taken
_RATIO_UNIT = 0.01  # contrast ratio that counts as much as one CIEDE2000, as in solving


@dataclass(frozen=True, kw_only=True, eq=False)
class Aim:
    """What the rounded doses should look like.

    Parameters
    ----------
    lab : array_like, shape (3,)
        In the setting's light, over its backing [-].
    contrast_ratio_min, contrast_ratio_max : float, optional
        Not to be left [-].
    """

    lab: ArrayLike
    contrast_ratio_min: float | None = None
    contrast_ratio_max: float | None = None

    @property
    def asks_opacity(self) -> bool:
        """Whether it bounds the contrast ratio."""
        return self.contrast_ratio_min is not None or self.contrast_ratio_max is not None


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
    over = setting.over or (palette.white if palette.backings else "none")
    pair = palette.pair
    view = setting.viewing(palette)
    shares = palette.shares(base, loadings)
    seen = render(palette, shares, base=base, setting=setting, backings=(over, *pair)).reflectance
    ratio = colorimetry.contrast_ratio(seen[1], seen[2], view) if pair else np.full(len(loadings), np.nan)
    return colorimetry.lab(seen[0], view), ratio


def missed(aim: Aim, labs: Array, ratios: Array) -> Array:
    """How far looks are from an aim, shape (n,): CIEDE2000, and what opacity is missed by in the same coin [-]."""
    colour = colorimetry.difference(aim.lab, labs)
    low = -math.inf if aim.contrast_ratio_min is None else aim.contrast_ratio_min
    high = math.inf if aim.contrast_ratio_max is None else aim.contrast_ratio_max
    if not aim.asks_opacity:
        return colour
    return np.hypot(colour, np.nan_to_num(np.clip(ratios, low, high) - ratios) / _RATIO_UNIT)


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
    below = np.floor(exact / steps + 1e-9)
    between = np.abs(exact / steps - np.rint(exact / steps)) > 1e-6
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
        up = chosen[:, line] if line in free else np.rint(wanted) - np.floor(wanted + 1e-9)
        grams[:, line] = (np.floor(wanted + 1e-9) + up) * steps[line]
    possible: Array = grams[np.all(grams >= 0.0, axis=1) & (grams.sum(axis=1) > 0.0)]
    return possible


def best_rounding(palette: Palette, base: str, weighings: Weighings, *, setting: Setting, aim: Aim) -> Array:
    """The weights to show, shape (n_lines,) [g]: ratio first, then the look, then nearness to the exact weights."""
    grams = ways(weighings)
    error = weighings.mix_error(grams)
    grams = grams[error <= error.min() + _RATIO_SLACK_PERCENT]
    cost = missed(aim, *looks(palette, base, weighings.loadings(grams), setting=setting))
    off = np.sum(((grams - weighings.exact) / weighings.steps) ** 2, axis=1)
    best: Array = grams[np.lexsort((off, np.rint((cost - cost.min()) / _NO_DIFFERENCE)))[0]]
    return best


# A scale: its step, how well it repeats, and the least that it weighs well enough.


# Two readings, empty and loaded, each off by up to half a step: sqrt(2 / 12) of a step, rounded up.
_ROUNDING_ALONE = 0.41


@dataclass(frozen=True, kw_only=True)
class Scale:
    """What a dose is weighed on.

    Parameters
    ----------
    step_g : float
        Its smallest step [g].
    sd_g : float, optional
        Standard deviation when one thing is weighed again and again [g]; as good as the step allows when not known.
    tolerance_percent : float
        By which a dose may be off [% of the dose].
    max_g : float, optional
        The most that it carries [g].

    Raises
    ------
    InputError
        If a quantity makes no sense.

    Notes
    -----
    The smallest weighing is ``2 sd / tolerance``, sd not taken below 0.41 steps: the rule of the United States
    Pharmacopeia, general chapter 41 on balances, there with a tolerance of 0.10 % (from memory).
    """

    step_g: float = 0.01
    sd_g: float | None = None
    tolerance_percent: float = 1.0
    max_g: float | None = None

    def __post_init__(self) -> None:
        if not 0.0 < self.step_g <= 100.0:
            raise InputError("scale step", f"{self.step_g:g} g", "more than 0 and at most 100 g")
        if self.sd_g is not None and not 0.0 <= self.sd_g <= 100.0:
            raise InputError("scale sd", f"{self.sd_g:g} g", "0 to 100 g")
        if not 0.01 <= self.tolerance_percent <= 50.0:
            raise InputError("dose tolerance", f"{self.tolerance_percent:g} %", "0.01 to 50 % of the dose")

    @property
    def repeatability_g(self) -> float:
        """The standard deviation that is reckoned with [g]."""
        return max(self.sd_g or 0.0, _ROUNDING_ALONE * self.step_g)

    @property
    def smallest_g(self) -> float:
        """The smallest weighing that keeps the tolerance [g]."""
        return 2.0 * self.repeatability_g / (self.tolerance_percent / 100.0)

    @property
    def decimals(self) -> int:
        """After the point, in what it shows."""
        return max(0, -int(Decimal(str(self.step_g)).normalize().as_tuple().exponent))

    def error_percent(self, grams: float) -> float:
        """Within which a weighing falls 95 times in 100 [% of it]."""
        return 100.0 * 2.0 * self.repeatability_g / grams if grams > 0.0 else math.inf

    def shown(self, grams: float) -> str:
        """Grams as the scale shows them."""
        return f"{grams:.{self.decimals}f} g"

    def at_least(self, grams: float) -> float:
        """The next weight up that the scale can show [g]."""
        return whole(math.ceil(grams / self.step_g - 1e-6) * self.step_g)

    def at_most(self, grams: float) -> float:
        """The next weight down that the scale can show [g]."""
        return whole(math.floor(grams / self.step_g + 1e-6) * self.step_g)


def whole(grams: float) -> float:
    """A multiple of a step, without what is left over from multiplying [g]."""
    return round(grams, 10)
