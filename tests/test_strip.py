"""The pictures of an answer and of a reach: their pixels say what was predicted, and nothing runs out of its place."""

from __future__ import annotations

import io
import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image, ImageCms

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import answer_layout, draw_answer, draw_reach, reach_layout
from tint.proofs import gamut as gamut_picture
from tint.proofs import strip as strip_picture
from tint.proofs.lettering import line_height
from tint.proofs.picture import DARK, LINE, PAPER, WHITE, Box, Item, NearSign, Patch, Text
from tint.proofs.shown import gather
from tint.proofs.spectra import spread_out
from tint.recipes import Answer, Rules, solve
from tint.recipes.reach import Reach
from tint.target import Target, target_from_blend, target_from_lab

Array = NDArray[np.float64]

PEACH = Blend("clear", {"white": 0.1, "yellow": 0.05, "red": 0.04})
TWO_MM = Setting(thickness_mm=2.0)
QUICK = Rules(most_pigments=2, most_recipes=4)


def _peach(palette: Palette, setting: Setting) -> Target:
    return target_from_blend(palette, PEACH, setting=setting, tolerance=20.0)


@pytest.fixture(scope="module")
def answers(demo_palette: Palette) -> dict[str, Answer]:
    """One answer for every kind of target that is drawn otherwise."""
    black = replace(TWO_MM, over="black", light="A")
    free = replace(TWO_MM, over="none")
    sun = target_from_lab([82.0, 8.0, 97.0], contrast_ratio=0.6, tolerance=20.0)
    sample = replace(_peach(demo_palette, Setting(thickness_mm=1.0)), thickness_mm=1.0, contrast_ratio=None)
    asked = {
        "a blend": (_peach(demo_palette, TWO_MM), TWO_MM, "clear", QUICK),
        "a mere colour, out of reach": (target_from_lab([50.0, 60.0, -40.0]), TWO_MM, "clear", QUICK),
        "over black": (target_from_lab([60.0, 10.0, 20.0], source="x" * 300, tolerance=20.0), black, "milky", QUICK),
        "a free slab": (target_from_lab([60.0, 10.0, 20.0], tolerance=20.0), free, "milky", QUICK),
        "beyond a screen, many": (sun, TWO_MM, "milky", replace(QUICK, most_pigments=3, most_recipes=12)),
        "a sample of 1 mm": (sample, TWO_MM, "clear", QUICK),
        "one recipe": (_peach(demo_palette, TWO_MM), TWO_MM, "clear", replace(QUICK, most_recipes=1)),
    }
    return {
        name: solve(demo_palette, target, setting=setting, base=base, rules=rules)
        for name, (target, setting, base, rules) in asked.items()
    }


NAMES = [
    "a blend", "a mere colour, out of reach", "over black", "a free slab", "beyond a screen, many", "a sample of 1 mm",
    "one recipe",
]  # fmt: skip


def pixels(png: bytes) -> NDArray[np.int64]:
    with Image.open(io.BytesIO(png)) as image:
        assert image.mode == "RGB"
        return np.asarray(image).astype(np.int64)


def centre(image: NDArray[np.int64], box: Box) -> NDArray[np.int64]:
    x, y = box.centre
    return np.asarray(image[y, x])


def levels(lab: Array, palette: Palette, setting: Setting) -> Array:
    return 255.0 * colorimetry.lab_to_srgb(lab, setting.viewing(palette))[0]


def said(items: list[Item]) -> str:
    return " ".join(item.words for item in items if isinstance(item, Text))


@pytest.mark.parametrize("name", NAMES)
def test_every_chip_is_the_prediction_over_its_backing(
    demo_palette: Palette, answers: dict[str, Answer], name: str
) -> None:
    answer = answers[name]
    image, boxes = pixels(draw_answer(demo_palette, answer)), answer_layout(demo_palette, answer)
    backings = ["black", "white"] + ["none"] * (answer.setting.over == "none")
    shown = replace(answer.setting, thickness_mm=answer.target.thickness_mm or answer.setting.thickness_mm)
    assert len(boxes.recipes) == len(answer.recipes)
    for recipe, chips in zip(answer.recipes, boxes.recipes, strict=True):
        for backing, box in zip(backings, chips, strict=True):
            look = predict(demo_palette, recipe.blend, setting=replace(shown, over=backing))
            assert np.abs(centre(image, box) - levels(look.lab, demo_palette, shown)).max() <= 1


