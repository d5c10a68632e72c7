"""Weighings rounded to the scale, of all ways the one that keeps the ratio and then looks best; and what hangs on them:
which weighing must be done most carefully, what a looser dose tolerance would save."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.appearance import Setting, render
from tint.materials import Blend
from tint.opacity import FAIR
from tint.palette import Palette
from tint.spectra import Array
from tint.target import Target
from tint.weighing.premix import Kept, Premix, Scale, premixes

# Lines that are tried both ways, those of the fewest steps; the rest go to the nearest step. 4096 ways are predicted in
# one go, and five pigments with two parts need 128; tests/figures/weighing.py judges the roundings.
_MOST_FREE = 12
_RATIO_SLACK_PERCENT = 0.1  # of a part: mixing ratios so near cure equally well; common practice, no source
_OVER = 1.02  # times a largest loading: so little beyond it is what a prediction does not warn of either
_NO_DIFFERENCE = 1e-3  # CIEDE2000 that nobody sees, below which the way nearer to the exact weights is taken; no source
# Of a step, and of a gram: floating-point numbers so near another are that number.
_ALMOST, _BETWEEN, _NOTHING_G = 1e-9, 1e-6, 1e-12
_NONE = 1e-9  # percent: a largest loading of 0
_TIMES = (1.5, 2.0, 3.0, 5.0)  # the tolerance; of these the tightest that saves enough is told; no source
_SAVES = 0.5  # of the base: less is not worth a worse dose
_WORTH_G = 10.0  # of base: so little is spent anyway; no source


@dataclass(frozen=True, kw_only=True, eq=False)
class Weighings:
    """The lines of a sheet as arrays, before rounding."""

    exact: Array  # shape (n_lines,): [g]
    steps: Array  # shape (n_lines,): by which each can be weighed [g]
    pigment: Array  # shape (n_lines, n_pigments): what share of a line is which pigment [-]
    base: Array  # shape (n_lines, n_parts): what share of a line is which part of the base [-]
    own: NDArray[np.bool_]  # shape (n_lines,): whether a line is a part itself
    mix: Array  # shape (n_parts,): the base's mixing ratio; sums to 1 [-]

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
    """All roundings to the steps next to the exact weights, and `reach` steps beyond, shape (n_ways, n_lines) [g].

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
    """The weights to show, shape (n_lines,) [g]: ratio first, then the look, then nearness to the exact weights.

    A rounding beyond a largest loading is taken only where the exact weights, or all others, are as far beyond it.
    """
    grams = ways(weighings)
    error = weighings.mix_error(grams)
    grams = grams[error <= error.min() + _RATIO_SLACK_PERCENT]
    beyond = _of_limits(palette, base, weighings.loadings(grams))
    asked = float(_of_limits(palette, base, weighings.loadings(weighings.exact)))
    grams = grams[beyond <= max(_OVER * max(asked, 1.0), beyond.min())]
    cost = missed(aim, *looks(palette, base, weighings.loadings(grams), setting=setting))
    off = np.sum(((grams - weighings.exact) / weighings.steps) ** 2, axis=1)
    best: Array = grams[np.lexsort((off, np.rint((cost - cost.min()) / _NO_DIFFERENCE)))[0]]
    return best


def _of_limits(palette: Palette, base: str, loadings: Array) -> Array:
    """The largest share of a largest loading, a pigment's or the base's, of loadings (..., n_pigments) [%] [-]."""
    told = [each.max_loading for each in palette.pigments.values()]
    most = np.array([np.inf if each is None else max(each, _NONE) for each in told])
    alone = np.max(loadings / most, axis=-1, initial=0.0)
    return np.asarray(np.maximum(alone, loadings.sum(axis=-1) / max(palette.bases[base].max_loading, _NONE)))


# Which weighing must be done most carefully: what one step of the scale does to the colour.


