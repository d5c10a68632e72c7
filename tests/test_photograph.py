"""Colours from a photograph, held to spectra: rendered by physics and cameras that tint knows nothing of."""

from __future__ import annotations

import sys
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "swatches_demo"))

import camera  # noqa: E402
from camera import Shot  # noqa: E402
from photograph_example import REFERENCE, SHOT, WHITE, Array, misses, taken_by, told_of  # noqa: E402

from tint import colorimetry  # noqa: E402
from tint.errors import InputError, JobError  # noqa: E402
from tint.photographs import (  # noqa: E402
    Picture,
    Spot,
    find_arrangement,
    locate,
)
from tint.photographs.picture import sample  # noqa: E402
from tint.photographs.places import homography, moved  # noqa: E402

# The chart and the correction.


@pytest.mark.parametrize("degree", [1, 2, 3, 4])
def test_reference_root_polynomials_are_those_of_colour_science(degree: int) -> None:
    with warnings.catch_warnings(), np.printoptions():
        warnings.simplefilter("ignore")
        from colour.characterisation import matrix_colour_correction_Finlayson2015, polynomial_expansion_Finlayson2015
    rng = np.random.default_rng(degree)
    rgb, xyz = rng.uniform(0.02, 1.0, (40, 3)), rng.uniform(1.0, 90.0, (40, 3))
    terms = colorimetry.root_terms(rgb, degree)
    np.testing.assert_allclose(terms, polynomial_expansion_Finlayson2015(rgb, degree, True), rtol=1e-12)
    weight = xyz[:, 1:2] ** (-2 / 3)  # all terms are of first order, so a weighted fit is a plain one of other numbers
    expected = matrix_colour_correction_Finlayson2015(rgb * weight, xyz * weight, degree, True)
    np.testing.assert_allclose(colorimetry.root_matrix(rgb, xyz, degree), np.transpose(expected), rtol=1e-6, atol=1e-6)


def test_reference_chart_colours_are_integrals_of_its_spectra() -> None:
    spectra = camera.chart_spectra("usual")
    away = colorimetry.difference(colorimetry.chart_lab(), camera.true_lab(spectra))
    assert away.max() < 0.15, "the judge holds 400 to 700 nm only"


@given(st.floats(0.01, 100.0), st.integers(1, 4))
def test_property_twice_the_light_is_twice_the_terms(times: float, degree: int) -> None:
    rgb = np.array([[0.3, 0.1, 0.7], [0.02, 0.9, 0.4]])
    np.testing.assert_allclose(
        colorimetry.root_terms(times * rgb, degree), times * colorimetry.root_terms(rgb, degree), rtol=1e-9
    )


# Places.


@given(st.lists(st.floats(-0.2, 0.2), min_size=8, max_size=8))
def test_property_a_perspective_brings_its_points_where_they_belong(shifts: list[float]) -> None:
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    seen = 100.0 * (square + np.array(shifts).reshape(4, 2))
    matrix = homography(square, seen)
    np.testing.assert_allclose(moved(matrix, square), seen, atol=1e-6)
    back: Array = np.asarray(np.linalg.inv(matrix), dtype=np.float64)
    np.testing.assert_allclose(moved(back, seen), square, atol=1e-6)


def test_patches_are_found_from_any_corner_either_way_round() -> None:
    taken = taken_by(SHOT)
    picture = Picture(taken.pixels, "test")
    for way in (taken.corners, np.roll(taken.corners, 1, axis=0), taken.corners[::-1]):
        corners, plain = find_arrangement(picture, way, reference=REFERENCE, white=WHITE)
        np.testing.assert_allclose(corners, taken.corners)
        assert plain < 6.0


@pytest.mark.parametrize(
    ("corners", "told"),
    [
        ([[10, 10], [110, 80], [110, 10], [10, 80]], "do not go round"),
        ([[10, 10], [20, 10], [20, 16], [10, 16]], "pixels apart"),
        ([[10, 10], [250, 10], [250, 500], [10, 500]], "out of the picture"),
        ([[10, 10], [210, 10], [40, 100], [10, 100]], "three times"),
    ],
)
def test_corners_that_are_none(corners: list[list[float]], told: str) -> None:
    with pytest.raises(InputError, match=told):
        locate(corners, (), width=300, height=300)


def test_a_spot_outside_is_named() -> None:
    with pytest.raises(InputError, match="lid/black: reaches out of the picture"):
        locate(
            [[20, 20], [120, 20], [120, 80], [20, 80]],
            [Spot(name="lid", backing="black", x=299, y=20)],
            width=300,
            height=300,
        )


