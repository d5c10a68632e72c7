"""Grids of readings, and spectra moved between them without a guess."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tint.errors import InputError
from tint.spectra import Array, grid_fault, resample


@pytest.mark.parametrize("step", [1.0, 2.5, 3.5, 5.0, 7.0, 10.0, 20.0])
def test_any_regular_step_from_1_to_20_nm_is_a_grid(step: float) -> None:
    grid = 400.0 + step * np.arange(np.ceil(300.0 / step) + 1)
    assert grid_fault(grid) == ""


@pytest.mark.parametrize(
    ("grid", "words"),
    [
        ([500.0], "fewer than two"),
        ([], "fewer than two"),
        ([400.0, np.nan, 420.0], "a wavelength is not a number"),
        ([[400.0, 700.0]], "fewer than two"),
        ([700.0, 550.0, 400.0], "do not rise"),
        ([400.0, 400.0, 700.0], "do not rise"),
        ([*range(400, 700, 10), 705.0], "the step changes between 690 and 705 nm"),
        (np.arange(400.0, 701.0, 0.5), "the step of 0.5 nm is outside 1 to 20 nm"),
        (np.arange(400.0, 701.0, 25.0), "the step of 25 nm is outside 1 to 20 nm"),
        (np.arange(410.0, 701.0, 10.0), "410 to 700 nm does not cover 400 to 700 nm"),
        (np.arange(400.0, 691.0, 10.0), "400 to 690 nm does not cover 400 to 700 nm"),
    ],
)
def test_what_is_no_grid_is_told(grid: Array, words: str) -> None:
    assert words in grid_fault(grid)


def test_a_spectrum_on_its_own_grid_is_left_alone() -> None:
    grid = np.arange(400.0, 701.0, 10.0)
    values = np.random.default_rng(1).random((2, grid.size))
    assert resample(values, grid, onto=grid) is values


COEFFICIENT = st.floats(-1.0, 1.0)


@given(COEFFICIENT, COEFFICIENT, COEFFICIENT, COEFFICIENT, st.sampled_from((1.0, 3.5, 7.0, 10.0)))
@settings(max_examples=40, deadline=None)
def test_property_a_cubic_is_resampled_exactly(a: float, b: float, c: float, d: float, step: float) -> None:
    def cubic(nm: Array) -> Array:
        t = (nm - 550.0) / 150.0
        return a + t * (b + t * (c + t * d))

    old, new = np.arange(390.0, 711.0, 20.0), np.arange(400.0, 701.0, step)
    assert np.max(np.abs(resample(cubic(old), old, onto=new) - cubic(new))) < 1e-12


def test_readings_that_lie_on_both_grids_are_kept_whatever_the_leading_axes() -> None:
    old, new = np.arange(400.0, 701.0, 5.0), np.arange(400.0, 701.0, 20.0)
    values = np.random.default_rng(2).random((2, 3, old.size))
    moved = resample(values, old, onto=new)
    assert moved.shape == (2, 3, new.size)
    assert np.allclose(moved, values[..., ::4], rtol=0.0, atol=1e-12)


@pytest.mark.parametrize("onto", [np.arange(390.0, 701.0, 10.0), np.arange(400.0, 711.0, 10.0)])
def test_nothing_is_extrapolated(onto: Array) -> None:
    old = np.arange(400.0, 701.0, 10.0)
    with pytest.raises(InputError, match=r"spectrum: it spans 400 to 700 nm; .* nm is needed"):
        resample(np.ones(old.size), old, onto=onto)
