"""What shows itself at the end of a notebook cell: small HTML of its own, right in its figures, safe with any name."""

from __future__ import annotations

import base64
import io
import re
from dataclasses import replace
from html import escape
from html.parser import HTMLParser
from typing import Any

import numpy as np
import pytest
from PIL import Image

from tint import colorimetry
from tint.appearance import Appearance, Setting, predict
from tint.errors import InputError
from tint.materials import Blend
from tint.notebook import block, chips, flat_png, table
from tint.palette import Palette
from tint.recipes import Answer, Rules, solve
from tint.target import target_from_blend
from tint.weighing import weigh

LICHEN = Blend("clear", {"white": 0.25, "green": 0.05})
WALL = Setting(thickness_mm=2.6)


@pytest.fixture(scope="module")
def look(demo_palette: Palette) -> Appearance:
    return predict(demo_palette, LICHEN, setting=WALL)


@pytest.fixture(scope="module")
def answer(demo_palette: Palette) -> Answer:
    target = target_from_blend(demo_palette, LICHEN, setting=WALL)
    return solve(demo_palette, target, setting=WALL, rules=Rules(most_pigments=2, most_recipes=3))


def pictures(html: str) -> list[np.ndarray[Any, np.dtype[np.uint8]]]:
    found = re.findall(r'src="data:image/png;base64,([^"]*)"', html)
    return [np.asarray(Image.open(io.BytesIO(base64.b64decode(data))).convert("RGB")) for data in found]


def code(pixel: Any) -> str:
    return "#" + "".join(f"{int(level):02x}" for level in pixel)


