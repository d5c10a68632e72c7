"""A target becomes ranked recipes: every useful set of pigments, each at its best within the limits."""

from __future__ import annotations

import itertools
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.appearance import Appearance, Setting, predict, render
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.solve import limits
from tint.solve.search import Found, minimise
from tint.target import Target

Array = NDArray[np.float64]
Index = NDArray[np.int64]

# What a miss in contrast ratio weighs beside one CIEDE2000.
_OPACITY_REACHED = 0.01
_OPACITY_BOUND = 0.002
_OPACITY_SLACK = 0.005  # a contrast ratio this near counts as met
_EACH_PIGMENT = 0.05  # a further pigment must earn this much colour difference


@dataclass(frozen=True, kw_only=True, eq=False)
class Recipe:
    """A blend that answers a target.

    Parameters
    ----------
    delta_e : float
        CIEDE2000 to the target [-].
    limits : tuple of str
        What binds: `max_loading:total`, `max_loading:NAME`, `contrast_ratio`, or `palette` when no limit but the
        pigments themselves keep the colour away.
    reached : bool
        Whether colour and opacity are met.
    reason : str
        In words, when they are not.
    price_per_kg : float, optional
        Of the pigments in a kilogram of mix; None when one of them has no price.
    """

    blend: Blend
    appearance: Appearance
    delta_e: float
    limits: tuple[str, ...]
    reached: bool
    reason: str
    price_per_kg: float | None


@dataclass(frozen=True, kw_only=True, eq=False)
class Answer:
    """Recipes for a target, best first, and what was not tried and why."""

    target: Target
    setting: Setting
    recipes: tuple[Recipe, ...]
    refused: dict[str, dict[str, str]]
    warnings: tuple[str, ...]


def solve(
    palette: Palette,
    target: Target,
    *,
    setting: Setting,
    base: str | None = None,
    most_pigments: int = 4,
    keep: Collection[str] = (),
    leave_out: Collection[str] = (),
    insist: Collection[str] = (),
    most_recipes: int = 5,
) -> Answer:
    """Recipes for a target.

    Parameters
    ----------
    palette : Palette
    target : Target
    setting : Setting
        The part's thickness, and how target and part are seen.
    base : str, optional
        Every base that was cast, when absent.
    most_pigments : int
        Largest number of pigments in a recipe, 1 to 5.
    keep, leave_out : collection of str
        Pigments that every recipe has, and that none has.
    insist : collection of str
        Pigments to use although they are known to be unsafe with the base's cure.
    most_recipes : int
        How many to return for all bases together.

    Returns
    -------
    Answer
        Never empty: a target out of reach gets the nearest recipes, `reached` false, and what binds.

    Raises
    ------
    InputError
        If a name is unknown, or every pigment is refused.
    """
    limits.check_names(palette, {"keep": keep, "leave out": leave_out, "insist": insist})
    if not 1 <= most_pigments <= 5:
        raise InputError("most pigments", f"{most_pigments}", "1 to 5")
    if target.asks_opacity and len(palette.backings) < 2:
        raise InputError("target", "it asks for a contrast ratio", "a palette with a black and a white backing")
    bases = [base] if base is not None else list(palette.seen)
    recipes: list[Recipe] = []
    refused: dict[str, dict[str, str]] = {}
    for name in bases:
        palette.check_base(name)
        usable, refused[name] = limits.usable_pigments(palette, name, leave_out=leave_out, insist=insist)
        recipes += _solve_base(palette, target, setting, name, usable, keep, most_pigments)
    ranked = sorted(recipes, key=lambda recipe: (not recipe.reached, _score(target, recipe)))
    warnings = [limits.opacity_unsaid(target)] if not target.asks_opacity else []
    return Answer(
        target=target,
        setting=setting,
        recipes=tuple(ranked[:most_recipes]),
        refused={name: why for name, why in refused.items() if why},
        warnings=tuple(warnings),
    )


def _score(target: Target, recipe: Recipe) -> float:
    miss = (
        float(target.opacity_miss(recipe.appearance.contrast_ratio)) / _OPACITY_REACHED if target.asks_opacity else 0.0
    )
    return float(np.hypot(recipe.delta_e, miss)) + _EACH_PIGMENT * len(recipe.blend.loadings)


def pigment_sets(usable: Index, keep: Index, most: int) -> list[Index]:
    """All sets of up to `most` pigments that hold `keep`, as one array, shape (n, m), for each m."""
    others = [pigment for pigment in usable if pigment not in keep]
    sizes = range(max(len(keep), 1), min(most, len(keep) + len(others)) + 1)
    return [
        np.array([[*keep, *more] for more in itertools.combinations(others, size - len(keep))], dtype=np.int64)
        for size in sizes
    ]


def _solve_base(
    palette: Palette,
    target: Target,
    setting: Setting,
    base: str,
    usable: Index,
    keep: Collection[str],
    most: int,
) -> list[Recipe]:
    names = list(palette.pigments)
    kept = np.array([names.index(name) for name in keep], dtype=np.int64)
    blocked = sorted(set(kept.tolist()) - set(usable.tolist()))
    if blocked or len(kept) > most:
        return []
    forward = _Forward(palette, target, setting, base)
    bounds = limits.largest_loadings(palette, base)
    total = palette.bases[base].max_loading
    found: list[tuple[float, Array, Array]] = []
    for sets in pigment_sets(usable, kept, most):
        if len(sets) == 0:
            continue
        best = _best_of_starts(forward, sets, bounds, total)
        for row in range(len(sets)):
            whole = np.zeros((2, len(names)))
            whole[:, sets[row]] = best.loadings[row], best.pull[row]
            found.append((float(best.cost[row]), whole[0], whole[1]))
    found = found or [(0.0, np.zeros(len(names)), np.zeros(len(names)))]
    return [_recipe(palette, target, setting, base, loadings, pull) for loadings, pull in _worth_showing(found, bounds)]


