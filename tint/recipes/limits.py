"""What a recipe may hold: cures, loadings, stock, and doses that the scale can weigh, alone or let down in base."""

from __future__ import annotations

import itertools
from collections.abc import Collection
from dataclasses import replace

import numpy as np

from tint.errors import InputError, did_you_mean
from tint.materials import Blend
from tint.palette import Palette
from tint.recipes.aims import Problem
from tint.recipes.answer import Rules
from tint.recipes.candidates import Bounds
from tint.recipes.judging import judge
from tint.spectra import Array, Index, Mask
from tint.weighing import Scale
from tint.weighing.premix import TOLERANCE_PERCENT, WEAKEST, premixes

_LEAST_SHARE = 1e-3  # of its largest loading: what a pigment to be kept has at least
_LARGER = (1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 10.0, 20.0)  # times the batch
_OF_A_PREMIX = 1.3  # of the smallest weighing: what is weighed of a premix, its strength being a round number


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
                mend = did_you_mean(name, palette.pigments)
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

    Raises InputError if the least doses of the pigments to be kept are more than the base takes.
    """
    names = list(palette.pigments)
    total = palette.bases[base].max_loading
    total = total if rules.max_total is None else min(total, rules.max_total)
    high = np.array([100.0 if p.max_loading is None else p.max_loading for p in palette.pigments.values()])
    low = np.full(len(names), max(rules.smallest, least_dose(palette, base, rules)))
    step = 100.0 * (rules.scale_step_g or 0.0) / (rules.batch_g or 1.0)
    step = step if least_dose(palette, base, rules) == 0.0 else 0.0  # with premixes less than a step will do
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


# Doses that a scale can weigh.


def scale_of(rules: Rules) -> Scale | None:
    """The scale that doses are weighed on; None where scale or batch are not told."""
    if rules.batch_g is None or rules.scale_step_g is None:
        return None
    return Scale(step_g=rules.scale_step_g, tolerance_percent=rules.dose_tolerance_percent or TOLERANCE_PERCENT)


def least_dose(palette: Palette, base: str, rules: Rules) -> float:
    """The least loading that can be weighed, through two premixes; 0 where the batch has no base for one [%]."""
    scale = scale_of(rules)
    if scale is None or _part_g(palette, base, rules) < (1.0 + _OF_A_PREMIX) * scale.smallest_g:
        return 0.0
    return 100.0 * scale.smallest_g / WEAKEST / float(rules.batch_g or 1.0)


def _part_g(palette: Palette, base: str, rules: Rules, loading: float = 0.0) -> float:
    """What the batch holds of the part that takes the pigment [g]."""
    own = palette.bases[base]
    return float(rules.batch_g or 0.0) * (1.0 - loading / 100.0) * own.mix[own.pigment_in] / sum(own.mix.values())


def unweighable(palette: Palette, blend: Blend, rules: Rules) -> tuple[str, ...]:
    """Pigments of which the scale cannot weigh the dose, not even let down in base twice."""
    scale = scale_of(rules)
    if scale is None:
        return ()
    doses = {name: x * float(rules.batch_g or 0.0) / 100.0 for name, x in blend.loadings.items() if x > 0.0}
    part = palette.bases[blend.base].pigment_in
    made = premixes(doses, scale=scale, part=part, base_g=_part_g(palette, blend.base, rules, blend.total), lots={})
    return tuple(name for name, grams in doses.items() if grams < scale.least_g and name not in made)


def least_batch(palette: Palette, blend: Blend, rules: Rules) -> float | None:
    """The batch in which the scale weighs a recipe, its size going up in steps; None where the batch does, or up to
    twenty times of it do not, or none is told [g].
    """
    for factor in _LARGER if scale_of(rules) else ():
        batch = float(rules.batch_g or 0.0) * factor
        if not unweighable(palette, blend, replace(rules, batch_g=batch)):
            return batch if factor > 1.0 else None
    return None


def too_small(blend: Blend, rules: Rules) -> tuple[str, ...]:
    """Pigments whose dose the scale does not weigh to the tolerance as it is: it takes a premix."""
    scale = scale_of(rules)
    if scale is None:
        return ()
    batch = float(rules.batch_g or 0.0)
    return tuple(name for name, x in blend.loadings.items() if x * batch / 100.0 < scale.least_g)


def to_round(palette: Palette, base: str, loadings: Array, rules: Rules) -> Mask:
    """Which doses are weighed as they are, and so in whole steps; like the loadings, shape (n, m)."""
    scale = scale_of(rules)
    if scale is None:
        return np.zeros(loadings.shape, dtype=bool)
    if least_dose(palette, base, rules) == 0.0:
        return np.ones(loadings.shape, dtype=bool)
    return np.asarray(loadings * float(rules.batch_g or 0.0) / 100.0 >= scale.least_g)


def best_roundings(
    problem: Problem, sets: Index, loadings: Array, step: float, bounds: Bounds, rounded: Mask | None = None
) -> Array:
    """Loadings as whole steps, each up or down, whichever choice misses the target least.

    `sets`, `loadings` (n, m): blends [%].
    `step`: what one step of the scale is in the batch [%].
    `rounded` (n, m): which doses are to be whole steps; all, when absent. One that is fixed stands as it is.
    Returns shape (n, m): as they were where no choice is within the bounds.
    """
    n, m = loadings.shape
    low, high = bounds.low[sets], bounds.high[sets]
    rounded = (loadings > 0.0) & (low < high) & (True if rounded is None else rounded)
    below = np.floor(loadings / step + 1e-9)
    best, least = loadings, np.full(n, np.inf)
    for ups in itertools.product((0.0, 1.0), repeat=m):
        trial = np.where(rounded, (below + np.array(ups)) * step, loadings)
        inside = np.all((trial >= low - 1e-9) & (trial <= high + 1e-9) | ~rounded, axis=1)
        inside &= trial.sum(axis=1) <= bounds.total + 1e-9
        cost = np.sum(judge(problem, sets, trial).residuals ** 2, axis=1)
        better = inside & (cost < least)
        best, least = np.where(better[:, None], trial, best), np.where(better, cost, least)
    return best
