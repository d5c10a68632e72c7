"""Exports as a workshop keeps them: readings over both cards, means, deviations, and facts in titles and names."""

from __future__ import annotations

import datetime
import io
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tint.errors import InputError
from tint.swatches import read_folder
from tint.swatches.import_plan import Doubles, Import, Naming
from tint.swatches.importing import plan_import
from tint.swatches.instruments import parse_measurements
from tint.swatches.one_reading import read_one

Array = NDArray[np.float64]
Rows = list[list[str]]

NM = [f"{nm}" for nm in range(400, 701, 10)]
BLACK, WHITE, THROUGH = (np.round(level + 0.002 * np.arange(31), 4) for level in (0.11, 0.31, 0.21))
LESS = WHITE - 0.03  # the same without gloss
PALETTE = """format = 1
[instrument]
geometry = "di:8"
[backings.black]
[backings.white]
[bases.clear]
cure = "addition"
density = 1.1
refractive_index = 1.41
max_loading = 3.0
mix = { A = 1.0, B = 1.0 }
pigment_in = "A"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder of a sphere, specular included, with black and white cards and four castings."""
    (tmp_path / "palette.toml").write_text(PALETTE)
    names = ("lid-1", "lid-2", "12", "007")
    (tmp_path / "swatches.csv").write_text(
        "swatch,base,thickness_mm\n" + "".join(f"{name},clear,2\n" for name in names)
    )
    head = f"swatch,backing,seat,{','.join(NM)}\n"
    cards = "".join(f"{card},,{',0.5' * 31}\n" for card in ("black", "white"))
    (tmp_path / "readings.csv").write_text(head + cards)
    return tmp_path


def cells(values: Array) -> list[str]:
    return [f"{value:.4f}" for value in values]


def text(rows: Rows, above: str = "") -> bytes:
    return (above + "".join(",".join(row) + "\n" for row in rows)).encode()


def book(sheets: dict[str, list[list[object]]], shown_as: str = "") -> bytes:
    import openpyxl

    made = openpyxl.Workbook()
    made.remove(made.active)
    for title, rows in sheets.items():
        sheet = made.create_sheet(title)
        for row in rows:
            sheet.append(row)
        if shown_as:
            sheet["A2"].number_format = shown_as
    stream = io.BytesIO()
    made.save(stream)
    return stream.getvalue()


def planned(folder: Path, data: bytes, *, backing: str = "", pattern: str = "") -> Import:
    naming = Naming(backing=backing, seat="air", patterns=[pattern] if pattern else [])
    read = parse_measurements(data, file="scan.csv")
    return plan_import(folder, read, naming=naming, doubles=Doubles(add=True))


def taken(plan: Import) -> dict[tuple[str, str], list[Array]]:
    """What goes in, by casting and what lay behind it."""
    assert not plan.faults, plan.faults
    found: dict[tuple[str, str], list[Array]] = {}
    for each in plan.planned:
        if each.action in ("new", "replicate"):
            assert each.values is not None
            behind = "through" if each.quantity == "transmittance" else each.key[1]
            found.setdefault((each.key[0], behind), []).append(each.values)
    return found


def assert_taken(plan: Import, *expected: tuple[str, str, Array]) -> None:
    found = [(name, behind, values) for (name, behind), several in taken(plan).items() for values in several]
    assert [each[:2] for each in found] == [each[:2] for each in expected]
    for (*_, values), (*_, wanted) in zip(found, expected, strict=True):
        np.testing.assert_allclose(values, wanted, rtol=0.0, atol=5.1e-6)  # half of the last digit that is written


@pytest.mark.parametrize(
    "words", [("schwarz", "weiß"), ("B", "W"), ("over black", "White card"), ("noir", "blanc")], ids=" ".join
)
def test_a_word_for_a_card_is_the_card_whatever_is_said_of_all(folder: Path, words: tuple[str, str]) -> None:
    black, white = words
    rows = [["Sample", "Background", *NM], ["lid-1", black, *cells(BLACK)], ["lid-1", white, *cells(WHITE)]]
    plan = planned(folder, text(rows), backing="white")
    assert_taken(plan, ("lid-1", "black", BLACK), ("lid-1", "white", WHITE))


