"""What keeps a recipe from its target; and, out of reach, what would have to give and what that would bring."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import replace

import numpy as np

from tint.appearance import Appearance
from tint.opacity import ALLOWED, FAIR, KINDS
from tint.palette import Palette
from tint.recipes.aims import STRICT, Problem
from tint.recipes.answer import Loosened, Recipe
from tint.recipes.candidates import Bounds, Candidates
from tint.recipes.certainty import predicted
from tint.recipes.choice import Merits, closeness
from tint.recipes.judging import judge, met
from tint.recipes.sets import finish
from tint.spectra import Array
from tint.target import Target, amount

_TOUCH = 1e-4  # share of a limit within which it is touched
_WORTH = 0.1  # CIEDE2000 that giving way must promise, for a limit to be named, and must bring, for it to be told
_SETS = 32  # nearest sets that are tried again with a limit loosened
_FARTHEST = 4.0  # times a limit or a thickness, to look no farther
_MOST_OF_IT = 0.2  # of the gain may be left when the target stays out of reach


def binding(
    palette: Palette,
    bounds: Bounds,
    loadings: Array,
    gain: Array,
    target: Target,
    look: Appearance,
    *,
    missed: bool,
    reached: bool,
) -> tuple[str, ...]:
    """The limits that a recipe rests on and would pass if it could.

    `loadings`, `gain` (n_pigments + 1,): the recipe at its optimum [%], and by how much its miss would fall for more of
        a pigment [1/%].
    `missed`: whether the opacity asked for is not met.

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
    told += [kind for kind in KINDS if _rests(target, kind, predicted(look, kind)[0])]
    if missed and not set(told) & set(KINDS):
        told.append(_first_asked(target))
    if not told and not reached:
        told.append("palette")
    return tuple(told)


def _first_asked(target: Target) -> str:
    return next(filter(target.asks, KINDS))


def _rests(target: Target, kind: str, value: float) -> bool:
    return any(bound is not None and abs(value - bound) <= ALLOWED for bound in target.bounds(kind))


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
    if opacity_miss:
        kind = _first_asked(target)
        miss, way = amount(kind, abs(opacity_miss), ".2g"), "high" if opacity_miss > 0 else "low"
        told.append(f"the {kind.replace('_', ' ')} is {miss} too {way}")
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


