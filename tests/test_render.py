"""The renderer: every pixel is the forward model's colour at its thickness, in its light, over its backing."""

from __future__ import annotations

import io
import struct
import zlib
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import render, samples
from tint.proofs.passing import limits_of
from tint.proofs.picture import paint
from tint.proofs.samples import LIGHTS, in_lights
from tint.target import Target, target_from_blend, target_from_lab

LID = Blend("clear", {"white": 1.2, "ochre": 0.5, "red": 0.05})
DIFFUSER = Blend("milky", {"white": 0.05, "yellow": 0.02})
SUN = Blend("clear", {"yellow": 0.9})  # beyond sRGB
WALL = Setting(thickness_mm=3.0)


def pixels(png: bytes) -> NDArray[np.int64]:
    with Image.open(io.BytesIO(png)) as image:
        return np.asarray(image.convert("RGB")).astype(np.int64)


def levels(code: str) -> NDArray[np.float64]:
    return 255.0 * colorimetry.hex_to_srgb(code)


@pytest.mark.parametrize("light", ["D65", "A", "LED-B3", "FL11"])
@pytest.mark.parametrize("over", ["black", "white", "none"])
@pytest.mark.parametrize("blend", [LID, DIFFUSER, SUN, Blend("clear", {})], ids=str)
def test_a_pixel_is_the_prediction_at_its_thickness(demo_palette: Palette, blend: Blend, over: str, light: str) -> None:
    setting = replace(WALL, over=over, light=light)
    table = render.colour_table(demo_palette, blend, setting=setting, upto_mm=12.0)
    for depth in (0.013, 0.4, 1.7, 3.0, 11.9):
        seen = predict(demo_palette, blend, setting=replace(setting, thickness_mm=depth))
        assert np.abs(render.levels_at(table, depth) - levels(seen.srgb)).max() <= 1
        assert bool(render.shows_at(table, depth)) == seen.in_gamut


@settings(max_examples=25, deadline=None)
@given(
    white=st.floats(0.0, 2.0), black=st.floats(0.0, 1.0), yellow=st.floats(0.0, 1.5),
    over=st.sampled_from(("black", "white", "none", render.LAMP)), upto=st.floats(0.2, 60.0),
    seed=st.integers(0, 2**31),
)  # fmt: skip
def test_property_the_table_is_within_half_a_level_of_the_model(
    demo_palette: Palette, white: float, black: float, yellow: float, over: str, upto: float, seed: int
) -> None:
    blend = Blend("clear", {"white": white, "black": black, "yellow": yellow})
    table = render.colour_table(demo_palette, blend, setting=WALL, upto_mm=upto, over=over)
    depth = np.random.default_rng(seed).uniform(0.0, upto, 300)
    spectra = render.spectra_of(demo_palette, blend, setting=WALL, over=over, thickness_mm=depth)
    true = 255.0 * colorimetry.encode(np.clip(render.to_light(spectra, WALL.viewing(demo_palette)), 0.0, 1.0))
    deep = render.deep_levels(render.light_at(table, depth)) / 257.0
    assert np.abs(deep - true).max() <= 0.5
    assert np.abs(render.levels_at(table, depth) - true).max() <= 1.0 + 1e-6


def test_a_white_card_is_the_screen_s_white_in_every_light(demo_palette: Palette) -> None:
    for light in ("D65", "A", "LED-B3", "FL11", "D50"):
        view = replace(WALL, light=light).viewing(demo_palette)
        assert render.to_light(np.ones_like(demo_palette.wavelengths), view) == pytest.approx(np.ones(3), abs=1e-3)


def test_nothing_cast_is_the_bare_backing(demo_palette: Palette) -> None:
    table = render.colour_table(demo_palette, LID, setting=WALL, upto_mm=5.0)
    view = WALL.viewing(demo_palette)
    card, _ = colorimetry.lab_to_srgb(colorimetry.lab(demo_palette.backings["white"], view), view)
    assert np.abs(render.levels_at(table, 0.0) - 255.0 * card).max() <= 1
    dark = render.colour_table(demo_palette, LID, setting=replace(WALL, over="black"), upto_mm=5.0)
    film = render.levels_at(dark, 1e-6).astype(int) - render.levels_at(dark, 0.0)
    assert film.min() > 5  # the thinnest film has faces of its own, which gleam
    lamp = render.colour_table(demo_palette, LID, setting=WALL, upto_mm=5.0, over=render.LAMP)
    assert np.all(render.levels_at(lamp, 0.0) == 255)


def test_a_lamp_behind_shows_what_comes_through(demo_palette: Palette) -> None:
    table = render.colour_table(demo_palette, DIFFUSER, setting=WALL, upto_mm=6.0, over=render.LAMP)
    view = WALL.viewing(demo_palette)
    passed = predict(demo_palette, DIFFUSER, setting=WALL).transmittance
    shown, _ = colorimetry.lab_to_srgb(colorimetry.lab(passed, view), view)
    assert np.abs(render.levels_at(table, 3.0) - 255.0 * shown).max() <= 1


