"""A part of several walls: every one is told together, the worst first, by the library and by the commands."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

import tint
from tint.appearance import Setting, predict
from tint.cli import main
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.target import Target
from tint.thickness import at_walls

ORANGE = Blend("clear", {"white": 0.3, "ochre": 0.2})
OPTIONS = ("--base", "clear", "--load", "white=0.3", "--load", "ochre=0.2", "--optics", "two-flux")


def told(folder: Path, command: str, *arguments: object) -> str:
    result = CliRunner().invoke(main, [command, str(folder), *map(str, arguments)], env={"COLUMNS": "100"})
    assert result.exit_code == 0, result.stderr
    return result.stdout


def answer(folder: Path, command: str, *arguments: object) -> dict[str, Any]:
    content: dict[str, Any] = json.loads(told(folder, command, *arguments, "--json"))
    return content


def test_the_wall_that_misses_most_comes_first(demo_palette: Palette) -> None:
    look = predict(demo_palette, ORANGE, setting=Setting(thickness_mm=2.0))
    solid = Target(lab=look.lab, contrast_ratio_min=0.99)
    walls = at_walls(demo_palette, solid, look, walls_mm=(8.0, 4.0, 2.0))
    assert walls[0].appearance.setting.thickness_mm == 2.0
    assert len(walls) == 3
    assert not walls[0].reached
    far = at_walls(demo_palette, Target(lab=look.lab + np.array([0.0, 6.0, 0.0])), look, walls_mm=(8.0,))
    missed = [wall.delta_e for wall in far]
    assert missed == sorted(missed, reverse=True)


def test_without_a_target_the_most_see_through_wall_comes_first(demo_palette: Palette) -> None:
    walls = at_walls(demo_palette, None, predict(demo_palette, ORANGE, setting=Setting(thickness_mm=3.0)), walls_mm=[1])
    assert [wall.appearance.setting.thickness_mm for wall in walls] == [1.0, 3.0]
    assert "contrast ratio" in walls[0].words
    assert "away" not in walls[0].words


def test_a_part_of_one_wall_has_no_list(demo_palette: Palette) -> None:
    look = predict(demo_palette, ORANGE, setting=Setting(thickness_mm=2.0))
    assert at_walls(demo_palette, None, look, walls_mm=(2.0,)) == ()


def test_the_verbs_take_walls(demo_palette: Palette) -> None:
    thin, thick = tint.predict(demo_palette, ORANGE, walls_mm=(8, 2))
    assert (thin.setting.thickness_mm, thick.setting.thickness_mm) == (2.0, 8.0)
    sheet = tint.weigh(demo_palette, ORANGE, batch_g=100, walls_mm=(2, 8))
    assert {wall.appearance.setting.thickness_mm for wall in sheet.walls} == {2.0, 8.0}
    assert all(wall.appearance.blend == sheet.rounded for wall in sheet.walls)
    assert sheet.predicted.setting.thickness_mm == 2.0
    one = tint.proof(demo_palette, ORANGE, thickness_mm=2)
    both = tint.proof(demo_palette, ORANGE, walls_mm=(2, 8))
    assert both.png != one.png
    with pytest.raises(InputError, match="walls: given together with a thickness"):
        tint.predict(demo_palette, ORANGE, thickness_mm=2, walls_mm=(2, 8))


def test_a_recipe_brings_its_walls(demo_palette: Palette) -> None:
    solved = tint.solve(demo_palette, lab=(70, 8, 30), base="clear", walls_mm=(2, 6))
    sheet = tint.weigh(demo_palette, solved.best, batch_g=100)
    assert {wall.appearance.setting.thickness_mm for wall in sheet.walls} == {2.0, 6.0}
    own = [wall.appearance.contrast_ratio for wall in solved.best.walls]
    np.testing.assert_allclose(sorted(wall.appearance.contrast_ratio for wall in sheet.walls), sorted(own), atol=0.01)


def test_a_weigh_sheet_tells_every_wall(fitted_demo: Path) -> None:
    target = ("--target-lab", "60,10,30")
    content = answer(fitted_demo, "weigh", *OPTIONS, *target, "--thickness", 2, "--wall", 8, "--batch-g", 100)
    assert {wall["thickness_mm"] for wall in content["walls"]} == {2.0, 8.0}
    missed = [wall["delta_e"] for wall in content["walls"]]
    assert missed == sorted(missed, reverse=True)
    page = told(fitted_demo, "weigh", *OPTIONS, "--thickness", 2, "--wall", 8, "--batch-g", 100)
    assert "Every wall, the worst first" in page
    assert "at 8 mm contrast ratio" in page


def test_a_file_of_recipes_brings_its_walls_to_predict_weigh_and_proof(fitted_demo: Path, tmp_path: Path) -> None:
    recipes = tmp_path / "recipes.json"
    recipes.write_text(
        tint.solve(tint.load(fitted_demo, optics="two-flux"), lab=(70, 8, 30), walls_mm=(2, 6)).to_json()
    )
    by_file = ("--recipe", recipes, "--optics", "two-flux")
    assert answer(fitted_demo, "predict", *by_file)["thickness_mm"] == [2.0, 6.0]
    for command in (("weigh", "--batch-g", 100), ("proof", "--out", tmp_path / "proof.png")):
        walls = answer(fitted_demo, command[0], *by_file, *command[1:])["walls"]
        assert {wall["thickness_mm"] for wall in walls} == {2.0, 6.0}


def test_predict_takes_the_walls_of_a_part(fitted_demo: Path) -> None:
    content = answer(fitted_demo, "predict", *OPTIONS, "--thickness", 5, "--wall", 2)
    assert content["thickness_mm"] == [2.0, 5.0]
    assert content["contrast_ratio"][0] < content["contrast_ratio"][1]
