"""Which recipes are shown and why: metamerism, chance, roundings, those that no other beats."""

from __future__ import annotations

import itertools
from dataclasses import fields, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tint import colorimetry, uncertainty
from tint.appearance import Setting, predict
from tint.materials import Blend
from tint.palette import Palette
from tint.recipes import Answer, Recipe, Rules, solve
from tint.recipes.aims import Problem, lay_out
from tint.recipes.choice import TEST_LIGHTS, Merits, merits_of, pick, unbeaten
from tint.recipes.judging import judge
from tint.recipes.limits import best_roundings, bounds, too_small
from tint.recipes.refine import ALIKE, UNSEEN, exchanged
from tint.target import Target

Array = NDArray[np.float64]
Index = NDArray[np.int64]

SETTING = Setting(thickness_mm=2.0)
OLIVE = Blend("clear", {"white": 0.2, "yellow": 0.2, "black": 0.02})


def judged_merits(palette: Palette, target: Target, blends: list[Blend], setting: Setting = SETTING) -> Merits:
    """Merits of blends with three pigments each."""
    names = list(palette.pigments)
    sets = np.array([[names.index(name) for name in blend.loadings] for blend in blends])
    loadings = np.array([list(blend.loadings.values()) for blend in blends])
    return merits_of(palette, laid_out(palette, target, setting), setting, "clear", sets, loadings)


def laid_out(palette: Palette, target: Target, setting: Setting = SETTING) -> Problem:
    largest = np.array([pigment.max_loading or 1.0 for pigment in palette.pigments.values()])
    return lay_out(palette, target, setting=setting, base="clear", largest=largest)


# Metamerism


def test_property_a_recipe_is_no_metamer_of_itself(demo_palette: Palette) -> None:
    look = predict(demo_palette, OLIVE, setting=SETTING)
    target = Target(lab=look.lab, spectrum=look.reflectance, tolerance=ALIKE)
    answer = solve(demo_palette, target, setting=SETTING, base="clear", rules=Rules(most_recipes=200))
    own = [each for each in answer.recipes if set(each.blend.loadings) == set(OLIVE.loadings)]
    assert own
    assert own[0].metamerism < 0.05  # as near as a recipe of less pigment that looks alike
    other = [each for each in answer.recipes if each.reached and "yellow" not in each.blend.loadings]
    assert all(each.metamerism > 0.1 for each in other)


@pytest.mark.parametrize("light", ["D65", "A"])
def test_reference_the_special_index_is_that_of_colour_science(demo_palette: Palette, light: str) -> None:
    import colour

    setting = replace(SETTING, light=light)
    blends = [
        Blend("clear", {"white": 0.3, "ochre": 0.2, "green": 0.02}),
        Blend("clear", {"white": 0.2, "red": 0.02, "blue": 0.03}),
    ]
    wanted = predict(demo_palette, OLIVE, setting=setting)
    view = setting.viewing(demo_palette)
    merits = judged_merits(demo_palette, Target(lab=wanted.lab, spectrum=wanted.reflectance), blends, setting)
    for blend, told in zip(blends, merits.metamerism, strict=True):
        trial = predict(demo_palette, blend, setting=setting).reflectance
        here = [colorimetry.xyz(each, view) for each in (wanted.reflectance, trial)]
        changes = []
        for name in TEST_LIGHTS:
            if name == light:
                continue
            other = colorimetry.viewing(demo_palette.wavelengths, light=name)
            standard, sample = (colorimetry.xyz(each, other) for each in (wanted.reflectance, trial))
            x, y = colour.XYZ_to_xy(other.white)
            # Multiplicative correction to a match under the reference light (CIE 15:2004, 9.2.2.3; from memory).
            corrected = sample * here[0] / here[1]
            labs = [colour.XYZ_to_Lab(xyz / other.white[1], np.array([x, y])) for xyz in (standard, corrected)]
            changes.append(float(colour.delta_E(labs[0], labs[1], method="CIE 2000")))
        assert told == pytest.approx(max(changes), abs=1e-6)
        assert told > 0.05


