"""Exports as programs and spreadsheets of several languages write them, read alike by every command."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tint.errors import InputError
from tint.swatches.instruments import parse_measurements
from tint.swatches.one_reading import read_one

Array = NDArray[np.float64]

GRID = np.arange(400.0, 701.0, 10.0)
PALE = np.round(0.3 + 0.01 * np.arange(GRID.size), 4)
DEEP = np.round(0.02 + 0.0012 * np.arange(GRID.size), 4)
DARK = np.round(DEEP / 4.0, 4)  # open between fractions and percent, unless the file says which
LESS = np.round(PALE - 0.04, 4)
NM = [f"{nm:g}" for nm in GRID]
Expected = dict[tuple[str, str, str], Array]  # by name, quantity and specular component


def cells(values: Array, *, percent: bool = True, mark: str = ".") -> list[str]:
    return [f"{100.0 * x:.2f}" if percent else f"{x:.4f}" for x in values] if mark == "." else [
        text.replace(".", mark) for text in cells(values, percent=percent)
    ]  # fmt: skip


def rows(*lines: list[str], by: str = ",") -> str:
    return "".join(by.join(line) + "\n" for line in lines)


def points(head: str, *columns: list[str], by: str = ",") -> str:
    return head + "\n" + rows(*map(list, zip(NM, *columns, strict=True)), by=by)


def comma(head: str, values: Array = PALE, *, percent: bool = True) -> str:
    return points(head, cells(values, percent=percent, mark=","), by=";")


def named(pattern: str) -> str:
    return rows(["Name", *(pattern.format(nm) for nm in NM)], ["lid", *cells(PALE)])


def cgats(*data: str, counts: bool = False) -> str:
    fields = "\t".join(["SAMPLE_ID", "SAMPLE_NAME", *(f"SPECTRAL_NM{nm}" for nm in NM)])
    sets = ["NUMBER_OF_SETS 1"] if counts else []
    return "\n".join(
        ["CGATS.17", "BEGIN_DATA_FORMAT", fields, "END_DATA_FORMAT", *sets, "BEGIN_DATA", *data, "END_DATA"]
    )


LID: Expected = {("lid", "", ""): PALE}
SCAN: Expected = {("scan", "reflectance", ""): PALE}
THROUGH: Expected = {("scan", "transmittance", ""): PALE}
BOTH: Expected = {("lid", "", "included"): PALE, ("lid", "", "excluded"): LESS}
TWO: Expected = {("lid", "", ""): PALE, ("foot", "", ""): DEEP}
HALF = "\t".join(cells(PALE, percent=False)[:15])
REST = "\t".join(cells(PALE, percent=False)[15:])

READ: list[tuple[str, Expected]] = [
    # blocks of a header, and what ends the data
    (points("Spectrometer: bench\nUser: nobody\nIntegration Time (sec): 0.1\n>>>>>Begin Spectral Data<<<<<",
            cells(PALE), by="\t"), {("scan", "", ""): PALE}),
    (points("Sample\tlid\nMode\tReflectance\n>>>>>Begin", cells(PALE), by="\t") + ">>>>>End\n",
     {("lid", "reflectance", ""): PALE}),
    (points("Sample Name,lid\nOperator,nobody\n\nWavelength,Reflectance", cells(PALE)),
     {("lid", "reflectance", ""): PALE}),
    # CGATS whose sets run over lines, with decimal commas, and with a patch that was not read
    (cgats("1\tlid\t" + "\t".join(cells(PALE, percent=False, mark=",")),
           "2\tfoot\t" + "\t".join(["N/A"] * GRID.size)), LID),
    (cgats("1\tlid", HALF, REST, counts=True), LID),
    # both specular components in a row, under a heading, side by side, or by a column
    (rows(["", "SCI", *[""] * 30, "SCE", *[""] * 30], ["Name", *NM, *NM], ["lid", *cells(PALE), *cells(LESS)]), BOTH),
    (rows(["Name", *(f"SCI {nm}nm" for nm in NM), *(f"SCE {nm}nm" for nm in NM)], ["lid", *cells(PALE), *cells(LESS)]),
     BOTH),
    (points("Wavelength;SCI;SCE", cells(PALE), cells(LESS), by=";"),
     {("scan", "", "included"): PALE, ("scan", "", "excluded"): LESS}),
    (points("nm;lid (SCI) [%];lid (SCE) [%]", cells(PALE), cells(LESS), by=";"), BOTH),
    (rows(["Name", "Mode", *NM], ["lid", "SCI", *cells(PALE)], ["lid", "SCE", *cells(LESS)]), BOTH),
    (rows(["Name", "Specular component", *NM], ["lid", "Included", *cells(PALE)], ["lid", "Excluded", *cells(LESS)]),
     BOTH),
    (rows(["Probe", "Glanz", *NM], ["lid", "eingeschlossen", *cells(PALE)], ["lid", "ausgeschlossen", *cells(LESS)]),
     BOTH),
    (rows(["Instrument: bench, mit Glanz"], ["Messgeometrie", "d/8 Glanz ausgeschlossen"], ["Probe", *NM],
          ["lid", *cells(PALE)]), {("lid", "", "excluded"): PALE}),
    # wavelengths and quantities in other languages
    (comma("Wellenlaenge;lid"), LID),
    (comma("Wellenlänge [nm];Reflexion [%]"), SCAN),
    (comma("Wellenlänge (nm);Reflexionsgrad", percent=False), SCAN),
    (comma("Longueur d'onde (nm);Réflectance (%)"), SCAN),
    (comma("longueur d’onde;Facteur de réflexion", percent=False), SCAN),
    (comma("Lunghezza d'onda;Riflettanza", percent=False), SCAN),
    (comma("Longitud de onda (nm);Reflectancia (%)"), SCAN),
    (comma("Wellenlänge;Transmissionsgrad [%]"), THROUGH),
    (comma("Longueur d'onde (nm);Transmission (%)"), THROUGH),
    (rows(["Échantillon", *NM], ["lid", *cells(PALE, mark=",")], by=";"), LID),
    ("Probe;Wellenlänge;Remission\n" + "".join(
        f"{name};{nm};{x}\n" for name, each in (("lid", PALE), ("foot", DEEP))
        for nm, x in zip(NM, cells(each, percent=False, mark=","), strict=True)),
     {("lid", "reflectance", ""): PALE, ("foot", "reflectance", ""): DEEP}),
    # percent said in a title, in a corner, beside the quantity, in a cell above
    (rows(["Spectral data (percent)"], ["Name", *NM], ["lid", *cells(DARK)]), {("lid", "", ""): DARK}),
    (rows(["", "%"], ["Name", *NM], ["lid", *cells(DARK)]), {("lid", "", ""): DARK}),
    (rows(["R%", *NM], ["lid", *cells(DARK)]), {("lid", "reflectance", ""): DARK}),
    (points("Wavelength,Reflectance (0-100)", cells(DARK)), {("scan", "reflectance", ""): DARK}),
    (points("Wavelength/nm,Reflectance/%", cells(DARK)), {("scan", "reflectance", ""): DARK}),
    (rows(["Name", "lid", "foot"], ["nm", "%", "%"]) + points("", cells(DARK), cells(DEEP)).lstrip(),
     {("lid", "", ""): DARK, ("foot", "", ""): DEEP}),
    # names of samples above their columns, and colours between
    (rows(["", "lid", "foot"], ["L*", "60", "20"]) + points("", cells(PALE), cells(DEEP)).lstrip(), TWO),
    ("Wavelength nm   lid  foot\n" + rows(*map(list, zip(NM, cells(PALE), cells(DEEP), strict=True)), by="   "), TWO),
    # modes in a letter, odd labels of wavelengths
    (rows(["Sample ID", "Mode", *NM], ["lid", "R", *cells(PALE)]), {("lid", "reflectance", ""): PALE}),
    (rows(["Sample ID", "Mode", *NM], ["lid", "T", *cells(PALE)]), {("lid", "transmittance", ""): PALE}),
    (points("λ (nm),R(λ)", cells(PALE, percent=False)), SCAN),
    (points("Wavelength,Radiance factor", cells(PALE, percent=False)), SCAN),
    *((named(label), LID) for label in ("{}-nm", "nm {}", "W{}", "wvl_{}", "X{}.nm", "λ={}")),
    (named("Refl. @ {} nm"), {("lid", "reflectance", ""): PALE}),
    # a light trap among percent: flat, and written as coarsely as they are
    (rows(["Name", *NM], ["lid", *cells(PALE)], ["trap", *["0.35"] * GRID.size]),
     {("lid", "", ""): PALE, ("trap", "", ""): np.full(GRID.size, 0.0035)}),
]  # fmt: skip


@pytest.mark.parametrize(("text", "expected"), READ)
def test_a_habit_is_read_exactly_and_alike(text: str, expected: Expected, tmp_path: Path) -> None:
    read = parse_measurements(text.encode(), file="scan.csv")
    assert sorted((each.name, each.quantity, each.specular) for each in read) == sorted(expected)
    path = tmp_path / "scan.csv"
    path.write_text(text, "utf-8")
    for each in read:
        assert each.values is not None
        np.testing.assert_allclose(each.values, expected[each.name, each.quantity, each.specular], atol=1e-9)
        geometry = {"included": "di:8", "excluded": "de:8"}.get(each.specular, "")
        one = read_one(f"{path}:{each.name}", onto=GRID, geometry=geometry)
        assert one.spectrum is not None
        np.testing.assert_allclose(one.spectrum, each.values, atol=1e-9)


REFUSED: list[tuple[str, str]] = [
    (comma("Wellenlänge;Extinktion", percent=False), "Extinktion: no reflectance"),
    (comma("Wellenlänge;Absorptionsgrad", percent=False), "Absorptionsgrad: no reflectance"),
    (comma("Longueur d'onde;Absorption", percent=False), "Absorption: no reflectance"),
    (comma("Wellenlänge;Intensität", percent=False), "Intensität: no reflectance"),
    (rows(["K/S", *NM], ["lid", *cells(PALE, percent=False)]), "row 2: the quantity 'absorbance'"),
    (points("Wavelength (Å),R", cells(PALE)).replace("0,", "00,"), "a wavelength of 4000 nm; expected 100 to 3000"),
    (rows(["Name", *NM], ["lid", *cells(PALE)], ["foot", *cells(PALE, percent=False)]),
     "row 3: foot stays below 1.2 in a file of percent: a black, or fractions"),
    (rows(["Name", *NM], ["lid", *cells(PALE)], ["foot", *cells(DEEP / 5.0)]),
     "if it is percent too, say --set scale=percent"),
    (cgats("1\tlid", HALF, REST + "\t0.5", counts=True), "the table has 3 rows; expected the NUMBER_OF_SETS, 1"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "words"), REFUSED)
def test_what_it_cannot_be_is_refused_with_the_reason(text: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_measurements(text.encode(), file="scan.csv")
    assert words in str(caught.value)


def test_one_that_is_open_beside_percent_keeps_no_other_from_being_read(tmp_path: Path) -> None:
    path = tmp_path / "scan.csv"
    path.write_text(rows(["Name", *NM], ["lid", *cells(PALE)], ["foot", *cells(PALE, percent=False)]), "utf-8")
    taken = read_one(f"{path}:lid", onto=GRID)
    assert taken.spectrum is not None
    np.testing.assert_allclose(taken.spectrum, PALE, atol=1e-9)
    with pytest.raises(InputError, match="foot stays below"):
        read_one(f"{path}:foot", onto=GRID)