class _Forward:
    """Residuals of a target and their slopes by the loadings, for many sets of pigments at once."""

    def __init__(self, palette: Palette, target: Target, setting: Setting, base: str) -> None:
        self.palette, self.target, self.setting, self.base = palette, target, setting, base
        self.view = setting.viewing(palette)
        over = setting.over or (palette.white if palette.backings else "none")
        self.backings = tuple(dict.fromkeys((over, *((palette.black, palette.white) if target.asks_opacity else ()))))
        n_bases, own = len(palette.bases), list(palette.bases).index(base)
        self.k_gain = palette.k[n_bases:] - palette.k[own] / 100.0
        self.s_gain = palette.s[n_bases:] - palette.s[own] / 100.0

    def __call__(self, sets: Index, loadings: Array) -> tuple[Array, Array]:
        whole = np.zeros((len(sets), len(self.palette.pigments)))
        np.put_along_axis(whole, sets, loadings, axis=1)
        drawn = render(
            self.palette, self.palette.shares(self.base, whole), base=self.base, setting=self.setting,
            backings=self.backings,
        )  # fmt: skip
        lab, by_reading = colorimetry.lab_slopes(drawn.reflectance[0], self.view)
        parts, by_lab = colorimetry.difference_parts_slopes(self.target.lab, lab)
        weights = by_lab @ by_reading  # (n, 3, n_wavelengths)
        slopes = self._by_loading(weights, drawn.slopes[0], sets)
        if not self.target.asks_opacity:
            return parts, slopes
        miss, by_miss = self._opacity(drawn.reflectance, drawn.slopes, sets)
        return np.concatenate((parts, miss), axis=1), np.concatenate((slopes, by_miss), axis=1)

    def _by_loading(self, weights: Array, by_k_s_d: Array, sets: Index) -> Array:
        """Slopes, shape (n, r, m), of weighted sums over wavelengths, weights (n, r, n_wavelengths)."""
        k_gain, s_gain = self.k_gain[sets], self.s_gain[sets]  # (n, m, n_wavelengths)
        gain = by_k_s_d[0][:, None, :] * k_gain + by_k_s_d[1][:, None, :] * s_gain
        return np.asarray(weights @ np.swapaxes(gain, 1, 2))

    def _opacity(self, reflectance: Array, slopes: Array, sets: Index) -> tuple[Array, Array]:
        black, white = (self.backings.index(name) for name in (self.palette.black, self.palette.white))
        luminance = self.view.weights[:, 1]
        y_black, y_white = reflectance[black] @ luminance, reflectance[white] @ luminance
        ratio = y_black / y_white
        miss = self.target.opacity_miss(ratio)
        scale = _OPACITY_REACHED if self.target.contrast_ratio is not None else _OPACITY_BOUND
        by_black = self._by_loading(np.broadcast_to(luminance, (len(sets), 1, luminance.size)), slopes[black], sets)
        by_white = self._by_loading(np.broadcast_to(luminance, (len(sets), 1, luminance.size)), slopes[white], sets)
        by_ratio = by_black / y_white[:, None, None] - by_white * (ratio / y_white)[:, None, None]
        asked = (miss != 0.0) | (self.target.contrast_ratio is not None)
        return miss[:, None] / scale, np.where(asked[:, None, None], by_ratio, 0.0) / scale


def _best_of_starts(forward: _Forward, sets: Index, bounds: Array, total: float) -> Found:
    """Each set from a thin and from a strong start: colour bends both ways with loading."""
    high = bounds[sets]
    found = [
        minimise(forward, sets, share * np.minimum(high, total), low=np.zeros_like(high), high=high, total=total)
        for share in (0.02, 0.3)
    ]
    better = found[1].cost < found[0].cost
    return Found(
        np.where(better[:, None], found[1].loadings, found[0].loadings),
        np.where(better, found[1].cost, found[0].cost),
        np.where(better[:, None], found[1].pull, found[0].pull),
    )


def _worth_showing(found: list[tuple[float, Array, Array]], bounds: Array) -> list[tuple[Array, Array]]:
    """Of all sets at their best, those that no smaller or equal part of them matches."""
    scored = sorted(
        (np.sqrt(cost) + _EACH_PIGMENT * np.count_nonzero(x > 1e-4 * bounds), at)
        for at, (cost, x, _) in enumerate(found)
    )
    shown: list[tuple[Array, Array]] = []
    used: list[set[int]] = []
    for _, at in scored:
        _, x, pull = found[at]
        x = np.where(x > 1e-4 * bounds, x, 0.0)
        pigments = set(np.flatnonzero(x).tolist())
        if any(pigments >= other for other in used):
            continue
        shown.append((x, pull))
        used.append(pigments)
        if len(shown) == 8:
            break
    return shown


def _recipe(palette: Palette, target: Target, setting: Setting, base: str, loadings: Array, pull: Array) -> Recipe:
    blend = palette.blend(base, loadings)
    appearance = predict(palette, blend, setting=setting)
    delta_e = float(colorimetry.difference(target.lab, appearance.lab))
    miss = float(target.opacity_miss(appearance.contrast_ratio)) if target.asks_opacity else 0.0
    reached = delta_e <= target.tolerance and abs(miss) <= _OPACITY_SLACK
    binding = limits.binding(palette, base, loadings, pull, target, appearance.contrast_ratio, reached=reached)
    return Recipe(
        blend=blend,
        appearance=appearance,
        delta_e=delta_e,
        limits=binding,
        reached=reached,
        reason="" if reached else limits.why_not(palette, base, binding, delta_e, miss, target),
        price_per_kg=limits.price(palette, blend),
    )
