"""The picture against thickness: its pixels and words say what the forward model says."""

from __future__ import annotations

import functools
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
from tint.proofs import draw_translucency
from tint.proofs.diagrams import CLIPPED_LINE, DOUBT, UNCAST, translucency_picture
from tint.proofs.picture import DARK, Box, Text, paint
from tint.thickness import Translucency, course, hiding_thickness, translucency

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


pictured = functools.cache(translucency_picture)  # laid out once for all tests that look at it


@functools.cache
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
    items = pictured(palette, sheet_of(palette, name)).items
    return [item.words for item in items if isinstance(item, Text)]


@functools.cache
def drawn(palette: Palette, sheet: Translucency) -> tuple[NDArray[np.int64], dict[str, Box], tuple[float, float]]:
    """The pixels as `draw_translucency` paints them, the boxes of what matters, and the thicknesses at their left and
    right edges [mm]."""
    picture = pictured(palette, sheet)
    return pixels(paint(picture)), picture.boxes, (sheet.thickness_mm.min(), sheet.thickness_mm.max())


BANDS = ("over black", "over white", "lit from behind")


@pytest.mark.parametrize("name", CASES)
def test_a_band_shows_the_prediction_at_every_thickness(demo_palette: Palette, name: str) -> None:
    sheet = sheet_of(demo_palette, name)
    image, boxes, (low, high) = drawn(demo_palette, sheet)
    blend, setting, _ = CASES[name]
    view = setting.viewing(demo_palette)
    assert (low, high) == (sheet.thickness_mm[0], sheet.thickness_mm[-1])
    band = boxes["over black"]
    for share in (0.004, 0.25, 0.996):
        depth, at = low + share * (high - low), band.left + round(share * band.width)
        near = [
            predict(demo_palette, blend, setting=replace(setting, thickness_mm=depth + off * (high - low) / band.width))
            for off in (-2.0, 2.0)  # where the pixel's thickness lies between
        ]
        for name_, labs in {
            "over black": [look.lab_black for look in near],
            "over white": [look.lab_white for look in near],
            "lit from behind": [colorimetry.lab(look.transmittance, view) for look in near],
        }.items():
            box = boxes[name_]
            shown = image[box.top + round(0.3 * box.height) : box.top + round(0.7 * box.height), at]
            ends = np.sort(255.0 * colorimetry.lab_to_srgb(np.stack(labs), view)[0], axis=0)
            assert (shown >= ends[0] - 1.0).all()
            assert (shown <= ends[1] + 1.0).all()


def test_bare_backing_and_lamp_frame_the_bands(demo_palette: Palette) -> None:
    image, boxes, _ = drawn(demo_palette, sheet_of(demo_palette, "hides on the way"))
    view = CASES["hides on the way"][1].viewing(demo_palette)
    cards = [demo_palette.backing("black"), demo_palette.backing("white"), np.ones(demo_palette.wavelengths.size)]
    for name, card in zip(BANDS, cards, strict=True):
        bare = 255.0 * colorimetry.lab_to_srgb(colorimetry.lab(np.asarray(card), view), view)[0]
        box = boxes[name]
        for row in (box.top + 7, box.bottom - 7):
            assert np.abs(image[row, box.centre[0]] - bare).max() <= 1


def darkest(image: NDArray[np.int64], box: Box, at: int) -> float:
    """Height, 0 to 1 within a box, of the middle of the darkest run of pixels in a column."""
    strip = image[box.top + 4 : box.bottom - 4, at].sum(axis=-1)
    return 1.0 - (float(np.flatnonzero(strip <= strip.min() + 30).mean()) + 4.5) / box.height


def test_the_dark_curve_runs_at_the_contrast_ratio(demo_palette: Palette) -> None:
    sheet = sheet_of(demo_palette, "hides on the way")
    image, boxes, span = drawn(demo_palette, sheet)
    curves = boxes["curves"]
    for look in sheet.appearances[1:5]:
        at = column(look.setting.thickness_mm, curves, span)
        assert darkest(image, curves, at) == pytest.approx(look.contrast_ratio, abs=0.012)


