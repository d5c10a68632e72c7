"""Recipes compared on one sheet: chips and figures are those of the forward model, and it says whose it is."""

from __future__ import annotations

import io
import itertools
import re
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import words
from tint.proofs.comparison import (
    FOR_MAKER,
    Candidate,
    Comparison,
    common,
    compare,
    differences,
    figures_of,
    lines_of,
    shift_in,
)  # fmt: skip
from tint.proofs.comparison_drawn import comparison_picture, draw_comparison
from tint.proofs.picture import Box, NearSign, Text
from tint.recipes import Rules, solve
from tint.target import Target, target_from_blend, target_from_lab

WALL = Setting(thickness_mm=2.6)
LICHEN = Blend("clear", {"white": 0.25, "green": 0.05})
GREYER = Blend("clear", {"white": 0.25, "green": 0.04, "black": 0.003})
SUN = Blend("clear", {"yellow": 0.9, "white": 0.3})  # beyond sRGB in a wet seat
THIN = Blend("milky", {"green": 0.05})
BLENDS = (LICHEN, GREYER, SUN, THIN)
WANTED = target_from_lab([62.0, -25.0, 15.0], contrast_ratio_min=0.9, tolerance=2.0)


def sheet_of(palette: Palette, blends: tuple[Blend, ...] = BLENDS, **more: Any) -> Comparison:
    return compare(palette, blends, setting=more.pop("setting", WALL), target=more.pop("target", WANTED), **more)


def pixels(sheet: Comparison) -> NDArray[np.int64]:
    with Image.open(io.BytesIO(draw_comparison(sheet))) as image:
        assert "icc_profile" in image.info
        return np.asarray(image).astype(np.int64)


def centre(image: NDArray[np.int64], box: Box) -> NDArray[np.int64]:
    x, y = box.centre
    return np.asarray(image[y, x])


def levels(lab: NDArray[np.float64], palette: Palette) -> NDArray[np.float64]:
    return 255.0 * colorimetry.lab_to_srgb(lab, WALL.viewing(palette))[0]


def said(sheet: Comparison) -> str:
    return " ".join(item.words for item in comparison_picture(sheet).items if isinstance(item, Text))


# What it shows.


def test_every_chip_is_the_prediction(demo_palette: Palette) -> None:
    sheet = sheet_of(demo_palette)
    image, boxes = pixels(sheet), comparison_picture(sheet).boxes
    assert np.abs(centre(image, boxes["target"]) - levels(WANTED.lab, demo_palette)).max() <= 1
    for at, blend in enumerate(BLENDS):
        own, over = boxes[f"recipe {at}"], [boxes[f"recipe {at} over {name}"] for name in ("black", "white")]
        seen = predict(demo_palette, blend, setting=WALL)
        assert np.abs(centre(image, own) - 255.0 * colorimetry.hex_to_srgb(seen.srgb)).max() <= 1
        for box, lab in zip(over, (seen.lab_black, seen.lab_white), strict=True):
            assert np.abs(centre(image, box) - levels(lab, demo_palette)).max() <= 1


def test_the_target_touches_every_recipe(demo_palette: Palette) -> None:
    sheet = sheet_of(demo_palette)
    image, boxes = pixels(sheet), comparison_picture(sheet).boxes
    for own in (boxes[f"recipe {at}"] for at in range(len(BLENDS))):
        assert own.left == boxes["target"].right
        assert boxes["target"].top <= own.top < own.bottom <= boxes["target"].bottom
        row = image[own.centre[1], own.left - 20 : own.left + 20]
        assert len(np.unique(row, axis=0)) == 2  # no line between the two


