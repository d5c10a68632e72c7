"""The pictures of an answer and of a reach: their pixels say what was predicted, and nothing runs out of its place."""

from __future__ import annotations

import functools
import io
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageCms

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import draw_answer, draw_reach
from tint.proofs.diagrams import half_of, own_section, reach_picture
from tint.proofs.picture import DARK, LINE, PAPER, WHITE, Box, Item, NearSign, Picture, Text, paint
from tint.proofs.strip import answer_picture
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


pictured = functools.cache(answer_picture)  # laid out once for all tests that look at it


@functools.cache
def drawn(palette: Palette, answer: Answer) -> tuple[NDArray[np.int64], dict[str, Box]]:
    """A picture of an answer as `draw_answer` paints it, and where its things stand."""
    picture = pictured(palette, answer)
    return pixels(paint(picture)), picture.boxes


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
    image, boxes = drawn(demo_palette, answer)
    backings = ["black", "white"] + ["none"] * (answer.setting.over == "none")
    shown = replace(answer.setting, thickness_mm=answer.target.thickness_mm or answer.setting.thickness_mm)
    for rank, recipe in enumerate(answer.recipes, start=1):
        for backing in backings:
            box = boxes[f"{rank} over {backing}"]
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
    image, boxes = drawn(demo_palette, answer)
    backings = ["black", "white"] + ["none"] * (answer.setting.over == "none")
    labs = known(demo_palette, answer)
    ranks = range(1, len(answer.recipes) + 1)
    for backing in backings:
        assert (f"target over {backing}" in boxes) == (backing in labs)
        assert [f"target beside {rank} over {backing}" in boxes for rank in ranks] == [backing in labs] * len(ranks)
    for backing, lab in labs.items():
        wanted = levels(lab, demo_palette, answer.setting)
        assert np.abs(centre(image, boxes[f"target over {backing}"]) - wanted).max() <= 1
        for rank in ranks:
            near, own = boxes[f"target beside {rank} over {backing}"], boxes[f"{rank} over {backing}"]
            assert np.abs(centre(image, near) - wanted).max() <= 1
            assert (near.right, near.top, near.bottom) == (own.left, own.top, own.bottom)
            row = near.bottom - 5  # below a sign
            assert np.array_equal(image[row, near.right - 1], centre(image, near))
            assert np.array_equal(image[row, near.right], centre(image, own))


def test_where_the_target_is_not_known_the_backing_shows(demo_palette: Palette, answers: dict[str, Answer]) -> None:
    answer = answers["a mere colour, out of reach"]
    image, boxes = drawn(demo_palette, answer)
    column, black = boxes["target over white"], boxes["bare black"]
    bare = image[black.top + 60, column.centre[0]]
    view = answer.setting.viewing(demo_palette)
    card = colorimetry.lab(demo_palette.backings["black"], view)
    assert np.abs(bare - levels(card, demo_palette, answer.setting)).max() <= 1


def test_each_recipe_is_labelled(demo_palette: Palette, answers: dict[str, Answer]) -> None:
    for answer in answers.values():
        told = said(pictured(demo_palette, answer).items)
        for rank, recipe in enumerate(answer.recipes, start=1):
            assert f"{rank}, {recipe.blend.base}" in told
            assert f"CIEDE2000 {recipe.delta_e:.2f}, {'met' if recipe.reached else 'not met'}" in told
            assert f"contrast {recipe.appearance.contrast_ratio:.3f}" in told
        assert answer.recipes[0].appearance.conditions.split(",")[0] in told
        assert "A screen cannot show opacity or gloss" in told
    told = said(pictured(demo_palette, answers["a sample of 1 mm"]).items)
    assert "shown as a sample of 1 mm" in told
    assert "contrast ratios are those of the part of 2 mm" in told


@pytest.mark.parametrize("name", ["a blend", "a sample of 1 mm"])
def test_the_spectra_stand_where_the_scale_says(demo_palette: Palette, answers: dict[str, Answer], name: str) -> None:
    answer = answers[name]
    image, boxes = drawn(demo_palette, answer)
    plot, target = boxes["plot"], answer.target.spectrum
    assert target is not None
    compared = replace(answer.setting, thickness_mm=answer.target.thickness_mm or answer.setting.thickness_mm)
    curves = [target, *(predict(demo_palette, each.blend, setting=compared).reflectance for each in answer.recipes)]
    top = 1.05 * np.max(curves) - 0.05 * np.min(curves)  # matplotlib leaves a twentieth free
    nm = demo_palette.wavelengths
    hits = 0
    for at in range(1, nm.size - 1):
        column = round(plot.left + (nm[at] - nm[0]) / (nm[-1] - nm[0]) * plot.width)
        row = plot.bottom - target[at] / top * plot.height
        near = image[round(row) - 5 : round(row) + 6, column]
        hits += bool(np.any(np.all(np.abs(near - LINE) <= 6, axis=-1)) or np.any(near.max(axis=-1) < 90))
    assert hits == nm.size - 2


def test_a_mere_colour_has_no_curve_and_a_recipe_has(demo_palette: Palette, answers: dict[str, Answer]) -> None:
    answer = answers["a mere colour, out of reach"]
    image, boxes = drawn(demo_palette, answer)
    plot = boxes["plot"]
    inside = image[plot.top + 6 : plot.bottom - 6, plot.left + 6 : plot.right - 6]
    assert np.any(np.all(np.abs(inside - DARK) <= 3, axis=-1))
    broad = np.all(np.abs(inside - LINE) <= 3, axis=-1)
    assert not np.any(broad[:-5] & broad[1:-4] & broad[2:-3] & broad[3:-2] & broad[4:-1])
    assert len(legend(image, plot)) == len(answer.recipes)