def test_one_word_for_all_does_not_stand_for_two_cards_that_are_unknown(folder: Path) -> None:
    rows = [["Sample", "Backing", *NM], ["lid-1", "felt", *cells(BLACK)], ["lid-1", "tile", *cells(WHITE)]]
    plan = planned(folder, text(rows), backing="white")
    assert "there is no backing felt" in str(plan.faults[0])


def test_cards_and_quantities_may_head_columns_in_a_row_of_their_own(folder: Path) -> None:
    head = ["", "over black", *[""] * 30, "over white", *[""] * 30, "Transmittance", *[""] * 30]
    rows = [head, ["Sample", *NM * 3], ["lid-1", *cells(BLACK), *cells(WHITE), *cells(THROUGH)]]
    plan = planned(folder, text(rows))
    expected = ("lid-1", "black", BLACK), ("lid-1", "white", WHITE), ("lid-1", "through", THROUGH)
    assert_taken(plan, *expected)


def test_a_spectrum_that_begins_anew_in_its_row_is_refused() -> None:
    rows = [["Sample", *NM, *(f"{nm}.1" for nm in NM)], ["lid-1", *cells(WHITE), *cells(LESS)]]
    with pytest.raises(InputError, match=r"400\.1 nm comes after 700 nm"):
        parse_measurements(text(rows), file="scan.csv")


@pytest.mark.parametrize("title", ["SCE\n", "Sphere d/8, SCE, D65/10\n", "Mode,SCE\n", "Lab bench 8°/d (SPEX)\n"])
def test_what_the_lines_above_say_of_the_gloss_holds(folder: Path, title: str) -> None:
    plan = planned(folder, text([["Sample", *NM], ["lid-1", *cells(LESS)]], title), backing="white")
    assert "read in the geometry de:8" in str(plan.faults[0])


@pytest.mark.parametrize("title", ["Total transmission\n", "Spectral transmittance of castings on 3.11.\n"])
def test_what_the_lines_above_say_of_the_quantity_holds(folder: Path, title: str) -> None:
    plan = planned(folder, text([["Sample", *NM], ["lid-1", *cells(THROUGH)]], title), backing="white")
    assert_taken(plan, ("lid-1", "through", THROUGH))


def test_initials_are_no_deviation(folder: Path) -> None:
    rows = [["Sample", "Operator", *NM], ["lid-1", "SD", *cells(WHITE)]]
    assert_taken(planned(folder, text(rows), backing="white"), ("lid-1", "white", WHITE))


@pytest.mark.parametrize(
    "title",
    ["Data transmission,USB\n", "Transmission cell,none\n", "Modes: reflection; transmission\n", "SCI and SCE\n"],
)
def test_lines_above_that_settle_nothing_change_nothing(folder: Path, title: str) -> None:
    plan = planned(folder, text([["Sample", *NM], ["lid-1", *cells(WHITE)]], title), backing="white")
    assert_taken(plan, ("lid-1", "white", WHITE))


def test_a_title_of_absorbance_is_refused() -> None:
    rows = [["Sample", *NM], ["lid-1", *cells(WHITE)]]
    with pytest.raises(InputError, match="the quantity 'absorbance'"):
        parse_measurements(text(rows, "Data type: Absorbance\n"), file="scan.csv")


@pytest.mark.parametrize(
    "both",
    [
        [["Sample"], ["lid-1 (SCI)"], ["lid-1_SCE"]],
        [["Sample", "Specular included"], ["lid-1", "yes"], ["lid-1", "no"]],
        [["Sample", "Spex"], ["lid-1", "In"], ["lid-1", "Ex"]],
    ],
)
def test_names_and_answers_tell_the_gloss(folder: Path, both: Rows) -> None:
    rows = [[*both[0], *NM], [*both[1], *cells(WHITE)], [*both[2], *cells(LESS)]]
    plan = planned(folder, text(rows), backing="white", pattern="{swatch}{any}")
    assert_taken(plan, ("lid-1", "white", WHITE))