def test_figures_are_those_of_the_forward_model(demo_palette: Palette) -> None:
    sheet = sheet_of(demo_palette)
    for blend, each in zip(BLENDS, sheet.candidates, strict=True):
        seen = predict(demo_palette, blend, setting=WALL)
        told = {meaning: figure for figure, meaning in figures_of(each)}
        miss = float(colorimetry.difference(WANTED.lab, seen.lab))
        within = "within" if miss <= 2.0 else "beyond"
        assert told[f"CIEDE2000 from the target, {within} 2"] == f"{miss:.2f}"
        assert told["CIEDE2000 expected error, 95 in 100"] == f"± {seen.expected_error:.1f}"
        (ratio,) = (figure for meaning, figure in told.items() if meaning.startswith("contrast ratio"))
        assert ratio == f"{seen.contrast_ratio:.3f}"
        low, error = 0.9 - seen.contrast_ratio, f"± {seen.contrast_ratio_error:.3f}"
        assert f"contrast ratio {error}, {f'{low:.2g} too low' if low > 0.0 else 'as asked'}" in told
        prices = {name: demo_palette.pigments[name].price or 0.0 for name in blend.loadings}
        base = demo_palette.bases[blend.base].price or 0.0
        price = base * (1.0 - blend.total / 100.0)
        price += sum(prices[name] * loading / 100.0 for name, loading in blend.loadings.items())
        assert each.price_per_kg == pytest.approx(price)


def test_light_that_passes_is_told_in_percent_where_it_was_asked_for(demo_palette: Palette) -> None:
    through = 100.0 * predict(demo_palette, LICHEN, setting=WALL).luminous_transmittance
    asked = replace(WANTED, contrast_ratio_min=None, transmittance_min=through / 100.0 + 0.1)
    told = {meaning: figure for figure, meaning in figures_of(sheet_of(demo_palette, target=asked).candidates[0])}
    assert told["transmittance, 10 % too low"] == f"{through:.3g} %"


def test_reference_price_and_difference_are_the_solver_s(demo_palette: Palette) -> None:
    target = target_from_lab([60.0, 10.0, 20.0])
    answer = solve(demo_palette, target, setting=WALL, rules=Rules(most_recipes=3))
    sheet = sheet_of(demo_palette, tuple(each.blend for each in answer.recipes), target=target)
    for each, recipe in zip(sheet.candidates, answer.recipes, strict=True):
        assert each.delta_e == pytest.approx(recipe.delta_e, abs=1e-6)
        assert each.price_per_kg == pytest.approx(recipe.price_per_kg)


def test_a_shift_is_from_the_target_where_its_spectrum_is_known(demo_palette: Palette) -> None:
    measured = target_from_blend(demo_palette, LICHEN, setting=WALL)
    same, other = sheet_of(demo_palette, (LICHEN, GREYER), target=measured).candidates
    assert [shift_in(light) for light in same.lights] == pytest.approx([0.0] * 3, abs=1e-9)
    for light in other.lights:
        there = replace(WALL, light=light.light)
        pair = [predict(demo_palette, blend, setting=there).lab for blend in (LICHEN, GREYER)]
        assert shift_in(light) == pytest.approx(float(colorimetry.difference(*pair)), abs=1e-6)
    plain = sheet_of(demo_palette, (LICHEN, GREYER), target=target_from_lab(measured.lab)).candidates[0]
    assert min(shift_in(light) for light in plain.lights) > 0.1  # now from how it looks by day itself
    assert "target's spectrum is not known" in said(sheet_of(demo_palette))
    assert "from the target in that light" in said(sheet_of(demo_palette, target=measured))


def test_a_target_of_another_thickness_is_compared_on_its_own(demo_palette: Palette) -> None:
    sheet = sheet_of(demo_palette, target=replace(WANTED, thickness_mm=1.0))
    for blend, each in zip(BLENDS, sheet.candidates, strict=True):
        thin = predict(demo_palette, blend, setting=replace(WALL, thickness_mm=1.0))
        assert each.delta_e == pytest.approx(float(colorimetry.difference(WANTED.lab, thin.lab)))
        assert each.look.setting.thickness_mm == 2.6
    assert "Colours are compared on 1 mm, the target's own" in said(sheet)


