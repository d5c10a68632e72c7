"""A workshop without an instrument: a photograph becomes a folder of colours, and all that follows says so."""

from __future__ import annotations

import csv
import functools
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from photograph_example import SHOT, WHITE, told_of, true_lab

from tint.cli import main
from tint.colorimetry import difference, lab_to_xyz, xyz_to_lab
from tint.palette import read_palette
from tint.photographs import photo_readings, repeatability
from tint.swatches import INPUT_FILES, PHOTOGRAPH, read_folder

pytestmark = pytest.mark.usefixtures("sought_once")  # most of it is told twice: as a page and as JSON

DEMO = Path(__file__).parents[1] / "swatches_demo"
CORNERS = ["319,61", "526,59", "535,186", "326,190"]
PICTURE = [DEMO / "photograph.jpg", "--spots", DEMO / "spots.csv", "--corners", *CORNERS]
QUICK = ["--optics", "two-flux"]
BLEND = ["--base", "clear", "--load", "white=0.5", "--load", "ochre=0.06", "--load", "green=0.05", "--thickness", "3"]
SOLVE = ["--base", "clear", "--thickness", "3", "--target-lab", "61,-22,20", "--most-pigments", "2"]
SOLVE += ["--tolerance", "30"]  # in reach: else it looks for what giving way would bring
TWO = ["--set", "most_pigments=2"]
OFF = "read off photographs"


def said(*arguments: object) -> str:
    """The page as one line."""
    return _once(*map(str, arguments))


@functools.cache  # no test changes the folder, and several look at one answer
def _once(*arguments: str) -> str:
    result = CliRunner().invoke(main, arguments, env={"COLUMNS": "100"})
    assert result.exit_code == 0, result.stderr or repr(result.exception)
    return " ".join(result.stdout.split())


