"""`tint check` beyond faults: what it tells of a folder that can be used, for people and for scripts."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from synthetic import studio

from tint.cli import main, options
from tint.fitting import fit_palette
from tint.fitting.spectra import fit_with_ground
from tint.palette import fit_path, write_palette
from tint.swatches import INPUT_FILES, read_folder


@pytest.fixture(autouse=True)
def two_flux(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fit by the quicker model, which the invented castings obey."""
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


def test_the_errors_of_swatches_left_out(small_folder: Path) -> None:
    out = told(small_folder)
    assert "Each casting predicted from the others (leave-one-out): median " in out
    assert "  pigment  CIEDE2000" in out
    content = answer(small_folder)
    swatches = content["left_out"]["swatches"]
    assert len(swatches) == 20
    assert list(swatches.values()) == sorted(swatches.values(), reverse=True)
    assert set(content["left_out"]["pigments"]) == set(content["pigments"])
    assert sorted(path.name for path in small_folder.iterdir()) == sorted(INPUT_FILES), "nothing is written"


def test_quick_tells_nothing_that_takes_a_fit(small_folder: Path) -> None:
    assert "leave-one-out" not in told(small_folder, "--quick")


def test_it_is_fitted_once(small_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fits: list[str] = []
    fit = fit_with_ground

    def counted(*folder: Any, optics: str) -> Any:
        fits.append(optics)
        return fit(*folder, optics=optics)

    for module, name in (("tint.fitting.spectra", "fit_with_ground"), ("tint.checks.ground", "fit_only")):
        monkeypatch.setattr(f"{module}.{name}", counted)
    assert answer(small_folder)["left_out"] is not None
    assert fits == ["two-flux"]


def test_a_palette_of_the_folder_as_it_stands_is_used(small_folder: Path) -> None:
    def missed() -> dict[str, float]:
        found: dict[str, float] = answer(small_folder)["left_out"]["pigments"]
        return found

    own = missed()
    other = replace(fit_palette(studio(seed=4), optics="two-flux"), digest=read_folder(small_folder).digest)
    write_palette(other, fit_path(small_folder, "two-flux"))
    assert missed() != pytest.approx(own)  # it tells of the palette that says it is this folder's
    with (small_folder / "swatches.csv").open("a") as file:
        file.write("\n")
    assert missed() == pytest.approx(own)  # which it is no longer


def test_a_folder_of_one_casting_over_nothing_is_described_as_it_is(tmp_path: Path) -> None:
    """One casting, read in reflectance, that no other predicts; no pigment, no backing."""
    (tmp_path / "palette.toml").write_text(
        'format = 1\nname = "One"\n[instrument]\ngeometry = "di:8"\n[bases.clear]\ncure = "addition"\ndensity = 1.0\n'
        'refractive_index = 1.41\nmax_loading = 3.0\nmix = { A = 1.0, B = 1.0 }\npigment_in = "A"\n'
    )
    (tmp_path / "swatches.csv").write_text("swatch,base,thickness_mm\nslab,clear,2.65\n")
    grid = range(400, 701, 20)
    spectra = {"reflectance": 0.6, "transmittance": 0.2}
    rows = [
        ",".join(["slab", "none", "", quantity, *(f"{value}" for _ in grid)]) for quantity, value in spectra.items()
    ]
    head = ",".join(["swatch", "backing", "seat", "quantity", *map(str, grid)])
    (tmp_path / "readings.csv").write_text("\n".join([head, *rows]) + "\n")
    out = " ".join(told(tmp_path).split())
    assert "Bases: clear. Pigments: none. Backings: none." in out
    assert "No reflectance reading of a casting can be predicted from the other castings (leave-one-out)." in out
    assert "CIEDE2000 pigment" not in out
