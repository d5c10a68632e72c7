"""The approval sheet: it says what was predicted, betrays no formula, needs no network, and is one page of paper."""

from __future__ import annotations

import io
import json
import re
import sys
from dataclasses import replace
from datetime import date
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from tint import colorimetry, thickness
from tint.appearance import Setting, predict
from tint.cli import main
from tint.errors import InputError, JobError
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import words
from tint.proofs.approval import SCREEN, Approval, Asked, approval, in_words, pencil_difference
from tint.proofs.part import part_of
from tint.proofs.part_picture import Shown
from tint.proofs.passing import judged, limits_of
from tint.proofs.portrait import View, view_of
from tint.proofs.samples import LIGHTS
from tint.target import Target, target_from_blend, target_from_lab

pytest.importorskip("jinja2", reason="the page is drawn with jinja2")
pytest.importorskip("font_source_serif_pro", reason="the sheet is set in it")

from tint.proofs.approval_page import approval_page, slider_backings, slider_thicknesses

LID = Blend("clear", {"white": 0.25, "green": 0.0517})
SUN = Blend("clear", {"yellow": 0.9})
RECKLESS = Blend("milky", {"yellow": 1.37, "blue": 0.61})
WALL = Setting(thickness_mm=2.6)
ASKED = Asked(
    name="Lichen", words="Like the moss on the north wall, but greyer.", who="Ada Marsh", made=date(2026, 3, 2),
    expiry=date(2027, 3, 2),
)  # fmt: skip
HOSTILE = "</script><script>alert('x')</script> & \"quotes\" “ß, ø, Ж” "


def slab(*sides: float) -> Shown:
    trimesh: Any = pytest.importorskip("trimesh")
    part = part_of(np.asarray(trimesh.creation.box(sides).triangles))
    return Shown(view=view_of(part, pixels=200), named="Slab from the top", volume_cm3=part.volume_cm3)


def target_for(palette: Palette) -> Target:
    blend = Blend("clear", {"white": 0.3, "green": 0.05, "ochre": 0.02})
    return target_from_blend(palette, blend, setting=WALL, tolerance=2.0)


def sheet_of(palette: Palette, blend: Blend = LID, asked: Asked = ASKED, **more: Any) -> Approval:
    return approval(palette, blend, setting=more.pop("setting", WALL), asked=asked, **more)


def page_of(palette: Palette, blend: Blend = LID, asked: Asked = ASKED, **more: Any) -> str:
    return approval_page(sheet_of(palette, blend, asked, **more)).decode("utf-8")


def shown_words(page: str) -> str:
    """What a reader sees: no style, no script, no data, no tags."""
    page = re.sub(r"<(style|script)\b.*?</\1>", " ", page, flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]*>", " ", page).split())


def data_of(page: str) -> dict[str, Any]:
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', page, flags=re.DOTALL)
    assert found is not None
    data: dict[str, Any] = json.loads(found.group(1))
    return data


# What it says.


