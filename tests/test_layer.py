"""One interface to the layer models: K, S and thickness over a backing, with slopes."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import reference
from hypothesis import given, settings
from hypothesis import strategies as st

from tint.errors import InputError
from tint.optics import layer
from tint.optics.layer import Array, Optics
from tint.optics.surface import faces

GEOMETRIES = ("di:8", "de:8", "45:0")
SEATS = ("air", "wet")
BACKING = np.array([0.04, 0.5, 0.9])
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


def finite_differences(value: Callable[[Array, Array, Array], Array], K: Array, S: Array, d: Array) -> Array:
    step = 1e-5
    return np.stack(
        [
            (value(*(at + step * (axis == number) for number, at in enumerate((K, S, d)))) - value(
                *(at - step * (axis == number) for number, at in enumerate((K, S, d)))
            )) / (2.0 * step)
            for axis in range(3)
        ]
    )  # fmt: skip


INSIDE = (np.array([0.01, 0.2, 1.5]), np.array([2.0, 0.6, 0.05]), np.array([0.5, 2.0, 4.0]))


@pytest.mark.parametrize("geometry", GEOMETRIES)
@pytest.mark.parametrize("seat", SEATS)
@pytest.mark.parametrize("backing", [None, 0.04, 0.9])
def test_reference_slopes_are_finite_differences(geometry: str, seat: str, backing: float | None) -> None:
    optics = Optics(geometry=geometry)

    def value(K: Array, S: Array, d: Array) -> Array:
        return layer.reflectance(K, S, thickness=d, backing=backing, seat=seat, optics=optics)

    read, slopes = layer.reflectance_slopes(
        INSIDE[0], INSIDE[1], thickness=INSIDE[2], backing=backing, seat=seat, optics=optics
    )
    assert np.array_equal(read, value(*INSIDE))
    assert np.allclose(slopes, finite_differences(value, *INSIDE), rtol=1e-6, atol=1e-9)


def test_reference_slopes_of_the_transmittance_are_finite_differences() -> None:
    optics = Optics(k1=0.035, k2=0.52)

    def value(K: Array, S: Array, d: Array) -> Array:
        return layer.transmittance(K, S, thickness=d, optics=optics)

    passed, slopes = layer.transmittance_slopes(INSIDE[0], INSIDE[1], thickness=INSIDE[2], optics=optics)
    assert np.array_equal(passed, value(*INSIDE))
    assert np.allclose(slopes, finite_differences(value, *INSIDE), rtol=1e-6, atol=1e-9)


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
@settings(max_examples=60, deadline=None)
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
    assert slopes.shape == (3, 5, 4, 31)
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
    assert slopes.shape == (3, 2, 31)
    for at in range(2):
        one, of_one = layer.reflectance_slopes(K, S, thickness=2.0, backing=backing[at], optics=optics)
        assert np.allclose(read[at], one, rtol=0.0, atol=1e-15)
        assert np.allclose(slopes[:, at], of_one, rtol=0.0, atol=1e-13)
