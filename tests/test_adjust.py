"""Trials teach: changed lots are found, noise is left alone, additions only add."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from synthetic import CASTS, Array, fit_two_flux, read_of, studio

import tint
from tint import colorimetry
from tint.appearance import Setting, predict
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.recipes import Rules, solve
from tint.target import Target, target_from_lab
from tint.trials import Cup, Doubts, Trial, TrialReading, adjust
from tint.trials.update import learn

SETTING = Setting(thickness_mm=2.5)
LID = Blend("clear", {"white": 0.3, "yellow": 0.15, "blue": 0.03})


@pytest.fixture(scope="module")
def palette() -> Palette:
    return fit_two_flux(studio(CASTS, seed=4))


def changed(palette: Palette, strength: Mapping[str, float], *, haze: float = 1.0) -> Palette:
    """The same workshop with other lots: the truth that trials are poured from."""
    names = [*palette.bases, *palette.pigments]
    k, s = palette.k.copy(), palette.s.copy()
    for name, factor in strength.items():
        k[names.index(name)] *= factor
        s[names.index(name)] *= factor
    s[0] *= haze
    return replace(palette, k=k, s=s)


def cast(truth: Palette, blend: Blend, *, thickness: float = 2.5, written: float | None = None, seed: int = 0) -> Trial:
    readings = tuple(
        TrialReading(values=read_of(truth, blend, thickness_mm=thickness, over=over, seed=(seed, at)), over=over)
        for at, over in enumerate(("black", "white"))
    )
    return Trial(blend=blend, thickness_mm=thickness if written is None else written, readings=readings)


def wanted(palette: Palette, blend: Blend) -> Target:
    seen = predict(palette, blend, setting=SETTING)
    return target_from_lab(seen.lab, contrast_ratio=seen.contrast_ratio)


def landed(truth: Palette, target: Target, blend: Blend) -> float:
    return float(colorimetry.difference(target.lab, predict(truth, blend, setting=SETTING).lab))


def test_a_stronger_lot_is_found_and_corrected(palette: Palette) -> None:
    truth, target = changed(palette, {"yellow": 1.2}), wanted(palette, LID)
    done = adjust(palette, target, [cast(truth, LID)], setting=SETTING)
    assert not done.leave
    (finding,) = [each for each in done.findings if each.what == "strength:yellow"]
    assert finding.value == pytest.approx(1.2, abs=0.04)
    assert "yellow is" in finding.words
    assert "stronger" in finding.words
    recipe = done.answer.recipes[0].blend
    assert recipe.loadings["yellow"] == pytest.approx(LID.loadings["yellow"] / 1.2, rel=0.05)
    assert landed(truth, target, recipe) < 0.25 * landed(truth, target, LID)


def test_a_wrong_thickness_reading_is_found_where_the_lots_are_known(palette: Palette) -> None:
    # One casting cannot tell a thinner wall from weaker lots all round: what is doubted more takes the blame.
    trial = cast(palette, LID, thickness=2.5, written=2.62)
    known = Doubts(strength_percent=0.5, haze_percent=0.5, tint_percent=0.5, thickness_mm=0.06)
    learned = learn(palette, [trial], known)
    assert learned.thickness_mm[0] == pytest.approx(-0.12, abs=0.03)
    assert np.all(np.abs(np.log(learned.factors)) < 0.02)


def test_a_perfect_pour_is_left_alone(palette: Palette) -> None:
    target = wanted(palette, LID)
    left = [adjust(palette, target, [cast(palette, LID, seed=seed)], setting=SETTING).leave for seed in range(6)]
    assert sum(left) >= 5
    done = adjust(palette, target, [cast(palette, LID)], setting=SETTING)
    assert done.verdict.startswith("Leave it")
    assert done.findings == ()


def test_property_two_trials_move_more_than_one_and_know_better(palette: Palette) -> None:
    truth = changed(palette, {"white": 0.85})
    one, two = (learn(palette, [cast(truth, LID, seed=seed) for seed in range(count)], Doubts()) for count in (1, 2))
    white = len(palette.bases) + list(palette.pigments).index("white")
    assert two.factor_errors[white] < one.factor_errors[white] < 0.12
    assert abs(np.log(two.factors[white] / 0.85)) <= abs(np.log(one.factors[white] / 0.85)) + 0.01


def test_property_a_noisy_trial_moves_less(palette: Palette) -> None:
    truth = changed(palette, {"white": 0.8})
    rough = replace(palette, instrument=replace(palette.instrument, repeatability=0.03))
    white = len(palette.bases) + list(palette.pigments).index("white")
    sharp_move = np.log(learn(palette, [cast(truth, LID)], Doubts()).factors[white])
    rough_move = np.log(learn(rough, [cast(truth, LID)], Doubts()).factors[white])
    assert sharp_move < rough_move < 0.0


def test_without_doubt_about_lots_only_the_covariance_of_the_palette_moves(palette: Palette) -> None:
    truth = changed(palette, {"yellow": 1.2})
    sure = learn(palette, [cast(truth, LID)], Doubts(strength_percent=1e-6, haze_percent=1e-6, tint_percent=1e-6))
    assert np.allclose(sure.factors, 1.0, atol=1e-6)


def test_property_trials_shrink_the_stated_error(palette: Palette) -> None:
    learned = learn(palette, [cast(palette, LID)], Doubts(strength_percent=1e-6, haze_percent=1e-6, tint_percent=1e-6))
    before, after = known(palette), known(learned.palette)
    assert np.all(after <= before * 1.001)
    assert np.mean(after / before) < 0.98


def known(palette: Palette) -> Array:
    """Standard deviations of k, s, m and q, shape (n_wavelengths, 4 n_components)."""
    of_k, of_s = np.split(np.einsum("wpp->wp", palette.local), 2, axis=1)
    own = np.concatenate((of_k, of_s, *(of_s * each.T**2 for each in palette.by_s)), axis=1)
    return np.asarray(np.sqrt(own + np.sum(palette.modes**2, axis=0)))


def test_readings_that_nothing_explains_are_told(palette: Palette) -> None:
    trial = cast(palette, LID)
    bent = tuple(
        replace(reading, values=np.clip(reading.values + 0.08 * np.sin(np.arange(reading.values.size)), 0.0, 1.0))
        for reading in trial.readings
    )
    done = adjust(palette, wanted(palette, LID), [replace(trial, readings=bent)], setting=SETTING)
    assert "readings" in [finding.what for finding in done.findings]


def test_additions_only_add_and_reach_the_target(palette: Palette) -> None:
    truth, target = changed(palette, {"yellow": 0.8}), wanted(palette, LID)
    total, base = 100.0, palette.bases["clear"]
    part_g = total * (1.0 - LID.total / 100.0) * base.mix["A"] / sum(base.mix.values())
    cup = Cup(base="clear", base_g=part_g, pigments_g={name: total * x / 100.0 for name, x in LID.loadings.items()})
    done = adjust(palette, target, [cast(truth, LID)], setting=SETTING, cup=cup)
    added = done.additions
    assert added is not None
    assert added.base_g >= 0.0
    assert all(grams >= 0.0 for grams in added.pigments_g.values())
    assert added.pigments_g["yellow"] > 0.15 * cup.pigments_g["yellow"]
    # The blend is what the cup becomes once the other part is in.
    grams = {name: cup.pigments_g[name] + added.pigments_g.get(name, 0.0) for name in LID.loadings}
    whole = (cup.base_g + added.base_g) * sum(base.mix.values()) / base.mix["A"] + sum(grams.values())
    for name, mass in grams.items():
        assert added.blend.loadings[name] == pytest.approx(100.0 * mass / whole, rel=2e-3)
    assert landed(truth, target, added.blend) < 0.4 * landed(truth, target, LID)


def test_the_verb_takes_a_cup_and_what_may_be_doubted(palette: Palette) -> None:
    truth, target = changed(palette, {"yellow": 0.8}), wanted(palette, LID)
    cup = Cup(base="clear", base_g=50.0, pigments_g=dict(LID.loadings))
    asked: dict[str, Any] = {"setting": SETTING, "cup": cup}
    free = tint.adjust(palette, target, cast(truth, LID), **asked)
    sure = tint.adjust(palette, target, cast(truth, LID), **asked, doubts=Doubts(strength_percent=1.0))
    assert free.additions is not None
    moved = [abs(done.answer.best.blend.loadings["yellow"] - LID.loadings["yellow"]) for done in (free, sure)]
    assert moved[1] < moved[0]


def test_an_overdosed_cup_is_thinned(palette: Palette) -> None:
    target, base = wanted(palette, LID), palette.bases["clear"]
    strong = Blend("clear", {name: 1.3 * x for name, x in LID.loadings.items()})
    part_g = 100.0 * (1.0 - strong.total / 100.0) * base.mix["A"] / sum(base.mix.values())
    cup = Cup(base="clear", base_g=part_g, pigments_g=dict(strong.loadings))
    done = adjust(palette, target, [cast(palette, strong)], setting=SETTING, cup=cup)
    assert done.additions is not None
    assert done.additions.base_g > 0.15 * cup.base_g
    assert done.additions.delta_e < 0.4 * landed(palette, target, strong)


@pytest.mark.parametrize(
    ("trial", "told"),
    [
        (Trial(blend=LID, thickness_mm=2.5, readings=()), "trial 1: it has no reading"),
        (replace(Trial(blend=LID, thickness_mm=0.0, readings=()), thickness_mm=0.0), "trial 1: 0 mm"),
        (
            Trial(blend=LID, thickness_mm=2.5, readings=(TrialReading(values=np.zeros(3), over="white"),)),
            "trial 1: a reading of 3 wavelengths",
        ),
        (
            Trial(blend=LID, thickness_mm=2.5, readings=(TrialReading(values=np.full(16, 84.0), over="white"),)),
            "trial 1: a reading is not a reflectance",
        ),
        (
            Trial(blend=LID, thickness_mm=2.5, readings=(TrialReading(values=np.zeros(16), over="grey"),)),
            "backing: `grey`",
        ),
    ],
)
def test_a_trial_that_cannot_be_used_is_told(palette: Palette, trial: Trial, told: str) -> None:
    with pytest.raises(InputError, match=told):
        adjust(palette, wanted(palette, LID), [trial], setting=SETTING)


def test_no_trial_and_an_empty_cup_are_told(palette: Palette) -> None:
    with pytest.raises(InputError, match="there is no trial"):
        adjust(palette, wanted(palette, LID), [], setting=SETTING)
    nothing = Cup(base="clear", base_g=0.0, pigments_g={})
    with pytest.raises(InputError, match="cup: 0 g"):
        adjust(palette, wanted(palette, LID), [cast(palette, LID)], setting=SETTING, cup=nothing)


def test_a_target_out_of_reach_is_not_chased(palette: Palette) -> None:
    far = target_from_lab([60.0, 60.0, -20.0])
    nearest = solve(palette, far, setting=SETTING, base="clear", loosen=False).best.blend
    again = adjust(palette, far, [cast(palette, nearest)], setting=SETTING)
    assert again.missed > 10.0
    assert again.leave
    assert "no recipe found would miss clearly less" in again.verdict


def test_an_opacity_that_was_missed_is_corrected_though_the_colour_is_right(palette: Palette) -> None:
    seen = predict(palette, LID, setting=SETTING)
    target = target_from_lab(seen.lab, contrast_ratio=seen.contrast_ratio + 0.04)
    done = adjust(palette, target, [cast(palette, LID)], setting=SETTING)
    assert done.misses[0].leave
    assert not done.misses[1].leave
    assert done.misses[1].value == pytest.approx(-0.04, abs=0.01)
    assert not done.leave


def test_a_bound_of_opacity_is_kept_though_a_pour_scatters_as_much(palette: Palette) -> None:
    seen, truth = predict(palette, LID, setting=SETTING), changed(palette, {"white": 0.9})
    thin = predict(truth, LID, setting=SETTING).contrast_ratio
    loose = replace(palette, instrument=replace(palette.instrument, thickness_error_mm=0.4))
    target = target_from_lab(seen.lab, contrast_ratio_min=thin + 0.02, tolerance=3.0)
    done = adjust(loose, target, [cast(truth, LID)], setting=SETTING)
    assert abs(done.misses[1].value) < done.misses[1].scatter
    assert not done.leave
    mended = predict(truth, done.answer.best.blend, setting=SETTING).contrast_ratio
    assert mended > thin + 0.015


def test_where_the_trial_s_own_pigments_do_not_reach_the_target_another_is_taken(palette: Palette) -> None:
    # Only with blue can this be had.
    sky = wanted(palette, Blend("clear", {"white": 0.3, "blue": 0.05}))
    poured = Blend("clear", {"white": 0.3, "yellow": 0.1})
    done = adjust(palette, sky, [cast(palette, poured)], setting=SETTING)
    assert done.answer.best.reached
    assert "blue" in done.answer.best.blend.loadings
    assert done.answer.recipes[0].delta_e < 1.0
    held = adjust(palette, sky, [cast(palette, poured)], setting=SETTING, rules=Rules(keep=("white", "yellow")))
    assert held.kept_pigments
    assert "yellow" in held.answer.recipes[0].blend.loadings


def test_property_readings_that_nothing_explains_do_not_bend_what_is_known(palette: Palette) -> None:
    trial = cast(palette, LID)
    tilt = np.linspace(-0.06, 0.06, trial.readings[0].values.size)
    bent = replace(trial, readings=tuple(replace(r, values=np.clip(r.values + tilt, 0.0, 1.0)) for r in trial.readings))
    learned = learn(palette, [bent], Doubts())
    assert learned.misfit > 3.0
    assert np.all(np.isfinite(learned.factors))
    assert abs(learned.thickness_mm[0]) < 2.0 * palette.instrument.thickness_error_mm


def test_one_weak_lot_changes_one_dose_and_keeps_the_opacity(palette: Palette) -> None:
    target, truth = wanted(palette, LID), changed(palette, {"yellow": 0.8})
    done = adjust(palette, target, [cast(truth, LID)], setting=SETTING)
    assert [finding.what for finding in done.findings] == ["strength:yellow"]
    finding, other = done.findings[0], done.otherwise
    assert finding.probability + finding.rivals["dose:1:yellow"] > 0.9
    # A single pour cannot tell a weak lot from too little of it: then the recipe as it stands is right.
    assert other is not None
    assert other.what == "dose:1:yellow"
    assert other.blend.loadings == pytest.approx(LID.loadings, rel=0.03)
    corrected = done.answer.recipes[0].blend.loadings
    assert corrected["yellow"] == pytest.approx(LID.loadings["yellow"] / 0.8, rel=0.03)
    assert {name: corrected[name] for name in ("white", "blue")} == pytest.approx(
        {name: LID.loadings[name] for name in ("white", "blue")}
    )
    assert landed(truth, target, done.answer.recipes[0].blend) < 0.3


def test_a_correction_of_a_colour_alone_is_as_solid_as_the_recipe_was_meant(palette: Palette) -> None:
    seen, truth = predict(palette, LID, setting=SETTING), changed(palette, {"white": 0.75})
    done = adjust(palette, target_from_lab(seen.lab), [cast(truth, LID)], setting=SETTING)
    now = predict(truth, done.answer.recipes[0].blend, setting=SETTING)
    assert now.contrast_ratio > seen.contrast_ratio - 0.01


def test_another_pour_of_the_same_lot_tells_a_slip_from_a_weak_lot(palette: Palette) -> None:
    target, weak = wanted(palette, LID), changed(palette, {"yellow": 0.75})
    slip = cast(palette, Blend("clear", {**LID.loadings, "yellow": 0.75 * LID.loadings["yellow"]}))
    slip = replace(slip, blend=LID)
    right, again = cast(palette, LID, seed=5), cast(weak, LID, seed=6)
    slipped = adjust(palette, target, [right, slip], setting=SETTING)
    assert [finding.what for finding in slipped.findings] == ["dose:2:yellow"]
    assert slipped.findings[0].value == pytest.approx(0.75, abs=0.03)
    assert slipped.again
    assert slipped.otherwise is None
    assert slipped.verdict.startswith("Pour it again as it stands")
    weakened = adjust(palette, target, [cast(weak, LID), again], setting=SETTING)
    assert [finding.what for finding in weakened.findings] == ["strength:yellow"]
    assert weakened.otherwise is None
    assert not weakened.again


def test_a_recipe_of_one_pigment_gets_no_others_for_a_weak_lot(palette: Palette) -> None:
    lone = Blend("clear", {"white": 0.3})
    done = adjust(palette, wanted(palette, lone), [cast(changed(palette, {"white": 0.8}), lone)], setting=SETTING)
    corrected = done.answer.best.blend.loadings
    assert set(corrected) == {"white"}
    assert corrected["white"] == pytest.approx(0.3 / 0.8, rel=0.03)


def test_only_what_an_explanation_is_about_is_told_as_found(palette: Palette) -> None:
    for seed in range(4):
        done = adjust(
            palette, wanted(palette, LID), [cast(palette, LID, thickness=2.55, written=2.5, seed=seed)], setting=SETTING
        )
        assert [finding.what for finding in done.findings] in ([], ["thickness:1"])