def test_the_sheet_says_what_was_asked_and_what_is_promised(demo_palette: Palette) -> None:
    target = target_for(demo_palette)
    seen = predict(demo_palette, LID, setting=WALL)
    told = shown_words(page_of(demo_palette, target=target))
    miss = float(colorimetry.difference(target.lab, seen.lab))
    for line in (
        "“Like the moss on the north wall, but greyer.”",
        "Lichen",
        "2 March 2026, holds until 2 March 2027",
        f"L* {seen.lab[0]:.1f}",
        f"{miss:.1f} ({words.DELTA_E}): {words.difference_in_words(miss)}",
        "measured with gloss included, lying on white card, Daylight (D65)",
        "In the terms of the trade: CIELAB, D65, 10° observer, di:8, air seat, 2.6 mm; "
        f"contrast ratio {seen.contrast_ratio:.2f}, how bright it is over black divided by over white.",
        f"{seen.expected_error:.1f} (CIEDE2000): 95 of 100 cured parts",
        "2 (CIEDE2000)",  # the tolerance
        "Ada Marsh",
        SCREEN,
        "I have held a cured swatch of Lichen, which misses what was asked as the first lines say, and accept it; "
        "parts within 2 CIEDE2000 of it pass.",
        f"At 2.6 mm this recipe misses what was asked: the colour is {miss:.1f} CIEDE2000 away, and 2 was agreed",
        "Signature",
    ):
        assert line in told


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"geometry": "de:8"}, "measured without gloss, lying on white card"),
        ({"seat": "wet", "over": "black"}, "stuck to black card"),
        ({"over": "none"}, "with nothing behind it"),
    ],
)
def test_how_it_was_measured_is_told_in_words_and_only_the_small_print_has_terms(
    demo_palette: Palette, change: dict[str, Any], told: str
) -> None:
    sheet = sheet_of(demo_palette, setting=replace(WALL, **change))
    meant = " ".join(meaning for _, meaning in sheet.terms)
    assert told in meant
    assert not re.search(r"d[ie]:8|\b(air|wet) seat|observer", meant)
    assert sheet.measured in sheet.beyond
    page = shown_words(approval_page(sheet).decode("utf-8"))
    assert page.count("the usual measure of how far apart two colours look") == 1
    assert page.index("CIEDE2000") == page.index(words.DELTA_E)  # explained where it first stands


@pytest.mark.parametrize("show", [False, True])
def test_the_formula_is_told_only_when_asked(demo_palette: Palette, show: bool) -> None:
    page = page_of(demo_palette, asked=replace(ASKED, show_formula=show), target=target_for(demo_palette))
    assert ("green 0.0517 %" in shown_words(page)) == show
    assert ("0.0517" in page) == show
    assert ("ochre" in page) is False  # nor that of the target


def test_warnings_are_told_without_betraying_the_formula(demo_palette: Palette) -> None:
    page = page_of(demo_palette, RECKLESS, setting=replace(WALL, thickness_mm=11.5))
    assert "Take care: the recipe goes beyond the swatches" in shown_words(page)
    assert "Take care: 11.5 mm is outside" in shown_words(page)
    assert "blue" not in page
    assert "1.37" not in page


@pytest.mark.parametrize(
    ("loadings", "told"),
    [
        ({"white": 0.5, "black": 0.1}, "cannot be seen at 2.6 mm"),
        ({"white": 0.1}, "shows plainly at 2.6 mm"),
        ({"white": 1.0}, "just shows at 2.6 mm"),
    ],
)
def test_opacity_is_told_as_somebody_would_try_it(demo_palette: Palette, loadings: dict[str, float], told: str) -> None:
    blend = Blend("clear", loadings)
    page = shown_words(page_of(demo_palette, blend))
    assert f"A pencil line under it {told}" in page
    hides = thickness.hiding_thickness(demo_palette, blend, setting=WALL)
    assert hides is not None
    assert f"It hides black print from {hides:.2g} mm on." in page


def test_a_pencil_line_fades_with_thickness_and_never_shows_more_than_black(demo_palette: Palette) -> None:
    lines = [pencil_difference(demo_palette, LID, setting=replace(WALL, thickness_mm=d)) for d in (0.3, 1.0, 3.0, 9.0)]
    assert lines == sorted(lines, reverse=True)
    for depth, line in zip((0.3, 1.0, 3.0, 9.0), lines, strict=True):
        seen = predict(demo_palette, LID, setting=replace(WALL, thickness_mm=depth))
        assert line < float(colorimetry.difference(seen.lab_black, seen.lab_white))


def test_a_palette_with_one_backing_says_that_opacity_is_not_known(demo_palette: Palette) -> None:
    lone = replace(demo_palette, backings={"white": demo_palette.backings["white"]})
    told = shown_words(page_of(lone))
    assert "How well it hides is not known" in told
    assert "pencil" not in told


