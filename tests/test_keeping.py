"""A trial becomes a swatch with one command: rows in the folder's own hand, both files or neither."""

from __future__ import annotations

import csv
import json
import re
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

import tint as library
from tint.cli import main
from tint.errors import FolderError, InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.trials import Trial, TrialReading
from tint.trials.files import keep_as_swatch

pytestmark = pytest.mark.usefixtures("sought_once")  # what becomes of answers, not how they are found

PEACH = (
    "--base", "clear", "--load", "white=0.3", "--load", "yellow=0.06", "--load", "red=0.04", "--thickness", "2.1",
    "--set", "trial.days_of_cure=3", "--target-lab", "60,42,34", "--set", "most_recipes=1",
)  # fmt: skip

ORDER = """format = 1
lab = [70, -12, 8]
walls_mm = [3]
batch_g = 120
base = "clear"

[limits]
most_pigments = 3
"""


@pytest.fixture
def own(many_demo: Path, tmp_path: Path) -> Path:
    return shutil.copytree(many_demo, tmp_path / "own")


def tint(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(each) for each in arguments], env={"COLUMNS": "120"})


def trial_of(palette: Palette, **more: Any) -> Trial:
    blend = Blend("clear", {"white": 0.3, "red": 0.04})
    looks = {
        over: library.predict(palette, blend, thickness_mm=2.0, over=over).reflectance for over in palette.backings
    }
    readings = tuple(TrialReading(values=values, over=over) for over, values in looks.items())
    return Trial(blend=blend, thickness_mm=2.0, readings=readings, **more)


def test_adjust_keeps_the_casting_as_a_swatch(own: Path) -> None:
    before = library.read_folder(own)
    rows = (own / "swatches.csv").read_text("utf-8"), (own / "readings.csv").read_text("utf-8")
    reading = f"{own / 'readings.csv'}:peach-lid"
    found = tint("adjust", own, *PEACH, "--read", reading, "--as-swatch", "peach-again")
    assert found.exit_code == 0, found.stderr
    assert "Kept as the swatch peach-again" in found.stdout
    assert (own / "swatches.csv").read_text("utf-8").startswith(rows[0].rstrip("\n").split("\n")[0])
    after = library.read_folder(own)
    assert len(after.swatches) == len(before.swatches) + 1
    kept = next(each for each in after.swatches if each.name == "peach-again")
    assert kept.loadings == {"white": 0.3, "yellow": 0.06, "red": 0.04}
    assert (kept.thickness_mm, kept.conditions.days) == (2.1, 3.0)
    twin = np.mean(
        [each.values for each in before.readings if each.swatch == "peach-lid" and each.backing == "white"], axis=0
    )
    (read,) = [each for each in after.readings if each.swatch == "peach-again"]
    assert (read.backing, read.seat) == ("white", "air")
    assert np.abs(read.values - twin).max() < 1e-5


def test_readings_over_both_cards_and_all_that_is_known_go_in(own: Path, demo_many_flux: Palette) -> None:
    trial = trial_of(
        demo_many_flux, days_of_cure=4.0, cure_c=23.0, mould="acrylic", finish="smooth", note="second pour"
    )
    keep_as_swatch(own, trial, demo_many_flux, name="rose-2")
    folder = library.read_folder(own)
    kept = next(each for each in folder.swatches if each.name == "rose-2")
    assert kept.note == "second pour"
    assert (kept.conditions.mould, kept.conditions.cure_c) == ("acrylic", 23.0)
    assert {each.backing for each in folder.readings if each.swatch == "rose-2"} == {"black", "white"}


def test_a_name_that_is_taken_changes_nothing(own: Path, demo_many_flux: Palette) -> None:
    before = (own / "swatches.csv").read_bytes(), (own / "readings.csv").read_bytes()
    with pytest.raises(InputError, match="is there already"):
        keep_as_swatch(own, trial_of(demo_many_flux), demo_many_flux, name="peach-lid")
    with pytest.raises(FolderError, match="backing"):
        keep_as_swatch(own, trial_of(demo_many_flux), demo_many_flux, name="white")
    assert ((own / "swatches.csv").read_bytes(), (own / "readings.csv").read_bytes()) == before


def test_a_folder_with_decimal_commas_is_written_in_its_own_hand(own: Path, demo_many_flux: Palette) -> None:
    for name in ("swatches.csv", "readings.csv"):
        text = (own / name).read_text("utf-8")
        assert ";" not in text
        (own / name).write_text(text.replace(",", ";").replace(".", ","), "utf-8")
    keep_as_swatch(own, trial_of(demo_many_flux), demo_many_flux, name="rose-2")
    assert "rose-2;clear;2;0,3" in (own / "swatches.csv").read_text("utf-8")
    assert next(each for each in library.read_folder(own).swatches if each.name == "rose-2").loadings["white"] == 0.3


