"""The picture against thickness: its pixels and words say what the forward model says."""

from __future__ import annotations

import io
from dataclasses import replace

import matplotlib as mpl
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageCms

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import draw_translucency, translucency_layout
from tint.proofs.against_thickness import CLIPPED_LINE, compose
from tint.proofs.picture import DARK, Box, Patch, Pointer, Text
from tint.proofs.plotting import DOUBT, UNCAST
from tint.translucency import Translucency, course, hiding_thickness, translucency

LID = Blend("clear", {"white": 0.5, "yellow": 0.2})
DIFFUSER = Blend("milky", {"white": 0.05, "yellow": 0.02})
SUN = Blend("clear", {"yellow": 0.9})  # beyond sRGB
LONG = Blend("clear", dict.fromkeys(("white", "yellow", "ochre", "red", "blue", "green", "black"), 0.123456))

CASES: dict[str, tuple[Blend, Setting, list[float]]] = {
    "hides on the way": (LID, Setting(thickness_mm=1.0), np.arange(0.5, 12.1, 0.5).tolist()),
    "hides beyond": (DIFFUSER, Setting(thickness_mm=1.0, seat="wet", light="A"), [1.0, 1.5, 2.0]),
    "beyond a screen": (SUN, Setting(thickness_mm=1.0, over="none"), [0.3, 2.0, 6.0]),
    "many pigments": (LONG, Setting(thickness_mm=1.0, geometry="45:0"), [0.05, 0.06]),
}


def sheet_of(palette: Palette, name: str) -> Translucency:
    blend, setting, depths = CASES[name]
    return translucency(palette, blend, setting=setting, thickness_mm=depths)


def pixels(png: bytes) -> NDArray[np.int64]:
    with Image.open(io.BytesIO(png)) as image:
        assert image.mode == "RGB"
        return np.asarray(image).astype(np.int64)


def column(depth: float, box: Box, span: tuple[float, float]) -> int:
    return min(int(box.left + (depth - span[0]) / (span[1] - span[0]) * box.width), box.right - 1)


def said(palette: Palette, name: str) -> list[str]:
    return [item.words for item in compose(palette, sheet_of(palette, name))[0] if isinstance(item, Text)]


@pytest.mark.parametrize("name", CASES)
def test_a_band_shows_the_prediction_at_every_thickness(demo_palette: Palette, name: str) -> None:
    sheet = sheet_of(demo_palette, name)
    image, boxes = pixels(draw_translucency(demo_palette, sheet)), translucency_layout(demo_palette, sheet)
    blend, setting, _ = CASES[name]
    view = setting.viewing(demo_palette)
    low, high = boxes.span_mm
    assert (low, high) == (sheet.thickness_mm[0], sheet.thickness_mm[-1])
    for at in (boxes.bands[0].left, boxes.bands[0].left + 317, boxes.bands[0].right - 1):
        depth = low + (at - boxes.bands[0].left + 0.5) / boxes.bands[0].width * (high - low)
        look = predict(demo_palette, blend, setting=replace(setting, thickness_mm=depth))
        behind = colorimetry.lab(look.transmittance, view)
        for box, lab in zip(boxes.bands, (look.lab_black, look.lab_white, behind), strict=True):
            shown = image[box.top + 3 : box.bottom - 3, at]
            assert np.abs(shown - 255.0 * colorimetry.lab_to_srgb(lab, view)[0]).max() <= 1


def test_bare_backing_and_lamp_frame_the_bands(demo_palette: Palette) -> None:
    sheet = sheet_of(demo_palette, "hides on the way")
    image, boxes = pixels(draw_translucency(demo_palette, sheet)), translucency_layout(demo_palette, sheet)
    view = CASES["hides on the way"][1].viewing(demo_palette)
    cards = [demo_palette.backing("black"), demo_palette.backing("white"), np.ones(demo_palette.wavelengths.size)]
    for box, card in zip(boxes.bands, cards, strict=True):
        bare = 255.0 * colorimetry.lab_to_srgb(colorimetry.lab(np.asarray(card), view), view)[0]
        for row in (box.top - 8, box.bottom + 8):
            assert np.abs(image[row, box.centre[0]] - bare).max() <= 1


def darkest(image: NDArray[np.int64], box: Box, at: int) -> float:
    """Height, 0 to 1 within a box, of the middle of the darkest run of pixels in a column."""
    strip = image[box.top + 4 : box.bottom - 4, at].sum(axis=-1)
    return 1.0 - (float(np.flatnonzero(strip <= strip.min() + 30).mean()) + 4.5) / box.height


def test_the_dark_curve_runs_at_the_contrast_ratio(demo_palette: Palette) -> None:
    sheet = sheet_of(demo_palette, "hides on the way")
    image, boxes = pixels(draw_translucency(demo_palette, sheet)), translucency_layout(demo_palette, sheet)
    for look in sheet.appearances[1:5]:
        at = column(look.setting.thickness_mm, boxes.curves, boxes.span_mm)
        assert darkest(image, boxes.curves, at) == pytest.approx(look.contrast_ratio, abs=0.012)


