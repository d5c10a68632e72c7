"""Recipes for targets: found again, within every rule, named limits that truly bind, words that hold."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.errors import InputError, JobError
from tint.materials import Blend
from tint.palette import Palette
from tint.recipes import Answer, Rules, refine, solve
from tint.recipes.answer import Loosened
from tint.recipes.refine import ALIKE
from tint.target import Look, Target

Array = NDArray[np.float64]

SETTING = Setting(thickness_mm=2.0)
SAND = Target(lab=np.array([75.0, 5.0, 25.0]), contrast_ratio_min=0.9)
FAR = Target(lab=np.array([45.0, 70.0, 5.0]), contrast_ratio_min=0.95)
SHELF = ("white", "yellow", "ochre", "red", "blue", "green", "black")  # what may go into clear


def found(
    palette: Palette,
    target: Target,
    *,
    setting: Setting = SETTING,
    base: str = "clear",
    loosen: bool = False,
    **rules: object,
) -> Answer:
    """Recipes of at most three pigments where a test asks for no more, which halves the search.

    What giving way would bring takes as long again, and is sought only where a test looks at it.
    """
    asked = Rules(**{"most_pigments": 3, **rules})  # type: ignore[arg-type]
    return solve(palette, target, setting=setting, base=base, rules=asked, loosen=loosen)


def limited(palette: Palette, *, total: float | None = None, **largest: float) -> Palette:
    """The palette with its largest total in clear, or the largest loadings of some pigments, changed."""
    bases, pigments = dict(palette.bases), dict(palette.pigments)
    if total is not None:
        bases["clear"] = replace(bases["clear"], max_loading=total)
    for name, loading in largest.items():
        pigments[name] = replace(pigments[name], max_loading=loading)
    return replace(palette, bases=bases, pigments=pigments)


# Found again

_LARGEST = {"white": 2.0, "yellow": 1.5, "ochre": 2.0, "red": 1.5, "blue": 1.0, "green": 1.0, "black": 0.6}


@st.composite
def blends(draw: st.DrawFn) -> dict[str, float]:
    names = draw(st.lists(st.sampled_from(SHELF), min_size=1, max_size=4, unique=True))
    return {name: draw(st.floats(0.002, 0.35)) * _LARGEST[name] for name in names}


@given(loadings=blends(), thickness=st.floats(0.8, 6.0), opacity=st.booleans())
@settings(max_examples=settings().max_examples // 6, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_property_the_colour_of_a_blend_is_found_again(
    demo_palette: Palette, loadings: dict[str, float], thickness: float, opacity: bool
) -> None:
    setting = Setting(thickness_mm=thickness)
    look = predict(demo_palette, Blend("clear", loadings), setting=setting)
    target = Target(lab=look.lab, contrast_ratio=look.contrast_ratio if opacity else None, tolerance=ALIKE + 0.02)
    answer = found(demo_palette, target, setting=setting, most_recipes=20, most_pigments=4)
    nearest = min(answer.recipes, key=lambda each: np.hypot(each.delta_e, each.opacity_miss / 0.01))
    assert nearest.delta_e < ALIKE + 0.02, "what is given away for less pigment is told from the nearest by nobody"
    assert nearest.opacity_miss == 0.0
    assert answer.recipes[0].reached


def test_what_a_recipe_says_is_what_predicting_it_says(demo_palette: Palette) -> None:
    for recipe in found(demo_palette, SAND).recipes:
        look = predict(demo_palette, recipe.blend, setting=SETTING)
        assert recipe.appearance.lab == pytest.approx(look.lab, abs=1e-9)
        assert recipe.delta_e == pytest.approx(float(colorimetry.difference(SAND.lab, look.lab)), abs=1e-6)
        assert recipe.opacity_miss == pytest.approx(float(SAND.opacity_miss(look.contrast_ratio)), abs=1e-9)
        assert recipe.reached == (recipe.delta_e <= 1.0 and recipe.opacity_miss == 0.0)
        assert bool(recipe.reason) == (not recipe.reached)
        assert 0.0 <= recipe.chance <= 1.0


@pytest.mark.parametrize("target", [SAND, FAR, replace(SAND, contrast_ratio_min=None, transmittance=0.3)])
def test_property_the_order_of_pigments_does_not_matter(demo_palette: Palette, target: Target) -> None:
    n, m = len(demo_palette.bases), len(demo_palette.pigments)
    order = np.random.default_rng(2).permutation(m)
    pick = np.concatenate((np.arange(n), n + order))
    both = np.concatenate((pick, n + m + pick))
    all_four = np.concatenate((both, 2 * (n + m) + pick, 3 * (n + m) + pick))
    names = list(demo_palette.pigments)
    turned = replace(
        demo_palette,
        pigments={names[at]: demo_palette.pigments[names[at]] for at in order},
        k=demo_palette.k[pick],
        s=demo_palette.s[pick],
        g=demo_palette.g[pick],
        g_error=demo_palette.g_error[pick],
        second_moment=demo_palette.second_moment[pick],
        local=demo_palette.local[:, both[:, None], both],
        modes=demo_palette.modes[:, :, all_four],
    )
    one, two = (found(each, target, most_pigments=3).recipes for each in (demo_palette, turned))
    assert [set(each.blend.loadings) for each in one] == [set(each.blend.loadings) for each in two]
    for a, b in zip(one, two, strict=True):
        assert a.delta_e == pytest.approx(b.delta_e, abs=0.01)
        assert a.appearance.lab == pytest.approx(b.appearance.lab, abs=0.02)
        assert set(a.limits) == set(b.limits)


def test_every_base_is_tried_when_none_is_named(demo_palette: Palette) -> None:
    both = solve(demo_palette, SAND, setting=SETTING, rules=Rules(most_pigments=3))
    alone = [found(demo_palette, SAND, base=name, most_pigments=3) for name in ("clear", "milky")]
    assert both.sets == sum(each.sets for each in alone)
    assert {recipe.blend.base for recipe in both.recipes} <= {"clear", "milky"}
    best = min(recipe.delta_e for each in alone for recipe in each.recipes)
    assert min(recipe.delta_e for recipe in both.recipes) == pytest.approx(best, abs=0.05)
    with pytest.raises(InputError, match="base: `opal` is not in the palette"):
        found(demo_palette, SAND, base="opal")


def test_progress_is_told(demo_palette: Palette) -> None:
    told: list[tuple[str, int, int]] = []
    few = Rules(most_pigments=1)
    solve(demo_palette, SAND, setting=SETTING, rules=few, progress=lambda *step: told.append(step))
    assert [done for _, done, _ in told] == [0, 1, 2]
    assert {whole for _, _, whole in told} == {2}
    assert told[0][0] == "searching clear"


# Rules

RULES: dict[str, dict[str, object]] = {
    "none": {"most_pigments": 3},
    "fewest": {"most_pigments": 1},
    "most": {"most_pigments": 5},
    "keep": {"keep": ("black", "yellow"), "most_pigments": 3},
    "leave out": {"leave_out": ("white", "green"), "most_pigments": 3},
    "fixed": {"fixed": {"red": 0.05, "ochre": 0.3}, "most_pigments": 3},
    "smallest": {"smallest": 0.05, "most_pigments": 3},
    "total": {"max_total": 0.4, "most_pigments": 3},
    "stock": {"stock_g": {"white": 0.9, "black": 0.0}, "batch_g": 300.0, "most_pigments": 3},
    "scale": {"batch_g": 150.0, "scale_step_g": 0.05, "smallest": 0.05, "most_pigments": 3},
    "all": {
        "keep": ("blue",), "fixed": {"ochre": 0.2}, "smallest": 0.04, "max_total": 1.5, "leave_out": ("green",),
        "stock_g": {"white": 2.0}, "batch_g": 200.0, "scale_step_g": 0.02,
    },
}  # fmt: skip


PULLED = ("most", "scale", "all")  # what a colour out of reach pulls at hardest
CASES = [*((name, SAND) for name in RULES), *((name, FAR) for name in PULLED)]


@pytest.mark.parametrize(
    ("name", "target"), CASES, ids=[f"{name}-{'sand' if target is SAND else 'far'}" for name, target in CASES]
)
def test_property_every_recipe_keeps_every_rule(demo_palette: Palette, name: str, target: Target) -> None:
    rules = Rules(**RULES[name], most_recipes=40)  # type: ignore[arg-type]
    near = replace(target, tolerance=200.0)  # the search is the same, but nothing is loosened, which takes long
    answer = solve(demo_palette, near, setting=SETTING, base="clear", rules=rules)
    assert answer.recipes
    step = 0.0 if rules.scale_step_g is None else 100.0 * rules.scale_step_g / float(rules.batch_g or 1.0)
    for recipe in answer.recipes:
        doses = recipe.blend.loadings
        assert not recipe.unweighable
        assert len(doses) <= rules.most_pigments
        assert set(rules.keep) | set(rules.fixed) <= set(doses)
        assert not set(rules.leave_out) & set(doses)
        assert "rose" not in doses  # not safe with an addition cure
        assert sum(doses.values()) <= min(3.0, rules.max_total or 3.0) * (1.0 + 1e-9)
        for pigment, loading in doses.items():
            assert loading <= rules.fixed.get(pigment, _LARGEST[pigment]) * (1.0 + 1e-9)
            assert loading >= rules.fixed.get(pigment, rules.smallest) * (1.0 - 1e-9)
            grams = loading * float(rules.batch_g or 0.0) / 100.0
            assert grams <= rules.stock_g.get(pigment, np.inf) * (1.0 + 1e-9)
        on_the_scale = [loading for name, loading in doses.items() if name not in {*recipe.premix, *rules.fixed}]
        steps = np.array(on_the_scale) / (step or np.inf)
        assert steps == pytest.approx(np.rint(steps), abs=1e-6)


@pytest.mark.parametrize(
    ("rules", "words"),
    [
        ({"keep": ("yelow",)}, "keep: `yelow` is not a pigment here; expected one of white, .*; did you mean yellow"),
        ({"keep": ("red",), "leave_out": ("red",)}, "keep: red is also to be left out; choose one"),
        ({"fixed": {"red": 0.1}, "leave_out": ("red",)}, "keep: red is also to be left out"),
        ({"keep": ("red", "blue"), "most_pigments": 1}, "keep: 2 pigments; expected at most 1"),
        ({"fixed": {"red": 0.0}}, "fix: 0 % of red; expected more than 0"),
        ({"fixed": {"red": 1.0}, "stock_g": {"red": 0.5}, "batch_g": 100.0}, "fix: 1 % of red; expected at most 0.5 %"),
        (
            {"keep": ("red", "blue"), "smallest": 0.6, "max_total": 1.0},
            "keep: the least doses sum to 1.2 %; expected at most 1 %",
        ),
    ],
)
def test_rules_that_contradict_are_refused(demo_palette: Palette, rules: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        solve(demo_palette, SAND, setting=SETTING, base="clear", rules=Rules(**rules))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("rules", "words"),
    [
        ({"most_pigments": 0}, "most pigments: 0; expected 1 to 5"),
        ({"most_pigments": 6}, "most pigments: 6; expected 1 to 5"),
        ({"rank_by": "beauty"}, "rank by: `beauty` is not known; expected closeness, chance, price, loading"),
        ({"most_recipes": 0}, "recipes: 0"),
        ({"smallest": -0.1}, "smallest dose: -0.1 %"),
        ({"stock_g": {"red": 1.0}}, "stock: the batch is not told"),
        ({"scale_step_g": 0.1}, "scale step: the batch is not told"),
        ({"batch_g": 0.0}, "batch: 0; expected more than 0"),
        ({"walls_mm": (2.0, 0.0)}, "wall: 0 mm"),
    ],
)
def test_rules_that_make_no_sense_are_refused(rules: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        Rules(**rules)  # type: ignore[arg-type]


# Cures and other refusals


def test_what_is_unsafe_is_refused_and_what_nobody_knows_is_warned_of(demo_palette: Palette) -> None:
    answer = found(demo_palette, SAND, most_recipes=200)
    assert answer.refused == {"clear": {"rose": "not safe with the addition cure of clear"}}
    assert not any("rose" in recipe.blend.loadings for recipe in answer.recipes)
    green = found(demo_palette, SAND, keep=("green",))
    assert "green is not known to be safe with addition cure: cure a cup of it first" in green.warnings
    none = found(demo_palette, SAND, leave_out=("green",))
    assert not any("known to be safe" in warning for warning in none.warnings)
    assert not found(demo_palette, SAND, base="milky").refused


def test_insisting_lets_the_unsafe_through_with_a_warning(demo_palette: Palette) -> None:
    answer = found(demo_palette, SAND, keep=("rose",), insist=("rose",))
    assert all("rose" in recipe.blend.loadings for recipe in answer.recipes)
    assert any(
        w.startswith("rose is not safe with addition cure and is used because you insist") for w in answer.warnings
    )
    with pytest.raises(JobError, match=r"a pigment to be kept is refused in every base \(rose: not safe"):
        found(demo_palette, SAND, keep=("rose",))


def test_a_kept_pigment_that_is_refused_in_one_base_is_sought_in_the_other(demo_palette: Palette) -> None:
    answer = solve(demo_palette, SAND, setting=SETTING, rules=Rules(keep=("rose",)))
    assert {recipe.blend.base for recipe in answer.recipes} == {"milky"}
    assert "rose" in answer.refused["clear"]


def test_a_palette_without_pigments_has_no_recipe(demo_palette: Palette) -> None:
    bare = replace(demo_palette, pigments={})
    with pytest.raises(JobError, match="the palette holds no pigment; declare one"):
        solve(bare, Target(lab=np.array([70.0, 0.0, 0.0])), setting=Setting(thickness_mm=3.0))


def test_a_pigment_that_was_never_cast_is_refused(demo_palette: Palette) -> None:
    seen = {
        name: replace(each, max_loading={n: x for n, x in each.max_loading.items() if n != "blue"})
        for name, each in demo_palette.seen.items()
    }
    answer = found(replace(demo_palette, seen=seen), SAND)
    assert answer.refused["clear"]["blue"] == "never cast in any swatch, so nothing is known of it"


def test_what_is_not_in_stock_or_too_little_is_refused(demo_palette: Palette) -> None:
    stock = {"white": 0.0, "red": 0.1}
    refused = found(demo_palette, SAND, stock_g=stock, batch_g=100.0, smallest=0.2).refused["clear"]
    assert refused["white"] == "none in stock"
    assert refused["red"] == "no dose of it is as large as the smallest asked for, 0.2 %"


def test_a_mere_colour_is_warned_of(demo_palette: Palette) -> None:
    told = found(demo_palette, Target(lab=SAND.lab)).warnings
    assert told[0].startswith("a colour says nothing of opacity")
    assert not any("opacity" in warning for warning in found(demo_palette, SAND).warnings)


def test_opacity_needs_two_backings(demo_palette: Palette) -> None:
    one = replace(demo_palette, backings={"white": demo_palette.backings["white"]})
    with pytest.raises(
        InputError, match="target: it asks for a contrast ratio; expected castings read over two backings"
    ):
        found(one, SAND)
    assert found(one, Target(lab=SAND.lab)).recipes


# Several walls and looks


def test_property_further_walls_count_by_the_worst(demo_palette: Palette) -> None:
    target = Target(lab=np.array([70.0, 10.0, 40.0]), contrast_ratio_min=0.8)
    (recipe, *_) = found(demo_palette, target, walls_mm=(1.2, 5.0)).recipes
    looks = [predict(demo_palette, recipe.blend, setting=Setting(thickness_mm=d)) for d in (2.0, 1.2, 5.0)]
    away = [float(colorimetry.difference(target.lab, look.lab)) for look in looks]
    assert recipe.delta_e == pytest.approx(max(away), abs=1e-6)
    misses = [float(target.opacity_miss(look.contrast_ratio)) for look in looks]
    assert recipe.opacity_miss == pytest.approx(min(misses), abs=1e-9)
    thin_alone = found(demo_palette, target).recipes[0]
    other = predict(demo_palette, thin_alone.blend, setting=Setting(thickness_mm=1.2))
    assert recipe.delta_e <= float(colorimetry.difference(target.lab, other.lab)) + 0.02


def test_a_sample_of_another_thickness_and_further_looks_are_met(demo_palette: Palette) -> None:
    blend = Blend("clear", {"white": 0.15, "red": 0.02, "yellow": 0.05})
    sample = predict(demo_palette, blend, setting=Setting(thickness_mm=4.0))
    dark = predict(demo_palette, blend, setting=Setting(thickness_mm=3.0, over="black", seat="wet"))
    part = predict(demo_palette, blend, setting=SETTING)
    target = Target(
        lab=sample.lab, thickness_mm=4.0, contrast_ratio=part.contrast_ratio, transmittance=part.luminous_transmittance,
        also=(Look(lab=dark.lab, over="black", seat="wet", thickness_mm=3.0),),
    )  # fmt: skip
    nearest = min(found(demo_palette, target, most_recipes=100).recipes, key=lambda each: each.delta_e)
    assert nearest.delta_e < 0.02
    assert abs(nearest.opacity_miss) < 0.0005


# What binds, and what would have to give


def _told(answer: Answer, limit: str) -> Loosened:
    return next(each for each in answer.loosened if each.limit == limit)


def test_a_total_that_binds_is_named_and_loosening_it_as_told_reaches(demo_palette: Palette) -> None:
    setting = Setting(thickness_mm=0.8)
    blend = Blend("clear", {"white": 0.8, "yellow": 0.6, "red": 0.1})
    look = predict(demo_palette, blend, setting=setting)
    target = Target(lab=look.lab, contrast_ratio_min=look.contrast_ratio)
    answer = found(limited(demo_palette, total=0.6), target, setting=setting, loosen=True)
    assert not answer.recipes[0].reached
    assert "max_loading:total" in answer.recipes[0].limits
    assert "the largest total of 0.6 % in clear binds" in answer.recipes[0].reason
    told = _told(answer, "max_loading:total")
    assert told.reached
    assert 0.6 < float(told.value or 0.0) <= 1.6
    assert f"{told.value:g} % would reach it" in told.words
    assert found(limited(demo_palette, total=told.value), target, setting=setting).recipes[0].reached
    less = found(limited(demo_palette, total=0.85 * float(told.value or 0.0)), target, setting=setting)
    assert not less.recipes[0].reached


def test_a_pigment_that_binds_is_named_and_loosening_it_as_told_reaches(demo_palette: Palette) -> None:
    setting = Setting(thickness_mm=0.8)
    look = predict(demo_palette, Blend("clear", {"blue": 0.6, "white": 0.3}), setting=setting)
    target = Target(lab=look.lab, contrast_ratio_min=look.contrast_ratio)
    answer = found(limited(demo_palette, blue=0.15), target, setting=setting, loosen=True)
    first = answer.recipes[0]
    assert not first.reached
    assert "max_loading:blue" in first.limits
    assert "max_loading:total" not in first.limits
    told = _told(answer, "max_loading:blue")
    assert told.reached
    assert found(limited(demo_palette, blue=float(told.value or 0.0)), target, setting=setting).recipes[0].reached


def test_the_first_recipe_keeps_its_opacity_with_the_chance_that_is_sought(demo_palette: Palette) -> None:
    look = predict(demo_palette, Blend("clear", {"white": 0.3, "yellow": 0.1}), setting=SETTING)
    for bound in ({"contrast_ratio_min": look.contrast_ratio}, {"contrast_ratio_max": look.contrast_ratio}):
        first = found(demo_palette, Target(lab=look.lab, **bound)).best  # type: ignore[arg-type]
        # Of the part itself, without the noise of a reading.
        sd = np.sqrt(first.appearance.contrast_ratio_error**2 - first.appearance.contrast_ratio_noise**2) / 1.96
        beyond = first.appearance.contrast_ratio - look.contrast_ratio
        away = beyond if "contrast_ratio_min" in bound else -beyond
        assert first.reached
        assert away / sd > 2.1  # 2.33 standard deviations are 99 %; the error is that of a recipe near it
        assert first.opacity_chance > 0.98


def test_what_was_given_no_room_is_not_put_before_what_was(
    demo_palette: Palette, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(refine, "_NEAREST", 1)  # as of many pigments, when more sets come near than are given room
    look = predict(demo_palette, Blend("clear", {"ochre": 0.3, "green": 0.1}), setting=SETTING)
    target = Target(lab=look.lab, contrast_ratio_min=look.contrast_ratio)
    assert found(demo_palette, target, setting=SETTING).best.opacity_chance > 0.98


def test_the_chance_of_the_opacity_is_told_where_the_colour_leaves_no_room(demo_palette: Palette) -> None:
    look = predict(demo_palette, Blend("clear", {"red": 0.05}), setting=SETTING)
    first = found(demo_palette, Target(lab=look.lab, contrast_ratio_min=look.contrast_ratio, tolerance=0.1)).best
    assert first.reached
    assert first.opacity_chance < 0.95


def test_opacity_that_holds_the_colour_back_is_named(demo_palette: Palette) -> None:
    setting = Setting(thickness_mm=1.0)
    look = predict(demo_palette, Blend("clear", {"red": 0.05}), setting=setting)
    target = Target(lab=look.lab, contrast_ratio_min=0.9)
    answer = found(demo_palette, target, setting=setting, loosen=True)
    assert not answer.recipes[0].reached
    assert answer.recipes[0].limits == ("contrast_ratio",)
    assert "the opacity asked for holds the colour back" in answer.recipes[0].reason
    told = _told(answer, "opacity")
    assert told.reached
    assert told.words == "without the opacity asked for the colour would be reached"
    assert found(demo_palette, replace(target, contrast_ratio_min=None), setting=setting).recipes[0].reached


def test_a_colour_that_no_loading_gives_is_laid_on_the_palette(demo_palette: Palette) -> None:
    target = Target(lab=np.array([55.0, -70.0, 40.0]))
    answer = found(demo_palette, target, setting=Setting(thickness_mm=5.0), loosen=True)
    assert answer.recipes[0].limits == ("palette",)
    assert "no loading of these pigments comes clearly nearer" in answer.recipes[0].reason
    assert not any(each.limit.startswith("max_loading") for each in answer.loosened)


def test_pigment_that_would_not_help_is_not_spent_and_its_limit_not_named(demo_many_flux: Palette) -> None:
    # Yellow hides already in such a wall: more of it would bring the colour next to nothing nearer.
    target, thick = Target(lab=np.array([49.6, -14.0, 69.5])), Setting(thickness_mm=4.3)
    first = found(demo_many_flux, target, setting=thick).recipes[0]
    assert first.blend.loadings["yellow"] < 0.2
    wide = found(limited(demo_many_flux, yellow=15.0, total=20.0), target, setting=thick).recipes[0]
    assert wide.delta_e > first.delta_e - 0.1
    assert first.limits == ("palette",)


@pytest.mark.parametrize("pigment", ["red", "yellow"])
def test_a_trace_that_is_seen_is_no_trace_to_be_left_out(demo_palette: Palette, pigment: str) -> None:
    blend = Blend("clear", {pigment: 8e-5 * _LARGEST[pigment]})
    setting = Setting(thickness_mm=3.0)
    look, plain = (predict(demo_palette, each, setting=setting) for each in (blend, Blend("clear")))
    assert float(colorimetry.difference(look.lab, plain.lab)) > 0.5
    target = Target(lab=look.lab, tolerance=ALIKE)
    recipes = found(demo_palette, target, setting=setting, leave_out=set(SHELF) - {pigment}).recipes
    assert recipes[0].delta_e <= ALIKE
    assert pigment in recipes[0].blend.loadings


def test_another_wall_or_base_that_would_do_is_told(demo_palette: Palette) -> None:
    look = predict(demo_palette, Blend("clear", {"yellow": 0.02}), setting=Setting(thickness_mm=2.0))
    target = Target(lab=look.lab, contrast_ratio=look.contrast_ratio)
    answer = found(demo_palette, target, setting=Setting(thickness_mm=4.0), loosen=True)
    assert not answer.recipes[0].reached
    told = _told(answer, "thickness")
    assert told.reached
    assert 1.5 < float(told.value or 0.0) < 4.0
    rosy = predict(demo_palette, Blend("milky", {"rose": 0.6}), setting=SETTING)
    other = found(demo_palette, Target(lab=rosy.lab, contrast_ratio=rosy.contrast_ratio), loosen=True)
    assert not other.recipes[0].reached
    assert _told(other, "base:milky").words == "in milky it would be reached"


def test_doses_too_coarse_for_the_scale_are_named(demo_palette: Palette) -> None:
    target = Target(lab=np.array([80.0, 8.0, 30.0]), contrast_ratio_min=0.85, tolerance=0.3)
    fine = found(demo_palette, target, batch_g=1000.0, scale_step_g=0.001, most_pigments=4)
    assert fine.recipes[0].reached
    coarse = found(demo_palette, target, batch_g=20.0, scale_step_g=0.1, most_pigments=4)
    assert not any(recipe.reached for recipe in coarse.recipes)
    first = coarse.recipes[0]
    assert first.limits == ("scale_step",)
    assert "the scale's step is too coarse for this batch: make a premix" in first.reason
    assert first.premix


@pytest.mark.parametrize("step_g", [0.001, 0.1])
@pytest.mark.parametrize("asked", [{"fixed": {"ochre": 0.01}}, {"keep": ("red",), "smallest": 0.05}])
def test_what_the_scale_shows_breaks_no_rule(demo_palette: Palette, asked: dict[str, Any], step_g: float) -> None:
    rules = Rules(batch_g=110.0, scale_step_g=step_g, most_recipes=10, most_pigments=3, **asked)
    for recipe in solve(demo_palette, SAND, setting=SETTING, base="clear", rules=rules).recipes:
        assert all(recipe.blend.loadings[name] == x for name, x in rules.fixed.items())
        assert all(x >= rules.smallest for x in recipe.blend.loadings.values())
        assert set(rules.keep) <= set(recipe.blend.loadings)


def test_a_batch_with_base_for_too_few_premixes_is_told_of_a_larger_one(demo_palette: Palette) -> None:
    target = Target(lab=np.array([70.0, 10.0, 30.0]), contrast_ratio_min=0.98)
    answer = found(demo_palette, target, batch_g=50.0, scale_step_g=0.1, loosen=True)
    assert not answer.best.reached
    assert not answer.best.unweighable
    told = _told(answer, "batch")
    assert told.reached
    larger = found(demo_palette, target, batch_g=float(told.value or 0.0), scale_step_g=0.1).best
    assert larger.reached
    assert not larger.unweighable


@pytest.mark.parametrize(("fixed", "named"), [({"black": 0.3}, "fixed:black"), ({"white": 0.01}, "fixed:white")])
def test_a_fixed_dose_that_is_in_the_way_is_named(demo_palette: Palette, fixed: dict[str, float], named: str) -> None:
    target = Target(lab=np.array([93.0, 0.0, 3.0]), contrast_ratio_min=0.97)
    first = found(demo_palette, target, fixed=fixed).recipes[0]
    assert not first.reached
    assert named in first.limits
    assert f"the fixed dose of {named[6:]}" in first.reason


def test_a_smallest_dose_that_is_in_the_way_is_named(demo_palette: Palette) -> None:
    target = Target(lab=np.array([85.0, 0.0, 0.0]), contrast_ratio_min=0.97)
    first = found(demo_palette, target, keep=("black",), smallest=0.1, most_pigments=4).recipes[0]
    assert not first.reached
    assert "smallest:black" in first.limits
    assert found(demo_palette, target, keep=("black",), most_pigments=4).recipes[0].reached


def test_many_flux_solves_alike(demo_many_flux: Palette) -> None:
    blend = Blend("clear", {"white": 0.2, "red": 0.03, "yellow": 0.1})
    look = predict(demo_many_flux, blend, setting=SETTING)
    answer = found(
        demo_many_flux, Target(lab=look.lab, contrast_ratio=look.contrast_ratio), most_recipes=20, most_pigments=4
    )
    assert answer.sets == 98
    assert min(recipe.delta_e for recipe in answer.recipes) < 0.02
    assert not found(demo_many_flux, FAR, most_pigments=1).recipes[0].reached


def test_every_wall_is_shown_and_the_worst_comes_first(demo_palette: Palette) -> None:
    target = Target(lab=np.array([70.0, 10.0, 50.0]), contrast_ratio_min=0.98)
    first = found(demo_palette, target, walls_mm=(8.0,), most_pigments=4).recipes[0]
    assert {wall.appearance.setting.thickness_mm for wall in first.walls} == {2.0, 8.0}
    assert first.walls[0].delta_e == pytest.approx(first.delta_e)
    assert first.walls[0].delta_e >= first.walls[1].delta_e - 1e-3
    thin, thick = sorted(first.walls, key=lambda wall: wall.appearance.setting.thickness_mm)
    assert 0.97 < thin.appearance.contrast_ratio < thick.appearance.contrast_ratio
    alone = found(demo_palette, target, setting=Setting(thickness_mm=2.0)).recipes[0]
    assert alone.walls == ()


@pytest.mark.parametrize("base", ["clear", "milky"])
@pytest.mark.parametrize("shifted", [(0.0, 0.0, 0.0), (-0.1, 0.1, 0.0), (0.0, -0.1, 0.2)])
def test_no_choice_holds_a_dose_that_nobody_weighs_where_others_do_as_well(
    demo_many_flux: Palette, base: str, shifted: tuple[float, float, float]
) -> None:
    setting = Setting(thickness_mm=1.4)
    bare = predict(demo_many_flux, Blend(base), setting=setting)
    target = Target(
        lab=bare.lab + np.array(shifted), tolerance=0.5, contrast_ratio_min=float(bare.contrast_ratio) + 0.001
    )
    answer = found(demo_many_flux, target, setting=setting, most_pigments=3)
    assert answer.best.reached
    recipes = [each for each in answer.recipes if each.reached]
    whole = [each for each in recipes if min(each.blend.loadings.values(), default=1.0) >= 5e-4]  # 0.5 mg in 100 g
    for each in recipes:
        others = [other.delta_e for other in whole if other.blend.base == each.blend.base]
        assert each in whole or each.delta_e < min(others, default=np.inf) - ALIKE, each.blend
