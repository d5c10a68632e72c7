"""`tint adjust`, `tint inspect` and `tint lot` from end to end: pages, JSON, trial files, and bad input."""

from __future__ import annotations

import csv
import functools
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result
from numpy.typing import NDArray

from tint.appearance import Setting, predict
from tint.cli import COMMANDS, main
from tint.materials import Blend
from tint.palette import Palette
from tint.trials.files import loadings_of, read_trial

Array = NDArray[np.float64]

pytestmark = pytest.mark.usefixtures("sought_once")  # most of it is told twice: as a page and as JSON

DEMO = Path(__file__).parents[1] / "swatches_demo"
BLEND = Blend("clear", {"white": 0.4, "ochre": 0.1})
POURED = ["--base", "clear", "--load", "white=0.4", "--load", "ochre=0.1", "--thickness", "3"]
RULES = ["--set", "most_pigments=2"]


def run(command: str, folder: Path, *arguments: object) -> Result:
    return _once(command, str(folder), *map(str, arguments))


@functools.cache  # no command here changes a file, and several tests look at one answer
def _once(*named: str) -> Result:
    return CliRunner().invoke(main, named, env={"COLUMNS": "100"})


def page(command: str, folder: Path, *arguments: object) -> str:
    """The page as one line."""
    result = run(command, folder, *arguments)
    assert result.exit_code == 0, result.stderr or repr(result.exception)
    assert result.stderr == ""
    return " ".join(result.stdout.split())


def answer(command: str, folder: Path, *arguments: object) -> dict[str, Any]:
    result = run(command, folder, *arguments, "--json")
    assert result.exit_code == 0, result.stderr or repr(result.exception)
    content = json.loads(result.stdout)
    assert isinstance(content, dict)
    return content


def seen(palette: Palette, blend: Blend, over: str, thickness: float = 3.0) -> Array:
    return predict(palette, blend, setting=Setting(thickness_mm=thickness, over=over)).reflectance


def noisy(values: Array, seed: int) -> Array:
    return np.asarray(values + np.random.default_rng(seed).normal(0.0, 0.001, values.shape))


def write_readings(path: Path, wavelengths: Array, rows: Mapping[tuple[str, str], Array]) -> Path:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["reading", "backing", "seat", *(f"{nm:g}" for nm in wavelengths)])
        writer.writerows([name, over, "air", *(f"{x:.5f}" for x in values)] for (name, over), values in rows.items())
    return path


@pytest.fixture(scope="module")
def folder(many_demo: Path) -> Path:
    """The demo folder with its palette by the model that its castings obey: only then are small changes told."""
    return many_demo


@pytest.fixture(scope="module")
def palette(demo_many_flux: Palette) -> Palette:
    return demo_many_flux