def test_the_part_s_thickness_and_volume_are_told(demo_palette: Palette) -> None:
    told = shown_words(page_of(demo_palette, shown=slab(40.0, 30.0, 3.0)))
    assert "shows walls of 3 to 3 mm, median 3 mm" in told
    assert "takes 3.6 cm³" in told


def test_what_is_beyond_a_screen_is_marked(demo_palette: Palette) -> None:
    beyond, within = page_of(demo_palette, SUN), page_of(demo_palette, Blend("clear", {"white": 1.0, "ochre": 0.2}))
    assert words.NEAREST_LINE in shown_words(beyond)
    assert 'class="chip near"' in beyond
    assert words.NEAREST_LINE not in shown_words(within)
    assert 'class="chip near"' not in within


def test_days_are_the_same_in_every_locale() -> None:
    assert in_words(date(2026, 12, 1)) == "1 December 2026"


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"words": "x" * 401}, "the customer's words: 401 letters; expected at most 400; shorten it"),
        ({"name": "x" * 61}, "name: 61 letters; expected at most 60"),
        ({"expiry": date(2026, 3, 2)}, "expiry: 2026-03-02; expected a day after 2026-03-02"),
        ({"tolerance": 0.0}, "tolerance: 0; expected more than 0"),
    ],
)
def test_what_cannot_stand_on_a_sheet_is_refused(change: dict[str, Any], told: str) -> None:
    with pytest.raises(InputError, match=told):
        replace(ASKED, **change)


# What fails does not pass.


def wedge(least: float, most: float) -> Shown:
    """A part that thickens evenly along one side, so that shares of it can be told beforehand."""
    thickness = np.broadcast_to(np.linspace(least, most, 400), (120, 400)).copy()
    normals = np.zeros((120, 400, 3))
    normals[..., 2] = 1.0
    return Shown(view=View(thickness, thickness, normals, 0.1), named="Wedge", volume_cm3=1.0, finer=1)


MISSES_IN_PART = (
    r"^\d+\W% of the part that is seen here misses what was asked, inside the dashes: the contrast",
    r"too low where it is [\d.]+ mm or thinner\.",
    r"Walls of [\d.]+ mm or more would meet it\.",
)


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.0, (r"All of the part that is seen here meets what was asked\.$",)),
        (0.1, MISSES_IN_PART),
        (0.6, MISSES_IN_PART),
        (1.0, (r"^All of the part that is seen here misses what was asked: the contrast ratio is too low everywhere",)),
    ],
)
def test_the_first_lines_say_how_much_of_a_part_misses_and_where(
    demo_palette: Palette, share: float, said: tuple[str, ...]
) -> None:
    hides = thickness.hiding_thickness(demo_palette, LID, setting=WALL, contrast_ratio=0.98)
    assert hides is not None
    edge = 3.0 * share
    least = hides - (edge if share < 1.0 else 4.0) + (0.05 if share == 0.0 else 0.0)
    setting = replace(WALL, thickness_mm=least + 3.0)
    seen = predict(demo_palette, LID, setting=setting)
    target = Target(lab=seen.lab, tolerance=8.0, contrast_ratio_min=0.98)
    sheet = sheet_of(demo_palette, setting=setting, target=target, shown=wedge(least, least + 3.0))
    assert sheet.verdict.missed_share == pytest.approx(share, abs=0.01)
    told = shown_words(approval_page(sheet).decode("utf-8"))
    assert told.index(" ".join(sheet.verdict.lines[1].split())) < told.index("You asked for")
    lines = " ".join(sheet.verdict.lines)
    assert [each for each in said if not re.search(each, lines)] == []
    assert sheet.verdict.passes == (share == 0.0)
    assert ("which misses what was asked" in sheet.promise) == (share > 0.0)


