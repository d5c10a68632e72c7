"""Scale, rounding and premixes: what a sheet tells to weigh is booked again here, line by line, and must come out."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tint.appearance import Setting, predict
from tint.colorimetry import difference
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.target import Target
from tint.weighing import Batch, Scale, WeighSheet, kept_from_json, weigh
from tint.weighing.premix import Kept, premixes
from tint.weighing.rounding import Weighings, looks, missed, ways

THREE_MM = Setting(thickness_mm=3.0)
FAINT = Blend("clear", {"white": 0.36, "ochre": 0.02, "blue": 0.008})
LOTS = {"blue": "B-1"}


@pytest.fixture(scope="module")
def faint(demo_palette: Palette) -> WeighSheet:
    return weigh(demo_palette, FAINT, setting=THREE_MM, batch_g=120.0, premix=True)


def booked(palette: Palette, sheet: WeighSheet, *, exact: bool) -> tuple[dict[str, float], dict[str, float]]:
    """Pigments and parts of the base that a sheet's lines add up to [g]."""
    wholes = {premix.name: premix.whole for premix in sheet.premixes}
    pigments, parts = dict.fromkeys(palette.pigments, 0.0), dict.fromkeys(palette.bases[sheet.blend.base].mix, 0.0)
    for line in sheet.lines:
        grams = line.exact_grams if exact else line.grams
        held = grams / wholes.get(line.what, 1) if line.pigment else 0.0
        if line.pigment:
            pigments[line.pigment] += held
        parts[line.part] += grams - held
    return pigments, parts


# The scale.

# USP general chapter 41 in the form m_min = 2 sd / tolerance, sd not below 0.41 steps; the numbers for a step of 0.01 g
# as trade pages give them, not the pharmacopoeia itself.
SMALLEST = [(0.1, 8.2), (1.0, 0.82), (5.0, 0.164)]


@pytest.mark.parametrize(("tolerance", "grams"), SMALLEST)
def test_smallest_weighing_is_that_of_the_pharmacopoeia(tolerance: float, grams: float) -> None:
    assert Scale(step_g=0.01, tolerance_percent=tolerance).smallest_g == pytest.approx(grams, rel=1e-12)


def test_a_scale_is_no_better_than_its_step_and_no_better_than_it_repeats() -> None:
    assert Scale(step_g=0.01, sd_g=0.001).smallest_g == Scale(step_g=0.01).smallest_g
    assert Scale(step_g=0.01, sd_g=0.02).smallest_g == pytest.approx(4.0)
    assert Scale(step_g=0.01, sd_g=0.02).error_percent(4.0) == pytest.approx(1.0)


def test_the_least_repeatability_is_that_of_two_rounded_readings() -> None:
    rng = np.random.default_rng(3)
    empty, loaded = rng.uniform(0.0, 1.0, (2, 200_000))
    shown = np.rint(loaded + 7.0) - np.rint(empty)
    assert Scale(step_g=1.0).repeatability_g == pytest.approx(np.std(shown - (loaded + 7.0 - empty)), rel=0.01)


@pytest.mark.parametrize(
    ("given", "told"),
    [({"step_g": 0.0}, "scale step"), ({"sd_g": -0.1}, "scale sd"), ({"tolerance_percent": 0.0}, "dose tolerance")],
)
def test_a_scale_that_makes_no_sense(given: dict[str, float], told: str) -> None:
    with pytest.raises(InputError, match=told):
        Scale(**given)


# Premixes.


def test_every_weighing_of_a_premix_can_be_trusted(faint: WeighSheet) -> None:
    least = faint.scale.smallest_g - 1e-9
    assert [premix.pigment for premix in faint.premixes] == ["white", "ochre", "blue"]
    for premix in faint.premixes:
        for step in premix.steps:
            assert step.grams >= least
            assert step.base_g >= least
            assert step.part == "A"
        assert premix.used_g >= least - faint.scale.step_g
        assert premix.left_g >= 0.0
    assert faint.warnings == ()


def test_a_premix_comes_out_as_strong_as_it_is_called(faint: WeighSheet) -> None:
    for premix in faint.premixes:
        strength = 1.0
        for step in premix.steps:
            strength *= step.grams / (step.grams + step.base_g)
        assert premix.strength == f"1:{premix.whole - 1}"
        assert strength == pytest.approx(1.0 / premix.whole, rel=1e-12)
        assert 2 <= premix.whole <= 1000


