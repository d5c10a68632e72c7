"""Every set of pigments at its optimum: small sets first, larger ones from where their best part ended.

A set that gains nothing from its last pigment stops at once, so that most of the many large sets cost one look. The
first pass sees every third wavelength, the fresh starts of the sets that came nearest every second; what is near enough
to be shown is finished on all of them.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tint import colorimetry
from tint.recipes.aims import STRICT, Problem
from tint.recipes.candidates import Bounds, Candidates, joined, optimise, put, same, where_ended
from tint.recipes.judging import judge
from tint.spectra import Array, Index

_COARSE_NM, _FIRST_NM = 20.0, 30.0  # steps of the fresh starts, and of the first pass and of several walls
_FIRST_SHARES = (0.005, 0.03, 0.15, 0.6)  # of the largest loading, to start the smallest sets from
_LAST_SHARES = (0.02, 0.3)  # to start the finalists from, besides where the first pass left them
_FINALISTS = 160  # sets that are started afresh
_FAR = 8.0  # CIEDE2000 beyond the nearest set, farther than which a fresh start would not bring one near it
_WINDOW = 2.5  # of those started afresh the ones that are finished miss by no more than this beyond the nearest
_HELD = 32  # nearest sets whose colour is sought again with the opacity held
_FIRST_TOLERANCE, _COARSE_TOLERANCE, _COARSE_STEPS = 1e-2, 1e-3, 9  # of the first pass and of fresh starts
_STEPS = 25  # of finishing
_LEVELLINGS, _LEVELLING_STEPS = 4, 6
_WORTH_LEVELLING = 1.5  # CIEDE2000 beyond the nearest set, farther than which levelling would not bring it first
_TORN = 0.05  # misses above this may be colour and opacity pulling apart
_EACH_PIGMENT = 0.05  # a further pigment must earn this much colour difference
_TRACE = 1e-4  # share of its largest loading below which a pigment may be left out
_UNSEEN = 0.02  # CIEDE2000 that leaving it out may cost
MOST_SETS = 20_000  # of one size; of more pigments those are combined that came nearest in smaller sets


def best_of_sets(
    problem: Problem, *, usable: Sequence[int], keep: Sequence[int], most: int, bounds: Bounds, farther: bool = False
) -> Candidates:
    """Optimise all sets of up to `most` usable pigments that hold `keep`, and finish the best, nearest first.

    `farther`: whether sets that are far beyond the nearest are finished too.
    """
    first = _first_pass(_coarse(problem, _FIRST_NM), usable=usable, keep=keep, most=most, bounds=bounds)
    size = np.sum(first.sets < len(bounds.low) - 1, axis=1)
    # Every wall is one more look at a recipe: of several walls fewer sets are finished.
    finalists = max(_HELD, _FINALISTS // _looks(problem))
    missed = np.sqrt(first.cost) + _EACH_PIGMENT * size
    order = np.argsort(missed, kind="stable")[:finalists]
    # What is within the tolerance may be poured, however near another comes: there the least or the cheapest may be.
    window = math.inf if farther else max(_WINDOW, problem.target.tolerance)
    order = order[missed[order] <= missed[order[0]] + window + _FAR - _WINDOW]
    ended = _tidied(problem, finish(problem, first.sets[order], first.loadings[order], bounds, window=window), bounds)
    if not problem.target.asks_more:
        return ended
    # The fair trade between colour and opacity, and the nearest colour that has the opacity: both are worth knowing.
    torn = np.flatnonzero(np.sqrt(ended.cost) > _TORN)[:_HELD]  # nearest first
    if torn.size == 0:
        return ended
    held = replace(problem, opacity_scale=STRICT)
    strict = _tidied(held, polished(held, ended.sets[torn], ended.loadings[torn], bounds), bounds)
    return joined((ended, strict.rows(np.asarray(~same(strict, ended).any(axis=1)))))


def _tidied(problem: Problem, found: Candidates, bounds: Bounds) -> Candidates:
    """Traces that nobody would see taken out; of sets that thereby become one only the best; nearest first."""
    empty = len(bounds.low) - 1
    trace = (found.loadings < _TRACE * bounds.largest[found.sets]) & (bounds.low[found.sets] == 0.0)
    sets, loadings = np.where(trace, empty, found.sets), np.where(trace, 0.0, found.loadings)
    before = _worst(problem, found.sets, found.loadings)
    after = before if np.array_equal(loadings, found.loadings) else _worst(problem, sets, loadings)
    unseen = np.sqrt(after) <= np.sqrt(before) + _UNSEEN
    tidy = replace(found, sets=sets, loadings=loadings, cost=after)
    found = put(replace(found, cost=before), unseen, tidy.rows(unseen))
    order = np.argsort(found.cost, kind="stable")
    _, first = np.unique(np.sort(found.sets[order], axis=1), axis=0, return_index=True)
    return found.rows(order[np.sort(first)])


def _worst(problem: Problem, sets: Index, loadings: Array) -> Array:
    """The cost with the worst colour and the worst opacity in place of all, shape (n,)."""
    judged = judge(problem, sets, loadings)
    thrift = judged.residuals[:, -sets.shape[1] :]
    opacity = judged.missed / problem.opacity_scale
    return np.asarray(judged.worst**2 + opacity**2 + np.sum(thrift**2, axis=1))


def count_sets(usable: int, keep: int, most: int) -> int:
    """How many sets that is."""
    others, count = usable - keep, 0
    for size in range(max(keep, 1), min(most, usable) + 1):
        others = _combined(others, size - keep)
        count += math.comb(others, size - keep)
    return count


def _combined(pigments: int, size: int) -> int:
    """How many pigments are combined in sets of a size, so that the sets are no more than can be looked at."""
    while math.comb(pigments, size) > MOST_SETS:
        pigments -= 1
    return pigments


def _looks(problem: Problem) -> int:
    """How many castings a blend is computed as."""
    return sum(len(casting.walls_mm) for casting in problem.castings)


def thinned(problem: Problem, every: int) -> Problem:
    """The same on every n-th wavelength: coarse and quick."""
    pick = slice(None, None, every)
    black, white = problem.black[pick], problem.white[pick]
    held = {id(problem.black): black, id(problem.white): white}  # what is one backing stays one, and is read once
    castings = tuple(
        replace(each, colours=tuple((None if b is None else held.get(id(b), b[pick]), lab) for b, lab in each.colours))
        for each in problem.castings
    )
    return replace(
        problem,
        castings=castings,
        optics=replace(problem.optics, faces=problem.optics.faces and problem.optics.faces.picked(pick)),
        view=colorimetry.viewing(problem.wavelengths[pick], light=problem.view.light, observer=problem.view.observer),
        wavelengths=problem.wavelengths[pick],
        bare=problem.bare[:, pick],
        gain=problem.gain[:, :, pick],
        black=black,
        white=white,
    )


def _coarse(problem: Problem, step_nm: float) -> Problem:
    step = float(problem.wavelengths[1] - problem.wavelengths[0])
    return thinned(problem, max(1, int(step_nm / step + 1e-6)))


def finish(problem: Problem, sets: Index, loadings: Array, bounds: Bounds, *, window: float = math.inf) -> Candidates:
    """Bring sets to their optimum on all wavelengths, from given loadings and from afresh.

    `window`: sets farther than this from the nearest are left out [CIEDE2000].
    """
    starts = [loadings, *(share * bounds.largest[sets] for share in _LAST_SHARES)]
    coarse = _coarse(problem, _COARSE_NM if _looks(problem) == 1 else _FIRST_NM)
    found = _from_starts(coarse, sets, starts, bounds, tolerance=_COARSE_TOLERANCE)
    missed = np.sqrt(found.cost)
    near = missed <= missed.min(initial=np.inf) + window
    return polished(problem, sets[near], found.loadings[near], bounds)


def _from_starts(
    problem: Problem, sets: Index, starts: Sequence[Array], bounds: Bounds, *, tolerance: float
) -> Candidates:  # fmt: skip
    """Sets where the best of their several starts led them, in a few steps."""
    every, start = np.concatenate([sets] * len(starts)), np.concatenate(starts)
    found = optimise(problem, every, start, bounds, tolerance=tolerance, most_steps=_COARSE_STEPS)
    choice = found.cost.reshape(len(starts), -1).argmin(axis=0) * len(sets) + np.arange(len(sets))
    return where_ended(sets, found, choice)


def polished(problem: Problem, sets: Index, loadings: Array, bounds: Bounds) -> Candidates:
    """Sets at the optimum near their loadings, on all wavelengths; of several colours the worst counts."""
    found = optimise(problem, sets, loadings, bounds, tolerance=1e-6, most_steps=_STEPS)
    best = where_ended(sets, found)
    if sum(casting.shown for casting in problem.castings) > 1:
        best = _level_out(problem, best, bounds)
    return best


def _level_out(problem: Problem, found: Candidates, bounds: Bounds) -> Candidates:
    """Of several colours the worst counts: weigh each by how far it is missed, and again (Lawson 1961; from memory).

    Only for sets that are so near that this may make them the nearest.
    """
    worst = judge(problem, found.sets, found.loadings).colour.max(axis=1)
    near = (worst <= float(worst.min(initial=np.inf)) + _WORTH_LEVELLING) & (worst > _TORN)
    if not near.any():
        return found
    if not near.all():
        room = None if problem.room is None else problem.room[near]
        return put(found, near, _level_out(replace(problem, room=room), found.rows(near), bounds))
    emphasis = np.ones((len(found.sets), sum(casting.shown for casting in problem.castings)))
    for _ in range(_LEVELLINGS):
        missed = judge(problem, found.sets, found.loadings).colour
        emphasis = emphasis * (missed + 1e-3)
        emphasis /= emphasis.mean(axis=1, keepdims=True)
        again = optimise(
            problem,
            found.sets,
            found.loadings,
            bounds,
            tolerance=1e-4,
            most_steps=_LEVELLING_STEPS,
            emphasis=emphasis,
        )
        better = judge(problem, found.sets, again.loadings).colour.max(axis=1) < missed.max(axis=1)
        if not better.any():
            break
        level = replace(found, loadings=again.loadings, cost=again.cost, pull=again.pull)
        found = put(found, better, level.rows(better))
    return found


def _first_pass(
    problem: Problem, *, usable: Sequence[int], keep: Sequence[int], most: int, bounds: Bounds
) -> Candidates:
    others = [pigment for pigment in usable if pigment not in keep]
    empty = len(bounds.low) - 1
    levels: list[Candidates] = []
    for size in range(len(keep), min(most, len(keep) + len(others)) + 1):
        count = _combined(len(others), size - len(keep))
        if count < len(others):
            others = _nearest(levels[-1], others)[:count]
        more = itertools.chain.from_iterable(itertools.combinations(others, size - len(keep)))
        added = np.fromiter(more, dtype=np.int64).reshape(math.comb(len(others), size - len(keep)), size - len(keep))
        members = np.concatenate((np.tile(np.array(keep, dtype=np.int64), (len(added), 1)), added), axis=1)
        members = members[bounds.low[members].sum(axis=1) <= bounds.total * (1.0 + 1e-9)]
        sets = np.full((len(members), most), empty, dtype=np.int64)
        sets[:, :size] = np.sort(members, axis=1)
        parent = levels[-1] if levels and size > 1 else None  # the uncoloured base is no start for a pigment
        levels.append(_level(problem, sets, size, parent, keep, bounds))
    return joined(levels)


def _nearest(level: Candidates, pigments: Sequence[int]) -> list[int]:
    """Pigments by the nearest set of a level that holds each, nearest first."""
    least = [float(level.cost[(level.sets == each).any(axis=1)].min(initial=np.inf)) for each in pigments]
    return [pigments[at] for at in np.argsort(least, kind="stable")]


def _level(
    problem: Problem, sets: Index, size: int, parent: Candidates | None, keep: Sequence[int], bounds: Bounds
) -> Candidates:
    high = bounds.largest[sets]
    if parent is None:
        starts = [share * high for share in _FIRST_SHARES]
    else:
        starts = [_from_parent(sets, size, parent, keep, bounds)]
        if size == 2 and not keep:
            starts += [share * high for share in _FIRST_SHARES[1:3]]
    return _from_starts(problem, sets, starts, bounds, tolerance=_FIRST_TOLERANCE)


def _from_parent(sets: Index, size: int, parent: Candidates, keep: Sequence[int], bounds: Bounds) -> Array:
    """Loadings of the best set that lacks one pigment of each set, the pigment itself at its least."""
    empty = len(bounds.low) - 1
    known = _codes(parent.sets, empty)
    order = np.argsort(known)
    least = np.full(len(sets), np.inf)
    start = bounds.low[sets]
    for left_out in range(size):
        without = np.delete(sets, left_out, axis=1)
        without = np.concatenate((without, np.full((len(sets), 1), empty)), axis=1)
        place = np.minimum(np.searchsorted(known, _codes(without, empty), sorter=order), len(known) - 1)
        row = order[place]
        better = ~np.isin(sets[:, left_out], keep) & (parent.cost[row] < least)
        least = np.where(better, parent.cost[row], least)
        loadings = np.insert(parent.loadings[row][:, :-1], left_out, bounds.low[sets[:, left_out]], axis=1)
        start = np.where(better[:, None], loadings, start)
    return start


def _codes(sets: Index, empty: int) -> Index:
    """One number for each set."""
    return np.asarray(sets @ (empty + 1) ** np.arange(sets.shape[1], dtype=np.int64))