def test_it_says_that_it_is_not_for_the_customer(demo_palette: Palette) -> None:
    told = said(sheet_of(demo_palette))
    assert told.startswith(FOR_MAKER)
    assert "green 0.05 %" in told
    assert words.SCREEN_LINE in told
    assert predict(demo_palette, LICHEN, setting=WALL).conditions in told


# What stands out.


def test_what_stands_out_is_told_and_ties_are_not(demo_palette: Palette) -> None:
    sheet = sheet_of(demo_palette)
    told = differences(sheet.candidates)
    looks = [each.look for each in sheet.candidates]
    most = int(np.argmax([look.contrast_ratio for look in looks]))
    assert [at for at, each in enumerate(told) if "the most opaque" in each] == [most]
    assert [at for at, each in enumerate(told) if "the fewest pigments" in each] == [3]
    assert "the only one with black" in told[1]
    assert "the only one with yellow" in told[2]
    assert "the only one without green" in told[2]
    assert "the only one without white" in told[3]
    twins = differences(sheet_of(demo_palette, (LICHEN, LICHEN)).candidates)
    assert twins == [[], []]


@pytest.mark.parametrize(
    ("blends", "told"),
    [
        ((LICHEN, GREYER), "All are in clear and have white and green."),
        ((LICHEN, THIN), "All have green."),
        ((SUN, THIN), ""),
        ((Blend("clear", {}), LICHEN), "All are in clear."),
    ],
)
def test_what_all_share(demo_palette: Palette, blends: tuple[Blend, ...], told: str) -> None:
    assert common(sheet_of(demo_palette, blends).candidates) == told


def test_limits_prices_and_doubts_are_told(demo_palette: Palette) -> None:
    free = demo_palette.pigments | {"black": replace(demo_palette.pigments["black"], price=None)}
    sheet = sheet_of(
        replace(demo_palette, pigments=free), limits=[["the largest total loading"], [], [], []], ranks=[1, 3, 4, 7]
    )
    assert lines_of(sheet.candidates[0], [])[0] == "At a limit: the largest total loading."
    assert "no price" in lines_of(sheet.candidates[1], [])[-1]
    paid = replace(demo_palette, workshop=replace(demo_palette.workshop, currency="EUR"))
    first = sheet_of(paid).candidates[0]
    assert f"costs {first.price_per_kg:.2f} EUR per kg of mix" in lines_of(first, [])[-1]
    assert [each.name for each in sheet.candidates] == ["1, clear", "3, clear", "4, clear", "7, milky"]
    for each in sheet.candidates:
        for warning in each.look.warnings:
            assert any(note.startswith("Take care") and warning in note for note in sheet.notes)


@pytest.mark.parametrize("count", [1, 7])
def test_too_few_and_too_many_are_refused(demo_palette: Palette, count: int) -> None:
    with pytest.raises(InputError, match=f"comparison: {count} recipes; expected 2 to 6; pick some"):
        sheet_of(demo_palette, (LICHEN,) * count)


# How it is laid out.


LONG = "Ein überlanger Titel für Deckel und Füße, " * 4 + "ohne_Ende_" * 20


@pytest.mark.parametrize("target", [WANTED, None])
@pytest.mark.parametrize("count", [2, 6])
def test_nothing_runs_out_and_no_words_meet(demo_palette: Palette, target: Target | None, count: int) -> None:
    many = tuple(itertools.islice(itertools.cycle(BLENDS), count))
    full = Blend("milky", dict.fromkeys(("white", "yellow", "ochre", "red", "blue", "green", "black"), 0.2003))
    sheet = sheet_of(demo_palette, (*many[:-1], full), target=target, setting=replace(WALL, seat="wet"), title=LONG)
    layout = comparison_picture(sheet)
    items = layout.items
    lines = [item for item in items if isinstance(item, Text)]
    assert all(layout.canvas.holds(item.box) for item in items)
    for at, line in enumerate(lines):
        assert not [other.words for other in lines[:at] if line.box.meets(other.box)]
    chips = [box for name, box in layout.boxes.items() if name.startswith("recipe")]
    assert not [line.words for line in lines for chip in chips if line.box.meets(chip)]
    assert min(line.size for line in lines) >= 23  # 1080 across: 8 px and more on a phone