def test_where_a_part_misses_is_told_by_what_it_has_and_not_by_what_it_would_need(demo_palette: Palette) -> None:
    seen = predict(demo_palette, LID, setting=WALL)
    target = Target(lab=seen.lab, tolerance=2.0)
    part = np.concatenate((np.linspace(0.2, 0.4, 10), np.full(90, WALL.thickness_mm)))
    verdict = judged(demo_palette, seen, target=target, tolerance=2.0, part_mm=part)
    assert verdict.lines[0].endswith("the colour is too far where it is 0.4 mm or thinner.")
    few = np.concatenate((part[:1], np.full(999, WALL.thickness_mm)))
    verdict = judged(demo_palette, seen, target=None, tolerance=2.0, part_mm=few)
    assert verdict.lines == ("Nearly all of the part that is seen here meets the colour agreed on.",)


def test_more_pigment_is_proposed_only_where_it_was_found_to_help(demo_palette: Palette) -> None:
    seen = predict(demo_palette, LID, setting=WALL)
    target = Target(lab=seen.lab, tolerance=10.0, contrast_ratio_min=0.98)
    told = " ".join(sheet_of(demo_palette, target=target).verdict.lines)
    found = re.search(r"With ([\d.]+) times the pigment nothing would miss it", told)
    assert found is not None
    more = Blend(LID.base, {name: float(found[1]) * dose for name, dose in LID.loadings.items()})
    again = predict(demo_palette, more, setting=WALL)
    assert again.contrast_ratio >= 0.97
    assert float(colorimetry.difference(seen.lab, again.lab)) <= 10.5
    nowhere = Target(lab=np.array([50.0, 60.0, -40.0]), contrast_ratio_min=0.98)
    told = " ".join(sheet_of(demo_palette, target=nowhere).verdict.lines)
    assert "No wall of this mix would meet it." in told
    assert "A recipe of its own would have to be made for a wall of 2.6 mm." in told


def test_every_limit_sample_meets_colour_and_opacity(demo_palette: Palette) -> None:
    setting = replace(WALL, thickness_mm=5.0)
    seen = predict(demo_palette, LID, setting=setting)
    near = seen.lab + np.array([0.5, 0.3, 0.0])
    target = Target(lab=near, tolerance=1.5, contrast_ratio_min=seen.contrast_ratio - 0.02)
    limits = {limit.name: limit for limit in limits_of(demo_palette, seen, tolerance=1.5, target=target)}
    assert list(limits) == ["lightest", "darkest", "thinnest"]
    for limit in limits.values():
        assert float(colorimetry.difference(near, limit.lab)) <= 1.5 + 1e-6
    thin = predict(demo_palette, LID, setting=replace(setting, thickness_mm=limits["thinnest"].thickness_mm))
    assert target.met(colorimetry.difference(near, thin.lab), contrast_ratio=thin.contrast_ratio)
    free = limits_of(demo_palette, seen, tolerance=1.5)[-1]
    assert limits["thinnest"].thickness_mm > free.thickness_mm  # the opacity asked for ends it sooner
    assert limits_of(demo_palette, seen, tolerance=1.5, target=replace(target, contrast_ratio_min=0.999)) == ()


@pytest.mark.parametrize(
    ("asked", "met"),
    [
        ({}, True),
        ({"contrast_ratio_min": 0.98}, False),
        ({"contrast_ratio_max": 0.98, "transmittance_min": 0.01}, True),
        ({"transmittance_min": 0.9}, False),
    ],
)
def test_card_sheet_and_recipes_mean_the_same_by_met(demo_palette: Palette, asked: dict[str, float], met: bool) -> None:
    seen = predict(demo_palette, LID, setting=WALL)
    target = target_from_lab(seen.lab, **asked)
    sheet = sheet_of(demo_palette, target=target)
    assert sheet.verdict.met == met
    said = " ".join(meaning for _, meaning in words.of_opacity(sheet.facts))
    assert ("too low" not in said) == met
    assert sheet.verdict.lines[0].startswith(f"At 2.6 mm this recipe {'meets' if met else 'misses'} what was asked")


# The page.


