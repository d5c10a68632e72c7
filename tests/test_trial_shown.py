"""A trial beside its prediction: what was read is measured, what was photographed is only shown."""

from __future__ import annotations

import io
import itertools
import json
import re
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result
from numpy.typing import NDArray
from PIL import Image

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.cli import main
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import draw_proof
from tint.proofs.approval import Asked, approval
from tint.proofs.card import proof_picture
from tint.proofs.comparison import compare
from tint.proofs.comparison_drawn import comparison_picture, draw_comparison
from tint.proofs.facts import PHOTO_LINE, PHOTO_SIGN, Read, Trial, gather, trial_of
from tint.proofs.photo import Photo

LICHEN = Blend("clear", {"white": 0.25, "green": 0.05})
OTHER = Blend("clear", {"white": 0.25, "green": 0.06})
WALL = Setting(thickness_mm=2.6)
SNAP = Photo(np.full((300, 400, 3), (200, 90, 40), dtype=np.uint8), "lid.jpg")


def pixels(png: bytes) -> NDArray[np.int64]:
    with Image.open(io.BytesIO(png)) as image:
        return np.asarray(image.convert("RGB")).astype(np.int64)


def trial(palette: Palette, *, photo: Photo | None = SNAP, off: Blend = OTHER) -> Trial:
    spectrum = predict(palette, off, setting=WALL).reflectance
    shown = trial_of(palette, LICHEN, setting=WALL, photo=photo, read=Read(spectrum=spectrum, named="trials.csv:lid"))
    assert shown is not None
    return shown


# Numbers.


def test_the_difference_is_from_prediction_to_reading(demo_palette: Palette) -> None:
    seen, read = (predict(demo_palette, blend, setting=WALL) for blend in (LICHEN, OTHER))
    shown = trial(demo_palette)
    far = Blend("clear", {"white": 0.25, "red": 0.05})
    miss = float(colorimetry.difference(seen.lab, read.lab))
    assert shown.delta_e == pytest.approx(miss)
    ((figure, meaning),) = shown.figures
    assert figure == f"{miss:.2f}"
    assert miss < seen.expected_error
    assert f"within the expected error of {seen.expected_error:.1f}" in meaning
    ((_, meaning),) = trial(demo_palette, off=far).figures
    assert f"more than the expected error of {seen.expected_error:.1f}" in meaning


def test_a_reading_of_another_thickness_is_held_to_the_prediction_there(demo_palette: Palette) -> None:
    thin = predict(demo_palette, LICHEN, setting=replace(WALL, thickness_mm=2.2))
    read = Read(spectrum=thin.reflectance, named="a", thickness_mm=2.2)
    shown = trial_of(demo_palette, LICHEN, setting=WALL, read=read)
    assert shown is not None
    assert shown.delta_e == pytest.approx(0.0, abs=1e-9)
    assert shown.row.chips[0].told == ("2.2 mm, over white",)


def test_no_number_comes_from_the_photograph(demo_palette: Palette) -> None:
    bright = Photo(np.full((300, 400, 3), 255, dtype=np.uint8), "lid.jpg")
    one, two = trial(demo_palette, photo=SNAP), trial(demo_palette, photo=bright)
    assert (one.figures, one.notes) == (two.figures, two.notes)
    assert [chip.shades for chip in one.row.chips] == [chip.shades for chip in two.row.chips]
    alone = trial_of(demo_palette, LICHEN, setting=WALL, photo=SNAP)
    assert alone is not None
    assert alone.figures == []
    assert trial_of(demo_palette, LICHEN, setting=WALL) is None


def test_a_reading_on_other_wavelengths_is_refused(demo_palette: Palette) -> None:
    with pytest.raises(InputError, match="trial: a reading of 3 wavelengths; expected the palette's 31"):
        trial_of(demo_palette, LICHEN, setting=WALL, read=Read(spectrum=np.full(3, 0.4), named="a"))


# Pictures.


def test_the_card_shows_prediction_reading_and_photograph_edge_to_edge(demo_palette: Palette) -> None:
    shown = trial(demo_palette)
    image = pixels(draw_proof(demo_palette, LICHEN, setting=WALL, trial=shown))
    facts = gather(demo_palette, LICHEN, setting=WALL, target=None, show_recipe=False)
    found = proof_picture(facts, demo_palette.name, trial=shown).boxes
    boxes = [found[f"trial {at}"] for at in range(3)]
    assert [left.right == right.left for left, right in itertools.pairwise(boxes)] == [True, True]
    colours = [predict(demo_palette, blend, setting=WALL).srgb for blend in (LICHEN, OTHER)]
    for box, code in zip(boxes, colours, strict=False):
        assert np.abs(image[box.centre[1], box.centre[0]] - 255.0 * colorimetry.hex_to_srgb(code)).max() <= 1
    assert image[boxes[2].centre[1], boxes[2].centre[0]].tolist() == [200, 90, 40]
    assert "trial 0" not in proof_picture(facts, demo_palette.name).boxes