def legend(image: NDArray[np.int64], plot: Box) -> list[bytes]:
    """The samples of lines beside a plot, each as its middle row of pixels."""
    beside = image[plot.top : plot.bottom, plot.right + 20 : plot.right + 110]
    rows = np.flatnonzero(np.any(np.abs(beside - PAPER).max(axis=-1) > 20, axis=1))
    return [beside[each[each.size // 2]].tobytes() for each in np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1)]


def test_lines_are_told_apart_without_colour(demo_palette: Palette, answers: dict[str, Answer]) -> None:
    picture = pictured(demo_palette, answers["beyond a screen, many"])
    samples = legend(pixels(paint(picture)), picture.boxes["plot"])
    assert len(answers["beyond a screen, many"].recipes) == 12
    assert len(samples) == 10  # a mere colour has none, nor have recipes beyond the tenth
    assert "the first 10 recipes" in said(picture.items)
    assert len(set(samples)) == len(samples)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_runs_out_and_no_words_meet(demo_palette: Palette, answers: dict[str, Answer], name: str) -> None:
    assert_calm(pictured(demo_palette, answers[name]))


def assert_calm(picture: Picture) -> None:
    texts = [item for item in picture.items if isinstance(item, Text)]
    for item in picture.items:
        assert picture.canvas.holds(item.box)
    for text in texts:
        assert text.box.left >= 30
        assert text.box.right <= picture.canvas.right - 30
    for at, one in enumerate(texts):
        assert not any(one.box.meets(other.box) for other in texts[at + 1 :])


def test_a_sign_stands_on_every_colour_a_screen_cannot_show(demo_palette: Palette, answers: dict[str, Answer]) -> None:
    for name, answer in answers.items():
        picture = pictured(demo_palette, answer)
        signs = [item.box for item in picture.items if isinstance(item, NearSign)]
        assert bool(signs) == (name == "beyond a screen, many") or name == "a mere colour, out of reach"
        assert ("beyond a screen" in said(picture.items)) == bool(signs)
        over_white = [] if answer.setting.over else list(enumerate(answer.recipes, start=1))
        for rank, recipe in over_white:
            own = picture.boxes[f"{rank} over white"]
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
    picture = answer_picture(single, answer)
    assert [name for name in picture.boxes if name[0].isdigit()] == [
        f"{rank} over white" for rank in range(1, len(answer.recipes) + 1)
    ]
    assert "Contrast ratio" not in said(picture.items)
    assert draw_answer(single, answer).startswith(b"\x89PNG")


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


def place(boxes: dict[str, Box], section: int, a: float, b: float) -> tuple[int, int]:
    """The pixel of a colour in a section: column, row."""
    box, half = boxes[f"section {section}"], half_of(REACH, LIME)
    across, up = (a + half) / (2.0 * half), (b + half) / (2.0 * half)
    return int(box.left + across * box.width), int(box.bottom - up * box.height)


def test_a_section_is_filled_with_its_own_colours() -> None:
    image, boxes = pixels(draw_reach(REACH, LIME)), reach_picture(REACH, LIME).boxes
    view = colorimetry.viewing(np.arange(400.0, 701.0, 10.0))
    for a, b in ((30.0, 5.0), (-20.0, -10.0), (10.0, -30.0)):
        column, row = place(boxes, 1, a, b)
        wanted = 255.0 * colorimetry.lab_to_srgb([61.5, a, b], view)[0]
        assert np.abs(image[row, column] - wanted).max() <= 4  # two pixels share a colour
    for section, (a, b) in ((0, (10.0, 5.0)), (1, (47.0, 5.0)), (2, (15.0, 5.0)), (3, (-35.0, 5.0))):
        column, row = place(boxes, section, a, b)
        assert np.array_equal(image[row, column], PAPER)
    column, row = place(boxes, 2, 9.0, 5.0)
    assert not np.array_equal(image[row, column], PAPER)


def test_the_target_is_a_ring_in_its_own_section_alone() -> None:
    image, boxes = pixels(draw_reach(REACH, LIME)), reach_picture(REACH, LIME).boxes
    plain = pixels(draw_reach(REACH))
    assert own_section(REACH, LIME) == 1
    for section in range(4):
        column, row = place(boxes, section, -30.0, 25.0)
        near = image[row - 18 : row + 19, column - 18 : column + 19]
        ring = bool(np.any(np.all(near == WHITE, axis=-1)))
        assert ring == (section == 1)
    column, row = place(boxes, 1, -30.0, 25.0)
    own = colorimetry.lab_to_srgb(LIME.lab, colorimetry.viewing(np.arange(400.0, 701.0, 10.0)))[0]
    assert np.abs(image[row, column] - 255.0 * own).max() <= 4  # its middle is open
    assert plain.shape[1] == image.shape[1]


def test_a_target_of_another_lightness_is_marked_nowhere() -> None:
    assert own_section(REACH, target_from_lab([65.0, 0.0, 0.0])) is None
    assert own_section(REACH, None) is None


@pytest.mark.parametrize("far", [30.0, 55.0, 120.0])
def test_all_that_is_drawn_lies_within_the_scale(far: float) -> None:
    target = target_from_lab([61.5, far, -far])
    half = half_of(REACH, target)
    assert max(far, 50.0) < half
    assert half % 20.0 == 0.0
    assert_calm(reach_picture(REACH, target))


def test_words_of_a_reach() -> None:
    told = said(reach_picture(REACH, LIME).items)
    assert "What clear reaches" in told
    assert "2 mm, over the lightest backing, air seat, D65, 10° observer, contrast ratio at least 0.9" in told
    assert "the nearest that a screen can show is drawn" in told