@pytest.mark.parametrize("depth", [-0.1, 5.1, np.nan])
def test_a_thickness_that_the_table_does_not_hold_is_refused(demo_palette: Palette, depth: float) -> None:
    table = render.colour_table(demo_palette, LID, setting=WALL, upto_mm=5.0)
    for look_up in (render.levels_at, render.light_at, render.shows_at):
        with pytest.raises(InputError, match="expected from 0 to 5 mm, which the table holds"):
            look_up(table, [1.0, depth])
    with pytest.raises(InputError, match="more than 0"):
        render.colour_table(demo_palette, LID, setting=WALL, upto_mm=0.0)


def test_shading_codes_are_within_a_level_of_the_transfer_function() -> None:
    linear = np.concatenate((np.linspace(-0.1, 1.1, 20_000), np.geomspace(1e-6, 1e-2, 2_000))).astype(np.float32)
    true = 255.0 * colorimetry.encode(np.clip(linear.astype(float), 0.0, 1.0))
    assert np.abs(render.to_levels(linear) - true).max() < 0.6


# Files.


def chunks(png: bytes) -> dict[bytes, bytes]:
    found, at = {}, 8
    while at < len(png):
        (size,) = struct.unpack(">I", png[at : at + 4])
        kind, data = png[at + 4 : at + 8], png[at + 8 : at + 8 + size]
        assert struct.unpack(">I", png[at + 8 + size : at + 12 + size])[0] == zlib.crc32(kind + data)
        found[kind] = data
        at += 12 + size
    return found


def test_a_deep_png_holds_every_level_and_the_profile() -> None:
    deep = np.random.default_rng(1).integers(0, 65536, (7, 5, 3)).astype(np.uint16)
    png = render.deep_png(deep)
    assert np.abs(pixels(png) - (deep >> 8)).max() <= 1  # pillow reads the upper half of each
    parts = chunks(png)
    assert struct.unpack(">IIBB", parts[b"IHDR"][:10]) == (5, 7, 16, 2)
    rows = np.frombuffer(zlib.decompress(parts[b"IDAT"]), dtype=np.uint8).reshape(7, -1)
    assert np.array_equal(np.ascontiguousarray(rows[:, 1:]).view(">u2").reshape(7, 5, 3), deep)
    assert zlib.decompress(parts[b"iCCP"][6:]) == render.srgb_profile()


def test_a_deep_tiff_holds_every_level_and_the_profile() -> None:
    deep = np.random.default_rng(2).integers(0, 65536, (6, 9, 3)).astype(np.uint16)
    tiff = render.deep_tiff(deep)
    order, magic, start = struct.unpack("<2sHI", tiff[:8])
    assert (order, magic) == (b"II", 42)
    (count,) = struct.unpack("<H", tiff[start : start + 2])
    entries = [struct.unpack("<HHII", tiff[start + 2 + 12 * n :][:12]) for n in range(count)]
    assert [entry[0] for entry in entries] == sorted(entry[0] for entry in entries)
    value = {tag: (size, where) for tag, _, size, where in entries}
    (_, width), (_, height), (_, strip), (_, size) = (value[tag] for tag in (256, 257, 273, 279))
    assert np.array_equal(np.frombuffer(tiff[strip : strip + size], dtype="<u2").reshape(height, width, 3), deep)
    assert struct.unpack("<3H", tiff[value[258][1] :][:6]) == (16, 16, 16)
    assert tiff[value[34675][1] :][: value[34675][0]] == render.srgb_profile()
    with Image.open(io.BytesIO(tiff)) as image:
        assert image.size == (9, 6)
        assert image.info["icc_profile"] == render.srgb_profile()


# Pictures.


def test_every_step_along_the_wedge_is_the_prediction_there(demo_palette: Palette) -> None:
    picture = samples.wedge_picture(demo_palette, DIFFUSER, setting=WALL)
    image, box = pixels(paint(picture)), picture.boxes["wedge"]
    for depth in (0.5, 1.0, 2.2, 3.0, 5.9):
        seen = predict(demo_palette, DIFFUSER, setting=replace(WALL, thickness_mm=depth))
        x = box.left + int(depth / 6.0 * box.width)
        column = image[box.top + 60 : box.bottom - 2, x]  # below any sign
        for lab in (seen.lab_black, seen.lab_white):
            signal, _ = colorimetry.lab_to_srgb(lab, WALL.viewing(demo_palette))
            assert np.abs(column - 255.0 * signal).max(axis=-1).min() <= 2  # half a pixel of wedge is 0.002 mm


def test_what_a_screen_cannot_show_of_a_wedge_is_marked(demo_palette: Palette) -> None:
    marked = samples.wedge_picture(demo_palette, SUN, setting=WALL)
    plain = samples.wedge_picture(demo_palette, LID, setting=WALL)
    said = [" ".join(getattr(item, "words", "") for item in picture.items) for picture in (marked, plain)]
    assert "the true colour is beyond a screen" in said[0]
    assert "the true colour is beyond a screen" not in said[1]


