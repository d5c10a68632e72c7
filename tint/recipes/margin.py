"""Room between an opacity and its bound: as much as the stated error asks for, so that what is poured keeps it.

A contrast ratio that is predicted to lie on its bound is missed by every second casting. So every recipe is sought for
a bound drawn in by the error of its own prediction, as far as the colour and the loadings allow it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tint.appearance import Appearance
from tint.opacity import FAIR, KINDS, MET, depth
from tint.recipes.aims import STRICT, Judged, Problem, judge
from tint.recipes.sets import Bounds, Candidates, opacity_missed, optimise, put
from tint.recipes.sparing import ALIKE
from tint.target import Target
from tint.uncertainty import Z95

Array = NDArray[np.float64]
Index = NDArray[np.int64]

SAFE = 0.99  # chance with which a recipe is to keep a bound
_Z = 2.326348  # standard deviations that a normal error stays under with that chance, one-sided
_SHARES = (1.0, 0.5, 0.25)  # of the room, where the colour does not allow all of it
_NEAREST = 48  # of the sets near enough to be poured: the room of the others is not sought


def kept(target: Target, look: Appearance) -> float:
    """The chance that a casting keeps all that is asked beside the colour, 0 to 1; of several the least."""
    return min((_chance(*each) for each in _asked(target, look)), default=1.0)


def _asked(target: Target, look: Appearance) -> Iterator[tuple[float, float, float, float]]:
    """Of all that is asked: least, most, what is predicted, and its standard deviation."""
    for kind in KINDS:
        reach, low, high = (getattr(target, kind + end) for end in ("", "_min", "_max"))
        value, error = predicted(look, kind)
        if (reach, low, high) != (None, None, None) and math.isfinite(value) and math.isfinite(error):
            least, most = low if reach is None else reach, high if reach is None else reach
            yield -math.inf if least is None else least, math.inf if most is None else most, value, error


def predicted(look: Appearance, kind: str) -> tuple[float, float]:
    """What a part will have, and the standard deviation of that: the part's own, without the noise of a reading."""
    name = "luminous_transmittance" if kind == "transmittance" else kind
    value, width = float(getattr(look, name)), float(getattr(look, f"{name}_error"))
    noise = look.contrast_ratio_noise if kind == "contrast_ratio" else 0.0
    return value, of_part(width, noise)


def of_part(width: float, noise: float) -> float:
    """The standard deviation of a part, of half widths that hold 95 times in 100: of a reading, and of its noise."""
    return math.sqrt(max(width**2 - noise**2, 0.0)) / Z95


def _chance(least: float, most: float, value: float, error: float) -> float:
    width = max(error, 1e-9) * math.sqrt(2.0)
    return 0.5 * (math.erf((most + MET - value) / width) - math.erf((least - MET - value) / width))


def of_depth(kind: str, value: float, error: float) -> float:
    """The room that a prediction needs to keep a bound with chance `SAFE`, as a share of its optical depth."""
    if not math.isfinite(value + error):
        return 0.0
    own = float(depth(kind, value))
    return _Z * error * math.exp(own) / own


def with_margin(problem: Problem, found: Candidates, bounds: Bounds, unsure: Callable[[Index], Array]) -> Candidates:
    """The recipes that reach the target, brought off its bounds as far as their colour allows, with the room they need.

    Half of the tolerance may be spent on it, and in any case what no eye tells: a colour is predicted no better.

    Parameters
    ----------
    unsure : callable
        From rows to the room that each needs, shape (n, 3), as of `aims.Problem`.
    """
    tolerance = problem.target.tolerance
    before = judge(problem, found.sets, found.loadings)
    colour = before.colour.max(axis=1)
    most = np.minimum(np.maximum(colour + ALIKE, 0.5 * tolerance), tolerance)
    near = np.flatnonzero(reached(problem, before))
    near = near[np.argsort(colour[near], kind="stable")[:_NEAREST]]
    if near.size == 0 or before.opacity.shape[1] == 0:
        return found
    room = np.array(found.room)
    room[near] = unsure(near)
    found = replace(found, room=room)
    open_ = near[lacking(problem, found.rows(near)) > 0.0]
    for share in _SHARES:
        if open_.size == 0:
            break
        held = replace(problem, room=share * room[open_], opacity_scale=STRICT)
        again = optimise(held, found.sets[open_], found.loadings[open_], bounds, tolerance=1e-6, most_steps=40)
        judged = judge(held, found.sets[open_], again.loadings)
        good = (judged.colour.max(axis=1) <= most[open_]) & (opacity_missed(judged) <= 0.5 * MET)
        part = Candidates(found.sets[open_], again.loadings, again.cost, again.pull, room[open_]).rows(good)
        chosen = np.zeros(len(found.sets), dtype=bool)
        chosen[open_[good]] = True
        found, open_ = put(found, chosen, part), open_[~good]
    return found


def reached(problem: Problem, judged: Judged) -> NDArray[np.bool_]:
    """Which blends have the colours and the opacity asked for, shape (n,)."""
    near = judged.colour.max(axis=1) <= problem.target.tolerance
    return np.asarray(near & (opacity_missed(judged) <= MET))


def lacking(problem: Problem, found: Candidates) -> Array:
    """What recipes lack of the room that they need, shape (n,), in CIEDE2000 by the fair trade."""
    return opacity_missed(judge(replace(problem, room=found.room), found.sets, found.loadings)) / FAIR
