"""One interface to the layer models: K, S, M and thickness over a backing, with slopes; and mixtures of components."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import reference
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from tint import forward
from tint.errors import InputError
from tint.forward import FREE, TRANSMITTANCE, Readings
from tint.optics import layer
from tint.optics.layer import Array, Optics
from tint.optics.spot import Spot
from tint.optics.two_flux import faces

GEOMETRIES = ("di:8", "de:8", "45:0")
SEATS = ("air", "wet")
BACKING = np.array([0.04, 0.5, 0.9])
SPOT = Spot(seen_mm=4.0, lit_mm=8.0)
K = np.array([0.0, 0.2, 1.5])
S = np.array([2.0, 0.6, 0.0])


@pytest.mark.parametrize("geometry", GEOMETRIES)
@pytest.mark.parametrize("seat", SEATS)
def test_reference_a_casting_reads_what_integration_and_bounces_say(geometry: str, seat: str) -> None:
    optics, face, d = Optics(refractive_index=1.43, geometry=geometry), faces(1.43, geometry), 1.3
    read = layer.reflectance(K, S, thickness=d, backing=BACKING, seat=seat, optics=optics)
    for at in range(3):
        R0, T = reference.body(K[at], S[at], d)
        literal = reference.reading(
            R0, T, enter=face.enter, leave=face.leave, gloss=face.gloss, inside=face.inside, outside=face.outside,
            backing=BACKING[at], wet=seat == "wet",
        )  # fmt: skip
        assert read[at] == pytest.approx(literal, abs=1e-9)


def test_without_faces_a_wet_and_an_air_seat_are_one() -> None:
    optics = Optics(refractive_index=1.0)
    air, wet = (layer.reflectance(K, S, thickness=2.0, backing=BACKING, seat=seat, optics=optics) for seat in SEATS)
    assert np.allclose(air, wet, rtol=0.0, atol=1e-14)
    # Nothing cast: the backing is seen as it is.
    bare = layer.reflectance(K, S, thickness=0.0, backing=BACKING, optics=optics)
    assert np.allclose(bare, BACKING, rtol=0.0, atol=1e-14)


def test_a_free_slab_is_one_over_a_black_that_touches_nothing() -> None:
    optics = Optics()
    free = layer.reflectance(K, S, thickness=2.0, backing=None, seat="wet", optics=optics)
    over_nothing = layer.reflectance(K, S, thickness=2.0, backing=0.0, seat="air", optics=optics)
    assert np.allclose(free, over_nothing, rtol=0.0, atol=1e-15)


def test_a_hiding_layer_reads_alike_over_any_backing() -> None:
    for seat in SEATS:
        read = layer.reflectance(0.5, 20.0, thickness=10.0, backing=BACKING, seat=seat, optics=Optics())
        assert np.ptp(read) < 1e-12


def finite_differences(value: Callable[..., Array], *at: Array, step: float) -> Array:
    """Slopes by each argument, over steps that are shares of it."""
    moves = [step * each * np.eye(len(at))[:, number, None] for number, each in enumerate(at)]
    ups, downs = (
        zip(*(each + sign * move for each, move in zip(at, moves, strict=True)), strict=True) for sign in (1, -1)
    )
    both = zip(ups, downs, at, strict=True)
    return np.stack([(value(*up) - value(*down)) / (2.0 * step * each) for up, down, each in both])


K_INSIDE, S_INSIDE = np.array([0.01, 0.2, 1.5]), np.array([2.0, 0.6, 0.05])
M_INSIDE = S_INSIDE / (1.0 - np.array([0.3, 0.65, 0.9]))
INSIDE = (K_INSIDE, S_INSIDE, M_INSIDE, M_INSIDE * np.array([0.13, 0.38, 0.84]), np.array([0.5, 2.0, 4.0]))
# The tables of the many-flux model hold seven digits: larger steps, and differences that are less exact.
STEPS = {"two-flux": (1e-5, 1e-6, 1e-9), "many-flux": (3e-3, 5e-3, 1e-4)}


@pytest.mark.parametrize("geometry", GEOMETRIES)
@pytest.mark.parametrize("seat", SEATS)
@pytest.mark.parametrize("backing", [None, 0.04, 0.9])
@pytest.mark.parametrize(("model", "spot"), [*((model, None) for model in layer.MODELS), ("many-flux", SPOT)])
def test_reference_slopes_are_finite_differences(
    model: str, spot: Spot | None, geometry: str, seat: str, backing: float | None
) -> None:
    optics = Optics(model=model, geometry=geometry, spot=spot)

    def value(K: Array, S: Array, M: Array, Q: Array, d: Array) -> Array:
        return layer.reflectance(K, S, M, Q, thickness=d, backing=backing, seat=seat, optics=optics)

    read, slopes = layer.reflectance_slopes(
        *INSIDE[:4], thickness=INSIDE[4], backing=backing, seat=seat, optics=optics
    )  # fmt: skip
    step, rtol, atol = STEPS[model]
    assert np.array_equal(read, value(*INSIDE))
    assert np.allclose(slopes, finite_differences(value, *INSIDE, step=step), rtol=rtol, atol=atol)
    assert np.all(slopes[2:4] == 0.0) == (model == "two-flux"), "two-flux theory knows nothing of M and Q"


@pytest.mark.parametrize(("model", "spot"), [*((model, None) for model in layer.MODELS), ("many-flux", SPOT)])
def test_reference_slopes_of_the_transmittance_are_finite_differences(model: str, spot: Spot | None) -> None:
    optics = Optics(model=model, k1=0.035, k2=0.52, spot=spot)

    def value(K: Array, S: Array, M: Array, Q: Array, d: Array) -> Array:
        return layer.transmittance(K, S, M, Q, thickness=d, optics=optics)

    passed, slopes = layer.transmittance_slopes(*INSIDE[:4], thickness=INSIDE[4], optics=optics)
    step, rtol, atol = STEPS[model]
    assert np.array_equal(passed, value(*INSIDE))
    assert np.allclose(slopes, finite_differences(value, *INSIDE, step=step), rtol=rtol, atol=atol)


def test_without_m_scattering_is_alike_every_way() -> None:
    optics = Optics(model="many-flux")
    K, S, _, _, d = INSIDE
    alike = layer.reflectance(K, S, S, thickness=d, backing=0.5, optics=optics)
    assert np.array_equal(layer.reflectance(K, S, thickness=d, backing=0.5, optics=optics), alike)
    forwards = layer.reflectance(K, S, 4.0 * S, thickness=d, backing=0.5, optics=optics)
    assert np.max(np.abs(forwards - alike)) > 0.01


@pytest.mark.parametrize("k1", [None, 0.035])
@pytest.mark.parametrize("k2", [None, 0.52])
def test_measured_constants_reach_reflectance_and_transmittance(k1: float | None, k2: float | None) -> None:
    plain, measured = (
        np.array(
            (
                layer.reflectance(0.1, 1.0, thickness=2.0, backing=0.8, optics=optics),
                layer.transmittance(0.1, 1.0, thickness=2.0, optics=optics),
            )
        )
        for optics in (Optics(), Optics(k1=k1, k2=k2))
    )
    changed = k1 is not None or k2 is not None
    assert np.all((np.abs(measured - plain) > 1e-4) == changed)


@given(st.floats(0.0, 5.0), st.floats(0.0, 5.0), st.floats(0.1, 10.0), st.floats(0.1, 10.0))
@settings(deadline=None)
def test_property_only_depth_counts(K: float, S: float, d: float, times: float) -> None:
    optics = Optics()
    one = layer.reflectance(K, S, thickness=d * times, backing=0.5, optics=optics)
    other = layer.reflectance(K * times, S * times, thickness=d, backing=0.5, optics=optics)
    assert float(one) == pytest.approx(float(other), abs=1e-13)


def test_arrays_broadcast_with_the_wavelength_last() -> None:
    K, S = np.full((5, 1, 31), 0.1), np.full((31,), 1.0)
    thickness, backing = np.full((5, 4, 1), 2.0), np.linspace(0.0, 1.0, 31)
    read, slopes = layer.reflectance_slopes(K, S, thickness=thickness, backing=backing, optics=Optics())
    assert read.shape == (5, 4, 31)
    assert slopes.shape == (5, 5, 4, 31)
    assert layer.transmittance(K, S, thickness=thickness, optics=Optics()).shape == (5, 4, 31)
    one = layer.reflectance(0.1, 1.0, thickness=2.0, backing=backing[7], optics=Optics())
    assert read[3, 2, 7] == float(one)


def test_what_is_not_known_is_told() -> None:
    with pytest.raises(InputError, match="optics: `three-flux` is not known; expected many-flux or two-flux"):
        Optics(model="three-flux")
    with pytest.raises(InputError, match="seat: `glued` is not known; expected air or wet"):
        layer.reflectance(0.1, 1.0, thickness=1.0, backing=0.5, seat="glued", optics=Optics())
    with pytest.raises(InputError, match="geometry: `0:45` is not known"):
        layer.reflectance(0.1, 1.0, thickness=1.0, backing=0.5, optics=Optics(geometry="0:45"))


def test_a_layer_is_read_over_many_backings_at_once() -> None:
    optics = Optics()
    backing = np.linspace(0.0, 1.0, 2 * 31).reshape(2, 31)  # two backings, as there are two slopes by depth
    K, S = np.linspace(0.1, 0.5, 31), np.linspace(1.0, 2.0, 31)
    read, slopes = layer.reflectance_slopes(K, S, thickness=2.0, backing=backing, optics=optics)
    assert read.shape == (2, 31)
    assert slopes.shape == (5, 2, 31)
    for at in range(2):
        one, of_one = layer.reflectance_slopes(K, S, thickness=2.0, backing=backing[at], optics=optics)
        assert np.allclose(read[at], one, rtol=0.0, atol=1e-15)
        assert np.allclose(slopes[:, at], of_one, rtol=0.0, atol=1e-13)


# Mixtures.

# Nothing, or enough that a product of two is still a number with all its digits.
SHARES = arrays(float, (4, 3), elements=st.one_of(st.just(0.0), st.floats(1e-9, 2.0)))
SIZES = arrays(float, (3, 5), elements=st.one_of(st.just(0.0), st.floats(1e-9, 20.0)))
ANISOTROPIES = arrays(float, (3, 5), elements=st.floats(0.0, 0.94))


@given(SHARES, SIZES, SIZES, ANISOTROPIES)
@settings(deadline=None)
def test_property_a_mixture_scatters_as_its_parts_do(shares: Array, k: Array, s: Array, g: Array) -> None:
    m = s / (1.0 - g)
    mixed = forward.mix(np.stack((k, s, m, m * g**2)), shares)
    assert mixed.shape == (4, 4, 5)
    K, S, M, Q = mixed
    for whole, each in ((K, k), (S, s), (M, m), (Q, m * g**2)):
        assert np.allclose(whole, np.einsum("np,pw->nw", shares, each), rtol=1e-12, atol=1e-12)
    assert np.all(M >= S * (1.0 - 1e-12)), "all scattering is no less than what turns light round"
    # The mean of the parts' g, each by how much it scatters.
    total = np.einsum("np,pw->nw", shares, m)
    mean = np.einsum("np,pw->nw", shares, m * g) / np.where(total > 0.0, total, 1.0)
    assert np.allclose(forward.anisotropy(mixed), mean, rtol=0.0, atol=1e-9)
    assert np.all(forward.anisotropy(mixed) <= g.max() + 1e-9)


def test_what_does_not_scatter_has_no_anisotropy() -> None:
    assert forward.anisotropy(np.zeros((3, 2))).tolist() == [0.0, 0.0]
    clear = np.array([[0.1], [0.0], [0.0]])[:, None], np.array([[0.2], [1.0], [2.5]])[:, None]
    both = np.concatenate(clear, axis=1)  # a dye and a pigment
    mixed = forward.mix(both, np.array([[0.9, 0.1]]))
    assert forward.anisotropy(mixed) == pytest.approx(0.6)


@pytest.mark.parametrize("model", layer.MODELS)
def test_many_readings_are_those_of_single_layers(model: str) -> None:
    optics = (Optics(model=model, refractive_index=1.41), Optics(model=model, refractive_index=1.43))
    rng = np.random.default_rng(8)
    mixed = rng.uniform(0.05, 2.0, (4, 4, 6))
    mixed[2] = mixed[1] / (1.0 - rng.uniform(0.0, 0.9, (4, 6)))
    mixed[3] = mixed[2] * rng.uniform(0.2, 0.5, (4, 6))
    thickness = np.array([0.8, 1.5, 2.0, 4.0])
    backings = np.stack((np.full(6, 0.05), np.full(6, 0.85)))
    readings = Readings(
        casting=np.array([0, 0, 1, 2, 3, 3]),
        backing=np.array([0, 1, FREE, TRANSMITTANCE, 1, 0]),
        wet=np.array([False, True, False, False, True, False]),
        base=np.array([0, 0, 1, 1, 0, 0]),
        backings=backings,
    )
    seen = forward.read(readings, mixed, thickness, optics=optics)
    assert np.all(seen.by_shape == 0.0)
    for row, (at, behind) in enumerate(zip(readings.casting, readings.backing, strict=True)):
        own = optics[readings.base[row]]
        if behind == TRANSMITTANCE:
            one, slopes = layer.transmittance_slopes(*mixed[:, at], thickness=thickness[at], optics=own)
        else:
            one, slopes = layer.reflectance_slopes(
                *mixed[:, at],
                thickness=thickness[at],
                backing=None if behind == FREE else backings[behind],
                seat="wet" if readings.wet[row] else "air",
                optics=own,
            )
        assert np.allclose(seen.values[row], one, rtol=0.0, atol=1e-7)
        assert np.allclose(seen.slopes[:, row], slopes, rtol=1e-5, atol=1e-6)


@pytest.mark.parametrize("spot", [None, SPOT])
def test_slopes_by_index_and_spot_are_finite_differences(spot: Spot | None) -> None:
    optics = (Optics(model="many-flux", refractive_index=1.41, spot=spot),)
    readings = Readings(
        casting=np.zeros(4, dtype=np.int64),
        backing=np.array([0, 0, FREE, TRANSMITTANCE]),
        wet=np.array([False, True, False, False]),
        base=np.zeros(4, dtype=np.int64),
        backings=np.full((1, 3), 0.8),
    )
    mixed, thickness = np.stack(INSIDE[:4])[:, None], np.array([2.0])

    def read(index: float, share: float = 1.0) -> forward.Predicted:
        shape: dict[str, Any] = {"index": np.array([index]), "spot_share": share}
        return forward.read(readings, mixed, thickness, optics=optics, **shape)

    by_index = (read(1.425).values - read(1.415).values) / 0.01
    by_share = (read(1.42, 1.05).values - read(1.42, 0.95).values) / 0.1
    # Over a backing light runs to and fro, which is no parabola in either.
    assert np.allclose(read(1.42).by_shape, [by_index, by_share], rtol=1e-3, atol=3e-4)
    as_stated = (Optics(model="many-flux", refractive_index=1.42, spot=spot),)
    stated = forward.read(readings, mixed, thickness, optics=as_stated)
    assert np.allclose(read(1.42).values, stated.values, rtol=0.0, atol=2e-6)