def test_a_premix_is_no_weaker_than_it_takes_and_spends_no_more_base_than_one_of_ten_fold_steps() -> None:
    scale = Scale(step_g=0.01)
    for dose, tenfold_g in ((0.5, 9.0), (0.0821, 9.0), (0.0819, 19.0), (0.009, 18.0), (0.0009, 108.0)):
        made = premixes({"blue": dose}, scale=scale, part="A", base_g=1e4, lots=LOTS)["blue"]
        assert made.used_g == pytest.approx(dose * made.whole)
        assert scale.smallest_g <= made.used_g * (1.0 + 1e-9) <= 2.0 * scale.smallest_g
        assert sum(step.base_g for step in made.steps) <= tenfold_g
        assert made.steps[0].lot == "B-1"


@pytest.mark.parametrize(
    ("dose", "base_g"), [(0.82, 1e4), (5.0, 1e4), (0.0, 1e4), (0.0008, 1e4), (0.5, 1.2), (0.05, 1.6)]
)
def test_no_premix_where_none_is_needed_or_none_would_do(dose: float, base_g: float) -> None:
    assert premixes({"blue": dose}, scale=Scale(step_g=0.01), part="A", base_g=base_g, lots={}) == {}


def test_weak_premixes_are_let_down_twice_and_stay_small() -> None:
    made = premixes({"blue": 0.0085}, scale=Scale(step_g=0.01), part="A", base_g=1e4, lots=LOTS)["blue"]
    assert [(step.makes, step.what, step.grams, step.base_g, step.lot) for step in made.steps] == [
        ("blue premix 1:9", "blue", 0.82, 7.38, "B-1"),
        ("blue premix 1:99", "blue premix 1:9", 0.82, 7.38, ""),
    ]
    each = 100.0 * 2.0 * 0.0041
    assert made.dose_error_percent == pytest.approx(math.hypot(each / 0.82, each / 0.82, each / 0.85), rel=1e-9)


def test_what_is_left_of_a_premix_is_used_before_any_base_is_spent() -> None:
    scale = Scale(step_g=0.01)
    first = premixes({"blue": 0.05}, scale=scale, part="A", base_g=1e4, lots=LOTS)["blue"]
    (left,) = first.leftovers("clear")
    assert left.grams == pytest.approx(first.made_g - first.used_g)
    assert (left.name, left.whole, left.lot) == (first.name, first.whole, "B-1")
    plenty = replace(left, grams=20.0)
    again = premixes({"blue": 0.06}, scale=scale, part="A", base_g=1e4, lots=LOTS, kept=[plenty])["blue"]
    assert (again.steps, again.kept, again.name) == ((), plenty, left.name)
    assert again.used_g == pytest.approx(0.06 * left.whole)
    assert again.dose_error_percent > scale.tolerance_percent  # of the first weighing nothing better is known
    # A smaller dose lets it down once more; what is too little, or of another lot, is left where it is.
    fainter = premixes({"blue": 0.004}, scale=scale, part="A", base_g=1e4, lots=LOTS, kept=[plenty])["blue"]
    assert [step.what for step in fainter.steps] == [left.name]
    assert fainter.pigment_g == pytest.approx(0.004)
    (of_kept, of_new) = fainter.leftovers("clear")
    pigment = of_kept.grams / of_kept.whole + of_new.grams / of_new.whole + fainter.pigment_g
    assert pigment == pytest.approx(plenty.grams / plenty.whole)
    for other in (replace(left, grams=0.1), replace(plenty, lot="B-2"), replace(plenty, pigment="red")):
        assert premixes({"blue": 0.06}, scale=scale, part="A", base_g=1e4, lots=LOTS, kept=[other])["blue"].kept is None