def answer(*arguments: object) -> dict[str, Any]:
    content = json.loads(said(*arguments, "--json"))
    assert isinstance(content, dict)
    return content


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def declare(folder: Path, told: dict[str, Any]) -> None:
    """The demo's palette.toml and the swatches that were photographed; the instrument is what the command says."""
    known = "".join(f"{key} = {json.dumps(told[key])}\n" for key in ("light", "observer", "repeatability"))
    declared = (DEMO / "palette.toml").read_text("utf-8")
    (folder / "palette.toml").write_text(re.sub(r"repeatability = .*\n", lambda _: known, declared), "utf-8")
    seen = {spot["name"] for spot in told["spots"]}
    header, *lines = (DEMO / "swatches.csv").read_text("utf-8").splitlines()
    kept = [line for line in lines if line.partition(",")[0] in seen]
    (folder / "swatches.csv").write_text("\n".join([header, *kept, ""]), "utf-8")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Fitted; beside it lies colours.csv."""
    place = tmp_path_factory.mktemp("studio")
    made = place / "pots"
    made.mkdir()
    declare(made, answer("photograph", *PICTURE, "--out", place / "colours.csv"))
    said("import", made, place / "colours.csv")
    said("fit", made, *QUICK)
    return made


# What goes in.


def test_import_takes_colours_and_source_over(folder: Path) -> None:
    photographed, written = rows_of(folder.parent / "colours.csv"), rows_of(folder / "readings.csv")
    assert len(written) == len(photographed) == 26
    assert {row["source"] for row in written} == {PHOTOGRAPH}
    for row, given in zip(written, photographed, strict=True):
        assert (row["swatch"], row["backing"], row["seat"]) == (given["name"], given["backing"], given["seat"])
        assert [float(row[name]) for name in "Lab"] == [float(given[name]) for name in "Lab"]


def test_places_of_one_name_become_one_reading_as_uncertain_as_they_are() -> None:
    told = told_of(SHOT)
    readings = {(each.name, each.backing): each for each in photo_readings(told)}
    places = [each for each in told.spots if each.spot.name == "white"]
    card = readings["white", ""]
    assert len(places) == 10
    assert len(readings) == len(told.spots) - 9
    np.testing.assert_allclose(card.lab, np.mean([each.lab for each in places], axis=0))
    assert min(each.error for each in places) <= card.error <= max(each.error for each in places)


def test_the_repeatability_asked_for_makes_errors_as_large_as_the_photograph_states() -> None:
    told = told_of(SHOT)
    lab = np.array([each.lab for each in photo_readings(told)])
    stated = np.array([each.error for each in photo_readings(told)])
    rng = np.random.default_rng(8)
    noise = repeatability(told) * rng.standard_normal((4000, *lab.shape))
    seen = xyz_to_lab(np.maximum(lab_to_xyz(lab, WHITE) / WHITE + noise, 1e-4), np.ones(3))
    size = np.sqrt(np.mean(difference(lab, seen) ** 2, axis=0))
    # Dark colours take more of one noise of X, Y and Z than light ones do, and are stated to be off by alike.
    ratio = stated / 1.96 / size
    assert np.sqrt(np.mean(ratio**2)) == pytest.approx(1.0, abs=0.1)


def test_the_repeatability_asked_for_is_not_below_what_castings_are_missed_by() -> None:
    told = told_of(SHOT)
    truth = true_lab()
    lab = np.array([each.lab for each in told.spots[: len(truth)]])
    noise = repeatability(told) * np.random.default_rng(8).standard_normal((500, *lab.shape))
    seen = xyz_to_lab(np.maximum(lab_to_xyz(truth, WHITE) / WHITE + noise, 1e-4), np.ones(3))
    made = np.sqrt(np.mean(difference(truth, seen) ** 2))
    assert np.sqrt(np.mean(difference(truth, lab) ** 2)) < made


def test_the_page_says_what_palette_toml_states(folder: Path) -> None:
    told = answer("photograph", *PICTURE, "--out", folder.parent / "colours.csv")  # as it was when that was written
    page = said("photograph", *PICTURE)
    assert f"repeatability {told['repeatability']:.2g} of such photographs" in page


# What comes of it.


def test_check_says_which_readings_are_off_photographs(folder: Path) -> None:
    assert "24 readings (all of them off photographs), L*, a*, b* in D65" in said("check", folder, "--quick")
    assert answer("check", folder, "--quick")["photographed"] == 24


def test_check_counts_those_among_readings_of_an_instrument(folder: Path, tmp_path: Path) -> None:
    for file in INPUT_FILES:
        text = (folder / file).read_text("utf-8")
        (tmp_path / file).write_text(text.replace("photograph", "", 20) if file == "readings.csv" else text, "utf-8")
    assert "24 readings (4 off photographs)" in said("check", tmp_path, "--quick")


def test_the_fit_says_so_and_names_the_light_that_it_holds_for(folder: Path) -> None:
    assert "read as photographs" in said("fit", folder, *QUICK)
    assert "di:8; CIEDE2000 of readings against the fit, D65, 10° observer" in said("fit", folder, *QUICK)
    palette = read_palette(folder / "palette.two-flux.fit", digest=read_folder(folder).digest)
    assert palette.read_as == "photographs"


@pytest.mark.parametrize(
    "command",
    [
        ["predict", *BLEND],
        ["predict", *BLEND[:-1], "2:4:1"],
        ["solve", *SOLVE],
        ["weigh", *BLEND, "--batch-g", "120"],
        ["adjust", *BLEND, "--read", "COLOURS:celadon-lid", "--target-lab", "66,-20,22", *TWO],
        ["adjust", *BLEND, "--read", "COLOURS:celadon-lid", "--target-reading", "COLOURS:celadon-lid", *TWO],
        ["lot", "green", *BLEND, "--read", "COLOURS:celadon-lid"],
    ],
    ids=["predict", "wedge", "solve", "weigh", "corrected", "left alone", "lot"],
)
def test_every_answer_says_so(folder: Path, command: list[str]) -> None:
    name, *rest = (word.replace("COLOURS", str(folder.parent / "colours.csv")) for word in command)
    words = [name, folder, *rest, *QUICK]
    assert said(*words).count(OFF) == 1


def test_json_says_so(folder: Path) -> None:
    look = answer("predict", folder, *BLEND, *QUICK)
    assert OFF in json.dumps(look)
    assert 1.0 < look["expected_error"] < 8.0  # wider than an instrument's
    assert OFF in json.dumps(answer("weigh", folder, *BLEND, "--batch-g", "120", *QUICK))
    assert OFF in json.dumps(answer("solve", folder, *SOLVE, *QUICK))
    read = ["--read", folder.parent / "colours.csv:celadon-lid"]
    assert OFF in json.dumps(answer("lot", folder, "green", *BLEND, *read, *QUICK))


def test_proofs_and_sheets_say_so(folder: Path, tmp_path: Path) -> None:
    sheet, compared = tmp_path / "sheet.html", tmp_path / "compared.html"
    told = answer("proof", folder, *BLEND, "--sheet", sheet, *QUICK)
    assert any(OFF in warning for warning in told["warnings"])
    assert OFF in sheet.read_text("utf-8")
    (tmp_path / "recipes.json").write_text(json.dumps(answer("solve", folder, *SOLVE, *QUICK)), "utf-8")
    said("proof", folder, "--recipe", tmp_path / "recipes.json", "--pick", "all", "--sheet", compared, *QUICK)
    assert OFF in compared.read_text("utf-8")


def test_the_card_says_so(folder: Path) -> None:
    from tint.appearance import Setting
    from tint.materials import Blend
    from tint.proofs.facts import gather

    palette = read_palette(folder / "palette.two-flux.fit", digest=read_folder(folder).digest)
    setting = Setting(thickness_mm=3.0)
    for shown in (True, False):  # a customer who is not told the recipe is told this
        facts = gather(palette, Blend("clear", {"white": 0.5}), setting=setting, target=None, show_recipe=shown)
        assert sum(OFF in warning for warning in facts.warnings) == 1


def test_a_target_and_a_part_off_a_photograph_are_told(folder: Path) -> None:
    colours = folder.parent / "colours.csv"
    asked = [*SOLVE[:4], "--target-reading", f"{colours}:celadon-lid", "--tolerance", "30"]
    assert "(read off a photograph)" in said("solve", folder, *asked, "--most-pigments", "2", *QUICK)
    given = ["--reading", f"{colours}:celadon-lid", "--reference", f"{folder / 'readings.csv'}:celadon-lid"]
    assert said("inspect", folder, *given, "--tolerance", "3").count("read off a photograph") == 2
    assert len(answer("inspect", folder, *given, "--tolerance", "3")["notes"]) == 2
