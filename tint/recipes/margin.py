"""Room between an opacity and its bound: as much as the stated error asks for, so that what is poured keeps it.

A contrast ratio that is predicted to lie on its bound is missed by every second casting. So recipes are sought for a
bound drawn in by the error of the prediction, as far as the colour and the loadings allow it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tint.appearance import Appearance
from tint.opacity import FAIR, MET
from tint.recipes.aims import STRICT, Judged, Problem, judge
from tint.recipes.sets import Bounds, Candidates, opacity_missed, optimise, put
from tint.recipes.sparing import ALIKE
from tint.target import Target

Array = NDArray[np.float64]

SAFE = 0.99  # chance with which a recipe is to keep a bound
_Z = 2.326348  # standard deviations that a normal error stays under with that chance, one-sided
_Z95 = 1.959964  # in the half widths that an appearance states
_SHARES = (1.0, 0.5, 0.25)  # of the room, where the colour does not allow all of it
_NEAREST = 48  # of the sets near enough to be poured: the room of the others is not sought
_FULL = 1e-6  # so near to hiding, or to nothing, no depth is told
# What is asked, and what an appearance tells of it.
_TOLD = {"contrast_ratio": "contrast_ratio", "transmittance": "luminous_transmittance", "haze": "haze"}


def kept(target: Target, look: Appearance) -> float:
    """The chance that a casting keeps all that is asked beside the colour, 0 to 1; of several the least."""
    return min((_chance(*each) for each in _asked(target, look)), default=1.0)


def _asked(target: Target, look: Appearance) -> Iterator[tuple[float, float, float, float]]:
    """Of all that is asked: least, most, what is predicted, and its standard deviation."""
    for kind, name in _TOLD.items():
        reach, low, high = (getattr(target, kind + end) for end in ("", "_min", "_max"))
        value, error = _predicted(look, name)
        if (reach, low, high) != (None, None, None) and math.isfinite(value) and math.isfinite(error):
            least, most = low if reach is None else reach, high if reach is None else reach
            yield -math.inf if least is None else least, math.inf if most is None else most, value, error


def _predicted(look: Appearance, name: str) -> tuple[float, float]:
    """What a part will have, and the standard deviation of that: the part's own, without the noise of a reading."""
    value, width = float(getattr(look, name)), float(getattr(look, f"{name}_error"))
    noise = look.contrast_ratio_noise if name == "contrast_ratio" else 0.0
    return value, math.sqrt(max(width**2 - noise**2, 0.0)) / _Z95


def _chance(least: float, most: float, value: float, error: float) -> float:
    width = max(error, 1e-9) * math.sqrt(2.0)
    return 0.5 * (math.erf((most + MET - value) / width) - math.erf((least - MET - value) / width))


def drawn_in(target: Target, looks: Sequence[Appearance]) -> Target:
    """The target with its bounds drawn in until a prediction on one of them keeps the asked one with chance `SAFE`.

    Parameters
    ----------
    looks : sequence of Appearance
        Recipes near the target: the middle one's error counts.

    Notes
    -----
    What a layer leaves to hiding, and the light it lets through, fall with its optical depth u about as exp(-u), and
    what is not known of scattering and absorption is in proportion to u. So the error of ``-log(1 - v)``, for a
    transmittance of ``-log(v)``, is taken in proportion to it, whatever the opacity of the recipe that tells it.
    """
    told: dict[str, float] = {}
    for kind, name in _TOLD.items():
        seen = [_predicted(look, name) for look in looks]
        unsure = [_of_depth(kind, value, error) for value, error in seen if math.isfinite(value + error)]
        low, high = getattr(target, f"{kind}_min"), getattr(target, f"{kind}_max")
        if not unsure:
            continue
        room = 1.0 + _Z * float(np.median(unsure))
        if low is not None:
            told[f"{kind}_min"] = max(low, _moved(kind, low - MET, room))
        if high is not None:
            told[f"{kind}_max"] = min(high, _moved(kind, high + MET, 1.0 / room))
        if low is not None and high is not None and told[f"{kind}_min"] > told[f"{kind}_max"]:
            told[f"{kind}_min"] = told[f"{kind}_max"] = 0.5 * (told[f"{kind}_min"] + told[f"{kind}_max"])
    return replace(target, **told)  # type: ignore[arg-type]


def _left(kind: str, value: float) -> float:
    """What is left to hiding or is let through, kept off its ends."""
    return min(max(value if kind == "transmittance" else 1.0 - value, _FULL), 1.0 - _FULL)


def _of_depth(kind: str, value: float, error: float) -> float:
    """The error of the optical depth as a share of it."""
    left = _left(kind, value)
    return error / left / -math.log(left)


def _moved(kind: str, bound: float, share: float) -> float:
    """A bound at so many times the opaque share's optical depth; of a transmittance at as much less."""
    if kind == "transmittance":
        return float(_left(kind, bound) ** (1.0 / share))
    return float(1.0 - _left(kind, bound) ** share)


def with_margin(problem: Problem, found: Candidates, bounds: Bounds, *, safe: Target) -> Candidates:
    """The recipes that reach the target, brought within the bounds of `safe` as far as their colour allows.

    Half of the tolerance may be spent on it, and in any case what no eye tells: a colour is predicted no better.
    """
    tolerance = problem.target.tolerance
    before = judge(problem, found.sets, found.loadings)
    colour = before.colour.max(axis=1)
    most = np.minimum(np.maximum(colour + ALIKE, 0.5 * tolerance), tolerance)
    near = reached(problem, before)
    near[np.argsort(np.where(near, colour, np.inf), kind="stable")[_NEAREST:]] = False
    open_ = near & (opacity_missed(judge(replace(problem, target=safe), found.sets, found.loadings)) > 0.0)
    for share in _SHARES:
        rows = np.flatnonzero(open_)
        if rows.size == 0:
            break
        held = replace(problem, target=_between(problem.target, safe, share), opacity_scale=STRICT)
        again = optimise(held, found.sets[rows], found.loadings[rows], bounds, tolerance=1e-6, most_steps=40)
        judged = judge(held, found.sets[rows], again.loadings)
        good = (judged.colour.max(axis=1) <= most[rows]) & (opacity_missed(judged) <= 0.5 * MET)
        part = Candidates(found.sets[rows], again.loadings, again.cost, again.pull).rows(good)
        chosen = np.zeros(len(found.sets), dtype=bool)
        chosen[rows[good]] = True
        found, open_ = put(found, chosen, part), open_ & ~chosen
    return found


def _between(target: Target, safe: Target, share: float) -> Target:
    """Bounds that lie so far from the target's own to the safe ones."""
    told = {}
    for kind in _TOLD:
        for name in (f"{kind}_min", f"{kind}_max"):
            own, drawn = getattr(target, name), getattr(safe, name)
            if own is not None:
                told[name] = own + share * (drawn - own)
    return replace(target, **told)


def reached(problem: Problem, judged: Judged) -> NDArray[np.bool_]:
    """Which blends have the colours and the opacity asked for, shape (n,)."""
    near = judged.colour.max(axis=1) <= problem.target.tolerance
    return np.asarray(near & (opacity_missed(judged) <= MET))


def lacking(problem: Problem, found: Candidates, safe: Target) -> Array:
    """What recipes lack of the room that is asked for, shape (n,), in CIEDE2000 by the fair trade."""
    return opacity_missed(judge(replace(problem, target=safe), found.sets, found.loadings)) / FAIR
