"""What stands in [workshop] of palette.toml serves the commands as their default."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner

import tint
from tint.cli import options as shared
from tint.cli.keys import Command
from tint.errors import Gathered
from tint.materials import Workshop
from tint.palette import Palette, fit_path, write_palette
from tint.swatches import folder_digest
from tint.swatches.declaration import read_declaration, read_workshop
from tint.swatches.folder import workshop_of

TOLD = """
[workshop]
scale_step_g = 0.1
scale_max_g = 100
dose_tolerance_percent = 2
cup_cm3 = 600
mould_depths_mm = [2, 5]
waste_percent = 0
currency = "EUR"
price_unit = "100 g"
"""


@pytest.fixture
def folder(demo_folder: Path) -> Path:
    declared = demo_folder / "palette.toml"
    declared.write_text(declared.read_text(encoding="utf-8").partition("[workshop]")[0] + TOLD, encoding="utf-8")
    return demo_folder


def test_a_workshop_is_read_key_by_key() -> None:
    found = read_workshop(TOLD)
    assert found.mould_depths_mm == (2.0, 5.0)
    assert (found.scale_step_g, found.waste_percent, found.currency) == (0.1, 0.0, "EUR")
    assert read_workshop("format = 1") == Workshop()


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("scale_step_g = 0", "a step above 0 and up to 100 g"),
        ("mould_depths_mm = []", "a list of depths"),
        ('price_unit = "ounce"', "kg or g or 100 g or lb"),
        ("scale_stp_g = 0.1", "scale_step_g"),
    ],
)
def test_a_bad_key_is_told(line: str, told: str) -> None:
    faults = Gathered("palette.toml")
    read_declaration(f"format = 1\n[workshop]\n{line}\n", faults, folder_name="x")
    (fault,) = [each for each in faults.faults if "workshop" in str(each)]
    assert told in str(fault)


def test_prices_are_told_per_kilogram() -> None:
    text = 'format = 1\n[workshop]\nprice_unit = "100 g"\n[pigments.red]\nprice = 4.5\n'
    declared = read_declaration(text, Gathered("palette.toml"), folder_name="x")
    assert declared is not None
    red = declared.pigments["red"]
    assert red is not None
    assert red.price == pytest.approx(45.0)


def weighed_on(folder: Path, *options: str) -> str:
    """What a command that takes a folder and a scale's step is given."""

    @click.command(cls=Command)
    @shared.folder
    @shared.number("--set scale_step_g", "The scale.", expected="grams", metavar="G", default=0.01)
    @shared.number("--set waste_percent", "A margin.", expected="percent", metavar="P", default=10.0)
    @click.option("--mould", "moulds", multiple=True)
    def command(folder: Path, scale_step_g: float, waste_percent: float, moulds: tuple[str, ...]) -> None:
        click.echo(f"{scale_step_g:g} {waste_percent:g} {' '.join(moulds)}")

    return CliRunner().invoke(command, [str(folder), *options], catch_exceptions=False).output.strip()


def test_the_workshop_is_the_default_of_options_and_an_option_goes_before_it(folder: Path, tmp_path: Path) -> None:
    assert weighed_on(folder) == "0.1 0 2 5"
    assert weighed_on(folder, "--set", "scale_step_g=0.5", "--mould", "3") == "0.5 0 3"
    assert weighed_on(tmp_path / "nowhere") == "0.01 10"


def test_the_library_takes_for_granted_what_the_workshop_says(demo_palette: Palette) -> None:
    workshop = Workshop(scale_step_g=0.1, scale_max_g=500.0, dose_tolerance_percent=2.0, waste_percent=0.0)
    palette = replace(demo_palette, workshop=workshop)
    blend = {"white": 0.5, "ochre": 0.05}
    sheet = tint.weigh(palette, blend, base="clear", batch_g=200.0, thickness_mm=2.0)
    assert sheet.batch_g == 200.0
    assert (sheet.scale.step_g, sheet.scale.tolerance_percent, sheet.scale.max_g) == (0.1, 2.0, 500.0)
    told = tint.weigh(
        palette, blend, base="clear", batch_g=200.0, thickness_mm=2.0, scale_step_g=0.01, waste_percent=5.0
    )
    assert told.scale.step_g == 0.01
    assert told.batch_g == pytest.approx(210.0)
    asked: dict[str, Any] = {"lab": (75.0, 4.0, 25.0), "base": "clear", "thickness_mm": 2.0, "loosen": False}
    answer = tint.solve(palette, rules=tint.Rules(batch_g=200.0, most_pigments=2), **asked)
    assert (answer.rules.scale_step_g, answer.rules.dose_tolerance_percent) == (0.1, 2.0)
    assert not answer.best.unweighable
    finer = tint.solve(palette, rules=tint.Rules(batch_g=200.0, most_pigments=2, scale_step_g=0.001), **asked)
    assert finer.rules.scale_step_g == 0.001
    assert tint.solve(palette, rules=tint.Rules(most_pigments=2), **asked).rules.scale_step_g is None


def test_a_loaded_palette_has_the_workshop_of_its_folder(demo_palette: Palette, folder: Path) -> None:
    assert workshop_of(folder).scale_step_g == 0.1
    # The file of a palette holds no workshop: it is read where the palette is loaded.
    write_palette(replace(demo_palette, digest=folder_digest(folder)), fit_path(folder, "two-flux"))
    assert tint.load(folder, optics="two-flux").workshop == workshop_of(folder)