@dataclass(frozen=True, kw_only=True)
class Care:
    """One weighing, and how much hangs on it."""

    # what, into: what is weighed, and what it goes into
    what: str
    into: str
    step_g: float  # by which it is off: a step of the scale, in every cup where it is weighed cup by cup [g]
    delta_e: float  # CIEDE2000 that one step too much or too little makes, whichever makes more [-]


def care(
    palette: Palette, base: str, weighings: Weighings, grams: Array, *, setting: Setting,
    names: Sequence[tuple[str, str]], premixes: Sequence[Premix], step_g: float,
) -> tuple[Care, ...]:  # fmt: skip
    """Every weighing of a sheet, the most delicate first, and those of pigment into premixes.

    `grams` (n_lines,) are as rounded [g], `names` what each line is and what it goes into.
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


# What a looser dose tolerance would save: the base that premixes take; and the colour that it costs.


@dataclass(frozen=True, kw_only=True)
class Looser:
    """A tolerance that would save at least half of the base spent on premixes."""

    tolerance_percent: float  # of a dose [%]
    # base_g, saved_g: what premixes then take, and how much less that is [g]
    base_g: float
    saved_g: float
    # delta_e, now_delta_e: within which the colour comes for the doses' errors, 95 times in 100: then, and as it is
    # [CIEDE2000]
    delta_e: float
    now_delta_e: float

    @property
    def words(self) -> str:
        """The same as a sentence."""
        return (
            f"A dose tolerance of {self.tolerance_percent:g} % would take {self.base_g:.3g} g of base for premixes, "
            f"{self.saved_g:.3g} g less; errors of the doses would then move the colour by up to {self.delta_e:.2f} "
            f"CIEDE2000 in place of {self.now_delta_e:.2f} (95 of 100)."
        )


def spent_g(made: Mapping[str, Premix]) -> float:
    """The base that goes into premixes, what is left over included [g]."""
    return sum(step.base_g for each in made.values() for step in each.steps)


def looser(
    palette: Palette, blend: Blend, doses: Mapping[str, float], made: Mapping[str, Premix], *, setting: Setting,
    scale: Scale, part: str, base_g: float, lots: Mapping[str, str | None], kept: Sequence[Kept] = (),
) -> Looser | None:  # fmt: skip
    """The tightest tolerance that saves half of the base spent on premixes; None where none does, or little is spent.

    `made` are the premixes as they are; the rest is as of `premixes`.
    """
    spent = spent_g(made)
    if spent < _WORTH_G:
        return None
    for times in _TIMES:
        coarse = replace(scale, tolerance_percent=min(times * scale.tolerance_percent, 50.0))
        then = premixes(doses, scale=coarse, part=part, base_g=base_g, lots=lots, kept=kept)
        if spent_g(then) <= (1.0 - _SAVES) * spent:
            return Looser(
                tolerance_percent=coarse.tolerance_percent,
                base_g=spent_g(then),
                saved_g=spent - spent_g(then),
                delta_e=_moved(palette, blend, doses, then, scale, setting),
                now_delta_e=_moved(palette, blend, doses, made, scale, setting),
            )
    return None


def _moved(
    palette: Palette, blend: Blend, doses: Mapping[str, float], made: Mapping[str, Premix], scale: Scale,
    setting: Setting,
) -> float:  # fmt: skip
    """The colour moved by errors of all doses, root sum of squares [CIEDE2000]."""
    exact, names = palette.loadings(blend), list(palette.pigments)
    rows = [exact]
    for name, grams in doses.items():
        error = made[name].dose_error_percent if name in made else scale.error_percent(grams)
        row = exact.copy()
        row[names.index(name)] *= 1.0 + min(error, 100.0) / 100.0
        rows.append(row)
    labs, _ = looks(palette, blend.base, np.array(rows), setting=setting)
    return float(np.sqrt(np.sum(colorimetry.difference(labs[0], labs[1:]) ** 2)))