def known(palette: Palette, answer: Answer) -> dict[str, Array]:
    over = answer.setting.over or palette.white
    return {over: answer.target.lab} | {look.over: look.lab for look in answer.target.also}


@pytest.mark.parametrize("name", NAMES)
def test_the_target_stands_first_and_against_every_recipe(
    demo_palette: Palette, answers: dict[str, Answer], name: str
) -> None:
    answer = answers[name]
    image, boxes = pixels(draw_answer(demo_palette, answer)), answer_layout(demo_palette, answer)
    backings = ["black", "white"] + ["none"] * (answer.setting.over == "none")
    labs = known(demo_palette, answer)
    for at, backing in enumerate(backings):
        first = boxes.target[at]
        assert (first is not None) == (backing in labs)
        for chips, beside in zip(boxes.recipes, boxes.beside, strict=True):
            near = beside[at]
            assert (near is not None) == (backing in labs)
            if near is not None:
                wanted = levels(labs[backing], demo_palette, answer.setting)
                assert np.abs(centre(image, near) - wanted).max() <= 1
                assert (near.right, near.top, near.bottom) == (chips[at].left, chips[at].top, chips[at].bottom)
                row = near.bottom - 5  # below a sign
                assert np.array_equal(image[row, near.right - 1], centre(image, near))
                assert np.array_equal(image[row, near.right], centre(image, chips[at]))
        if first is not None:
            wanted = levels(labs[backing], demo_palette, answer.setting)
            assert np.abs(centre(image, first) - wanted).max() <= 1


def test_where_the_target_is_not_known_the_backing_shows(demo_palette: Palette, answers: dict[str, Answer]) -> None:
    answer = answers["a mere colour, out of reach"]
    image, boxes = pixels(draw_answer(demo_palette, answer)), answer_layout(demo_palette, answer)
    (_, column), black = boxes.target, boxes.bare[0]
    assert column is not None
    bare = image[black.top + 60, column.centre[0]]
    view = answer.setting.viewing(demo_palette)
    card = colorimetry.lab(demo_palette.backings["black"], view)
    assert np.abs(bare - levels(card, demo_palette, answer.setting)).max() <= 1


def test_each_recipe_is_labelled(demo_palette: Palette, answers: dict[str, Answer]) -> None:
    for answer in answers.values():
        told = said(strip_picture.compose(gather(demo_palette, answer))[0])
        for rank, recipe in enumerate(answer.recipes, start=1):
            assert f"{rank}, {recipe.blend.base}" in told
            assert f"CIEDE2000 {recipe.delta_e:.2f}, {'met' if recipe.reached else 'not met'}" in told
            assert f"contrast {recipe.appearance.contrast_ratio:.3f}" in told
        assert answer.recipes[0].appearance.conditions.split(",")[0] in told
        assert "A screen cannot show opacity or gloss" in told
    told = said(strip_picture.compose(gather(demo_palette, answers["a sample of 1 mm"]))[0])
    assert "shown as a sample of 1 mm" in told
    assert "contrast ratios are those of the part of 2 mm" in told


@pytest.mark.parametrize("name", ["a blend", "a sample of 1 mm"])
def test_the_spectra_stand_where_the_scale_says(demo_palette: Palette, answers: dict[str, Answer], name: str) -> None:
    answer = answers[name]
    image, boxes = pixels(draw_answer(demo_palette, answer)), answer_layout(demo_palette, answer)
    plot, target = boxes.plot, answer.target.spectrum
    assert target is not None
    assert target.max() <= boxes.top
    nm = demo_palette.wavelengths
    hits = 0
    for at in range(1, nm.size - 1):
        column = round(plot.left + (nm[at] - nm[0]) / (nm[-1] - nm[0]) * plot.width)
        row = plot.bottom - target[at] / boxes.top * plot.height
        near = image[round(row) - 5 : round(row) + 6, column]
        hits += bool(np.any(np.all(np.abs(near - LINE) <= 6, axis=-1)) or np.any(near.max(axis=-1) < 90))
    assert hits == nm.size - 2


