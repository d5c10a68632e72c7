"""What a user says of a file that leaves it open, command by command; what stands in the file is above it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from tint import colorimetry, inspect, solve
from tint.cli import main
from tint.palette import Palette
from tint.swatches import read_folder
from tint.swatches.instruments import Given

pytestmark = pytest.mark.usefixtures("sought_once")  # of one wish there are many answers

GRID = np.arange(400.0, 701.0, 10.0)
VIEW = colorimetry.viewing(GRID)
DARK = np.round(np.linspace(0.004, 0.009, GRID.size), 5)  # a black: in percent below 1 everywhere
NM = ",".join(f"{nm:g}" for nm in GRID)


@pytest.fixture
def dark(tmp_path: Path) -> Path:
    path = tmp_path / "dark.csv"
    path.write_text(f"name,{NM}\nlid,{','.join(f'{100 * x:.3f}' for x in DARK)}\n", "utf-8")
    return path


@pytest.fixture
def told(tmp_path: Path) -> Path:
    """The same, but the file itself says percent and a geometry."""
    path, names = tmp_path / "told.csv", ",".join(f"{nm:g} [%]" for nm in GRID)
    path.write_text(f"name,geometry,{names}\nlid,de:8,{','.join(f'{100 * x:.3f}' for x in DARK)}\n", "utf-8")
    return path


def run(command: str, folder: Path, *arguments: object) -> Result:
    return CliRunner().invoke(main, [*command.split(), str(folder), *map(str, arguments)], env={"COLUMNS": "100"})


def answer(command: str, folder: Path, *arguments: object) -> dict[str, Any]:
    done = run(command, folder, *arguments, "--json")
    assert done.exit_code == 0, done.stderr or repr(done.exception)
    content: dict[str, Any] = json.loads(done.stdout)
    return content


TWO_FLUX = ("--optics", "two-flux")
ANY = ("--opacity", "any", "--tolerance", "99")  # in reach, so that nothing else is looked for
CAST = ("--base", "clear", "--load", "white=0.3", "--thickness", "3", *TWO_FLUX)
COMMANDS: dict[str, tuple[str, tuple[str, ...]]] = {
    "solve": ("--target-reading", ("--base", "clear", "--thickness", "3", "--most-pigments", "1", *TWO_FLUX, *ANY)),
    "weigh": ("--target-reading", (*CAST, "--batch-g", "100")),
    "proof": ("--target-reading", (*CAST, "--show", "card")),
    "adjust": ("--read", (*CAST, "--target-lab", "60,0,0", "--set", "most_pigments=1", *ANY)),
    "lot": ("--read", CAST),
    "inspect": ("--reading", ()),
}  # fmt: skip


def words(command: str, file: Path, place: Path) -> list[object]:
    option, more = COMMANDS[command]
    extra: list[object] = [option, f"{file}:lid", *more]
    if command == "inspect":
        extra += ["--reference", f"{file}:lid"]
    if command == "lot":
        extra = ["white", *extra]
    return extra + (["--out", place / "card.png", "--replace"] if command == "proof" else [])


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_takes_the_user_s_word_and_heeds_the_file_s(
    command: str, fitted_demo: Path, dark: Path, told: Path, tmp_path: Path
) -> None:
    assert run(command, fitted_demo, *words(command, dark, tmp_path), "--set", "scale=percent").exit_code == 0
    refused = run(command, fitted_demo, *words(command, told, tmp_path), "--set", "scale=fraction")
    assert refused.exit_code == 2
    assert (
        "row 2: the file says percent, --set scale=fraction; expected the file's own word; leave --set scale out"
        in " ".join(refused.stderr.split())
    )
    refused = run(command, fitted_demo, *words(command, told, tmp_path), "--set", "geometry=45:0")
    assert refused.exit_code == 2
    assert "the file says de:8, --set geometry=45:0; expected the file's own word" in " ".join(refused.stderr.split())


def test_solve_sees_the_scale_that_is_said(fitted_demo: Path, dark: Path) -> None:
    lab = colorimetry.lab(DARK, VIEW)
    target = answer("solve", fitted_demo, *words("solve", dark, dark.parent), "--set", "scale=percent")["target"]
    np.testing.assert_allclose(target["lab"], lab, atol=1e-6)
    target = answer("solve", fitted_demo, *words("solve", dark, dark.parent))["target"]
    assert target["lab"][0] > 80.0  # as fractions, which nothing in the file speaks against


def test_a_ledger_keeps_what_was_said(fitted_demo: Path, demo_folder: Path, dark: Path, told: Path) -> None:
    read = (
        "--recipe",
        "1",
        "--reading",
        f"{dark}:lid",
        "--over",
        "white",
        "--set",
        "scale=percent",
        "--set",
        "geometry=de:8",
    )
    done = run("ledger add reference", demo_folder, "--name", "R-1", "--made", "2026-01-01", *read[2:])
    assert done.exit_code == 0, done.stderr
    done = run("ledger add reading", demo_folder, "--reference", "1", *read[2:], "--json")
    assert done.exit_code == 0, done.stderr
    wrong = run("ledger add reading", demo_folder, "--reference", "1", "--over", "white", "--reading", f"{told}:lid",
                "--set", "scale=fraction")  # fmt: skip
    assert wrong.exit_code == 2
    assert "the file says percent" in wrong.stderr
    order = ("--name", "lid", "--words", "black", "--target-reading", f"{dark}:lid", "--over", "white")
    assert run("ledger add order", demo_folder, *order, "--set", "scale=percent").exit_code == 0
    wrong = run("ledger add order", demo_folder, "--name", "b", "--words", "b", "--over", "white", "--target-reading",
                f"{told}:lid", "--set", "scale=fraction")  # fmt: skip
    assert "the file says percent" in wrong.stderr


def test_a_colour_without_a_light_holds_for_the_one_that_is_said(demo_folder: Path, tmp_path: Path) -> None:
    path = tmp_path / "meter.csv"
    path.write_text("name,L,a,b\nlid,60,1,2\n", "utf-8")
    both = ("--reading", path, "--reference", path)
    done = run("inspect", demo_folder, *both)
    assert "no light is told for the colour of lid" in done.stderr
    assert "by --light and --observer" in done.stderr
    done = run("inspect", demo_folder, *both, "--light", "D65", "--observer", "10")
    assert done.exit_code == 0, done.stderr
    assert "taken to hold for D65, 10° observer, as was said" in " ".join(done.stdout.split())
    path.write_text("name,light,observer,L,a,b\nlid,D50,2,60,1,2\n", "utf-8")
    done = run("inspect", demo_folder, *both, "--light", "D65", "--observer", "10")
    assert "row 2: the file says D50, --light D65; expected the file's own word; leave --light out" in done.stderr


def test_pairs_of_early_and_cured_readings_are_on_the_scale_that_is_said(demo_folder: Path, tmp_path: Path) -> None:
    pairs, one = tmp_path / "pairs.csv", tmp_path / "one.csv"
    rows = [
        f"c{at},{state}," + ",".join(f"{100 * x * (1 + 0.1 * at) + more:.3f}" for x in DARK)
        for at in range(6)
        for state, more in (("early", 0.0), ("cured", 0.05))
    ]
    pairs.write_text(f"casting,state,{NM}\n" + "\n".join(rows) + "\n", "utf-8")
    one.write_text(f"name,{NM}\nlid,{','.join(f'{100 * x:.3f}' for x in DARK)}\n", "utf-8")
    read = ("--reading", one, "--reference", one, "--early", pairs, "--set", "scale=percent")
    moved = answer("inspect", demo_folder, *read)["shift"]["lab"]
    early, cured = (colorimetry.lab(DARK + more, VIEW) for more in (0.0, 0.0005))
    assert moved[0] == pytest.approx(float(cured[0] - early[0]), abs=0.2)


def test_a_trial_file_may_say_it_too(fitted_demo: Path, dark: Path, tmp_path: Path) -> None:
    trial = tmp_path / "lid.toml"
    text = 'base = "clear"\nthickness_mm = 3\nloadings = { white = 0.3 }\n[[readings]]\nfile = "dark.csv"\n'
    text += 'over = "white"\n'
    adjust = ("--trial", trial, "--target-lab", "60,0,0", "--set", "most_pigments=1", "--optics", "two-flux")
    trial.write_text(text + 'scale = "percent"\n', "utf-8")
    in_file = answer("adjust", fitted_demo, *adjust)
    trial.write_text(text, "utf-8")
    said = answer("adjust", fitted_demo, *adjust, "--set", "scale=percent")
    assert in_file == said
    trial.write_text(text + 'scale = "permille"\n', "utf-8")
    assert "scale: 'permille' is none; expected fraction or percent" in run("adjust", fitted_demo, *adjust).stderr


def test_the_verbs_take_it_as_the_commands_do(demo_palette: Palette, demo_folder: Path, dark: Path) -> None:
    said = Given(scale="percent")
    found = solve(demo_palette, reading=f"{dark}:lid", base="clear", thickness_mm=3, opacity="any", said=said)
    np.testing.assert_allclose(found.target.lab, colorimetry.lab(DARK, VIEW), atol=1e-9)
    assert inspect(demo_folder, f"{dark}:lid", f"{dark}:lid", said=said).delta_e == 0.0
    assert read_folder(demo_folder).instrument.geometry == "di:8"


# What import says, and that its remedies are options that it has.


def imported(folder: Path, file: Path, *more: object) -> str:
    done = run("import", folder, file, "--backing", "white", "--seat", "air", "--skip-unknown", "--dry-run", *more)
    return " ".join((done.stdout + done.stderr).split())


def test_remedies_of_import_fit_what_was_done(demo_folder: Path, tmp_path: Path) -> None:
    path = tmp_path / "scan.csv"
    bright = ["0.5"] * GRID.size

    def said(cells: list[str], *more: object, names: str = NM) -> str:
        path.write_text(f"name,{names}\nclear-3mm,{','.join(cells)}\n", "utf-8")
        return imported(demo_folder, path, "--add", *more)

    slip = said(["84.2", *bright[1:]])
    assert "84.2 is outside 0 to 1; give --set scale=percent if the file is in percent, else measure it again" in slip
    again = said(["30"] * 20 + ["2000"] * 11)
    assert "it was taken as percent already: measure it again" in again
    assert "divide by 100" not in slip + again
    word = said(["a1", *bright[1:]], names=",".join(f"{nm:g} nm [%]" for nm in GRID))
    assert "row 2, column 400 nm [%]: 'a1' is not a number" in word
    mixed = tmp_path / "mixed.csv"
    rows = [f"s{at},{','.join(bright)}" for at in range(5)] + [f"odd,{','.join(['50'] * GRID.size)}"]
    mixed.write_text(f"name,{NM}\n" + "\n".join(rows) + "\n", "utf-8")
    assert "say which they are with --set scale=percent or --set scale=fraction" in imported(demo_folder, mixed)


def test_columns_of_colours_with_their_light_are_no_missing_wavelengths(demo_folder: Path, tmp_path: Path) -> None:
    path = tmp_path / "meter.csv"
    path.write_text("name,L*(D65),a*(D65),b*(D65)\nlid,60,1,2\n", "utf-8")
    done = run("inspect", demo_folder, "--reading", path, "--reference", path, "--light", "D65", "--observer", "10")
    assert done.exit_code == 0, done.stderr
    assert "no column is a wavelength" not in imported(demo_folder, path)