def test_lights_are_side_by_side_as_predicted_in_each(demo_palette: Palette) -> None:
    target = target_from_blend(demo_palette, Blend("clear", {"white": 1.0, "red": 0.1, "yellow": 0.3}), setting=WALL)
    picture = samples.lights_picture(demo_palette, LID, setting=WALL, target=target)
    image = pixels(paint(picture))
    for light in LIGHTS:
        setting = replace(WALL, light=light)
        view = setting.viewing(demo_palette)
        x, y = picture.boxes[f"recipe {light}"].centre
        assert np.abs(image[y, x] - levels(predict(demo_palette, LID, setting=setting).srgb)).max() <= 1
        assert target.spectrum is not None
        wanted, _ = colorimetry.lab_to_srgb(colorimetry.lab(target.spectrum, view), view)
        x, y = picture.boxes[f"target {light}"].centre
        assert np.abs(image[y, x] - 255.0 * wanted).max() <= 1
    assert picture.boxes["recipe A"].right == picture.boxes["target A"].left


def test_a_grey_that_reflects_all_wavelengths_alike_moves_in_no_light(demo_palette: Palette) -> None:
    seen = predict(demo_palette, LID, setting=WALL)
    grey = replace(seen, reflectance=np.full_like(seen.reflectance, 0.4))
    flat = replace(grey, lab=colorimetry.lab(grey.reflectance, WALL.viewing(demo_palette)))
    assert max(each.moved for each in in_lights(flat)) < 0.01
    moved = {each.light: each.moved for each in in_lights(seen)}
    assert moved["D65"] < 1e-9
    assert min(moved[light] for light in LIGHTS[1:]) > 0.5


def test_a_recipe_beside_itself_meets_the_target_in_every_light(demo_palette: Palette) -> None:
    seen = predict(demo_palette, LID, setting=WALL)
    same = Target(lab=seen.lab, spectrum=seen.reflectance)
    assert max(each.from_target for each in in_lights(seen, target=same)) == pytest.approx(0.0, abs=1e-9)
    without = in_lights(seen, target=target_from_lab([60.0, 20.0, 20.0]))
    assert all(np.isnan(each.from_target) and each.wanted is None for each in without)


@pytest.mark.parametrize("tolerance", [0.5, 2.0])
def test_limit_samples_are_just_as_far_as_the_tolerance(demo_palette: Palette, tolerance: float) -> None:
    seen = predict(demo_palette, DIFFUSER, setting=WALL)
    limits = {limit.name: limit for limit in limits_of(demo_palette, seen, tolerance=tolerance)}
    assert list(limits) == ["lightest", "darkest", "thinnest"]
    for limit in limits.values():
        assert float(colorimetry.difference(seen.lab, limit.lab)) == pytest.approx(tolerance, abs=1e-3)
    assert limits["darkest"].lab[0] < seen.lab[0] < limits["lightest"].lab[0]
    thin = limits["thinnest"]
    assert thin.thickness_mm < 3.0
    again = predict(demo_palette, DIFFUSER, setting=replace(WALL, thickness_mm=thin.thickness_mm))
    assert float(colorimetry.difference(seen.lab, again.lab)) == pytest.approx(tolerance, abs=0.01)


def test_a_limit_sample_shares_an_edge_with_what_is_agreed(demo_palette: Palette) -> None:
    picture = samples.limits_picture(demo_palette, DIFFUSER, setting=WALL, tolerance=2.0)
    image = pixels(paint(picture))
    agreed = levels(predict(demo_palette, DIFFUSER, setting=WALL).srgb)
    for name in ("lightest", "darkest", "thinnest"):
        edge, beside = picture.boxes[name], picture.boxes[f"agreed beside {name}"]
        assert edge.right == beside.left
        x, y = beside.centre
        assert np.abs(image[y, x] - agreed).max() <= 1
        assert np.any(image[y, edge.centre[0]] != image[y, x])


def test_no_thinnest_sample_where_none_leaves_the_tolerance(demo_palette: Palette) -> None:
    black = Blend("clear", {"black": 1.0})
    setting = replace(WALL, over="black", seat="wet")
    names = [
        limit.name for limit in limits_of(demo_palette, predict(demo_palette, black, setting=setting), tolerance=9.0)
    ]
    assert "thinnest" not in names
    said = " ".join(
        getattr(item, "words", "")
        for item in samples.limits_picture(demo_palette, black, setting=setting, tolerance=9.0).items
    )
    assert "No thickness leaves the tolerance" in said


def test_lit_from_behind_and_from_the_front(demo_palette: Palette) -> None:
    picture = samples.lit_picture(demo_palette, DIFFUSER, setting=WALL)
    image = pixels(paint(picture))
    seen = predict(demo_palette, DIFFUSER, setting=WALL)
    box = picture.boxes["white"]
    assert np.abs(image[box.bottom - 3, box.left + box.width // 2] - levels(seen.srgb)).max() <= 1
    through, _ = colorimetry.lab_to_srgb(
        colorimetry.lab(seen.transmittance, WALL.viewing(demo_palette)), WALL.viewing(demo_palette)
    )
    box = picture.boxes[render.LAMP]
    assert np.abs(image[box.bottom - 3, box.left + box.width // 2] - 255.0 * through).max() <= 1