def test_a_mere_colour_has_no_curve_and_a_recipe_has(demo_palette: Palette, answers: dict[str, Answer]) -> None:
    answer = answers["a mere colour, out of reach"]
    image, boxes = pixels(draw_answer(demo_palette, answer)), answer_layout(demo_palette, answer)
    inside = image[boxes.plot.top + 6 : boxes.plot.bottom - 6, boxes.plot.left + 6 : boxes.plot.right - 6]
    assert np.any(np.all(np.abs(inside - DARK) <= 3, axis=-1))
    broad = np.all(np.abs(inside - LINE) <= 3, axis=-1)
    assert not np.any(broad[:-5] & broad[1:-4] & broad[2:-3] & broad[3:-2] & broad[4:-1])
    names = [item.words for item in strip_picture.compose(gather(demo_palette, answer))[0] if isinstance(item, Text)]
    assert "target" not in names
    assert [str(rank) for rank in range(1, len(answer.recipes) + 1)] == sorted(set(names) & set("123456789"))


def test_lines_are_told_apart_without_colour(demo_palette: Palette, answers: dict[str, Answer]) -> None:
    shown = gather(demo_palette, answers["beyond a screen, many"])
    items, boxes = strip_picture.compose(shown)
    beside = [item for item in items if isinstance(item, Patch) and item.box.left >= boxes.plot.right + 20]
    samples: dict[int, tuple[object, ...]] = {}
    for row in {item.box.centre[1] for item in beside if item.box.top >= boxes.plot.top}:
        strokes = tuple((i.box.left, i.box.right, i.box.height, i.ink) for i in beside if i.box.centre[1] == row)
        samples[row] = strokes
    assert len(shown.chips) == 13
    assert len(samples) == 10  # a mere colour has none, nor have recipes beyond the tenth
    assert "the first 10 recipes" in said(items)
    assert len(set(samples.values())) == len(samples)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_runs_out_and_no_words_meet(demo_palette: Palette, answers: dict[str, Answer], name: str) -> None:
    items, boxes = strip_picture.compose(gather(demo_palette, answers[name]))
    assert_calm(items, boxes.canvas)


def assert_calm(items: list[Item], canvas: Box) -> None:
    texts = [item for item in items if isinstance(item, Text)]
    for item in items:
        assert canvas.holds(item.box)
    for text in texts:
        assert text.box.left >= 30
        assert text.box.right <= canvas.right - 30
    for at, one in enumerate(texts):
        assert not any(one.box.meets(other.box) for other in texts[at + 1 :])


def test_a_sign_stands_on_every_colour_a_screen_cannot_show(demo_palette: Palette, answers: dict[str, Answer]) -> None:
    for name, answer in answers.items():
        items, boxes = strip_picture.compose(gather(demo_palette, answer))
        signs = [item.box for item in items if isinstance(item, NearSign)]
        assert bool(signs) == (name == "beyond a screen, many") or name == "a mere colour, out of reach"
        assert ("beyond a screen" in said(items)) == bool(signs)
        for recipe, chips in zip(answer.recipes, boxes.recipes, strict=True):
            own = chips[1] if len(chips) == 2 and not answer.setting.over else None
            if own:
                assert any(own.holds(sign) for sign in signs) != recipe.appearance.in_gamut


def test_pictures_are_tagged_and_the_same_each_time(demo_palette: Palette, answers: dict[str, Answer]) -> None:
    answer = answers["a blend"]
    first = draw_answer(demo_palette, answer)
    assert draw_answer(demo_palette, answer) == first
    reached = draw_reach(REACH, LIME)
    assert draw_reach(REACH, LIME) == reached
    for png in (first, reached):
        with Image.open(io.BytesIO(png)) as image:
            profile = ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))
            assert "sRGB" in ImageCms.getProfileDescription(profile)


def test_a_palette_that_knows_one_backing_is_drawn_too(demo_palette: Palette) -> None:
    single = replace(demo_palette, backings={"white": demo_palette.backings["white"]})
    answer = solve(single, target_from_lab([60.0, 10.0, 20.0]), setting=TWO_MM, base="clear", rules=QUICK)
    boxes = answer_layout(single, answer)
    assert [len(chips) for chips in boxes.recipes] == [1] * len(answer.recipes)
    assert "Contrast ratio" not in said(strip_picture.compose(gather(single, answer))[0])
    assert draw_answer(single, answer).startswith(b"\x89PNG")


