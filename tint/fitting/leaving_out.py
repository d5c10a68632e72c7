"""Leaving out: what a fit without some castings would have said of them. Fit, check and the stated error all use this.

The castings leave with all their readings, and with the thicknesses and doses that tie those readings together; they
are then predicted from what was written, which is all that a maker knows of a casting to come. By linear algebra about
the fitted minimum, in place of fitting again.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.colorimetry import Viewing
from tint.fitting.chain import covariance
from tint.fitting.minimise import Minimum
from tint.fitting.posterior import Posterior
from tint.fitting.priors import BENDS
from tint.fitting.problem import Problem
from tint.fitting.rounds import Weighting
from tint.palette import INSIDE, LOADING, PAIR, RUBBER, THICKNESS, Evidence, Surprise, of_pigment
from tint.spectra import Array
from tint.swatches import SwatchFolder

Index = NDArray[np.int64]

# What is left to say of a direction that the castings left out hold up alone, as a share: it keeps the solution finite.
_ALONE = 1e-4


@dataclass(frozen=True, eq=False)
class LeftOut:
    """Castings without which the rest was fitted."""

    castings: Index  # shape (n_castings,): numbers in the problem
    rows: Index  # shape (n_readings,): their readings
    missed: Array  # shape (n_readings, n_wavelengths): read less predicted [-]
    # shape (n_readings n_wavelengths, n_readings n_wavelengths): to be expected of the misses: of the rest of the
    # palette, of making and of reading these castings
    covariance: Array
    # shape (n_slots, n_readings, n_wavelengths): by the scores of thickness and doses, where one casting is left out
    slopes: Array
    told: bool  # whether the rest of the castings say anything of all that these hold


@dataclass(frozen=True, eq=False)
class Fitted:
    """A fit, as leaving out needs it."""

    folder: SwatchFolder  # with all that stands for readings
    problem: Problem
    minimum: Minimum
    weighting: Weighting
    posterior: Posterior
    # shape (n_readings, n_wavelengths): standard deviation of every value in the fit, the casting's weight in it
    noise: Array


def one_by_one(fitted: Fitted) -> Iterator[LeftOut]:
    """Every casting left out in turn."""
    for casting in range(fitted.problem.thickness.size):
        yield leave_out(fitted, np.array([casting]))


def leave_out(fitted: Fitted, castings: Index) -> LeftOut:
    """Some castings left out together."""
    problem, shown, wide = fitted.problem, fitted.minimum.shown, fitted.problem.n_wavelengths
    rows = np.flatnonzero(np.isin(problem.readings.casting, castings))
    of = problem.readings.casting[rows]
    own = shown.by_own[:, rows]
    score = fitted.minimum.at.own[of].T[..., None]
    as_written = problem.read[rows] - shown.values[rows] + np.sum(own * score, axis=0)
    made = _of_making(own, of, castings)
    V = np.diag(fitted.noise[rows].ravel() ** 2) + made @ made.T
    H = _of_palette(fitted, rows)
    lifted, of_fit = without(V, H, as_written.ravel(), alone=_ALONE)
    expected = V + of_fit
    return LeftOut(
        castings=castings,
        rows=rows,
        missed=(V @ lifted).reshape(rows.size, wide),
        covariance=0.5 * (expected + expected.T),
        slopes=own,
        told=bool(np.max(np.diag(expected) / np.diag(V)) < 0.5 / _ALONE),
    )


def without(V: Array, H: Array, missed: Array, *, alone: float) -> tuple[Array, Array]:
    """``(V - H)^-1`` times what is missed, and the covariance of the fit without these readings.

    `V`, `H` (n, n): covariance of the readings about the palette (noise, thickness and doses), and of the fit there.
    `missed` (n,): at thickness and doses as written.
    `alone`: the share of V that is left to say of a direction which these readings hold up alone.

    Notes
    -----
    What is missed, e, becomes ``V (V - H)^-1 e`` without them, and the fit's covariance ``V (V - H)^-1 H`` (Cook and
    Weisberg 1982, Residuals and Influence in Regression, 2.2; from memory).
    """
    solved = solve(V * (1.0 + alone) - H, np.column_stack((missed, H)))
    return solved[:, 0], V @ solved[:, 1:]


def _of_making(own: Array, of: Index, castings: Index) -> Array:
    """Slopes of all values by every casting's own scores, shape (n_values, n_castings n_slots)."""
    n_slots, n_rows, wide = own.shape
    result = np.zeros((n_rows, wide, castings.size, n_slots))
    for number, casting in enumerate(castings):
        at = np.flatnonzero(of == casting)
        result[at, :, number] = np.moveaxis(own[:, at], 0, -1)
    return result.reshape(n_rows * wide, -1)


def _of_palette(fitted: Fitted, rows: Index) -> Array:
    """Covariance of the predicted values by that of the palette, shape (n_values, n_values)."""
    problem, shown, wide = fitted.problem, fitted.minimum.shown, fitted.problem.n_wavelengths
    known, n, values = fitted.posterior, fitted.problem.n_components, rows.size * fitted.problem.n_wavelengths
    share = shown.share[problem.readings.casting[rows]]
    held = np.flatnonzero(share.any(axis=0))
    share, by_bend, along_s = share[:, held], shown.by_bend[:, :, held], shown.by_s[:, held]
    by_k, by_s, *by_mq = shown.by_mixed[:, rows]
    every = np.arange(wide)
    by_ks = np.zeros((wide, 2, held.size, rows.size, wide))  # of the values, which are the last two axes
    by_ks[every, 0, :, :, every] = np.einsum("rw,rp->wpr", by_k, share)
    by_all_of_s = by_s.T + np.einsum("upw,urw->pwr", along_s, np.stack(by_mq))
    by_ks[every, 1, :, :, every] = np.einsum("pwr,rp->wpr", by_all_of_s, share)
    of_bend = np.einsum("urw,bupw,rp->pbrw", np.stack(by_mq), by_bend, share, optimize=True)
    slopes = np.concatenate((by_ks.reshape(-1, values), of_bend.reshape(-1, values)))
    of_ks = (every[:, None, None] * 2 + np.arange(2)[:, None]) * n + held
    place = np.concatenate((of_ks.ravel(), (2 * n * wide + BENDS * held[:, None] + np.arange(BENDS)).ravel()))
    if known.covariance is not None:
        return np.asarray(slopes.T @ known.covariance[np.ix_(place, place)] @ slopes)
    whole = np.zeros((known.factored.border.shape[0] + known.factored.root.shape[0], values))
    whole[place] = slopes
    return covariance(known.factored, whole)