def test_the_page_needs_nothing_but_itself(demo_palette: Palette) -> None:
    page = page_of(demo_palette, shown=slab(40.0, 30.0, 3.0))
    # What is written in base64 may hold any letters.
    bare = re.sub(r"data:[^\"')]*|[A-Za-z0-9+/=]{200,}", "", page)
    assert re.findall(r"https?://|//[a-z]|@import|<link|<iframe", bare) == []
    sources = re.findall(r'(?:src|href)="([^"]*)"|url\(([^)]*)\)', page)
    assert len(sources) == 3  # two faces and the part
    assert all("".join(each).startswith("data:") for each in sources)


def test_hostile_words_stay_words(demo_palette: Palette) -> None:
    page = page_of(demo_palette, asked=replace(ASKED, name="<b>", words=HOSTILE, who=HOSTILE[:70]))
    assert page.count("<script") == 2
    assert "alert(&#39;x&#39;)" in page
    assert "<h1>&lt;b&gt;</h1>" in page
    data_of(page)


def test_the_page_is_the_same_for_the_same_input(demo_palette: Palette) -> None:
    assert page_of(demo_palette, target=target_for(demo_palette)) == page_of(
        demo_palette, target=target_for(demo_palette)
    )


def test_every_colour_that_a_slider_can_show_is_the_prediction(demo_palette: Palette) -> None:
    sheet = sheet_of(demo_palette, SUN)
    data = data_of(approval_page(sheet).decode("utf-8"))
    depths, overs = slider_thicknesses(WALL.thickness_mm), slider_backings(sheet)
    assert data["thicknesses"] == [f"{depth:g} mm" for depth in depths]
    assert overs == ["black", "white", "lamp"]
    for l, light in enumerate(LIGHTS):  # noqa: E741
        for t in range(0, len(depths), 9):
            setting = replace(WALL, thickness_mm=depths[t], light=light)
            for b, over in enumerate(overs[:2]):
                seen = predict(demo_palette, SUN, setting=replace(setting, over=over))
                shown = 255.0 * colorimetry.hex_to_srgb(data["colours"][l][b][t])
                assert np.abs(shown - 255.0 * colorimetry.hex_to_srgb(seen.srgb)).max() <= 1
                assert bool(data["exact"][l][b][t]) == seen.in_gamut


@pytest.mark.parametrize("own", [0.07, 0.5, 2.6, 2.55, 8.0, 40.0, 100.0])
def test_the_thickness_slider_has_round_steps_and_the_part_s_own(own: float) -> None:
    depths = slider_thicknesses(own)
    assert own in depths
    assert depths == sorted(set(depths))
    assert len(depths) <= 98
    assert depths[-1] >= 2.0 * own - 5.0


def test_the_template_is_in_the_package() -> None:
    assert resources.files("tint.proofs").joinpath("approval.html.j2").is_file()


def test_without_jinja_one_line_says_what_to_install(
    demo_palette: Palette, monkeypatch: pytest.MonkeyPatch
) -> None:  # fmt: skip
    sheet = sheet_of(demo_palette)
    monkeypatch.setitem(sys.modules, "jinja2", None)
    with pytest.raises(InputError, match=r"needs jinja2; run `pip install 'tint\[sheet\]'`"):
        approval_page(sheet)


# The PDF.


def full(palette: Palette) -> Approval:
    """As much as a sheet can hold."""
    asked = Asked(
        name="A name as long as a name on a sheet may be, sixty letters ..", words="Moss, ß, ø, Ж, 茶, etc. " * 16,
        who="Somebody with a long name, for a house with a longer one, in a town far away", made=date(2026, 3, 2),
        expiry=date(2027, 3, 2), show_formula=True,
    )  # fmt: skip
    setting = Setting(thickness_mm=11.5, over="black", geometry="45:0", light="FL2")
    target = target_from_blend(palette, Blend("clear", {"white": 0.3}), setting=setting, tolerance=2.0)
    blend = Blend("milky", {"yellow": 1.37, "blue": 0.61, "rose": 0.2, "black": 0.11, "white": 0.9})
    return approval(palette, blend, setting=setting, asked=asked, target=target, shown=slab(30.0, 40.0, 11.5))


