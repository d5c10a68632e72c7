"""Bad input of every command: its exit status and its one line, from a table."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from tint.cli import main
from tint.errors import InputError, JobError
from tint.swatches import INPUT_FILES

CLEAR = "--base clear --thickness 3"
RED = "--thickness 3 --target-lab 50,60,40"

# Arguments (FOLDER stands for a fitted folder, HERE for an empty one), exit status, and what the line must say.
FAULTS: list[tuple[str, int, str]] = [
    # Usage.
    ("predikt FOLDER", 2, "there is no command `predikt`; did you mean predict?; run `tint --help`"),
    ("--nonsense", 2, "no such option"),
    ("weigh FOLDER --waist 2", 2, "weigh: no such option '--waist'; run `tint weigh --help`"),
    ("weigh FOLDER --batch 2", 2, "weigh: no such option '--batch'; did you mean --batch-g or --set batch_cm3?"),
    ("solve FOLDER --lab 70,20,40", 2, "solve: no such option '--lab'; did you mean --target-lab?"),
    ("solve FOLDER --walls 2", 2, "'--walls'; did you mean --wall?"),
    ("solve FOLDER --thick 2", 2, "'--thick'; did you mean --thickness or --set target_thickness_mm?"),
    ("solve FOLDER --exclude red", 2, "'--exclude'; did you mean --leave-out?"),
    ("predict FOLDER --pigment white=0.5", 2, "'--pigment'; did you mean --load?"),
    ("predict", 2, "predict: missing argument"),
    (f"predict FOLDER {CLEAR} --thikness 2", 2, "--thickness"),
    (f"predict FOLDER {CLEAR} --seat damp", 2, "'damp' is not one of 'air', 'wet'"),
    (f"predict FOLDER {CLEAR} --observer 5", 2, "'5' is not one of '2', '10'"),
    (f"predict FOLDER {CLEAR} --set geometry=8:d", 2, "'8:d' is not one of"),
    (f"predict FOLDER {CLEAR} stray", 2, "stray"),
    (f"predict FOLDER {CLEAR} --load", 2, "requires an argument"),
    (f"solve FOLDER {RED} --set most_recipes=none", 2, "--set most_recipes: `none` is not a number; expected a"),
    (f"solve FOLDER {RED} --set most_recipes=0", 2, "--set most_recipes: 0; expected a whole number of at least 1"),
    (f"proof FOLDER {CLEAR} --load white=1 --out HERE/a.html", 2, "a name that ends in .png; .html is for --sheet"),
    (f"solve FOLDER {RED} --opacity opaque", 2, "or 0.6..0.7; did you mean solid?"),
    (f"solve FOLDER {RED} --opacity 95%", 2, "or 0.6..0.7; write 0.95"),
    (f"solve FOLDER {RED} --opacity 0,95", 2, "or 0.6..0.7; write 0.95"),
    (f"solve FOLDER {RED} --set transmittance=30%", 2, "or 0.3..0.4; write 0.3"),
    # Folders.
    ("check HERE/none", 2, "HERE/none: 1 fault keeps it from being used"),
    ("check FOLDER/palette.toml", 2, "1 fault keeps it from being used"),
    ("fit HERE/none", 2, "HERE/none: there is no such folder; name the folder that holds palette.toml"),
    ("fit HERE", 2, "palette.toml: the file is missing"),
    ("fit FOLDER/readings.csv", 2, "this is a file"),
    (f"predict HERE/none {CLEAR}", 2, "there is no such folder"),
    # Blends.
    ("predict FOLDER --thickness 3", 2, "--base: no base is named; expected one of clear, milky"),
    ("predict FOLDER --thickness 3 --base cler", 2, "--base: there is no `cler`; expected one of clear, milky;"),
    (f"predict FOLDER {CLEAR} --load withe=0.5", 2, "--load: there is no `withe`"),
    (f"predict FOLDER {CLEAR} --load White=0.5", 2, "did you mean white?"),
    (f"predict FOLDER {CLEAR} --load white", 2, "--load: `white`; expected PIGMENT=PERCENT, as in white=0.5"),
    (f"predict FOLDER {CLEAR} --load =0.5", 2, "expected PIGMENT=PERCENT"),
    (f"predict FOLDER {CLEAR} --load white=0,5", 2, "`0,5` has a comma; expected a loading in percent"),
    (f"predict FOLDER {CLEAR} --load white=0.5,yellow=0.3", 2, "names more than one pigment"),
    (f"predict FOLDER {CLEAR} --load white=much", 2, "--load white: `much` is not a number"),
    (f"predict FOLDER {CLEAR} --load white=nan", 2, "`nan` is not a number"),
    (f"predict FOLDER {CLEAR} --load white=-1", 2, "-1 %; expected a loading from 0 to 100 %"),
    (f"predict FOLDER {CLEAR} --load white=60 --load red=60", 2, "sum to 120 %"),
    (f"predict FOLDER {CLEAR} --load white=1 --load white=2", 2, "white is given twice"),
    # Settings.
    ("predict FOLDER --base clear", 2, "--thickness: not given; expected the wall thickness of the part in mm"),
    ("predict FOLDER --base clear --thickness 3mm", 2, "--thickness: `3mm` is not a number"),
    ("proof FOLDER --base clear --out HERE/a.png --thickness 2,5", 2, "write 2.5"),
    ("predict FOLDER --base clear --thickness 0:6:0", 2, "--thickness: `0:6:0` has a step of 0 mm; expected a range"),
    ("predict FOLDER --base clear --thickness 6:1:0.5", 2, "`6:1:0.5` runs down"),
    ("proof FOLDER --base clear --out HERE/a.png --thickness 1:6:1", 2, "`1:6:1` is more than one thickness"),
    ("predict FOLDER --base clear --thickness 0", 2, "thickness: 0 mm"),
    ("predict FOLDER --base clear --thickness inf", 2, "`inf` is not a number"),
    (f"predict FOLDER {CLEAR} --over balck", 2, "--over: there is no `balck`; expected one of black, white, none"),
    (f"predict FOLDER {CLEAR} --light D66", 2, "did you mean D65?"),
    # Targets.
    ("solve FOLDER --thickness 3", 2, "target: no colour is named; expected --target-lab"),
    ("solve FOLDER --target-lab 50,60,40", 2, "--thickness: not given"),
    ("solve FOLDER --thickness 3 --target-lab 50,60", 2, "--target-lab: `50,60`; expected three numbers L,a,b"),
    ("solve FOLDER --thickness 3 --target-lab 50,5,60,40", 2, "write decimals with a point"),
    ("solve FOLDER --thickness 3 --target-lab 50,red,40", 2, "`red` is not a number"),
    ("solve FOLDER --thickness 3 --target-lab 500,0,0", 2, "target: Lab"),
    ("solve FOLDER --thickness 3 --target-srgb beige", 2, "`beige` is not one"),
    (f"solve FOLDER {RED} --target-srgb c8a060", 2, "--target-lab and --target-srgb are both given"),
    ("solve FOLDER --thickness 3 --opacity 0.9", 2, "target: an opacity or tolerance without a colour"),
    (f"solve FOLDER {RED} --opacity 98", 2, "contrast ratio"),
    (f"solve FOLDER {RED} --opacity 0.9..0.8", 2, "at least 0.9 and at most 0.8"),
    (f"solve FOLDER {RED} --tolerance 0", 2, "tolerance"),
    ("solve FOLDER --thickness 3 --target-reading HERE/none.csv", 2, "HERE/none.csv: cannot be read"),
    ("solve FOLDER --thickness 3 --target-reading FOLDER", 2, "cannot be read"),
    ("solve FOLDER --thickness 3 --target-reading FOLDER/readings.csv:nobody", 2, "no reading is named `nobody`"),
    (f"solve FOLDER {RED} --keep rouge", 2, "--keep: there is no `rouge`"),
    (f"solve FOLDER {RED} --leave-out wite", 2, "--leave-out: there is no `wite`"),
    (f"solve FOLDER {RED} --most-pigments 9", 2, "most pigments: 9"),
    (f"solve FOLDER {RED} --keep red --leave-out red", 2, "also to be left out"),
    # Batches and recipes.
    (f"weigh FOLDER {CLEAR}", 2, "batch: not given"),
    (f"weigh FOLDER {CLEAR} --batch-g 10 --set batch_cm3=10", 2, "batch: given twice"),
    (f"weigh FOLDER {CLEAR} --batch-g -5", 2, "batch"),
    (f"weigh FOLDER {CLEAR} --batch-g 10 --set scale_step_g=0", 2, "scale step: 0 g"),
    (f"weigh FOLDER {CLEAR} --batch-g 10 --set waste_percent=-3", 2, "waste: -3 %"),
    ("weigh FOLDER --batch-g 10 --recipe HERE/none.json", 2, "HERE/none.json: cannot be read"),
    ("weigh FOLDER --batch-g 10 --recipe FOLDER/palette.toml", 2, "palette.toml: is not JSON"),
    (f"weigh FOLDER {CLEAR} --batch-g 10 --recipe FOLDER/palette.toml", 2, "given together with --base or --load"),
    (f"weigh FOLDER {CLEAR} --batch-g 10 --pick 2", 2, "--pick: no recipe file to pick from"),
    # Pictures.
    (f"proof FOLDER {CLEAR}", 2, "missing option '--out'"),
    (f"proof FOLDER {CLEAR} --out HERE/proof.jpg", 2, "expected a name that ends in .png"),
    (f"proof FOLDER {CLEAR} --out HERE/none/proof.png", 2, "cannot be written"),
]  # fmt: skip


def run(arguments: list[str], text: str | None = None) -> Result:
    model = ["--optics", "two-flux"] if arguments[0] in ("fit", "predict", "solve", "weigh", "proof") else []
    return CliRunner().invoke(main, [*arguments, *model] if arguments[-1] != "--load" else arguments, input=text)


def assert_told(result: Result, status: int, told: str) -> None:
    assert isinstance(result.exception, SystemExit), repr(result.exception)
    assert result.exit_code == status
    assert result.stderr.startswith("tint: ")
    assert result.stderr.endswith("\n")
    assert result.stderr.count("\n") == 1
    assert told in result.stderr


@pytest.mark.parametrize(("arguments", "status", "told"), FAULTS)
def test_fault(arguments: str, status: int, told: str, fitted_demo: Path, tmp_path: Path) -> None:
    places = {"FOLDER": str(fitted_demo), "HERE": str(tmp_path)}
    for word, place in places.items():
        arguments, told = arguments.replace(word, place), told.replace(word, place)
    result = run(arguments.split(" "))
    assert_told(result, status, told)
    assert result.stdout == "" or arguments.startswith("check")  # which tells all that it found first


def test_no_palette_yet(demo_folder: Path) -> None:
    result = run(["predict", str(demo_folder), *CLEAR.split()])
    assert_told(result, 2, "there is no fitted palette yet; run `tint fit ")


def test_no_palette_of_another_model_names_the_model(fitted_demo: Path) -> None:
    result = CliRunner().invoke(main, ["predict", str(fitted_demo), *CLEAR.split(), "--optics", "many-flux"])
    assert_told(result, 2, "palette.many-flux.fit: there is no fitted palette yet; run `tint fit ")


@pytest.mark.parametrize("file", INPUT_FILES)
def test_swatches_changed_since_the_fit(fitted_demo: Path, demo_folder: Path, file: str) -> None:
    palette = fitted_demo / "palette.two-flux.fit"
    (demo_folder / palette.name).write_bytes(palette.read_bytes())
    assert run(["predict", str(demo_folder), *CLEAR.split()]).exit_code == 0
    with (demo_folder / file).open("ab") as stream:
        stream.write(b"[pigments.new]\n" if file == "palette.toml" else b"\n")
    result = run(["predict", str(demo_folder), *CLEAR.split()])
    assert_told(result, 2, "was fitted to other swatches than now stand in the folder; run `tint fit ")


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 torn"])
def test_a_broken_palette_is_fitted_again_with_a_word(small_folder: Path, content: bytes) -> None:
    (small_folder / "palette.two-flux.fit").write_bytes(content)
    result = run(["predict", str(small_folder), *CLEAR.split()])
    assert result.exit_code == 0
    assert result.stderr.endswith("palette.two-flux.fit: is broken or of another version; it is fitted again\n")
    assert run(["predict", str(small_folder), *CLEAR.split()]).stderr == ""


def test_a_folder_in_place_of_a_file(demo_folder: Path) -> None:
    (demo_folder / "readings.csv").unlink()
    (demo_folder / "readings.csv").mkdir()
    assert_told(run(["fit", str(demo_folder)]), 2, "readings.csv: it cannot be opened: Is a directory")


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything")
def test_an_unreadable_file(demo_folder: Path) -> None:
    (demo_folder / "readings.csv").chmod(0)
    assert_told(run(["fit", str(demo_folder)]), 2, "readings.csv: it cannot be opened: Permission denied")


def test_a_fault_in_a_file_is_told_by_row_and_column(demo_folder: Path) -> None:
    swatches = demo_folder / "swatches.csv"
    swatches.write_text(swatches.read_text().replace("clear-3mm,clear,3.10", "clear-3mm,clear,thick"))
    assert_told(run(["fit", str(demo_folder)]), 2, "swatches.csv, row 3, column thickness_mm: ")


RECIPE = {"base": "clear", "loadings": {"white": 0.5}}
RECIPES: list[tuple[object, str]] = [
    ([], "standard input: found a list; expected a table, what `tint solve --json` writes"),
    ({}, "standard input, key recipes: the key is missing; expected what `tint solve --json` writes"),
    ({"recipes": []}, "holds no recipe"),
    (
        {"recipes": [{"base": "clear", "loadings": {"white": "much"}}]},
        "standard input, key recipes[1].loadings",
    ),
    ({"recipes": [{"base": "rubber", "loadings": {}}]}, "--base: there is no `rubber`"),
    ({"recipes": [{"base": "clear", "loadings": {"wite": 0.5}}]}, "did you mean white?"),
    ({"recipes": [RECIPE | {"loadings": {"white": -1.0}}], "setting": {"thickness_mm": 3.0}}, "-1 %"),
    ({"recipes": [RECIPE]}, "--thickness: not given"),
    ({"recipes": [RECIPE], "setting": {"thickness_mm": -3.0}}, "thickness: -3 mm"),
    ({"recipes": [RECIPE], "setting": {"thickness_mm": 3.0, "over": "blue"}}, "--over: there is no `blue`"),
    ({"recipes": [RECIPE], "setting": {"thickness_mm": 3.0, "seat": "damp"}}, "seat"),
    ({"recipes": [RECIPE], "setting": {"thickness_mm": 3.0, "observer": 5}}, "observer: 5"),
]


@pytest.mark.parametrize(("content", "told"), RECIPES)
def test_a_recipe_that_cannot_be_used(fitted_demo: Path, content: object, told: str) -> None:
    result = run(["weigh", str(fitted_demo), "--recipe", "-", "--batch-g", "100"], text=json.dumps(content))
    assert_told(result, 2, told)


def test_a_pick_beyond_the_recipes(fitted_demo: Path) -> None:
    text = json.dumps({"recipes": [RECIPE], "setting": {"thickness_mm": 3.0}})
    arguments = ["weigh", str(fitted_demo), "--recipe", "-", "--batch-g", "100", "--pick", "2"]
    assert_told(run(arguments, text=text), 2, "--pick: 2; expected 1 to 1, the recipes in standard input")


def test_a_job_that_cannot_be_done_has_its_own_status(fitted_demo: Path) -> None:
    result = run(["solve", str(fitted_demo), *RED.split(), "--base", "clear", "--keep", "rose"])
    assert_told(result, 1, "rose: not safe")


@pytest.mark.parametrize(("error", "status"), [(InputError, 2), (JobError, 1)])
def test_errors_of_the_library_are_told_once(
    error: type[InputError], status: int, fitted_demo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*arguments: object, **options: object) -> None:
        raise error("here", "this\nwas found", "expected that", "mend it")

    monkeypatch.setattr("tint.cli.predict.predict", fail)
    result = run(["predict", str(fitted_demo), *CLEAR.split()])
    assert_told(result, status, "tint: here: this was found; expected that; mend it\n")


def test_a_full_disk_is_told_as_such(fitted_demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*arguments: object, **options: object) -> None:
        raise OSError(28, "No space left on device", "palette.two-flux.fit")

    monkeypatch.setattr("tint.cli.predict.predict", fail)
    assert_told(run(["predict", str(fitted_demo), *CLEAR.split()]), 2, "palette.two-flux.fit: No space left on device")


def test_a_defect_shows_itself(fitted_demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*arguments: object, **options: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("tint.cli.predict.predict", fail)
    assert isinstance(run(["predict", str(fitted_demo), *CLEAR.split()]).exception, ZeroDivisionError)