# Positive matrices of unknowns of very different size: solved in units of their own diagonal.


_ROUNDING = 1e-10  # share of the largest eigenvalue below which one is rounding


def solve(matrix: Array, right: Array) -> Array:
    """Solve ``matrix x = right``; where rounding leaves the matrix not quite positive, by its pseudo-inverse."""
    from scipy.linalg import LinAlgError, cho_factor, cho_solve  # only fitting needs it

    scale = 1.0 / np.sqrt(np.maximum(np.diag(matrix), 1e-300))
    scaled = matrix * scale[:, None] * scale
    try:
        factor = cho_factor(scaled, lower=True, check_finite=False)
        return np.asarray(scale[:, None] * cho_solve(factor, scale[:, None] * right, check_finite=False))
    except LinAlgError:
        solved = np.linalg.pinv(scaled, rcond=_ROUNDING, hermitian=True) @ (scale[:, None] * right)
        return np.asarray(scale[:, None] * solved)


# What leaving out castings in groups teaches of predictions that lie outside what was cast. A prediction is the bolder
# the farther it lies from that: two pigments never cast together, a wall thicker or thinner, a loading beyond the
# ladder, a pigment in a base that it was never cast in. Each is rehearsed with the folder's own castings: all that hold
# a pair leave together, the thickest, the thinnest, the strongest of each ladder, a pigment's in one base; and what is
# then said of them is set beside their readings. The numbers: judgement, tests/figures/judgement.py.

_MOST_GROUPS = 12  # of each kind, the smallest first: what a fit may take of time
_MOST_CASTINGS = 8  # in a group
_LEFT = 0.5  # of all castings that must stay
# Castings of a pigment whose median tells of it, and squared miss over what was expected of it that a sound pigment
# stays below: of the demo's 0.6 to 1.3.
_TELL, _ODD = 3, 2.0
_FARTHEST = 25.0  # squared miss over what was expected, beyond which a casting is wrong rather than surprising
_LADDER = 0.8  # of a pigment's largest loading, from where a casting is one of its strongest
_DEPTHS = 1.15  # of the thinnest, and one over it of the thickest: castings of one mould


def surprises(fitted: Fitted, evidence: Evidence, view: Viewing) -> dict[str, Surprise]:
    """Misses against what was expected of them, for each way of lying outside what was cast."""
    count = fitted.problem.thickness.size
    told = {INSIDE: inside(evidence, count)} | _with_each(fitted, evidence)
    groups: dict[str, list[Index]] = {PAIR: [], THICKNESS: [], LOADING: [], RUBBER: []}
    for way, castings in _groups(fitted):
        groups[way].append(castings)
    for way, found in groups.items():
        small = sorted(found, key=len)[:_MOST_GROUPS]
        ratios = [ratio for castings in small for ratio in _ratios(fitted, castings, view)]
        if ratios:
            told[way] = _mean(np.array(ratios))
    return told


def inside(evidence: Evidence, count: int) -> Surprise:
    """Misses of so many castings left out one by one against what was expected of them, each casting counted once."""
    return _mean(_one_by_one(evidence, count))


def _one_by_one(evidence: Evidence, count: int) -> Array:
    number = np.bincount(evidence.swatch, minlength=count)
    sums = np.bincount(evidence.swatch, evidence.missed / evidence.expected, count)
    return np.asarray(sums / np.where(number > 0, number, np.nan))


def _with_each(fitted: Fitted, evidence: Evidence) -> dict[str, Surprise]:
    """Of pigments whose castings mostly are missed, as of pearl, by how much; one bad casting does not make one."""
    problem = fitted.problem
    ratios, told = _one_by_one(evidence, problem.thickness.size), {}
    for number, name in enumerate(fitted.folder.pigments):
        own = ratios[(problem.loadings[:, number] > 0.0) & np.isfinite(ratios)]
        if own.size >= _TELL:
            ratio = float(min(np.median(own), _FARTHEST))
            if ratio > _ODD:
                told[of_pigment(name)] = Surprise(ratio=ratio, castings=own.size)
    return told


def _mean(ratios: Array) -> Surprise:
    known = ratios[np.isfinite(ratios)]
    return Surprise(ratio=float(np.minimum(known, _FARTHEST).mean()) if known.size else 1.0, castings=known.size)


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
    """Leave every casting out in turn; misses are judged in the light and observer of the view."""
    problem, count = fitted.problem, len(fitted.problem.read)
    predicted, missed, expected = np.empty_like(problem.read), np.empty(count), np.empty(count)
    for each in one_by_one(fitted):
        predicted[each.rows] = problem.read[each.rows] - each.missed
        missed[each.rows], expected[each.rows] = in_colour(problem, each, view)
    return Evidence(
        read=problem.read,
        fitted=fitted.minimum.shown.values,
        predicted=predicted,
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