def test_sheets_hand_on_what_they_leave(demo_palette: Palette, faint: WeighSheet) -> None:
    left = kept_from_json(faint.to_json())
    assert left == faint.leftovers
    assert {each.pigment for each in left} == {"white", "ochre", "blue"}
    stranger = Kept(name="red premix 1:9", pigment="red", base="milky", part="A", whole=10, grams=5.0)
    plenty = (*(replace(each, grams=200.0) for each in left), stranger)
    again = weigh(demo_palette, FAINT, setting=THREE_MM, batch_g=120.0, premix=True, kept=plenty)
    assert all(premix.kept for premix in again.premixes)
    assert stranger in again.leftovers
    assert booked(demo_palette, again, exact=True)[0] == pytest.approx(booked(demo_palette, faint, exact=True)[0])
    assert booked(demo_palette, again, exact=True)[1] == pytest.approx(booked(demo_palette, faint, exact=True)[1])


def test_a_looser_tolerance_is_told_where_it_saves_half_of_the_base(demo_palette: Palette, faint: WeighSheet) -> None:
    coarse = weigh(demo_palette, FAINT, setting=THREE_MM, batch_g=400.0, premix=True, scale=Scale(step_g=0.1))
    told = coarse.looser
    assert told is not None
    spent = sum(step.base_g for premix in coarse.premixes for step in premix.steps)
    scale = Scale(step_g=0.1, tolerance_percent=told.tolerance_percent)
    then = weigh(demo_palette, FAINT, setting=THREE_MM, batch_g=400.0, premix=True, scale=scale)
    now = sum(step.base_g for premix in then.premixes for step in premix.steps)
    assert (told.base_g, told.saved_g) == pytest.approx((now, spent - now))
    assert now <= 0.5 * spent
    assert told.delta_e > told.now_delta_e > 0.0
    assert f"{told.tolerance_percent:g} %" in told.words


def test_a_premix_and_each_of_its_steps_leave_a_tenth_to_spare() -> None:
    for dose in np.geomspace(0.0009, 0.81, 60):
        made = premixes({"blue": float(dose)}, scale=Scale(step_g=0.01), part="A", base_g=1e4, lots={})["blue"]
        taken = [*(step.grams for step in made.steps[1:]), made.used_g]
        for step, grams in zip(made.steps, taken, strict=True):
            assert step.made_g >= 1.1 * grams - 1e-9


def test_a_dose_that_no_premix_can_hold_is_pointed_out(demo_palette: Palette) -> None:
    sheet = weigh(demo_palette, Blend("clear", {"blue": 0.5}), setting=THREE_MM, batch_g=2.0, premix=True)
    assert sheet.premixes == ()
    (warning,) = sheet.warnings
    assert warning.startswith("blue: 0.01 g is few steps of 0.01 g (rounded by 9.1 %), less than the 0.82 g")
    assert warning.endswith(
        "a premix would take more base than there is; a finer scale or a larger batch would hold it better"
    )


def test_a_part_too_small_for_the_scale_is_pointed_out(demo_palette: Palette) -> None:
    sheet = weigh(demo_palette, Blend("milky", {"white": 0.5}), setting=THREE_MM, batch_g=10.0)
    assert any(warning.startswith("part B: 0.52 g is less than the 0.82 g") for warning in sheet.warnings)


def test_without_premixes_the_pigment_is_weighed_itself(demo_palette: Palette, faint: WeighSheet) -> None:
    plain = weigh(demo_palette, FAINT, setting=THREE_MM, batch_g=120.0)
    assert [line.what for line in plain.lines] == ["part A", "white", "ochre", "blue", "part B"]
    assert [line.what for line in faint.lines][1:4] == [premix.name for premix in faint.premixes]
    assert [line.pigment for line in faint.lines] == [line.pigment for line in plain.lines]
    assert all("a premix would hold it better" in warning for warning in plain.warnings)
    assert faint.delta_e < plain.delta_e


# Mass.

BLENDS = st.builds(
    Blend,
    st.sampled_from(["clear", "milky"]),
    st.dictionaries(st.sampled_from(["white", "ochre", "red", "blue", "black"]), st.floats(1e-3, 0.6), max_size=4),
)


