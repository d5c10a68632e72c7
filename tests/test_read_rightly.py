"""Files that look like one thing and are another: each is read as what it is, or refused with the reason."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tint.errors import InputError
from tint.swatches.import_plan import Doubles
from tint.swatches.importing import plan_import
from tint.swatches.instruments import Measurement, parse_measurements
from tint.swatches.instruments.measurement import on_grid
from tint.swatches.one_reading import read_one

GRID = np.arange(400.0, 701.0, 20.0)
PALE = [0.3 + 0.02 * at for at in range(GRID.size)]


def wide(values: list[float], *, prefix: str = "", more: str = "", cells: str = "") -> str:
    head = ",".join(f"{prefix}{nm:g}" for nm in GRID)
    return f"name,{head}{more}\nlid,{','.join(f'{x:.4f}' for x in values)}{cells}\n"


def read(text: str) -> tuple[Measurement, ...]:
    return parse_measurements(text.encode(), file="one.csv")


def cgats(values: list[float], *, keywords: str = "", first: str = "CGATS.17") -> str:
    fields = " ".join(f"SPECTRAL_NM{nm:g}" for nm in GRID)
    count = GRID.size + 1
    return (
        f"{first}\n{keywords}NUMBER_OF_FIELDS {count}\nBEGIN_DATA_FORMAT\nSAMPLE_NAME {fields}\nEND_DATA_FORMAT\n"
        f"NUMBER_OF_SETS 1\nBEGIN_DATA\nlid {' '.join(f'{x:.4f}' for x in values)}\nEND_DATA\n"
    )


def test_noise_beyond_the_visible_does_not_tell_the_scale() -> None:
    (lid,) = read(wide(PALE, more=",1350,1366", cells=",3.1,4.9"))
    assert lid.values is not None
    np.testing.assert_allclose(lid.values[: GRID.size], PALE, atol=1e-9)
    assert "from 380 to 780 nm" in lid.notes[-1]


@pytest.mark.parametrize(
    "keywords",
    [
        'WEIGHTING_FUNCTION "ILLUMINANT, D50"\nWEIGHTING_FUNCTION "OBSERVER, 2 degree"\n',
        'WEIGHTING_FUNCTION "OBSERVER, 2 degree"\nWEIGHTING_FUNCTION "ILLUMINANT, D50"\n',
        'ILLUMINATION_NAME "D50"\nOBSERVER "2"\n',
    ],
)
def test_the_light_of_colours_is_not_lost(keywords: str) -> None:
    text = f"CGATS.17\n{keywords}BEGIN_DATA_FORMAT\nSAMPLE_NAME LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n"
    (lid,) = parse_measurements(f"{text}BEGIN_DATA\nlid 61.2 4.5 -10.1\nEND_DATA\n".encode(), file="one.cgats")
    assert (lid.light, lid.observer) == ("D50", "2")


def test_one_file_has_one_scale_whoever_reads_it(tmp_path: Path) -> None:
    dark = [0.55 + 0.12 * at for at in range(GRID.size)]  # percent: a black, a little of it above 2
    path = tmp_path / "dark.csv"
    path.write_text(wide(dark), "utf-8")
    (imported,) = parse_measurements(path.read_bytes(), file="dark.csv")
    asked = read_one(f"{path}:lid", onto=GRID)
    assert imported.values is not None
    assert asked.spectrum is not None
    np.testing.assert_allclose(imported.values, np.array(dark) / 100.0, atol=1e-9)
    np.testing.assert_allclose(asked.spectrum, imported.values, atol=1e-9)


@pytest.mark.parametrize("column", ["geometry", "condition"])
def test_of_readings_with_and_without_gloss_the_folder_s_are_taken(tmp_path: Path, column: str) -> None:
    rows = wide(PALE, more=f",{column}", cells=",SCI") + wide([x - 0.04 for x in PALE], cells=",SCE").split("\n", 1)[1]
    path = tmp_path / "both.txt"
    path.write_text(rows.replace(",", ";"), "utf-8")
    for geometry, less in (("di:8", 0.0), ("de:8", 0.04)):
        asked = read_one(f"{path}:lid", onto=GRID, geometry=geometry)
        assert asked.spectrum is not None
        np.testing.assert_allclose(asked.spectrum, np.array(PALE) - less, atol=1e-9)
        assert geometry in " ".join(asked.notes)
    with pytest.raises(InputError, match=r"was read as d[ei]:8 and d[ei]:8; expected 45:0 alone"):
        read_one(f"{path}:lid", onto=GRID, geometry="45:0")


def test_import_takes_the_folder_s_geometry_of_both(demo_folder: Path) -> None:
    nm = ",".join(f"{each:g}" for each in np.arange(400.0, 701.0, 10.0))
    rows = [f"clear-3mm,white,air,{kind}," + ",".join(f"{x:.3f}" for x in np.full(31, value))
            for kind, value in (("SCI", 0.7), ("SCE", 0.66))]  # fmt: skip
    text = f"name,backing,seat,specular,{nm}\n" + "\n".join(rows) + "\n"
    plan = plan_import(demo_folder, parse_measurements(text.encode(), file="both.csv"), doubles=Doubles(add=True))
    assert [each.action for each in plan.planned] == ["replicate", "left out"]
    assert "there as di:8 too" in plan.planned[1].notes[-1]
    assert plan.faults == ()


def test_transmittance_is_not_taken_for_reflectance() -> None:
    assert read(wide(PALE, prefix="T"))[0].quantity == "transmittance"
    assert read(wide(PALE, prefix="R"))[0].quantity == "reflectance"
    assert read("Mode,Transmission\n" + wide(PALE))[0].quantity == "transmittance"
    chart = parse_measurements(cgats(PALE, first="IT8.7/1").encode(), file="chart.txt")
    assert chart[0].quantity == "transmittance"


@pytest.mark.parametrize(
    "keyword",
    ['DESCRIPTOR "Standard deviation of 3"\n', 'KEYWORD "STATISTIC"\nSTATISTIC "STDEV"\n', 'REMARK "std. dev."\n'],
)
def test_a_table_of_deviations_behind_its_readings_is_passed_over(keyword: str) -> None:
    text = cgats(PALE, keywords='DESCRIPTOR "Mean of 3"\n') + cgats([0.002] * GRID.size, keywords=keyword, first="")
    (lid,) = read(text)
    assert lid.values is not None
    np.testing.assert_allclose(lid.values, PALE, atol=1e-4)
    assert any("passed over" in note for note in lid.notes)
    (alone,) = read(cgats(PALE, keywords=keyword))  # a file that holds nothing else is what it is
    assert alone.name == "lid"


@pytest.mark.parametrize(
    ("label", "said"),
    [
        ("%R{}", ("reflectance", "percent", "")),
        ("R[{}]", ("reflectance", "", "")),
        ("R({})", ("reflectance", "", "")),
        ("R_{}", ("reflectance", "", "")),
        ("Refl {}", ("reflectance", "", "")),
        ("Reflectance {}nm", ("reflectance", "", "")),
        ("{}nm SCI", ("", "", "included")),
        ("{}nm SCE", ("", "", "excluded")),
        ("{} nm [%]", ("", "percent", "")),
        ("{}_NM", ("", "", "")),
        ("{}.000000", ("", "", "")),
        ("%T{}", ("transmittance", "percent", "")),
        ("ρ{}", ("reflectance", "", "")),
        ("β({} nm)", ("reflectance", "", "")),
        ("τ {}", ("transmittance", "", "")),
        ("lambda{}", ("", "", "")),
        ("Spec {}", ("", "", "")),
    ],
)
def test_what_instruments_write_about_a_wavelength_is_understood(label: str, said: tuple[str, str, str]) -> None:
    percent = said[1] == "percent"
    shown = [(0.9 if percent else 1.0) * x for x in PALE]  # in percent all stay below 2: only the label tells
    head = ",".join(label.format(f"{nm:g}") for nm in GRID)
    (lid,) = read(f"name,{head}\nlid,{','.join(f'{x:.4f}' for x in shown)}\n")
    assert lid.wavelengths is not None
    assert lid.values is not None
    np.testing.assert_allclose(lid.wavelengths, GRID)
    np.testing.assert_allclose(lid.values, np.array(shown) / (100.0 if percent else 1.0), atol=1e-4)
    assert (lid.quantity, lid.specular) == (said[0], said[2])


@pytest.mark.parametrize(
    ("labels", "view"),
    [
        ("L*(D65),a*(D65),b*(D65)", ("D65", "")),
        ("L*(10°/D65),a*(10°/D65),b*(10°/D65)", ("D65", "10")),
        ("CIE L*,CIE a*,CIE b*", ("", "")),
        ("L* [D50/2°],a* [D50/2°],b* [D50/2°]", ("D50", "2")),
    ],
)
def test_the_light_in_the_name_of_a_column_is_told(labels: str, view: tuple[str, str]) -> None:
    (lid,) = read(f"name,{labels}\nlid,61.2,4.5,-10.1\n")
    assert lid.lab is not None
    assert lid.lab.tolist() == [61.2, 4.5, -10.1]
    assert (lid.light, lid.observer) == view


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "mac-roman"])
def test_an_old_encoding_changes_no_number(encoding: str, tmp_path: Path) -> None:
    data = wide(PALE).replace("lid", "Deckel grün").encode(encoding)
    (lid,) = parse_measurements(data, file="one.csv")
    assert lid.name == "Deckel grün"
    assert lid.values is not None
    np.testing.assert_allclose(lid.values, PALE, atol=1e-9)
    path = tmp_path / "one.csv"
    path.write_bytes(data)
    asked = read_one(str(path), onto=GRID)
    assert asked.spectrum is not None
    np.testing.assert_allclose(asked.spectrum, PALE, atol=1e-9)


HEAD, ROW = wide(PALE).rstrip("\n").split("\n")
SPECTRUM = " ".join(f"{x:.4f}" for x in PALE)
POINTS = "".join(f"{nm:g} {x:.4f}\n" for nm, x in zip(GRID, PALE, strict=True))
JCAMP = (
    "##TITLE=lid\n##JCAMP-DX=4.24\n##DATA TYPE=UV/VIS SPECTRUM\n##XUNITS=NANOMETERS\n##YUNITS=REFLECTANCE\n"
    f"##FIRSTX=400\n##LASTX=700\n##NPOINTS={GRID.size}\n"
)


def sets(values: str, keywords: str = "") -> str:
    """CGATS with the values as they are given."""
    return cgats(PALE, keywords=keywords).replace(SPECTRUM, values)


@pytest.mark.parametrize(
    "text",
    [
        f"{HEAD}\n{ROW}\n\nMeasured by nobody\n",
        f"{HEAD}\n{ROW}\nEnd of report\n",
        f"{HEAD}\n{','.join(['', *['%'] * GRID.size])}\n{ROW}\n".replace("%", "-"),
        f"{HEAD}\n{','.join(['', *['[nm]'] * GRID.size])}\n{ROW}\n",
        f"{HEAD}\n{ROW}\n\nname,L*,a*,b*\nlid,60,1,2\n",
        f"{HEAD},900,1000\n{ROW},-,\n",
        f"{HEAD}\n{ROW}\n".replace(",", "   "),
        sets(SPECTRUM.replace(".", ",")),
        cgats(PALE)
        .replace("NUMBER_OF_SETS 1\n", "")
        .replace("END_DATA\n", "")
        .replace("_FORMAT\nSAMPLE", "_FORMAT\nSAMPLE")
        + f"jar {' '.join(['N/A'] * GRID.size)}\nEND_DATA\n",
        cgats(PALE).replace(f"NUMBER_OF_FIELDS {GRID.size + 1}", "NUMBER_OF_FIELDS 99"),
        cgats(PALE, keywords='ORIGINATOR "nobody\nCREATED "2026-11-01" # by hand\n'),
        f"Data from the bench\nIntegration: 10\n>>>>>Begin Spectral Data<<<<<\n{POINTS}".replace(" 0", "\t0"),
        f"{HEAD}\n{ROW}\n" + "\0" * 40,
        POINTS,
        f"{JCAMP}##XYDATA=(X++(Y..Y))\n{POINTS}##END=\n",
        f"{JCAMP}##XYDATA=(X++(Y..Y))\n{POINTS}710\n##END=\n",
        f"{JCAMP}##XYPOINTS=(XY..XY)\n{POINTS.replace(' ', ', ')}##END=\n",
    ],
)
def test_what_stands_about_the_numbers_is_no_reason_to_refuse_them(text: str) -> None:
    (lid,) = read(text)
    assert lid.wavelengths is not None
    assert lid.values is not None
    np.testing.assert_allclose(lid.wavelengths, GRID)
    np.testing.assert_allclose(lid.values, PALE, atol=1e-9)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        (sets(SPECTRUM.replace(".", ",", 3)), "0,3000"),
        (f"{JCAMP}##XYDATA=(X++(Y..Y))\n@0+1-2\n##END=\n", "no row of plain numbers"),
        (f"{JCAMP.replace('=400', '=300')}##XYDATA=(X++(Y..Y))\n{POINTS}##END=\n", "a row begins at"),
        (f"{JCAMP.replace('NANOMETERS', '1/CM')}##XYDATA=(X++(Y..Y))\n{POINTS}##END=\n", "XUNITS are"),
        (f"{JCAMP}##YFACTOR=0\n##XYPOINTS=(XY..XY)\n400 1e999\n{POINTS}##END=\n", "no row of plain numbers"),
        (f"{JCAMP}##XFACTOR=1e6\n##XYPOINTS=(XY..XY)\n1e308 0.5\n{POINTS}##END=\n", "no row of plain numbers"),
        (f"{JCAMP}##XFACTOR=1e-320\n##XYDATA=(X++(Y..Y))\n{POINTS}##END=\n", "XFACTOR: '1e-320' is no factor"),
        (f"{JCAMP}##YFACTOR=0\n##XYDATA=(X++(Y..Y))\n{POINTS}##END=\n", "YFACTOR: '0' is no factor"),
        (
            f"{JCAMP.replace('REFLECTANCE', 'ABSORB')}##XYDATA=(X++(Y..Y))\n{POINTS}##END=\n",
            "reflectance or transm",
        ),
        (f"{HEAD}\n{ROW}\n{ROW[:20]}\n{ROW}\n", "cells"),
    ],
)
def test_what_leaves_the_numbers_open_is_refused(text: str, match: str) -> None:
    with pytest.raises(InputError, match=match):
        read(text)


def test_light_that_a_display_sent_out_is_refused() -> None:
    with pytest.raises(InputError, match="light that was sent out"):
        parse_measurements(cgats(PALE, keywords='MEASUREMENT_TYPE "EMISSION"\n').encode(), file="screen.txt")
    with pytest.raises(InputError, match="light that was sent out"):
        parse_measurements(cgats(PALE, keywords='DEVICE_CLASS "DISPLAY"\n').encode(), file="screen.ti3")


@pytest.mark.parametrize(("keyword", "norm", "scale"), [("SPECTRAL_NORM", "100.0", 0.01), ("SPEC_SCALE", "1", 1.0)])
def test_a_spectrum_is_on_the_scale_that_its_file_tells(keyword: str, norm: str, scale: float) -> None:
    black = [0.6] * GRID.size
    (lid,) = parse_measurements(cgats(black, keywords=f'{keyword} "{norm}"\n').encode(), file="black.ti3")
    assert lid.values is not None
    np.testing.assert_allclose(lid.values, scale * np.array(black), atol=1e-12)
    with pytest.raises(InputError, match="white is 255"):
        parse_measurements(cgats(black, keywords=f'{keyword} "255"\n').encode(), file="black.ti3")


def test_fine_uneven_steps_are_averaged_and_their_noise_with_them() -> None:
    rng = np.random.default_rng(3)
    nm = np.cumsum(np.concatenate(([385.0], rng.uniform(0.2, 2.0, 320))))
    smooth = 0.4 + 0.2 * np.sin(nm / 60.0)
    noisy = Measurement(name="lid", wavelengths=nm, values=smooth + rng.normal(0.0, 0.02, nm.size), file="array.csv")
    grid = np.arange(400.0, 701.0, 10.0)
    values, note = on_grid(noisy, grid)
    assert "means under triangles" in note
    off = values - (0.4 + 0.2 * np.sin(grid / 60.0))
    assert float(np.sqrt(np.mean(off**2))) < 0.009  # a dozen values a mean: a third and less of their noise
    straight = Measurement(name="lid", wavelengths=nm, values=0.1 + 0.001 * nm, file="array.csv")
    np.testing.assert_allclose(on_grid(straight, grid)[0], 0.1 + 0.001 * grid, atol=2e-3)
    with pytest.raises(InputError, match="one that covers 400 to 760 nm"):
        on_grid(noisy, np.arange(400.0, nm[-1] + 60.0, 10.0)[:37])
