"""`tint weigh` from end to end: page, JSON, spreadsheet and paper, and what it refuses."""

from __future__ import annotations

import csv
import json
import re
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from tint.cli import main

FAINT = ("--base", "clear", "--load", "white=0.36", "--load", "ochre=0.02", "--load", "blue=0.008")
PLAIN = (*FAINT, "--thickness", "3", "--batch-g", "120")
ORDER = ("--part-cm3", "30", "--count", "10", "--set", "sprue_cm3=2", "--set", "cup_loss_g=5")
CUPS = ("--set", "cup_cm3=400", "--set", "pot_life_min=30", "--set", "minutes_to_mix=8", "--set", "minutes_per_mould=4")


def run(folder: Path, *arguments: object, columns: int = 80) -> Result:
    named = ["weigh", str(folder), *(str(each) for each in arguments), "--optics", "two-flux"]
    return CliRunner().invoke(main, named, env={"COLUMNS": str(columns)})


def done(folder: Path, *arguments: object, columns: int = 80) -> str:
    result = run(folder, *arguments, columns=columns)
    assert result.exit_code == 0, result.stderr
    return result.stdout


def answer(folder: Path, *arguments: object) -> dict[str, Any]:
    content = json.loads(done(folder, *arguments, "--json"))
    assert isinstance(content, dict)
    return content


def test_the_page_tells_premixes_batch_and_care_in_their_order(fitted_demo: Path) -> None:
    out = done(fitted_demo, *PLAIN)
    heads = ["Premixes, made and stirred first", "Batch, in this order", "Weigh most carefully", "Take care"]
    assert [out.index(head) for head in heads] == sorted(out.index(head) for head in heads)
    assert re.search(r"^white premix 1:1 +0\.82 g +white +0\.82 g +part A +W-203$", out, flags=re.MULTILINE)
    assert re.search(r"^2 +white premix 1:1 +into part A +0\.9\d g ", out, flags=re.MULTILINE)
    assert "would leave that part 0.78 % short" in out
    care = re.findall(r"0\.01 g +(\d+\.\d\d)$", out, flags=re.MULTILINE)
    assert len(care) > 4
    assert care == sorted(care, reverse=True)


def test_a_sheet_uses_what_the_one_before_left(fitted_demo: Path, tmp_path: Path) -> None:
    file = tmp_path / "first.json"
    first = answer(fitted_demo, *PLAIN)
    left = [{**each, "grams": 50.0} for each in first["leftovers"]]
    assert left
    file.write_text(json.dumps({**first, "leftovers": left}), encoding="utf-8")
    again = answer(fitted_demo, *PLAIN, "--set", f"kept={file}")
    assert [premix["steps"] for premix in again["premixes"]] == [[]] * len(first["premixes"])
    assert again["rounded"] == pytest.approx(first["rounded"], rel=0.02)
    page = done(fitted_demo, *PLAIN, "--set", f"kept={file}")
    assert "Kept, stirred before use: " in page
    assert "Premixes, made" not in page
    for each in again["leftovers"]:
        assert f"- {each['grams']:.2f} g {each['name']} in part A of clear" in page


def test_a_recipe_out_of_reach_says_so_before_it_is_weighed(fitted_demo: Path, tmp_path: Path) -> None:
    recipe = {"base": "clear", "loadings": {"white": 0.36}}
    for reached, told in ((False, 1), (True, 0)):
        file = tmp_path / f"{reached}.json"
        file.write_text(json.dumps({"recipes": [recipe | {"reached": reached, "reason": "too far"}]}), encoding="utf-8")
        page = done(fitted_demo, "--recipe", file, "--thickness", "3", "--batch-g", "120")
        assert page.count("- this recipe does not reach its target: too far") == told


def test_an_order_in_cups(fitted_demo: Path) -> None:
    out = done(fitted_demo, *FAINT, "--thickness", "3", *ORDER, *CUPS)
    assert re.search(r"^cups +5 +of 300\.\d cm3 or more, 4 times the mix$", out, flags=re.MULTILINE)
    assert re.search(r"^in each +81\.\d\d g +40\.\d\d g tinted part A \+ 40\.\d\d g part B$", out, flags=re.MULTILINE)
    assert re.search(r"^minutes +16 +mixing and pouring; pot life 30$", out, flags=re.MULTILINE)