@settings(max_examples=40, deadline=None)
@given(
    blend=BLENDS,
    batch_g=st.floats(5.0, 5000.0),
    step=st.sampled_from([0.001, 0.01, 0.05, 0.1]),
    premix=st.booleans(),
)
def test_property_no_mass_is_lost_and_the_ratio_holds(
    demo_palette: Palette, blend: Blend, batch_g: float, step: float, premix: bool
) -> None:
    base = demo_palette.bases[blend.base]
    assume(batch_g > 200.0 * step)
    sheet = weigh(
        demo_palette, blend, setting=THREE_MM, batch=Batch(batch_g=batch_g), scale=Scale(step_g=step), premix=premix
    )
    total = 1.1 * batch_g
    assert sum(line.exact_grams for line in sheet.lines) == pytest.approx(total, rel=1e-12)
    pigments, parts = booked(demo_palette, sheet, exact=True)
    for name, grams in pigments.items():
        assert grams == pytest.approx(total * blend.loadings.get(name, 0.0) / 100.0, abs=1e-9)
    for part, share in base.mix.items():
        assert parts[part] == pytest.approx(sum(parts.values()) * share / sum(base.mix.values()), abs=1e-9)
    pigments, parts = booked(demo_palette, sheet, exact=False)
    off = [grams - sum(parts.values()) * base.mix[part] / sum(base.mix.values()) for part, grams in parts.items()]
    assert max(map(abs, off)) <= step * (1.0 + 1e-6)
    shown = sum(line.grams for line in sheet.lines)
    assert sheet.total_grams == pytest.approx(shown, abs=1e-9)
    for name, grams in pigments.items():
        assert sheet.rounded.loadings.get(name, 0.0) == pytest.approx(100.0 * grams / shown, abs=1e-9)
    for line in sheet.lines:
        assert line.grams / step == pytest.approx(round(line.grams / step), abs=1e-6)


def test_property_pigment_counted_as_its_part_leaves_the_part_short(demo_palette: Palette) -> None:
    # 3 % of paste in one part of a 1:1 base is 6 % of that part.
    sheet = weigh(demo_palette, Blend("clear", {"white": 2.0, "ochre": 1.0}), setting=THREE_MM, batch_g=100.0)
    assert sheet.naive_part_error_percent == pytest.approx(6.0, rel=1e-12)


# Rounding.


def by_hand(palette: Palette, blend: Blend, grams: dict[str, float]) -> float:
    """CIEDE2000 of weights from a blend, by two predictions."""
    total = sum(grams.values())
    made = Blend(blend.base, {name: 100.0 * grams[name] / total for name in blend.loadings})
    labs = [predict(palette, each, setting=THREE_MM).lab for each in (blend, made)]
    return float(difference(*labs))


def test_reference_no_way_up_or_down_looks_better(demo_palette: Palette) -> None:
    blend = Blend("clear", {"white": 0.33, "ochre": 0.132, "blue": 0.048})
    sheet = weigh(demo_palette, blend, setting=THREE_MM, batch_g=50.0, scale_step_g=0.01)
    exact = {line.what: line.exact_grams for line in sheet.lines}
    told = {line.what: line.grams for line in sheet.lines}
    both = [(0.01 * math.floor(x / 0.01), 0.01 * math.floor(x / 0.01) + 0.01) for x in exact.values()]
    tried = [by_hand(demo_palette, blend, dict(zip(exact, each, strict=True))) for each in itertools.product(*both)]
    assert by_hand(demo_palette, blend, told) <= min(tried) + 1e-3
    nearest = {name: 0.01 * round(x / 0.01) for name, x in exact.items()}
    assert by_hand(demo_palette, blend, told) < by_hand(demo_palette, blend, nearest) - 0.1


def test_rounding_goes_towards_a_target_when_there_is_one(demo_palette: Palette) -> None:
    blend = Blend("clear", {"white": 0.3, "ochre": 0.135})
    more = predict(demo_palette, Blend("clear", {"white": 0.3, "ochre": 0.15}), setting=THREE_MM).lab
    less = predict(demo_palette, Blend("clear", {"white": 0.3, "ochre": 0.12}), setting=THREE_MM).lab
    ochre = [
        weigh(demo_palette, blend, setting=THREE_MM, batch_g=10.0, aim=Target(lab=lab)).rounded.loadings["ochre"]
        for lab in (less, more)
    ]
    assert ochre[0] < 0.135 < ochre[1]


