"""The search itself: least squares within bounds and a total, the slopes it lives on, sets of pigments."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import LinearConstraint, NonlinearConstraint, minimize

from tint.appearance import Setting
from tint.palette import Palette
from tint.recipes.aims import STRICT, Problem, lay_out
from tint.recipes.candidates import Bounds
from tint.recipes.judging import Judged, judge
from tint.recipes.search import Residuals, into_bounds, minimise
from tint.recipes.sets import best_of_sets, count_sets, finish, polished, thinned
from tint.target import Look, Target

Array = NDArray[np.float64]
Index = NDArray[np.int64]


# Least squares


def _curved(rng: np.random.Generator, n: int, m: int, r: int) -> Residuals:
    """Random residuals, a little bent: linear ones and a gentle exponential."""
    slope, wanted, bend = rng.normal(size=(n, r, m)), rng.normal(size=(n, r)), 0.3 * rng.normal(size=(n, r, m))

    def residuals(rows: Index, x: Array) -> tuple[Array, Array]:
        wave = np.exp(-x)[:, None, :]
        value = np.einsum("nrm,nm->nr", slope[rows], x) + np.sum(bend[rows] * wave, axis=2) - wanted[rows]
        return value, slope[rows] - bend[rows] * wave

    return residuals


def _problem(seed: int, n: int = 6) -> tuple[Residuals, Array, Array, Array, float]:
    rng = np.random.default_rng(seed)
    m = int(rng.integers(1, 6))
    low = rng.uniform(0.0, 0.2, (n, m)) * (rng.random((n, m)) < 0.5)
    high = low + rng.uniform(0.1, 1.5, (n, m))
    total = float(low.sum(axis=1).max() + rng.uniform(0.05, 1.0))
    return _curved(rng, n, m, m + 2), rng.uniform(0.0, 1.0, (n, m)), low, high, total


def _by_slsqp(
    residuals: Residuals, row: int, low: Array, high: Array, total: float, start: Array, ftol: float = 1e-14
) -> float:
    def objective(x: Array) -> tuple[float, Array]:
        r, slopes = residuals(np.array([row]), x[None])
        return float(r[0] @ r[0]), 2.0 * r[0] @ slopes[0]

    found = minimize(
        objective,
        start,
        jac=True,
        method="SLSQP",
        bounds=list(zip(low, high, strict=True)),
        constraints=LinearConstraint(np.ones((1, low.size)), -np.inf, total),
        options={"ftol": ftol, "maxiter": 500},
    )
    return float(found.fun)


@pytest.mark.parametrize("seed", range(12))
def test_reference_least_squares_end_where_slsqp_ends(seed: int) -> None:
    residuals, start, low, high, total = _problem(seed)
    found = minimise(residuals, start, low=low, high=high, total=total, tolerance=1e-12, most_steps=300)
    assert np.all(found.loadings >= low)
    assert np.all(found.loadings <= high)
    assert np.all(found.loadings.sum(axis=1) <= total * (1.0 + 1e-12))
    for row in range(len(start)):
        other = min(
            _by_slsqp(
                residuals, row, low[row], high[row], total, into_bounds(x[None], low[[row]], high[[row]], total)[0]
            )
            for x in (start[row], found.loadings[row])
        )
        assert found.cost[row] == pytest.approx(other, rel=1e-4, abs=1e-7)


@pytest.mark.parametrize("seed", range(10))
def test_property_nothing_that_is_free_pulls_at_the_end(seed: int) -> None:
    residuals, start, low, high, total = _problem(seed)
    found = minimise(residuals, start, low=low, high=high, total=total, tolerance=1e-12, most_steps=300)
    r, slopes = residuals(np.arange(len(start)), found.loadings)
    assert found.cost == pytest.approx(np.sum(r**2, axis=1), rel=1e-12)
    assert found.pull == pytest.approx(-np.einsum("nr,nrm->nm", r, slopes), abs=1e-12)
    for x, pull, least, most in zip(found.loadings, found.pull, low, high, strict=True):
        free = (x > least + 1e-9) & (x < most - 1e-9)
        # While the total binds, all that is free pulls alike, and not downwards.
        common = pull[free].mean() if x.sum() > total - 1e-9 and free.any() else 0.0
        assert common >= -1e-3
        assert pull[free] == pytest.approx(np.full(free.sum(), common), abs=1e-3)
        assert np.all(pull[x <= least] <= common + 1e-3)
        assert np.all(pull[x >= most] >= common - 1e-3)


def test_property_a_row_does_not_know_its_neighbours() -> None:
    residuals, start, low, high, total = _problem(4, n=12)
    together = minimise(residuals, start, low=low, high=high, total=total)
    for row in range(len(start)):

        def alone(rows: Index, x: Array, row: int = row) -> tuple[Array, Array]:
            return residuals(np.full(len(rows), row), x)

        one = minimise(alone, start[[row]], low=low[[row]], high=high[[row]], total=total)
        assert one.loadings[0] == pytest.approx(together.loadings[row], abs=1e-9)
        assert one.cost[0] == pytest.approx(together.cost[row], rel=1e-9)


def test_no_rows_and_empty_slots_are_no_trouble() -> None:
    residuals, start, low, high, total = _problem(7, n=3)
    none = minimise(residuals, start[:0], low=low[:0], high=high[:0], total=total)
    assert none.loadings.shape == (0, start.shape[1])
    shut = np.zeros_like(high)
    held = minimise(residuals, start, low=shut, high=shut, total=total)
    assert np.all(held.loadings == 0.0)


_SHARES = st.lists(st.tuples(st.floats(-1.0, 3.0), st.floats(0.0, 0.4), st.floats(0.0, 2.0)), min_size=1, max_size=5)


@given(_SHARES, st.floats(0.01, 3.0))
def test_property_into_bounds_keeps_all_limits_and_leaves_alone_what_keeps_them(
    rows: list[tuple[float, float, float]], room: float
) -> None:
    x, low, width = (np.array([column]) for column in zip(*rows, strict=True))
    high, total = low + width, float(low.sum()) + room
    inside = into_bounds(x, low, high, total)
    assert np.all(inside >= low - 1e-12)
    assert np.all(inside <= high + 1e-12)
    assert inside.sum() <= total * (1.0 + 1e-12)
    assert into_bounds(inside, low, high, total) == pytest.approx(inside, abs=1e-12)
    clipped = np.clip(x, low, high)
    assert inside.sum() == pytest.approx(min(clipped.sum(), total))
    assert np.array_equal(inside, clipped) or clipped.sum() > total


# Slopes

LAB = np.array([62.0, 14.0, 38.0])
ALSO = (Look(lab=np.array([40.0, 5.0, 20.0]), over="black"), Look(lab=np.array([55.0, 9.0, 30.0]), over="none"))
ASKED: dict[str, tuple[Target, Setting, tuple[float, ...]]] = {
    "colour": (Target(lab=LAB), Setting(thickness_mm=2.0), ()),
    "wet seat": (Target(lab=LAB), Setting(thickness_mm=2.0, seat="wet"), ()),
    "free slab": (Target(lab=LAB), Setting(thickness_mm=2.0, over="none"), ()),
    "over black": (Target(lab=LAB), Setting(thickness_mm=2.0, over="black", light="A", observer=2), ()),
    "walls": (Target(lab=LAB, contrast_ratio_min=0.99), Setting(thickness_mm=2.0), (1.0, 4.0)),
    "contrast ratio": (Target(lab=LAB, contrast_ratio=0.7), Setting(thickness_mm=2.0), ()),
    "contrast ratio at least": (Target(lab=LAB, contrast_ratio_min=0.99), Setting(thickness_mm=2.0), ()),
    "contrast ratio kept": (Target(lab=LAB, contrast_ratio_min=0.05), Setting(thickness_mm=2.0), ()),
    "contrast ratio at most": (Target(lab=LAB, contrast_ratio_max=0.2), Setting(thickness_mm=2.0, seat="wet"), ()),
    "transmittance": (Target(lab=LAB, transmittance=0.3), Setting(thickness_mm=2.0), ()),
    "transmittance at most": (Target(lab=LAB, transmittance_max=0.01), Setting(thickness_mm=2.0), ()),
    "sample of another thickness": (
        Target(lab=LAB, thickness_mm=4.0, contrast_ratio=0.8), Setting(thickness_mm=2.0), (),
    ),
    "further looks": (Target(lab=LAB, also=ALSO), Setting(thickness_mm=2.0), ()),
    "further looks, wet, walls": (Target(lab=LAB, also=ALSO), Setting(thickness_mm=2.0, seat="wet"), (1.5,)),
}  # fmt: skip


def _laid_out(palette: Palette, name: str) -> Problem:
    target, setting, walls = ASKED[name]
    largest = np.array([pigment.max_loading or 1.0 for pigment in palette.pigments.values()])
    return lay_out(palette, target, setting=setting, base="clear", largest=largest, walls_mm=walls)


def _blends(n_pigments: int) -> tuple[Index, Array]:
    rng = np.random.default_rng(3)
    sets = np.sort(np.argsort(rng.random((12, n_pigments)), axis=1)[:, :3], axis=1)
    return sets, 10.0 ** rng.uniform(-2.0, -0.3, (12, 3))


@pytest.mark.parametrize("name", ASKED)
@pytest.mark.parametrize("emphasised", [False, True])
def test_reference_slopes_of_all_that_is_asked_are_those_of_small_steps(
    demo_palette: Palette, name: str, emphasised: bool
) -> None:
    problem = _laid_out(demo_palette, name)
    sets, loadings = _blends(len(demo_palette.pigments))
    n_colours = judge(problem, sets, loadings).colour.shape[1]
    emphasis = np.random.default_rng(5).uniform(0.3, 2.0, (len(sets), n_colours)) if emphasised else None

    def at(x: Array) -> Judged:
        return judge(problem, sets, x, None, emphasis)

    slopes = at(loadings).slopes
    for pigment in range(sets.shape[1]):
        step = 1e-4 * loadings * (np.arange(sets.shape[1]) == pigment)
        width = 2.0 * step[:, pigment, None]
        by_steps = (at(loadings + step).residuals - at(loadings - step).residuals) / width
        scale = np.abs(by_steps).max(axis=1, keepdims=True) + 1.0
        assert np.max(np.abs(slopes[:, :, pigment] - by_steps) / scale) < 1e-5


@pytest.mark.parametrize("name", ["walls", "transmittance", "further looks"])
def test_residuals_are_the_misses_that_are_told(demo_palette: Palette, name: str) -> None:
    sets, loadings = _blends(len(demo_palette.pigments))
    # With room, misses are told of the bounds that are sought, not of those that were asked for.
    problem = replace(_laid_out(demo_palette, name), room=np.zeros((len(sets), 3)))
    judged = judge(problem, sets, loadings)
    thrift = judged.residuals[:, -sets.shape[1] :]
    told = np.sum(judged.colour**2, axis=1) + np.sum((judged.opacity / problem.opacity_scale) ** 2, axis=1)
    assert np.sum(judged.residuals**2, axis=1) == pytest.approx(told + np.sum(thrift**2, axis=1))
    assert np.all(np.sum(thrift**2, axis=1) < 1e-3)


def test_a_target_given_row_by_row_is_judged_row_by_row(demo_palette: Palette) -> None:
    problem = _laid_out(demo_palette, "colour")
    sets, loadings = _blends(len(demo_palette.pigments))
    wanted = LAB + np.arange(float(len(sets)))[:, None]
    (casting,) = problem.castings
    many = replace(problem, castings=(replace(casting, colours=tuple((b, wanted) for b, _ in casting.colours)),))
    rows = np.array([5, 2, 9])
    judged = judge(many, sets[rows], loadings[rows], rows)
    for at, row in enumerate(rows):
        one = replace(
            problem, castings=(replace(casting, colours=tuple((b, wanted[row]) for b, _ in casting.colours)),)
        )
        alone = judge(one, sets[[row]], loadings[[row]])
        assert judged.residuals[at] == pytest.approx(alone.residuals[0], abs=1e-12)


def test_every_second_wavelength_is_nearly_all_of_them(demo_palette: Palette) -> None:
    problem = _laid_out(demo_palette, "walls")
    sets, loadings = _blends(len(demo_palette.pigments))
    fine, coarse = judge(problem, sets, loadings), judge(thinned(problem, 2), sets, loadings)
    assert coarse.colour == pytest.approx(fine.colour, abs=1.0)
    assert coarse.opacity == pytest.approx(fine.opacity, abs=0.02)


# Sets


def _bounds(palette: Palette, total: float = 3.0, low: float = 0.0) -> Bounds:
    largest = np.array([pigment.max_loading or 1.0 for pigment in palette.pigments.values()])
    return Bounds(np.append(np.full(largest.size, low), 0.0), np.append(largest, 0.0), total)


@pytest.mark.parametrize("keep", [(), (2,), (1, 4)])
@pytest.mark.parametrize("most", [1, 2, 4])
def test_sets_are_counted_as_they_are_listed(keep: tuple[int, ...], most: int) -> None:
    if len(keep) > most:
        return
    listed = [s for size in range(1, most + 1) for s in itertools.combinations(range(6), size) if set(keep) <= set(s)]
    assert count_sets(6, len(keep), most) == len(listed)
    assert count_sets(20, 0, 4) == sum(math.comb(20, size) for size in (1, 2, 3, 4)) == 6195


def test_of_many_pigments_those_are_combined_that_came_nearest(
    demo_palette: Palette, monkeypatch: pytest.MonkeyPatch
) -> None:
    problem, bounds = _laid_out(demo_palette, "contrast ratio at least"), _bounds(demo_palette)
    usable = range(len(demo_palette.pigments))
    every = best_of_sets(problem, usable=usable, keep=(), most=4, bounds=bounds)
    monkeypatch.setattr("tint.recipes.sets.MOST_SETS", 30)
    assert count_sets(8, 0, 4) == 8 + 28 + math.comb(6, 3) + math.comb(6, 4)
    few = best_of_sets(problem, usable=usable, keep=(), most=4, bounds=bounds)
    assert np.sqrt(few.cost[0]) == pytest.approx(np.sqrt(every.cost[0]), abs=0.02)
    assert count_sets(150, 0, 4) <= 4 * 30


def _nearest(problem: Problem, sets: Sequence[tuple[int, ...]], bounds: Bounds) -> float:
    """Least cost of these sets by scipy, from two starts each."""
    costs = []
    for chosen in sets:
        rows = np.array([chosen])

        def residuals(_: Index, x: Array, rows: Index = rows) -> tuple[Array, Array]:
            judged = judge(problem, rows, x)
            return judged.residuals, judged.slopes

        high = bounds.high[list(chosen)]
        starts = [into_bounds((share * high)[None], 0.0 * high[None], high[None], bounds.total)[0] for share in SHARES]
        costs += [_by_slsqp(residuals, 0, 0.0 * high, high, bounds.total, start, 1e-9) for start in starts]
    return min(costs)


SHARES = (0.03, 0.3)
FAR: dict[str, Target] = {
    "within reach": Target(lab=np.array([70.0, 5.0, 30.0])),
    "out of reach": Target(lab=np.array([50.0, 70.0, 10.0])),
    "opacity pulls": Target(lab=np.array([80.0, 5.0, 60.0]), contrast_ratio_min=0.97),
    "to be see-through": Target(lab=np.array([45.0, 20.0, 30.0]), contrast_ratio=0.3),
}


@pytest.mark.parametrize("name", FAR)
def test_reference_no_set_of_two_is_nearer_by_slsqp(demo_palette: Palette, name: str) -> None:
    bounds, usable = _bounds(demo_palette), (0, 1, 3, 4, 7)  # white, yellow, red, rose, black
    problem = lay_out(
        demo_palette, FAR[name], setting=Setting(thickness_mm=2.0), base="clear", largest=bounds.largest[:-1]
    )
    found = best_of_sets(problem, usable=list(usable), keep=[], most=2, bounds=bounds)
    pairs = list(itertools.combinations(usable, 2))
    assert found.cost.min() <= _nearest(problem, pairs, bounds) * (1.0 + 1e-6) + 2e-4


@pytest.mark.parametrize("name", FAR)
def test_property_larger_sets_are_no_farther_and_hold_the_smaller(demo_palette: Palette, name: str) -> None:
    bounds, usable = _bounds(demo_palette), list(range(len(demo_palette.pigments)))
    problem = lay_out(
        demo_palette, FAR[name], setting=Setting(thickness_mm=2.0), base="clear", largest=bounds.largest[:-1]
    )
    empty = len(usable)
    least = np.inf
    alone: dict[tuple[int, ...], float] = {}
    for most in (1, 2, 3, 4):
        found = best_of_sets(problem, usable=usable, keep=[], most=most, bounds=bounds)
        assert found.cost.min() <= least + 2e-3
        least = float(found.cost.min())
        costs: dict[tuple[int, ...], float] = {}
        for row, cost in zip(found.sets, found.cost, strict=True):  # the nearest of a set comes first
            costs.setdefault(tuple(sorted(int(p) for p in row if p != empty)), float(cost))
        # Only the best go on to the end, so that a set that misses by far may be dropped on the way.
        near = (math.sqrt(least) + 2.0) ** 2
        for chosen in [each for each in sorted(alone, key=lambda each: alone[each])[:5] if alone[each] < near]:
            assert costs[chosen] <= alone[chosen] + 2e-3
        alone = {chosen: cost for chosen, cost in costs.items() if len(chosen) == most}
        assert alone or most > 1


@pytest.mark.parametrize(("total", "low"), [(3.0, 0.0), (0.3, 0.0), (1.0, 0.2), (0.5, 0.3)])
@pytest.mark.parametrize("keep", [[], [0], [0, 7]])
def test_property_every_set_keeps_to_its_limits(
    demo_palette: Palette, total: float, low: float, keep: list[int]
) -> None:
    bounds, usable = _bounds(demo_palette, total, low), [0, 1, 3, 5, 7]
    if bounds.low[keep].sum() > total:
        return
    problem = lay_out(
        demo_palette, FAR["opacity pulls"], setting=Setting(thickness_mm=2.0), base="clear",
        largest=bounds.largest[:-1],
    )  # fmt: skip
    found = best_of_sets(problem, usable=usable, keep=keep, most=4, bounds=bounds)
    assert np.all(found.loadings.sum(axis=1) <= total * (1.0 + 1e-9))
    assert np.all(found.loadings <= bounds.high[found.sets] * (1.0 + 1e-12))
    empty = len(demo_palette.pigments)
    for chosen, loadings in zip(found.sets, found.loadings, strict=True):
        present = set(chosen[chosen != empty].tolist())
        assert set(keep) <= present | ({0, 7} if low == 0.0 else set())
        assert present <= set(usable)
        assert np.all(loadings[chosen == empty] == 0.0)
        assert np.all(loadings[chosen != empty] >= low)


def test_opacity_that_must_hold_is_offered_beside_the_fair_trade(demo_palette: Palette) -> None:
    bounds, usable = _bounds(demo_palette), list(range(len(demo_palette.pigments)))
    problem = lay_out(
        demo_palette, FAR["opacity pulls"], setting=Setting(thickness_mm=0.7), base="clear", largest=bounds.largest[:-1]
    )
    found = best_of_sets(problem, usable=usable, keep=[], most=4, bounds=bounds)
    judged = judge(problem, found.sets, found.loadings)
    opacity, colour = np.abs(judged.opacity[:, 0]), judged.colour[:, 0]
    fair = int(np.hypot(colour, opacity / problem.opacity_scale).argmin())
    assert opacity[fair] > 0.01
    strict = replace(problem, opacity_scale=STRICT)
    held = finish(strict, found.sets, found.loadings, bounds)
    assert np.hypot(colour, opacity / STRICT).min() <= np.sqrt(held.cost.min()) + 0.02


@pytest.mark.parametrize("seed", range(3))
def test_reference_the_worst_of_several_walls_is_least_by_direct_minimax(demo_palette: Palette, seed: int) -> None:
    rng = np.random.default_rng(seed)
    lab = np.array([rng.uniform(45.0, 80.0), rng.uniform(-10.0, 20.0), rng.uniform(10.0, 50.0)])
    bounds = _bounds(demo_palette)
    chosen = np.array([[0, 1, 3, 5]])
    problem = lay_out(
        demo_palette, Target(lab=lab), setting=Setting(thickness_mm=1.0), base="clear", largest=bounds.largest[:-1],
        walls_mm=(2.0, 4.0),
    )  # fmt: skip
    ours = finish(problem, chosen, 0.1 * bounds.largest[chosen], bounds)
    worst = judge(problem, chosen, ours.loadings).colour.max()
    high = bounds.high[chosen[0]]

    def walls(y: Array) -> Array:
        return np.asarray(judge(problem, chosen, (y[:4] * high)[None]).colour[0])

    def bound(y: Array, /) -> float:
        return float(y[4])

    def inside(y: Array, /) -> Array:
        return np.append(y[4] - walls(y), bounds.total - y[:4] @ high)

    # The least number that no wall's difference exceeds.
    best = np.inf
    for share in (0.02, 0.2):
        start = np.full(5, share)
        start[4] = walls(start).max()
        found = minimize(
            bound,
            start,
            method="SLSQP",
            bounds=[*[(0.0, 1.0)] * 4, (0.0, 1e3)],
            constraints=NonlinearConstraint(inside, 0.0, np.inf),
            options={"maxiter": 150, "ftol": 1e-7},
        )
        best = min(best, float(walls(found.x).max()))
    assert worst <= best + 0.05


def test_property_room_to_a_bound_goes_with_its_row(demo_palette: Palette) -> None:
    bounds, sets = _bounds(demo_palette), np.array([[0, 1, 3], [0, 2, 7], [5, 6, 7]])
    target = Target(lab=np.array([75.0, 8.0, 45.0]), contrast_ratio_min=0.9)
    problem = lay_out(
        demo_palette, target, setting=Setting(thickness_mm=2.0), base="clear", largest=bounds.largest[:-1],
        walls_mm=(4.0,),
    )  # fmt: skip
    room = np.zeros((3, 3))
    room[:, 0] = (0.0, 0.1, 0.2)
    start = 0.1 * bounds.largest[sets]
    together = polished(replace(problem, room=room), sets, start, bounds)
    for row in range(3):
        alone = polished(replace(problem, room=room[[row]]), sets[[row]], start[[row]], bounds)
        ended = [judge(problem, sets[[row]], x).colour.max() for x in (alone.loadings, together.loadings[[row]])]
        # Only rows near the nearest have their walls levelled out; alone each is the nearest.
        assert ended[0] <= ended[1] + 1e-3
    missed = np.abs(judge(replace(problem, room=room), sets[[1, 1, 1]], 0.1 * start[[1, 1, 1]]).opacity[:, 0])
    assert missed[0] < missed[1] < missed[2]