@pytest.mark.parametrize("arguments", [PLAIN, (*FAINT, "--thickness", "3", *ORDER, *CUPS)])
def test_the_page_fits_eighty_columns_and_no_number_is_cut(fitted_demo: Path, arguments: tuple[str, ...]) -> None:
    assert max(len(line) for line in done(fitted_demo, *arguments).split("\n")) <= 80
    pages = [done(fitted_demo, *arguments, columns=columns) for columns in (400, 80, 40)]
    numbers = [sorted(re.findall(r"\d+\.\d+", page)) for page in pages]
    assert numbers[1:] == numbers[:1] * 2


def test_json_tells_all(fitted_demo: Path) -> None:
    content = answer(fitted_demo, *FAINT, "--thickness", "3", *ORDER, *CUPS)
    assert [set(line) >= {"what", "part", "grams", "exact_grams", "percent", "lot"} for line in content["lines"]] == [
        True
    ] * 5
    assert content["total_grams"] == pytest.approx(sum(line["grams"] for line in content["lines"]))
    assert content["predicted"]["loadings"] == content["rounded"]
    assert content["smallest_weighing_g"] == pytest.approx(0.82)
    (ochre, blue) = content["premixes"]
    assert (ochre["name"], ochre["strength"], ochre["steps"][0]["lot"]) == (
        "ochre premix 1:11",
        "1:11",
        "O-031",
    )
    assert blue["steps"][0] | {"grams": 0.82, "base_g": 22.14} == blue["steps"][0]
    assert ochre["used_g"] == pytest.approx(ochre["pigment_g"] + ochre["base_g"])
    assert content["cups"]["count"] == 5
    assert content["cups"]["grams"] == pytest.approx(content["cups"]["tinted_g"] + content["cups"]["rest_g"]["B"])
    assert {"mix_error_percent", "naive_mix_error_percent", "naive_part_error_percent"} <= set(content)
    care = [each["delta_e"] for each in content["care"]]
    assert care == sorted(care, reverse=True)


def test_premixes_only_where_they_are_wanted(fitted_demo: Path) -> None:
    content = answer(fitted_demo, *PLAIN, "--set", "premix=no")
    assert [line["what"] for line in content["lines"]] == ["part A", "white", "ochre", "blue", "part B"]
    assert content["premixes"] == []
    assert any("a premix" in warning for warning in content["warnings"])
    finer = answer(fitted_demo, *PLAIN, "--set", "scale_step_g=0.00001")
    assert finer["premixes"] == []
    assert finer["warnings"] == []
    loose = answer(fitted_demo, *PLAIN, "--set", "dose_tolerance_percent=5")
    assert [premix["pigment"] for premix in loose["premixes"]] == ["ochre", "blue"]
    worse = answer(fitted_demo, *PLAIN, "--set", "dose_tolerance_percent=5", "--set", "scale_sd_g=0.02")
    assert worse["smallest_weighing_g"] == pytest.approx(0.8)


def test_a_target_draws_the_rounding(fitted_demo: Path) -> None:
    own = answer(fitted_demo, *PLAIN, "--set", "premix=no")
    lab = own["predicted"]["lab"]
    target = f"{lab[0] - 4.0},{lab[1]},{lab[2] + 6.0}"
    drawn = answer(fitted_demo, *PLAIN, "--set", "premix=no", "--target-lab", target)
    assert drawn["rounded"] != own["rounded"]
    assert "CIEDE2000  from it, as rounded" in done(fitted_demo, *PLAIN, "--target-lab", target)
    assert "from it, as rounded" not in done(fitted_demo, *PLAIN)