def test_a_contrast_ratio_not_to_be_left_counts(demo_palette: Palette) -> None:
    # A step of the scale is more than a third of the dose: more white hides more.
    blend = Blend("clear", {"white": 0.25})
    seen = predict(demo_palette, blend, setting=THREE_MM)
    aims = [Target(lab=seen.lab, contrast_ratio_min=0.9), Target(lab=seen.lab, contrast_ratio_max=0.5)]
    high, low = (
        weigh(demo_palette, blend, setting=THREE_MM, batch_g=10.0, scale_step_g=0.01, aim=aim).predicted for aim in aims
    )
    assert high.contrast_ratio > seen.contrast_ratio > low.contrast_ratio
    miss = missed(aims[0], np.array([seen.lab]), np.array([0.88]))
    assert miss == pytest.approx([2.0])


def test_the_mixing_ratio_comes_before_the_colour(demo_palette: Palette) -> None:
    blend = Blend("milky", {"white": 0.3, "black": 0.02})
    sheet = weigh(demo_palette, blend, setting=THREE_MM, batch_g=12.0, waste_percent=0.0, scale_step_g=0.1)
    part_b = sheet.lines[-1]
    assert part_b.exact_grams == pytest.approx(0.57, abs=0.005)
    assert part_b.grams == 0.6


def test_of_many_lines_only_those_of_the_fewest_steps_go_both_ways() -> None:
    exact = np.linspace(1.26, 15.26, 15)
    weighings = Weighings(
        exact=exact,
        steps=np.full(15, 0.1),
        pigment=np.eye(15)[:, :13],
        base=np.eye(15)[:, 13:],
        own=np.arange(15) >= 13,
        mix=np.array([0.5, 0.5]),
    )
    grams = ways(weighings)
    assert grams.shape == (2**12, 15)
    assert np.ptp(grams[:, :12], axis=0) == pytest.approx(np.full(12, 0.1))
    assert np.ptp(grams[:, 12:], axis=0) == pytest.approx(np.zeros(3), abs=1e-9)
    assert grams[:, 12:] == pytest.approx(np.broadcast_to(np.round(exact[12:], 1), (2**12, 3)))


# Care.


def test_care_is_what_one_step_does(demo_palette: Palette, faint: WeighSheet) -> None:
    told = [each.delta_e for each in faint.care]
    assert told == sorted(told, reverse=True)
    assert len(faint.care) == len(faint.lines) + sum(len(premix.steps) for premix in faint.premixes)
    delta_e = {(each.what, each.into): each.delta_e for each in faint.care}
    own = looks(demo_palette, "clear", demo_palette.loadings(faint.rounded)[None], setting=THREE_MM)[0]
    for line in faint.lines[1:4]:
        off = []
        for sign in (1.0, -1.0):
            total = faint.total_grams + sign * 0.01
            grams = {each.pigment: each.pigment_g for each in faint.lines[1:4]}
            grams[line.pigment] *= 1.0 + sign * 0.01 / line.grams
            blend = Blend("clear", {name: 100.0 * x / total for name, x in grams.items()})
            off.append(float(difference(own[0], predict(demo_palette, blend, setting=THREE_MM).lab)))
        assert delta_e[line.what, "part A"] == pytest.approx(max(off), rel=1e-6)
    blue = faint.premixes[-1]
    strong = replace(faint.rounded, loadings=dict(faint.rounded.loadings) | {
        "blue": faint.rounded.loadings["blue"] * (1.0 + 0.01 / blue.steps[0].grams)
    })  # fmt: skip
    up = float(difference(own[0], predict(demo_palette, strong, setting=THREE_MM).lab))
    assert delta_e["blue", blue.steps[0].makes] == pytest.approx(up, rel=0.05)


def test_premixes_that_take_several_times_the_batch_are_told(demo_palette: Palette) -> None:
    def told(step_g: float) -> str:
        blend = Blend("clear", {"white": 0.008})
        sheet = weigh(demo_palette, blend, setting=THREE_MM, batch_g=120.0, scale_step_g=step_g, premix=True)
        return " ".join(sheet.warnings)

    assert "of base, for a batch of 132.0 g: weigh the smallest doses on a finer scale" in told(0.1)
    assert "the premixes take" not in told(0.01)
