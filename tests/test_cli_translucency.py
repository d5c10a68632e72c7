"""`tint predict` at many thicknesses, from end to end: table, JSON, plain words, picture, and what it refuses."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from tint.appearance import Setting
from tint.cli import main
from tint.cli.asked import thicknesses
from tint.materials import Blend
from tint.palette import Palette
from tint.thickness import Translucency, hiding_in_words, hiding_thickness, translucency

LID = Blend("clear", {"white": 0.5, "yellow": 0.3})
LOADED = ["--base", "clear", "--load", "white=0.5", "--load", "yellow=0.3"]
KEYS = {
    "thickness_mm", "lab_black", "lab_white", "contrast_ratio", "contrast_ratio_error", "luminous_transmittance",
    "translucency_parameter", "translucency_parameter_ab", "expected_error", "lab_from_behind", "srgb_from_behind",
    "hides_at_mm", "conditions", "warnings", "base", "loadings",
}  # fmt: skip


def run(command: str, folder: Path, *arguments: object, columns: int = 80) -> Result:
    named = [command, str(folder), *(str(each) for each in arguments), "--optics", "two-flux"]
    return CliRunner().invoke(main, named, env={"COLUMNS": str(columns)})


def done(folder: Path, *arguments: object, columns: int = 80) -> str:
    result = run("predict", folder, *LOADED, *arguments, columns=columns)
    assert result.exit_code == 0, result.stderr
    return result.stdout


def answer(folder: Path, *arguments: object) -> dict[str, Any]:
    content = json.loads(done(folder, *arguments, "--json"))
    assert isinstance(content, dict)
    return content


def sheet_of(palette: Palette, depths: Sequence[float], **setting: Any) -> Translucency:
    return translucency(palette, LID, setting=Setting(thickness_mm=1.0, **setting), thickness_mm=depths)


# What a text means.

SPANS: list[tuple[str, list[float]]] = [
    ("3", [3.0]),
    ("1,2,4", [1.0, 2.0, 4.0]),
    ("4, 1 ,2,1", [1.0, 2.0, 4.0]),
    ("0.5:2:0.5", [0.5, 1.0, 1.5, 2.0]),
    ("0.5:2.2:0.5", [0.5, 1.0, 1.5, 2.0]),  # the end falls between two steps
    ("0.1:0.7:0.1", [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7]),  # 6 steps of 0.1 fall short of 0.6 in binary
    ("1:1:0.5", [1.0]),
    ("1:4:9", [1.0]),
]


@pytest.mark.parametrize(("text", "depths"), SPANS)
def test_a_text_means_these_thicknesses(text: str, depths: list[float]) -> None:
    assert list(thicknesses(text)) == depths


def test_as_many_as_200_thicknesses_are_taken() -> None:
    assert len(thicknesses("0.1:20:0.1")) == 200


# The answer.


def test_json_is_the_library_s_answer(fitted_demo: Path, demo_palette: Palette) -> None:
    content = answer(fitted_demo, "--thickness", "0.5:6:0.5", "--seat", "wet", "--light", "A")
    sheet = sheet_of(demo_palette, np.arange(0.5, 6.1, 0.5).tolist(), seat="wet", light="A")
    assert set(content) >= KEYS
    assert content["thickness_mm"] == sheet.thickness_mm.tolist()
    for name in ("lab_black", "lab_white"):
        assert content[name] == [getattr(look, name).tolist() for look in sheet.appearances]
    for name in ("contrast_ratio", "contrast_ratio_error", "luminous_transmittance", "expected_error"):
        assert content[name] == [getattr(look, name) for look in sheet.appearances]
    for name in ("translucency_parameter", "translucency_parameter_ab", "lab_from_behind"):
        assert content[name] == getattr(sheet, name).tolist()
    assert content["srgb_from_behind"] == list(sheet.srgb_from_behind)
    assert content["hides_at_mm"] == sheet.hides_at_mm
    assert content["conditions"] == "0.5 to 6 mm, over white, wet seat, di:8, A, 10° observer"
    assert (content["base"], content["loadings"]) == ("clear", LID.loadings)
    assert content["setting"] == {"over": "white", "seat": "wet", "light": "A", "observer": 10, "geometry": "di:8"}


def test_the_table_shows_the_numbers_with_their_errors(fitted_demo: Path, demo_palette: Palette) -> None:
    out = done(fitted_demo, "--thickness", "1,2.5")
    sheet = sheet_of(demo_palette, [1.0, 2.5])
    assert "clear with 0.5 % white + 0.3 % yellow\n1 to 2.5 mm, over white, air seat, di:8" in out
    for look, parameter in zip(sheet.appearances, sheet.translucency_parameter, strict=True):
        lab = [f"{value:.1f}" for value in (*look.lab_black, *look.lab_white)]
        ratio = f"{look.contrast_ratio:.3f} ± {look.contrast_ratio_error:.3f}"
        light = f"{100 * look.luminous_transmittance:.1f} %"
        row = [f"{look.setting.thickness_mm:g}", *lab, ratio, light, f"{parameter:.1f}", f"{look.expected_error:.2f}"]
        assert re.search(r"^ *" + " +".join(re.escape(cell) for cell in row) + "$", out, re.MULTILINE)
    for lab, screen in zip(sheet.lab_from_behind, sheet.srgb_from_behind, strict=True):
        assert re.search(" +".join(f"{value:.1f}" for value in lab) + f" +{screen}$", out, re.MULTILINE)


def test_where_it_hides_is_told_in_plain_words(fitted_demo: Path, demo_palette: Palette) -> None:
    depth = hiding_thickness(demo_palette, LID, setting=Setting(thickness_mm=1.0))
    assert depth is not None
    thickest = demo_palette.seen["clear"].thickness_mm[1]
    beyond = ", thicker than any swatch of clear" if depth > thickest else ""
    told = " ".join(done(fitted_demo, "--thickness", "1,2").split())
    assert f"It hides from {depth:.3g} mm on (contrast ratio 0.98){beyond}. " in told
    never = hiding_in_words(demo_palette, "clear", None)
    assert never == "does not hide (contrast ratio 0.98), not even 200 mm thick"


def test_hiding_thicker_than_the_swatches_is_told(fitted_demo: Path) -> None:
    faint = run("predict", fitted_demo, "--base", "clear", "--load", "white=0.2", "--thickness", "1,2")
    told = " ".join(faint.stdout.split())
    assert re.search(r"hides from [\d.]+ mm on \(contrast ratio 0\.98\), thicker than any swatch of clear\.", told)


def test_one_thickness_tells_of_hiding_and_of_a_lamp_behind(fitted_demo: Path, demo_palette: Palette) -> None:
    content = answer(fitted_demo, "--thickness", "2")
    sheet = sheet_of(demo_palette, [2.0])
    assert content["hides_at_mm"] == sheet.hides_at_mm
    assert content["lab_from_behind"] == pytest.approx(sheet.lab_from_behind[0].tolist())
    assert content["srgb_from_behind"] == sheet.srgb_from_behind[0]
    out = done(fitted_demo, "--thickness", "2")
    assert re.search(rf"hides from +{sheet.hides_at_mm:.3g} mm ", out)
    lab = ", ".join(f"{value:.1f}" for value in sheet.lab_from_behind[0])
    assert re.search(rf"from behind +{sheet.srgb_from_behind[0]} +Lab {lab}", out)


def test_a_table_of_one_is_a_single_prediction(fitted_demo: Path) -> None:
    assert done(fitted_demo, "--thickness", "2:2:1") == done(fitted_demo, "--thickness", "2")


def test_many_thicknesses_outside_the_swatches_are_one_warning(fitted_demo: Path, demo_palette: Palette) -> None:
    thin, thick = demo_palette.seen["clear"].thickness_mm
    content = answer(fitted_demo, "--thickness", "0.2:8:0.2")
    told = f"0.2 to 0.8 mm and 6.2 to 8 mm are outside the {thin:g} to {thick:g} mm at which clear was cast"
    assert content["warnings"] == [told]
    assert answer(fitted_demo, "--thickness", "1,2")["warnings"] == []
    assert "0.5 mm is outside" in answer(fitted_demo, "--thickness", "0.5,1")["warnings"][0]


def test_another_backing_has_its_own_column(fitted_demo: Path, demo_palette: Palette) -> None:
    look = sheet_of(demo_palette, [2.0], over="none").appearances[0]
    out = done(fitted_demo, "--thickness", "2,3", "--over", "none")
    assert "free slab" in out
    assert re.search("^ *2 +" + " +".join(f"{value:.1f}" for value in look.lab), out, re.MULTILINE)


def test_the_table_fits_eighty_columns_and_no_number_is_cut(fitted_demo: Path) -> None:
    pages = [done(fitted_demo, "--thickness", "0.5:6:0.5", columns=columns) for columns in (200, 80, 40)]
    assert max(len(line) for line in pages[1].split("\n")) <= 80
    numbers = [sorted(re.findall(r"-?\d+\.\d+", page)) for page in pages]
    assert len(numbers[0]) > 100
    assert numbers[1:] == numbers[:1] * 2


# The picture.


def test_a_plot_is_written_once_and_replaced_only_when_told(fitted_demo: Path, tmp_path: Path) -> None:
    plot = tmp_path / "lid.png"
    arguments = ("--thickness", "0.5:6:0.5", "--plot", plot)
    assert f"Written: {plot}" in done(fitted_demo, *arguments, columns=200)
    assert plot.read_bytes().startswith(b"\x89PNG\r\n")
    plot.write_bytes(b"approved")
    result = run("predict", fitted_demo, *LOADED, *arguments)
    assert result.exit_code == 2
    assert result.stderr == f"tint: --plot {plot}: is there already; choose another name, or add --replace\n"
    assert plot.read_bytes() == b"approved"
    assert answer(fitted_demo, *arguments, "--replace")["written"] == str(plot)
    assert plot.read_bytes().startswith(b"\x89PNG\r\n")


def test_without_matplotlib_the_extra_is_named(
    fitted_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    result = run("predict", fitted_demo, *LOADED, "--thickness", "1,2", "--plot", tmp_path / "lid.png")
    assert result.exit_code == 1
    assert result.stderr.startswith("tint: plot: matplotlib is not installed; install tint with its extra `plot`")
    assert result.stderr.count("\n") == 1
    assert list(tmp_path.iterdir()) == []
    assert run("predict", fitted_demo, *LOADED, "--thickness", "1,2").exit_code == 0


# What is refused.

FAULTS = [
    ("0:6:0", "`0:6:0` has a step of 0 mm; expected a range from:to:step in mm, as in 0.5:6:0.5"),
    ("1:6:-1", "`1:6:-1` has a step of -1 mm"),
    ("6:1:0.5", "`6:1:0.5` runs down from 6 to 1 mm; expected a range from:to:step"),
    ("0:6:1", "0 mm; expected more than 0 and at most 100 mm"),
    ("90:110:10", "110 mm; expected more than 0 and at most 100 mm"),
    ("thick", "`thick` is not a number; expected a wall thickness in mm, a list as 1,2,4 or a range as 0.5:6:0.5"),
    ("thin:thick:some", "`thin` is not a number; expected numbers in from:to:step"),
    ("1:6", "`1:6`; expected a range from:to:step"),
    ("1:2:3:4", "`1:2:3:4`; expected a range from:to:step"),
    ("1::2", "`` is not a number"),
    ("1,,2", "`` is not a number"),
    ("1,2:4:1", "`1,2` has a comma; expected numbers in from:to:step, with a decimal point; write 1.2"),
    ("0,5", "0 mm; expected more than 0 and at most 100 mm; write decimals with a point"),
    ("1,nan", "`nan` is not a number"),
    ("1:inf:1", "`inf` is not a number"),
    ("0.1:20.1:0.1", "`0.1:20.1:0.1` is 201 thicknesses; expected at most 200; take a larger step"),
    ("1:100:1e-300", "`1:100:1e-300` is too many thicknesses; expected at most 200"),
    (",".join(str(at / 10) for at in range(1, 203)), "is 202 thicknesses; expected at most 200"),
]


@pytest.mark.parametrize(("text", "told"), FAULTS)
def test_a_fault_is_told_in_one_line(text: str, told: str, fitted_demo: Path) -> None:
    result = run("predict", fitted_demo, *LOADED, f"--thickness={text}")
    assert_refused(result, f"tint: --thickness: {told}" if told.startswith("`") or told[0].isdigit() else told)


def assert_refused(result: Result, told: str) -> None:
    assert isinstance(result.exception, SystemExit), repr(result.exception)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.count("\n") == 1
    assert told in result.stderr


@pytest.mark.parametrize(
    ("command", "more"),
    [
        ("solve", ["--target-lab", "70,20,40"]),
        ("weigh", [*LOADED, "--batch-g", "100"]),
        ("proof", [*LOADED, "--out", "never.png"]),
    ],
)
@pytest.mark.parametrize("text", ["0.5:6:0.5", "1,2,4"])
def test_other_commands_take_one_thickness(command: str, more: list[str], text: str, fitted_demo: Path) -> None:
    told = f"--thickness: `{text}` is more than one thickness; expected a wall thickness in mm; `tint predict` takes"
    assert_refused(run(command, fitted_demo, *more, "--thickness", text), told)
    assert_refused(run(command, fitted_demo, *more, "--thickness", "2,5"), "write 2.5")


def test_what_goes_with_one_or_with_many(fitted_demo: Path, tmp_path: Path) -> None:
    plot = tmp_path / "lid.png"
    one = run("predict", fitted_demo, *LOADED, "--thickness", "3", "--plot", plot)
    assert_refused(one, "--plot: one thickness; expected several to draw against")
    many = run("predict", fitted_demo, *LOADED, "--thickness", "1,2", "--spectrum")
    assert_refused(many, "--spectrum: 2 thicknesses; expected one")
    named = run("predict", fitted_demo, *LOADED, "--thickness", "1,2", "--plot", tmp_path / "lid.jpg")
    assert_refused(named, "expected a name that ends in .png")
    assert not plot.exists()


def test_a_palette_with_one_backing_has_no_table_but_still_a_lamp(demo_folder: Path) -> None:
    for file in ("palette.toml", "readings.csv"):
        path = demo_folder / file
        kept = [line for line in path.read_text().splitlines(keepends=True) if not _of_black(line)]
        path.write_text("".join(kept))
    assert run("fit", demo_folder).exit_code == 0
    refused = "the palette cannot tell it; expected castings read over two backings"
    assert_refused(run("predict", demo_folder, *LOADED, "--thickness", "1,2"), refused)
    content = answer(demo_folder, "--thickness", "2")
    assert content["hides_at_mm"] is None
    assert len(content["lab_from_behind"]) == 3
    assert "hides from" not in done(demo_folder, "--thickness", "2")


def _of_black(line: str) -> bool:
    return line.startswith(("[backings.black]", "black,")) or ",black," in line