def test_an_order_is_weighed_as_a_trial_corrected_it_and_the_casting_kept(own: Path, tmp_path: Path) -> None:
    (own / "orders").mkdir(exist_ok=True)
    order, made, file = own / "orders" / "lid.toml", own / "orders" / "lid", tmp_path / "lid-2.json"
    order.write_text(ORDER, "utf-8")
    assert tint("order", order).exit_code == 0
    proposed = json.loads((own / "orders" / "lid.recipe.json").read_text("utf-8"))["recipes"][0]
    assert tint("order", order, "--answer", "approved", "--by", "the tea house").exit_code == 0
    approved = (made / "approval.html").read_bytes(), (made / "expected.csv").read_bytes()
    learn = ("adjust", order, "--read", f"{own / 'readings.csv'}:celadon-lid", "--set", "most_recipes=1", "--json")
    file.write_text(tint(*learn).stdout, "utf-8")
    corrected = json.loads(file.read_text("utf-8"))["recipes"][0]
    assert corrected["loadings"] != proposed["loadings"]

    done = tint("order", order, "--recipe", file, "--json")
    assert "doses are as corrected" in done.stderr
    told = json.loads(done.stdout)
    assert told["loadings"] == corrected["loadings"]
    assert {Path(each).name for each in told["written"]} == {"weigh.pdf", "weigh.csv", "weigh.json", "labels.pdf"}
    assert json.loads((made / "weigh.json").read_text("utf-8"))["loadings"] == corrected["loadings"]
    assert ((made / "approval.html").read_bytes(), (made / "expected.csv").read_bytes()) == approved
    again = json.loads(tint("order", order, "--json").stdout)
    assert (again["loadings"], again["written"], again["solved"]) == (corrected["loadings"], [], False)
    assert "approved" in tint("order", own, "--all").stdout
    refused = tint("order", order, "--recipe", own / "palette.toml")
    assert (refused.exit_code, refused.stderr.count("\n")) == (2, 1)

    found = tint(*learn, "--as-swatch", "lid-2")  # the next pour is of the corrected recipe
    assert found.exit_code == 0, found.stderr
    assert len(json.loads(found.stdout)["written"]) == 2
    kept = next(each for each in library.read_folder(own).swatches if each.name == "lid-2")
    assert kept.loadings == pytest.approx(corrected["loadings"], rel=1e-5)


@pytest.mark.parametrize("sheets", [("swatches", "readings"), ("swatches",)])
def test_a_workbook_is_written_to_when_asked(own: Path, demo_many_flux: Palette, sheets: tuple[str, ...]) -> None:
    openpyxl = pytest.importorskip("openpyxl", reason="workbooks are read with openpyxl")
    book = openpyxl.Workbook()
    for name in sheets:
        sheet = book.create_sheet(name)
        with (own / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            for row in csv.reader(file):
                sheet.append([float(cell) if re.fullmatch(r"[\d.]+", cell) else cell or None for cell in row])
        (own / f"{name}.csv").unlink()
    kept = book["swatches"]["C2"]
    kept.number_format = "0.000"
    remark = book.create_sheet("remarks")
    remark["A1"] = "=1+1"
    book.save(own / "swatches.xlsx")
    before, was = library.read_folder(own), (own / "swatches.xlsx").read_bytes()
    with pytest.raises(InputError, match="add --into-workbook"):
        keep_as_swatch(own, trial_of(demo_many_flux), demo_many_flux, name="rose-2")
    assert (own / "swatches.xlsx").read_bytes() == was
    files = keep_as_swatch(own, trial_of(demo_many_flux), demo_many_flux, name="rose-2", into_workbook=True)
    assert {each.name for each in files} == {"swatches.xlsx", *(() if "readings" in sheets else ("readings.csv",))}
    after = library.read_folder(own)
    assert len(after.swatches) == len(before.swatches) + 1
    (swatch,) = [each for each in after.swatches if each.name == "rose-2"]
    assert swatch.loadings == {"white": 0.3, "red": 0.04}
    assert sorted(each.backing for each in after.readings if each.swatch == "rose-2") == ["black", "white"]
    assert len(after.readings) == len(before.readings) + 2
    again = openpyxl.load_workbook(own / "swatches.xlsx")
    assert (again["remarks"]["A1"].value, again["swatches"]["C2"].number_format) == ("=1+1", "0.000")
