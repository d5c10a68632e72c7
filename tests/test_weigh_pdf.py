"""The sheet on paper: one page whatever is on it, the same bytes for the same sheet, and nothing left out."""

from __future__ import annotations

import datetime
import io
import re
import sys
import zlib
from dataclasses import replace
from typing import Any

import pytest

from tint.appearance import Setting
from tint.errors import InputError, JobError
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import lettering
from tint.proofs.sheet import draw_weigh_sheet
from tint.weighing import Batch, Split, WeighSheet, weigh

THREE_MM = Setting(thickness_mm=3.0)
FAINT = Blend("clear", {"white": 0.36, "ochre": 0.02, "blue": 0.008})
EVERYTHING = Blend(
    "milky",
    {"white": 0.4, "yellow": 0.02, "ochre": 0.021, "red": 0.01, "rose": 0.02, "blue": 0.008, "green": 0.01},
)  # fmt: skip


def drawn(pdf: bytes) -> str:
    """The page's instructions to a reader, its words among them."""
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, flags=re.DOTALL)
    return "\n".join(zlib.decompress(stream).decode("latin-1") for stream in streams)


def words(pdf: bytes) -> str:
    """What is written on it, a line a piece."""
    told = re.findall(r"\(((?:\\.|[^\\()])*)\) Tj", drawn(pdf))
    return "\n".join(re.sub(r"\\(.)", r"\1", piece) for piece in told)


def pages(pdf: bytes) -> int:
    return len(re.findall(rb"/Type /Page\b", pdf))


@pytest.fixture(scope="module")
def faint(demo_palette: Palette) -> WeighSheet:
    return weigh(demo_palette, FAINT, setting=THREE_MM, batch_g=120.0, premix=True)


def test_everything_that_is_weighed_stands_on_it(demo_palette: Palette, faint: WeighSheet) -> None:
    told = words(draw_weigh_sheet(demo_palette, faint, title="Lids"))
    lines = told.split("\n")
    batch = lines[lines.index("Batch, in this order") :]
    for line in faint.lines:
        assert f"{line.grams:.2f} g" in batch[batch.index(line.what) :][:4]
    for premix in faint.premixes:
        assert premix.name in lines
        for step in premix.steps:
            assert f"{step.grams:.2f} g" in lines
            assert f"{step.base_g:.2f} g" in lines
    for lot in ("W-203", "O-031", "B-142"):
        assert lot in lines
    assert lines.count(f"{faint.total_grams:.2f} g") == 1, "the sum so far ends at the total"
    assert "Lids" in lines
    seen = faint.predicted
    for piece in (seen.srgb, "No screen or printer shows it", seen.conditions.split(",")[0], "Checked by", "Date"):
        assert piece in told
    for caution in faint.cautions:
        assert caution.split()[0] in told


def test_the_chip_is_the_colour_and_each_weighing_has_its_box(demo_palette: Palette, faint: WeighSheet) -> None:
    told = drawn(draw_weigh_sheet(demo_palette, faint))
    code = faint.predicted.srgb.lstrip("#")
    level = [int(code[at : at + 2], 16) / 255.0 for at in (0, 2, 4)]
    fills = [tuple(map(float, each)) for each in re.findall(r"([\d.]+) ([\d.]+) ([\d.]+) rg", told)]
    assert any(max(abs(a - b) for a, b in zip(level, fill, strict=True)) < 0.003 for fill in fills)
    weighings = len(faint.lines) + 2 * sum(len(premix.steps) for premix in faint.premixes)
    assert len(re.findall(r" re [A-Z]", told)) == weighings + 1


def test_a_colour_beyond_the_screen_is_said_to_be(demo_palette: Palette) -> None:
    sheet = weigh(demo_palette, Blend("clear", {"yellow": 0.9}), setting=replace(THREE_MM, seat="wet"), batch_g=500.0)
    assert not sheet.predicted.in_gamut
    assert "nearest that a screen has" in words(draw_weigh_sheet(demo_palette, sheet))


