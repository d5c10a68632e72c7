"""`tint check` beyond faults: what it tells of a folder that can be used, for people and for scripts."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from synthetic import fit_two_flux, studio

from tint.checks import ground
from tint.cli import check, main, options
from tint.fitting.leaving_out import Fitted
from tint.fitting.spectra import fit_with_ground
from tint.palette import Palette, fit_path, read_palette, write_palette
from tint.swatches import INPUT_FILES, SwatchFolder, inspect_folder


@pytest.fixture(autouse=True)
def two_flux(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fit by the quicker model."""
    monkeypatch.setattr(options, "DEFAULT_OPTICS", "two-flux")


def told(*arguments: object) -> str:
    result = CliRunner().invoke(main, ["check", *map(str, arguments)], env={"COLUMNS": "100"})
    assert result.exit_code == 0, result.stderr
    assert result.stderr == ""
    return result.stdout


def answer(*arguments: object) -> dict[str, Any]:
    content = json.loads(told(*arguments, "--json"))
    assert isinstance(content, dict)
    return content


@pytest.fixture
def odd_folder(demo_folder: Path) -> Path:
    """One replicate reads 0.02 too high."""
    path = demo_folder / "readings.csv"
    lines = path.read_text().split("\n")
    at = [n for n, line in enumerate(lines) if line.startswith("white-0.4-2mm,white")][1]
    cells = lines[at].split(",")
    lines[at] = ",".join([*cells[:4], *(f"{float(cell) + 0.02:.5f}" for cell in cells[4:])])
    path.write_text("\n".join(lines))
    return demo_folder


def test_a_finding_says_what_where_and_what_to_do(odd_folder: Path) -> None:
    out = told(odd_folder, "--quick")
    assert "replicates: white-0.4-2mm" in out
    assert "Effect: " in out
    assert "Mend: read it again" in out
    assert " ".join(out.split()).endswith("0 faults, 0 warnings. 1 finding.")


def test_findings_as_json(odd_folder: Path) -> None:
    content = answer(odd_folder, "--quick")
    (finding,) = content["findings"]
    assert set(finding) == {"kind", "where", "words", "effect", "mend", "about"}
    assert (finding["kind"], finding["where"]) == ("replicates", "white-0.4-2mm")
    assert content["left_out"] is None


def test_the_errors_of_swatches_left_out(fitted_demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(check, "examine", lambda *_: ())  # the quicker model does not fit the demo
    out = told(fitted_demo)
    assert "Each casting predicted from the others (leave-one-out): median " in out
    assert "  pigment  CIEDE2000" in out
    content = answer(fitted_demo)
    swatches = content["left_out"]["swatches"]
    assert len(swatches) == 75
    assert list(swatches.values()) == sorted(swatches.values(), reverse=True)
    assert set(content["left_out"]["pigments"]) == set(content["pigments"])


def test_quick_does_not_fit(demo_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fit(*_: object, **__: object) -> Palette:
        raise AssertionError("it was fitted")

    monkeypatch.setattr(check, "fit_palette", fit)
    monkeypatch.setattr(check, "fit_with_ground", fit)
    assert "Left out" not in told(demo_folder, "--quick")


def test_it_is_fitted_once(monkeypatch: pytest.MonkeyPatch) -> None:
    fits: list[str] = []

    def fit(folder: SwatchFolder, *, optics: str) -> tuple[Palette, Fitted]:
        fits.append(optics)
        return fit_with_ground(folder, optics=optics)

    monkeypatch.setattr(check, "fit_with_ground", fit)
    monkeypatch.setattr(ground, "fit_with_ground", fit)
    examined = check._examine(studio(seed=3), quick=False)
    assert (fits, examined.findings) == (["two-flux"], ())
    assert examined.errors is not None


def test_nothing_is_written(demo_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fitted: list[SwatchFolder] = []

    def fit(folder: SwatchFolder, **_: object) -> Palette:
        fitted.append(folder)
        raise KeyboardInterrupt

    monkeypatch.setattr(check, "fit_with_ground", fit)
    CliRunner().invoke(main, ["check", str(demo_folder)])
    assert len(fitted) == 1
    assert sorted(path.name for path in demo_folder.iterdir()) == sorted(INPUT_FILES)


def test_a_palette_of_the_folder_as_it_stands_is_used(
    fitted_demo: Path, demo_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_palette(read_palette(fit_path(fitted_demo, "two-flux")), fit_path(demo_folder, "two-flux"))
    folder, faults = inspect_folder(demo_folder)
    assert folder is not None
    assert faults == ()

    monkeypatch.setattr(check, "fit_with_ground", lambda *_, **__: (fit_two_flux(studio()), None))
    assert check._fit(folder)[0].name == "Demo studio"
    (demo_folder / "swatches.csv").write_text((demo_folder / "swatches.csv").read_text() + "\n")
    changed, _ = inspect_folder(demo_folder)
    assert changed is not None
    assert check._fit(changed)[0].name == "Invented studio"
