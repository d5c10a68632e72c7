"""A folder whose tables are the sheets of one workbook: read as the files are, written to on request, never guessed."""

from __future__ import annotations

import io
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from folder_example import Files, good_files, write

from tint.cli import main
from tint.errors import FolderError, Gathered, InputError
from tint.swatches import SwatchFolder, folder_digest, inspect_folder, read_declared, read_folder
from tint.swatches.blank_workbook import blank_workbook
from tint.swatches.declaration import read_declaration
from tint.swatches.folder import contents_of
from tint.swatches.import_plan import Naming
from tint.swatches.importing import plan_import, write_import
from tint.swatches.instruments import Measurement
from tint.swatches.one_reading import read_one

openpyxl = pytest.importorskip("openpyxl")

BOOK, CASTS, READS, PALETTE = "swatches.xlsx", "swatches.csv", "readings.csv", "palette.toml"
KEYS = {"name": "Pottery lids", "geometry": "di:8", "repeatability": 0.001}
BASES = {
    "clear": {"cure": "addition", "density": 1.08, "refractive_index": 1.41, "max_loading": 3.0, "mix_A": 1, "mix_B": 1,
              "pigment_in": "A"},
    "milky": {"cure": "condensation", "density": 1.2, "refractive_index": 1.42, "max_loading": 5.0, "mix_A": 10.0,
              "mix_B": 1.0, "pigment_in": "A", "k1": 0.03, "k2": 0.55},
}  # fmt: skip
PIGMENTS: dict[str, dict[str, Any]] = {
    "yellow": {"cures": "addition, condensation", "max_loading": 2.0, "density": 1.6, "lot": "Y-117", "price": 46.0},
    "deep blue": {},
}


def typed(cell: str) -> object:
    try:
        return float(cell)
    except ValueError:
        return cell or None


def table(text: bytes) -> list[list[object]]:
    return [[typed(cell) for cell in line.split(",")] for line in text.decode().splitlines()]


def filled(files: Files, *, palette: bool = True, units: bool = True) -> bytes:
    """The blank workbook with the tables of files in it, below its units."""
    head, *rows = table(files[READS])
    nm = np.array(head[4:], dtype=float)
    blank = blank_workbook(keys=KEYS, bases=BASES if palette else {}, pigments=PIGMENTS, wavelengths=nm)
    book = openpyxl.load_workbook(io.BytesIO(blank))
    for row in rows:
        book["readings"].append(row)
    columns = {cell.value: cell.column for cell in book["swatches"][1]}
    names, *castings = table(files[CASTS])
    for at, row in enumerate(castings, start=3):
        for name, cell in zip(names, row, strict=True):
            book["swatches"].cell(at, columns[name]).value = cell
    if not palette:
        del book["pigments"]
        del book["bases"]
    for sheet in () if units else ("swatches", "readings"):
        book[sheet].delete_rows(2)
    return saved(book)


def saved(book: Any) -> bytes:
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def edited(data: bytes, edit: Callable[[Any], None]) -> bytes:
    book = openpyxl.load_workbook(io.BytesIO(data))
    edit(book)
    return saved(book)


def assert_same(one: SwatchFolder, two: SwatchFolder) -> None:
    assert (one.bases, one.pigments, one.instrument, one.name) == (two.bases, two.pigments, two.instrument, two.name)
    told = [
        [(s.name, s.base, s.thickness_mm, s.loadings, s.note, s.conditions) for s in f.swatches] for f in (one, two)
    ]
    assert told[0] == told[1]
    assert one.backings.keys() == two.backings.keys()
    for first, second in zip(one.readings, two.readings, strict=True):
        assert (first.swatch, first.backing, first.seat) == (second.swatch, second.backing, second.seat)
        np.testing.assert_allclose(first.values, second.values, atol=1e-12)


@pytest.mark.parametrize("units", [True, False])
@pytest.mark.parametrize("palette", [True, False])
def test_a_workbook_is_read_as_the_files_are(tmp_path: Path, palette: bool, units: bool) -> None:
    files = good_files()
    plain = read_folder(write(tmp_path / "plain", files))
    held = {BOOK: filled(files, palette=palette, units=units)} | ({} if palette else {PALETTE: files[PALETTE]})
    folder = write(tmp_path / "book", held)
    assert_same(read_folder(folder), plain)
    assert read_declared(folder).bases.keys() == plain.bases.keys()
    assert read_folder(folder).digest == folder_digest(folder)


def test_a_sheet_may_be_missing_or_empty_where_a_file_is_there(tmp_path: Path) -> None:
    files = good_files()

    def clear(book: Any) -> None:
        book["readings"].delete_rows(3, 100)

    folder = write(tmp_path / "book", {BOOK: edited(filled(files), clear), READS: files[READS]})
    assert_same(read_folder(folder), read_folder(write(tmp_path / "plain", files)))


