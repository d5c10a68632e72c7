"""The commands from end to end: what they print, write and return, and what they leave unloaded."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from tint import jsonable
from tint.appearance import Setting, predict
from tint.cli import COMMANDS, main
from tint.fitting import fit_palette
from tint.materials import Blend
from tint.palette import Palette, fit_path, read_palette
from tint.swatches import SwatchFolder

pytestmark = pytest.mark.usefixtures("sought_once")  # the same answer at several widths

ROOT = Path(__file__).parents[1]
DEMO = str(ROOT / "swatches_demo")
BLEND = ["--base", "clear", "--load", "white=0.5", "--load", "yellow=0.3"]
TARGET = ["--target-lab", "70,20,40"]


_NO_MODEL = ("explain", "check", "import", "inspect", "ledger", "photograph", "start")


def two_flux(*arguments: object) -> list[str]:
    """The arguments, with the layer model that the fitted folder has, whatever the default is."""
    named = [str(each) for each in arguments]
    takes_a_model = named and named[0] in COMMANDS and named[0] not in _NO_MODEL
    return [*named, "--optics", "two-flux"] if takes_a_model else named


def run(*arguments: object, text: str | bytes | None = None, columns: int = 80) -> Result:
    return CliRunner().invoke(main, two_flux(*arguments), input=text, env={"COLUMNS": str(columns)})


def done(*arguments: object, text: str | bytes | None = None, columns: int = 80) -> str:
    result = run(*arguments, text=text, columns=columns)
    assert result.exit_code == 0, result.stderr
    assert result.stderr == ""
    return result.stdout


def no_constant(name: str) -> float:
    raise AssertionError(f"{name} is not JSON")


def answer(*arguments: object, text: str | bytes | None = None) -> dict[str, Any]:
    out = done(*arguments, "--json", text=text)
    content = json.loads(out, parse_constant=no_constant)
    assert isinstance(content, dict)
    return content


def environment(**more: str) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "80", **more}


def shell(*arguments: str, **options: Any) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "80"}
    return subprocess.run(
        [sys.executable, "-m", "tint", *arguments],
        env=environment,
        capture_output=True,
        text=True,
        timeout=600,
        **options,
    )


# Help, and what it costs.


def test_help_lists_every_command() -> None:
    out = done("--help")
    for name, line in COMMANDS.items():
        assert re.search(rf"^  {name} +{re.escape(line)}$", out, re.MULTILINE)
    assert done() == out


@pytest.mark.parametrize("name", COMMANDS)
def test_help_of_a_command_opens_as_listed_and_has_an_example(name: str) -> None:
    out = done(name, "--help", columns=200)
    assert out.split("\n")[2].strip() == COMMANDS[name]
    assert re.search(rf"Example: tint {name} (([a-z]+ )*swatches_demo|contrast ratio)", out)


def test_every_option_has_help() -> None:
    for name in COMMANDS:
        command = main.get_command(None, name)  # type: ignore[arg-type]  # the context is not looked at
        assert command is not None
        assert [p.name for p in command.params if p.param_type_name == "option" and not getattr(p, "help", "")] == []


@pytest.mark.parametrize("arguments", [[], ["--help"], ["--version"]])
def test_help_loads_nothing_heavy(arguments: list[str]) -> None:
    code = (
        "import sys, contextlib, io\n"
        "from tint.cli import main\n"
        "with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):\n"
        f"    main({arguments!r})\n"
        "heavy = {'numpy', 'scipy', 'rich', 'colour', 'matplotlib', 'PIL', 'msgspec'} & set(sys.modules)\n"
        "sys.exit(repr(sorted(heavy)) if heavy else 0)\n"
    )
    ended = subprocess.run([sys.executable, "-c", code], env=environment(), capture_output=True, text=True, timeout=600)
    assert ended.returncode == 0, ended.stderr


@pytest.mark.parametrize("arguments", [["predict", *BLEND], ["solve", *TARGET, "--most-pigments", "1"]])
def test_json_loads_no_rich_and_no_pictures(fitted_demo: Path, arguments: list[str]) -> None:
    code = (
        "import sys, contextlib\n"
        "from tint.cli import main\n"
        "with contextlib.suppress(SystemExit):\n"
        f"    main({two_flux(*arguments, fitted_demo, '--thickness', '3', '--json')!r})\n"
        "heavy = {'rich', 'colour', 'matplotlib', 'PIL', 'scipy.optimize'} & set(sys.modules)\n"
        "sys.exit(repr(sorted(heavy)) if heavy else 0)\n"
    )
    ended = subprocess.run([sys.executable, "-c", code], env=environment(), capture_output=True, text=True, timeout=600)
    assert ended.returncode == 0, ended.stderr
    assert {"lab", "recipes"} & set(json.loads(ended.stdout))


# check


def test_check_of_a_good_folder(demo_folder: Path) -> None:
    out = done("check", demo_folder, "--quick")
    assert "75 castings" in out
    assert "Bases: clear, milky." in out
    assert "Pigments: white, yellow," in out
    assert "0 faults" in " ".join(out.split())


def test_check_json(demo_folder: Path) -> None:
    content = answer("check", demo_folder, "--quick")
    assert content["usable"] is True
    assert content["faults"] == []
    assert content["swatches"] == 75
    assert content["bases"] == ["clear", "milky"]


@pytest.fixture
def faulty(demo_folder: Path) -> Path:
    readings = demo_folder / "readings.csv"
    lines = readings.read_text().split("\n")
    cells = lines[30].split(",")
    cells[9] = "84.2"
    lines[30] = ",".join(cells)
    lines[39] = lines[39].replace(lines[39].split(",")[0], "nosuch", 1)
    readings.write_text("\n".join(lines))
    return demo_folder


def test_check_tells_every_fault_by_row_and_column(faulty: Path) -> None:
    result = run("check", faulty, columns=120)
    assert result.exit_code == 2
    assert re.search(r"fault +31 +450 +reading 84\.2 is outside 0 to 1", result.stdout)
    assert re.search(r"fault +40 +swatch +nosuch is neither", result.stdout)
    assert result.stderr.startswith(f"tint: {faulty}: 2 faults")
    assert result.stderr.count("\n") == 1


def test_check_json_of_a_faulty_folder(faulty: Path) -> None:
    result = run("check", faulty, "--json")
    assert result.exit_code == 2
    content = json.loads(result.stdout)
    assert content["usable"] is False
    assert {(fault["row"], fault["column"]) for fault in content["faults"]} == {(31, "450"), (40, "swatch")}


def test_warnings_alone_leave_a_folder_usable(demo_folder: Path) -> None:
    swatches = demo_folder / "swatches.csv"
    swatches.write_text(swatches.read_text().rstrip("\n") + "\nunread,clear,2,0.3,,,,,,,,\n")
    out = done("check", demo_folder, "--quick")
    assert re.search(r"warning +77 +swatch +unread has no reading", out)
    assert "0 faults, 1 warning." in " ".join(out.split())


# fit


def test_fit_writes_a_palette_that_reads_back(small_folder: Path) -> None:
    out = done("fit", small_folder)
    path = fit_path(small_folder, "two-flux")
    assert read_palette(path).model == "two-flux"
    flat = " ".join(out.split())
    assert "20 swatches, 2 bases, 3 pigments" in flat
    assert "two-flux, di:8; CIEDE2000 of readings against the fit, D65, 10° observer" in flat
    assert "The 8 worst" in flat


def test_fit_says_what_it_found_where_it_cannot_write_it(small_folder: Path) -> None:
    place = small_folder / "palette.two-flux.fit"
    place.mkdir()
    result = CliRunner().invoke(main, ["fit", str(small_folder), "--optics", "two-flux"])
    assert result.exit_code == 2
    assert "model error" in result.stdout
    assert "Written" not in result.stdout
    assert result.stderr == f"tint: {place}: cannot be written (Is a directory); choose another place\n"


def test_fit_json_names_every_swatch(small_folder: Path) -> None:
    content = answer("fit", small_folder)
    keys = {"palette", "optics", "delta_e", "model_error", "swatches", "suspects", "undetermined", "conditions"}
    assert keys | {"g", "refractive_index"} <= set(content)
    assert content["g"] == {}, "two-flux theory knows none"
    assert content["refractive_index"]["clear"] == {"stated": 1.41, "value": 1.41, "error": 0.0}
    assert len(content["swatches"]) == 20
    suspects = {each["name"]: each["suspect"] for each in content["swatches"] if each["suspect"]}
    assert content["suspects"] == suspects
    known = [each["delta_e"] for each in content["swatches"] if each["delta_e"] is not None]
    assert content["delta_e"]["mean"] == pytest.approx(np.mean(known))
    assert content["delta_e"]["max"] == pytest.approx(max(known))


@pytest.fixture
def learned(demo_palette: Palette, monkeypatch: pytest.MonkeyPatch) -> Palette:
    """A many-flux palette in place of any fit: the two-flux one, with anisotropies and faces as if they were learnt."""
    count = len(demo_palette.k)
    palette = replace(
        demo_palette,
        model="many-flux",
        g=np.linspace(0.3, 0.9, count)[:, None] + 0.0 * demo_palette.wavelengths,
        g_error=np.linspace(0.02, 0.2, count),
        index=np.array([1.4063, 1.4218]),
        index_error=np.array([0.0042, 0.0113]),
    )

    def fitted(_: SwatchFolder, **__: str) -> Palette:
        return palette

    monkeypatch.setattr("tint.cli.fit.fit_palette", fitted)
    return palette


def test_fit_shows_how_each_throws_light_and_what_the_faces_are(demo_folder: Path, learned: Palette) -> None:
    out = done("fit", demo_folder)
    lines = {
        line.split()[0]: " ".join(line.split()) for line in out.split("\n") if "±" in line and "deviation" not in line
    }
    assert list(lines) == [*learned.bases, *learned.pigments]
    assert lines["clear"] == "clear 0.30 ± 0.02 1.4063 ± 0.0042 1.4100"
    assert lines["milky"] == "milky 0.37 ± 0.04 1.4218 ± 0.0113 1.4200"
    assert lines["black"] == "black 0.90 ± 0.20"
    assert "How each scatters light, as fitted" in out


def test_fit_json_tells_anisotropies_and_refractive_indices(demo_folder: Path, learned: Palette) -> None:
    content = answer("fit", demo_folder)
    assert list(content["g"]) == [*learned.bases, *learned.pigments]
    assert content["g"]["black"] == {"value": pytest.approx(0.9), "error": pytest.approx(0.2)}
    assert content["refractive_index"] == {
        "clear": {"stated": 1.41, "value": 1.4063, "error": 0.0042},
        "milky": {"stated": 1.42, "value": 1.4218, "error": 0.0113},
    }


def test_fit_names_a_suspect_and_why(small_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def doubting(folder: SwatchFolder, *, optics: str, **_: object) -> Palette:
        palette = fit_palette(folder, optics=optics)
        first, *others = palette.swatches
        return replace(palette, swatches=(replace(first, suspect="[bold] its dose is odd"), *others))

    monkeypatch.setattr("tint.cli.fit.fit_palette", doubting)
    out = done("fit", small_folder)
    assert "Suspect swatches\n- clear-2 (clear): [bold] its dose is odd\n" in out


def test_fit_all_shows_every_swatch(small_folder: Path) -> None:
    out = done("fit", small_folder, "--all")
    names = [line.split(",")[0] for line in (small_folder / "swatches.csv").read_text().split("\n")[1:] if line]
    shown = {line.split()[0] for line in out.split("\n") if line}
    assert set(names) <= shown


# predict


def test_predict_json_is_the_library_s_answer(fitted_demo: Path, demo_palette: Palette) -> None:
    content = answer(
        "predict", fitted_demo, *BLEND, "--thickness", "2.5", "--over", "black", "--seat", "wet", "--light", "A"
    )
    setting = Setting(thickness_mm=2.5, over="black", seat="wet", light="A")
    look = predict(demo_palette, Blend("clear", {"white": 0.5, "yellow": 0.3}), setting=setting)
    assert content["reflectance"] == look.reflectance.tolist()
    assert content["transmittance"] == look.transmittance.tolist()
    assert content["wavelengths"] == demo_palette.wavelengths.tolist()
    assert content["lab"] == look.lab.tolist()
    assert content["srgb"] == look.srgb
    assert content["in_gamut"] is look.in_gamut
    assert content["contrast_ratio"] == look.contrast_ratio
    assert content["expected_error"] == look.expected_error
    assert content["loadings"] == {"white": 0.5, "yellow": 0.3}
    assert content["conditions"] == look.conditions
    assert content["setting"]["over"] == "black"


def test_predict_shows_numbers_with_units_and_conditions(fitted_demo: Path, demo_palette: Palette) -> None:
    look = predict(demo_palette, Blend("clear", {"white": 0.5, "yellow": 0.3}), setting=Setting(thickness_mm=3.0))
    out = done("predict", fitted_demo, *BLEND, "--thickness", "3", "--spectrum")
    assert "clear with 0.5 % white + 0.3 % yellow" in out
    assert "3 mm, over white, air seat, di:8, D65, 10° observer; " in out
    assert f"{look.expected_error:.2f} CIEDE2000" in out
    assert f"{look.contrast_ratio:.3f} ± {look.contrast_ratio_error:.3f}" in out
    assert f"{100 * look.luminous_transmittance:.1f} ± {100 * look.luminous_transmittance_error:.1f} %" in out
    assert re.search(r"over black +" + " +".join(f"{x:.2f}" for x in look.lab_black), out)
    for nm, read in zip(look.wavelengths, look.reflectance, strict=True):
        assert re.search(rf"{nm:g} nm +{read:.4f}", out)


def test_piped_output_has_no_control_characters_nor_blanks_at_line_ends(fitted_demo: Path) -> None:
    out = done("predict", fitted_demo, *BLEND, "--thickness", "3", "--spectrum")
    assert "\x1b" not in out
    assert [line for line in out.split("\n") if line != line.rstrip()] == []


WIDE = [
    ["predict", *BLEND, "--thickness", "3", "--spectrum"],
    ["solve", "--thickness", "3", *TARGET, "--opacity", "0.98..", "--base", "clear", "--most-pigments", "2"],
    ["weigh", *BLEND, "--thickness", "3", "--batch-g", "100"],
]


@pytest.mark.parametrize("arguments", WIDE, ids=lambda arguments: arguments[0])
def test_no_number_is_cut_whatever_the_width(fitted_demo: Path, arguments: list[str]) -> None:
    pages = [done(*arguments, fitted_demo, columns=columns) for columns in (400, 120, 80, 40)]
    numbers = [sorted(re.findall(r"-?\d+\.\d+", page)) for page in pages]
    assert len(numbers[0]) > 10
    assert numbers[1:] == numbers[:1] * 3
    assert "…" not in "".join(pages)


def test_tables_fit_eighty_columns(fitted_demo: Path) -> None:
    for arguments in (
        ("predict", fitted_demo, *BLEND, "--thickness", "3", "--spectrum"),
        ("solve", fitted_demo, "--thickness", "3", *TARGET, "--opacity", "0.98.."),
        ("weigh", fitted_demo, *BLEND, "--thickness", "3", "--batch-g", "100"),
    ):
        assert max(len(line) for line in done(*arguments).split("\n")) <= 80


def test_the_only_base_need_not_be_named(small_folder: Path) -> None:
    declared, swatches, readings = (small_folder / file for file in ("palette.toml", "swatches.csv", "readings.csv"))
    text = declared.read_text()
    declared.write_text(text[: text.index("[bases.milky]")] + text[text.index("[pigments.white]") :])
    rows = swatches.read_text().splitlines(keepends=True)
    gone = {row.split(",")[0] for row in rows if row.split(",")[1] == "milky"}
    for path in (swatches, readings):
        kept = [row for row in path.read_text().splitlines(keepends=True) if row.split(",")[0] not in gone]
        path.write_text("".join(kept))
    done("fit", small_folder)
    assert answer("predict", small_folder, "--load", "white=0.5", "--thickness", "3")["base"] == "clear"


@pytest.mark.parametrize("text", ["white=0.5%", "white=0.5 %", " white = 0.5"])
def test_a_percent_sign_is_welcome(fitted_demo: Path, text: str) -> None:
    content = answer("predict", fitted_demo, "--base", "clear", "--load", text, "--thickness", "3")
    assert content["loadings"] == {"white": 0.5}


def test_a_free_slab(fitted_demo: Path) -> None:
    assert "3 mm, a free slab, di:8" in done("predict", fitted_demo, *BLEND, "--thickness", "3", "--over", "none")


# weigh


def test_weigh_json(fitted_demo: Path) -> None:
    content = answer("weigh", fitted_demo, *BLEND, "--thickness", "3", "--batch-g", "100", "--set", "waste_percent=20")
    assert [set(line) >= {"what", "part", "grams"} for line in content["lines"]] == [True] * 4
    assert content["total_grams"] == pytest.approx(120.0, abs=0.03)
    assert content["total_grams"] == pytest.approx(sum(line["grams"] for line in content["lines"]))
    assert content["predicted"]["loadings"] == pytest.approx({"white": 0.5, "yellow": 0.3}, rel=0.02)
    assert {"wavelengths", "reflectance", "transmittance", "lab", "srgb"} <= set(content["predicted"])


STEPS = [("0.01", "0.55 g"), ("0.05", "0.55 g"), ("0.25", "0.75 g"), ("0.001", "0.550 g")]


@pytest.mark.parametrize(("step", "shown"), STEPS)
def test_weigh_shows_what_the_scale_shows(fitted_demo: Path, step: str, shown: str) -> None:
    out = done(
        "weigh",
        fitted_demo,
        *BLEND,
        "--thickness",
        "3",
        "--batch-g",
        "100",
        "--set",
        f"scale_step_g={step}",
        "--set",
        "premix=no",
    )
    assert re.search(rf"white +into part A +{re.escape(shown)} ", out)


def test_a_solved_recipe_is_weighed_as_solved(fitted_demo: Path, tmp_path: Path) -> None:
    solved = done("solve", fitted_demo, "--thickness", "2.5", *TARGET, "--opacity", "0.95", "--light", "D50", "--json")
    recipes = json.loads(solved)["recipes"]
    file = tmp_path / "recipes.json"
    file.write_text(solved)
    piped = answer("weigh", fitted_demo, "--recipe", "-", "--batch-g", "100", text=solved)
    assert piped["loadings"] == recipes[0]["loadings"]
    assert piped["predicted"]["setting"]["thickness_mm"] == 2.5
    assert piped["predicted"]["setting"]["light"] == "D50"
    second = answer("weigh", fitted_demo, "--recipe", file, "--pick", "2", "--set", "batch_cm3=100", "--thickness", "4")
    assert second["loadings"] == recipes[1]["loadings"]
    assert second["predicted"]["setting"]["thickness_mm"] == 4.0
    assert second["predicted"]["setting"]["light"] == "D50"


# proof


def test_proof_writes_once_and_replaces_only_when_told(fitted_demo: Path, tmp_path: Path) -> None:
    out = tmp_path / "proof.png"
    arguments = ("proof", fitted_demo, *BLEND, "--thickness", "3", "--out", out)
    done(*arguments)
    assert out.read_bytes().startswith(b"\x89PNG\r\n")
    out.write_bytes(b"approved")
    assert run(*arguments).exit_code == 2
    assert out.read_bytes() == b"approved"
    content = answer(*arguments, "--replace", *TARGET)
    assert content["written"] == str(out)
    assert out.read_bytes().startswith(b"\x89PNG\r\n")


# As a program.


def test_python_m_tint(fitted_demo: Path) -> None:
    ended = shell("predict", str(fitted_demo), *BLEND, "--thickness", "3", "--optics", "two-flux", "--json")
    assert (ended.returncode, ended.stderr) == (0, "")
    assert set(json.loads(ended.stdout)) >= {
        "wavelengths", "reflectance", "transmittance", "lab", "srgb", "in_gamut", "contrast_ratio", "expected_error",
    }  # fmt: skip


def test_an_error_is_one_line_and_no_traceback() -> None:
    ended = shell("predict", "no such folder", "--thickness", "3")
    assert ended.returncode == 2
    assert ended.stdout == ""
    assert ended.stderr.startswith("tint: no such folder: there is no such folder")
    assert ended.stderr.count("\n") == 1


@pytest.mark.skipif(os.name == "nt", reason="pipes break otherwise there")
@pytest.mark.parametrize("arguments", [["--help"], ["check", DEMO, "--quick"], ["check", DEMO, "--quick", "--json"]])
def test_a_reader_who_leaves_is_no_error_to_tell(arguments: list[str]) -> None:
    read, write = os.pipe()
    os.close(read)
    command = [sys.executable, "-m", "tint", *arguments]
    try:
        ended = subprocess.run(command, env=environment(), stdout=write, stderr=subprocess.PIPE, timeout=600)
    finally:
        os.close(write)
    assert ended.stderr == b""


def test_a_terminal_without_our_signs_is_no_traceback(fitted_demo: Path) -> None:
    arguments = two_flux("predict", str(fitted_demo), *BLEND, "--thickness", "3")
    ascii_only = environment(PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    ended = subprocess.run([sys.executable, "-m", "tint", *arguments], env=ascii_only, capture_output=True, timeout=600)
    assert (ended.returncode, ended.stderr) == (0, b"")
    assert b"D65, 10" in ended.stdout


def test_ctrl_c_ends_quietly(fitted_demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*arguments: object, **options: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("tint.cli.predict.predict", stop)
    result = run("predict", fitted_demo, *BLEND, "--thickness", "3")
    assert result.exit_code == 130
    assert result.stdout == ""
    assert result.stderr.strip() == ""


def test_a_terminal_gets_a_patch_of_the_colour(fitted_demo: Path, demo_palette: Palette) -> None:
    look = predict(demo_palette, Blend("clear", {"white": 0.5, "yellow": 0.3}), setting=Setting(thickness_mm=3.0))
    red, green, blue = (int(look.srgb[at : at + 2], 16) for at in (1, 3, 5))
    colours = {"FORCE_COLOR": "1", "COLORTERM": "truecolor", "TERM": "xterm-256color"}
    arguments = two_flux("predict", fitted_demo, *BLEND, "--thickness", "3")
    out = CliRunner().invoke(main, arguments, env=colours, color=True).stdout
    assert f"\x1b[48;2;{red};{green};{blue}m" in out


def test_what_is_not_finite_becomes_null() -> None:
    content = {"a": np.array([1.0, np.nan]), "b": np.float64(np.inf), "c": (np.bool_(True), "x"), "d": float("nan")}
    assert json.loads(jsonable.text(content)) == {"a": [1.0, None], "b": None, "c": [True, "x"], "d": None}
