"""The colours that a base and its pigments can reach at a thickness and an opacity: the edge of their gamut.

At each lightness and hue a colour far outside is asked for; the nearest recipe lies on the edge. All of these targets
are solved at once, each by all small sets of pigments.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from tint import colorimetry
from tint.appearance import Setting
from tint.palette import Palette
from tint.recipes import limits
from tint.recipes.aims import GUARD, STRICT, Problem, lay_out
from tint.recipes.answer import Rules
from tint.recipes.candidates import Bounds
from tint.recipes.judging import Seen, contrast, missed, mixed
from tint.recipes.search import minimise
from tint.spectra import Array, Index
from tint.target import Target

_DRAWS = 6000  # random blends that give every direction its starting point
_STARTS, _SWEEPS = 4, 3
_HOLD, _PULL = 3.0, 0.05  # lightness is held far harder than chroma is wanted
_NEAR = 1.0  # L* within which a blend belongs to a section


@dataclass(frozen=True, kw_only=True, eq=False)
class Reach:
    """Edge of the reachable colours."""

    base: str
    setting: Setting
    lightness: Array  # shape (n_levels,): L* of each section [-]
    # shape (n_hues, 2): a*, b* along the edge of each section, by rising hue angle; empty where no recipe has that
    # lightness [-]
    edges: tuple[Array, ...]
    contrast_ratio_min: float | None  # what every colour inside has at least [-]


def reach(
    palette: Palette,
    *,
    base: str,
    setting: Setting,
    rules: Rules | None = None,
    contrast_ratio_min: float | None = None,
    lightness: Collection[float] = (30.0, 45.0, 60.0, 75.0, 90.0),
    n_hues: int = 36,
) -> Reach:
    """The edge of the colours that a base reaches, in sections of constant lightness.

    `rules`: its limits hold; its scale does not count.
    `contrast_ratio_min`: only colours as opaque as this [-].
    `n_hues`: points along each edge.
    Raises InputError if base, rules or setting name what the palette does not have.
    """
    rules = rules or Rules()
    limits.check_rules(palette, rules)
    palette.check_base(base)
    usable, _ = limits.usable_pigments(palette, base, rules)
    bounds = limits.bounds(palette, base, rules)
    target = Target(lab=np.array([50.0, 0.0, 0.0]), contrast_ratio_min=contrast_ratio_min)
    problem = lay_out(palette, target, setting=setting, base=base, largest=bounds.largest[:-1])
    sets, drawn = _drawn(problem, usable, min(rules.most_pigments, len(usable)), bounds.total)
    lab = _look_at(problem, sets, drawn).lab
    hues = np.linspace(0.0, 2.0 * np.pi, n_hues, endpoint=False)
    ways = np.stack((np.cos(hues), np.sin(hues)), axis=1)
    levels = np.asarray(sorted(lightness), dtype=float)
    edges = tuple(_edge(_Section(problem, bounds, float(level), ways), sets, drawn, lab) for level in levels)
    return Reach(base=base, setting=setting, lightness=levels, edges=edges, contrast_ratio_min=contrast_ratio_min)


@dataclass(frozen=True, eq=False)
class _Section:
    """One lightness of one base: everything that does not change from hue to hue."""

    problem: Problem
    bounds: Bounds
    lightness: float
    ways: Array  # unit vectors of the hues in the a*b* plane, shape (n_hues, 2)


@dataclass(frozen=True, eq=False)
class _Farthest:
    """The farthest blend found along each hue: sets and loadings, shape (n_hues, m), and a*, b*, shape (n_hues, 2)."""

    sets: Index
    loadings: Array
    along: Array
    points: Array


def _edge(section: _Section, sets: Index, drawn: Array, lab: Array) -> Array:
    """Farthest colours at one lightness along every hue, shape (n, 2); empty when that lightness is not reached."""
    # The most promising draws for each hue: far along it, near the lightness.
    promise = lab[:, 1:] @ section.ways.T - 1.5 * np.abs(lab[:, :1] - section.lightness)
    chosen = np.argsort(-promise, axis=0)[:_STARTS]
    outward = float(np.hypot(lab[:, 1], lab[:, 2]).max()) + 20.0
    found = _pushed(section, sets[chosen], drawn[chosen], outward)
    for _ in range(_SWEEPS):
        # A hue left behind takes over what its neighbours found.
        order = np.arange(len(section.ways))
        beside = np.stack((order, np.roll(order, 1), np.roll(order, -1)))
        again = _pushed(section, found.sets[beside], found.loadings[beside], outward)
        gain = again.along > found.along
        found = _Farthest(
            np.where(gain[:, None], again.sets, found.sets),
            np.where(gain[:, None], again.loadings, found.loadings),
            np.where(gain, again.along, found.along),
            np.where(gain[:, None], again.points, found.points),
        )
    return _ring(found.points[np.isfinite(found.along)])


def _pushed(section: _Section, sets: Index, start: Array, outward: float) -> _Farthest:
    """Blends pushed outward along each hue, from starts of shape (n_starts, n_hues, m); the farthest of each hue."""
    n_starts, n_hues, m = sets.shape
    sets, start = sets.reshape(-1, m), start.reshape(-1, m)
    ways = np.tile(section.ways, (n_starts, 1))
    asked = np.column_stack((np.full(len(ways), section.lightness), outward * ways))
    across = np.stack((-ways[:, 1], ways[:, 0]), axis=1)
    problem, bounds = section.problem, section.bounds

    def residuals(rows: Index, loadings: Array) -> tuple[Array, Array]:
        return _pushing(_look_at(problem, sets[rows], loadings), asked[rows], ways[rows], across[rows])

    found = minimise(
        residuals,
        start,
        low=bounds.low[sets],
        high=bounds.high[sets],
        total=bounds.total,
        tolerance=1e-5,
        most_steps=60,
    )
    ended = _look_at(problem, sets, found.loadings)
    good = np.abs(ended.lab[:, 0] - section.lightness) < _NEAR
    good &= np.all(np.abs(ended.opacity) <= GUARD, axis=1)
    along = np.where(good, np.sum(ended.lab[:, 1:] * ways, axis=1), -np.inf).reshape(n_starts, n_hues)
    best = along.argmax(axis=0) * n_hues + np.arange(n_hues)
    return _Farthest(sets[best], found.loadings[best], along.max(axis=0), ended.lab[best, 1:])


def _pushing(ended: _Looks, asked: Array, ways: Array, across: Array) -> tuple[Array, Array]:
    """Residuals that pull along a hue, while lightness and opacity are held far harder: in CIELAB, not CIEDE2000."""
    off, slopes = ended.lab - asked, ended.slopes
    rows = (
        (_HOLD * off[:, 0], _HOLD * slopes[:, 0]),
        (_PULL * np.sum(off[:, 1:] * ways, axis=1), _PULL * np.einsum("nc,ncm->nm", ways, slopes[:, 1:])),
        (_PULL * np.sum(off[:, 1:] * across, axis=1), _PULL * np.einsum("nc,ncm->nm", across, slopes[:, 1:])),
    )
    opacity = ended.opacity / STRICT
    return (
        np.concatenate((np.stack([r for r, _ in rows], axis=1), opacity), axis=1),
        np.concatenate((np.stack([s for _, s in rows], axis=1), ended.opacity_slopes / STRICT), axis=1),
    )


def _ring(points: Array) -> Array:
    """Points by rising angle about their middle; fewer than three make no section."""
    if len(points) < 3:
        return np.zeros((0, 2))
    middle = points.mean(axis=0)
    order = np.argsort(np.arctan2(points[:, 1] - middle[1], points[:, 0] - middle[0]))
    return points[order]


def _drawn(problem: Problem, usable: list[int], most: int, total: float) -> tuple[Index, Array]:
    """Random sets and loadings, even in the logarithm of the loading."""
    rng = np.random.default_rng(5)
    sets = np.argsort(rng.random((_DRAWS, len(usable))), axis=1)[:, :most]
    sets = np.sort(np.asarray(usable, dtype=np.int64)[sets], axis=1)
    loadings = problem.largest[sets] * 10.0 ** rng.uniform(-3.5, 0.0, sets.shape)
    return sets, loadings * np.minimum(1.0, total / loadings.sum(axis=1))[:, None]


@dataclass(frozen=True, eq=False)
class _Looks:
    """Colours of the first casting over its first backing, and its opacity misses, with slopes.

    Shapes (n, 3), (n, 3, m), (n, n_opacities), (n, n_opacities, m).
    """

    lab: Array
    slopes: Array
    opacity: Array
    opacity_slopes: Array


def _look_at(problem: Problem, sets: Index, loadings: Array) -> _Looks:
    """What the first casting looks like, with no colour asked of it."""
    casting = problem.castings[0]
    d = casting.walls_mm[0]
    depths = mixed(problem, sets, loadings) * d
    seen = Seen(problem, problem.optics.terms(*depths, seat=casting.seat), d, sets)
    tristimulus, by_loading = seen.xyz(casting.colours[0][0])
    lab, by_xyz = colorimetry.xyz_to_lab_slopes(tristimulus, problem.view.white)
    if not casting.asked:
        none = np.zeros((len(sets), 0))
        return _Looks(lab, by_xyz @ by_loading, none, none[:, :, None] + np.zeros(sets.shape[1]))
    ratio, by_ratio = contrast(problem, seen)
    miss = missed(problem, "contrast_ratio", ratio)
    pulls = np.where(miss[:, None] != 0.0, by_ratio, 0.0)
    return _Looks(lab, by_xyz @ by_loading, miss[:, None], pulls[:, None, :])
