"""What is said of recipes is true: held to a grid over all doses, and to the recipes beside them."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from numpy.typing import NDArray

from tint import colorimetry
from tint.appearance import Setting, predict, render
from tint.materials import Blend
from tint.palette import Palette
from tint.recipes import Answer, Recipe, Rules, solve
from tint.recipes.choice import prices_of
from tint.recipes.reasons import Choice, gains, prices_paid, same_recipe, why
from tint.target import Target

Array = NDArray[np.float64]

SETTING = Setting(thickness_mm=3.0)
NAMES, BASE = ("white", "ochre", "blue"), "clear"
LEAST = 0.9  # contrast ratio
LEAF = Target(lab=np.array([50.0, -45.0, 40.0]))


@pytest.fixture(scope="module")
def sand(demo_palette: Palette) -> Target:
    """A colour that the three can make."""
    look = predict(demo_palette, Blend(BASE, {"white": 0.5, "ochre": 0.08, "blue": 0.004}), setting=SETTING)
    return Target(lab=look.lab, contrast_ratio_min=LEAST)


def asked(palette: Palette, target: Target, rank_by: str = "closeness") -> Answer:
    others = tuple(set(palette.pigments) - set(NAMES))
    return solve(palette, target, setting=SETTING, base=BASE, rules=Rules(leave_out=others, rank_by=rank_by))


def grid(palette: Palette, around: Recipe) -> Array:
    """Loadings of three pigments: all orders of magnitude, and finely about a recipe, shape (n, n_pigments)."""
    limits = [palette.pigments[name].max_loading or palette.bases[BASE].max_loading for name in NAMES]
    coarse = [np.append(0.0, np.geomspace(1e-4, most, 17)) for most in limits]
    fine = [around.blend.loadings.get(name, 0.0) * np.linspace(0.7, 1.3, 25) for name in NAMES]
    doses = np.array([*itertools.product(*coarse), *itertools.product(*fine)])
    doses = np.minimum(doses, limits)
    doses = doses[doses.sum(axis=1) <= palette.bases[BASE].max_loading]
    whole = np.zeros((len(doses), len(palette.pigments)))
    whole[:, [list(palette.pigments).index(name) for name in NAMES]] = doses
    return whole


def judged(palette: Palette, doses: Array, target: Target) -> tuple[Array, Array]:
    """CIEDE2000 to the target and contrast ratio, each of shape (n,)."""
    view = SETTING.viewing(palette)
    shares = palette.shares(BASE, doses)
    black, white = render(palette, shares, base=BASE, setting=SETTING, backings=(*palette.pair,)).reflectance
    away = colorimetry.difference(target.lab, colorimetry.lab(white, view))
    return np.asarray(away), np.asarray(colorimetry.contrast_ratio(black, white, view))


@pytest.mark.parametrize("rank_by", ["price", "loading"])
def test_reference_the_cheapest_and_the_least_are_so_on_a_grid(
    demo_palette: Palette, sand: Target, rank_by: str
) -> None:
    best = asked(demo_palette, sand, rank_by).best
    assert {"price": "the cheapest", "loading": "the least pigment"}[rank_by] in best.merits
    doses = grid(demo_palette, best)
    away, ratio = judged(demo_palette, doses, sand)
    # Of what keeps the opacity in 99 pours of 100, one-sided.
    look = best.appearance
    room = 2.326 * np.sqrt(look.contrast_ratio_error**2 - look.contrast_ratio_noise**2) / 1.960
    does = (away <= sand.tolerance) & (ratio >= LEAST + room)
    assert does.sum() > 20
    prices, of_base = prices_of(demo_palette, BASE)
    value = doses.sum(axis=1) if rank_by == "loading" else of_base + doses @ (prices[:-1] - of_base) / 100.0
    own = best.blend.total if rank_by == "loading" else best.price_per_kg
    assert own is not None
    assert own <= 1.03 * value[does].min()  # the room is reckoned by the error of one recipe near it, not of each


def test_reference_met_is_met_when_computed_again(demo_palette: Palette, sand: Target) -> None:
    recipes = asked(demo_palette, sand).recipes
    assert recipes[0].reached
    for recipe in recipes:
        away, ratio = judged(demo_palette, demo_palette.loadings(recipe.blend)[None], sand)
        assert recipe.reached == bool(away[0] <= sand.tolerance and ratio[0] >= LEAST)


def test_reference_where_no_loading_comes_nearer_none_does_on_a_grid(demo_palette: Palette) -> None:
    best = asked(demo_palette, LEAF).best
    assert "no loading of these pigments comes clearly nearer" in best.reason
    away, _ = judged(demo_palette, grid(demo_palette, best), LEAF)
    assert away.min() >= best.delta_e - 0.2


def test_recipes_shown_are_different_choices_each_with_its_sentence(demo_palette: Palette, sand: Target) -> None:
    answer = solve(demo_palette, sand, setting=SETTING)
    assert len({recipe.why for recipe in answer.recipes}) == len(answer.recipes) >= 3
    for one, two in itertools.combinations(answer.recipes, 2):
        names = {*one.blend.loadings, *two.blend.loadings}
        apart = sum(abs(one.blend.loadings.get(name, 0.0) - two.blend.loadings.get(name, 0.0)) for name in names)
        assert one.blend.base != two.blend.base or apart > 0.05 * max(one.blend.total, two.blend.total)


def test_a_second_light_is_what_recipes_are_compared_in(demo_palette: Palette, sand: Target) -> None:
    worst = solve(demo_palette, sand, setting=SETTING, base=BASE).best
    rules = Rules(also_light="A", fixed=worst.blend.loadings)
    of_lamp = solve(demo_palette, sand, setting=SETTING, base=BASE, rules=rules).best
    assert 0.0 < of_lamp.metamerism <= worst.metamerism


def choice(base: str = "clear", **told: float) -> Choice:
    usual = {"delta_e": 0.2, "opacity": 0.0, "metamerism": 1.0, "sensitivity": 0.1, "price": 2.0, "chance": 0.5}
    numbers = {name: told.pop(name, value) for name, value in usual.items()}
    return Choice(base=base, doses=told or {"white": 1.0, "red": 0.1}, **numbers)


def test_what_is_gained_and_paid_is_told_in_words() -> None:
    first = choice()
    assert gains(choice(price=1.5), first) == ["25 % cheaper"]
    assert gains(choice(base="milky"), first) == ["in milky"]
    assert gains(choice(white=1.1), first)[0] == "1 pigment in place of 2"
    assert gains(choice(white=1.0, rose=0.1), first) == ["without red, rose in its place"]
    assert gains(choice(metamerism=0.7), first) == ["steadier in other lights (0.7 against 1.0 CIEDE2000)"]
    assert gains(choice(price=float("nan"), chance=float("nan"), metamerism=0.9), first) == []
    assert prices_paid(choice(delta_e=0.7), first) == ["0.5 CIEDE2000 farther from the target"]
    assert why(choice(price=1.5, delta_e=0.7), first, [], pool="") == (
        "25 % cheaper, but 0.5 CIEDE2000 farther from the target."
    )
    assert why(first, first, ["the cheapest", "the nearest colour"], pool="of all found within 1 CIEDE2000") == (
        "The cheapest and the nearest colour of all found within 1 CIEDE2000."
    )


def test_what_differs_in_the_third_decimal_is_one_recipe() -> None:
    assert same_recipe(choice(white=1.0, red=0.1), choice(white=1.001, red=0.1, blue=0.001))
    assert not same_recipe(choice(), choice(base="milky"))
    assert not same_recipe(choice(white=1.0, red=0.1), choice(white=1.0, red=0.2))


def test_an_uncoloured_recipe_is_compared_as_any_other() -> None:
    bare = Choice(base=BASE, doses={}, delta_e=0.4, opacity=0.0, metamerism=0.1, sensitivity=0.0, price=0.0, chance=0.9)
    tinted = Choice(
        base=BASE, doses={"white": 0.002}, delta_e=0.1, opacity=0.0, metamerism=0.1, sensitivity=0.0, price=0.2,
        chance=0.9,
    )  # fmt: skip
    assert prices_paid(tinted, bare) == ["0.002 % more pigment"]
    assert "100 % less pigment" in gains(bare, tinted)


def test_the_look_of_the_bare_base_is_answered(demo_palette: Palette) -> None:
    bare = predict(demo_palette, Blend(BASE, {}), setting=SETTING)
    answer = solve(demo_palette, Target(lab=bare.lab), setting=SETTING, base=BASE)
    assert answer.best.blend.loadings == {}
    assert all(each.why for each in answer.recipes)
