"""Blends judged: the residuals of many sets of pigments at once, with slopes by their loadings.

Residuals are in units of CIEDE2000; a miss in opacity is brought to them by a fixed scale.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tint import colorimetry
from tint.optics import layer, surface
from tint.recipes.aims import Problem
from tint.spectra import Array, Index, Mask

_FAINT = 1e-9  # so that the slope of a root is finite where nothing is spent


@dataclass(frozen=True, eq=False)
class Judged:
    """Residuals of many blends."""

    residuals: Array  # shape (n, r): in CIEDE2000
    slopes: Array  # shape (n, r, m): by the loadings of each row's own pigments [1/%]
    colour: Array  # shape (n, n_colours): CIEDE2000 of every colour asked for
    # shape (n, n_opacities): signed misses of what is asked, or where the problem has room of that; 0 where met [-]
    opacity: Array
    colour_slopes: Array  # shape (n, 3, m): of the parts of the first colour, by the loadings [1/%]

    @property
    def worst(self) -> Array:
        """CIEDE2000 of the colour that is missed most, shape (n,)."""
        return np.asarray(self.colour.max(axis=1, initial=0.0))

    @property
    def missed(self) -> Array:
        """The largest miss in contrast ratio, transmittance or haze, unsigned, shape (n,)."""
        return np.asarray(np.abs(self.opacity).max(axis=1, initial=0.0))

    def met(self, tolerance: float) -> Mask:
        """Which blends have all colours and the opacity asked for, shape (n,)."""
        return met(tolerance, self.worst, self.missed)


def met(tolerance: float, delta_e: ArrayLike, opacity: ArrayLike) -> Mask:
    """Whether a colour and an opacity, each missed by so much, count as reached, shape (...)."""
    return np.asarray((np.asarray(delta_e) <= tolerance) & (np.asarray(opacity) == 0.0))


def judge(
    problem: Problem, sets: Index, loadings: Array, rows: Index | None = None, emphasis: Array | None = None
) -> Judged:
    """Residuals of blends, and their slopes.

    `sets` (n, m): pigments of each row.
    `loadings` (n, m) [%]
    `rows` (n,): which row of a target given row by row each one is.
    `emphasis` (n, n_colours): weights of the colours asked for, whose mean is 1.
    """
    n = len(sets)
    parts: list[Array] = []
    slopes: list[Array] = []
    colour: list[Array] = []
    moved: list[Array] = []
    opacity: list[Array] = []
    blends = mixed(problem, sets, loadings)

    def ask(kind: str, value: Array, by_loading: Array) -> None:
        """Add a miss in opacity to the residuals; a bound that is kept pulls at nothing."""
        off = missed(problem, kind, value, rows)
        miss = problem.target.miss(kind, value) if problem.room is None else off
        pulls = ((off != 0.0) | (problem.target.bounds(kind)[0] is not None))[:, None]
        parts.extend(_by_wall(off[:, None] / problem.opacity_scale, n))
        slopes.extend(_by_wall(np.where(pulls, by_loading, 0.0)[:, None, :] / problem.opacity_scale, n))
        opacity.extend(_by_wall(miss, n))

    for casting in problem.castings:
        count = len(casting.walls_mm)
        d = np.repeat(casting.walls_mm, n)[:, None]
        depths, own = (blends, sets) if count == 1 else (np.tile(blends, (1, count, 1)), np.tile(sets, (count, 1)))
        depths = depths * d
        seen = Seen(problem, problem.optics.terms(*depths, seat=casting.seat), d, own)
        for backing, lab in casting.colours:
            wanted = lab if lab.ndim == 1 or rows is None else np.tile(lab[rows], (count, 1))
            miss, by_loading = _colour(problem, seen, backing, wanted)
            for off, by_own in zip(_by_wall(miss, n), _by_wall(by_loading, n), strict=True):
                weight = None if emphasis is None else np.sqrt(emphasis[:, len(colour)])
                parts.append(off if weight is None else off * weight[:, None])
                slopes.append(by_own if weight is None else by_own * weight[:, None, None])
                colour.append(np.sqrt(np.sum(off * off, axis=1)))
                moved.append(by_own)
        if "contrast_ratio" in casting.asked:
            ask("contrast_ratio", *contrast(problem, seen))
        if casting.asked & {"transmittance", "haze"}:
            passed, by_depth = problem.optics.transmitted(*depths)
            y, by_loading = _luminance(problem, passed, by_depth, d, own)
        if "haze" in casting.asked:
            ask("haze", *_haze(problem, depths, y, by_loading, d, own))
        if "transmittance" in casting.asked:
            ask("transmittance", y / 100.0, by_loading / 100.0)
    pull, by_loading = _thrift(problem, sets, loadings, rows)
    parts.append(pull)
    slopes.append(by_loading)
    return Judged(
        np.concatenate(parts, axis=1),
        np.concatenate(slopes, axis=1),
        np.stack(colour, axis=1) if colour else np.zeros((n, 1)),
        np.stack(opacity, axis=1) if opacity else np.zeros((n, 0)),
        moved[0] if moved else np.zeros((n, 3, sets.shape[1])),
    )


def missed(problem: Problem, kind: str, value: Array, rows: Index | None = None) -> Array:
    """How far each row, of all walls one after the other, is from what is sought of one of `KINDS`, signed."""
    reach = problem.target.bounds(kind)[0]
    if reach is not None:
        return value - reach
    low, high = problem.within[kind]
    if problem.room is not None:
        low, high = (each if rows is None else each[rows] for each in (low, high))
        low, high = (np.tile(each, len(value) // max(len(each), 1)) for each in (low, high))  # the walls
    return np.asarray(np.minimum(value - low, 0.0) + np.maximum(value - high, 0.0))


def _by_wall(values: Array, n: int) -> list[Array]:
    """Rows of all walls, the walls one after the other, as one array of n rows for each wall."""
    return [values[first : first + n] for first in range(0, len(values), n)] if n else [values]


def _thrift(problem: Problem, sets: Index, loadings: Array, rows: Index | None) -> tuple[Array, Array]:
    """The pull towards less pigment as residuals, shape (n, r), and their slopes, shape (n, r, m)."""
    thrift = problem.thrift if rows is None or np.ndim(problem.thrift) == 0 else np.asarray(problem.thrift)[rows]
    if problem.worth is None:
        share = np.where(problem.largest > 0.0, problem.thrift / np.maximum(problem.largest, 1e-12), 0.0)[sets]
        return loadings * share, share[:, :, None] * np.eye(sets.shape[1])
    worth = problem.worth[sets]
    # The square of the residual is the sum itself; what is cheaper than the base must not make it negative.
    spent = np.sum(worth * loadings, axis=1) + 100.0 * float(np.max(-problem.worth, initial=0.0)) + _FAINT
    root = np.asarray(thrift * np.sqrt(spent))
    return root[:, None], (0.5 * (root / spent)[:, None] * worth)[:, None, :]


def mixed(problem: Problem, sets: Index, loadings: Array) -> Array:
    """K, S, M and Q of blends, shape (4, n, n_wavelengths)."""
    return problem.bare[:, None] + spread(sets, loadings, problem.gain.shape[1]) @ problem.gain


def spread(sets: Index, values: Array, count: int) -> Array:
    """What stands beside sets of pigments, shape (n, m), laid out over all of them, shape (n, count)."""
    whole = np.zeros((len(sets), count))
    whole[np.arange(len(sets))[:, None], sets] = values
    return whole


class Seen:
    """A layer's three numbers, read over backings as XYZ with slopes by the loadings; each backing once."""

    def __init__(self, problem: Problem, terms: tuple[Array, Array], d: float | Array, sets: Index) -> None:
        self.problem, self.terms, self.d, self.sets = problem, terms, d, sets
        self._known: dict[int, tuple[Array, Array]] = {}

    def xyz(self, backing: Array | None) -> tuple[Array, Array]:
        """XYZ, shape (n, 3), and slopes, shape (n, 3, m)."""
        if id(backing) not in self._known:
            read, by_depth = layer.over_backing(*self.terms, backing)
            self._known[id(backing)] = (
                read @ self.problem.view.weights,
                _by_loading(self.problem.gain_xyz, by_depth, self.d, self.sets, sums=3),
            )
        return self._known[id(backing)]

    def luminance(self, backing: Array) -> tuple[Array, Array]:
        """Y, shape (n,), and slopes, shape (n, m)."""
        if id(backing) in self._known:
            value, slopes = self._known[id(backing)]
            return value[:, 1], slopes[:, 1]
        read, by_depth = layer.over_backing(*self.terms, backing)
        return _luminance(self.problem, read, by_depth, self.d, self.sets)


