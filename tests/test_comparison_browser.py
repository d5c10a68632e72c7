"""The comparison's page in a browser without a network: on a phone, in the dark, and as one page of paper."""

from __future__ import annotations

import io
import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs.approval import Asked, approval
from tint.proofs.comparison import Comparison, compare
from tint.proofs.facts import Read, trial_of
from tint.proofs.photo import Photo
from tint.target import target_from_blend

sync: Any = pytest.importorskip("playwright.sync_api", reason="needs playwright, to drive a browser")
pytest.importorskip("jinja2", reason="the page is drawn with jinja2")
pytest.importorskip("font_source_serif_pro", reason="the sheet is set in it")

from tint.proofs.approval_page import approval_page  # noqa: E402
from tint.proofs.comparison_drawn import comparison_page  # noqa: E402

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.skipif(BROWSER is None, reason="needs the browser chromium (apt-get install -y chromium)")
ARGUMENTS = ("--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--force-color-profile=srgb")
WALL = Setting(thickness_mm=2.6)
MIX = Blend("clear", {"white": 0.25, "green": 0.05})
CROWD = (
    MIX,
    Blend("clear", {"white": 0.25, "green": 0.04, "black": 0.003}),
    Blend("milky", {"green": 0.05, "blue": 0.01, "yellow": 0.02, "ochre": 0.02}),
    Blend("milky", {"red": 0.05}),
    Blend("clear", {"yellow": 0.9, "white": 0.3}),
    Blend("clear", {"white": 0.5}),
)


def sheet_of(palette: Palette, blends: tuple[Blend, ...]) -> Comparison:
    read = Read(spectrum=predict(palette, CROWD[1], setting=WALL).reflectance, named="trials.csv:lid")
    photo = Photo(np.full((300, 400, 3), (200, 90, 40), dtype=np.uint8), "lid.jpg")
    target = target_from_blend(palette, MIX, setting=replace(WALL, thickness_mm=3.0))
    trial = trial_of(palette, MIX, setting=WALL, photo=photo, read=read)
    return compare(palette, blends, setting=WALL, target=target, trial=trial, title="Lid, lichen")


@pytest.fixture(scope="module")
def addresses(demo_palette: Palette, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    folder = tmp_path_factory.mktemp("comparisons")
    for name, blends in {"two": CROWD[:2], "six": CROWD}.items():
        (folder / f"{name}.html").write_bytes(comparison_page(sheet_of(demo_palette, blends)))
    return {name: Path(folder / f"{name}.html").as_uri() for name in ("two", "six")}


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with sync.sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=BROWSER, args=list(ARGUMENTS))
        yield running
        running.close()


def opened(browser: Any, address: str, *, width: int = 1200, scheme: str = "light") -> Any:
    context = browser.new_context(viewport={"width": width, "height": 800}, color_scheme=scheme, offline=True)
    page = context.new_page()
    page.goto(address)
    return page


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_chips_are_the_prediction(
    browser: Any, addresses: dict[str, str], demo_palette: Palette, scheme: str
) -> None:  # fmt: skip
    page = opened(browser, addresses["six"], scheme=scheme)
    chips = page.locator(".pair .chip:last-child")
    for at, blend in enumerate(CROWD):
        with Image.open(io.BytesIO(chips.nth(at).screenshot())) as image:
            seen = np.asarray(image.convert("RGB")).astype(int)[60, 40]
        expected = 255.0 * colorimetry.hex_to_srgb(predict(demo_palette, blend, setting=WALL).srgb)
        assert np.abs(seen - expected).max() <= 1
    page.context.close()


@pytest.mark.parametrize("name", ["two", "six"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_and_a_phone_shows_all(
    browser: Any, addresses: dict[str, str], name: str, scheme: str
) -> None:  # fmt: skip
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="needs axe-playwright-python").Axe()
    page = opened(browser, addresses[name], width=360, scheme=scheme)
    found = axe.run(page).response["violations"]
    assert [(each["id"], each["nodes"][0]["html"][:200]) for each in found] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    shown = "[...document.querySelectorAll('main *')].filter(e => e.offsetParent)"
    assert min(page.evaluate(f"{shown}.map(e => parseFloat(getComputedStyle(e).fontSize))")) >= 14.0
    page.context.close()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["two", "six"])
def test_it_prints_on_one_page(browser: Any, addresses: dict[str, str], name: str, paper: str) -> None:
    pypdf: Any = pytest.importorskip("pypdf")
    page = opened(browser, addresses[name])
    pdf = page.pdf(format=paper, print_background=True)
    assert len(pypdf.PdfReader(io.BytesIO(pdf)).pages) == 1
    page.context.close()


@pytest.mark.parametrize("words", ["", "Like the moss on the north wall, but greyer. " * 8])
def test_an_approval_sheet_with_a_trial_prints_on_one_page(
    browser: Any, demo_palette: Palette, tmp_path: Path, words: str
) -> None:  # fmt: skip
    pypdf: Any = pytest.importorskip("pypdf")
    target = target_from_blend(demo_palette, CROWD[1], setting=WALL)
    trial = sheet_of(demo_palette, CROWD[:2]).trial
    asked = Asked(name="Lichen", words=words, who="Ada Marsh", made=date(2026, 3, 2), expiry=date(2027, 3, 2))
    sheet = approval(demo_palette, MIX, setting=WALL, asked=asked, target=target, trial=trial)
    (tmp_path / "a.html").write_bytes(approval_page(sheet))
    page = opened(browser, (tmp_path / "a.html").as_uri())
    for paper in ("A4", "Letter"):
        pdf = page.pdf(format=paper, print_background=True)
        assert len(pypdf.PdfReader(io.BytesIO(pdf)).pages) == 1
    page.context.close()
    phone = opened(browser, (tmp_path / "a.html").as_uri(), width=360)
    assert phone.evaluate("document.documentElement.scrollWidth") <= 360
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="needs axe-playwright-python").Axe()
    assert [each["id"] for each in axe.run(phone).response["violations"]] == []
    phone.context.close()
