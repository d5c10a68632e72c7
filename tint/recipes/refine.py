"""Optima brought to what is poured: the least pigment that looks the same, and room to the bounds of an opacity.

A contrast ratio that is predicted to lie on its bound is missed by every second casting. So every recipe is sought for
a bound drawn in by the error of its own prediction, as far as the colour and the loadings allow it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tint.opacity import FAIR
from tint.recipes.aims import GUARD, STRICT, Problem
from tint.recipes.candidates import Bounds, Candidates, optimise, put, same
from tint.recipes.judging import Judged, judge
from tint.recipes.sets import polished
from tint.spectra import Array, Index, Mask

ALIKE = 0.15  # CIEDE2000: half of what a careful pour scatters, and a fifth of what half of lookers perceive
# CIEDE2000 that no eye tells: half of lookers perceive 0.8 (Paravina and others 2015, J. Esthet. Restor. Dent. 27 S1).
# Beyond `ALIKE` it has a price, since it is missed on top of what a pour scatters: a share of the pigment for each
# CIEDE2000, so that all of it is spent only where that spares a quarter. tests/figures/least_pigment.py judges it.
UNSEEN, _EXCHANGE = 0.5, 0.8
_DUST = 5e-4  # percent: half a milligram in 100 g, 0.5 g of a premix of one in a thousand
_SPARED = 0.99  # of the pigment: less is spared than this, and the nearer colour is the better recipe
_NEAR = 0.3  # CIEDE2000 beyond the nearest set, within which one may be poured where none is within the tolerance
_SPARING = 32  # sets whose pigment is spared: of those near enough to be poured those that take the least
_LEAST_PULL, _MOST_PULL = 0.01, 30.0  # CIEDE2000 that all of the pigment is worth
# The pull is halved finer where all of the tolerance may be spent: who asks for the cheapest is told that it is.
_HALVINGS, _FINE_HALVINGS, _STEPS = 6, 10, 15
_SHARES = (1.0, 0.5, 0.25, 0.0)  # of the room, where the colour does not allow all of it
_SHORT = 0.0025  # of contrast ratio or transmittance that a share may lack and count as kept; chosen, no source
_NEAREST = 48  # of the sets near enough to be poured: the others are told what room they lack, and not given it


def leaner(
    problem: Problem, found: Candidates, bounds: Bounds, *, tolerance: float, worth: Array | None = None,
    within: bool = False,
) -> Candidates:  # fmt: skip
    """The sets with the least pigment whose colour cannot be told from the nearest, and whose opacity is as asked.

    A black is as black with a sixtieth of the pigment, and a solid colour as solid: what is spent beyond that buys a
    difference that no eye and no instrument finds. The pull towards less pigment is raised, for every set by halving,
    as far as no colour is missed by more than `ALIKE` beyond its nearest, or as it pays within what no eye tells; none
    leaves the tolerance, and no opacity is lost. Doses that nobody weighs are left out, and so are sets that need one
    where others do as well.

    `worth` (n_pigments + 1,): what a percent of each is worth sparing, such as its price; all alike when absent.
    `within`: whether all of the tolerance may be spent on it: who asks for the cheapest wants no nearer colour.
    """
    found = _without_dust(problem, found, bounds, tolerance)
    problem = replace(problem, room=found.room)
    worth = np.append(np.ones(len(bounds.low) - 1), 0.0) if worth is None else worth
    before = judge(problem, found.sets, found.loadings)
    colour = before.worst
    least = float(colour.min())
    most = np.where(colour <= least + 0.9 * ALIKE, least + ALIKE, colour + ALIKE)
    most = np.where(colour <= tolerance, np.minimum(most, max(tolerance, ALIKE)), most)
    most = np.where(within & (colour <= tolerance), tolerance, most)
    farthest = np.maximum(most, min(least + UNSEEN, tolerance))
    lost = np.maximum(before.missed, GUARD)
    rows = _worth_sparing(found, worth, _far(before), tolerance)
    halvings = _FINE_HALVINGS if within else _HALVINGS
    part = _leanest(problem, found.rows(rows), bounds, worth, most[rows], farthest[rows], lost[rows], halvings)
    where = np.zeros(len(found.sets), dtype=bool)
    where[rows] = True
    found = put(found, where, part)
    first = np.asarray(~np.tril(same(found, found), -1).any(axis=1))  # of recipes that became one
    found = found.rows(first)
    return _weighable(replace(problem, room=None), found, bounds)


def _weighable(problem: Problem, found: Candidates, bounds: Bounds) -> Candidates:
    """Those without dust, and of the others what is nearer than all of them by what can be told, or alone is met."""
    dusty = _dust(found.loadings, found.sets, bounds).any(axis=1)
    if not dusty.any():
        return found
    judged = judge(problem, found.sets, found.loadings)
    far, met = _far(judged), judged.met(problem.target.tolerance)
    nearer = far < far.min(where=~dusty, initial=np.inf) - ALIKE
    return found.rows(~dusty | nearer | (met & ~(met & ~dusty).any()))


def _far(judged: Judged) -> Array:
    """How far off each is [CIEDE2000]: its worst colour, and an opacity that is missed at its price."""
    return judged.worst + np.minimum(100.0 * judged.missed, 5.0)


def exchanged(loading: Array, beyond: Array) -> Array:
    """Pigment with the price of a colour that is missed by so much more than the nearest one [%]."""
    return np.asarray(loading * np.exp(_EXCHANGE * np.maximum(beyond - ALIKE, 0.0)))


def _worth_sparing(found: Candidates, worth: Array, missed: Array, tolerance: float) -> Index:
    """Of the sets near enough to be poured those that take the least now, in their order."""
    near = np.flatnonzero(missed <= max(tolerance, float(missed.min()) + _NEAR))
    spent = np.sum(worth[found.sets] * found.loadings, axis=1)[near]
    return np.sort(near[np.argsort(spent, kind="stable")[:_SPARING]])


def _leanest(
    problem: Problem, found: Candidates, bounds: Bounds, worth: Array, most: Array, farthest: Array, lost: Array,
    halvings: int,
) -> Candidates:  # fmt: skip
    """The least spent with the colour missed by no more than `most`, or as it pays than `farthest`; opacity by `lost`.

    Where the squared miss and the pull are least together, a little less spent costs as much in the one as it saves in
    the other: that is how much of what is spent another CIEDE2000 spares.
    """
    spent = np.maximum(np.sum(np.abs(worth[found.sets]) * found.loadings, axis=1), 1e-9)
    loadings, best = found.loadings, found
    low, high = np.full(len(spent), np.log(_LEAST_PULL)), np.full(len(spent), np.log(_MOST_PULL))
    problem, clean = replace(problem, room=found.room), ~_dust(found.loadings, found.sets, bounds)
    for _ in range(halvings):
        middle = 0.5 * (low + high)
        held = replace(problem, thrift=np.exp(middle) / np.sqrt(spent), worth=worth, opacity_scale=STRICT)
        again = optimise(held, found.sets, loadings, bounds, tolerance=1e-4, most_steps=_STEPS)
        judged = judge(problem, found.sets, again.loadings)
        colour, now = judged.worst, np.sum(np.abs(worth[found.sets]) * again.loadings, axis=1)
        spares = 2.0 * np.sum(judged.colour**2, axis=1) * spent / np.maximum(colour * now * np.exp(2.0 * middle), 1e-12)
        good = (colour <= most) | ((colour <= farthest) & (spares >= _EXCHANGE))
        good &= (judged.missed <= lost) & ~(_dust(again.loadings, found.sets, bounds) & clean).any(axis=1)
        low, high = np.where(good, middle, low), np.where(good, high, middle)
        less = np.sum(worth[found.sets] * (best.loadings - again.loadings), axis=1) > (1.0 - _SPARED) * spent
        if (good & less).any():
            cost = np.sum(judged.residuals**2, axis=1)
            best = put(best, good & less, replace(best, loadings=again.loadings, cost=cost).rows(good & less))
        loadings = np.where(good[:, None], again.loadings, loadings)
    return best


def _dust(loadings: Array, sets: Index, bounds: Bounds) -> Mask:
    """Which doses are none at all to a workshop though they are more than nothing, like the loadings."""
    return np.asarray((loadings > 0.0) & (loadings < _DUST) & (bounds.low[sets] == 0.0))


def _without_dust(problem: Problem, found: Candidates, bounds: Bounds, tolerance: float) -> Candidates:
    """Doses that not even a premix of a premix makes weighable left out, and the rest sought again without them.

    Where that would be seen the recipe stays as it is: the weigh sheet then says what it cannot weigh. What is sought
    again may leave next to nothing of another pigment, so it is looked through again, with one pigment fewer each time.
    """
    rows = np.flatnonzero(_dust(found.loadings, found.sets, bounds).any(axis=1))
    while rows.size:
        part = found.rows(rows)
        without, unseen = _dusted(replace(problem, room=part.room), part, bounds, tolerance)
        keep = np.zeros(len(found.sets), dtype=bool)
        keep[rows[unseen]] = True
        found = put(found, keep, without.rows(unseen))
        rows = np.flatnonzero(keep & _dust(found.loadings, found.sets, bounds).any(axis=1))
    return found


def _dusted(problem: Problem, part: Candidates, bounds: Bounds, tolerance: float) -> tuple[Candidates, Mask]:
    """Candidates that hold dust without it, and of which of them that is not seen."""
    dust, empty = _dust(part.loadings, part.sets, bounds), len(bounds.low) - 1
    before = judge(problem, part.sets, part.loadings)
    without = replace(part, sets=np.where(dust, empty, part.sets), loadings=np.where(dust, 0.0, part.loadings))
    # Sought again is what may be poured; what is farther off is shown at most, and does as it stands.
    near = before.worst <= max(tolerance, float(before.worst.min()) + _NEAR)
    again = polished(replace(problem, room=part.room[near]), without.sets[near], without.loadings[near], bounds)
    without = put(without, near, replace(again, room=part.room[near]))
    after = judge(problem, without.sets, without.loadings)
    return without, (after.worst <= before.worst + ALIKE) & (after.missed <= np.maximum(before.missed, GUARD))


# Room to the bounds of an opacity.


def with_margin(problem: Problem, found: Candidates, bounds: Bounds, unsure: Callable[[Index], Array]) -> Candidates:
    """The recipes that reach the target, brought off its bounds as far as their colour allows, with the room they need.

    Half of the tolerance may be spent on it, and in any case what no eye tells: a colour is predicted no better.

    `unsure`: from rows to the room that each needs, shape (n, 3), as of `aims.Problem`.
    """
    tolerance = problem.target.tolerance
    before = judge(problem, found.sets, found.loadings)
    colour = before.worst
    most = np.minimum(np.maximum(colour + ALIKE, 0.5 * tolerance), tolerance)
    near = np.flatnonzero((colour <= tolerance) & (before.missed <= FAIR))  # a fair trade gives up some opacity
    if near.size == 0 or before.opacity.shape[1] == 0:
        return found
    room = np.array(found.room)
    room[near] = unsure(near)
    found = replace(found, room=room)
    near = near[np.argsort(colour[near], kind="stable")[:_NEAREST]]
    open_ = near[lacking(problem, found.rows(near)) > 0.0]
    for share in _SHARES:
        if open_.size == 0:
            break
        held = replace(problem, room=share * room[open_], opacity_scale=STRICT)
        again = optimise(held, found.sets[open_], found.loadings[open_], bounds, tolerance=1e-6, most_steps=40)
        judged = judge(held, found.sets[open_], again.loadings)
        good = (judged.worst <= most[open_]) & (judged.missed <= _SHORT)
        good &= judge(problem, found.sets[open_], again.loadings).met(tolerance)
        part = Candidates(found.sets[open_], again.loadings, again.cost, again.pull, room[open_]).rows(good)
        chosen = np.zeros(len(found.sets), dtype=bool)
        chosen[open_[good]] = True
        found, open_ = put(found, chosen, part), open_[~good]
    return found


def lacking(problem: Problem, found: Candidates) -> Array:
    """What recipes lack of the room that they need, shape (n,), in CIEDE2000 by the fair trade."""
    return judge(replace(problem, room=found.room), found.sets, found.loadings).missed / FAIR
