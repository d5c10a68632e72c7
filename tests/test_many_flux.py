"""The many-flux model: tables against the direct solver, their slopes, their edges, their cache and their speed."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from tint.errors import InputError
from tint.optics import many_flux, two_flux
from tint.optics.adding_doubling import solve
from tint.optics.directions import AT_8
from tint.optics.slab import READINGS
from tint.optics.table import Axis, tabulate

Array = NDArray[np.float64]

MEDIA = [(1.0, 0.5), (1.41, 0.0), (1.41, 0.9), (1.6, 0.8)]
DEPTHS = st.one_of(st.just(0.0), st.floats(1e-7, 1e4))


def forget() -> None:
    """Drop the tables held in memory."""
    many_flux._table.cache_clear()
    many_flux._stored.cache_clear()


@pytest.fixture(scope="module", autouse=True)
def _cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TINT_CACHE", str(tmp_path_factory.mktemp("tables")))
        forget()
        yield


@pytest.fixture
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    folder = tmp_path / "cache"
    monkeypatch.setenv("TINT_CACHE", str(folder))
    forget()
    yield folder
    forget()


def draw(count: int, seed: int) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    return 10 ** rng.uniform(-5, np.log10(40), count), 10 ** rng.uniform(-5, np.log10(225), count)


def read(
    index: float, g: float, x: object, y: object, geometry: str = "di:8", seat: str = "air"
) -> tuple[Array, Array]:
    return many_flux.terms(x, y, refractive_index=index, geometry=geometry, seat=seat, g=g)  # type: ignore[arg-type]


@pytest.mark.parametrize(("index", "g"), MEDIA)
def test_reference_tables_follow_the_direct_solver(index: float, g: float) -> None:
    x, y = draw(500, 1)
    x[:20], y[10:30] = 0.0, 0.0
    slab = solve(x, y, refractive_index=index, g=g)
    for geometry, seat in READINGS:
        values, _ = read(index, g, x, y, geometry, seat)
        np.testing.assert_allclose(values, slab.terms(geometry, seat), rtol=0, atol=5e-5, err_msg=f"{geometry} {seat}")
    passed, _ = many_flux.transmitted(x, y, refractive_index=index, g=g)
    np.testing.assert_allclose(passed, slab.beam_passed[AT_8], rtol=0, atol=5e-5)


@pytest.mark.parametrize(("index", "g"), MEDIA)
def test_reference_slopes_follow_the_direct_solver(index: float, g: float) -> None:
    x, y = draw(300, 2)
    step = 1e-3  # in the logarithm
    solved = [
        solve(x * np.exp(a), y * np.exp(b), refractive_index=index, g=g)
        for a, b in ((step, 0), (-step, 0), (0, step), (0, -step))
    ]
    for geometry, seat in READINGS:
        up_x, down_x, up_y, down_y = (slab.terms(geometry, seat) for slab in solved)
        by_logs = np.stack(((up_x - down_x), (up_y - down_y)), axis=1) / (2.0 * step)
        _, slopes = read(index, g, x, y, geometry, seat)
        np.testing.assert_allclose(slopes * np.stack((x, y)), by_logs, rtol=0, atol=3e-4)


@pytest.mark.parametrize("seat", ["air", "wet"])
@pytest.mark.parametrize("geometry", ["di:8", "de:8", "45:0"])
def test_property_slopes_are_those_of_the_table(geometry: str, seat: str) -> None:
    x, y = draw(400, 3)
    x[:40] *= 1e3  # past the last nodes
    y[20:60] *= 1e4
    h, k = 1e-5 * x, 1e-5 * y
    _, slopes = read(1.41, 0.8, x, y, geometry, seat)
    by_x = (read(1.41, 0.8, x + h, y, geometry, seat)[0] - read(1.41, 0.8, x - h, y, geometry, seat)[0]) / (2 * h)
    by_y = (read(1.41, 0.8, x, y + k, geometry, seat)[0] - read(1.41, 0.8, x, y - k, geometry, seat)[0]) / (2 * k)
    # In the logarithms, so that rounding over a tiny step does not count.
    np.testing.assert_allclose(slopes[:, 0] * x, by_x * x, rtol=0, atol=1e-6)
    np.testing.assert_allclose(slopes[:, 1] * y, by_y * y, rtol=0, atol=1e-6)
    passed, along = many_flux.transmitted(x, y, refractive_index=1.41, g=0.8)
    more, _ = many_flux.transmitted(x + h, y, refractive_index=1.41, g=0.8)
    less, _ = many_flux.transmitted(x - h, y, refractive_index=1.41, g=0.8)
    np.testing.assert_allclose(along[0] * x, (more - less) / (2e-5), rtol=0, atol=1e-6)
    assert passed.shape == x.shape


@pytest.mark.parametrize("seat", ["air", "wet"])
def test_property_slopes_at_the_edges_are_one_sided_and_finite(seat: str) -> None:
    h = 1e-5
    for x, y in ((0.0, 0.0), (0.0, 3.0), (0.5, 0.0), (0.0, 1e4), (40.0, 0.0)):
        here, slopes = read(1.41, 0.0, x, y, seat=seat)
        by_x = (read(1.41, 0.0, x + h, y, seat=seat)[0] - here) / h
        by_y = (read(1.41, 0.0, x, y + h, seat=seat)[0] - here) / h
        assert np.all(np.isfinite(slopes))
        # one-sided differences carry the curvature: a step of 1e-5 moves the slope of a thin layer by about 1e-2
        np.testing.assert_allclose(slopes[:, 0], by_x, rtol=0.05, atol=1e-3)
        np.testing.assert_allclose(slopes[:, 1], by_y, rtol=0.05, atol=1e-3)


@pytest.mark.parametrize(("index", "g"), MEDIA)
def test_property_more_dye_darkens_and_more_white_hides(index: float, g: float) -> None:
    rng = np.random.default_rng(6)
    x, y = 10 ** rng.uniform(-7, 4, 20_000), 10 ** rng.uniform(-7, 5, 20_000)
    for geometry, seat in READINGS:
        values, slopes = read(index, g, x, y, geometry, seat)
        assert np.all(np.isfinite(slopes))
        assert values.min() > -1e-9
        assert values[1:].max() < 1.0
        assert slopes[:, 0].max() < 1e-9  # absorption takes from everything
        if seat == "wet":  # in air it may also take: what the lower face mirrors is scattered and trapped
            assert slopes[0, 1].min() > -1e-9
    front, through, _ = read(index, g, 1e3, 1e4)[0]
    assert through < 1e-9
    assert front == pytest.approx(read(index, g, 2e3, 2e4)[0][0], abs=1e-9)  # hides: only the ratio counts


@given(DEPTHS, DEPTHS)
def test_property_no_light_is_made(x: float, y: float) -> None:
    front = read(1.41, 0.9, x, y)[0][0]
    passed, _ = many_flux.transmitted(x, y, refractive_index=1.41, g=0.9)
    assert front + passed <= 1.0 + 1e-6
    for seat in ("air", "wet"):
        over = read(1.41, 0.9, x, y, seat=seat)[0]
        assert over[0] + over[1] / (1.0 - over[2]) <= 1.0 + 2e-5  # three readings of the table, each with its error


def test_property_white_loses_nothing_between_the_nodes() -> None:
    y = np.concatenate(([0.0], np.geomspace(1e-6, 1e4, 200)))
    for index, g in MEDIA:
        front = read(index, g, 0.0, y)[0][0]
        passed, _ = many_flux.transmitted(0.0, y, refractive_index=index, g=g)
        np.testing.assert_allclose(front + passed, 1.0, rtol=0, atol=1e-6)


def test_property_shapes_broadcast_with_the_wavelength_last() -> None:
    x, y = np.linspace(0.0, 1.0, 6).reshape(3, 1, 2), np.full((4, 1), 0.5)
    values, slopes = read(1.41, 0.0, x, y)
    assert (values.shape, slopes.shape) == ((3, 3, 4, 2), (3, 2, 3, 4, 2))
    alone = read(1.41, 0.0, x[2, 0, 1], 0.5)[0]
    np.testing.assert_array_equal(values[:, 2, 3, 1], alone)
    assert read(1.41, 0.0, np.empty((0, 5)), 1.0)[0].shape == (3, 0, 5)
    many = np.full(10_000, 0.3)  # more than one chunk
    np.testing.assert_array_equal(read(1.41, 0.0, many, many)[0], read(1.41, 0.0, 0.3, 0.3)[0][:, None] + 0.0 * many)


@pytest.mark.parametrize(("x", "y", "match"), [(-0.1, 1.0, "K d"), (1.0, np.nan, "S d"), (np.inf, 1.0, "K d")])
def test_property_senseless_depths_are_refused(x: float, y: float, match: str) -> None:
    with pytest.raises(InputError, match=match):
        read(1.41, 0.0, x, y)


def test_property_unknown_words_and_numbers_are_refused() -> None:
    with pytest.raises(InputError, match="geometry"):
        read(1.41, 0.0, 1.0, 1.0, "8:di")
    with pytest.raises(InputError, match="seat"):
        read(1.41, 0.0, 1.0, 1.0, "di:8", "glued")
    with pytest.raises(InputError, match="refractive index"):
        read(0.8, 0.0, 1.0, 1.0)
    with pytest.raises(InputError, match=r"g: 0\.99"):
        read(1.41, 0.99, 1.0, 1.0)


def test_reference_a_table_holds_a_parabola_near_zero_and_a_cubic_in_the_logarithm_beyond() -> None:
    axis = Axis(start=0.01, octaves=10, per_octave=3)
    node = axis.nodes
    parabola = tabulate((node[:, None] * (1.0 + node[:, None]) * (1.0 + node))[None], x=axis, y=axis)
    x, y = np.array([0.0, 0.002, 0.009]), np.array([0.0, 0.004, 0.007])
    values, slopes = parabola(x, y)
    np.testing.assert_allclose(values[0], x * (1.0 + x) * (1.0 + y), rtol=0, atol=1e-12)
    np.testing.assert_allclose(slopes[0], [(1.0 + 2.0 * x) * (1.0 + y), x * (1.0 + x)], rtol=0, atol=1e-10)
    logs = np.log(np.maximum(node, 0.01))
    cubic = tabulate((logs[:, None] ** 3 * logs)[None], x=axis, y=axis)
    x, y = np.array([0.3, 0.77, 1.0]), np.array([0.9, 0.31, 1.1])  # far from both ends
    values, slopes = cubic(x, y)
    np.testing.assert_allclose(values[0], np.log(x) ** 3 * np.log(y), rtol=0, atol=1e-4)
    np.testing.assert_allclose(slopes[0, 0], 3.0 * np.log(x) ** 2 * np.log(y) / x, rtol=0, atol=1e-3)


def test_cache_is_used_and_a_corrupt_one_built_again(own_cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = read(1.0, 0.3, 0.2, 0.7)[0]
    (kept,) = own_cache.iterdir()
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


def test_cache_that_cannot_be_written_is_harmless(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    blocked = tmp_path / "a file where a folder should be"
    blocked.write_text("")
    monkeypatch.setenv("TINT_CACHE", str(blocked / "cache"))
    forget()
    values, _ = read(1.0, 0.3, 0.2, 0.7)
    assert np.all(np.isfinite(values))
    assert blocked.read_text() == ""
    forget()


def test_other_g_and_index_have_tables_of_their_own(own_cache: Path) -> None:
    one, other, third = (read(n, g, 0.2, 0.7)[0] for n, g in ((1.0, 0.0), (1.0, 0.6), (1.2, 0.0)))
    assert len(list(own_cache.iterdir())) == 3
    assert not np.allclose(one, other, atol=1e-4)
    assert not np.allclose(one, third, atol=1e-4)


def test_speed_of_building_a_table() -> None:
    start = time.process_time()
    many_flux.build(1.41, 0.9)
    assert time.process_time() - start < 3.0


def test_speed_of_looking_up_beside_two_flux() -> None:
    x, y = draw(100_000, 7)
    many = best(lambda: read(1.41, 0.0, x, y))
    two = best(lambda: two_flux.terms(x, y, refractive_index=1.41, geometry="di:8", seat="air"))
    assert many < 4.0 * two


def best(job: Callable[[], object]) -> float:
    times = []
    for _ in range(5):
        start = time.process_time()
        job()
        times.append(time.process_time() - start)
    return min(times)
