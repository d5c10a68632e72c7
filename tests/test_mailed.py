"""A colour from somebody's photograph: how well it is known, chips to choose from, and an order made of it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image, ImageCms

import tint as library
from tint.cli import main
from tint.colorimetry import difference, viewing
from tint.errors import InputError
from tint.orders import read_order, run_order
from tint.photographs.mailed import chartless_colour, chips_of, mailed_in, wanted_colour

pytestmark = pytest.mark.usefixtures("sought_once")  # of one wish there are many sheets

DEMO = Path(__file__).resolve().parents[1] / "swatches_demo"
VIEW = viewing(range(400, 701, 10))
ORDER = """format = 1
photo = { file = "mail.jpg", spot = [120, 90] }
walls_mm = [3]
batch_g = 120
base = "clear"
words = "like the jar"

[limits]
most_pigments = 2
"""


def picture(path: Path, code: tuple[int, int, int] = (154, 177, 156)) -> Path:
    pixels = np.full((200, 300, 3), 235, dtype=np.uint8)
    pixels[60:130, 80:170] = code
    Image.fromarray(pixels).save(path, quality=95)
    return path


def tint(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(each) for each in arguments], env={"COLUMNS": "120"})


def told(*arguments: object) -> Any:
    found = tint(*arguments, "--json")
    assert found.exit_code == 0, found.stderr
    return json.loads(found.stdout)


@pytest.fixture
def lid(many_demo: Path, tmp_path: Path) -> Path:
    folder = shutil.copytree(many_demo, tmp_path / "own")
    (folder / "orders").mkdir(exist_ok=True)
    picture(folder / "orders" / "mail.jpg")
    path = folder / "orders" / "pot.toml"
    path.write_text(ORDER, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("text", "spot", "size", "chart", "chip"),
    [
        ("mail.jpg:812,440", (812.0, 440.0), None, False, ""),
        ("C:/a b/mail.jpg:812,440.5,30", (812.0, 440.5), 30.0, False, ""),
        ("mail.jpg:8,4:chart", (8.0, 4.0), None, True, ""),
        ("mail.jpg:8,4,6:B4", (8.0, 4.0), 6.0, False, "B4"),
    ],
)
def test_a_place_in_a_photograph_is_one_word(
    text: str, spot: tuple[float, float], size: float | None, chart: bool, chip: str
) -> None:
    found = mailed_in(text)
    assert (found.spot, found.size, found.chart, found.chip) == (spot, size, chart, chip)


@pytest.mark.parametrize(
    "text", ["mail.jpg", "mail.jpg:8", "mail.jpg:8,4,", "mail.jpg:8,,4", "mail.jpg:8.1.2,4", ":1,2"]
)
def test_what_is_no_place_is_told(text: str) -> None:
    with pytest.raises(InputError, match="FILE:X,Y"):
        mailed_in(text)


@pytest.mark.parametrize(
    ("place", "said"), [("3,90", "reaches out"), ("120,90,3", "4 and more"), ("120,90:Q9", "a row from A to C")]
)
def test_a_place_or_chip_that_is_not_there_is_told(tmp_path: Path, place: str, said: str) -> None:
    file = picture(tmp_path / "mail.jpg")
    with pytest.raises(InputError, match=said):
        wanted_colour(mailed_in(f"{file}:{place}"), VIEW)


@pytest.mark.parametrize("values", [(0.6, 0.69, 0.61), (0.8, 0.2, 0.1), (0.5, 0.5, 0.5), (0.02, 0.03, 0.05), (1, 1, 1)])
def test_a_picture_without_a_chart_knows_little(values: tuple[float, float, float]) -> None:
    found = chartless_colour(values, VIEW)
    assert 8.0 < found.error < 40.0
    assert found.clipped == (max(values) == 1)
    chips = chips_of(found, VIEW)
    assert [chip.name for chip in chips] == [f"{row}{column}" for row in "ABC" for column in range(1, 6)]
    assert float(difference(chips[7].lab, found.lab)) < 1.0  # in the middle stands the colour of the picture
    away = difference(found.lab, np.array([chip.lab for chip in chips]))
    assert np.all(np.delete(away, 7) < 1.3 * found.error)
    assert away.max() > 0.4 * found.error


def test_a_clipped_channel_widens_what_may_be() -> None:
    inside, clipped = (chartless_colour((level, 0.5, 0.4), VIEW) for level in (0.985, 1.0))
    assert clipped.error > 1.05 * inside.error


def test_words_of_chips_say_where_they_lie() -> None:
    chips = {chip.name: chip for chip in chips_of(chartless_colour((0.2, 0.55, 0.3), VIEW), VIEW)}
    assert chips["A3"].lab[0] > chips["B3"].lab[0] > chips["C3"].lab[0]
    assert (chips["A3"].words, chips["B3"].words, chips["C3"].words) == ("lighter", "", "darker")
    assert np.hypot(*chips["B2"].lab[1:]) < np.hypot(*chips["B4"].lab[1:])
    assert (chips["B1"].words, chips["B5"].words) == ("yellower", "bluer")
    assert chips["B1"].lab[2] > chips["B5"].lab[2]


def test_the_middle_square_is_read_and_nothing_beside_it(tmp_path: Path) -> None:
    file = picture(tmp_path / "mail.png", (10, 20, 200))
    blue = wanted_colour(mailed_in(f"{file}:120,90"), VIEW)
    ground = wanted_colour(mailed_in(f"{file}:250,160"), VIEW)
    assert blue.lab[2] < -60.0
    assert ground.lab[0] == pytest.approx(93.0, abs=1.0)


def swapped_primaries() -> bytes:
    """An ICC profile of which red and blue are those of sRGB, exchanged."""
    data = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    count = int.from_bytes(data[128:132], "big")
    at = {bytes(data[132 + 12 * n : 136 + 12 * n]): 136 + 12 * n for n in range(count)}
    red, blue = at[b"rXYZ"], at[b"bXYZ"]
    data[red : red + 8], data[blue : blue + 8] = data[blue : blue + 8], data[red : red + 8]
    return bytes(data)


def test_a_profile_says_what_the_pixels_of_a_picture_without_a_chart_mean(tmp_path: Path) -> None:
    plain = picture(tmp_path / "plain.png", (200, 40, 30))
    other = tmp_path / "other.png"
    with Image.open(plain) as image:
        image.save(other, icc_profile=swapped_primaries())
    red, blue = (wanted_colour(mailed_in(f"{each}:120,90"), VIEW).lab for each in (plain, other))
    assert red[1] > 40.0
    assert blue[2] < -40.0


def test_solve_takes_a_photograph_and_says_how_little_it_knows(many_demo: Path, tmp_path: Path) -> None:
    file = picture(tmp_path / "mail.jpg")
    answer = told(
        "solve",
        many_demo,
        "--target-photo",
        f"{file}:120,90",
        "--thickness",
        3,
        "--base",
        "clear",
        "--set",
        "most_recipes=1",
        "--set",
        "most_pigments=2",
    )
    assert answer["target"]["lab"] == pytest.approx([70.0, -12.0, 8.0], abs=2.5)
    assert answer["target"]["known_within"] > 10.0
    assert "without a chart" in answer["target"]["source"]
    assert any("known within" in each for each in answer["warnings"])
    assert answer["setting"]["geometry"] == "de:8"
    library_answer = library.solve(
        library.load(many_demo),
        photo=f"{file}:120,90",
        thickness_mm=3,
        base="clear",
        rules=library.Rules(most_recipes=1, most_pigments=2),
    )
    assert library_answer.target.lab == pytest.approx(answer["target"]["lab"])


def test_two_colours_at_once_are_refused(many_demo: Path, tmp_path: Path) -> None:
    file = picture(tmp_path / "mail.jpg")
    found = tint("solve", many_demo, "--target-photo", f"{file}:120,90", "--target-lab", "70,0,0", "--thickness", 3)
    assert found.exit_code == 2
    assert "--target-lab and --target-photo" in found.stderr


def test_an_order_from_a_mail_shows_its_span_until_the_customer_has_chosen(lid: Path) -> None:
    done = run_order(lid)
    page = lid.parent / "pot" / "choose.html"
    assert page in done.made.written
    text = page.read_text("utf-8")
    assert "like the jar" in text
    assert all(f"<b>{row}{column}</b>" in text for row in "ABC" for column in range(1, 6))
    assert any("known within" in each for each in done.answer.warnings)
    assert run_order(lid).entered == done.entered  # the ledger holds it once
    lid.write_text(ORDER.replace("[120, 90] }", '[120, 90], chip = "B4" }'), encoding="utf-8")
    chosen = run_order(lid)
    assert chosen.solved
    assert not any("known within" in each for each in chosen.answer.warnings)
    assert page not in (*chosen.made.written, *chosen.made.kept)
    palette = library.load(lid.parent.parent)
    view = read_order(lid).setting(palette).viewing(palette)
    span = wanted_colour(mailed_in(f"{lid.parent / 'mail.jpg'}:120,90"), view)
    (chip,) = [each for each in span.chips if each.name == "B4"]
    assert chosen.answer.target is not None
    assert chosen.answer.target.lab == pytest.approx(chip.lab)
    picture(lid.parent / "mail.jpg", (150, 100, 90))
    assert run_order(lid).solved  # another picture is another order


def test_solve_of_such_an_order_is_that_of_its_folder(lid: Path) -> None:
    answer = told("solve", lid, "--set", "most_recipes=1")
    assert answer["target"]["known_within"] > 10.0


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("spot = [120, 90]", "spot = [120]", "key photo.spot"),
        ("spot = [120, 90]", "place = [120, 90]", "key photo"),
        ("spot = [120, 90]", 'spot = [120, 90], chart = true, chip = "A1"', "key photo.chip"),
        ('photo =', 'colour = "#aabbcc"\nphoto =', "colour and photo are given together"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_the_photo_of_an_order_is_told(lid: Path, old: str, new: str, said: str) -> None:
    lid.write_text(ORDER.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError, match=said):
        read_order(lid)


def test_photograph_without_a_chart_writes_the_page_to_choose_from(tmp_path: Path) -> None:
    file, page = picture(tmp_path / "mail.jpg"), tmp_path / "choose.html"
    answer = told("photograph", file, "--at", "lid=120,90", "--no-chart", "--chips", page)
    (spot,) = answer["spots"]
    assert spot["expected_error"] > 10.0
    assert len(spot["chips"]) == 15
    assert "lid: which comes nearest?" in page.read_text("utf-8")
    again = tint("photograph", file, "--at", "lid=120,90", "--no-chart", "--chips", page)
    assert again.exit_code == 2
    assert "is there already" in again.stderr
    shown = tint("photograph", file, "--at", "lid=120,90", "--no-chart")
    assert "no chart beside it" in shown.stdout


@pytest.mark.parametrize(
    "more",
    [
        ("--no-chart", "--find"),
        ("--chips", "a.html", "--find"),
        ("--no-chart", "--at", "b=60,60", "--chips", "a.html"),
    ],
)
def test_options_that_contradict_a_missing_chart_are_refused(tmp_path: Path, more: tuple[str, ...]) -> None:
    found = tint("photograph", picture(tmp_path / "mail.jpg"), "--at", "lid=120,90", *more)
    assert found.exit_code == 2
    assert "--no-chart" in found.stderr or "--chips" in found.stderr


def test_a_photograph_with_its_chart_is_known_better() -> None:
    pytest.importorskip("colour_checker_detection", reason="charts are found with colour-checker-detection")
    place = f"{DEMO / 'photograph.jpg'}:663,514"
    with_chart, without = (wanted_colour(mailed_in(text), VIEW) for text in (f"{place}:chart", place))
    assert with_chart.error < 0.5 * without.error
    assert with_chart.chips == ()