def lowest(page: Any) -> float:
    """Where the lowest words stand, from the foot of the page [pt]."""
    heights: list[float] = []
    page.extract_text(visitor_text=lambda _words, _page, matrix, *_: heights.append(float(matrix[5])))
    return min(height for height in heights if height)


@pytest.mark.parametrize("paper", ["a4", "letter"])  # the fullest on the shorter one
def test_the_pdf_is_one_page_whose_text_can_be_selected(demo_palette: Palette, paper: str) -> None:
    pypdf: Any = pytest.importorskip("pypdf")
    pytest.importorskip("fpdf")
    from tint.proofs.approval_page import approval_pdf

    sheet = full(demo_palette) if paper == "letter" else sheet_of(demo_palette, target=target_for(demo_palette))
    pages = pypdf.PdfReader(io.BytesIO(approval_pdf(sheet, paper=paper))).pages
    assert len(pages) == 1
    told = " ".join(pages[0].extract_text().split())
    for term, _ in sheet.terms:
        assert term in told
    for line in (
        "Signature",
        "Always confirm with a cured swatch",
        sheet.asked.name,
        "ß" if "ß" in sheet.asked.words else "",
    ):
        assert line in told
    width, height = pages[0].mediabox.width, pages[0].mediabox.height
    assert lowest(pages[0]) > 20.0  # nothing runs off the page [pt]
    assert (round(float(width)), round(float(height))) == {"a4": (595, 842), "letter": (612, 792)}[paper]
    fonts = [font.get_object() for font in pages[0]["/Resources"]["/Font"].values()]
    assert len(fonts) == 2
    for font in fonts:
        inner = font["/DescendantFonts"][0].get_object()
        assert "/FontFile2" in inner["/FontDescriptor"].get_object()


def test_an_unknown_paper_is_refused(demo_palette: Palette) -> None:
    pytest.importorskip("fpdf")
    from tint.proofs.approval_page import approval_pdf

    with pytest.raises(InputError, match="`a9` is not known; expected a4 or letter"):
        approval_pdf(sheet_of(demo_palette), paper="a9")


def test_without_fpdf_one_line_says_what_to_install(demo_palette: Palette, monkeypatch: pytest.MonkeyPatch) -> None:
    from tint.proofs.approval_page import approval_pdf

    monkeypatch.setitem(sys.modules, "fpdf", None)
    with pytest.raises(JobError, match=r"fpdf2 is not installed; run `pip install 'tint\[sheet,pdf\]'`"):
        approval_pdf(sheet_of(demo_palette))


# The command.


def run(*arguments: object) -> Result:
    named = [str(each) for each in arguments]
    return CliRunner().invoke(main, ["proof", *named, "--optics", "two-flux"], env={"COLUMNS": "100"})


BLEND = ("--base", "clear", "--load", "white=0.25", "--load", "green=0.0517", "--thickness", "2.6")