def test_what_stands_beside_it_must_say_the_same(tmp_path: Path) -> None:
    files = good_files()
    folder = write(tmp_path / "book", {BOOK: filled(files), **files})
    assert_same(read_folder(folder), read_folder(write(tmp_path / "plain", files)))
    for file, old, new in ((READS, b"0.1,", b"0.2,"), (CASTS, b"2.02", b"2.03"), (PALETTE, b"1.41", b"1.42")):
        write(folder, {**files, file: files[file].replace(old, new, 1)})
        with pytest.raises(FolderError) as caught:
            read_folder(folder)
        assert str(caught.value).startswith(f"{file}: it contradicts swatches.xlsx")
        assert "\n" not in str(caught.value)
    for broken in (b"format = " + b"9" * 5000, b"format = " + b"[" * 5000):
        write(folder, {**files, PALETTE: broken})
        with pytest.raises(FolderError, match=r"palette\.toml: it contradicts swatches\.xlsx"):
            read_folder(folder)


def test_a_fault_names_sheet_row_and_column(tmp_path: Path) -> None:
    def spoil(book: Any) -> None:
        book["swatches"]["C4"] = "thick"
        book["bases"]["B3"] = "magic"

    folder = write(tmp_path / "book", {BOOK: edited(filled(good_files()), spoil)})
    told = [str(fault) for fault in inspect_folder(folder)[1] if fault.grave]
    assert any(line.startswith("swatches.xlsx, sheet swatches, row 4, column thickness_mm: 'thick'") for line in told)
    assert any(line.startswith("swatches.xlsx, its sheets of the palette, column bases.clear.cure") for line in told)


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04 no workbook", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(99)])
def test_what_is_no_workbook_is_told_in_one_line(tmp_path: Path, data: bytes) -> None:
    with pytest.raises(FolderError) as caught:
        read_folder(write(tmp_path / "book", {BOOK: data}))
    assert str(caught.value).startswith("swatches.xlsx: this is")
    assert "\n" not in str(caught.value)


def test_percent_in_the_units_or_the_cells_of_a_workbook(tmp_path: Path) -> None:
    def in_percent(book: Any) -> None:
        sheet = book["readings"]
        for row in sheet.iter_rows(min_row=3, min_col=5):
            for cell in row:
                cell.value = round(100.0 * cell.value, 6)
        for cell in sheet[2][4:]:
            cell.value = "%"
        for cell in book["swatches"]["D"][2:]:
            if cell.value:
                cell.value, cell.number_format = cell.value / 100.0, "0.00%"

    files = good_files()
    folder = write(tmp_path / "book", {BOOK: edited(filled(files), in_percent)})
    assert_same(read_folder(folder), read_folder(write(tmp_path / "plain", files)))


def test_a_workbook_is_written_to_on_request_only(tmp_path: Path) -> None:
    folder = write(tmp_path / "book", {BOOK: filled(good_files())})
    before, old = (folder / BOOK).read_bytes(), read_folder(folder)
    values = np.round(np.linspace(0.11, 0.33, old.wavelengths.size), 5)
    lid = Measurement(name="yellow-1", wavelengths=old.wavelengths, values=values, backing="white", seat="wet")
    plan = plan_import(folder, [lid], naming=Naming())
    with pytest.raises(InputError, match="add --into-workbook"):
        write_import(plan)
    assert (folder / BOOK).read_bytes() == before
    write_import(plan, into_workbook=True)
    new = read_folder(folder)
    assert len(new.readings) == len(old.readings) + 1
    np.testing.assert_allclose(new.readings[-1].values, values, atol=1e-9)
    assert not (folder / READS).exists()
    assert openpyxl.load_workbook(folder / BOOK)["readings"].data_validations.count == 4
    for one, two in zip(old.readings, new.readings[:-1], strict=True):
        np.testing.assert_array_equal(one.values, two.values)


def test_the_command_line_writes_into_it_when_told_to(tmp_path: Path) -> None:
    folder = write(tmp_path / "book", {BOOK: filled(good_files())})
    scan = tmp_path / "scan.csv"
    nm = ",".join(str(each) for each in range(400, 701, 20))
    scan.write_text(f"name,backing,seat,{nm}\nyellow-1,white,wet{',0.5' * 16}\n", "utf-8")
    refused = CliRunner().invoke(main, ["import", str(folder), str(scan)])
    assert refused.exit_code == 2
    assert "add --into-workbook" in refused.stderr
    done = CliRunner().invoke(main, ["import", str(folder), str(scan), "--into-workbook"])
    assert done.exit_code == 0, done.stderr
    assert read_folder(folder).readings[-1].values.tolist() == [0.5] * 16


