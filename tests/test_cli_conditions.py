"""Cure, age, mould, finish and lot from swatches.csv to what `tint fit`, `check`, `adjust` and `lot` say of them."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from tint.cli import main
from tint.swatches import INPUT_FILES

pytestmark = pytest.mark.usefixtures("sought_once")  # most of it is told twice: as a page and as JSON

DEMO = Path(__file__).parents[1] / "swatches_demo"
QUICK = ["--optics", "two-flux"]
TOLD = {"cure_c": "23", "days": "7", "mould": "epoxy", "finish": "smooth", "lot": "C-1"}
POURED = ["--base", "clear", "--load", "white=0.4", "--load", "ochre=0.1", "--thickness", "3"]
ASKED = ["--target-lab", "72,24,42", "--opacity", "any", "--tolerance", "90", "--set", "most_pigments=2", *QUICK]


def said(*arguments: object) -> str:
    """The page as one line."""
    result = CliRunner().invoke(main, [*map(str, arguments)], env={"COLUMNS": "100"})
    assert result.exit_code == 0, result.stderr or repr(result.exception)
    return " ".join(result.stdout.split())


def answer(*arguments: object) -> dict[str, Any]:
    content = json.loads(said(*arguments, "--json"))
    assert isinstance(content, dict)
    return content


def write_conditions(folder: Path) -> None:
    """Castings of the clear base are told of; one has another finish. Of the milky one nothing is known."""
    path = folder / "swatches.csv"
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        row |= TOLD if row["base"] == "clear" else dict.fromkeys(TOLD, "")
        if row["swatch"] == "peach-lid":
            row["finish"] = "satin"
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    copy = tmp_path_factory.mktemp("studio") / "demo"
    copy.mkdir()
    for file in INPUT_FILES:
        shutil.copy(DEMO / file, copy / file)
    write_conditions(copy)
    return copy


@pytest.fixture(scope="module")
def fitted(folder: Path) -> dict[str, Any]:
    return answer("fit", folder, *QUICK)


def test_fit_tells_them_in_a_line(folder: Path, fitted: dict[str, Any]) -> None:
    line = "clear: cured at 23 °C; read 7 days after; mould epoxy; finish smooth, satin; lot C-1"
    page = said("fit", folder, *QUICK)
    assert line in page
    assert "milky: cured" not in page
    assert fitted["circumstances"] == {
        "clear": {
            "cure_c": [23.0, 23.0],
            "days": [7.0, 7.0],
            "moulds": ["epoxy"],
            "finishes": ["smooth", "satin"],
            "lots": ["C-1"],
        },
        "milky": {"cure_c": None, "days": None, "moulds": [], "finishes": [], "lots": []},
    }


def test_check_tells_them_and_what_differs(folder: Path, fitted: dict[str, Any]) -> None:
    page = said("check", folder, "--quick")
    assert "clear: cured at 23 °C; read 7 days after;" in page
    assert "mixed finish: clear its castings are of 2 finishes: smooth (50 of them), satin (peach-lid)" in page
    content = answer("check", folder, "--quick")
    assert [each["kind"] for each in content["findings"]] == ["mixed_finish"]
    assert content["circumstances"] == fitted["circumstances"]
    assert content["kind"] == "spectra"


def test_a_trial_that_was_cast_otherwise_is_told(folder: Path, fitted: dict[str, Any]) -> None:
    assert fitted["swatches"]
    read = ["--read", f"{folder}/readings.csv:peach-lid", *ASKED]
    content = answer(
        "adjust",
        folder,
        *POURED,
        *read,
        "--set",
        "trial.cure_c=80",
        "--set",
        "trial.finish=Satin",
        "--set",
        "trial.mould=steel",
        "--set",
        "trial.lot=C-2",
    )
    (caution,) = content["cautions"]
    assert caution == (
        "trial 1 was not cast as the swatches of clear were: mould steel (theirs epoxy); "
        "lot of the base C-2 (theirs C-1); cured at 80 °C (theirs 23 °C). What this does is not its pigments' doing"
    )
    assert (
        answer("adjust", folder, *POURED, *read, "--set", "trial.cure_c=23", "--set", "trial.finish=smooth")["cautions"]
        == []
    )


def test_a_trial_far_thinner_than_any_swatch_may_be_told_in_another_unit(folder: Path, fitted: dict[str, Any]) -> None:
    assert fitted["swatches"]
    read = ["--read", f"{folder}/readings.csv:clear-3mm", *QUICK]
    (caution,) = answer("lot", folder, "clear", "--base", "clear", "--thickness", "0.31", *read)["cautions"]
    assert caution == (
        "trial 1 is 0.31 mm thick, the thinnest swatch of clear is 0.85 mm: is it in centimetres or inches?"
    )


def test_a_new_lot_of_the_base_is_no_surprise_where_it_is_asked_about(folder: Path, fitted: dict[str, Any]) -> None:
    assert fitted["swatches"]
    read = ["--read", f"{folder}/readings.csv:clear-3mm", *QUICK]
    uncoloured = ["--base", "clear", "--thickness", "3.1", "--set", "trial.lot=C-2"]
    assert answer("lot", folder, "clear", *uncoloured, *read)["cautions"] == []
    (caution,) = answer("lot", folder, "clear", *uncoloured, "--set", "trial.finish=matt", *read)["cautions"]
    assert "finish matt (theirs smooth, satin)" in caution
