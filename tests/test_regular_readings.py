"""Readings of regular transmittance: filed, checked, predicted with slopes, and what they tell the fit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import synthetic
from fits import fitted_once
from folder_example import good_files, write
from numpy.typing import NDArray
from synthetic import BASES, CASTS, TRUE_G, TRUE_K, TRUE_S, WAVELENGTHS, mixture, of_bench

from tint import colorimetry, forward
from tint.appearance import Setting, predict
from tint.errors import FolderError
from tint.materials import Blend
from tint.optics.layer import Optics, transmittance
from tint.palette import Palette
from tint.swatches import Reading, SwatchFolder, read_folder
from tint.swatches.import_plan import Doubles, Naming
from tint.swatches.importing import plan_import, write_import
from tint.swatches.instruments import parse_measurements

Array = NDArray[np.float64]
FIRST = "readings.csv"


def beam(cast: synthetic.Cast) -> Array:
    """Beer's law and Fresnel's faces along the normal; what scatters within 2.5 degrees in air goes with the beam."""
    weights, index = mixture(cast.base, cast.loadings), BASES[cast.base].refractive_index
    angle = np.linspace(0.0, np.arcsin(np.sin(np.radians(2.5)) / index), 2001)
    lobe = 0.5 * (1.0 - TRUE_G**2) / (1.0 + TRUE_G**2 - 2.0 * TRUE_G * np.cos(angle)[:, None]) ** 1.5
    within = np.trapezoid(lobe * np.sin(angle)[:, None], angle, axis=0)
    scattered = (weights * (1.0 - within) / (0.75 * (1.0 - TRUE_G))) @ TRUE_S
    face, through = (
        ((index - 1.0) / (index + 1.0)) ** 2,
        np.exp(-cast.thickness_mm * (0.5 * weights @ TRUE_K + scattered)),
    )
    return np.asarray((1.0 - face) ** 2 * through / (1.0 - (face * through) ** 2))


def with_beams(folder: SwatchFolder) -> SwatchFolder:
    rng = np.random.default_rng(3)
    read = tuple(
        Reading(
            swatch=cast.name, backing="none", seat="air", quantity="regular transmittance", row=1000 + at,
            values=beam(cast) + 0.001 * rng.standard_normal(WAVELENGTHS.size),
        )
        for at, cast in enumerate(CASTS)
    )  # fmt: skip
    return replace(folder, readings=(*folder.readings, *read))


@pytest.fixture(scope="module")
def plain() -> Palette:
    return fitted_once(of_bench())


@pytest.fixture(scope="module")
def told() -> Palette:
    return fitted_once(with_beams(of_bench()))


def test_reference_the_anisotropies_of_the_bench_come_out_nearer_with_them(plain: Palette, told: Palette) -> None:
    off = [np.abs(palette.g[:, WAVELENGTHS.size // 2] - TRUE_G) for palette in (plain, told)]
    assert off[1].mean() < 0.5 * off[0].mean()
    assert off[1].max() < 0.05
    assert told.g_error.mean() < 0.5 * plain.g_error.mean()
    assert np.all(off[1] < 4.0 * told.g_error + 0.01)


def test_the_regular_transmittance_of_a_new_blend_is_surer_with_them_and_true(plain: Palette, told: Palette) -> None:
    mint = synthetic.Cast("mint", "clear", 1.0, {"yellow": 0.1, "blue": 0.03})
    luminance = colorimetry.viewing(WAVELENGTHS).weights[:, 1] / 100.0
    true = float(luminance @ beam(mint))
    seen = [predict(p, Blend("clear", mint.loadings), setting=Setting(thickness_mm=1.0)) for p in (plain, told)]
    assert seen[1].regular_transmittance_error < 0.5 * seen[0].regular_transmittance_error
    for each in seen:
        assert abs(each.regular_transmittance - true) < each.regular_transmittance_error


def test_two_flux_theory_leaves_them_aside() -> None:
    plain, told = (fitted_once(folder, optics="two-flux") for folder in (of_bench(), with_beams(of_bench())))
    assert np.array_equal(plain.k, told.k)


@pytest.mark.parametrize("which", ["K", "S", "M", "thickness", "index"])
def test_property_slopes_of_the_forward_model_are_finite_differences(which: str) -> None:
    one = np.array([0])
    readings = forward.Readings(
        casting=one, backing=np.array([forward.REGULAR]), wet=np.zeros(1, bool), base=one, backings=np.empty((0, 1))
    )

    def read(step: float) -> forward.Predicted:
        at = {"K": 0.2, "S": 0.1, "M": 0.3, "thickness": 2.0, "index": 1.42}
        at[which] += step
        mixed = np.array([at["K"], at["S"], at["M"], 0.5 * at["M"]]).reshape(4, 1, 1)
        optics = (Optics(model="many-flux"),)
        return forward.read(readings, mixed, np.array([at["thickness"]]), optics=optics, index=np.array([at["index"]]))

    here = read(0.0)
    slopes = {**dict(zip(("K", "S", "M", "Q", "thickness"), here.slopes, strict=True)), "index": here.by_shape[0]}
    literal = (read(1e-4).values - read(-1e-4).values) / 2e-4
    assert float(slopes[which][0, 0]) == pytest.approx(float(literal[0, 0]), rel=1e-3, abs=1e-6)


@pytest.fixture
def files() -> dict[str, bytes]:
    return dict(good_files())


def last_row(files: dict[str, bytes]) -> list[str]:
    """A transmittance of the good folder, cell by cell."""
    rows = [row.split(",") for row in files[FIRST].decode().splitlines()]
    return next(row for row in rows if "transmittance" in row)


def test_a_folder_holds_them_and_refuses_them_over_a_card(files: dict[str, bytes], tmp_path: Path) -> None:
    row = ["regular transmittance" if cell == "transmittance" else cell for cell in last_row(files)]
    files[FIRST] = files[FIRST].rstrip() + b"\n" + ",".join(row).encode() + b"\n"
    folder = read_folder(write(tmp_path / "good", files))
    assert folder.readings[-1].quantity == "regular transmittance"
    row[1] = "black"
    files[FIRST] = files[FIRST].rstrip() + b"\n" + ",".join(row).encode() + b"\n"
    with pytest.raises(FolderError, match="regular transmittance over black"):
        read_folder(write(tmp_path / "bad", files))


def test_more_regular_light_than_light_in_all_is_warned_of(files: dict[str, bytes], tmp_path: Path) -> None:
    head, values = last_row(files)[:4], [float(each) + 0.05 for each in last_row(files)[4:]]
    row = ",".join([*head[:3], "regular transmittance", *(f"{each:.4f}" for each in values)])
    files[FIRST] = files[FIRST].rstrip() + b"\n" + row.encode() + b"\n"
    told = [str(each) for each in read_folder(write(tmp_path / "odd", files)).warnings]
    assert any("regular transmittance" in each and "0.0500 above its total" in each for each in told)


def test_an_import_files_them_also_where_the_file_says_transmittance(files: dict[str, bytes], tmp_path: Path) -> None:
    folder = write(tmp_path / "studio", files)
    grid = read_folder(folder).wavelengths
    text = (
        "name,quantity,"
        + ",".join(f"{nm:g}" for nm in grid)
        + "\nblue-1,transmittance,"
        + ",".join(["0.2"] * grid.size)
    )
    measured = parse_measurements((text + "\n").encode(), file="scan")
    write_import(plan_import(folder, measured, naming=Naming(quantity="regular transmittance"), doubles=Doubles()))
    assert read_folder(folder).readings[-1].quantity == "regular transmittance"


# A haze as one number, of swatches.csv.

CLEAR_LIGHT = colorimetry.viewing(WAVELENGTHS, light="C", observer=2).weights[:, 1]


def with_hazes(folder: SwatchFolder, *, wrong: str = "") -> SwatchFolder:
    """The bench's castings with what a hazemeter reads of them; one that is wrong reads what another did."""
    rng = np.random.default_rng(4)
    hazes = {}
    for cast in CASTS:
        weights = mixture(cast.base, cast.loadings)
        passed = transmittance(
            weights @ TRUE_K, weights @ TRUE_S, (weights / (1.0 - TRUE_G)) @ TRUE_S, thickness=cast.thickness_mm,
            optics=Optics(model="many-flux", refractive_index=BASES[cast.base].refractive_index),
        )  # fmt: skip
        haze = 1.0 - (beam(cast) @ CLEAR_LIGHT) / (passed @ CLEAR_LIGHT) + 0.003 * rng.standard_normal()
        hazes[cast.name] = float(np.clip(0.2 if cast.name == wrong else haze, 0.0, 1.0))
    return replace(folder, swatches=tuple(replace(each, haze=hazes[each.name]) for each in folder.swatches))