def test_a_mere_colour_gets_its_own_inconstancy(demo_palette: Palette) -> None:
    look = predict(demo_palette, OLIVE, setting=SETTING)
    view = SETTING.viewing(demo_palette)
    merits = judged_merits(demo_palette, Target(lab=look.lab), [OLIVE])
    worst = 0.0
    for name in TEST_LIGHTS:
        other = colorimetry.viewing(demo_palette.wavelengths, light=name)
        adapted = colorimetry.adapt(colorimetry.xyz(look.reflectance, other), other.white, to=view.white)
        worst = max(worst, float(colorimetry.difference(look.lab, colorimetry.xyz_to_lab(adapted, view.white))))
    assert merits.metamerism[0] == pytest.approx(worst, abs=1e-9)
    assert worst > 0.2


# Sensitivity, price and the rest


def test_reference_sensitivity_is_what_doses_one_percent_off_do(demo_palette: Palette) -> None:
    look = predict(demo_palette, OLIVE, setting=SETTING)
    merits = judged_merits(demo_palette, Target(lab=look.lab), [OLIVE])
    moved = []
    for name, loading in OLIVE.loadings.items():
        off = replace(OLIVE, loadings={**OLIVE.loadings, name: 1.01 * loading})
        moved.append(float(colorimetry.difference(look.lab, predict(demo_palette, off, setting=SETTING).lab)))
    assert merits.sensitivity[0] == pytest.approx(np.linalg.norm(moved), rel=0.02)


def test_price_loading_and_pigments_are_those_of_the_blend(demo_palette: Palette) -> None:
    green = Blend("clear", {"white": 0.5, "green": 0.1, "black": 0.0})
    merits = judged_merits(demo_palette, Target(lab=np.array([50.0, 0.0, 0.0])), [OLIVE, green])
    assert merits.price == pytest.approx(
        [(99.58 * 26 + 0.2 * 28 + 0.2 * 46 + 0.02 * 35) / 100, (99.4 * 26 + 0.5 * 28 + 0.1 * 68) / 100]
    )
    assert merits.loading == pytest.approx([0.42, 0.6])
    assert merits.pigments == pytest.approx([3.0, 2.0])
    assert merits.unsure == pytest.approx([0.0, 1.0])
    pigments = dict(demo_palette.pigments)
    pigments["yellow"] = replace(pigments["yellow"], price=None)
    unknown = judged_merits(
        replace(demo_palette, pigments=pigments), Target(lab=np.array([50.0, 0.0, 0.0])), [OLIVE, green]
    )
    assert np.isnan(unknown.price[0])
    assert unknown.price[1] == merits.price[1]


# Chance


@pytest.mark.parametrize("seed", range(4))
def test_reference_chance_is_that_of_many_fresh_draws(seed: int) -> None:
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(4, 4)) * np.array([0.5, 0.5, 0.7, 0.01])[:, None]
    covariance = root @ root.T
    lab, target = np.array([60.0, 10.0, 20.0]), np.array([60.4, 10.0, 19.0])
    wanted = Target(lab=target, contrast_ratio_min=0.9)
    told = uncertainty.chance(lab, 0.905, covariance, target, 1.0, wanted.opacity_miss)
    drawn = rng.multivariate_normal(np.append(lab, 0.905), covariance, size=100_000)
    lands = colorimetry.difference(target, drawn[:, :3]) <= 1.0
    lands &= drawn[:, 3] >= 0.9
    assert told == pytest.approx(lands.mean(), abs=0.03)


