"""For a target out of reach: what would have to give, by how much, and what that would bring."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tint.opacity import MET
from tint.recipes.aims import Problem
from tint.recipes.answer import Loosened, Recipe
from tint.recipes.choice import Merits, closeness
from tint.recipes.sets import Bounds, Candidates, finish
from tint.target import Target

Array = NDArray[np.float64]

_SETS = 32  # nearest sets that are tried again with a limit loosened
_FARTHEST = 4.0  # times a limit or a thickness, to look no farther
_MOST_OF_IT = 0.2  # of the gain may be left when the target stays out of reach
_WORTH = 0.1  # CIEDE2000 by which giving way must help to be told


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
        elif kind in ("contrast_ratio", "transmittance"):
            yield from _without_opacity(problem, near, bounds, best)
    yield from _other_thickness(problem, near, bounds, best)


def _nearest(problem: Problem, near: Candidates, bounds: Bounds) -> tuple[float, float, bool]:
    """Closeness of the best set: its miss with opacity counted, its CIEDE2000, whether it is met."""
    ended = finish(problem, near.sets, near.loadings, bounds)
    delta_e, opacity, miss = closeness(problem, ended.sets, ended.loadings)
    at = int(miss.argmin())
    return float(miss[at]), float(delta_e[at]), _met(problem.target, float(delta_e[at]), float(opacity[at]))


def _met(target: Target, delta_e: float, opacity: float) -> bool:
    return delta_e <= target.tolerance and abs(opacity) <= MET


def _looser_limit(
    problem: Problem, near: Candidates, bounds: Bounds, best: Recipe, limit: str, pigment: int | None
) -> Iterator[Loosened]:
    now = bounds.total if pigment is None else float(bounds.high[pigment])

    def looser(value: float) -> Bounds:
        if pigment is None:
            return replace(bounds, total=value)
        high = bounds.high.copy()
        high[pigment] = value
        return replace(bounds, high=high)

    def attempt(value: float) -> tuple[float, float, bool]:
        return _nearest(problem, near, looser(value))

    value, (miss, delta_e, met) = _least_that_helps(now, _miss(best), attempt)
    value = _up(value)
    what = "in all" if pigment is None else f"of {limit.partition(':')[2]}"
    if miss < _miss(best) - _WORTH:
        end = "would reach it" if met else f"would come within {delta_e:.1f} CIEDE2000"
        words = f"{now:g} % {what} binds; {value:.2g} % {end}"
        yield Loosened(limit=limit, value=value, delta_e=delta_e, reached=met, words=words)


def _up(value: float) -> float:
    """Two digits, never less: so that what is told is enough."""
    unit = 10.0 ** (np.floor(np.log10(value)) - 1.0)
    return float(np.round(np.ceil(value / unit - 1e-9) * unit, 12))


def _miss(best: Recipe) -> float:
    return float(np.hypot(best.delta_e, best.opacity_miss / 0.01))


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
    castings = tuple(replace(each, opacity=False, light=False) for each in problem.castings)
    _, delta_e, met = _nearest(replace(problem, castings=castings), near, bounds)
    if delta_e < best.delta_e - _WORTH or (met and not best.reached):
        end = "the colour would be reached" if met else f"the colour would come within {delta_e:.1f} CIEDE2000"
        words = f"without the opacity asked for {end}"
        yield Loosened(limit="opacity", value=None, delta_e=delta_e, reached=met, words=words)


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
        end = f"would come within {delta_e:.1f} CIEDE2000" if missed else "would reach it"
        words = f"a wall of {now * factor:.2g} mm in place of {now:g} mm {end}"
        yield Loosened(limit="thickness", value=now * factor, delta_e=delta_e, reached=not missed, words=words)


def other_base(name: str, merits: Merits, target: Target, best: Recipe) -> list[Loosened]:
    """What another base would bring."""
    at = int(merits.miss.argmin())
    delta_e, met = float(merits.delta_e[at]), _met(target, float(merits.delta_e[at]), float(merits.opacity[at]))
    if merits.miss[at] >= _miss(best) - _WORTH:
        return []
    end = "would be reached" if met else f"would come within {delta_e:.1f} CIEDE2000"
    return [Loosened(limit=f"base:{name}", value=None, delta_e=delta_e, reached=met, words=f"in {name} it {end}")]


def larger_batch(batch_g: float | None, merits: Merits, target: Target, best: Recipe) -> list[Loosened]:
    """What a batch would bring in which the scale can weigh the nearest recipe; None where none of sense does [g]."""
    at = int(merits.miss.argmin())
    if batch_g is None or merits.miss[at] >= _miss(best) - _WORTH:
        return []
    delta_e, met = float(merits.delta_e[at]), _met(target, float(merits.delta_e[at]), float(merits.opacity[at]))
    end = "would reach it" if met else f"would come within {delta_e:.1f} CIEDE2000"
    words = f"this scale does not weigh nearer recipes; {batch_g:.3g} g of mix, or a finer scale, {end}"
    return [Loosened(limit="batch", value=batch_g, delta_e=delta_e, reached=met, words=words)]
