"""Sheets in a browser without a network: what they show, how one is worked by keyboard, on a phone, what they print.

A sheet is opened once for all tests that look at it; one that cares how it begins sets it first, or opens it afresh.
"""

from __future__ import annotations

import base64
import io
import json
import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs.approval import Asked, approval
from tint.proofs.comparison import Comparison, compare
from tint.proofs.facts import Read, trial_of
from tint.proofs.part import part_of
from tint.proofs.part_picture import Shown
from tint.proofs.photo import Photo
from tint.proofs.portrait import light_of, view_of
from tint.proofs.render import LAMP, colour_table, hollow_table, to_levels
from tint.proofs.samples import LIGHTS
from tint.target import target_from_blend

sync: Any = pytest.importorskip("playwright.sync_api", reason="needs playwright, to drive a browser")
trimesh: Any = pytest.importorskip("trimesh", reason="needs trimesh, for a part to show")
pytest.importorskip("jinja2", reason="the page is drawn with jinja2")
pytest.importorskip("font_source_serif_pro", reason="the sheet is set in it")

from parts import tube  # noqa: E402 (made with trimesh)

from tint.proofs.approval_page import approval_page, slider_thicknesses  # noqa: E402
from tint.proofs.comparison_drawn import comparison_page  # noqa: E402

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.skipif(BROWSER is None, reason="needs the browser chromium (apt-get install -y chromium)")

MIX = Blend("clear", {"white": 0.25, "green": 0.05})
PALE = Blend("clear", {"white": 0.03, "green": 0.02})
WALL = Setting(thickness_mm=2.6)
CROWD = (
    MIX,
    Blend("clear", {"white": 0.25, "green": 0.04, "black": 0.003}),
    Blend("milky", {"green": 0.05, "blue": 0.01, "yellow": 0.02, "ochre": 0.02}),
    Blend("milky", {"red": 0.05}),
    Blend("clear", {"yellow": 0.9, "white": 0.3}),
    Blend("clear", {"white": 0.5}),
)
ARGUMENTS = ("--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--force-color-profile=srgb")


def dome() -> Shown:
    """A slab 3 mm thick with a half ball on it."""
    slab, ball = trimesh.creation.box((40.0, 30.0, 3.0)), trimesh.creation.icosphere(4, 8.0)
    ball.apply_translation((0.0, 0.0, 1.5))  # no air below it
    part = part_of(np.concatenate((np.asarray(slab.triangles), np.asarray(ball.triangles))))
    return Shown(view=view_of(part, pixels=360), named="Dome from the top", volume_cm3=part.volume_cm3)


def pipe(height: float = 40.0) -> Shown:
    """A tube seen from the side: near wall, air, far wall."""
    part = part_of(tube(20.0, 17.0, height, 96))
    return Shown(view=view_of(part, "front", pixels=240), named="Pipe from the front", volume_cm3=part.volume_cm3)


@pytest.fixture(scope="module")
def shown() -> Shown:
    return dome()


def compared(palette: Palette, blends: tuple[Blend, ...]) -> Comparison:
    read = Read(spectrum=predict(palette, CROWD[1], setting=WALL).reflectance, named="trials.csv:lid")
    photo = Photo(np.full((300, 400, 3), (200, 90, 40), dtype=np.uint8), "lid.jpg")
    target = target_from_blend(palette, MIX, setting=replace(WALL, thickness_mm=3.0))
    trial = trial_of(palette, MIX, setting=WALL, photo=photo, read=read)
    return compare(palette, blends, setting=WALL, target=target, trial=trial, title="Lid, lichen")