@pytest.mark.parametrize(
    ("name", "paper"),
    [*((name, "a4") for name in ("bare", "faint", "everything", "many cups", "few cups")), ("everything", "letter"),
     ("many cups", "letter")],
)  # fmt: skip
def test_it_is_one_page_whatever_is_on_it(demo_palette: Palette, name: str, paper: str) -> None:
    split, batch, blend = Split(), Batch(batch_g=200.0), FAINT
    if name == "bare":
        blend = Blend("clear", {})
    if name == "everything":
        blend = EVERYTHING
    if "cups" in name:
        batch = Batch(part_cm3=30.0, count=100 if name == "many cups" else 10)
        split = Split(cup_cm3=400.0, pot_life_min=30.0, minutes_per_mould=8.0)
    sheet = weigh(demo_palette, blend, setting=THREE_MM, batch=batch, split=split, premix=True)
    pdf = draw_weigh_sheet(demo_palette, sheet, paper=paper)
    assert pages(pdf) == 1
    size = re.search(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    assert size is not None
    width, height = (float(each) * 25.4 / 72.0 for each in size.groups())
    assert (width, height) == pytest.approx((210.0, 297.0) if paper == "a4" else (215.9, 279.4), abs=0.1)
    # Nothing runs off the paper: words start, and rules end, between the margins.
    told = drawn(pdf)
    places = [tuple(map(float, each)) for each in re.findall(r"([\d.]+) ([\d.]+) Td", told)]
    assert len(places) > 30
    assert all(40.0 < x < float(size[1]) - 40.0 and 35.0 < y < float(size[2]) - 30.0 for x, y in places)
    assert (f"{sheet.cups.count} equal cups" in words(pdf)) == ("cups" in name)


def test_it_is_the_same_again(demo_palette: Palette, faint: WeighSheet) -> None:
    assert draw_weigh_sheet(demo_palette, faint) == draw_weigh_sheet(demo_palette, faint)


def test_a_sheet_of_a_thousand_cups_is_refused(demo_palette: Palette) -> None:
    sheet = weigh(
        demo_palette, Blend("clear", {"white": 1.0}), setting=THREE_MM, batch_g=1e5, split=Split(cup_cm3=100.0)
    )
    with pytest.raises(JobError, match="does not fit one page"):
        draw_weigh_sheet(demo_palette, sheet)


def test_a_date_is_told_and_changes_the_file(demo_palette: Palette, faint: WeighSheet) -> None:
    made = datetime.datetime(2031, 5, 9, tzinfo=datetime.UTC)
    dated = draw_weigh_sheet(demo_palette, faint, made=made)
    assert "Date 2031-05-09" in words(dated)
    assert b"20310509" in dated
    assert dated != draw_weigh_sheet(demo_palette, faint)


def text_of(pdf: bytes) -> str:
    """What a reader selects, whatever the face."""
    pypdf: Any = pytest.importorskip("pypdf")
    return " ".join(pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text().split())


def test_names_in_latin_greek_and_cyrillic_come_out(demo_palette: Palette, faint: WeighSheet) -> None:
    pytest.importorskip("font_source_serif_pro")
    title = "\u0158echov\u00e1 \u2013 \u03a9mega, \u041c\u043e\u0445 (No. 3)"
    pdf = draw_weigh_sheet(demo_palette, faint, title=title)
    assert "\u0158echov\u00e1 - \u03a9mega, \u041c\u043e\u0445 (No. 3)" in text_of(pdf)
    assert b"/FontFile2" in pdf
    assert b"/FontFile2" not in draw_weigh_sheet(demo_palette, faint, title="Cr\u00e8me br\u00fbl\u00e9e \u2265 3")
    assert "Cr\u00e8me br\u00fbl\u00e9e >= 3" in text_of(
        draw_weigh_sheet(demo_palette, faint, title="Cr\u00e8me br\u00fbl\u00e9e \u2265 3")
    )


def test_a_pigment_is_named_in_its_own_letters(demo_palette: Palette) -> None:
    pytest.importorskip("font_source_serif_pro")
    name = "\u017elu\u0165 \u03ba\u03af\u03c4\u03c1\u03b9\u03bd\u03bf"
    own = {name if key == "yellow" else key: each for key, each in demo_palette.pigments.items()}
    seen = {
        base: replace(each, max_loading={name if k == "yellow" else k: v for k, v in each.max_loading.items()})
        for base, each in demo_palette.seen.items()
    }
    palette = replace(demo_palette, pigments=own, seen=seen)
    sheet = weigh(palette, Blend("clear", {name: 0.5}), setting=THREE_MM, batch_g=500.0)
    assert text_of(draw_weigh_sheet(palette, sheet)).count(name) >= 2


def test_letters_that_no_face_has_are_refused(demo_palette: Palette, faint: WeighSheet) -> None:
    pytest.importorskip("font_source_serif_pro")
    with pytest.raises(InputError, match="`茶` cannot be set in its typeface; expected Latin, Greek or Cyrillic"):
        draw_weigh_sheet(demo_palette, faint, title="Lids 茶")


def test_without_the_typeface_latin_alone_is_set(
    demo_palette: Palette, faint: WeighSheet, monkeypatch: pytest.MonkeyPatch
) -> None:
    lettering.letters_of.cache_clear()
    monkeypatch.setitem(sys.modules, "font_source_serif_pro", None)
    assert pages(draw_weigh_sheet(demo_palette, faint, title="Cr\u00e8me")) == 1
    with pytest.raises(InputError, match=r"typeface is missing; run `pip install 'tint\[sheet,pdf\]'`"):
        draw_weigh_sheet(demo_palette, faint, title="\u03a9mega")


def test_words_are_cut_where_they_would_run_out(demo_palette: Palette, faint: WeighSheet) -> None:
    told = words(draw_weigh_sheet(demo_palette, faint, title="Lids " + "x" * 300))
    assert re.search(r"^Lids x+\.\.$", told, flags=re.MULTILINE)


def test_an_unknown_paper(demo_palette: Palette, faint: WeighSheet) -> None:
    with pytest.raises(InputError, match="paper: `a5` is not known; expected a4 or letter"):
        draw_weigh_sheet(demo_palette, faint, paper="a5")


def test_without_the_library_it_says_so(
    demo_palette: Palette, faint: WeighSheet, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "fpdf", None)
    with pytest.raises(JobError, match="pdf: fpdf2 is not installed; run `pip install") as told:
        draw_weigh_sheet(demo_palette, faint)
    assert "\n" not in str(told.value)
