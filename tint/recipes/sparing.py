"""No more pigment than it takes: sets at their optimum brought to the least that looks the same."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tint.opacity import MET
from tint.recipes.aims import STRICT, Problem, judge
from tint.recipes.sets import Bounds, Candidates, opacity_missed, optimise, polished, put, same

Array = NDArray[np.float64]
Index = NDArray[np.int64]

ALIKE = 0.15  # CIEDE2000: half of what a careful pour scatters, and a fifth of what half of lookers perceive
# CIEDE2000 that no eye tells: half of lookers perceive 0.8 (Paravina and others 2015, J. Esthet. Restor. Dent. 27 S1).
# Beyond `ALIKE` it has a price, since it is missed on top of what a pour scatters: a share of the pigment for each
# CIEDE2000, so that all of it is spent only where that spares a quarter. tests/figures/least_pigment.py judges it.
UNSEEN, _EXCHANGE = 0.5, 0.8
_DUST = 5e-4  # percent: half a milligram in 100 g, 0.5 g of a premix of one in a thousand
_SPARED = 0.99  # of the pigment: less is spared than this, and the nearer colour is the better recipe
_LOST = 0.0005  # of contrast ratio or transmittance: shown as the same in three digits
_SPARING = 32  # sets whose pigment is spared: of those near enough to be poured those that take the least
_LEAST_PULL, _MOST_PULL = 0.01, 30.0  # CIEDE2000 that all of the pigment is worth
# The pull is halved finer where all of the tolerance may be spent: who asks for the cheapest is told that it is.
_HALVINGS, _FINE_HALVINGS, _STEPS = 6, 10, 15


def leaner(
    problem: Problem, found: Candidates, bounds: Bounds, *, tolerance: float, worth: Array | None = None,
    within: bool = False,
) -> Candidates:  # fmt: skip
    """The same sets with the least pigment whose colour cannot be told from the nearest, and whose opacity is as asked.

    A black is as black with a sixtieth of the pigment, and a solid colour as solid: what is spent beyond that buys a
    difference that no eye and no instrument finds. The pull towards less pigment is raised, for every set by halving,
    as far as no colour is missed by more than `ALIKE` beyond its nearest, or as it pays within what no eye tells; none
    leaves the tolerance, and no opacity is lost.

    Parameters
    ----------
    worth : ndarray, shape (n_pigments + 1,), optional
        What a percent of each is worth sparing, such as its price; all alike when absent.
    within : bool
        Whether all of the tolerance may be spent on it: who asks for the cheapest wants no nearer colour.
    """
    found = _without_dust(problem, found, bounds)
    problem = replace(problem, room=found.room)
    worth = np.append(np.ones(len(bounds.low) - 1), 0.0) if worth is None else worth
    before = judge(problem, found.sets, found.loadings)
    colour = before.colour.max(axis=1)
    least = float(colour.min())
    most = np.where(colour <= least + 0.9 * ALIKE, least + ALIKE, colour + ALIKE)
    most = np.where(colour <= tolerance, np.minimum(most, max(tolerance, ALIKE)), most)
    most = np.where(within & (colour <= tolerance), tolerance, most)
    farthest = np.maximum(most, min(least + UNSEEN, tolerance))
    lost = np.maximum(opacity_missed(before), _LOST)
    rows = _worth_sparing(found, worth, colour + np.minimum(100.0 * opacity_missed(before), 5.0), tolerance)
    halvings = _FINE_HALVINGS if within else _HALVINGS
    part = _leanest(problem, found.rows(rows), bounds, worth, most[rows], farthest[rows], lost[rows], halvings)
    where = np.zeros(len(found.sets), dtype=bool)
    where[rows] = True
    found = put(found, where, part)
    return found.rows(np.asarray(~np.tril(same(found, found), -1).any(axis=1)))  # of recipes that became one, the first


def exchanged(loading: Array, beyond: Array) -> Array:
    """Pigment with the price of a colour that is missed by so much more than the nearest one [%]."""
    return np.asarray(loading * np.exp(_EXCHANGE * np.maximum(beyond - ALIKE, 0.0)))


def _worth_sparing(found: Candidates, worth: Array, missed: Array, tolerance: float) -> Index:
    """Of the sets near enough to be poured those that take the least now, in their order."""
    near = np.flatnonzero(missed <= max(tolerance, float(missed.min()) + 0.3))
    spent = np.sum(worth[found.sets] * found.loadings, axis=1)[near]
    return np.sort(near[np.argsort(spent, kind="stable")[:_SPARING]])


def _leanest(
    problem: Problem, found: Candidates, bounds: Bounds, worth: Array, most: Array, farthest: Array, lost: Array,
    halvings: int,
) -> Candidates:  # fmt: skip
    """The least spent with the colour missed by no more than `most`, or as it pays than `farthest`; opacity by `lost`.

    Notes
    -----
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
        colour, now = judged.colour.max(axis=1), np.sum(np.abs(worth[found.sets]) * again.loadings, axis=1)
        spares = 2.0 * np.sum(judged.colour**2, axis=1) * spent / np.maximum(colour * now * np.exp(2.0 * middle), 1e-12)
        good = (colour <= most) | ((colour <= farthest) & (spares >= _EXCHANGE))
        good &= (opacity_missed(judged) <= lost) & ~(_dust(again.loadings, found.sets, bounds) & clean).any(axis=1)
        low, high = np.where(good, middle, low), np.where(good, high, middle)
        less = np.sum(worth[found.sets] * (best.loadings - again.loadings), axis=1) > (1.0 - _SPARED) * spent
        if (good & less).any():
            cost = np.sum(judged.residuals**2, axis=1)
            best = put(best, good & less, replace(best, loadings=again.loadings, cost=cost).rows(good & less))
        loadings = np.where(good[:, None], again.loadings, loadings)
    return best


def _dust(loadings: Array, sets: Index, bounds: Bounds) -> NDArray[np.bool_]:
    """Which doses are none at all to a workshop though they are more than nothing, like the loadings."""
    return np.asarray((loadings > 0.0) & (loadings < _DUST) & (bounds.low[sets] == 0.0))


def _without_dust(problem: Problem, found: Candidates, bounds: Bounds) -> Candidates:
    """Doses that not even a premix of a premix makes weighable left out, and the rest sought again without them.

    Where that would be seen the recipe stays as it is: the weigh sheet then says what it cannot weigh.
    """
    dust = _dust(found.loadings, found.sets, bounds)
    rows = np.flatnonzero(dust.any(axis=1))
    if rows.size == 0:
        return found
    fewer = np.where(dust, len(bounds.low) - 1, found.sets)[rows]
    problem = replace(problem, room=found.room[rows])
    again = polished(problem, fewer, np.where(dust, 0.0, found.loadings)[rows], bounds)
    again = replace(again, room=found.room[rows])
    before, after = judge(problem, found.sets[rows], found.loadings[rows]), judge(problem, fewer, again.loadings)
    unseen = after.colour.max(axis=1) <= before.colour.max(axis=1) + ALIKE
    unseen &= opacity_missed(after) <= opacity_missed(before) + 0.5 * MET
    keep = np.zeros(len(found.sets), dtype=bool)
    keep[rows[unseen]] = True
    return put(found, keep, again.rows(unseen))
