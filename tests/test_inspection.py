"""A reading against its reference: numbers worked by hand, guard bands by simulation, and the words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tint import colorimetry
from tint.errors import InputError
from tint.inspection import FAIL, PASS, TOO_CLOSE, Check, Inspection, Tolerance, inspect_reading

Array = NDArray[np.float64]

WAVELENGTHS = np.arange(400.0, 701.0, 10.0)
VIEW = colorimetry.viewing(WAVELENGTHS)
NOISE = 0.002
AT = (WAVELENGTHS - 400.0) / 300.0
OCHRE = 0.1 + 0.5 * AT
BLUE = 0.6 - 0.45 * AT
GREY = np.full(31, 0.4)


def look(reading: Array, reference: Array, *, noise: float = NOISE, **more: object) -> Inspection:
    tolerance = Tolerance(delta_e=1.0)
    return inspect_reading(
        reading,
        reference,
        view=VIEW,
        repeatability=noise,
        **({"tolerance": tolerance} | more),  # type: ignore[arg-type]
    )


def test_reference_flat_greys_worked_by_hand() -> None:
    # Flat spectra have Y = 100 R and a* = b* = 0: L* = 116 R^(1/3) - 16.
    found = look(np.full(31, 0.42), GREY)
    lightness = [116.0 * value ** (1.0 / 3.0) - 16.0 for value in (0.40, 0.42)]
    assert found.lightness == pytest.approx(lightness[1] - lightness[0], abs=1e-6)
    assert [found.chroma, found.hue] == pytest.approx([0.0, 0.0], abs=1e-6)
    # CIEDE2000 of a pure lightness difference: dL / S_L (Sharma, Wu and Dalal 2005, eq. 15).
    bright = (sum(lightness) / 2.0 - 50.0) ** 2
    expected = (lightness[1] - lightness[0]) / (1.0 + 0.015 * bright / np.sqrt(20.0 + bright))
    assert found.delta_e == pytest.approx(expected, abs=1e-6)
    # Its standard deviation: dL*/dY = 116/3 Y^(-2/3) on Y's own, the root of the summed squares of the weights.
    weights = VIEW.weights[:, 1] / 100.0
    of_y = NOISE * np.sqrt(2.0) * np.sqrt(np.sum(weights**2))
    of_lightness = 116.0 / 3.0 * 0.42 ** (-2.0 / 3.0) * of_y
    assert found.delta_e_error == pytest.approx(of_lightness * expected / (lightness[1] - lightness[0]), rel=0.02)
    assert found.words == ("lighter by 1.4",)


def test_reference_contrast_ratio_and_its_error_worked_by_hand() -> None:
    black, white = np.full(31, 0.5), np.full(31, 0.6)
    found = look(white, white, over_black=(np.full(31, 0.51), black))
    assert found.contrast_ratio == pytest.approx(0.51 / 0.6 - 0.5 / 0.6, abs=1e-9)
    assert found.words == ("more opaque by 0.02 in contrast ratio",)
    held = look(white, white, over_black=(black, black), tolerance=Tolerance(delta_e=1.0, contrast_ratio=0.02))
    rng = np.random.default_rng(2)
    read = rng.normal(0.0, NOISE, (4, 4000, 31)) + np.stack((black, white, black, white))[:, None]
    luminance = read @ VIEW.weights[:, 1]
    apart = luminance[0] / luminance[1] - luminance[2] / luminance[3]
    assert held.checks[1].error == pytest.approx(float(apart.std()), rel=0.05)


def test_lab_differences_are_reading_less_reference() -> None:
    found = look(OCHRE + 0.03 * AT, OCHRE)
    one, two = (colorimetry.lab(spectrum, VIEW) for spectrum in (OCHRE + 0.03 * AT, OCHRE))
    assert [found.lightness, found.redness, found.yellowness] == pytest.approx((one - two).tolist())
    assert found.delta_e == pytest.approx(float(colorimetry.difference(one, two)))
    ab2 = found.redness**2 + found.yellowness**2
    assert found.chroma**2 + found.hue**2 == pytest.approx(ab2)


# Verdicts.


def just_off(base: Array, delta_e: float, shape: Array) -> Array:
    """The spectrum that lies just so far from a base along a shape."""
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        away = float(colorimetry.difference(colorimetry.lab(base + middle * shape, VIEW), colorimetry.lab(base, VIEW)))
        low, high = (middle, high) if away < delta_e else (low, middle)
    return base + low * shape


def verdicts(base: Array, shape: Array, delta_e: float, *, count: int = 400, noise: float = NOISE) -> list[str]:
    rng = np.random.default_rng(7)
    true = just_off(base, delta_e, shape)
    draws = rng.normal(0.0, noise, (count, 2, base.size))
    return [look(true + one, base + two, noise=noise).verdict for one, two in draws]


SHAPES = {"lighter": np.full(31, 0.2), "redder": 0.2 * AT, "bluer": 0.2 * (1.0 - AT)}


@pytest.mark.parametrize("base", [OCHRE, BLUE, GREY], ids=["ochre", "blue", "grey"])
@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_property_a_part_at_its_very_limit_is_called_wrongly_1_time_in_20(base: Array, shape: Array) -> None:
    told = verdicts(base, shape, 1.0)
    # Either call is wrong there: 5 % each, and 2 % for what 400 draws scatter (two standard deviations); near grey
    # CIEDE2000 bends within the noise, and fails a little more.
    assert told.count(PASS) <= 0.07 * len(told)
    assert told.count(FAIL) <= (0.10 if base is GREY else 0.07) * len(told)
    assert told.count(PASS) + told.count(FAIL) >= 0.03 * len(told), "the guard is no wider than it need be"


def test_property_beyond_the_band_verdicts_are_right() -> None:
    assert verdicts(OCHRE, SHAPES["redder"], 0.4, count=100).count(PASS) >= 99
    assert verdicts(OCHRE, SHAPES["redder"], 1.6, count=100).count(FAIL) >= 99


def test_the_band_narrows_with_readings_and_vanishes_without_noise() -> None:
    off = just_off(OCHRE, 0.95, SHAPES["redder"])
    one, nine = look(off, OCHRE), look(off, OCHRE, readings=9, reference_readings=9)
    assert nine.delta_e_error == pytest.approx(one.delta_e_error / 3.0)
    assert one.verdict == TOO_CLOSE
    assert nine.verdict == PASS
    assert look(off, OCHRE, noise=0.0).verdict == PASS
    assert look(just_off(OCHRE, 1.001, SHAPES["redder"]), OCHRE, noise=0.0).verdict == FAIL


def test_any_limit_can_fail_a_part() -> None:
    lighter = look(just_off(GREY, 0.9, SHAPES["lighter"]), GREY, tolerance=Tolerance(delta_e=2.0, lightness=0.4))
    assert [check.verdict for check in lighter.checks] == [PASS, FAIL]
    assert lighter.verdict == FAIL
    close = Check(what="colour", value=1.0, limit=1.0, error=0.1)
    assert close.verdict == TOO_CLOSE
    assert replace(lighter, checks=(lighter.checks[0], close)).verdict == TOO_CLOSE
    assert close.band == pytest.approx(0.1645, abs=1e-4)


def test_what_will_still_move_counts_with_its_error() -> None:
    moves, covariance = np.array([0.8, 0.0, 0.0]), np.diag([0.3, 0.1, 0.1]) ** 2
    found = look(OCHRE, OCHRE, moves=moves, moves_covariance=covariance)
    assert found.lightness == pytest.approx(0.8)
    assert found.delta_e_error > look(OCHRE, OCHRE).delta_e_error
    assert found.delta_e > 0.5
    assert found.verdict == TOO_CLOSE


# Words.


@pytest.mark.parametrize(
    ("reading", "reference", "words"),
    [
        (OCHRE, OCHRE, ["no difference that can be told"]),
        (OCHRE * 0.9, OCHRE, ["darker by"]),
        (OCHRE + 0.1 * AT, OCHRE, ["lighter by", "more chromatic by"]),
        (OCHRE + 0.08 * (AT - 0.6) ** 2, OCHRE, ["less chromatic by", "redder in hue by"]),
        (BLUE + 0.1 * (1.0 - AT), BLUE, ["more chromatic by"]),
        (0.9 * BLUE + 0.1 * BLUE.mean(), BLUE, ["less chromatic by"]),
        (GREY + 0.02 * (AT - 0.5), GREY, ["yellower by", "redder by"]),
        (GREY - 0.02 * (AT - 0.5), GREY, ["bluer by", "greener by"]),
    ],
)
def test_words(reading: Array, reference: Array, words: list[str]) -> None:
    told = look(reading, reference, noise=0.0005).words
    assert all(any(each.startswith(word) for each in told) for word in words), told


def test_a_hue_is_told_by_its_own_turn_not_by_the_chroma() -> None:
    # A strong yellow that loses much chroma and turns a little to red is not bluer in hue.
    yellow = np.where(WAVELENGTHS < 500.0, 0.08, 0.75)
    duller = yellow + np.where(WAVELENGTHS < 500.0, 0.06, -0.03 * (1.0 - AT))
    found = look(duller, yellow, noise=0.0005)
    assert found.yellowness < -3.0
    assert found.hue != 0.0
    assert not any("bluer" in each or "yellower" in each for each in found.words), found.words


def test_parts_inside_the_scatter_have_no_words() -> None:
    off = just_off(GREY, 0.3, SHAPES["lighter"])
    assert look(off, GREY, noise=0.0001).words != look(off, GREY, noise=0.02).words
    assert look(off, GREY, noise=0.02).words == ("no difference that can be told",)


# Bad input.


def test_what_cannot_be_judged_is_told() -> None:
    with pytest.raises(InputError, match="inspect: 5 wavelengths against 31; expected two spectra of 31"):
        look(np.zeros(5), OCHRE)
    with pytest.raises(InputError, match="nothing was read over black"):
        look(OCHRE, OCHRE, tolerance=Tolerance(delta_e=1.0, contrast_ratio=0.02))


@pytest.mark.parametrize(
    ("limits", "told"),
    [
        ({"delta_e": 0.0}, "tolerance, colour: 0; expected more than 0"),
        ({"delta_e": float("nan")}, "tolerance, colour: nan"),
        ({"delta_e": 1.0, "lightness": -1.0}, "tolerance, lightness: -1"),
        ({"delta_e": 1.0, "contrast_ratio": 0.0}, "tolerance, contrast ratio: 0"),
    ],
)
def test_a_tolerance_that_is_none_is_told(limits: dict[str, float], told: str) -> None:
    with pytest.raises(InputError, match=told):
        Tolerance(**limits)