@pytest.fixture(scope="module")
def sheets(demo_palette: Palette, shown: Shown, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """File addresses of sheets: plain, with a part and a target, with a trial, as full as can be; of comparisons."""
    folder = tmp_path_factory.mktemp("sheets")
    asked = Asked(name="Lichen", words="Like the moss on the north wall.", who="Ada Marsh", made=date(2026, 3, 2))
    wanted = target_from_blend(demo_palette, Blend("clear", {"white": 0.3, "blue": 0.02}), setting=WALL, tolerance=2.0)
    crowded = replace(
        asked, name="A name as long as a name may be on a sheet, sixty letters",
        words="Moss, ß, ø, Ж, 茶, etc. " * 16, expiry=date(2027, 3, 2), show_formula=True,
        who="Somebody with a long name, for a house with a longer one, in a town far away",
    )  # fmt: skip
    thick = Setting(thickness_mm=11.5, over="black", geometry="45:0", light="FL2")
    many = Blend("milky", {"yellow": 1.37, "blue": 0.61, "rose": 0.2, "black": 0.11, "white": 0.9})
    two, six = compared(demo_palette, CROWD[:2]), compared(demo_palette, CROWD)
    drawn = {
        "plain": approval(demo_palette, MIX, setting=WALL, asked=asked),
        "part": approval(demo_palette, MIX, setting=WALL, asked=asked, target=wanted, shown=shown),
        "hollow": approval(demo_palette, PALE, setting=WALL, asked=asked, shown=pipe()),
        "tall": approval(demo_palette, PALE, setting=WALL, asked=asked, shown=pipe(400.0)),
        "full": approval(
            demo_palette, many, setting=thick, asked=crowded, shown=shown,
            target=target_from_blend(demo_palette, Blend("clear", {"white": 0.3}), setting=thick, tolerance=2.0),
        ),
        "trial": approval(
            demo_palette, MIX, setting=WALL, trial=two.trial,
            asked=replace(asked, words="Like the moss on the north wall, but greyer. " * 8, expiry=date(2027, 3, 2)),
            target=target_from_blend(demo_palette, CROWD[1], setting=WALL),
        ),
    }  # fmt: skip
    pages = {name: approval_page(sheet) for name, sheet in drawn.items()}
    pages |= {name: comparison_page(sheet) for name, sheet in (("two", two), ("six", six))}
    for name, page in pages.items():
        (folder / f"{name}.html").write_bytes(page)
    return {name: (folder / f"{name}.html").as_uri() for name in pages}


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with sync.sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=BROWSER, args=list(ARGUMENTS))
        yield running
        running.close()


SAID: list[str] = []  # on the console of any page, or asked of a network: nothing may be


@pytest.fixture(scope="module")
def pages() -> dict[tuple[str, str], Any]:
    """What was opened so far, by name and scheme; the browser closes them."""
    return {}


@pytest.fixture
def opened(browser: Any, sheets: dict[str, str], pages: dict[tuple[str, str], Any]) -> Iterator[Any]:
    """A function that opens a sheet by its name, the second time the same page."""

    def open_(name: str, *, scheme: str = "light", afresh: bool = False) -> Any:
        if afresh or (name, scheme) not in pages:
            context = browser.new_context(
                viewport={"width": 1200, "height": 900}, color_scheme=scheme, offline=True
            )  # fmt: skip
            page = pages[name, scheme] = context.new_page()
            page.on("console", lambda message: SAID.append(message.text))
            page.on("pageerror", lambda error: SAID.append(str(error)))
            page.on("request", lambda asked: SAID.append(asked.url) if asked.url.startswith("http") else None)
            page.goto(sheets[name])
            if name not in ("two", "six"):
                page.wait_for_function("!document.getElementById('hands').hidden")
            if page.query_selector("canvas"):
                page.wait_for_selector(".drawn")
        page = pages[name, scheme]
        page.set_viewport_size({"width": 1200, "height": 900})
        return page

    yield open_
    told = SAID.copy()
    SAID.clear()
    assert told == []


def pixels(page: Any, selector: str) -> NDArray[np.int64]:
    with Image.open(io.BytesIO(page.locator(selector).screenshot())) as image:
        return np.asarray(image.convert("RGB")).astype(np.int64)