def test_the_command_draws_the_part_and_both_sheets(
    fitted_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:  # fmt: skip
    trimesh: Any = pytest.importorskip("trimesh")
    pytest.importorskip("fpdf")
    for size in ("PIXELS", "SHEET_PIXELS"):
        monkeypatch.setattr(f"tint.proofs.part_picture.{size}", 120)
    trimesh.creation.box((40.0, 30.0, 3.0)).export(tmp_path / "pot_foot.stl")
    files = [tmp_path / name for name in ("foot.png", "foot.html", "foot.pdf")]
    result = run(
        fitted_demo, *BLEND, "--part", tmp_path / "pot_foot.stl", "--set", "side=bottom", "--set", "thin_mm=1",
        "--set", "title=Moss",
        "--out", files[0], "--sheet", files[1], "--pdf", files[2], "--set", "paper=letter", "--set", "words=as moss",
        "--set", "approver=Ada", "--set", "expiry=2199-01-31", "--tolerance", 1.5,
        "--target-lab", "50,-20,10", "--json",
    )  # fmt: skip
    assert result.exit_code == 0, result.stderr
    told = json.loads(result.stdout)
    assert [told["written"], *told["also_written"]] == [str(file) for file in files]
    assert told["volume_cm3"] == pytest.approx(3.6)
    page = shown_words(files[1].read_text("utf-8"))
    for line in (
        "Moss",
        "“as moss”",
        "31 January 2199",
        "Pot foot from the bottom",
        "within 1.5 CIEDE2000 of it",
        "From the target",
    ):
        assert line in page
    assert "0.0517" not in page
    assert files[0].read_bytes().startswith(b"\x89PNG")
    assert files[2].read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("show", ["wedge", "lights", "behind", "limits"])
def test_the_command_draws_each_picture(fitted_demo: Path, tmp_path: Path, show: str) -> None:
    result = run(fitted_demo, *BLEND, "--show", show, "--out", tmp_path / "out.png")
    assert result.exit_code == 0, result.stderr
    assert (tmp_path / "out.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(("name", "at", "there"), [("out.png", 24, b"\x10"), ("out.tif", 0, b"II*\0")])
def test_the_command_writes_deep_pictures(
    fitted_demo: Path, tmp_path: Path, name: str, at: int, there: bytes
) -> None:  # fmt: skip
    from PIL import Image

    Image.fromarray(np.full((30, 40), 150, dtype=np.uint8)).save(tmp_path / "map.png")
    options = ("--set", f"height_map={tmp_path / 'map.png'}", "--set", "mm_per_level=0.02", "--set", "bits=16")
    result = run(fitted_demo, *BLEND, *options, "--out", tmp_path / name)
    assert result.exit_code == 0, result.stderr
    data = (tmp_path / name).read_bytes()
    assert data[at : at + len(there)] == there  # 16 bits of a PNG; the beginning of a TIFF


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ((), "proof: missing option '--out', '--sheet' or '--pdf'; run `tint proof --help`"),
        (("--out", "a.jpg"), "--out a.jpg: is not the name of a PNG"),
        (("--sheet", "a.png"), "--sheet a.png: is not the name of a page"),
        (
            ("--out", "a.png", "--show", "part"),
            "--show part: there is no part; name one with --part or --set height_map",
        ),
        (("--out", "a.png", "--set", "side=top"), "--set side: no mesh to apply it to"),
        (("--out", "a.png", "--set", "thin_mm=1"), "--set thin_mm: no part to look for thin spots in"),
        (("--out", "a.png", "--set", "mm_per_level=1"), "--set mm_per_level: no height map to apply it to"),
        (("--out", "a.png", "--set", "height_map=m.png"), "--set mm_per_level: not given"),
        (
            ("--out", "a.png", "--part", "a.stl", "--set", "height_map=m.png"),
            "--set height_map: given together with --part",
        ),
        (("--out", "a.png", "--set", "bits=16"), "--set bits=16: not a picture of a part"),
        (("--sheet", "a.html", "--set", "expiry=soon"), "--set expiry: `soon` is not a day; expected YYYY-MM-DD"),
    ],
)
def test_the_command_says_what_does_not_go_together(fitted_demo: Path, options: tuple[str, ...], told: str) -> None:
    result = run(fitted_demo, *BLEND, *options)
    assert result.exit_code == 2
    assert result.stderr.startswith(f"tint: {told}")
    assert result.stderr.count("\n") == 1


def test_the_target_s_tolerance_is_the_one_agreed(demo_palette: Palette) -> None:
    target = target_from_lab([50.0, -20.0, 10.0], tolerance=3.0)
    assert sheet_of(demo_palette, target=target).asked.tolerance == 3.0
    assert sheet_of(demo_palette, asked=replace(ASKED, tolerance=0.7)).asked.tolerance == 0.7