def test_the_light_passed_is_drawn_at_its_height(demo_palette: Palette) -> None:
    sheet = sheet_of(demo_palette, "hides beyond")
    image, boxes = pixels(draw_translucency(demo_palette, sheet)), translucency_layout(demo_palette, sheet)
    blend, setting, _ = CASES["hides beyond"]
    columns = np.arange(boxes.curves.left + 40, boxes.curves.right - 40)
    low, high = boxes.span_mm
    depths = low + (columns - boxes.curves.left + 0.5) / boxes.curves.width * (high - low)
    run = course(demo_palette, blend, setting=setting, thickness_mm=depths)
    rows = np.rint(boxes.curves.bottom - run.luminous_transmittance * boxes.curves.height).astype(int)
    dark = image[rows - 1, columns].max(axis=-1) < 90
    assert 0.45 < dark.mean() < 0.8  # a dash is 16 of 26 pixels


def test_the_mark_stands_where_it_hides(demo_palette: Palette) -> None:
    sheet = sheet_of(demo_palette, "hides on the way")
    depth = hiding_thickness(demo_palette, LID, setting=Setting(thickness_mm=1.0))
    assert depth is not None
    boxes = translucency_layout(demo_palette, sheet)
    assert boxes.hides is not None
    low, high = boxes.span_mm
    at = boxes.curves.left + (depth - low) / (high - low) * boxes.curves.width
    assert abs(boxes.hides.centre[0] - at) <= 1
    image = pixels(draw_translucency(demo_palette, sheet))
    foot = image[boxes.curves.bottom - 100 : boxes.curves.bottom - 60, round(at) - 2 : round(at) + 3]
    assert (foot.min(axis=(1, 2)) < 90).all()
    assert f"hides from {depth:.3g} mm" in said(demo_palette, "hides on the way")


def test_no_mark_where_it_hides_outside_the_picture(demo_palette: Palette) -> None:
    items, boxes = compose(demo_palette, sheet_of(demo_palette, "hides beyond"))
    assert boxes.hides is None
    assert not [item for item in items if isinstance(item, Pointer)]
    assert any(line.startswith("It hides from ") for line in said(demo_palette, "hides beyond"))


def test_error_and_thicknesses_beyond_the_swatches_are_shaded(demo_palette: Palette) -> None:
    sheet = sheet_of(demo_palette, "hides on the way")
    image, boxes = pixels(draw_translucency(demo_palette, sheet)), translucency_layout(demo_palette, sheet)
    thin, thick = demo_palette.seen["clear"].thickness_mm
    row = boxes.curves.bottom - 25
    for depth, beyond in ((0.6, True), (thin + 0.3, False), (thick - 0.3, False), (thick + 0.3, True)):
        shade = image[row, column(depth, boxes.curves, boxes.span_mm)]
        assert (np.abs(shade - UNCAST).max() <= 2) == beyond
    look = sheet.appearances[1]
    at = column(look.setting.thickness_mm, boxes.curves, boxes.span_mm) + 8  # beside the mark
    middle = round(boxes.curves.bottom - look.contrast_ratio * boxes.curves.height)
    half = round(look.contrast_ratio_error * boxes.curves.height) + 6
    doubt = np.flatnonzero(np.abs(image[middle - half : middle + half, at] - DOUBT).max(axis=-1) <= 3)
    line = np.argmin(image[middle - half : middle + half, at].max(axis=-1))  # the curve itself is dark
    assert (doubt < line).any()
    assert (doubt > line).any()


def test_a_band_that_a_screen_cannot_show_is_marked(demo_palette: Palette) -> None:
    items, boxes = compose(demo_palette, sheet_of(demo_palette, "beyond a screen"))
    edges = {(box.bottom, box.bottom + 3) for box in boxes.bands}
    assert [item for item in items if isinstance(item, Patch) and (item.box.top, item.box.bottom) in edges]
    assert CLIPPED_LINE in " ".join(said(demo_palette, "beyond a screen"))
    assert CLIPPED_LINE not in " ".join(said(demo_palette, "hides beyond"))


@pytest.mark.parametrize("name", CASES)
def test_nothing_runs_out_of_the_picture_or_over_other_words(demo_palette: Palette, name: str) -> None:
    items, boxes = compose(demo_palette, sheet_of(demo_palette, name))
    assert [item for item in items if not boxes.canvas.holds(item.box)] == []
    lines = [item for item in items if isinstance(item, Text)]
    assert [(a.words, b.words) for at, a in enumerate(lines) for b in lines[:at] if a.box.meets(b.box)] == []
    blocks = (boxes.curves, *boxes.bands)
    assert [line.words for line in lines for block in blocks if line.box.meets(block)] == []


def test_the_warnings_are_on_the_picture(demo_palette: Palette) -> None:
    told = " ".join(said(demo_palette, "hides on the way"))
    sheet = sheet_of(demo_palette, "hides on the way")
    assert sheet.warnings
    assert all(f"Take care: {warning}." in told for warning in sheet.warnings)
    assert sheet.conditions in told


def test_same_input_same_bytes_tagged_srgb_whatever_the_user_s_settings(demo_palette: Palette) -> None:
    sheet = sheet_of(demo_palette, "hides beyond")
    first = draw_translucency(demo_palette, sheet)
    with mpl.rc_context():
        mpl.rcParams["lines.antialiased"] = False
        mpl.rcParams["axes.facecolor"] = "red"
        mpl.rcParams["figure.dpi"] = 300
        assert draw_translucency(demo_palette, sheet) == first
        assert mpl.rcParams["figure.dpi"] == 300
    with Image.open(io.BytesIO(first)) as image:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))
    assert "sRGB" in ImageCms.getProfileDescription(profile)
    assert tuple(pixels(first)[5, 5]) == (222, 222, 222)
    assert DARK == (28, 28, 28)