def test_a_first_reading_goes_into_the_empty_sheet(tmp_path: Path) -> None:
    castings = [{"swatch": "lid", "base": "clear", "thickness_mm": 2.0, "yellow": 0.5}]
    folder = tmp_path / "book"
    folder.mkdir()
    (folder / BOOK).write_bytes(blank_workbook(keys=KEYS, bases=BASES, pigments=PIGMENTS, castings=castings))
    grid = np.arange(400.0, 701.0, 20.0)
    read = [
        Measurement(name=name, wavelengths=grid, values=np.full(grid.size, level), backing=backing, seat=seat)
        for name, level, backing, seat in (("white", 0.9, "", ""), ("lid", 0.4, "white", "air"))
    ]
    write_import(plan_import(folder, read, naming=Naming()), into_workbook=True)
    held = read_folder(folder)
    np.testing.assert_array_equal(held.wavelengths, grid)
    assert held.readings[0].values.tolist() == [0.4] * grid.size


def test_one_reading_of_a_workbook_is_asked_for_by_name(tmp_path: Path) -> None:
    folder = write(tmp_path / "book", {BOOK: filled(good_files())})
    held = read_folder(folder)
    taken = read_one(f"{folder / BOOK}:milky-2", onto=held.wavelengths, told={"backing": "black"})
    expected = next(each for each in held.readings if (each.swatch, each.backing) == ("milky-2", "black"))
    assert taken.spectrum is not None
    np.testing.assert_allclose(taken.spectrum, expected.values, atol=1e-12)


def test_the_workshop_stands_in_the_sheet_of_the_palette(tmp_path: Path) -> None:
    more = {"mould_depths_mm": "1, 2.5 5", "scale_step_g": 0.01, "currency": "EUR", "observer": "10", "light": "D65"}
    keys = {**KEYS, **more}
    folder = write(tmp_path, {BOOK: blank_workbook(keys=keys, bases=BASES, pigments=PIGMENTS)})
    held = read_declaration((contents_of(folder)[PALETTE].data or b"").decode(), Gathered(""), folder_name="")
    assert held is not None
    assert held.workshop.mould_depths_mm == (1.0, 2.5, 5.0)
    assert (held.workshop.scale_step_g, held.workshop.currency) == (0.01, "EUR")
    assert held.instrument is not None
    assert (held.instrument.light, held.instrument.observer) == ("D65", 10)


def test_a_key_that_nobody_knows_is_told(tmp_path: Path) -> None:
    def add(book: Any) -> None:
        book["palette"].append(["geometri", "di:8"])

    folder = write(tmp_path, {BOOK: edited(filled(good_files()), add)})
    told = [str(fault) for fault in inspect_folder(folder)[1] if fault.grave]
    assert any("column geometri: there is no such key" in line for line in told)


def test_the_blank_workbook_asks_and_explains() -> None:
    book = openpyxl.load_workbook(io.BytesIO(blank_workbook(bases=BASES, pigments=PIGMENTS)))
    assert book.sheetnames == ["about", "palette", "backings", "bases", "pigments", "swatches", "readings"]
    units = dict(zip(*[[cell.value for cell in row] for row in book["swatches"].iter_rows(max_row=2)], strict=True))
    assert units["thickness_mm"] == "mm"
    assert units["deep blue"] == "%"
    choices = {str(rule.sqref): rule.formula1 for rule in book["swatches"].data_validations.dataValidation}
    assert choices["B3:B1000"] == "bases!$A$3:$A$1000"
    seats = {str(rule.sqref): rule.formula1 for rule in book["readings"].data_validations.dataValidation}
    assert seats["B3:B1000"] == '"black,white,none"'
    assert seats["C3:C1000"] == '"air,wet"'
    assert any("percent by mass" in str(cell.value) for (cell,) in book["about"].iter_rows())


@pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is not installed")
def test_a_workbook_that_libreoffice_saved_again_is_read_alike(tmp_path: Path) -> None:
    def as_german_text(book: Any) -> None:
        for row in book["readings"].iter_rows(min_row=3, max_row=5, min_col=5):
            for cell in row:
                cell.value = str(cell.value).replace(".", ",")

    files = good_files()
    write(tmp_path, {BOOK: edited(filled(files), as_german_text)})
    subprocess.run(
        ["soffice", "--headless", f"-env:UserInstallation=file://{tmp_path}/profile", "--convert-to", "xlsx",
         "--outdir", str(tmp_path / "book"), str(tmp_path / BOOK)],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    assert_same(read_folder(tmp_path / "book"), read_folder(write(tmp_path / "plain", files)))
    again = openpyxl.load_workbook(tmp_path / "book" / BOOK)
    assert again["readings"].data_validations.count == 4
