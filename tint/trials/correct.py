"""The corrected recipe: what the cause warrants, else the fewest doses; and what to add to a part that stands there."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from tint import colorimetry
from tint.appearance import Appearance, Setting, predict
from tint.errors import InputError
from tint.materials import Blend
from tint.opacity import FAIR
from tint.palette import Palette
from tint.recipes import Answer, Recipe, Rules, limits, solve
from tint.recipes.aims import STRICT, lay_out
from tint.recipes.candidates import Bounds
from tint.recipes.choice import closeness
from tint.recipes.judging import judge, spread
from tint.recipes.refine import ALIKE
from tint.recipes.search import minimise
from tint.recipes.sets import best_of_sets
from tint.spectra import Array, Index
from tint.target import Target
from tint.trials.cause import SEVERAL, STRENGTH, Cause
from tint.trials.trial import Trial

MOST_PIGMENTS = 5  # that solving takes (tint.recipes.Rules)
_AS_SOLID = 0.001  # of contrast ratio: lost by a correction, and seen by nobody
_EQUAL = 0.1  # CIEDE2000 between corrections of as many doses: of those the one that changes less
# Times the base in the cup that are tried in turn, up to the double: beyond that a fresh batch is the lesser waste.
# The grid is coarser than the colour is sensitive, since the pigments are optimised at each; no source.
_THINNINGS = (1.0, 1.02, 1.05, 1.1, 1.2, 1.35, 1.5, 1.75, 2.0)
_WORTH = 0.1  # CIEDE2000 that more base must gain to be added: a tenth of the usual tolerance, no source
_SPARING = 0.02  # CIEDE2000 that a percent of pigment must gain: of additions alike the least is taken, no source
_NOTHING_G = 1e-9  # g that rounding of floating-point numbers leaves
_SLACK = 1.001  # times what stands in the cup, so that rounding does not make it break its own limit


def corrected(
    palette: Palette, target: Target, setting: Setting, poured: Blend, rules: Rules, given: Rules,
    cause: Cause | None = None, *, loosen: bool = True,
) -> tuple[Answer, bool]:  # fmt: skip
    """Recipes that change what the cause warrants; else the fewest doses; else other pigments, where those do not do.

    Other pigments are of lots that no trial has told of: what is not known of them counts against them. With `loosen`
    an answer that is out of reach says what giving way would bring; the steps towards it never do.
    """
    base = poured.base
    search = partial(solve, palette, target, setting=setting, base=base)
    if not (given.keep or given.fixed or given.stock_g or given.leave_out or given.batch_g):
        others = tuple(name for name in palette.pigments if not poured.loadings.get(name))
        held = replace(rules, leave_out=others)
        warranted = list(_warranted(palette, poured, cause))
        # What a fresh optimum would gain within the scatter is noise, and no reason to change more.
        fresh = search(rules=held, loosen=False).recipes if warranted else ()
        nearest = min((each.delta_e for each in fresh), default=0.0)
        for blend in warranted:
            only = search(rules=replace(held, fixed=dict(blend.loadings)), loosen=False)
            best = only.best
            if best.reached and best.delta_e <= nearest + best.appearance.scatter:
                return only, True
        change = _fewest_changes(palette, target, poured, setting=setting, rules=rules)
        still = {name: loading for name, loading in poured.loadings.items() if loading > 0.0 and name not in change}
        if poured.total > 0.0:
            few = search(rules=replace(held, fixed=still), loosen=False)
            if few.best.reached:
                return few, True
    own = search(rules=rules, loosen=loosen)
    if own.recipes[0].reached or rules == given:
        return own, True
    free = search(rules=given, loosen=loosen)
    return (free, False) if _expected_miss(free.recipes[0]) < _expected_miss(own.recipes[0]) else (own, True)


def _warranted(palette: Palette, poured: Blend, cause: Cause | None) -> Iterator[Blend]:
    """What was poured, as a single cause asks to change it: not at all, or the one dose whose lot has changed."""
    loadings = {name: loading for name, loading in poured.loadings.items() if loading > 0.0}
    if cause is None or cause.kind == SEVERAL or not loadings:
        return
    yield Blend(poured.base, loadings)
    if cause.kind == STRENGTH and cause.name in loadings:
        at = len(palette.bases) + list(palette.pigments).index(cause.name)
        changed = loadings[cause.name] / float(cause.learned.factors[at])
        most = palette.pigments[cause.name].max_loading or palette.bases[poured.base].max_loading
        if changed <= most:
            yield Blend(poured.base, {**loadings, cause.name: changed})


def _expected_miss(recipe: Recipe) -> float:
    """Root mean square of what a pour would miss, opacity brought to CIEDE2000 by the scale that solving uses."""
    look = recipe.appearance
    opacity = np.hypot(recipe.opacity_miss, np.nan_to_num(look.contrast_ratio_error) / 2.0) / FAIR
    return float(np.hypot(np.hypot(recipe.delta_e, look.expected_error / 2.0), opacity))


def keeping(trial: Trial, rules: Rules) -> Rules:
    """Rules that keep the trial's pigments, unless they name others to keep."""
    if rules.keep:
        return rules
    keep = tuple(name for name, x in trial.blend.loadings.items() if x > 0.0 and name not in rules.leave_out)
    if len(keep) > MOST_PIGMENTS:
        raise InputError("adjust", f"the trial holds {len(keep)} pigments", f"at most {MOST_PIGMENTS}", "leave one out")
    return replace(rules, keep=keep, most_pigments=max(rules.most_pigments, len({*keep, *rules.fixed})))