@given(st.lists(st.floats(100.0, 500.0), min_size=1, max_size=10))
def test_property_names_are_a_line_apart_in_the_order_of_their_curves(ends: list[float]) -> None:
    box, height = Box(0, 100, 10, 500), line_height(22)
    placed = spread_out(sorted(ends), height, box)
    assert all(b - a >= height - 1 for a, b in itertools.pairwise(placed))
    assert placed[0] >= box.top
    assert placed[-1] <= box.bottom


@given(st.lists(st.floats(0.0, 30.0), min_size=1, max_size=10), st.floats(0.0, 20.0))
def test_property_names_that_are_apart_stay_at_their_curves(gaps: list[float], start: float) -> None:
    box, height = Box(0, 100, 10, 800), line_height(22)
    ends = list(100.0 + height + start + np.cumsum([height + gap for gap in gaps]) - height)
    assert max(ends) <= box.bottom - height, "the box is made to hold them all"
    assert np.abs(np.array(spread_out(ends, height, box)) - ends).max() <= 1


# Reach.

SQUARE = np.array([[40.0, 40.0], [-40.0, 40.0], [-40.0, -40.0], [40.0, -40.0]])
REACH = Reach(
    base="clear",
    setting=TWO_MM,
    lightness=np.array([30.0, 61.5, 75.0, 90.0]),
    edges=(np.zeros((0, 2)), SQUARE, 0.25 * SQUARE, SQUARE + 10.0),
    contrast_ratio_min=0.9,
)
LIME = target_from_lab([61.5, -30.0, 25.0], contrast_ratio_min=0.9)


def test_a_section_is_filled_with_its_own_colours() -> None:
    image, boxes = pixels(draw_reach(REACH, LIME)), reach_layout(REACH, LIME)
    view = colorimetry.viewing(np.arange(400.0, 701.0, 10.0))
    for a, b in ((30.0, 5.0), (-20.0, -10.0), (10.0, -30.0)):
        column, row = boxes.place(1, a, b)
        wanted = 255.0 * colorimetry.lab_to_srgb([61.5, a, b], view)[0]
        assert np.abs(image[row, column] - wanted).max() <= 4  # two pixels share a colour
    for section, (a, b) in ((0, (10.0, 5.0)), (1, (47.0, 5.0)), (2, (15.0, 5.0)), (3, (-35.0, 5.0))):
        column, row = boxes.place(section, a, b)
        assert np.array_equal(image[row, column], PAPER)
    column, row = boxes.place(2, 9.0, 5.0)
    assert not np.array_equal(image[row, column], PAPER)


def test_the_target_is_a_ring_in_its_own_section_alone() -> None:
    image, boxes = pixels(draw_reach(REACH, LIME)), reach_layout(REACH, LIME)
    plain = pixels(draw_reach(REACH))
    assert boxes.own == 1
    for section in range(4):
        column, row = boxes.place(section, -30.0, 25.0)
        near = image[row - 18 : row + 19, column - 18 : column + 19]
        ring = bool(np.any(np.all(near == WHITE, axis=-1)))
        assert ring == (section == 1)
    column, row = boxes.place(1, -30.0, 25.0)
    own = colorimetry.lab_to_srgb(LIME.lab, colorimetry.viewing(np.arange(400.0, 701.0, 10.0)))[0]
    assert np.abs(image[row, column] - 255.0 * own).max() <= 4  # its middle is open
    assert plain.shape[1] == image.shape[1]


def test_a_target_of_another_lightness_is_marked_nowhere() -> None:
    assert reach_layout(REACH, target_from_lab([65.0, 0.0, 0.0])).own is None
    assert reach_layout(REACH).own is None


@pytest.mark.parametrize("far", [30.0, 55.0, 120.0])
def test_all_that_is_drawn_lies_within_the_scale(far: float) -> None:
    target = target_from_lab([61.5, far, -far])
    boxes = reach_layout(REACH, target)
    assert max(far, 50.0) < boxes.half
    assert boxes.half % 20.0 == 0.0
    assert_calm(gamut_picture.compose(REACH, target)[0], boxes.canvas)


def test_words_of_a_reach() -> None:
    told = said(gamut_picture.compose(REACH, LIME)[0])
    assert "What clear reaches" in told
    assert "2 mm, over the lightest backing, air seat, D65, 10° observer, contrast ratio at least 0.9" in told
    assert "L* 30: no recipe" in told
    assert "L* 61.5, the target's" in told
    assert "the nearest that a screen can show is drawn" in told
