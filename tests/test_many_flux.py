"""The many-flux model: tables against the direct solver, their slopes, their edges, their cache and their speed."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError
from tint.optics import many_flux
from tint.optics.adding_doubling import moments, solve
from tint.optics.axes import Axis, Knots
from tint.optics.slab import AT_8, READINGS
from tint.optics.table import tabulate

Array = NDArray[np.float64]

# Refractive index, anisotropy and lobe: at the nodes of the tables, between those of g, between those of all three.
MEDIA = [(1.0, 0.5, 0.0), (1.41, 0.0, 0.0), (1.41, 0.89, 0.0), (1.41, 0.75, -0.5), (1.43, 0.6, 0.08)]
# What a table may be off for being read between its depths and anisotropies, and what an index between those that were
# computed adds to it.
BY_TABLE, BY_INDEX = 1e-4, 7e-5
# Between the lobes that were computed the phase function bends most where it is narrow, and what an index between adds
# is known of no lobe only. What both add at most, by anisotropy, for near lobes and others, at an index computed and
# between; a search over lobes, depths and readings found up to 1.5e-3 and 2.4e-3 among the near ones at the last
# anisotropy, 3.3e-3 and 5.9e-3 among the others, all with S d of 0.1 to 1.6 and hardly any absorption.
NEAR_LOBES, AT_G = (-0.9, 0.07), (0.6, 0.75, many_flux.MOST_G)
BY_LOBE = {
    (True, False): (4e-4, 4e-4, 1.6e-3), (True, True): (5e-4, 1.2e-3, 2.6e-3),
    (False, False): (8e-4, 8e-4, 3.5e-3), (False, True): (1.2e-3, 2.5e-3, 6.2e-3),
}  # fmt: skip
DEPTHS = st.one_of(st.just(0.0), st.floats(1e-7, 1e4))
ANISOTROPIES = st.floats(0.0, many_flux.MOST_G)


def forget() -> None:
    """Drop the tables held in memory."""
    for table in (many_flux.table_of, many_flux.tables_of, many_flux.stored):
        table.cache_clear()


@pytest.fixture
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """An empty cache, and a table that costs nothing to compute: that of index 1."""
    made = many_flux.stored(1.0, 0.0)
    folder = tmp_path / "cache"
    monkeypatch.setenv("TINT_CACHE", str(folder))
    monkeypatch.setattr(many_flux, "build", lambda index, _: {name: index * each for name, each in made.items()})
    forget()
    yield folder
    forget()


def tables_in(cache: Path) -> list[Path]:
    """The tables in a cache; what little their splines take lies there, too."""
    return [file for file in cache.iterdir() if file.stat().st_size > 100_000]


def draw(count: int, seed: int) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    return 10 ** rng.uniform(-5, np.log10(40), count), 10 ** rng.uniform(-5, np.log10(225), count)


def read(
    index: float, g: ArrayLike, x: ArrayLike, y: ArrayLike, geometry: str = "di:8", seat: str = "air", lobe: float = 0.0
) -> tuple[Array, Array]:
    """`terms`, by anisotropy in place of all scattering, and by lobe in place of the second moment."""
    z = np.asarray(y, dtype=float) / (1.0 - np.asarray(g))
    q = None if lobe == 0.0 else second_of(g, z, lobe)  # one Henyey-Greenstein lobe needs none told
    return many_flux.terms(x, y, z, q, refractive_index=index, geometry=geometry, seat=seat)


def second_of(g: ArrayLike, z: Array, lobe: float) -> Array:
    """M d times the second moment."""
    every = np.asarray(g, dtype=float)
    return np.asarray(z * np.reshape([moments(each, 2, lobe)[2] for each in every.ravel().tolist()], every.shape))


def passed_by(index: float, g: ArrayLike, x: ArrayLike, y: ArrayLike, lobe: float = 0.0) -> Array:
    z = np.asarray(y, dtype=float) / (1.0 - np.asarray(g))
    q = None if lobe == 0.0 else second_of(g, z, lobe)
    return many_flux.transmitted(x, y, z, q, refractive_index=index)[0]


def allowed(index: float, lobe: float, g: float) -> float:
    """What a table may be off."""
    near, between = NEAR_LOBES[0] <= lobe <= NEAR_LOBES[1], index not in (1.0, 1.41)
    of_lobe = 0.0 if lobe == 0.0 else float(np.interp(g, AT_G, BY_LOBE[near, between]))
    return BY_TABLE + BY_INDEX * between + of_lobe


@pytest.mark.parametrize(("index", "g", "lobe"), MEDIA)
def test_reference_tables_follow_the_direct_solver(index: float, g: float, lobe: float) -> None:
    x, y = draw(100, 1)
    x[:8], y[4:12] = 0.0, 0.0
    slab, most = solve(x, y, refractive_index=index, g=g, lobe=lobe), allowed(index, lobe, g)
    for geometry, seat in READINGS:
        values, _ = read(index, g, x, y, geometry, seat, lobe)
        np.testing.assert_allclose(values, slab.terms(geometry, seat), rtol=0, atol=most, err_msg=f"{geometry} {seat}")
    np.testing.assert_allclose(passed_by(index, g, x, y, lobe), slab.beam_passed[AT_8], rtol=0, atol=most)


def test_reference_tables_follow_the_direct_solver_anywhere() -> None:
    rng = np.random.default_rng(9)
    for number in range(9):
        x, y = draw(20, 100 + number)
        index, g = rng.uniform(1.385, 1.435), rng.uniform(0.0, many_flux.MOST_G)
        lobe = (0.0, rng.uniform(*NEAR_LOBES), rng.uniform(0.0, 0.15))[number % 3]
        slab = solve(x, y, refractive_index=index, g=g, lobe=lobe)
        for geometry, seat in READINGS:
            values, _ = read(index, g, x, y, geometry, seat, lobe)
            most = allowed(index, lobe, g)
            told = f"{geometry} {seat}, index {index:.3f}, g {g:.3f}, lobe {lobe:.3f}"
            np.testing.assert_allclose(values, slab.terms(geometry, seat), rtol=0, atol=most, err_msg=told)


@pytest.mark.parametrize(("index", "g", "lobe"), MEDIA)
def test_reference_slopes_follow_the_direct_solver(index: float, g: float, lobe: float) -> None:
    x, y = draw(40, 2)
    step = 1e-3  # in the logarithms of x, of y at one g, and of 1 - g
    solved = [
        solve(x * np.exp(a), y * np.exp(b), refractive_index=index, g=1.0 - (1.0 - g) * np.exp(c), lobe=lobe)
        for a, b, c in ((step, 0, 0), (-step, 0, 0), (0, step, 0), (0, -step, 0), (0, 0, 0 if g == 0.0 else step),
                        (0, 0, -step))
    ]  # fmt: skip
    for geometry, seat in READINGS:
        up_x, down_x, up_y, down_y, up_g, down_g = (slab.terms(geometry, seat) for slab in solved)
        by_logs = np.stack(((up_x - down_x), (up_y - down_y)), axis=1) / (2.0 * step)
        by_spread = (up_g - down_g) / (step if g == 0.0 else 2.0 * step)
        _, slopes = read(index, g, x, y, geometry, seat, lobe)
        z = y / (1.0 - g)
        q = np.zeros_like(z) if lobe == 0.0 else second_of(g, z, lobe)
        at_one_g = np.stack((slopes[:, 0] * x, slopes[:, 1] * y + slopes[:, 2] * z + slopes[:, 3] * q), axis=1)
        np.testing.assert_allclose(at_one_g, by_logs, rtol=0, atol=5e-4 if lobe == 0.0 else 2e-3)
        if lobe == 0.0:
            np.testing.assert_allclose(-slopes[:, 2] * z, by_spread, rtol=0, atol=4e-3)


@pytest.mark.parametrize("seat", ["air", "wet"])
@pytest.mark.parametrize("geometry", ["di:8", "de:8", "45:0"])
def test_property_slopes_are_those_of_the_table(geometry: str, seat: str) -> None:
    rng = np.random.default_rng(3)
    x, y = draw(400, 3)
    x[:40] *= 1e3  # past the last nodes
    y[20:60] *= 1e4
    # Away from the ends of g and of the lobe, and from no lobe, where slopes break off.
    g = rng.uniform(0.06, 0.93, 400)
    z = y / (1.0 - g)
    lobes = np.where(rng.random(400) < 0.5, rng.uniform(-0.95, -0.1, 400), rng.uniform(0.02, 0.14, 400))
    second = [moments(*each)[2] for each in zip(g.tolist(), [2] * 400, lobes.tolist(), strict=True)]
    depths = np.stack((x, y, z, z * second))
    step = 3e-3  # of each depth: the tables hold seven digits

    def beside(value: Callable[[Array], Array]) -> Array:
        moved = np.exp(step * np.eye(4))[:, :, None] * depths, np.exp(-step * np.eye(4))[:, :, None] * depths
        return np.stack([value(up) - value(down) for up, down in zip(*moved, strict=True)], axis=-2) / (2.0 * step)

    def terms(at: Array) -> tuple[Array, Array]:
        return many_flux.terms(*at, refractive_index=1.41, geometry=geometry, seat=seat)

    def transmitted(at: Array) -> tuple[Array, Array]:
        return many_flux.transmitted(*at, refractive_index=1.41)

    # In the logarithms, so that rounding over a tiny step does not count.
    for read_at in (terms, transmitted):
        values, slopes = read_at(depths)
        assert slopes.shape == (*values.shape[:-1], 4, 400)
        np.testing.assert_allclose(slopes * depths, beside(lambda at: read_at(at)[0]), rtol=0, atol=1e-4)  # noqa: B023


@pytest.mark.parametrize("geometry", ["di:8", "de:8"])
def test_property_slopes_by_index_are_those_of_the_tables(geometry: str) -> None:
    x, y = draw(200, 4)
    g = np.random.default_rng(4).uniform(0.0, 0.94, 200)
    z = y / (1.0 - g)
    depths = (x, y, z, second_of(g, z, 0.04))

    def at(index: float) -> tuple[Array, Array, Array]:
        return many_flux.near_index(*depths, stated_index=1.41, refractive_index=index, geometry=geometry, seat="wet")

    values, slopes, by_index = at(1.42)
    assert (values.shape, slopes.shape, by_index.shape) == ((3, 200), (3, 4, 200), (3, 200))
    plain, along = many_flux.terms(*depths, refractive_index=1.42, geometry=geometry, seat="wet")
    np.testing.assert_allclose(values, plain, rtol=0, atol=1e-6)
    np.testing.assert_allclose(slopes * depths, along * np.stack(depths), rtol=0, atol=1e-5)
    step = (at(1.425)[0] - at(1.415)[0]) / 0.01
    np.testing.assert_allclose(by_index, step, rtol=0, atol=1e-4)  # a parabola: near exact


@pytest.mark.parametrize("seat", ["air", "wet"])
def test_property_slopes_at_the_edges_are_one_sided_and_finite(seat: str) -> None:
    h = 2e-5  # well below the first node; seven digits leave the difference two
    for x, y in ((0.0, 0.0), (0.0, 3.0), (0.5, 0.0), (0.0, 1e4), (40.0, 0.0)):
        here, slopes = read(1.41, 0.0, x, y, seat=seat)
        by_x = (read(1.41, 0.0, x + h, y, seat=seat)[0] - here) / h
        by_y = (read(1.41, 0.0, x, y + h, seat=seat)[0] - here) / h
        assert np.all(np.isfinite(slopes))
        # one-sided differences carry the curvature
        np.testing.assert_allclose(slopes[:, 0], by_x, rtol=0.05, atol=2e-2)
        np.testing.assert_allclose(slopes[:, 1] + slopes[:, 2], by_y, rtol=0.05, atol=2e-2)


def test_property_without_scattering_g_means_nothing() -> None:
    x = np.geomspace(1e-3, 10.0, 20)
    values, slopes = many_flux.terms(x, 0.0, 0.0, refractive_index=1.41, geometry="di:8", seat="air")
    assert np.all(np.isfinite(slopes))
    assert np.all(slopes[:, 2] == 0.0)
    some = read(1.41, 0.8, x, 1e-9)[0]
    np.testing.assert_allclose(values, some, rtol=0, atol=1e-6)


@pytest.mark.parametrize(("index", "g", "lobe"), MEDIA)
def test_property_more_dye_darkens_and_more_white_hides(index: float, g: float, lobe: float) -> None:
    rng = np.random.default_rng(6)
    x, y = 10 ** rng.uniform(-7, 4, 4_000), 10 ** rng.uniform(-7, 5, 4_000)
    few = 2e-5  # of ripple between the nodes
    for geometry, seat in READINGS:
        values, slopes = read(index, g, x, y, geometry, seat, lobe)
        assert np.all(np.isfinite(slopes))
        assert values.min() > -few
        assert values[1:].max() < 1.0 + few
        assert (slopes[:, 0] * x).max() < few  # absorption takes from everything
    for geometry in {geometry for geometry, _ in READINGS}:  # in air scattering may take: it is mirrored and trapped
        _, slopes = read(index, g, x, y, geometry, "wet", lobe)
        z = y / (1.0 - g)
        q = np.zeros_like(z) if lobe == 0.0 else second_of(g, z, lobe)
        assert (slopes[0, 1] * y + slopes[0, 2] * z + slopes[0, 3] * q).min() > -few
    front, through, _ = read(index, g, 1e3, 1e4, lobe=lobe)[0]
    assert through < few
    assert front == pytest.approx(read(index, g, 2e3, 2e4, lobe=lobe)[0][0], abs=few)  # hides: only the ratio counts


@given(DEPTHS, DEPTHS, ANISOTROPIES)
@settings(deadline=None)
def test_property_no_light_is_made(x: float, y: float, g: float) -> None:
    front = read(1.41, g, x, y)[0][0]
    assert front + passed_by(1.41, g, x, y) <= 1.0 + 3e-6
    for seat in ("air", "wet"):
        over = read(1.41, g, x, y, seat=seat)[0]
        assert over[0] + over[1] / (1.0 - over[2]) <= 1.0 + 1e-4  # three readings of the table, each with its error


NODES = many_flux.G_AXIS.nodes
BETWEEN = tuple(0.5 * (one + other) for one, other in itertools.pairwise(NODES))


@pytest.mark.parametrize(("index", "lobe"), [(1.0, 0.0), (1.41, 0.0), (1.43, 0.08)])
def test_property_white_loses_nothing_at_the_nodes_and_between(index: float, lobe: float) -> None:
    y = np.concatenate(([0.0], np.geomspace(1e-6, 1e4, 200)))
    for g in sorted((*NODES, *BETWEEN)):
        front = read(index, g, 0.0, y, lobe=lobe)[0][0]
        np.testing.assert_allclose(front + passed_by(index, g, 0.0, y, lobe), 1.0, rtol=0, atol=3e-6, err_msg=f"g {g}")


def test_property_shapes_broadcast_with_the_wavelength_last() -> None:
    x, y = np.linspace(0.0, 1.0, 6).reshape(3, 1, 2), np.full((4, 1), 0.5)
    values, slopes = read(1.41, 0.0, x, y)
    assert (values.shape, slopes.shape) == ((3, 3, 4, 2), (3, 4, 3, 4, 2))
    alone = read(1.41, 0.0, x[2, 0, 1], 0.5)[0]
    np.testing.assert_allclose(values[:, 2, 3, 1], alone, rtol=0, atol=1e-7)
    assert read(1.41, 0.0, np.empty((0, 5)), 1.0)[0].shape == (3, 0, 5)
    many = np.full(10_000, 0.3)  # more than one chunk
    one = read(1.41, 0.0, 0.3, 0.3)[0][:, None] + 0.0 * many
    np.testing.assert_allclose(read(1.41, 0.0, many, many)[0], one, rtol=0, atol=1e-7)


@pytest.mark.parametrize(
    ("depths", "match"),
    [
        ((-0.1, 1.0, 1.0), "K d"),
        ((1.0, np.nan, 1.0), "S d"),
        ((np.inf, 1.0, 1.0), "K d"),
        ((1.0, 1.0, -2.0), "M d"),
        ((1.0, 1.0, np.nan), "M d"),
    ],
)
def test_property_senseless_depths_are_refused(depths: tuple[float, float, float], match: str) -> None:
    with pytest.raises(InputError, match=match):
        many_flux.terms(*depths, refractive_index=1.41, geometry="di:8", seat="air")


def test_property_unknown_words_and_numbers_are_refused() -> None:
    with pytest.raises(InputError, match="geometry"):
        read(1.41, 0.0, 1.0, 1.0, "8:di")
    with pytest.raises(InputError, match="seat"):
        read(1.41, 0.0, 1.0, 1.0, "di:8", "glued")
    with pytest.raises(InputError, match="refractive index"):
        read(0.8, 0.0, 1.0, 1.0)


def test_property_anisotropies_beyond_the_table_are_those_at_its_end() -> None:
    last = read(1.41, many_flux.MOST_G, 0.2, 0.7)[0]
    values, slopes = read(1.41, 0.99, 0.2, 0.7)
    np.testing.assert_allclose(values, last, rtol=0, atol=1e-6)
    np.testing.assert_allclose(slopes[:, 2], 0.0, atol=1e-12)


def test_reference_a_table_holds_a_parabola_near_zero_and_a_cubic_beyond() -> None:
    axis, knots = Axis(start=0.01, octaves=10, per_octave=3), Knots((0.0, 0.2, 0.5, 0.7, 0.9))
    node, turn = axis.nodes, np.array(knots.nodes)[:, None, None]
    surface = node[:, None] * (1.0 + node[:, None]) * (1.0 + node) * turn**3
    parabola = tabulate(surface[None], x=axis, y=axis, knots=(knots,))
    x, y, g = np.array([0.0, 0.002, 0.009]), np.array([0.0, 0.004, 0.007]), np.array([0.1, 0.55, 0.9])
    values, slopes = parabola(x, y, g)
    depth = x * (1.0 + x) * (1.0 + y)
    np.testing.assert_allclose(values[0], depth * g**3, rtol=0, atol=1e-8)
    by_each = [(1.0 + 2.0 * x) * (1.0 + y) * g**3, x * (1.0 + x) * g**3, 3.0 * depth * g**2]
    np.testing.assert_allclose(slopes[0], by_each, rtol=0, atol=1e-6)
    logs = np.log(np.maximum(node, 0.01))
    cubic = tabulate((logs[:, None] ** 3 * logs + turn)[None], x=axis, y=axis, knots=(knots,))
    x, y = np.array([0.3, 0.77, 1.0]), np.array([0.9, 0.31, 1.1])  # far from both ends
    values, slopes = cubic(x, y, g)
    np.testing.assert_allclose(values[0], np.log(x) ** 3 * np.log(y) + g, rtol=0, atol=1e-4)
    np.testing.assert_allclose(slopes[0, 0], 3.0 * np.log(x) ** 2 * np.log(y) / x, rtol=0, atol=1e-3)
    np.testing.assert_allclose(slopes[0, 2], 1.0, rtol=0, atol=1e-4)


def test_reference_pieces_of_parabolas_meet_the_cubics_at_the_nodes_and_with_one_slope_between() -> None:
    axis, knots = Axis(start=0.01, octaves=10, per_octave=2), Knots((0.0, 0.2, 0.5, 0.7, 0.9))
    node, turn = axis.nodes, np.array(knots.nodes)[:, None, None]
    surface = (np.exp(-node)[:, None] * node / (1.0 + node) * (1.0 + turn))[None]
    pieces = tuple(replace(axis, degree=2) for _ in range(2))
    cubic, square = (tabulate(surface, x=x, y=y, knots=(knots,)) for x, y in ((axis, axis), pieces))
    at = np.full(node.size, 0.37)
    for one, other in zip(cubic(node, node[::-1], at), square(node, node[::-1], at), strict=True):
        np.testing.assert_allclose(other, one, rtol=0, atol=3e-5)
    x, y = np.array([0.0033, 0.013, 0.77]), np.array([2.9, 0.0061, 0.31])
    true = np.exp(-x) * y / (1.0 + y) * 1.37
    np.testing.assert_allclose(square(x, y, at[:3])[0][0], true, rtol=0, atol=5e-4)
    halfway = np.sqrt(node[6] * node[7])
    beside = square(halfway * np.array([1.0 - 1e-5, 1.0 + 1e-5]), at[:2], at[:2])[1]
    np.testing.assert_allclose(beside[..., 0], beside[..., 1], rtol=0, atol=1e-4)


def test_cache_is_used_and_a_corrupt_one_built_again(own_cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = read(1.0, 0.3, 0.2, 0.7)[0]
    (kept,) = tables_in(own_cache)
    whole = kept.read_bytes()
    forget()
    with monkeypatch.context() as patch:
        patch.setattr(many_flux, "build", refuse)
        np.testing.assert_array_equal(read(1.0, 0.3, 0.2, 0.7)[0], first)
    for damage in (whole[:-200], b"", b"PK\x03\x04 not an archive"):
        kept.write_bytes(damage)
        forget()
        np.testing.assert_array_equal(read(1.0, 0.3, 0.2, 0.7)[0], first)
        assert kept.read_bytes() == whole


def refuse(*_: object) -> dict[str, Array]:
    raise AssertionError("the table was built though it lay in the cache")


def test_cache_that_cannot_be_written_is_harmless(own_cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_cache.write_text("")  # a file where a folder should be
    monkeypatch.setenv("TINT_CACHE", str(own_cache / "cache"))
    values, _ = read(1.0, 0.3, 0.2, 0.7)
    assert np.all(np.isfinite(values))
    assert own_cache.read_text() == ""


def test_every_index_and_lobe_computed_has_a_table_of_its_own(own_cache: Path) -> None:
    one = read(1.0, 0.3, 0.2, 0.7)[0]
    np.testing.assert_array_equal(read(1.0, 0.6, 0.2, 0.7)[0].shape, one.shape)
    assert len(tables_in(own_cache)) == 1, "one table holds every anisotropy"
    read(1.2, 0.3, 0.2, 0.7)
    assert len(tables_in(own_cache)) == 2
    read(1.2, 0.3, 0.2, 0.7, lobe=0.06)
    assert len(tables_in(own_cache)) == 6, "the four lobes come together"
    read(1.41, 0.3, 0.2, 0.7)
    assert len(tables_in(own_cache)) == 7, "none but its own at an index that was computed"
    read(1.42, 0.3, 0.2, 0.7)
    read(1.40, 0.3, 0.2, 0.7)
    assert len(tables_in(own_cache)) == 9, "neighbours share what they are joined of"


def test_the_tables_of_bases_that_a_fit_asks_for_in_turn_are_joined_once() -> None:
    many_flux.tables_of.cache_clear()
    one, seats = np.ones(1), ("air", "wet", None)
    for index, seat in [(index, seat) for _ in range(3) for index in (1.36, 1.41) for seat in seats]:
        many_flux.near_index(
            one, one, 2.0 * one, one, stated_index=index, refractive_index=index, geometry="di:8", seat=seat
        )
    assert many_flux.tables_of.cache_info().misses == 2 * len(seats)
    many_flux.tables_of.cache_clear()
