"""Workbooks: what a sheet shows is read as any other table; which sheet it was is told; bombs and old kinds refused."""

from __future__ import annotations

import io
import sys
import zipfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from tint.errors import InputError
from tint.swatches.instruments import Measurement, parse_measurements
from tint.swatches.one_reading import read_one

openpyxl = pytest.importorskip("openpyxl")

GRID = np.arange(400.0, 701.0, 10.0)
PALE = np.round(0.3 + 0.01 * np.arange(GRID.size), 4)
NM: list[object] = [int(nm) for nm in GRID]
Rows = Sequence[Sequence[object]]


def book(sheets: dict[str, Rows], *, shown: str = "General", hidden: Sequence[str] = ()) -> bytes:
    made = openpyxl.Workbook()
    made.remove(made.active)
    for title, rows in sheets.items():
        sheet = made.create_sheet(title)
        for row in rows:
            sheet.append(list(row))
        for row in sheet.iter_rows(min_row=2, min_col=2):
            for cell in row:
                cell.number_format = shown
        sheet.sheet_state = "hidden" if title in hidden else "visible"
    stream = io.BytesIO()
    made.save(stream)
    return stream.getvalue()


def read(data: bytes) -> tuple[Measurement, ...]:
    return parse_measurements(data, file="scan.xlsx")


def assert_pale(measurement: Measurement, *, factor: float = 1.0) -> None:
    assert measurement.values is not None
    np.testing.assert_allclose(measurement.values, factor * PALE, rtol=0.0, atol=1e-12)


SPECTRA: Rows = [["name", *NM], ["lid", *PALE]]
COLOURS: Rows = [["name", "L*", "a*", "b*"], ["lid", 60.0, 1.0, 2.0]]


def test_a_sheet_is_read_and_named() -> None:
    (lid,) = read(book({"About": [["An export"], ["of", "2026"]], "Colours": COLOURS, "Data": SPECTRA}))
    assert_pale(lid)
    assert lid.where == "scan.xlsx, sheet Data, row 2"
    assert lid.notes[0] == "taken from the sheet Data; not from Colours, where tables stand too"


def test_what_a_cell_shows_in_percent_is_percent() -> None:
    """Such a cell holds 0.31 and shows 31%; the header's sign does not divide it a second time."""
    for head in (SPECTRA[0], ["name", *(f"{nm} nm [%]" for nm in NM)]):
        (lid,) = read(book({"Data": [head, SPECTRA[1]]}, shown="0.0%"))
        assert_pale(lid)
        assert lid.scale == "percent"


def test_rows_that_end_early_and_lines_about_the_table_do_no_harm() -> None:
    rows: Rows = [
        ["Instrument", "bench"],
        [],
        [*SPECTRA[0], "note"],
        [*SPECTRA[1], "x"],
        ["lid-2", *PALE],
        [],
        ["the end"],
    ]
    lid, second = read(book({"Data": rows}))
    assert_pale(lid)
    assert_pale(second)
    assert "taken to row 5" in lid.notes[-2]


def test_sheets_named_by_the_gloss_are_both_taken(tmp_path: Path) -> None:
    data = book({"SCI": SPECTRA, "SCE": [SPECTRA[0], ["lid", *(PALE / 2.0)]]})
    assert [each.geometry for each in read(data)] == ["di:8", "de:8"]
    path = tmp_path / "scan.xlsx"
    path.write_bytes(data)
    for geometry, factor in (("di:8", 1.0), ("de:8", 0.5)):
        asked = read_one(f"{path}:lid", onto=GRID, geometry=geometry)
        assert asked.spectrum is not None
        np.testing.assert_allclose(asked.spectrum, factor * PALE, atol=1e-12)


def test_a_hidden_sheet_is_no_part_of_it() -> None:
    assert read(book({"Old": COLOURS, "Data": SPECTRA}, hidden=["Old"]))[0].notes[0] == "taken from the sheet Data"


def told(data: bytes) -> str:
    with pytest.raises(InputError) as caught:
        read(data)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_an_old_workbook_is_told_plainly() -> None:
    line = told(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600))
    assert line == (
        "scan.xlsx: this is a spreadsheet workbook of the old kind (.xls), or one with a password; expected a workbook "
        "of the kind .xlsx; save it as that, or export the sheet as CSV"
    )


def test_a_fault_names_sheet_row_and_column() -> None:
    line = told(book({"Data": [SPECTRA[0], ["lid", "over", *PALE[1:]]]}))
    assert line.startswith("scan.xlsx, sheet Data, row 2, column 400: 'over' is not a number")
    assert "no sheet has a table of measurements" in told(book({"Data": [["a", "b"], [1, 2]]}))


def test_what_unpacks_without_end_is_refused_before_it_does() -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", bytes(2**10))
        archive.infolist()[0].file_size = 500 * 2**20  # as the directory then tells, by which it is refused
    assert "the workbook unpacks to 500 MB in 1 parts; expected at most 400 MB" in told(stream.getvalue())


def altered(data: bytes, before: bytes, after: bytes) -> bytes:
    """A workbook whose first sheet says something else in one place."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(stream, "w") as new:
        for part in old.infolist():
            content = old.read(part)
            if part.filename.endswith("sheet1.xml"):
                assert before in content
                content = content.replace(before, after)
            new.writestr(part, content)
    return stream.getvalue()


def test_a_sheet_that_lies_about_its_size_is_read_by_what_it_holds() -> None:
    lying = altered(book({"Data": SPECTRA}), b'<dimension ref="A1:AF2"', b'<dimension ref="A1:XFD1048576"')
    assert_pale(read(lying)[0])


def test_a_row_beyond_those_of_any_spreadsheet_is_refused() -> None:
    line = told(altered(book({"Data": SPECTRA}), b'<row r="2"', b'<row r="1500000"'))
    assert line.startswith("scan.xlsx, sheet Data: the sheet is too large")


@pytest.mark.parametrize("at", [30, 200, 1000, -200, -30])
def test_a_broken_workbook_is_refused_in_one_line(at: int) -> None:
    data = book({"Data": SPECTRA})
    assert "scan.xlsx" in told(data[:at])


@pytest.mark.parametrize("seed", range(40))
def test_a_workbook_with_a_broken_part_is_read_or_refused_in_one_line(seed: int) -> None:
    rng, stream = np.random.default_rng(seed), io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book({"Data": SPECTRA, "Colours": COLOURS}))) as old:
        names = old.namelist()
        broken = names[int(rng.integers(len(names)))]
        with zipfile.ZipFile(stream, "w") as new:
            for name in names:
                content = bytearray(old.read(name))
                if name == broken:
                    for at in rng.integers(0, len(content), 5):
                        content[at] = int(rng.integers(32, 127))
                new.writestr(name, bytes(content))
    line = "scan.xlsx"
    try:
        read(stream.getvalue())
    except InputError as error:
        line = str(error)
    assert line.startswith("scan.xlsx")
    assert "\n" not in line


def test_without_the_extra_it_is_said_how_to_have_it(monkeypatch: pytest.MonkeyPatch) -> None:
    data = book({"Data": SPECTRA})
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    assert told(data) == (
        'scan.xlsx: reading a workbook needs openpyxl; run pip install "tint[workbook]", or export the sheet as CSV'
    )