def test_property_chance_rises_with_the_tolerance_and_falls_with_distance() -> None:
    covariance = np.diag([0.2, 0.2, 0.2, 1e-4])
    lab = np.array([60.0, 10.0, 20.0])
    free = Target(lab=lab).opacity_miss

    def chance(away: float, tolerance: float) -> float:
        return uncertainty.chance(lab, 0.9, covariance, lab + np.array([away, 0.0, 0.0]), tolerance, free)

    rising = [chance(0.5, tolerance) for tolerance in (0.1, 0.5, 1.0, 2.0, 5.0)]
    assert rising == sorted(rising)
    assert rising[0] < 0.2 < 0.9 < rising[-1]
    falling = [chance(away, 1.0) for away in (0.0, 0.5, 1.0, 3.0)]
    assert falling == sorted(falling, reverse=True)
    assert uncertainty.chance(lab, np.nan, covariance, lab, 1.0, free) == chance(0.0, 1.0)


# Rounding


@pytest.mark.parametrize("step", [0.01, 0.03, 0.1])
def test_reference_rounding_is_the_best_of_all_neighbours(demo_palette: Palette, step: float) -> None:
    rng = np.random.default_rng(8)
    problem = laid_out(demo_palette, Target(lab=np.array([60.0, 10.0, 20.0]), contrast_ratio=0.8))
    sets = np.sort(np.argsort(rng.random((15, 8)), axis=1)[:, :3], axis=1)
    loadings = rng.uniform(0.0, 0.5, (15, 3))
    limit = bounds(demo_palette, "clear", Rules(max_total=1.2))
    rounded = best_roundings(problem, sets, loadings, step, limit)
    for row, exact in enumerate(loadings):
        best, least = None, np.inf
        for ways in itertools.product(*[(np.floor(x / step) * step, np.ceil(x / step) * step) for x in exact]):
            trial = np.array([ways])
            if trial.sum() > 1.2 + 1e-9 or np.any(trial[0] > limit.high[sets[row]] + 1e-9):
                continue
            cost = float(np.sum(judge(problem, sets[[row]], trial).residuals ** 2))
            if cost < least:
                best, least = trial[0], cost
        assert best is not None
        assert rounded[row] == pytest.approx(best, abs=1e-9)


def test_rounding_is_better_than_the_nearest_step(demo_palette: Palette) -> None:
    target = Target(lab=np.array([70.0, 5.0, 30.0]), contrast_ratio_min=0.8)
    exact = solve(demo_palette, target, setting=SETTING, base="clear").recipes[0]
    rules = Rules(batch_g=100.0, scale_step_g=0.01)
    shown = solve(demo_palette, target, setting=SETTING, base="clear", rules=rules).recipes
    nearest = {name: round(loading / 0.01) * 0.01 for name, loading in exact.blend.loadings.items()}
    look = predict(demo_palette, Blend("clear", nearest), setting=SETTING)
    assert min(each.delta_e for each in shown) <= float(colorimetry.difference(target.lab, look.lab)) + 1e-9


def test_small_doses_ask_for_a_premix() -> None:
    blend = Blend("clear", {"white": 0.5, "black": 0.081, "red": 0.082})
    assert too_small(blend, Rules(batch_g=100.0, scale_step_g=0.001)) == ("black",)  # 82 steps weigh to 1 %
    assert too_small(blend, Rules(batch_g=100.0, scale_step_g=0.001, dose_tolerance_percent=2.0)) == ()
    assert too_small(blend, Rules()) == ()


# Those that no other beats


def random_merits(seed: int, n: int = 40) -> Merits:
    rng = np.random.default_rng(seed)
    delta_e = rng.uniform(0.0, 1.5, n)
    return Merits(
        delta_e=delta_e,
        opacity=np.zeros(n),
        miss=delta_e,
        metamerism=rng.uniform(0.0, 1.0, n),
        sensitivity=rng.uniform(0.01, 0.1, n),
        price=np.where(rng.random(n) < 0.1, np.nan, rng.uniform(0.1, 1.0, n)),
        loading=rng.uniform(0.1, 2.0, n),
        pigments=rng.integers(1, 5, n).astype(float),
        unsure=rng.integers(0, 2, n).astype(float),
        lacking=np.zeros(n),
    )


