"""The plain weigh sheet: masses add up, the mixing ratio holds, doses are as the scale shows them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.weighing import WeighSheet, mix_density, weigh

SETTING = Setting(thickness_mm=2.0)
CREAM = Blend("clear", {"white": 0.5, "yellow": 0.08, "black": 0.004})
MILKY = Blend("milky", {"yellow": 0.5})


def parts(sheet: WeighSheet) -> dict[str, float]:
    return {line.part: line.grams for line in sheet.lines if not line.pigment}


def doses(sheet: WeighSheet) -> dict[str, float]:
    return {line.pigment: line.grams for line in sheet.lines if line.pigment}


# By hand


def test_by_hand_a_hundred_to_five(demo_palette: Palette) -> None:
    # 210 g with 0.5 %: 1.05 g of yellow, 208.95 g of base, of which 100 in 105 is A: 199.00 g, and 9.95 g of B.
    sheet = weigh(demo_palette, MILKY, setting=SETTING, batch_g=210.0, waste_percent=0.0)
    assert [(line.what, line.part, line.grams) for line in sheet.lines] == [
        ("part A", "A", 199.0),
        ("yellow", "A", 1.05),
        ("part B", "B", 9.95),
    ]
    assert [line.exact_grams for line in sheet.lines] == pytest.approx([199.0, 1.05, 9.95], abs=1e-9)
    assert sheet.total_grams == pytest.approx(210.0, abs=1e-9)
    assert sheet.mix_error_percent == pytest.approx(0.0, abs=1e-9)
    assert sheet.rounded.loadings["yellow"] == pytest.approx(0.5, abs=1e-12)


def test_by_hand_pigment_taken_for_its_part(demo_palette: Palette) -> None:
    # 3 % into A of a one to one base: A is then 47 of 97 in place of half: 3.09 % too little.
    sheet = weigh(demo_palette, Blend("clear", {"white": 2.0, "ochre": 1.0}), setting=SETTING, batch_g=1000.0)
    assert sheet.naive_mix_error_percent == pytest.approx(100.0 * (1.0 - 2.0 * 47.0 / 97.0))
    assert sheet.mix_error_percent < 1e-9


def test_by_hand_cm3_with_densities(demo_palette: Palette) -> None:
    # 98 g of base at 1.08 and 2 g of white at 1.65: 90.741 + 1.212 cm3 for 100 g.
    blend = Blend("clear", {"white": 2.0})
    base = demo_palette.bases["clear"]
    density = 100.0 / (98.0 / 1.08 + 2.0 / 1.65)
    assert mix_density(base, demo_palette.pigments, blend) == pytest.approx(density)
    sheet = weigh(demo_palette, blend, setting=SETTING, batch_cm3=250.0, waste_percent=20.0)
    assert sheet.batch_g == pytest.approx(250.0 * density * 1.2)
    assert sheet.volume_cm3 == pytest.approx(300.0, abs=0.02)
    unknown = {**demo_palette.pigments, "white": replace(demo_palette.pigments["white"], density=None)}
    assert mix_density(base, unknown, blend) == pytest.approx(1.08)


# Always so

_LOADINGS = st.fixed_dictionaries(
    {}, optional={name: st.floats(0.02, 1.0) for name in ("white", "yellow", "red", "blue")}
)


@given(
    base=st.sampled_from(["clear", "milky"]),
    loadings=_LOADINGS,
    batch_g=st.floats(20.0, 5000.0),
    waste=st.floats(0.0, 50.0),
    step=st.sampled_from([0.001, 0.01, 0.1]),
)
@settings(deadline=None)
def test_property_masses_add_up_and_the_ratio_holds_to_the_scale(
    demo_palette: Palette, base: str, loadings: dict[str, float], batch_g: float, waste: float, step: float
) -> None:
    blend = Blend(base, loadings)
    sheet = weigh(
        demo_palette, blend, setting=SETTING, batch_g=batch_g, waste_percent=waste, scale_step_g=step
    )  # fmt: skip
    total = batch_g * (1.0 + waste / 100.0)
    exact = {line.what: line.exact_grams for line in sheet.lines}
    assert sheet.batch_g == pytest.approx(total, rel=1e-12)
    assert sum(exact.values()) == pytest.approx(total, rel=1e-9)
    for name, loading in loadings.items():
        assert exact[name] == pytest.approx(total * loading / 100.0, rel=1e-9)
    mix = demo_palette.bases[base].mix
    assert exact["part A"] / exact["part B"] == pytest.approx(mix["A"] / mix["B"], rel=1e-9)
    for line in sheet.lines:
        assert line.grams / step == pytest.approx(round(line.grams / step), abs=1e-6)
        assert abs(line.grams - line.exact_grams) < step * (1.0 + 1e-6)
        assert line.percent == pytest.approx(100.0 * line.grams / sheet.total_grams, rel=1e-9)
    assert sum(line.percent for line in sheet.lines) == pytest.approx(100.0, abs=1e-9)
    assert sum(line.grams for line in sheet.lines) == pytest.approx(sheet.total_grams, abs=1e-9)
    shown = parts(sheet)
    share = {part: grams / sum(shown.values()) for part, grams in shown.items()}
    error = max(abs(share[part] / (mix[part] / sum(mix.values())) - 1.0) for part in mix)
    assert sheet.mix_error_percent == pytest.approx(100.0 * error, abs=1e-9)
    # No way to round is off by more than a step of the smaller part.
    assert error <= step / min(shown.values()) * (1.0 + 1e-6)
    for name, grams in doses(sheet).items():
        assert sheet.rounded.loadings.get(name, 0.0) == pytest.approx(100.0 * grams / sheet.total_grams, rel=1e-9)


# Order, prediction, rounding


def test_pigments_go_into_their_part_from_the_largest_dose_to_the_smallest(demo_palette: Palette) -> None:
    sheet = weigh(demo_palette, CREAM, setting=SETTING, batch_g=500.0)
    assert [line.what for line in sheet.lines] == ["part A", "white", "yellow", "black", "part B"]
    assert {line.part for line in sheet.lines if line.pigment} == {"A"}
    swapped = {**demo_palette.bases, "clear": replace(demo_palette.bases["clear"], pigment_in="B")}
    other = weigh(replace(demo_palette, bases=swapped), CREAM, setting=SETTING, batch_g=500.0)
    assert [line.what for line in other.lines] == ["part B", "white", "yellow", "black", "part A"]


def test_what_is_predicted_is_the_rounded_blend(demo_palette: Palette) -> None:
    sheet = weigh(demo_palette, CREAM, setting=SETTING, batch_g=60.0, scale_step_g=0.05)
    look = predict(demo_palette, sheet.rounded, setting=SETTING)
    assert np.array_equal(sheet.predicted.lab, look.lab)
    exact = predict(demo_palette, CREAM, setting=SETTING)
    assert sheet.delta_e == pytest.approx(float(colorimetry.difference(exact.lab, look.lab)))
    assert sheet.delta_e > 0.1


def test_a_finer_scale_comes_nearer(demo_palette: Palette) -> None:
    off = [
        weigh(demo_palette, CREAM, setting=SETTING, batch_g=100.0, scale_step_g=step).delta_e
        for step in (0.1, 0.01, 0.001, 0.0001)
    ]
    assert off == sorted(off, reverse=True)
    assert off[-1] < 0.01 < off[0]


@pytest.mark.parametrize(
    ("doses", "batch_g", "step_g"),
    [
        ({"blue": 0.5, "white": 0.5}, 20.0, 1.0),
        ({"black": 0.59}, 100.0, 1.0),
        ({"white": 2.0, "red": 1.0}, 33.0, 0.1),
    ],
)
def test_no_rounding_goes_beyond_what_pigment_and_rubber_take(
    demo_palette: Palette, doses: dict[str, float], batch_g: float, step_g: float
) -> None:
    # Up to a whole step would match the colour better: 1 g of blue in 24 g is 4 %, of which it takes 1.
    sheet = weigh(demo_palette, Blend("clear", doses), setting=SETTING, batch_g=batch_g, scale_step_g=step_g)
    rounded = sheet.rounded.loadings
    assert sum(rounded.values()) <= 1.02 * demo_palette.bases["clear"].max_loading
    for name, loading in rounded.items():
        assert loading <= 1.02 * (demo_palette.pigments[name].max_loading or np.inf)


def test_a_dose_that_does_not_show_or_is_few_steps_is_warned_of(demo_palette: Palette) -> None:
    sheet = weigh(demo_palette, CREAM, setting=SETTING, batch_g=50.0, waste_percent=0.0, scale_step_g=0.01)
    assert any(told.startswith("black: 0.002 g does not show on a scale of 0.01 g") for told in sheet.warnings)
    assert any(told.startswith("yellow: 0.04 g is few steps of 0.01 g") for told in sheet.warnings)
    assert "black" not in sheet.rounded.loadings
    fine = weigh(demo_palette, CREAM, setting=SETTING, batch_g=5000.0, scale_step_g=0.001)
    assert fine.warnings == ()


def test_a_base_alone_is_weighed_too(demo_palette: Palette) -> None:
    sheet = weigh(demo_palette, Blend("clear"), setting=SETTING, batch_g=100.0, waste_percent=0.0)
    assert parts(sheet) == {"A": 50.0, "B": 50.0}
    assert doses(sheet) == {}


# Cautions


@pytest.mark.parametrize(
    ("blend", "words"),
    [
        (Blend("clear", {"rose": 0.2}), "rose: not safe with addition cure"),
        (Blend("clear", {"green": 0.2}), "green: not known to be safe with addition cure"),
        (MILKY, "Tin catalysts harm health"),
        (CREAM, "Sulphur, tin and amines stop addition cure"),
        (CREAM, "Cure a small cup of this very mix"),
        (CREAM, "Supplier's data sheets"),
    ],
)
def test_cautions_stand_on_the_sheet(demo_palette: Palette, blend: Blend, words: str) -> None:
    told = weigh(demo_palette, blend, setting=SETTING, batch_g=100.0).cautions
    assert any(each.startswith(words) for each in told)


def test_no_caution_without_its_cause(demo_palette: Palette) -> None:
    told = weigh(demo_palette, CREAM, setting=SETTING, batch_g=100.0).cautions
    assert not any("safe with" in each or "Tin catalysts" in each for each in told)
    assert not any(
        "addition cure" in each for each in weigh(demo_palette, MILKY, setting=SETTING, batch_g=100.0).cautions
    )


# What cannot be weighed


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({}, "batch: not given"),
        ({"batch_g": 100.0, "batch_cm3": 100.0}, "batch: given twice"),
        ({"batch_g": 0.0}, "batch: 0 g"),
        ({"batch_cm3": -5.0}, "batch: -5 cm3"),
        ({"batch_g": float("nan")}, "batch_g: nan, which is not finite"),
        ({"batch_g": 2e6}, "batch: 2.2e.06 g"),
        ({"batch_g": 100.0, "waste_percent": -1.0}, "waste: -1 %"),
        ({"batch_g": 100.0, "scale_step_g": 0.0}, "scale step: 0 g"),
        ({"batch_g": 1.0, "scale_step_g": 50.0}, "weigh: nothing of 1.1 g shows on a scale of 50 g; make more"),
    ],
)
def test_batches_that_make_no_sense_are_refused(demo_palette: Palette, asked: dict[str, float], words: str) -> None:
    with pytest.raises(InputError, match=words):
        weigh(demo_palette, CREAM, setting=SETTING, **asked)  # type: ignore[arg-type]


def test_what_the_palette_lacks_is_refused(demo_palette: Palette) -> None:
    with pytest.raises(InputError, match="pigment `mauve` is not in the palette"):
        weigh(demo_palette, Blend("clear", {"mauve": 0.1}), setting=SETTING, batch_g=100.0)
    with pytest.raises(InputError, match="base: `opal` is not in the palette"):
        weigh(demo_palette, Blend("opal"), setting=SETTING, batch_g=100.0)