class Balanced(HTMLParser):
    """Raises on a tag that is closed and was not open, or stays open."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: set[str] = set()
        self.feed(html)
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: object) -> None:  # noqa: ARG002
        self.seen.add(tag)
        if tag != "img":
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_a_flat_png_has_its_colours_and_is_tagged_srgb() -> None:
    data = flat_png(["#7d9b73", "#000000", "#ffffff"], size=(5, 4))
    with Image.open(io.BytesIO(data)) as image:
        image.verify()
        assert image.info["srgb"] == 0
    image = Image.open(io.BytesIO(data))
    assert image.size == (15, 4)
    assert [code(image.getpixel((x, 3))) for x in (0, 4, 5, 9, 10, 14)] == [
        "#7d9b73", "#7d9b73", "#000000", "#000000", "#ffffff", "#ffffff",
    ]  # fmt: skip


def test_a_prediction_shows_its_chips_and_figures(look: Appearance) -> None:
    html = look._repr_html_()
    own, black, white = pictures(html)
    view = colorimetry.viewing(look.wavelengths)
    assert code(own[10, 10]) == look.srgb
    for image, lab in ((black, look.lab_black), (white, look.lab_white)):
        signal, _ = colorimetry.lab_to_srgb(lab, view)
        assert code(image[10, 10]) == colorimetry.hex_code(signal)
    for told in (look.conditions, f"{look.expected_error:.2f} CIEDE2000", f"{look.contrast_ratio:.3f}", str(LICHEN)):
        assert told in html


def test_a_prediction_over_one_backing_shows_one_chip(demo_palette: Palette) -> None:
    lone = replace(demo_palette, backings={"white": demo_palette.backings["white"]})
    html = predict(lone, LICHEN, setting=WALL)._repr_html_()
    assert len(pictures(html)) == 1
    assert "nan" not in html
    assert "contrast" not in html


def test_a_palette_shows_its_swatches_as_read(demo_palette: Palette) -> None:
    html = demo_palette._repr_html_()
    (strip,) = pictures(html)
    over_white = demo_palette.evidence.backing == list(demo_palette.backings).index("white")
    lab = colorimetry.lab(demo_palette.evidence.read[over_white], colorimetry.viewing(demo_palette.wavelengths))
    lightest = lab[np.argmax(lab[:, 0])]
    signal, _ = colorimetry.lab_to_srgb(lightest, colorimetry.viewing(demo_palette.wavelengths))
    assert code(strip[10, 5]) == colorimetry.hex_code(signal)
    for name in (*demo_palette.bases, *demo_palette.pigments):
        assert f">{name}<" in html
    assert f"palette of {len(demo_palette.swatches)} swatches" in html


def test_a_palette_of_colours_shows_them(demo_palette: Palette) -> None:
    rows = len(demo_palette.evidence.backing)
    view = colorimetry.viewing(demo_palette.wavelengths)
    spectrum = colorimetry.smoothest_spectrum([62.0, -12.0, 22.0], view)  # what a fit to colours keeps of one
    evidence = replace(demo_palette.evidence, read=np.tile(spectrum, (rows, 1)))
    (strip,) = pictures(replace(demo_palette, evidence=evidence)._repr_html_())
    signal, _ = colorimetry.lab_to_srgb(np.array([62.0, -12.0, 22.0]), colorimetry.viewing(demo_palette.wavelengths))
    assert code(strip[10, 5]) == colorimetry.hex_code(signal)


def test_a_blend_and_a_recipe_show_themselves(answer: Answer) -> None:
    assert ">0.25 %<" in LICHEN._repr_html_()
    assert "uncoloured" in Blend("clear", {})._repr_html_()
    html = answer.recipes[0]._repr_html_()
    assert f"{answer.recipes[0].delta_e:.2f} CIEDE2000 from the target" in html
    assert pictures(html)


def test_an_answer_sets_each_recipe_beside_the_target(answer: Answer, demo_palette: Palette) -> None:
    html = answer._repr_html_()
    signal, _ = colorimetry.lab_to_srgb(answer.target.lab, WALL.viewing(demo_palette))
    shown = pictures(html)
    assert len(shown) == len(answer.recipes)
    for image, recipe in zip(shown, answer.recipes, strict=True):
        assert code(image[10, 10]) == colorimetry.hex_code(signal)
        assert code(image[10, -10]) == recipe.appearance.srgb
        assert f"{recipe.delta_e:.2f}" in html


def test_a_weigh_sheet_shows_every_weighing_and_every_step_of_its_premixes(demo_palette: Palette) -> None:
    sheet = weigh(demo_palette, LICHEN, setting=WALL, batch_g=120, scale_step_g=0.1, premix=True)
    html = sheet._repr_html_()
    Balanced(html)
    assert sheet.premixes
    steps = [step for premix in sheet.premixes for step in premix.steps]
    for what, grams in [(line.what, line.grams) for line in sheet.lines] + [(step.what, step.grams) for step in steps]:
        assert re.search(f">{re.escape(what)}</td><td [^>]*>{grams:g} g<", html)
    assert all(step.makes in html for step in steps)
    assert all(escape(caution) in html for caution in sheet.cautions)


HOSTILE = '<img src=x onerror="alert(1)"> & <b>'


def test_names_stay_names(demo_palette: Palette, look: Appearance) -> None:
    blend = Blend(HOSTILE, {HOSTILE: 0.5})
    pigments = {HOSTILE if name == "green" else name: each for name, each in demo_palette.pigments.items()}
    pages = [
        blend._repr_html_(),
        replace(look, blend=blend, over=HOSTILE, warnings=(HOSTILE,))._repr_html_(),
        replace(demo_palette, name=HOSTILE, pigments=pigments)._repr_html_(),
        block(HOSTILE, HOSTILE, table([(HOSTILE,)], head=(HOSTILE,)), chips(["#000000"], HOSTILE), notes=[HOSTILE]),
    ]
    for html in pages:
        assert "onerror=&quot;" in html
        assert Balanced(html).seen <= {"div", "table", "tr", "td", "th", "img"}
        assert all(source.startswith("data:") for source in re.findall(r"<img [^>]*src=\"([^\"]*)", html))


def test_all_of_it_is_small_and_needs_nothing_else(demo_palette: Palette, look: Appearance, answer: Answer) -> None:
    for thing in (demo_palette, LICHEN, look, answer.recipes[0], answer):
        html = thing._repr_html_()
        Balanced(html)
        assert len(html) < 12_000
        assert not re.findall(r"https?:|<script|<link|<style", html)


# Spectra on axes.


@pytest.fixture
def axes() -> Any:
    matplotlib: Any = pytest.importorskip("matplotlib")
    from matplotlib.figure import Figure

    with matplotlib.rc_context():
        yield Figure().subplots()


def test_spectra_are_drawn_on_the_axes_given(axes: Any, look: Appearance) -> None:
    from tint.notebook import plot_spectra

    assert plot_spectra(look, ax=axes) is axes
    (line,) = axes.get_lines()
    assert np.array_equal(line.get_xdata(), look.wavelengths)
    assert np.array_equal(line.get_ydata(), look.reflectance)
    assert line.get_color() == look.srgb
    assert (axes.get_xlabel(), axes.get_ylabel(), axes.get_title()) == (
        "wavelength, nm",
        "reflectance",
        look.conditions,
    )
    plot_spectra({"mine": look}, ax=axes, of="transmittance")
    assert np.array_equal(axes.get_lines()[1].get_ydata(), look.transmittance)
    assert axes.get_lines()[1].get_label() == "mine"


def test_an_answer_is_drawn_with_its_target(axes: Any, answer: Answer) -> None:
    from tint.notebook import plot_spectra

    plot_spectra(answer, ax=axes)
    lines = {line.get_label(): line.get_ydata() for line in axes.get_lines()}
    assert list(lines) == [f"{at}, {each.blend.base}" for at, each in enumerate(answer.recipes, 1)] + ["target"]
    assert answer.target.spectrum is not None
    assert np.array_equal(lines["target"], answer.target.spectrum)
    styles = {str(line.get_linestyle()) for line in axes.get_lines()[: len(answer.recipes)]}
    assert len(styles) == len(answer.recipes) > 1


@pytest.mark.parametrize(("of", "field"), [("absorption", "k"), ("scattering", "s")])
def test_a_palette_is_drawn_by_component(axes: Any, demo_palette: Palette, of: str, field: str) -> None:
    from tint.notebook import plot_spectra

    plot_spectra(demo_palette, ax=axes, of=of)
    names = [*demo_palette.bases, *demo_palette.pigments]
    for line in axes.get_lines():
        assert np.array_equal(line.get_ydata(), getattr(demo_palette, field)[names.index(line.get_label())])
    assert axes.get_ylabel().startswith(of)


def test_without_axes_new_ones_are_made(look: Appearance) -> None:
    matplotlib: Any = pytest.importorskip("matplotlib")
    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    from tint.notebook import plot_spectra

    made = plot_spectra([look, look])
    assert [line.get_label() for line in made.get_lines()] == ["1, clear", "2, clear"]
    plt.close("all")


@pytest.mark.parametrize(
    ("what", "of", "told"),
    [
        ([], "", "there is nothing to draw"),
        (["lid"], "", "a str; expected an appearance"),
        ("palette", "reflectance", "`reflectance` is not known; expected absorption or scattering"),
        ("look", "scattering", "`scattering` is not known; expected reflectance or transmittance"),
    ],
)
def test_what_cannot_be_drawn_is_told(
    axes: Any, demo_palette: Palette, look: Appearance, what: Any, of: str, told: str
) -> None:
    from tint.notebook import plot_spectra

    given: Any = {"palette": demo_palette, "look": look}.get(what, what) if isinstance(what, str) else what
    with pytest.raises(InputError, match=told):
        plot_spectra(given, ax=axes, of=of)