def loosen(
    problem: Problem, found: Candidates, bounds: Bounds, best: Recipe, pigments: list[str]
) -> Iterator[Loosened]:
    """What each binding limit would bring if it gave way, then opacity, then thickness."""
    # Of several walls each takes as long as one.
    near = found.rows(np.arange(min(_SETS // sum(len(each.walls_mm) for each in problem.castings), len(found.sets))))
    for limit in best.limits:
        kind, _, name = limit.partition(":")
        if kind == "max_loading":
            yield from _looser_limit(
                problem, near, bounds, best, limit, None if name == "total" else pigments.index(name)
            )
        elif kind in KINDS:
            yield from _without_opacity(problem, near, bounds, best)
    yield from _other_thickness(problem, near, bounds, best)


def _nearest(problem: Problem, near: Candidates, bounds: Bounds) -> tuple[float, float, bool]:
    """Closeness of the best set: its miss with opacity counted, its CIEDE2000, whether it is met."""
    ended = finish(replace(problem, opacity_scale=STRICT), near.sets, near.loadings, bounds)
    delta_e, opacity, miss = closeness(judge(problem, ended.sets, ended.loadings))
    at = int(miss.argmin())
    return float(miss[at]), float(delta_e[at]), bool(met(problem.target.tolerance, delta_e[at], opacity[at]))


def _looser_limit(
    problem: Problem, near: Candidates, bounds: Bounds, best: Recipe, limit: str, pigment: int | None
) -> Iterator[Loosened]:
    now = bounds.total if pigment is None else float(bounds.high[pigment])

    def attempt(value: float) -> tuple[float, float, bool]:
        high = bounds.high.copy()
        if pigment is not None:
            high[pigment] = value
        looser = replace(bounds, high=high) if pigment is not None else replace(bounds, total=value)
        return _nearest(problem, near, looser)

    value, (miss, delta_e, met) = _least_that_helps(now, _miss(best), attempt)
    value = _up(value)
    what = "in all" if pigment is None else f"of {limit.partition(':')[2]}"
    if miss < _miss(best) - _WORTH:
        yield _loosened(limit, value, delta_e, met, f"{now:g} % {what} binds; {value:.2g} %", "reach it")


def _loosened(
    limit: str, value: float | None, delta_e: float, reached: bool, said: str, reaching: str
) -> Loosened:  # fmt: skip
    """What giving way would bring: `said` tells on what, `reaching` what it then would do where the target is met."""
    end = reaching if reached else f"come within {delta_e:.1f} CIEDE2000"
    return Loosened(limit=limit, value=value, delta_e=delta_e, reached=reached, words=f"{said} would {end}")


def _up(value: float) -> float:
    """Two digits, never less: so that what is told is enough."""
    unit = 10.0 ** (np.floor(np.log10(value)) - 1.0)
    return float(np.round(np.ceil(value / unit - 1e-9) * unit, 12))


def _miss(best: Recipe) -> float:
    return float(np.hypot(best.delta_e, best.opacity_miss / FAIR))


def _least_that_helps(
    now: float, miss: float, attempt: Callable[[float], tuple[float, float, bool]]
) -> tuple[float, tuple[float, float, bool]]:
    """The least value above `now` that meets the target, or else brings most of what can be had, and what it brings."""
    low, high = now, _FARTHEST * now
    outcome = attempt(high)
    enough = outcome[0] + _MOST_OF_IT * max(miss - outcome[0], 0.0)
    for _ in range(7):
        middle = float(np.sqrt(low * high))
        tried = attempt(middle)
        if tried[2] or (not outcome[2] and tried[0] <= enough):
            high, outcome = middle, tried
        else:
            low = middle
    return high, outcome


def _without_opacity(problem: Problem, near: Candidates, bounds: Bounds, best: Recipe) -> Iterator[Loosened]:
    castings = tuple(replace(each, asked=frozenset()) for each in problem.castings)
    _, delta_e, met = _nearest(replace(problem, castings=castings), near, bounds)
    if delta_e < best.delta_e - _WORTH or (met and not best.reached):
        yield _loosened("opacity", None, delta_e, met, "without the opacity asked for the colour", "be reached")


def _other_thickness(problem: Problem, near: Candidates, bounds: Bounds, best: Recipe) -> Iterator[Loosened]:
    """The nearest other wall that meets the target, or the best of those tried."""
    now = problem.castings[0].walls_mm[0]
    tried = []
    for factor in (1.25, 1.5, 2.0, 3.0, 0.75, 0.5):
        castings = tuple(
            replace(each, walls_mm=tuple(wall * factor for wall in each.walls_mm)) for each in problem.castings
        )
        miss, delta_e, met = _nearest(replace(problem, castings=castings), near, bounds)
        tried.append((not met, abs(np.log(factor)) if met else miss, factor, miss, delta_e))
    missed, _, factor, miss, delta_e = min(tried)
    if miss < _miss(best) - _WORTH:
        said = f"a wall of {now * factor:.2g} mm in place of {now:g} mm"
        yield _loosened("thickness", now * factor, delta_e, not missed, said, "reach it")


def nearer(
    limit: str, value: float | None, merits: Merits, target: Target, best: Recipe, said: str, reaching: str
) -> list[Loosened]:  # fmt: skip
    """What the nearest of other candidates would bring, where it is clearly nearer; words as of `_loosened`."""
    at = int(merits.miss.argmin())
    if merits.miss[at] >= _miss(best) - _WORTH:
        return []
    reached = bool(merits.met(target.tolerance)[at])
    return [_loosened(limit, value, float(merits.delta_e[at]), reached, said, reaching)]