def test_reference_hazes_bring_the_anisotropies_of_the_bench_nearer(plain: Palette) -> None:
    hazy = fitted_once(with_hazes(of_bench()))
    off = [np.abs(palette.g[:, WAVELENGTHS.size // 2] - TRUE_G) for palette in (plain, hazy)]
    assert off[1].mean() < 0.6 * off[0].mean()
    assert hazy.g_error.mean() < 0.6 * plain.g_error.mean()
    assert np.all(off[1] < 3.0 * hazy.g_error)
    assert np.all(hazy.read_as_beam)
    mint = synthetic.Cast("mint", "clear", 1.0, {"yellow": 0.1, "blue": 0.03})
    seen = [predict(p, Blend("clear", mint.loadings), setting=Setting(thickness_mm=1.0)) for p in (plain, hazy)]
    assert seen[1].haze_error < 0.6 * seen[0].haze_error
    true = float(CLEAR_LIGHT @ beam(mint)) / float(CLEAR_LIGHT.sum())
    assert abs(seen[1].regular_transmittance - true) < seen[1].regular_transmittance_error


def test_a_haze_that_cannot_be_is_that_of_a_suspect_casting() -> None:
    suspect = [each.name for each in fitted_once(with_hazes(of_bench(), wrong="mist")).swatches if each.suspect]
    assert suspect == ["mist"]


def test_a_beam_that_was_read_goes_before_a_haze(told: Palette) -> None:
    both = fitted_once(with_hazes(with_beams(of_bench())))
    assert np.array_equal(both.k, told.k)


def test_two_flux_theory_leaves_hazes_aside() -> None:
    plain, hazy = (fitted_once(folder, optics="two-flux") for folder in (of_bench(), with_hazes(of_bench())))
    assert np.array_equal(plain.k, hazy.k)


def hazes_written(files: dict[str, bytes], column: str, cells: str) -> dict[str, bytes]:
    """The good folder with a column of hazes, the same in every row."""
    header, *rows = files["swatches.csv"].decode().splitlines()
    text = "\n".join([f"{header},{column}", *(f"{row},{cells}" for row in rows)]) + "\n"
    return {**files, "swatches.csv": text.encode()}


def test_a_folder_holds_hazes_in_percent(files: dict[str, bytes], tmp_path: Path) -> None:
    for at, (column, cell) in enumerate((("haze_percent", "4.5"), ("Haze [%]", "4.5 %"))):
        folder = read_folder(write(tmp_path / f"good{at}", hazes_written(files, column, cell)))
        assert {each.haze for each in folder.swatches} == {0.045}
    blank = read_folder(write(tmp_path / "blank", hazes_written(files, "haze_percent", "")))
    assert {each.haze for each in blank.swatches} == {None}
    with pytest.raises(FolderError, match="haze_percent 450; expected percent from 0 to 100"):
        read_folder(write(tmp_path / "bad", hazes_written(files, "haze_percent", "450")))
    told = read_folder(write(tmp_path / "odd", hazes_written(files, "haze_percent", "0.04"))).warnings
    assert any("no haze is above 0.04 percent" in str(each) for each in told)
