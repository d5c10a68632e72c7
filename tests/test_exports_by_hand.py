"""Odd habits of instruments' programs, a file written for each: read as what it is, or refused with the reason."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tint.errors import InputError
from tint.swatches.instruments import Given, Measurement, parse_measurements
from tint.swatches.one_reading import read_one

Array = NDArray[np.float64]

GRID = np.arange(400.0, 701.0, 10.0)
PALE = np.round(0.3 + 0.01 * np.arange(GRID.size), 4)
DARK = np.round(0.006 + 0.0001 * np.arange(GRID.size), 4)  # in percent below 2 everywhere
NM = [f"{nm:g}" for nm in GRID]


def read(text: str, *, said: Given | None = None) -> tuple[Measurement, ...]:
    return parse_measurements(text.encode(), file="scan.csv", said=said)


def cells(values: Array, *, percent: bool = False, sign: str = "", mark: str = ".") -> list[str]:
    texts = [f"{100.0 * x:.2f}" if percent else f"{x:.4f}" for x in values]
    return [f"{text}{sign}".replace(".", mark) for text in texts]


def table(*rows: list[str], by: str = ",") -> str:
    return "".join(by.join(row) + "\n" for row in rows)


def points(*columns: list[str], head: str = "", by: str = ",") -> str:
    rows = [by.join(row) for row in zip(NM, *columns, strict=True)]
    return "\n".join([*([head] if head else []), *rows]) + "\n"


def assert_read(measurement: Measurement, values: Array, **told: str) -> None:
    assert measurement.values is not None
    assert measurement.wavelengths is not None
    np.testing.assert_allclose(measurement.wavelengths, GRID)
    np.testing.assert_allclose(measurement.values, values, rtol=0.0, atol=1e-9)
    assert {name: getattr(measurement, name) for name in told} == told


@pytest.mark.parametrize(
    ("text", "told"),
    [
        # a corner that is blank, or names the row of wavelengths beside it
        (table(["", *NM], ["lid", *cells(PALE)]), {"name": "lid"}),
        (table(["Wavelength (nm)", *NM], ["lid", *cells(PALE)]), {"name": "lid"}),
        (table(["Date", "Title", *NM], ["2026-11-01", "lid", *cells(PALE)]), {"name": "lid"}),
        (table(["No", "Measured", *NM], ["1", "lid", *cells(PALE)]), {"name": "lid"}),
        # names above numbers that have no header of their own
        (table(["Sample", "lid"]) + points(cells(PALE)), {"name": "lid"}),
        (table(["Sample", "lid", ""]) + points(cells(PALE), [""] * GRID.size), {"name": "lid"}),
        (table(["Date", "1 Nov"]) + points(cells(PALE)), {"name": "scan"}),
        # the percent stands above, below or behind
        (table(["", "Reflectance (%)"], ["name", *NM], ["lid", *cells(DARK, percent=True)]), {}),
        (table(["Y Units", "%R"]) + points(cells(DARK, percent=True), head="nm,lid"), {"quantity": "reflectance"}),
        (points(cells(DARK, percent=True), head="Wavelength,lid\nnm,%R"), {"name": "lid"}),
        (points(cells(DARK, percent=True), head="Wavelength (nm),%R"), {"quantity": "reflectance"}),
        (points(cells(DARK, percent=True), head="Wavelength (nm),% Reflectance"), {"quantity": "reflectance"}),
        (points(cells(DARK, percent=True), head="Wavelength (nm),lid (%R)"), {"name": "lid"}),
        (points(cells(DARK, percent=True), head="nm,lid %T"), {"name": "lid", "quantity": "transmittance"}),
        (table(["name", *NM], ["lid", *cells(DARK, percent=True, sign=" %")]), {"name": "lid"}),
        (table(["name", *NM], ["lid", *cells(DARK, percent=True, sign="%", mark=",")], by=";"), {"name": "lid"}),
        # what says quantity or gloss, and where
        (table(["name", "Type", *NM], ["lid", "Transmittance", *cells(PALE)]), {"quantity": "transmittance"}),
        (table(["Transmittance"], ["name", *NM], ["lid", *cells(PALE)]), {"quantity": "transmittance"}),
        (table(["name", *(f"{nm} nm R%" for nm in NM)], ["lid", *cells(DARK, percent=True)]), {}),
        (table(["name", *(f"SCI_{nm}" for nm in NM)], ["lid", *cells(PALE)]), {"specular": "included"}),
        (table(["name", *(f"Spectral Reflectance {nm} nm" for nm in NM)], ["lid", *cells(PALE)]), {}),
        (table(["name", *(f"R SCE {nm}nm" for nm in NM)], ["lid", *cells(PALE)]), {"geometry": "de:8"}),
        (points(cells(PALE), head="Wavelength,lid SCE"), {"name": "lid", "specular": "excluded"}),
        # what stands about the table
        (table(["name", *NM, ""], ["lid", *cells(PALE), "", ""]), {"name": "lid"}),
        (table(["", "nm", "R"], by=";") + "".join(f";{n};{x}\n" for n, x in zip(NM, cells(PALE), strict=True)), {}),
        (table(["name", *NM], ["lid", *cells(PALE)], ["name", *NM]), {"name": "lid"}),
        (table(["name", *NM, "R457"], ["lid", *cells(PALE), ""]), {"name": "lid"}),
        ("sep=;\r\n" + table(["name", *NM], ["lid", *cells(PALE)], by=";"), {"name": "lid"}),
        (table(["name", *reversed(NM)], ["lid", *reversed(cells(PALE))]), {"name": "lid"}),
        (table(["name", *NM, "L* D65/10°", "a* D65/10°", "b* D65/10°"], ["lid", *cells(PALE), "60", "1", "2"]),
         {"light": "D65", "observer": "10"}),
        (table(["Wavelength (nm)", "400 - 700"], ["name", *NM], ["lid", *cells(PALE)]), {"name": "lid"}),
        (table(["Lamp", "Power"], ["name", *NM], ["lid", *cells(PALE)]), {"name": "lid"}),
        (table(["name", *NM], ["lid", *cells(PALE)], [], ["name", *NM], ["lid", *cells(DARK)]), {"name": "lid"}),
        (points(cells(PALE), ["lid"] + [""] * (GRID.size - 1), head="Wavelength,R,name"), {"name": "lid"}),
        (points([x.replace("0.", ".") for x in cells(PALE)], head="nm\tR", by="\t"), {}),
        (points([f"{x:.4E}" for x in PALE], by="  "), {"name": "scan"}),
    ],
)  # fmt: skip
def test_one_casting_in_an_odd_spelling_is_read_exactly(text: str, told: dict[str, str]) -> None:
    (lid,) = read(text)
    assert_read(lid, DARK if lid.scale == "percent" else PALE, **told)


def test_values_near_a_hundred_are_no_header() -> None:
    near = [[f"{100.0 + x + 0.1 * (at % 2):.2f}" for at in range(GRID.size)] for x in (0.2, 1.3, 0.1, 0.4, 0.9)]
    read_all = read(points(*near))
    assert [each.name for each in read_all] == [f"column {at}" for at in range(2, 7)]
    for each, column in zip(read_all, near, strict=True):
        assert_read(each, np.array([float(x) for x in column]) / 100.0)


def test_samples_with_numbers_for_names_stand_side_by_side() -> None:
    names = [str(name) for name in range(101, 111)]
    read_all = read(points(*[cells(PALE)] * 10, head=",".join(["Wavelength", *names])))
    assert [each.name for each in read_all] == names
    for each in read_all:
        assert_read(each, PALE)


def test_pairs_of_columns_have_their_names_in_the_row_above() -> None:
    rows = [[NM[at], cells(PALE, percent=True)[at], NM[at], cells(DARK, percent=True)[at]] for at in range(GRID.size)]
    head = [["lid", "", "foot", ""], ["Wavelength (nm)", "%R", "Wavelength (nm)", "%T"]]
    lid, foot = read(table(*head, *rows))
    assert_read(lid, PALE, name="lid", quantity="reflectance")
    assert_read(foot, DARK, name="foot", quantity="transmittance")


def test_blocks_of_one_header_are_told_apart_by_their_gloss() -> None:
    head = ["name", *(f"{nm}nm (SCI)" for nm in NM), *(f"{nm}nm (SCE)" for nm in NM)]
    with_gloss, without = read(table(head, ["lid", *cells(PALE), *cells(PALE - 0.04)]))
    assert_read(with_gloss, PALE, geometry="di:8")
    assert_read(without, PALE - 0.04, geometry="de:8")


def test_columns_of_both_glosses_may_alternate() -> None:
    pairs = zip(cells(PALE), cells(PALE - 0.04), strict=True)
    head = ["name", *(f"{nm}nm {gloss}" for nm in NM for gloss in ("SCI", "SCE"))]
    with_gloss, without = read(table(head, ["lid", *(cell for pair in pairs for cell in pair)]))
    assert_read(with_gloss, PALE, geometry="di:8")
    assert_read(without, PALE - 0.04, geometry="de:8")


def test_a_patch_that_was_not_read_is_passed_over_and_that_is_said() -> None:
    (lid,) = read(table(["name", *NM], ["lid", *cells(PALE)], ["spare", *["-"] * GRID.size]))
    assert "row 3 (spare) holds no value: passed over" in lid.notes


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (points(cells(PALE), head="Wavelength (nm),Absorbance"), "Absorbance: no reflectance"),
        (points(cells(PALE), head="Wavelength (nm),Abs"), "Abs: no reflectance"),
        (points(cells(PALE), head="Wavelength (nm),Intensity (counts)"), "no reflectance"),
        (points(cells(PALE), head="nm,Spectral radiance [W/sr/m2/nm]"), "no reflectance"),
        (points(cells(PALE), head="nm,K/S"), "K/S: no reflectance"),
        (table(["Mode", "Absorbance"], ["name", *NM], ["lid", *cells(PALE)]), "the quantity 'Absorbance'"),
        (table(["name", *(f"T{nm}" for nm in NM), "Mode"], ["lid", *cells(PALE), "Reflectance"]),
         "the quantity is reflectance by the row and transmittance by the header"),
        (points([f"{x * 10:.4f}" for x in PALE / PALE.max() * 0.17]), "high for a fraction and low for percent"),
        (table(["name", *NM], ["lid", "1,234.5", *cells(PALE)[1:]], by=";"), "has two kinds of marks"),
        (table(["name", *NM], ["lid", "<0.1", *cells(PALE)[1:]]), "'<0.1' is not a number"),
        (table(["name", *NM], ["lid", "30%", *cells(PALE)[1:]]), "has no sign of percent, others of the row have one"),
        (table(["name", *NM], ["lid", *cells(PALE)[:-2], "0", "35", ""]), "the row has 33 cells"),
        ("Wavelength (um),R\n" + "".join(f"{x / 1000:g},0.5\n" for x in GRID), "a wavelength of 0.4 nm; expected 100"),
        ("".join(f"{at},{nm},0.5\n" for at, nm in enumerate(NM * 5, start=1)), "is no file of measurements"),
        (points(cells(PALE), head="Wavenumber (cm-1),%R"), "is no file of measurements"),
    ],
)  # fmt: skip
def test_what_is_no_reflectance_or_leaves_it_open_is_refused(text: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        read(text)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_what_the_user_says_must_not_contradict_the_file() -> None:
    told = table(["name", *(f"{nm} [%]" for nm in NM)], ["lid", *cells(PALE, percent=True)])
    with pytest.raises(
        InputError, match=r"row 2: the file says percent, --set scale=fraction; expected the file's own"
    ):
        read(told, said=Given(scale="fraction"))
    sphere = table(["name", "geometry", *NM], ["lid", "45/0", *cells(PALE)])
    with pytest.raises(InputError, match="the file says 45:0, --set geometry=di:8"):
        read(sphere, said=Given(geometry="di:8"))
    colour = "name,light,observer,L,a,b\nlid,D50,2,50,1,2\n"
    with pytest.raises(InputError, match="the file says D50, --light D65"):
        read(colour, said=Given(light="D65"))
    with pytest.raises(InputError, match="the file says 2, --observer 10"):
        read(colour, said=Given(observer="10"))
    assert read(colour, said=Given(light="d50", observer="2"))[0].light == "D50"


def test_what_the_file_leaves_open_the_user_says() -> None:
    said = Given(scale="percent", geometry="de:8")
    (lid,) = read(table(["name", *NM], ["lid", *cells(DARK, percent=True)]), said=said)
    assert_read(lid, DARK, geometry="de:8", specular="excluded")
    sphere = table(["name", "geometry", *NM], ["lid", "d/8", *cells(PALE)])
    assert read(sphere, said=Given(geometry="di:8"))[0].specular == "included"


def test_one_reading_is_taken_though_another_row_is_at_fault(tmp_path: Path) -> None:
    path = tmp_path / "scan.csv"
    path.write_text(table(["name", *NM], ["lid", *cells(PALE)], ["foot", "over", *cells(PALE)[1:]]), "utf-8")
    taken = read_one(f"{path}:lid", onto=GRID)
    assert taken.spectrum is not None
    np.testing.assert_allclose(taken.spectrum, PALE, atol=1e-9)
    with pytest.raises(InputError, match="row 3, column 400: 'over' is not a number"):
        read_one(f"{path}:foot", onto=GRID)