def test_the_light_passed_is_drawn_at_its_height(demo_palette: Palette) -> None:
    sheet = sheet_of(demo_palette, "hides beyond")
    image, boxes, (low, high) = drawn(demo_palette, sheet)
    blend, setting, _ = CASES["hides beyond"]
    curves = boxes["curves"]
    columns = np.arange(curves.left + 40, curves.right - 40)
    depths = low + (columns - curves.left + 0.5) / curves.width * (high - low)
    run = course(demo_palette, blend, setting=setting, thickness_mm=depths)
    rows = np.rint(curves.bottom - run.luminous_transmittance * curves.height).astype(int)
    dark = image[rows - 1, columns].max(axis=-1) < 90
    assert 0.45 < dark.mean() < 0.8  # a dash is 3.7 of 5.3 widths of the line


def test_the_mark_stands_where_it_hides(demo_palette: Palette) -> None:
    sheet = sheet_of(demo_palette, "hides on the way")
    depth = hiding_thickness(demo_palette, LID, setting=Setting(thickness_mm=1.0))
    assert depth is not None
    image, boxes, (low, high) = drawn(demo_palette, sheet)
    curves = boxes["curves"]
    at = round(curves.left + (depth - low) / (high - low) * curves.width)
    foot = image[curves.bottom - 100 : curves.bottom - 60, at - 2 : at + 3]
    assert (foot.min(axis=(1, 2)) < 90).all()
    above = image[curves.top - 24 : curves.top - 4, at - 150 : at]
    assert (above < 90).any()  # its words
    assert any(f"It hides from {depth:.3g} mm" in line for line in said(demo_palette, "hides on the way"))


def test_no_mark_where_it_hides_outside_the_picture(demo_palette: Palette) -> None:
    image, boxes, _ = drawn(demo_palette, sheet_of(demo_palette, "hides beyond"))
    curves = boxes["curves"]
    foot = image[curves.bottom - 30 : curves.bottom - 10, curves.left + 4 : curves.right - 4]
    assert not (foot.max(axis=-1) < 90).all(axis=0).any()
    assert any(line.startswith("It hides from ") for line in said(demo_palette, "hides beyond"))


def test_error_and_thicknesses_beyond_the_swatches_are_shaded(demo_palette: Palette) -> None:
    sheet = sheet_of(demo_palette, "hides on the way")
    image, boxes, span = drawn(demo_palette, sheet)
    curves = boxes["curves"]
    thin, thick = demo_palette.seen["clear"].thickness_mm
    row = curves.bottom - 25
    for depth, beyond in ((0.6, True), (thin + 0.3, False), (thick - 0.3, False), (thick + 0.3, True)):
        shade = image[row, column(depth, curves, span)]
        assert (np.abs(shade - UNCAST).max() <= 2) == beyond
    look = sheet.appearances[1]
    at = column(look.setting.thickness_mm, curves, span) + 8  # beside the mark
    middle = round(curves.bottom - look.contrast_ratio * curves.height)
    half = round(look.contrast_ratio_error * curves.height) + 6
    doubt = np.flatnonzero(np.abs(image[middle - half : middle + half, at] - DOUBT).max(axis=-1) <= 3)
    line = np.argmin(image[middle - half : middle + half, at].max(axis=-1))  # the curve itself is dark
    assert (doubt < line).any()
    assert (doubt > line).any()


def test_a_band_that_a_screen_cannot_show_is_marked(demo_palette: Palette) -> None:
    image, boxes, _ = drawn(demo_palette, sheet_of(demo_palette, "beyond a screen"))
    box = boxes["over white"]
    edge = image[
        box.bottom - round(0.16 * box.height) - 2 : box.bottom - round(0.16 * box.height) + 3, box.left : box.right
    ]
    assert (edge.max(axis=-1) < 60).any(axis=0).mean() > 0.3  # dashes
    assert CLIPPED_LINE in " ".join(said(demo_palette, "beyond a screen"))
    assert CLIPPED_LINE not in " ".join(said(demo_palette, "hides beyond"))


@pytest.mark.parametrize("name", CASES)
def test_nothing_runs_out_of_the_picture_or_over_other_words(demo_palette: Palette, name: str) -> None:
    picture = pictured(demo_palette, sheet_of(demo_palette, name))
    assert [item for item in picture.items if not picture.canvas.holds(item.box)] == []
    lines = [item for item in picture.items if isinstance(item, Text)]
    assert [(a.words, b.words) for at, a in enumerate(lines) for b in lines[:at] if a.box.meets(b.box)] == []
    blocks = picture.boxes.values()
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