def _fewest_changes(
    palette: Palette, target: Target, blend: Blend, *, setting: Setting, rules: Rules
) -> tuple[str, ...]:
    """Pigments of what was poured whose doses are to be changed: as few as bring it as near as changing all would.

    Empty where nothing gains by being changed.
    """
    bounds = limits.bounds(palette, blend.base, replace(rules, keep=(), fixed={}))
    problem = lay_out(
        palette, target, setting=setting, base=blend.base, largest=bounds.largest[:-1], walls_mm=rules.walls_mm
    )
    problem = replace(problem, thrift=0.0, opacity_scale=STRICT)
    poured = palette.loadings(blend)
    held = np.flatnonzero(poured)
    ways = [way for size in range(len(held) + 1) for way in itertools.combinations(range(len(held)), size)]
    free = np.array([[slot in way for slot in range(len(held))] for way in ways], dtype=bool).reshape(len(ways), -1)
    sets = np.tile(held, (len(ways), 1))
    now = poured[sets]

    def residuals(rows: Index, loadings: Array) -> tuple[Array, Array]:
        judged = judge(problem, sets[rows], loadings, rows)
        return judged.residuals, judged.slopes

    found = minimise(
        residuals,
        now,
        low=np.where(free, bounds.low[sets], now),
        high=np.where(free, np.maximum(bounds.high[sets], now), now),
        total=max(bounds.total, float(poured.sum())),
    )
    judged = judge(problem, sets, found.loadings)
    colour, opacity = judged.worst, judged.missed
    solid = opacity <= max(float(opacity.min()), _AS_SOLID)
    near = solid & (colour <= float(colour[solid].min()) + ALIKE)
    size = free.sum(axis=1)
    moved = np.sum(np.abs(np.log(np.maximum(found.loadings, 1e-9) / now)), axis=1) if len(held) else np.zeros(1)
    order = np.lexsort((moved, np.floor(colour / _EQUAL), size, ~near))
    names = list(palette.pigments)
    return tuple(names[held[slot]] for slot in ways[int(order[0])])


# Additions only, to a tinted part that stands there without its catalyst.


@dataclass(frozen=True, kw_only=True, eq=False)
class Cup:
    """A tinted part that stands there: grams of its own base and of each pigment in it [g]."""

    base: str
    base_g: float
    pigments_g: Mapping[str, float]


@dataclass(frozen=True, kw_only=True, eq=False)
class Additions:
    """What to add, and what it becomes."""

    base_g: float  # more of the part itself [g]
    pigments_g: dict[str, float]  # [g]
    blend: Blend  # of the finished mix, the other part at the base's own ratio [%]
    appearance: Appearance
    delta_e: float


def additions(palette: Palette, target: Target, cup: Cup, *, setting: Setting, rules: Rules) -> Additions:
    """The least additions that bring a standing part nearest to a target; its pigments can only grow.

    InputError if the cup holds nothing, or names what the palette does not have.
    """
    palette.loadings(Blend(cup.base, dict.fromkeys(cup.pigments_g, 0.0)))
    if not 0.0 < cup.base_g < np.inf or not all(0.0 <= grams < np.inf for grams in cup.pigments_g.values()):
        raise InputError("cup", f"{cup.base_g:g} g of base", "more than 0 g, and no pigment below 0")
    base = palette.bases[cup.base]
    whole_g = cup.base_g * sum(base.mix.values()) / base.mix[base.pigment_in]  # with the other part to come
    stands = np.array([cup.pigments_g.get(name, 0.0) for name in palette.pigments])
    best: tuple[float, float, Array] | None = None
    for thinning in _THINNINGS:
        loadings, miss = _nearest(palette, target, setting, rules, cup.base, stands, whole_g * thinning)
        if best is None or miss < best[0] - _WORTH:
            best = (miss, thinning, loadings)
    assert best is not None
    _, thinning, loadings = best
    total = whole_g * thinning / (1.0 - loadings.sum() / 100.0)
    added = np.maximum(loadings * total / 100.0 - stands, 0.0)
    blend = palette.blend(cup.base, loadings)
    look = predict(palette, blend, setting=setting)
    return Additions(
        base_g=cup.base_g * (thinning - 1.0),
        pigments_g={name: float(x) for name, x in zip(palette.pigments, added, strict=True) if x > _NOTHING_G},
        blend=blend,
        appearance=look,
        delta_e=float(colorimetry.difference(target.lab, look.lab)),
    )


def _nearest(
    palette: Palette, target: Target, setting: Setting, rules: Rules, base: str, stands: Array, base_g: float
) -> tuple[Array, float]:
    """Best loadings with no pigment taken out, shape (n_pigments,) [%], and their miss."""
    floor = 100.0 * stands / (base_g + stands.sum())
    usable, _ = limits.usable_pigments(palette, base, replace(rules, insist=tuple(palette.pigments)))
    bounds = limits.bounds(palette, base, rules)
    low = np.append(floor, 0.0)
    bounds = Bounds(low, np.maximum(bounds.high, low), max(bounds.total, float(floor.sum()) * _SLACK))
    kept = np.flatnonzero(stands).tolist()
    allowed, _ = limits.usable_pigments(palette, base, rules)
    problem = lay_out(palette, target, setting=setting, base=base, largest=bounds.largest[:-1], walls_mm=rules.walls_mm)
    found = best_of_sets(
        problem,
        usable=sorted(set(allowed) | (set(usable) & set(kept))),
        keep=kept,
        most=max(rules.most_pigments, len(kept)),
        bounds=bounds,
    )
    _, _, miss = closeness(judge(problem, found.sets, found.loadings))
    at = int(np.argmin(miss + _SPARING * found.loadings.sum(axis=1)))
    return spread(found.sets[[at]], found.loadings[[at]], stands.size + 1)[0, :-1], float(miss[at])