def middle(page: Any, selector: str) -> NDArray[np.int64]:
    image = pixels(page, selector)
    return np.asarray(image[image.shape[0] // 2, image.shape[1] // 2])


def set_to(page: Any, hand: str, value: int) -> None:
    page.locator(f"#{hand}").fill(str(value))


def levels(code: str) -> NDArray[np.float64]:
    return 255.0 * colorimetry.hex_to_srgb(code)


def test_a_tall_part_is_seen_whole(opened: Any) -> None:
    assert opened("tall").locator("#part").bounding_box()["height"] < 600


def test_each_slider_shows_the_predicted_colour(opened: Any, demo_palette: Palette) -> None:
    page = opened("plain", afresh=True)
    assert np.abs(middle(page, "#slab") - levels(predict(demo_palette, MIX, setting=WALL).srgb)).max() <= 1
    depths = slider_thicknesses(2.6)
    for t, over, light in ((0, "white", "D65"), (20, "black", "A"), (45, "white", "FL11"), (7, "black", "LED-B3")):
        set_to(page, "thickness", t)
        set_to(page, "backing", ("black", "white").index(over))
        set_to(page, "light", LIGHTS.index(light))
        setting = Setting(thickness_mm=depths[t], over=over, light=light)
        seen = predict(demo_palette, MIX, setting=setting)
        assert np.abs(middle(page, "#slab") - levels(seen.srgb)).max() <= 1
        view = setting.viewing(demo_palette)
        card, _ = colorimetry.lab_to_srgb(colorimetry.lab(demo_palette.backings[over], view), view)
        assert np.abs(pixels(page, "#card")[5, 5] - 255.0 * card).max() <= 1
        told = page.locator("#told").inner_text()
        assert f"{depths[t]:g} mm" in told
        assert f"over {over}" in told
        assert f"({light})" in told
        assert ("nearest it can show" in told) == (not seen.in_gamut)


def drawn_in(page: Any, *, over: str, light: str) -> NDArray[np.int64]:
    """The part's canvas with its sliders set."""
    set_to(page, "backing", ("black", "white", LAMP).index(over))
    set_to(page, "light", LIGHTS.index(light))
    told = page.evaluate("document.getElementById('part').toDataURL()")
    with Image.open(io.BytesIO(base64.b64decode(told.partition(",")[2]))) as image:
        return np.asarray(image.convert("RGB")).astype(np.int64)


SEEN = [("white", "D65"), ("black", "A"), (LAMP, "FL11")]


@pytest.mark.parametrize(("over", "light"), SEEN)
def test_the_part_is_drawn_as_the_renderer_draws_it(
    opened: Any, demo_palette: Palette, shown: Shown, over: str, light: str
) -> None:
    portrait, setting = shown.portrait, replace(WALL, light=light)
    table = colour_table(demo_palette, MIX, setting=setting, upto_mm=portrait.upto_mm, over=over)
    true = to_levels(light_of(portrait, table)).astype(int)
    apart = np.abs(drawn_in(opened("part"), over=over, light=light) - true).max(axis=-1)
    whole = portrait.cover == 1.0
    assert apart[whole].max() <= 2  # shade and thickness travel in steps
    assert np.median(apart[whole]) <= 1
    assert apart.max() <= 4


@pytest.mark.parametrize(("over", "light"), SEEN)
def test_a_hollow_part_is_drawn_by_both_of_its_walls(
    opened: Any, demo_palette: Palette, over: str, light: str
) -> None:  # fmt: skip
    portrait, setting = pipe().portrait, replace(WALL, light=light)
    table = colour_table(demo_palette, PALE, setting=setting, upto_mm=portrait.upto_mm, over=over)
    far, near = portrait.beyond_mm[portrait.hollow], portrait.thickness_mm[portrait.hollow]
    two = hollow_table(
        demo_palette, PALE, setting=setting, near_mm=float((near - far).max()), far_mm=float(far.max()), over=over
    )  # fmt: skip
    true = to_levels(light_of(portrait, table, two)).astype(int)
    found = drawn_in(opened("hollow"), over=over, light=light)
    inside = portrait.hollow & (portrait.cover == 1.0)
    assert np.abs(found - true).max(axis=-1)[inside].max() <= 3
    one_wall = to_levels(light_of(portrait, table)).astype(int)
    assert np.abs(one_wall - true).max(axis=-1)[inside].max() > 6  # as thick as both together it would look otherwise


def test_it_is_worked_by_keyboard_alone(opened: Any) -> None:
    page = opened("plain", afresh=True)
    reached = []
    for _ in range(4):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.id"))
    assert reached == ["around", "thickness", "backing", "light"]
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline == "solid"
    before = middle(page, "#slab")
    page.keyboard.press("ArrowRight")
    assert page.locator("#light").get_attribute("aria-valuetext") == "Filament lamp (A)"
    assert np.any(middle(page, "#slab") != before)
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("End")
    assert page.locator("#backing").get_attribute("aria-valuetext") == "with a lamp behind"
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Home")
    assert (
        page.locator("#told")
        .inner_text()
        .startswith("A flat piece, 0.1 mm, thinner than any swatch, with a lamp behind. Light: Filament")
    )


@pytest.mark.parametrize(("name", "scheme"), [("plain", "light"), ("part", "dark")])
def test_surroundings_are_light_or_dark_and_leave_the_colours_alone(opened: Any, name: str, scheme: str) -> None:
    page = opened(name, scheme=scheme)

    def around() -> float:
        return float(pixels(page, "body")[2, 2].mean())

    dark = scheme == "dark"
    colour = middle(page, "#slab")
    assert (around() < 80.0) == dark
    assert page.locator("#around").get_attribute("aria-pressed") == str(dark).lower()
    page.locator("#around").click()
    assert (around() < 80.0) != dark
    assert np.array_equal(middle(page, "#slab"), colour)
    page.locator("#around").click()


PRINTED = [("part", "dark"), ("full", "dark"), ("trial", "light"), ("six", "light"), ("two", "dark")]


@pytest.mark.parametrize(("name", "scheme"), [("part", "light"), *PRINTED])
def test_axe_finds_nothing_and_a_phone_shows_all(opened: Any, name: str, scheme: str) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="needs axe-playwright-python").Axe()
    page = opened(name, scheme=scheme)
    wide = (name, scheme) in (("part", "light"), ("full", "dark"))
    page.set_viewport_size({"width": 1200 if wide else 360, "height": 740})
    found = axe.run(page).response["violations"]
    assert [(each["id"], each["nodes"][0]["html"][:200]) for each in found] == []
    page.set_viewport_size({"width": 360, "height": 740})
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert page.evaluate("parseFloat(getComputedStyle(document.body).fontSize)") >= 16.0
    small = page.evaluate(
        "[...document.querySelectorAll('main *')].filter(e => e.childNodes.length && e.offsetParent)"
        ".map(e => parseFloat(getComputedStyle(e).fontSize))"
    )
    assert min(small) >= 14.0


@pytest.mark.parametrize(("name", "scheme"), PRINTED)
def test_it_prints_on_one_page(opened: Any, name: str, scheme: str) -> None:
    pypdf: Any = pytest.importorskip("pypdf")
    page = opened(name, scheme=scheme)
    for paper in ("A4", "Letter"):
        printed = pypdf.PdfReader(io.BytesIO(page.pdf(format=paper, print_background=True)))
        assert len(printed.pages) == 1
    told = " ".join(printed.pages[0].extract_text().split())
    assert ("Signature" in told) == (name not in ("two", "six"))
    assert "Thickness of the flat piece" not in told  # sliders stay on the screen


def test_what_is_printed_is_what_was_agreed(opened: Any, demo_palette: Palette) -> None:
    page, agreed = opened("plain"), levels(predict(demo_palette, MIX, setting=WALL).srgb)
    set_to(page, "thickness", 1)
    set_to(page, "light", 1)
    assert np.abs(middle(page, "#slab") - agreed).max() > 1
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert np.abs(middle(page, "#slab") - agreed).max() <= 1


def test_without_scripts_it_still_shows_what_was_agreed(
    browser: Any, sheets: dict[str, str], demo_palette: Palette
) -> None:  # fmt: skip
    context = browser.new_context(java_script_enabled=False, offline=True)
    page = context.new_page()
    page.goto(sheets["part"])
    assert np.abs(middle(page, "#slab") - levels(predict(demo_palette, MIX, setting=WALL).srgb)).max() <= 1
    assert page.locator("img.part").is_visible()
    assert not page.locator("#hands").is_visible()
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_chips_of_a_comparison_are_the_prediction(opened: Any, demo_palette: Palette, scheme: str) -> None:
    page = opened("six")
    page.emulate_media(color_scheme=scheme)
    chips = page.locator(".pair .chip:last-child")
    for at, blend in enumerate(CROWD):
        with Image.open(io.BytesIO(chips.nth(at).screenshot())) as image:
            seen = np.asarray(image.convert("RGB")).astype(int)[60, 40]
        assert np.abs(seen - levels(predict(demo_palette, blend, setting=WALL).srgb)).max() <= 1
    page.emulate_media(color_scheme="light")


def test_pictures_have_words_in_their_place(opened: Any, sheets: dict[str, str]) -> None:
    page = opened("part")
    labels = page.evaluate("[...document.querySelectorAll('[role=img]')].map(e => e.getAttribute('aria-label'))")
    assert len(labels) > 15
    assert all(labels)
    content = Path(sheets["part"].removeprefix("file://")).read_text("utf-8")
    data = re.search(r'id="data">(.*?)</script>', content, flags=re.DOTALL)
    assert data is not None
    assert json.loads(data.group(1))["lights"][0] == "Daylight (D65)"
    assert page.locator("img.part").get_attribute("alt").startswith("Dome from the top, in the colour of every point")