@pytest.mark.parametrize("seed", range(5))
def test_reference_unbeaten_by_the_letter(seed: int) -> None:
    merits = random_merits(seed)
    grain = {
        "miss": lambda x: np.floor(x / 0.1),
        "metamerism": lambda x: np.floor(x / 0.2),
        "price": lambda x: np.nan_to_num(np.floor(np.log(x / np.nanmin(x)) / 0.05), nan=np.inf),
        "loading": lambda x: np.floor(np.log(x / x.min()) / 0.05),
        "sensitivity": lambda x: np.floor(x / 0.02),
        "pigments": lambda x: x,
        "unsure": lambda x: x,
    }
    rows = list(zip(*(grain[name](getattr(merits, name)) for name in grain), strict=True))

    def beats(one: tuple[float, ...], two: tuple[float, ...]) -> bool:
        return all(a <= b for a, b in zip(one, two, strict=True)) and any(a < b for a, b in zip(one, two, strict=True))

    literal = [not any(beats(other, own) for other in rows) for own in rows]
    assert unbeaten(merits).tolist() == literal
    assert any(literal)
    assert not all(literal)


@pytest.mark.parametrize("factor", [1e-3, 1e3, 1e9])
@pytest.mark.parametrize("seed", range(3))
def test_property_the_currency_of_prices_changes_no_order(seed: int, factor: float) -> None:
    merits = random_merits(seed)
    other = replace(merits, price=factor * merits.price)
    ranked, again = pick(merits, 1.0, "price", None, 40), pick(other, 1.0, "price", None, 40)
    assert ranked == again
    near = [at for at, _ in ranked if merits.miss[at] <= max(1.0, float(merits.miss.min()) + 0.3)]
    priced = np.isfinite(merits.price[near])
    assert np.all(np.diff(priced.astype(int)) <= 0), "what has no price comes after all that has one"


CHAMPIONS = {
    "the nearest colour": "delta_e",
    "the least pigment": "loading",
    "the cheapest": "price",
    "the most stable across lights": "metamerism",
    "the least sensitive to weighing errors": "sensitivity",
}


@pytest.mark.parametrize("rank_by", ["closeness", "chance", "price", "loading"])
@pytest.mark.parametrize("seed", range(3))
def test_what_is_picked_is_what_is_said(seed: int, rank_by: str) -> None:
    merits = random_merits(seed)
    chance = np.random.default_rng(seed).random(40)
    picked = pick(merits, 1.0, rank_by, chance, 8)
    near = merits.miss <= 1.0
    assert len(picked) == len({at for at, _ in picked}) == 8
    true_of = {
        "no other beats it in everything": unbeaten(merits),
        "the most likely to land": chance == chance[near].max(),
        "the fewest pigments": merits.pigments == merits.pigments[near].min(),
    }
    true_of |= {
        word: getattr(merits, name) == np.nanmin(getattr(merits, name)[near])
        for word, name in CHAMPIONS.items()
        if word not in true_of
    }
    assert [(at, word) for at, words in picked for word in words if not true_of[word][at]] == []
    told = [at for at, _ in picked]
    value = {
        # What cannot be told apart comes first, the least pigment before more, a colour farther off at its price.
        "closeness": np.where(
            merits.miss <= merits.miss.min() + UNSEEN,
            np.log(exchanged(merits.loading, merits.miss - merits.miss.min())) - 1e3,
            merits.score,
        ),
        "chance": -chance,
        "price": np.nan_to_num(merits.price, nan=1e2) + np.where(near, 0.0, 1e3),
        "loading": merits.loading + np.where(near, 0.0, 1e3),
    }[rank_by][told]
    assert np.all(np.diff(value) >= (-0.06 if rank_by == "closeness" else -3e-3))


