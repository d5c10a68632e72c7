"""What leaving out castings in groups teaches of predictions that lie outside what was cast.

A prediction is the bolder the farther it lies from what was cast: two pigments never cast together, a wall thicker or
thinner, a loading beyond the ladder, a pigment in a base that it was never cast in. Each is rehearsed with the folder's
own castings: all that hold a pair leave together, the thickest, the thinnest, the strongest of each ladder, a pigment's
in one base; and what is then said of them is set beside their readings.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.colorimetry import Viewing
from tint.fitting.leaving_out import Fitted, LeftOut, leave_out, one_by_one
from tint.fitting.problem import Problem
from tint.palette import INSIDE, LOADING, PAIR, RUBBER, THICKNESS, Evidence, Surprise

Array = NDArray[np.float64]
Index = NDArray[np.int64]

# What follows: judgement, tests/figures/judgement.py.
_MOST_GROUPS = 12  # of each kind, the smallest first: what a fit may take of time
_MOST_CASTINGS = 8  # in a group
_LEFT = 0.5  # of all castings that must stay
_FARTHEST = 25.0  # squared miss over what was expected, beyond which a casting is wrong rather than surprising
_LADDER = 0.8  # of a pigment's largest loading, from where a casting is one of its strongest
_DEPTHS = 1.15  # of the thinnest, and one over it of the thickest: castings of one mould


def surprises(fitted: Fitted, evidence: Evidence, view: Viewing) -> dict[str, Surprise]:
    """Misses against what was expected of them, for each way of lying outside what was cast."""
    count = fitted.problem.thickness.size
    told = {INSIDE: _mean(_per_casting(evidence.missed / evidence.expected, evidence.swatch, count))}
    groups: dict[str, list[Index]] = {PAIR: [], THICKNESS: [], LOADING: [], RUBBER: []}
    for way, castings in _groups(fitted):
        groups[way].append(castings)
    for way, found in groups.items():
        small = sorted(found, key=len)[:_MOST_GROUPS]
        ratios = [ratio for castings in small for ratio in _ratios(fitted, castings, view)]
        if ratios:
            told[way] = _mean(np.array(ratios))
    return told


def _mean(ratios: Array) -> Surprise:
    known = ratios[np.isfinite(ratios)]
    return Surprise(ratio=float(np.minimum(known, _FARTHEST).mean()) if known.size else 1.0, castings=known.size)


def _per_casting(ratios: Array, casting: Index, count: int) -> Array:
    number = np.bincount(casting, minlength=count)
    return np.asarray(np.bincount(casting, ratios, count) / np.where(number > 0, number, np.nan))


def _groups(fitted: Fitted) -> Iterator[tuple[str, Index]]:
    problem = fitted.problem
    holds = problem.loadings > 0.0
    for one, other in itertools.combinations(range(holds.shape[1]), 2):
        yield from _group(problem.thickness.size, PAIR, holds[:, one] & holds[:, other])
    for base in np.unique(problem.base):
        own = problem.base == base
        depth = problem.thickness
        for end in (depth >= depth[own].max() / _DEPTHS, depth <= depth[own].min() * _DEPTHS):
            yield from _group(problem.thickness.size, THICKNESS, own & end)
        for pigment in range(holds.shape[1]):
            elsewhere = holds[:, pigment] & ~own
            if elsewhere.any():
                yield from _group(problem.thickness.size, RUBBER, holds[:, pigment] & own)
    for pigment in range(holds.shape[1]):
        loading = problem.loadings[:, pigment]
        strongest = loading > _LADDER * loading.max(initial=0.0)
        if (holds[:, pigment] & ~strongest).any():
            yield from _group(problem.thickness.size, LOADING, holds[:, pigment] & strongest)


def _group(count: int, way: str, chosen: NDArray[np.bool_]) -> Iterator[tuple[str, Index]]:
    castings = np.flatnonzero(chosen)
    if 0 < castings.size <= min(_MOST_CASTINGS, _LEFT * count):
        yield way, castings


def _ratios(fitted: Fitted, castings: Index, view: Viewing) -> Iterator[float]:
    """Squared miss over what was expected, for each casting of a group."""
    left = leave_out(fitted, castings)
    if not left.told:
        return
    missed, expected = in_colour(fitted.problem, left, view)
    of = fitted.problem.readings.casting[left.rows]
    for casting in castings:
        yield float(np.mean((missed / expected)[of == casting]))


# Every reading beside what a fit without its casting says of it: the ground of the stated error.


_LEAST = 1e-4  # squared CIEDE2000: a hundredth, which no instrument repeats. Below black a colour hangs on nothing


def gather(fitted: Fitted, view: Viewing) -> Evidence:
    """Leave every casting out in turn.

    Parameters
    ----------
    view : Viewing
        The light and observer that misses are judged in.
    """
    problem, count = fitted.problem, len(fitted.problem.read)
    foretold, missed, expected = np.empty_like(problem.read), np.empty(count), np.empty(count)
    for each in one_by_one(fitted):
        foretold[each.rows] = problem.read[each.rows] - each.missed
        missed[each.rows], expected[each.rows] = in_colour(problem, each, view)
    return Evidence(
        read=problem.read,
        fitted=fitted.minimum.shown.values,
        foretold=foretold,
        swatch=problem.readings.casting,
        backing=problem.readings.backing,
        missed=missed,
        expected=expected,
    )


def in_colour(problem: Problem, left: LeftOut, view: Viewing) -> tuple[Array, Array]:
    """Squared CIEDE2000 by which every reading was missed, and the mean square to expect; both (n_readings,)."""
    read = problem.read[left.rows]
    lab, by_reading = colorimetry.lab_slopes(np.maximum(read - left.missed, 0.0), view)
    _, by_lab = colorimetry.difference_parts_slopes(lab, lab)
    outward = by_lab @ by_reading  # (n_readings, 3, n_wavelengths)
    n, wide = read.shape
    every = np.arange(n)
    own = left.covariance.reshape(n, wide, n, wide)[every, :, every]
    missed = np.sum(colorimetry.difference_parts(lab, colorimetry.lab(read, view)) ** 2, axis=-1)
    expected = np.einsum("row,rwv,rov->r", outward, own, outward, optimize=True)
    return missed, np.maximum(expected, _LEAST)
