"""What holds a recipe back: cures, loadings, stock, opacity, the palette; in words for people and for scripts."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from tint.appearance import Appearance
from tint.errors import InputError
from tint.opacity import KINDS, MET
from tint.palette import Palette
from tint.recipes import rounding
from tint.recipes.aims import Judged
from tint.recipes.answer import Recipe, Rules
from tint.recipes.sets import Bounds
from tint.target import Target

Array = NDArray[np.float64]

_TOUCH = 1e-4  # share of a limit within which it is touched
_WORTH = 0.1  # CIEDE2000 that giving way must promise, for a limit to be named
_LEAST_SHARE = 1e-3  # of its largest loading: what a pigment to be kept has at least


def check_rules(palette: Palette, rules: Rules) -> None:
    """Raise InputError for a pigment that the palette lacks, or rules that contradict each other."""
    groups: dict[str, Collection[str]] = {
        "keep": rules.keep,
        "leave out": rules.leave_out,
        "insist": rules.insist,
        "fix": rules.fixed,
        "stock": rules.stock_g,
    }
    for option, names in groups.items():
        for name in names:
            if name not in palette.pigments:
                near = difflib.get_close_matches(name, palette.pigments, n=1)
                mend = f"did you mean {near[0]}?" if near else ""
                raise InputError(
                    option, f"`{name}` is not a pigment here", "one of " + ", ".join(palette.pigments), mend
                )
    both = (set(rules.keep) | set(rules.fixed)) & set(rules.leave_out)
    if both:
        raise InputError("keep", f"{' and '.join(sorted(both))} is also to be left out", mend="choose one")
    if len(kept(palette, rules)) > rules.most_pigments:
        raise InputError("keep", f"{len(kept(palette, rules))} pigments", f"at most {rules.most_pigments}")
    for name, loading in rules.fixed.items():
        if not 0.0 < loading <= 100.0:
            raise InputError("fix", f"{loading:g} % of {name}", "more than 0 and at most 100 %")
        if loading > _in_stock(rules, name) * (1.0 + 1e-9):
            raise InputError("fix", f"{loading:g} % of {name}", f"at most {_in_stock(rules, name):.3g} %, all there is")
    fixed, most = sum(rules.fixed.values()), 100.0 if rules.max_total is None else rules.max_total
    if fixed > most:
        raise InputError("fix", f"the fixed loadings sum to {fixed:g} %", f"at most {most:g} %")


def _in_stock(rules: Rules, name: str) -> float:
    """The loading that all there is of a pigment would make in the batch [%]."""
    return 100.0 * rules.stock_g[name] / float(rules.batch_g or 1.0) if name in rules.stock_g else np.inf


def kept(palette: Palette, rules: Rules) -> list[int]:
    """Numbers of the pigments that every recipe has."""
    names = list(palette.pigments)
    return sorted({names.index(name) for name in (*rules.keep, *rules.fixed)})


def usable_pigments(palette: Palette, base: str, rules: Rules) -> tuple[list[int], dict[str, str]]:
    """Numbers of the pigments that may go into a base, and why each other one may not."""
    cure = palette.bases[base].cure
    cast = {name for seen in palette.seen.values() for name in seen.max_loading}
    usable, refused = [], {}
    for number, (name, pigment) in enumerate(palette.pigments.items()):
        if name in rules.leave_out:
            continue
        if pigment.cures is not None and cure not in pigment.cures and name not in rules.insist:
            refused[name] = f"not safe with the {cure} cure of {base}"
        elif name not in cast:
            refused[name] = "never cast in any swatch, so nothing is known of it"
        elif _in_stock(rules, name) <= 0.0:
            refused[name] = "none in stock"
        elif min(pigment.max_loading or 100.0, _in_stock(rules, name)) < rules.smallest and name not in rules.fixed:
            refused[name] = f"no dose of it is as large as the smallest asked for, {rules.smallest:g} %"
        else:
            usable.append(number)
    return usable, refused


def bounds(palette: Palette, base: str, rules: Rules) -> Bounds:
    """Least and largest loadings in a base under the rules.

    Raises
    ------
    InputError
        If the least doses of the pigments to be kept are more than the base takes.
    """
    names = list(palette.pigments)
    total = palette.bases[base].max_loading
    total = total if rules.max_total is None else min(total, rules.max_total)
    high = np.array([100.0 if p.max_loading is None else p.max_loading for p in palette.pigments.values()])
    low = np.full(len(names), max(rules.smallest, rounding.least_dose(palette, base, rules)))
    step = 100.0 * (rules.scale_step_g or 0.0) / (rules.batch_g or 1.0)
    step = step if rounding.least_dose(palette, base, rules) == 0.0 else 0.0  # with premixes less than a step will do
    for number in kept(palette, rules):
        low[number] = max(low[number], step, _LEAST_SHARE * min(high[number], total))
    high = np.minimum(high, [_in_stock(rules, name) for name in names])
    for name, loading in rules.fixed.items():
        low[names.index(name)] = high[names.index(name)] = loading
    low, total = np.minimum(low, high), max(total, sum(rules.fixed.values()))
    least = float(low[kept(palette, rules)].sum())
    if least > total * (1.0 + 1e-9):
        raise InputError(
            "keep", f"the least doses sum to {least:.3g} %", f"at most {total:g} % in {base}", "keep fewer"
        )
    return Bounds(np.append(low, 0.0), np.append(high, 0.0), total)


def met(target: Target, judged: Judged) -> bool:
    """Whether one blend at least has all colours and the opacity asked for."""
    near = np.all(judged.colour <= target.tolerance, axis=1)
    return bool(np.any(near & np.all(np.abs(judged.opacity) <= MET, axis=1)))


def binding(
    palette: Palette,
    bounds: Bounds,
    loadings: Array,
    gain: Array,
    target: Target,
    look: Appearance,
    judged: Judged,
    *,
    reached: bool,
) -> tuple[str, ...]:
    """The limits that a recipe rests on and would pass if it could.

    Parameters
    ----------
    loadings, gain : ndarray, shape (n_pigments + 1,)
        The recipe at its optimum [%], and by how much its miss would fall for more of a pigment [1/%].

    Notes
    -----
    A limit binds where, by its slope, twice of it would bring the target clearly nearer; one that a recipe merely
    touches, since the pigments have no more to give, does not.
    """
    told = []
    free = bounds.high > bounds.low
    if loadings.sum() >= bounds.total * (1.0 - _TOUCH) and np.any((gain * bounds.total > _WORTH) & (loadings > 0.0)):
        told.append("max_loading:total")
    for number, name in enumerate(palette.pigments):
        by_doubling = gain[number] * loadings[number]
        if free[number] and by_doubling > _WORTH and loadings[number] >= bounds.high[number] * (1.0 - _TOUCH):
            told.append(f"max_loading:{name}")
        if free[number] and by_doubling < -_WORTH and loadings[number] <= bounds.low[number] * (1.0 + _TOUCH):
            told.append(f"smallest:{name}")
        if not free[number] and abs(by_doubling) > _WORTH:
            told.append(f"fixed:{name}")
    if target.asks_opacity and _rests(target, "contrast_ratio", look.contrast_ratio):
        told.append("contrast_ratio")
    if target.asks_light and _rests(target, "transmittance", look.luminous_transmittance):
        told.append("transmittance")
    if target.asks_haze and _rests(target, "haze", look.haze):
        told.append("haze")
    missed = bool(np.any(np.abs(judged.opacity) > MET))
    if missed and not set(told) & set(KINDS):
        told.append(_first_asked(target))
    if not told and not reached:
        told.append("palette")
    return tuple(told)


def _first_asked(target: Target) -> str:
    return "contrast_ratio" if target.asks_opacity else "transmittance" if target.asks_light else "haze"


def _rests(target: Target, kind: str, value: float) -> bool:
    asked = (getattr(target, kind), getattr(target, f"{kind}_min"), getattr(target, f"{kind}_max"))
    return any(bound is not None and abs(value - bound) <= MET for bound in asked)


def why_not(
    palette: Palette,
    base: str,
    bounds: Bounds,
    limits: Collection[str],
    delta_e: float,
    opacity_miss: float,
    target: Target,
) -> str:
    """Why a recipe does not reach its target, in words."""
    told = []
    if delta_e > target.tolerance:
        told.append(f"the colour stays {delta_e:.1f} CIEDE2000 away")
    if abs(opacity_miss) > MET:
        what = _first_asked(target).replace("_", " ")
        told.append(f"the {what} is {abs(opacity_miss):.2f} too {'high' if opacity_miss > 0 else 'low'}")
    names = list(palette.pigments)
    for limit in limits:
        kind, _, name = limit.partition(":")
        if limit == "max_loading:total":
            told.append(f"the largest total of {bounds.total:g} % in {base} binds")
        elif kind == "max_loading":
            told.append(f"the largest loading of {name}, {bounds.high[names.index(name)]:g} %, binds")
        elif kind in ("smallest", "fixed"):
            told.append(f"the {kind} dose of {name}, {bounds.low[names.index(name)]:g} %, binds")
        elif kind == "scale_step":
            told.append("exact doses would reach it, but the scale's step is too coarse for this batch: make a premix")
        elif kind == "palette":
            told.append("no loading of these pigments comes clearly nearer")  # sparing may have given up a little
        elif delta_e > target.tolerance:
            told.append("the opacity asked for holds the colour back")
    return "; ".join(told)


def warnings(palette: Palette, target: Target, recipes: Sequence[Recipe]) -> list[str]:
    """What a maker must know of the answer as a whole: opacity left unsaid, cures that nobody knows."""
    told = []
    # A palette that cannot tell opacity says so with every recipe: there is nothing to ask it for.
    if palette.tells_opacity and not target.asks_more and not target.also:
        kind = "a screen colour" if target.source.startswith("screen") else "a colour"
        told.append(f"{kind} says nothing of opacity: ask for a contrast ratio, or the part may come out see-through")
    if target.known_within > target.tolerance:
        told.append(
            f"the colour wanted is itself known within {target.known_within:.2g} CIEDE2000 only: have a sample of it "
            "read, or let the customer choose"
        )
    unsure: dict[str, set[str]] = {}
    for recipe in recipes:
        cure = palette.bases[recipe.blend.base].cure
        for name in recipe.blend.loadings:
            if palette.pigments[name].cures is None:
                unsure.setdefault(name, set()).add(cure)
            elif cure not in (palette.pigments[name].cures or ()):
                told.append(f"{name} is not safe with {cure} cure and is used because you insist: cure a cup first")
    for name, cures in unsure.items():
        told.append(f"{name} is not known to be safe with {' or '.join(sorted(cures))} cure: cure a cup of it first")
    return list(dict.fromkeys(told))