def test_the_comparison_shows_the_first_recipe_s(demo_palette: Palette) -> None:
    sheet = compare(demo_palette, [LICHEN, OTHER], setting=WALL, trial=trial(demo_palette), ranks=[3, 4])
    layout = comparison_picture(sheet)
    image = pixels(draw_comparison(sheet))
    x, y = layout.boxes["trial 2"].centre
    assert image[y, x].tolist() == [200, 90, 40]
    told = " ".join(item.words for item in layout.items if hasattr(item, "words"))
    assert "Trial of 3 beside its prediction" in told
    assert PHOTO_LINE.split(":")[0] in told


def test_sheets_show_it_and_say_what_a_photograph_is(demo_palette: Palette) -> None:
    pytest.importorskip("jinja2")
    pypdf: Any = pytest.importorskip("pypdf")
    pytest.importorskip("fpdf")
    from tint.proofs.approval_page import approval_page, approval_pdf

    asked = Asked(name="Lichen", made=date(2026, 3, 2))
    sheet = approval(demo_palette, LICHEN, setting=WALL, asked=asked, trial=trial(demo_palette))
    page = approval_page(sheet).decode("utf-8")
    plain = " ".join(re.sub(r"<[^>]*>", " ", re.sub(r"<(style|script)\b.*?</\1>", " ", page, flags=re.DOTALL)).split())
    pages = pypdf.PdfReader(io.BytesIO(approval_pdf(sheet))).pages
    assert len(pages) == 1
    figure = sheet.trial.figures[0][0] if sheet.trial else ""
    for told in (plain.replace("&#39;", "'"), " ".join(pages[0].extract_text().split())):
        for line in ("The trial", "As predicted", "As read on the trial", "trials.csv:lid", PHOTO_LINE, figure):
            assert line in told
        assert PHOTO_SIGN.split(",")[0] in told
    assert page.count("data:image/jpeg;base64,") == 1
    assert "green" not in plain
    without = approval_page(replace(sheet, trial=None)).decode("utf-8")
    assert 'id="h-trial"' not in without


# The command.


def run(*arguments: object) -> Result:
    named = [str(each) for each in arguments]
    return CliRunner().invoke(main, ["proof", *named, "--optics", "two-flux"], env={"COLUMNS": "100"})


DOSES = ("--base", "clear", "--load", "white=0.25", "--load", "green=0.05", "--thickness", "2.6")


def test_the_command_shows_photograph_and_reading(fitted_demo: Path, tmp_path: Path) -> None:
    Image.new("RGB", (40, 30), (90, 120, 80)).save(tmp_path / "lid.jpg")
    more = (
        "--set",
        f"trial.photo={tmp_path / 'lid.jpg'}",
        "--set",
        f"trial.read={fitted_demo}/readings.csv:clear-3mm",
        "--set",
        "trial.thickness_mm=3",
    )
    result = run(fitted_demo, *DOSES, *more, "--out", tmp_path / "a.png", "--sheet", tmp_path / "a.html")
    assert result.exit_code == 0, result.stderr
    page = (tmp_path / "a.html").read_text("utf-8")
    assert "readings.csv:clear-3mm" in page
    assert "3 mm, over white" in page
    assert "lid.jpg" in page
    plain = run(fitted_demo, *DOSES, "--out", tmp_path / "b.png")
    assert plain.exit_code == 0
    assert pixels((tmp_path / "a.png").read_bytes()).shape[0] > pixels((tmp_path / "b.png").read_bytes()).shape[0] + 300


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--set", "trial.photo=none.jpg"), "none.jpg: cannot be read"),
        (
            ("--set", "trial.thickness_mm=3"),
            "--set trial.thickness_mm: no reading to apply it to; name one with --set trial.read",
        ),
        (
            ("--set", "trial.photo=a.jpg", "--show", "wedge"),
            "--set trial.photo: not shown on the picture `wedge`; expected --show card",
        ),
    ],
)
def test_the_command_says_what_does_not_fit(
    fitted_demo: Path, tmp_path: Path, options: tuple[str, ...], told: str
) -> None:  # fmt: skip
    result = run(fitted_demo, *DOSES, *options, "--out", tmp_path / "a.png")
    assert result.exit_code == 2
    assert result.stderr.startswith(f"tint: {told}")
    assert not (tmp_path / "a.png").exists()


def test_letters_that_are_lost_are_told(fitted_demo: Path, tmp_path: Path) -> None:
    pytest.importorskip("font_source_serif_pro")
    pytest.importorskip("fpdf")
    files = (
        "--out",
        tmp_path / "a.png",
        "--pdf",
        tmp_path / "a.pdf",
        "--set",
        "title=Víčko 茶",
        "--set",
        "approver=黒",
    )
    result = run(fitted_demo, *DOSES, *files)
    assert "Take care: `茶黒` became `?` on the picture or the PDF" in result.stdout
    result = run(fitted_demo, *DOSES, *files, "--replace", "--json")
    assert json.loads(result.stdout)["letters_lost"] == "茶黒"
    result = run(fitted_demo, *DOSES, "--out", tmp_path / "b.png", "--set", "title=Víčko, Ελιά, Мох")
    assert "Take care" not in result.stdout