def test_letters_under_a_kind_are_quantities(folder: Path) -> None:
    rows = [["Sample", "Type", *NM], ["lid-1", "R", *cells(WHITE)], ["lid-1", "T", *cells(THROUGH)]]
    plan = planned(folder, text(rows), backing="white")
    assert_taken(plan, ("lid-1", "white", WHITE), ("lid-1", "through", THROUGH))


def test_of_readings_their_mean_and_their_deviation_the_readings_are_taken(folder: Path) -> None:
    rows = [["Sample", "Reading", *NM], ["lid-1", "1", *cells(WHITE)], ["", "2", *cells(LESS)]]
    rows += [["", "Mittelwert", *cells(WHITE)], ["", "Std. Dev.", *cells(0.01 * WHITE)], ["", "Max", *cells(WHITE)]]
    rows += [["lid-2", "Mean", *cells(BLACK)], ["lid-2 SD", "", *cells(0.01 * WHITE)]]
    plan = planned(folder, text(rows), backing="white")
    assert_taken(plan, ("lid-1", "white", WHITE), ("lid-1", "white", LESS), ("lid-2", "white", BLACK))


def test_a_pattern_does_not_take_a_longer_name_for_a_swatch(folder: Path) -> None:
    rows = [["Sample", *NM], ["lid-12", *cells(WHITE)], ["lid-1 3", *cells(WHITE)]]
    plan = planned(folder, text(rows), backing="white", pattern="{swatch}{any}")
    assert [each.action for each in plan.planned] == ["fault", "new"]


@pytest.mark.parametrize("name", ["12", "batch 4"])
def test_a_column_that_names_the_swatch_beside_the_one_taken_is_told(folder: Path, name: str) -> None:
    rows = [["ID", "Description", *NM], [name, "lid-1", *cells(WHITE)]]
    plan = planned(folder, text(rows), backing="white")
    assert "description" in str(plan.faults[0])
    rows[0][1] = "swatch"
    assert_taken(planned(folder, text(rows), backing="white"), ("lid-1", "white", WHITE))


def test_facts_of_samples_side_by_side_stand_above_them(folder: Path) -> None:
    rows = [["Sample", "lid-1", "lid-1"], ["Backing", "black", "white"], ["Unit", "%", "%"]]
    rows += [[f"{nm} nm", one, two] for nm, one, two in zip(NM, cells(BLACK), cells(WHITE), strict=True)]
    assert_taken(planned(folder, text(rows)), ("lid-1", "black", BLACK / 100.0), ("lid-1", "white", WHITE / 100.0))


def test_a_header_of_two_rows_is_one(folder: Path) -> None:
    rows = [["Wavelength", "lid-1", "", "lid-2", ""], ["nm", "R [%]", "T [%]", "R [%]", "T [%]"]]
    values = [cells(100.0 * each) for each in (WHITE, THROUGH, BLACK, LESS)]
    rows += [[nm, *each] for nm, *each in zip(NM, *values, strict=True)]
    expected = ("lid-1", "white", WHITE), ("lid-1", "through", THROUGH)
    assert_taken(
        planned(folder, text(rows), backing="white"), *expected, ("lid-2", "white", BLACK), ("lid-2", "through", LESS)
    )


def test_cards_that_head_columns_below_the_name_of_a_swatch_are_not_bare(folder: Path) -> None:
    rows = [["Sample name:", "lid-1"], ["nm", "black", "white"]]
    rows += [[nm, one, two] for nm, one, two in zip(NM, cells(BLACK), cells(WHITE), strict=True)]
    assert "the lines above name the swatch lid-1" in str(planned(folder, text(rows)).faults[0])


def test_sheets_laid_out_alike_are_taken_all(folder: Path) -> None:
    sheets = {
        card: [["Sample", *map(int, NM)], ["lid-1", *values.tolist()]]
        for card, values in (("Black", BLACK), ("White", WHITE))
    }
    assert_taken(planned(folder, book(sheets), backing="white"), ("lid-1", "black", BLACK), ("lid-1", "white", WHITE))
    (folder / "scan.xlsx").write_bytes(book(sheets))
    for over, values in (("black", BLACK), ("white", WHITE), ("", BLACK)):
        one = read_one(f"{folder / 'scan.xlsx'}:lid-1", onto=np.arange(400.0, 701.0, 10.0), told={"backing": over})
        assert one.spectrum is not None
        np.testing.assert_allclose(one.spectrum, values, atol=1e-9)