def test_what_is_beyond_a_screen_bears_a_sign(demo_palette: Palette) -> None:
    wet = sheet_of(demo_palette, setting=replace(WALL, seat="wet"))
    signs = [item.box for item in comparison_picture(wet).items if isinstance(item, NearSign)]
    boxes = comparison_picture(wet).boxes
    assert not wet.candidates[2].own.exact
    assert any(boxes["recipe 2"].holds(sign) for sign in signs)
    assert words.NEAREST_LINE in said(wet)
    dull = sheet_of(demo_palette, (LICHEN, GREYER))
    assert words.NEAREST_LINE not in said(dull)


def test_a_palette_with_one_backing_says_that_opacity_is_not_known(demo_palette: Palette) -> None:
    lone = replace(demo_palette, backings={"white": demo_palette.backings["white"]})
    sheet = sheet_of(lone, target=replace(WANTED, contrast_ratio_min=None))
    assert "opacity not known: one backing" in said(sheet)
    assert "nan" not in said(sheet)
    assert {name for name in comparison_picture(sheet).boxes if " over " in name} == {
        f"recipe {at} over white" for at in range(len(BLENDS))
    }


# Page and PDF.


def shown_words(page: str) -> str:
    page = re.sub(r"<(style|script)\b.*?</\1>", " ", page, flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]*>", " ", page).split())


def test_the_page_says_the_same_and_needs_nothing_else(demo_palette: Palette) -> None:
    pytest.importorskip("jinja2")
    pytest.importorskip("font_source_serif_pro")
    from tint.proofs.comparison_drawn import comparison_page

    sheet = sheet_of(demo_palette, title="<script>alert(1)</script> Víčko")
    page = comparison_page(sheet).decode("utf-8")
    told = shown_words(page)
    assert told.count(FOR_MAKER) == 1
    assert "<script" not in page
    assert "Víčko" in told
    for each, differs in zip(sheet.candidates, differences(sheet.candidates), strict=True):
        for figure, meaning in figures_of(each):
            assert f"{figure} {meaning}" in told
        for line in lines_of(each, differs):
            assert line in told
        seen = each.look
        assert f"recipe {each.name}, over white, {seen.srgb}" in page
    assert re.findall(r"https?://|@import|<link|<iframe", re.sub(r"data:[^\"')]*", "", page)) == []


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_pdf_is_one_page_with_every_figure(demo_palette: Palette, paper: str) -> None:
    pypdf: Any = pytest.importorskip("pypdf")
    pytest.importorskip("fpdf")
    pytest.importorskip("font_source_serif_pro")
    from tint.proofs.comparison_drawn import comparison_pdf

    sheet = sheet_of(demo_palette, (*BLENDS, *BLENDS[:2]), limits=[["a limit"] * 3] * 6)
    made = date(2026, 3, 2)
    pdf = comparison_pdf(sheet, made=made, paper=paper)
    assert pdf == comparison_pdf(sheet, made=made, paper=paper)
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    assert len(pages) == 1
    told = " ".join(pages[0].extract_text().split())
    assert FOR_MAKER in told
    for each in sheet.candidates:
        assert each.name in told
        for figure, _ in figures_of(each):
            assert figure in told
    heights: list[float] = []
    pages[0].extract_text(visitor_text=lambda _w, _p, matrix, *_: heights.append(float(matrix[5])))
    assert min(height for height in heights if height) > 20.0


def test_candidates_order_pigments_by_amount(demo_palette: Palette) -> None:
    first: Candidate = sheet_of(demo_palette).candidates[1]
    assert [name for name, _ in first.doses] == ["white", "green", "black"]