def _luminance(
    problem: Problem, spectrum: Array, by_depth: Array, d: float | Array, sets: Index
) -> tuple[Array, Array]:
    return spectrum @ problem.view.weights[:, 1], _by_loading(problem.gain_y, by_depth, d, sets, sums=1)[:, 0]


def _by_loading(weighted: Array, by_depth: Array, d: float | Array, sets: Index, *, sums: int) -> Array:
    """Slopes of weighted sums by each row's own loadings, shape (n, n_sums, m).

    `weighted`: `gain_xyz` or `gain_y` of `Problem`.
    `by_depth` (m, n, n_wavelengths): of the spectra, by K d, S d, M d and Q d, as far as they depend on them.
    """
    kinds, n, n_wavelengths = by_depth.shape
    every = by_depth.transpose(1, 0, 2).reshape(n, kinds * n_wavelengths) @ weighted[: kinds * n_wavelengths]
    every = (d * every).reshape(n, sums, weighted.shape[1] // sums)
    return every[np.arange(n)[:, None, None], np.arange(sums)[:, None], sets[:, None, :]]


def _colour(problem: Problem, seen: Seen, backing: Array | None, wanted: Array) -> tuple[Array, Array]:
    tristimulus, by_loading = seen.xyz(backing)
    lab, by_xyz = colorimetry.xyz_to_lab_slopes(tristimulus, problem.view.white)
    parts, by_lab = colorimetry.difference_parts_slopes(wanted, lab)
    return parts, by_lab @ by_xyz @ by_loading


def contrast(problem: Problem, seen: Seen) -> tuple[Array, Array]:
    (white, by_white), (black, by_black) = seen.luminance(problem.white), seen.luminance(problem.black)
    ratio = black / white
    return ratio, (by_black - ratio[:, None] * by_white) / white[:, None]


def _haze(
    problem: Problem, depths: Array, passed: Array, by_passed: Array, d: float | Array, sets: Index
) -> tuple[Array, Array]:
    """Haze, shape (n,), and its slopes by the loadings, from luminance and slopes of all that passes."""
    regular, by_depth = surface.regular(*depths[:3], refractive_index=problem.optics.refractive_index)
    if problem.optics.faces is not None:
        regular, by_depth = regular * problem.optics.faces.kept, by_depth * problem.optics.faces.kept
    y, by_loading = _luminance(problem, regular, by_depth, d, sets)
    share = y / passed
    return 1.0 - share, (share[:, None] * by_passed - by_loading) / passed[:, None]