def test_a_number_is_the_name_that_a_workbook_shows(folder: Path) -> None:
    plan = planned(folder, book({"Data": [["Sample", *map(int, NM)], [7, *WHITE.tolist()]]}, "000"), backing="white")
    assert_taken(plan, ("007", "white", WHITE))


@pytest.mark.parametrize("cell", ["12. Mai", "May-12", "12.05.2026"])
def test_a_date_in_place_of_a_number_or_a_name_is_told(folder: Path, cell: str) -> None:
    with pytest.raises(InputError, match="is a date"):
        parse_measurements(text([["Sample", *NM], ["lid-1", cell, *cells(WHITE)[1:]]]), file="scan.csv")
    plan = planned(
        folder, book({"Data": [["Sample", *NM], [datetime.datetime(2026, 1, 3), *WHITE.tolist()]]}), backing="white"
    )
    assert "2026-01-03 is no swatch" in str(plan.faults[0])
    assert "a spreadsheet made a date of a name" in str(plan.faults[0])


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"%PDF-1.7\x00", "this is a PDF"),
        (b"\xff\xd8\xff\xe0\x00", "this is a picture"),
        (b"PK\x03\x04" + b"\x00" * 26 + b"mimetypeapplication/vnd.oasis.opendocument.spreadsheet", r"kind \(.ods\)"),
        (b"<html><table></table></html>", "save it from a spreadsheet as .xlsx or CSV"),
    ],
)
def test_what_is_no_export_at_all_is_called_by_its_name(data: bytes, words: str) -> None:
    with pytest.raises(InputError, match=words):
        parse_measurements(data, file="scan")


def test_units_of_jcamp_tell_the_quantity() -> None:
    rows = "\n".join(f"{nm} {value}" for nm, value in zip(NM, cells(100.0 * THROUGH), strict=True))
    block = "##TITLE=lid\n##JCAMP-DX=5.0\n##XUNITS=nm\n##YUNITS={}\n##FIRSTX=400\n##LASTX=700\n##XYDATA=(X++(Y..Y))\n"
    for units, quantity in (("%T", "transmittance"), ("%R", "reflectance"), ("PERCENT REFLECTANCE", "reflectance")):
        (read,) = parse_measurements((block.format(units) + rows + "\n##END=\n").encode(), file="scan.jdx")
        assert (read.quantity, read.scale) == (quantity, "percent")
    with pytest.raises(InputError, match="YUNITS"):
        parse_measurements((block.format("% ABSORBANCE") + rows + "\n##END=\n").encode(), file="scan.jdx")


def test_percent_that_may_be_fractions_is_told() -> None:
    rows = [["Sample", *(f"{nm} nm [%]" for nm in NM)], ["lid-1", *cells(WHITE)]]
    assert "are they fractions?" in parse_measurements(text(rows), file="scan.csv")[0].notes[0]


def test_a_minus_of_typesetting_is_one() -> None:
    rows = [["Sample", "L*", "a*", "b*"], ["lid-1", "50.1", "−2.3", "−12.4"]]
    assert parse_measurements(text(rows), file="scan.csv")[0].lab == pytest.approx([50.1, -2.3, -12.4])


def test_zeros_that_a_spreadsheet_dropped_are_asked_about(folder: Path) -> None:
    plan = planned(folder, text([["Sample", *NM], ["7", *cells(WHITE)]]), backing="white")
    assert "is it 007? a spreadsheet drops zeros" in str(plan.faults[0])
    readings = folder / "readings.csv"
    readings.write_text(readings.read_text() + f"07,White,air,{','.join(cells(WHITE))}\n")
    with pytest.raises(InputError, match="is it 007") as caught:
        read_folder(folder)
    assert "and" not in caught.value.mend.split("again")[1], "a card may be written with a capital"