@pytest.fixture(scope="module")
def readings(palette: Palette, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What the poured blend reads: as it should, with stronger ochre, and with some of each missing."""
    rows = {}
    for name, factor in (("good", 1.0), ("strong", 1.25), ("weak", 0.8)):
        truth = Blend("clear", {"white": 0.4, "ochre": 0.1 * factor})
        for at, over in enumerate(("white", "black")):
            rows[name, over] = noisy(seen(palette, truth, over), at)
    return write_readings(tmp_path_factory.mktemp("read") / "read.csv", palette.wavelengths, rows)


@pytest.fixture(scope="module")
def wish(palette: Palette) -> list[str]:
    look = predict(palette, BLEND, setting=Setting(thickness_mm=3.0))
    return ["--target-lab", ",".join(f"{x:.3f}" for x in look.lab), "--opacity", f"{look.contrast_ratio:.4f}"]


def read(readings: Path, name: str) -> list[str]:
    return ["--read", f"{readings}:{name}", "--read-black", f"{readings}:{name}"]


# adjust


def test_a_strong_lot_is_told_and_corrected(folder: Path, readings: Path, wish: list[str]) -> None:
    content = answer("adjust", folder, *POURED, *read(readings, "strong"), *wish, *RULES)
    assert content["leave"] is False
    assert content["verdict"].startswith("Correct it: the trial is ")
    assert content["missed"] > content["scatter"] > 0.0
    (strength,) = [each for each in content["findings"] if each["what"] == "strength:ochre"]
    assert strength["value"] == pytest.approx(1.25, abs=0.06)
    best = content["recipes"][0]
    assert best["base"] == "clear"
    assert best["loadings"]["ochre"] == pytest.approx(0.08, rel=0.06)
    assert best["loadings"]["white"] == pytest.approx(0.4, rel=0.05)
    assert best["reached"] is True
    assert content["additions"] is None
    assert content["kept_pigments"] is True


def test_json_has_the_keys_of_solve_and_its_own(folder: Path, readings: Path, wish: list[str]) -> None:
    content = answer("adjust", folder, *POURED, *read(readings, "strong"), *wish, *RULES)
    solved = answer("solve", folder, "--base", "clear", "--thickness", 3, *wish, *RULES)
    assert set(content) >= set(solved)
    assert set(content["recipes"][0]) == set(solved["recipes"][0])
    own = {"verdict", "leave", "missed", "scatter", "misses", "findings", "additions", "predicted", "kept_pigments"}
    assert set(content) - set(solved) == own | {"trials", "cautions", "again", "otherwise"}
    assert [each["what"] for each in content["misses"]] == ["colour", "contrast ratio"]
    assert all(each["as_read"] for each in content["misses"])


def test_the_page_says_what_to_do(folder: Path, readings: Path, wish: list[str]) -> None:
    told = page("adjust", folder, *POURED, *read(readings, "strong"), *wish, *RULES)
    assert told.startswith("Correct it: the trial is ")
    assert "What the trial says went wrong - ochre is" in told
    assert "stronger than when the swatches were cast" in told
    assert "For a fresh batch, in clear pigment trial % now % change white 0.4000" in told
    assert "expected error" in told


def test_a_colour_without_an_opacity_is_to_be_solid_as_it_is_to_solve(
    folder: Path, readings: Path, wish: list[str]
) -> None:
    colour = wish[:2]
    asked = answer("adjust", folder, *POURED, *read(readings, "good"), *colour, *RULES)["target"]
    assert (
        asked["contrast_ratio_min"]
        == answer("solve", folder, "--base", "clear", "--thickness", 3, *colour, *RULES)["target"]["contrast_ratio_min"]
    )
    lifted = answer("adjust", folder, *POURED, *read(readings, "good"), *colour, "--opacity", "any", *RULES)["target"]
    assert lifted["contrast_ratio_min"] < asked["contrast_ratio_min"]  # as solid as the recipe was meant


def test_a_recipe_file_tells_doses_target_and_part(
    folder: Path, readings: Path, wish: list[str], tmp_path: Path
) -> None:
    fixed = ["--set", "fix=white=0.4", "--set", "fix=ochre=0.1", "--set", "most_pigments=2"]
    wish = [*wish[:2], "--opacity", f"{float(wish[-1]) - 0.01:.4f}..", "--tolerance", "4"]  # both walls can meet it
    solved = answer("solve", folder, "--base", "clear", "--thickness", 3, "--wall", 5, *wish, *fixed)
    file = tmp_path / "recipe.json"
    file.write_text(json.dumps(solved), encoding="utf-8")
    told = answer("adjust", folder, "--recipe", file, *read(readings, "strong"), *RULES)
    by_hand = answer("adjust", folder, *POURED, *read(readings, "strong"), *wish, "--wall", 5, *RULES)
    assert told["walls_mm"] == [5.0]
    assert told["missed"] == pytest.approx(by_hand["missed"], abs=0.01)
    assert told["target"]["contrast_ratio_min"] == by_hand["target"]["contrast_ratio_min"] > 0.5
    # What was weighed otherwise is told beside it, and another wish stands in place of the file's.
    otherwise = answer("adjust", folder, "--recipe", file, *POURED, *read(readings, "good"), "--opacity", "any", *RULES)
    assert otherwise["target"]["contrast_ratio_min"] != told["target"]["contrast_ratio_min"]
    seen = answer("predict", folder, "--recipe", file)
    assert seen["thickness_mm"] == [3.0, 5.0]
    assert seen["loadings"] == solved["recipes"][0]["loadings"]


def test_a_good_pour_is_left_alone(folder: Path, readings: Path, wish: list[str]) -> None:
    told = page("adjust", folder, *POURED, *read(readings, "good"), *wish, *RULES)
    assert told.startswith("Leave it: the trial is 0.")
    assert "fresh batch" not in told
    assert answer("adjust", folder, *POURED, *read(readings, "good"), *wish, *RULES)["leave"] is True


def test_an_opacity_that_is_missed_is_not_left_alone(folder: Path, readings: Path, wish: list[str]) -> None:
    opaque = [*wish[:2], "--opacity", "0.999.."]
    content = answer("adjust", folder, *POURED, *read(readings, "good"), *opaque, *RULES)
    assert content["missed"] <= content["scatter"]
    assert content["leave"] is False
    assert "below the contrast ratio" in content["verdict"]


def test_additions_are_grams_to_add(folder: Path, readings: Path, wish: list[str]) -> None:
    cup = ["--set", "cup.base_g=50", "--set", "cup.pigments_g=white=0.4", "--set", "cup.pigments_g=ochre=0.1"]
    content = answer("adjust", folder, *POURED, *read(readings, "weak"), *wish, *RULES, *cup)
    added = content["additions"]
    assert added["base_g"] == pytest.approx(0.0, abs=1e-9)
    assert added["pigments_g"]["ochre"] == pytest.approx(0.1 / 0.8 - 0.1, rel=0.25)
    assert added["delta_e"] < content["missed"]
    told = page("adjust", folder, *POURED, *read(readings, "weak"), *wish, *RULES, *cup)
    assert "To the part that stands there, before its other part goes in add g" in told
    assert "add nothing" in page("adjust", folder, *POURED, *read(readings, "good"), *wish, *RULES, *cup)


def test_less_doubt_of_a_lot_moves_it_less(folder: Path, readings: Path, wish: list[str]) -> None:
    loadings = [
        answer(
            "adjust",
            folder,
            *POURED,
            *read(readings, "strong"),
            *wish,
            *RULES,
            "--set",
            f"doubts.strength_percent={doubt}",
        )["recipes"][0]["loadings"]["ochre"]
        for doubt in (12, 0.1)
    ]
    assert loadings[0] < 0.09 < loadings[1]


def test_an_early_reading_is_cautioned(folder: Path, readings: Path, wish: list[str]) -> None:
    told = page("adjust", folder, *POURED, *read(readings, "good"), *wish, *RULES, "--set", "trial.days_of_cure=0.2")
    assert "trial 1 was read after less than a day of cure" in told


# Trial files

TRIAL = """
base = "clear"
thickness_mm = 3.0
days_of_cure = 7
mould = "lid 2"
cure_c = 60
finish = "satin"
lot = "B-2"

[grams]
A = 49.75
B = 49.75
white = 0.4
ochre = 0.1

[[readings]]
file = "read.csv"
name = "strong"
over = "white"

[[readings]]
file = "read.csv"
name = "strong"
over = "black"
seat = "air"
"""


@pytest.fixture
def trial_file(readings: Path, tmp_path: Path) -> Path:
    (tmp_path / "read.csv").write_bytes(readings.read_bytes())
    (tmp_path / "lid.toml").write_text(TRIAL, encoding="utf-8")
    return tmp_path / "lid.toml"


def test_a_trial_file_says_the_same_as_options(folder: Path, readings: Path, wish: list[str], trial_file: Path) -> None:
    by_file = answer("adjust", folder, "--trial", trial_file, *wish, *RULES)
    by_option = answer("adjust", folder, *POURED, *read(readings, "strong"), *wish, *RULES)
    assert by_file["missed"] == pytest.approx(by_option["missed"])
    for name, dose in by_option["recipes"][0]["loadings"].items():
        assert by_file["recipes"][0]["loadings"][name] == pytest.approx(dose, rel=1e-6)


def test_a_trial_file_is_read_whole(trial_file: Path, palette: Palette) -> None:
    trial = read_trial(trial_file, palette)
    assert trial.blend.base == "clear"
    assert trial.blend.loadings == pytest.approx({"white": 0.4, "ochre": 0.1})
    assert (trial.days_of_cure, trial.mould, trial.thickness_mm) == (7.0, "lid 2", 3.0)
    assert (trial.cure_c, trial.finish, trial.lot) == (60.0, "satin", "B-2")
    assert [each.over for each in trial.readings] == ["white", "black"]
    same = {
        "base": "clear",
        "thickness_mm": 3,
        "loadings": {"white": 0.4, "ochre": 0.1},
        "readings": [{"file": "read.csv", "name": "strong", "over": "white"}],
    }
    as_json = trial_file.with_suffix(".json")
    as_json.write_text(json.dumps(same), encoding="utf-8")
    assert read_trial(as_json, palette).blend == Blend("clear", {"white": 0.4, "ochre": 0.1})


def test_two_trials_are_surer_than_one(folder: Path, wish: list[str], trial_file: Path) -> None:
    once, twice = (
        answer("adjust", folder, *["--trial", trial_file] * count, *wish, *RULES)["findings"] for count in (1, 2)
    )
    errors = [next(each["error"] for each in told if each["what"] == "strength:ochre") for told in (once, twice)]
    assert errors[1] < errors[0]


def test_grams_become_percent(palette: Palette) -> None:
    base = palette.bases["clear"]
    assert loadings_of(base, {"A": 60.0, "B": 60.0, "white": 0.6}, where="x") == pytest.approx({"white": 60.0 / 120.6})


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('base = "clear"', 'base = "cler"', "base: `cler` is not in the palette"),
        ('base = "clear"', "", "key base: the key is missing"),
        ("thickness_mm = 3.0", 'thickness_mm = "3 mm"', "key thickness_mm: found text"),
        ("thickness_mm = 3.0", "thickness_mm = nan", "key thickness_mm: nan mm; expected more than 0"),
        ("thickness_mm = 3.0", "thickness_mm = 300", "key thickness_mm: 300 mm; expected more than 0"),
        ("mould", "mold", "key mold: there is no such key; expected one of base, thickness_mm"),
        ("cure_c = 60", "cure_c = 900", "key cure_c: 900; expected degrees Celsius from 0 to 300"),
        ("days_of_cure = 7", "days_of_cure = -1", "key days_of_cure: -1; expected days from 0 to 10000"),
        ("A = 49.75", "", "grams: there is no part A; expected grams of part A, part B and of each pigment"),
        ("A = 49.75", "A = 4.975", "grams: the parts are 4.975 : 49.75 g; expected a ratio of 1 : 1 in clear"),
        ("white = 0.4", "white = -0.4", "grams: -0.4 g of white; expected 0 g or more"),
        ("white = 0.4", "withe = 0.4", "pigment `withe` is not in the palette"),
        ("[grams]", "[grms]", "key grms: there is no such key"),
        ('over = "black"', 'over = "grey"', "key readings[2].over: `grey`; expected one of black, white, none"),
        ('seat = "air"', 'seat = "damp"', "key readings[2].seat: `damp`; expected air or wet"),
        ('seat = "air"', 'sit = "air"', "key readings[2].sit: there is no such key; expected one of file, over"),
        ('name = "strong"', 'name = "stong"', "read.csv: no reading is named `stong`"),
        ('file = "read.csv"', 'file = "none.csv"', "none.csv: cannot be read"),
        ('file = "read.csv"', "", "key readings[1].file: the key is missing"),
        ("[grams]", "[grams", "lid.toml: cannot be understood"),
        ("[grams]", f"a = {'[' * 900}{']' * 900}\n[grams]", "lid.toml: is nested too deeply"),
        ("[grams]", f"a = {'[' * 90}{']' * 90}\n[grams]", "lid.toml: is nested too deeply"),
        ("[grams]", f"a = {'9' * 5000}\n[grams]", "lid.toml: cannot be understood"),
        ("[grams]", "[loadings]\nwhite = 1\n[grams]", "loadings and grams are both there"),
    ],
)
def test_a_bad_trial_file_is_told(
    folder: Path, wish: list[str], trial_file: Path, old: str, new: str, told: str
) -> None:
    trial_file.write_text(TRIAL.replace(old, new), encoding="utf-8")
    assert_told(run("adjust", folder, "--trial", trial_file, *wish), 2, told)


# inspect


def against(readings: Path, name: str, *, black: bool = False) -> list[str]:
    pair = ["--reading", f"{readings}:{name}", "--reference", f"{readings}:good"]
    more = ["--reading-black", f"{readings}:{name}", "--reference-black", f"{readings}:good"]
    return pair + (more if black else [])


def test_inspect_says_pass_fail_or_too_close(folder: Path, readings: Path) -> None:
    same = answer("inspect", folder, *against(readings, "good"))
    assert (same["verdict"], same["delta_e"], len(same["words"])) == ("pass", 0.0, 1)
    other = answer("inspect", folder, *against(readings, "strong", black=True), "--tolerance-contrast", "0.02")
    assert other["verdict"] == "fail"
    assert [check["what"] for check in other["checks"]] == ["colour", "contrast ratio"]
    assert other["words"][0].startswith(("darker", "more chromatic"))
    edge = answer("inspect", folder, *against(readings, "strong"), "--tolerance", other["delta_e"] * 1.001)
    assert edge["verdict"] == "too close to call"
    told = page("inspect", folder, *against(readings, "strong"), "--tolerance", other["delta_e"] * 1.001)
    assert told.startswith("Too close to call: read both again")


def test_inspect_page(folder: Path, readings: Path) -> None:
    told = page("inspect", folder, *against(readings, "strong"), "--tolerance-lightness", "0.6")
    assert told.startswith("Fail: the difference is outside what was agreed. over white, air seat, D65, 10° observer")
    assert "what differs agreed guard verdict colour" in told
    assert "lightness" in told
    assert "The part, beside what was approved, is -" in told


def test_more_readings_narrow_the_guard(folder: Path, readings: Path) -> None:
    once, often = (
        answer("inspect", folder, *against(readings, "strong"), "--readings", n, "--reference-readings", n)
        for n in (1, 4)
    )
    assert often["delta_e_error"] == pytest.approx(once["delta_e_error"] / 2.0)


def test_an_uncured_part_is_judged_as_it_will_be(
    folder: Path, palette: Palette, readings: Path, tmp_path: Path
) -> None:
    good = seen(palette, BLEND, "white")
    rows = ["casting,state," + ",".join(f"{nm:g}" for nm in palette.wavelengths)]
    for at in range(8):
        for state, gain in (("early", 0.95), ("cured", 1.0)):
            rows.append(f"lid-{at},{state}," + ",".join(f"{x:.5f}" for x in noisy(gain * good, 10 * at + len(state))))
    pairs = tmp_path / "pairs.csv"
    pairs.write_text("\n".join(rows), encoding="utf-8")
    fresh = write_readings(tmp_path / "fresh.csv", palette.wavelengths, {("lid", "white"): 0.95 * good})
    arguments = ["--reading", f"{fresh}:lid", "--reference", f"{readings}:good"]
    assert answer("inspect", folder, *arguments)["verdict"] == "fail"
    cured = answer("inspect", folder, *arguments, "--early", pairs)
    assert cured["verdict"] == "pass"
    assert cured["shift"]["pairs"] == 8
    assert cured["shift"]["known"] is True
    assert cured["delta_e_error"] > answer("inspect", folder, *arguments)["delta_e_error"]
    assert "learned from 8 pairs" in page("inspect", folder, *arguments, "--early", pairs)


# lot


def test_a_lot_is_judged_and_a_recipe_rescaled(folder: Path, readings: Path) -> None:
    old = ["--rescale", "ochre=0.2", "--rescale", "white=0.5"]
    content = answer("lot", folder, "ochre", *POURED, *read(readings, "strong"), *old)
    assert content["strength"] == pytest.approx(1.25, abs=0.03)
    assert content["verdict"] == "rescale"
    assert content["recipe"]["loadings"] == pytest.approx({"ochre": 0.2 / content["strength"], "white": 0.5})
    told = page("lot", folder, "ochre", *POURED, *read(readings, "strong"), *old)
    assert told.startswith("Ochre: it is 2")
    assert "The recipe with this lot pigment was % now % ochre 0.2000 0.1" in told


def test_the_same_lot_leaves_recipes_as_they_are(folder: Path, readings: Path) -> None:
    content = answer("lot", folder, "ochre", *POURED, *read(readings, "good"), "--rescale", "ochre=0.2")
    assert content["verdict"] == "use"
    assert content["recipe"]["loadings"] == {"ochre": 0.2}


def test_a_lot_that_the_letdown_hardly_shows_is_neither_used_nor_recorded(folder: Path) -> None:
    # A trace of ochre under much black reads the same whatever the lot.
    hidden = ["--base", "clear", "--load", "ochre=0.0001", "--load", "black=0.4", "--thickness", "3"]
    dark = ["--read", f"{folder}/readings.csv:black-0.4-3mm"]
    content = answer("lot", folder, "ochre", *hidden, *dark, "--rescale", "ochre=0.2")
    assert (content["verdict"], content["record"], content["recipe"]) == ("unclear", None, None)
    assert "To keep it in the ledger" not in page("lot", folder, "ochre", *hidden, *dark)


def test_a_lot_says_how_to_record_it(folder: Path, readings: Path, tmp_path: Path) -> None:
    if "ledger" not in COMMANDS:
        pytest.skip("there is no ledger")
    record = answer("lot", folder, "ochre", *POURED, *read(readings, "strong"))["record"]
    assert record.startswith(f"tint ledger add lot {folder} --material ochre --lot LOT --strength 1.2")
    assert record.endswith("--verdict rescale")
    # What it says can be done.
    words = record.replace(str(folder), str(tmp_path / "demo")).split()
    (tmp_path / "demo").mkdir()
    for file in folder.iterdir():
        (tmp_path / "demo" / file.name).write_bytes(file.read_bytes())
    result = CliRunner().invoke(main, words[1:])
    assert result.exit_code == 0, result.stderr


# Bad input. READ stands for the readings, FOLDER for another file; the wish and poured options are given where W and P.

FAULTS = [
    ("adjust", "W", "trial: none is named; expected --base, --load, --thickness and --read"),
    ("adjust", "P --read READ:good", "target: no colour is named"),
    ("adjust", "P W", "--read: not given; expected FILE[:NAME]"),
    ("adjust", "P W --read READ", "it holds 6 readings; name one"),
    ("adjust", "P W --read READ:god", "no reading is named `god`"),
    ("adjust", "P W --read HERE/none.csv", "none.csv: cannot be read"),
    ("adjust", "--base clear --load white=0.4 W --read READ:good", "--thickness: not given"),
    ("adjust", "P W --trial HERE/none.toml", "--trial: given together with --base and --load"),
    ("adjust", "W --trial HERE/none.toml", "none.toml: cannot be read"),
    ("adjust", "P W --read READ:good --over balck", "--over: there is no `balck`"),
    ("adjust", "P W --read READ:good --over black --read-black READ:good", "--read-black: --over is black too"),
    ("adjust", "P W --read READ:good --set cup.pigments_g=white=1", "--set cup.base_g: not given"),
    ("adjust", "P W --read READ:good --set cup.base_g=0", "cup: 0 g of base"),
    (
        "adjust",
        "P W --read READ:good --set cup.base_g=9 --set cup.pigments_g=wite=1",
        "--set cup.pigments_g: there is no `wite`",
    ),
    (
        "adjust",
        "P W --read READ:good --set cup.base_g=9 --set cup.pigments_g=white=-1",
        "--set cup.pigments_g=white: -1 g",
    ),
    (
        "adjust",
        "P W --read READ:good --set doubts.strength_percent=0",
        "--set doubts.strength_percent: 0 %; expected more than 0",
    ),
    ("adjust", "P W --read READ:good --set doubts.thickness_mm=1,5", "`1,5` has a comma"),
    (
        "adjust",
        "P W --read READ:good --set trial.cure_c=400",
        "--set trial.cure_c: 400; expected degrees Celsius from 0 to 300",
    ),
    ("adjust", "W --trial HERE/lid.toml --set trial.finish=satin", "--trial: given together with --set trial.finish"),
    (
        "adjust",
        "P W --read READ:good --set trial.days_of_cure=-3",
        "--set trial.days_of_cure: -3; expected days from 0 to 10000",
    ),
    ("adjust", "P W --read READ:good --set trial.thickness_mm=300", "--set trial.thickness_mm: 300 mm"),
    ("adjust", "P W --read READ:good --set keep=rouge", "--set keep: there is no `rouge`"),
    ("inspect", "--reading READ:good", "missing option '--reference'"),
    ("inspect", "--reading READ:good --reference READ:god", "no reading is named `god`"),
    ("inspect", "I --tolerance 0", "tolerance, colour: 0;"),
    ("inspect", "I --tolerance one", "--tolerance: `one` is not a number"),
    ("inspect", "I --reading-black READ:good", "--reference-black: not given"),
    ("inspect", "I --tolerance-contrast 0.02", "nothing was read over black"),
    ("inspect", "I --over grey", "--over: there is no `grey`"),
    ("inspect", "I --over black --reading-black READ:good --reference-black READ:good", "the others lie over black"),
    ("inspect", "I --readings 0", "--readings: 0; expected a whole number"),
    ("inspect", "I --early READ", "read.csv: there is no column state"),
    ("inspect", "I --early READ --reading-black READ:good --reference-black READ:good", "it says nothing of opacity"),
    ("inspect", "I --light D66", "did you mean D65?"),
    ("lot", "mauve P --read READ:good", "lot: there is no `mauve`"),
    ("lot", "blue P --read READ:good", "the letdown holds no blue"),
    ("lot", "milky P --read READ:good", "the letdown holds no milky"),
    ("lot", "ochre", "trial: none is named"),
    ("lot", "clear P --read READ:good --rescale white=1", "--rescale: clear is a base"),
    ("lot", "ochre P --read READ:good --rescale white=1", "--rescale: the recipe holds no ochre"),
    ("lot", "ochre P --read READ:good --rescale ocher=1", "--rescale: there is no `ocher`"),
]


def assert_told(result: Result, status: int, told: str) -> None:
    assert isinstance(result.exception, SystemExit), repr(result.exception)
    assert result.exit_code == status, result.stdout
    assert result.stderr.startswith("tint: ")
    assert result.stderr.count("\n") == 1
    assert told in result.stderr, result.stderr


@pytest.mark.parametrize(("command", "arguments", "told"), FAULTS)
def test_bad_input_is_one_line(
    folder: Path, readings: Path, wish: list[str], tmp_path: Path, command: str, arguments: str, told: str
) -> None:
    words: list[str] = []
    for word in arguments.replace("READ", str(readings)).replace("HERE", str(tmp_path)).split():
        groups = {"W": wish, "P": POURED, "I": against(readings, "good")}
        words += groups.get(word, [word])
    assert_told(run(command, folder, *words), 2, told)