@pytest.mark.parametrize(
    ("second", "first"),
    [
        ({"delta_e": 0.48, "loading": 0.27}, 1),  # much is spared, and no eye tells
        ({"delta_e": 0.48, "loading": 0.66}, 0),  # a twelfth is not worth a third of a CIEDE2000
        ({"delta_e": 0.30, "loading": 0.60}, 1),  # what no instrument tells is not asked what it spares
        ({"delta_e": 0.75, "loading": 0.10}, 0),  # beyond what no eye tells
        ({"delta_e": 0.48, "loading": 0.27, "lacking": 0.3}, 0),  # room to the opacity is not exchanged
    ],
)
def test_of_recipes_that_no_eye_tells_apart_the_least_pigment_is_first(second: dict[str, float], first: int) -> None:
    names = [field.name for field in fields(Merits)]
    one = dict.fromkeys(names, 0.0) | {"delta_e": 0.18, "loading": 0.72, "pigments": 3.0}
    both = [one, one | second]
    merits = Merits(*(np.array([each[name] for each in both]) for name in names))
    merits = replace(merits, miss=merits.delta_e)
    assert pick(merits, 1.0, "closeness", None, 2)[0][0] == first
    # Where none is reached the nearest is named first, but for what no instrument tells.
    assert pick(merits, 0.1, "closeness", None, 2)[0][0] == int(first == 1 and second["delta_e"] < 0.33 + 1e-9)


def test_property_every_list_is_a_beginning_of_a_longer_one_s_members() -> None:
    merits = random_merits(1)
    lists = [{at for at, _ in pick(merits, 1.0, "closeness", None, most)} for most in (1, 3, 5, 10, 40)]
    assert [len(each) for each in lists] == [1, 3, 5, 10, 40]
    assert all(short <= long for short, long in itertools.pairwise(lists))


def test_property_picking_does_not_depend_on_the_order_of_rows() -> None:
    merits = random_merits(2)
    turned = np.random.default_rng(0).permutation(40)
    other = Merits(*(getattr(merits, field.name)[turned] for field in fields(Merits)))
    one = pick(merits, 1.0, "closeness", None, 6)
    two = pick(other, 1.0, "closeness", None, 6)
    assert one == [(int(turned[at]), words) for at, words in two]


def ranked(palette: Palette, rank_by: str) -> Answer:
    target = Target(lab=np.array([70.0, 8.0, 30.0]), contrast_ratio_min=0.85)
    return solve(palette, target, setting=SETTING, base="clear", rules=Rules(rank_by=rank_by, most_recipes=8))


def values(recipes: tuple[Recipe, ...], rank_by: str) -> list[float]:
    """What recipes are ranked by, of those that reach, the less the better."""
    return [
        {"chance": -each.chance, "price": float(each.price_per_kg or 0.0), "loading": each.blend.total}[rank_by]
        for each in recipes
        if each.reached
    ]


@pytest.mark.parametrize("rank_by", ["chance", "price", "loading"])
def test_recipes_come_in_the_order_asked_for(demo_palette: Palette, rank_by: str) -> None:
    recipes = ranked(demo_palette, rank_by).recipes
    ordered = values(recipes, rank_by)
    assert len(ordered) >= 3
    assert np.all(np.diff(ordered) >= -3e-3)
    by_closeness = [r for r in ranked(demo_palette, "closeness").recipes if r.reached]
    assert ordered[0] <= min(values(tuple(by_closeness), rank_by)) + 3e-3


def test_recipes_that_reach_come_before_those_that_do_not(demo_palette: Palette) -> None:
    for rank_by in ("closeness", "chance", "price", "loading"):
        reached = [recipe.reached for recipe in ranked(demo_palette, rank_by).recipes]
        assert reached == sorted(reached, reverse=True)


def test_the_least_within_a_wide_tolerance_may_be_far_from_the_nearest(demo_many_flux: Palette) -> None:
    target = Target(lab=np.array([45.0, -10.0, 10.0]), contrast_ratio_min=0.9)
    rules = Rules(rank_by="loading", most_pigments=3, most_recipes=1)
    narrow, wide = (
        solve(demo_many_flux, replace(target, tolerance=each), setting=SETTING, base="clear", rules=rules).best
        for each in (4.0, 12.0)
    )
    assert wide.delta_e > 4.0
    assert wide.blend.total < 0.8 * narrow.blend.total