def test_a_speck_does_not_count_and_clipping_does() -> None:
    rng = np.random.default_rng(1)
    pixels = np.clip(rng.normal(120.0, 3.0, (60, 60, 3)), 0, 255).astype(np.uint8)
    quad = np.array([[[5.0, 5.0], [55.0, 5.0], [55.0, 55.0], [5.0, 55.0]]])
    clean = sample(Picture(pixels, ""), quad)
    pixels[20:24, 20:24] = 255
    dusty = sample(Picture(pixels, ""), quad)
    np.testing.assert_allclose(dusty.mean, clean.mean, atol=2e-4)
    assert clean.too_high[0] == 0.0
    assert dusty.too_high[0] == pytest.approx(16 / 2500, rel=0.2)
    pixels[:, :30] = 0
    assert sample(Picture(pixels, ""), quad).too_low[0] == pytest.approx(0.5, abs=0.02)


# The colours.


@pytest.mark.parametrize(
    "shot",
    [
        SHOT,
        replace(SHOT, camera="first", light="D50", contrast=0.0),
        replace(SHOT, coding="straight", quality=0, flare=0.0),
        replace(SHOT, chart="another print"),
    ],
    ids=["bent and veiled", "another camera", "in proportion to light", "another chart"],
)
def test_reference_colours_and_their_errors(shot: Shot) -> None:
    told = told_of(shot)
    away, stated = misses(told)
    assert away.mean() < 1.5
    assert np.mean(away <= stated) >= 0.9
    assert told.missed_mean < 2.0
    assert told.missed_mean <= told.missed_95 <= told.missed_most
    assert told.card_places == 10


def test_the_white_card_takes_uneven_light_out() -> None:
    shot = replace(SHOT, fall=0.25, vignette=0.2)
    with_card, stated = misses(told_of(shot))
    assert with_card.mean() < 1.5
    assert np.median(stated) < 3.0


def test_without_a_card_the_error_is_larger_and_it_is_said() -> None:
    shot = replace(SHOT, fall=0.0, vignette=0.1)
    told, bare = told_of(shot), told_of(shot, card=False)
    assert not any("no white card" in each for each in told.warnings)
    assert any("no white card" in each for each in bare.warnings)
    away, stated = misses(bare)
    assert np.median(stated) > 1.3 * np.median(misses(told)[1])
    assert np.mean(away <= stated) >= 0.9


def test_a_camera_is_said_to_be_no_observer() -> None:
    assert "no observer" in told_of(SHOT).warnings[0]


@pytest.mark.parametrize(
    ("shot", "told"),
    [
        (replace(SHOT, exposure=1.3), "is too bright: .* less exposure"),
        (replace(SHOT, exposure=0.075, contrast=0.0), "too dark: .* more exposure"),
        (replace(SHOT, exposure=0.01), "too dark: .* more exposure"),
        (replace(SHOT, exposure=0.6, contrast=1.0, flare=0.0, camera="second"), "too contrasty"),
        (replace(SHOT, noise=0.25, exposure=0.3), "too noisy"),
        (replace(SHOT, fall=0.55, vignette=0.2), "light is uneven: it changes by"),
        (replace(SHOT, light="LED-B1", camera="narrow", chart="other colours"), "no 24-patch chart|is missed by"),
    ],
    ids=["too bright", "dark", "too dark", "contrasty", "noisy", "uneven", "another chart"],
)
def test_what_is_refused(shot: Shot, told: str) -> None:
    with pytest.raises(JobError, match=told) as caught:
        told_of(shot)
    assert "\n" not in str(caught.value)


def test_uneven_light_that_no_card_shows_is_refused() -> None:
    with pytest.raises(JobError, match=r"going by the chart .* white card"):
        told_of(replace(SHOT, fall=0.45), card=False)


@pytest.mark.parametrize("off", [23.0, 90.0], ids=["one patch off", "beside the chart"])
def test_corners_that_are_no_chart(off: float) -> None:
    with pytest.raises(JobError, match="no 24-patch chart is at the corners"):
        told_of(SHOT, off=off)


def test_spots_that_are_no_colour_are_named() -> None:
    taken = taken_by(SHOT)
    x, y = taken.black[5]  # a dark grey on the black card, with its edge
    with pytest.raises(JobError, match="lid/black: is not one colour"):
        told_of(SHOT, spots=(Spot(name="lid", backing="black", x=float(x) + 12.0, y=float(y), size=10.0),))
