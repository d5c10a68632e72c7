"""Spectra on another grid: Sprague's polynomial between values, a wider triangle over them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from instrument_files import curve
from numpy.typing import NDArray

from tint.colorimetry.spectra import resample_sprague, resample_wider
from tint.errors import InputError
from tint.swatches.instruments import Measurement
from tint.swatches.instruments.measurement import on_grid

TEN, FIVE, ONE = (np.arange(380.0, 741.0, step) for step in (10.0, 5.0, 1.0))
FOLDER = np.arange(400.0, 701.0, 10.0)


def poly(wavelengths: NDArray[np.float64], degree: int) -> NDArray[np.float64]:
    return np.asarray(((wavelengths - 560.0) / 180.0) ** degree)


def reading(wavelengths: NDArray[np.float64], values: NDArray[np.float64] | None = None) -> Measurement:
    return Measurement(name="x", wavelengths=wavelengths, values=curve(0.0, wavelengths) if values is None else values)


@pytest.mark.parametrize("degree", range(5))
def test_property_sprague_is_exact_for_the_fourth_degree_away_from_the_ends(degree: int) -> None:
    onto = np.arange(400.0, 720.1, 2.5)
    np.testing.assert_allclose(resample_sprague(poly(TEN, degree), TEN, onto=onto), poly(onto, degree), atol=1e-12)


@pytest.mark.parametrize("degree", [0, 1])
def test_property_sprague_keeps_straight_lines_to_the_ends(degree: int) -> None:
    np.testing.assert_allclose(resample_sprague(poly(TEN, degree), TEN, onto=ONE), poly(ONE, degree), atol=1e-12)


def test_reference_sprague_is_that_of_colour_science() -> None:
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from colour.algebra import SpragueInterpolator
    values = curve(1.0, TEN)
    np.testing.assert_allclose(
        resample_sprague(values, TEN, onto=FIVE), SpragueInterpolator(TEN, values)(FIVE), atol=1e-12
    )


def test_a_long_fine_grid_gives_what_the_whole_would() -> None:
    """What lies far off is left out of the matrix; it must not matter."""
    fine = np.arange(300.3, 900.0, 2.0)
    onto = np.arange(400.0, 701.0, 2.0)
    short = fine[(fine > 350.0) & (fine < 760.0)]
    whole = resample_sprague(curve(2.0, fine), fine, onto=onto)
    np.testing.assert_allclose(whole, resample_sprague(curve(2.0, short), short, onto=onto), atol=1e-9)


def test_leading_axes_are_kept() -> None:
    both = np.stack([curve(1.0, TEN), curve(2.0, TEN)])
    moved = resample_sprague(both, TEN, onto=FIVE)
    np.testing.assert_allclose(moved[1], resample_sprague(both[1], TEN, onto=FIVE), atol=1e-12)


@settings(max_examples=25, deadline=None)
@given(step=st.sampled_from([1.0, 2.0, 2.5, 3.0, 4.0, 5.0, 7.0]), start=st.floats(360.0, 399.0))
def test_property_wider_keeps_straight_lines(step: float, start: float) -> None:
    wavelengths = np.arange(np.round(start, 1), 720.0, step)
    moved = resample_wider(poly(wavelengths, 1), wavelengths, onto=FOLDER)
    np.testing.assert_allclose(moved, poly(FOLDER, 1), atol=1e-9)


@pytest.mark.parametrize("parts", [2, 5, 10])
def test_reference_an_instrument_with_triangular_bandpass_reads_the_same_either_way(parts: int) -> None:
    """Read finely and made coarse, or read coarsely at once: quadrature of the truth under both triangles."""
    step = 10.0 / parts
    truth_nm = np.arange(300.0, 800.0, 0.01)
    truth = 0.5 + 0.4 * np.tanh((truth_nm - 560.0) / 8.0)  # a steep edge

    def seen(at: NDArray[np.float64], width: float) -> NDArray[np.float64]:
        weights = np.maximum(1.0 - np.abs(truth_nm - at[:, None]) / width, 0.0)
        return np.asarray(weights @ truth / weights.sum(axis=1))

    fine = np.arange(380.0, 720.1, step)
    coarse = resample_wider(seen(fine, step), fine, onto=FOLDER)
    np.testing.assert_allclose(coarse, seen(FOLDER, 10.0), atol=2e-6)
    picked = resample_sprague(seen(fine, step), fine, onto=FOLDER)
    assert np.abs(picked - seen(FOLDER, 10.0)).max() > 1e-3, "picking every tenth would do as well"


class TestOnGrid:
    """Which way a measurement takes, and what is said of it."""

    def test_the_very_wavelengths_are_not_touched(self) -> None:
        values, note = on_grid(reading(TEN), FOLDER)
        np.testing.assert_array_equal(values, curve(0.0, TEN)[2:33])
        assert note == ""

    @pytest.mark.parametrize(
        ("wavelengths", "note"),
        [
            (np.arange(380.0, 741.0, 20.0), "from 20 to 10 nm by Sprague's polynomial (CIE 167)"),
            (np.arange(385.0, 741.0, 10.0), "shifted between its own wavelengths by Sprague's polynomial (CIE 167)"),
            (ONE, "from 1 to 10 nm as means under triangles 10 nm wide at half their height"),
            (
                np.append(TEN[:10], np.append(475.0, TEN[10:])),
                "brought onto the grid by a cubic spline: its steps differ",
            ),
        ],
    )
    def test_the_way_is_told(self, wavelengths: NDArray[np.float64], note: str) -> None:
        values, told = on_grid(reading(wavelengths), FOLDER)
        assert told == note
        np.testing.assert_allclose(values, curve(0.0, FOLDER), atol=0.02)

    @pytest.mark.parametrize(
        ("wavelengths", "told"),
        [
            (np.arange(410.0, 741.0, 10.0), "it spans 410 to 740 nm; expected 400 to 700 nm; measure"),
            (np.arange(380.0, 691.0, 1.0), "it spans 380 to 690 nm"),
            (np.arange(380.0, 741.0, 30.0), "a step of 30 nm; expected at most 20 nm"),
        ],
    )
    def test_nothing_is_extrapolated_or_guessed(self, wavelengths: NDArray[np.float64], told: str) -> None:
        with pytest.raises(InputError) as caught:
            on_grid(reading(wavelengths), FOLDER)
        assert told in str(caught.value)

    def test_lab_alone_is_no_reading(self) -> None:
        with pytest.raises(InputError, match="it holds Lab or XYZ only; expected a spectrum"):
            on_grid(Measurement(name="x", lab=np.zeros(3)), FOLDER)