def test_a_spreadsheet_holds_every_weighing(fitted_demo: Path, tmp_path: Path) -> None:
    file = tmp_path / "sheet.csv"
    content = answer(fitted_demo, *FAINT, "--thickness", "3", *ORDER, *CUPS, "--csv", file)
    assert content["written"] == [str(file)]
    rows = list(csv.DictReader(file.read_text("utf-8").splitlines()))
    batch = [row for row in rows if row["what for"] == "batch"]
    assert [float(row["grams"]) for row in batch] == [line["grams"] for line in content["lines"]]
    assert [row["what"] for row in batch] == [line["what"] for line in content["lines"]]
    assert {row["what for"] for row in rows} >= {"ochre premix 1:11", "blue premix 1:27", "cup 1", "cup 5"}
    assert next(row for row in rows if row["what"] == "ochre")["lot"] == "O-031"


def test_paper_is_written_once_and_replaced_only_when_told(fitted_demo: Path, tmp_path: Path) -> None:
    file = tmp_path / "sheet.pdf"
    arguments = (*PLAIN, "--pdf", file, "--set", "title=Lids")
    assert done(fitted_demo, *arguments, columns=400).endswith(f"\n\nWritten: {file}\n")
    first = file.read_bytes()
    assert first.startswith(b"%PDF-")
    refused = run(fitted_demo, *arguments)
    assert refused.exit_code == 2
    assert "is there already; choose another name, or add --replace" in refused.stderr
    assert file.read_bytes() == first
    done(fitted_demo, *arguments, "--replace")
    assert file.read_bytes() == first, "equal sheets are equal files"
    done(fitted_demo, *arguments, "--replace", "--set", "date=2031-05-09", "--set", "paper=letter")
    assert file.read_bytes() != first


REFUSED = [
    (["--csv", "HERE/sheet.txt"], 2, "is not the name of a table; expected a name that ends in .csv"),
    (["--pdf", "HERE/sheet.png"], 2, "is not the name of a PDF; expected a name that ends in .pdf"),
    (["--pdf", "HERE/folder.pdf"], 2, "is a folder"),
    (["--pdf", "HERE/none/sheet.pdf"], 2, "cannot be written"),
    (["--set", "date=9.5.2031"], 2, "--set date: `9.5.2031` is not a day"),
    (["--part-cm3", "10"], 2, "batch: given twice"),
    (["--count", "3"], 2, "count: 3 parts"),
    (["--set", "cup_cm3=0"], 2, "cup: 0 cm3"),
    (["--set", "cup_cm3=100", "--set", "headroom=0"], 2, "headroom: 0 times"),
    (["--set", "pot_life_min=30"], 2, "pot life: only one"),
    (["--set", "pot_life_min=30", "--set", "minutes_per_mould=4"], 2, "pot life: the number of moulds is not told"),
    (["--set", "moulds=2", "--set", "pot_life_min=3", "--set", "minutes_per_mould=4"], 1, "pot life: 3 min are over"),
    (["--set", "scale_sd_g=-1"], 2, "scale sd: -1 g"),
    (["--set", "dose_tolerance_percent=0"], 2, "dose tolerance: 0 %"),
    (["--target-lab", "1,2"], 2, "--target-lab"),
]


@pytest.mark.parametrize(("more", "status", "told"), REFUSED, ids=lambda each: str(each)[:40])
def test_refused(fitted_demo: Path, tmp_path: Path, more: list[str], status: int, told: str) -> None:
    (tmp_path / "folder.pdf").mkdir()
    result = run(fitted_demo, *PLAIN, *(each.replace("HERE", str(tmp_path)) for each in more))
    assert result.exit_code == status
    assert told in result.stderr
    assert result.stderr.count("\n") == 1
    assert result.stdout == ""
    assert [path.name for path in tmp_path.iterdir()] == ["folder.pdf"]


def test_without_the_library_it_says_so(fitted_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "fpdf", None)
    result = run(fitted_demo, *PLAIN, "--pdf", tmp_path / "sheet.pdf")
    assert result.exit_code == 1
    assert result.stderr.startswith("tint: pdf: fpdf2 is not installed")
    assert result.stderr.count("\n") == 1
    assert list(tmp_path.iterdir()) == []
