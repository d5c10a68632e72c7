"""A folder's own tables in the spellings of spreadsheets: read as they are meant, and written on in the same hand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from folder_example import Files, good_files, write

from tint.errors import FolderError
from tint.swatches import read_folder
from tint.swatches.importing import plan_import, write_import
from tint.swatches.instruments import Measurement
from tint.swatches.naming import Naming

CASTS, READS = "swatches.csv", "readings.csv"
Respell = Callable[[str], str]


def header(text: str, change: Callable[[str], str]) -> str:
    first, rest = text.split("\n", 1)
    return ",".join(change(cell) if cell.isdigit() else cell for cell in first.split(",")) + "\n" + rest


def body(text: str, change: Callable[[str], str]) -> str:
    first, *rows = text.split("\n")
    respelt = [
        ",".join(change(cell) if at > 3 and cell else cell for at, cell in enumerate(row.split(","))) for row in rows
    ]
    return "\n".join([first, *respelt])


def percent(cell: str) -> str:
    return f"{100.0 * float(cell):.6g}"


SPELLINGS: dict[str, tuple[Respell, str]] = {
    "400 nm": (lambda text: header(text, lambda nm: f"{nm} nm"), "utf-8"),
    "R400": (lambda text: header(text, lambda nm: f"R{nm}"), "utf-8"),
    "400 [%]": (lambda text: header(body(text, percent), lambda nm: f"{nm} [%]"), "utf-8"),
    "percent signs": (lambda text: body(text, lambda cell: f"{percent(cell)}%"), "utf-8"),
    "a row of units": (lambda text: text.replace("\n", "\n,,,," + ",".join(["0 to 1"] * 16) + "\n", 1), "utf-8"),
    "percent in a row of units": (
        lambda text: body(text, percent).replace("\n", "\n,,,," + ",".join(["%"] * 16) + "\n", 1),
        "utf-8",
    ),
    "a line for the separator": (lambda text: "sep=;\n" + text.replace(",", ";"), "utf-8"),
    "decimal commas": (lambda text: text.replace(",", ";").replace(".", ","), "utf-8"),
    "blanks behind every row": (lambda text: text.replace(",", ";").replace("\n", ";;\n"), "utf-8"),
    "blanks behind commas": (lambda text: text.replace("\n", ",,\n"), "utf-8"),
    "cp1252": (lambda text: text, "cp1252"),
    "utf-16": (lambda text: text, "utf-16"),
    "utf-8 with its mark": (lambda text: text, "utf-8-sig"),
    "old line ends": (lambda text: text.replace("\n", "\r"), "utf-8"),
}


def respelt(spelling: str) -> Files:
    change, encoding = SPELLINGS[spelling]
    files = good_files()
    return {**files, READS: change(files[READS].decode()).encode(encoding)}


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_readings_are_read_alike(tmp_path: Path, spelling: str) -> None:
    plain = read_folder(write(tmp_path / "plain", good_files()))
    other = read_folder(write(tmp_path / "other", respelt(spelling)))
    np.testing.assert_array_equal(other.wavelengths, plain.wavelengths)
    assert len(other.readings) == len(plain.readings)
    for one, two in zip(plain.readings, other.readings, strict=True):
        assert (one.swatch, one.backing, one.seat, one.quantity) == (two.swatch, two.backing, two.seat, two.quantity)
        np.testing.assert_allclose(two.values, one.values, rtol=0.0, atol=1e-9)


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_what_is_taken_over_is_written_in_the_same_hand(tmp_path: Path, spelling: str) -> None:
    folder = write(tmp_path / "studio", respelt(spelling))
    before = read_folder(folder)
    values = np.round(np.linspace(0.11, 0.33, before.wavelengths.size), 5)
    lid = Measurement(name="yellow-1", wavelengths=before.wavelengths, values=values, backing="white", seat="wet")
    write_import(plan_import(folder, [lid], naming=Naming()))
    after = read_folder(folder)
    assert len(after.readings) == len(before.readings) + 1
    np.testing.assert_allclose(after.readings[-1].values, values, rtol=0.0, atol=5e-6)
    for one, two in zip(before.readings, after.readings, strict=False):
        np.testing.assert_array_equal(one.values, two.values)


def test_castings_may_carry_percent_signs_and_old_letters(tmp_path: Path) -> None:
    files = good_files()
    text = files[CASTS].decode().replace("yellow-1,clear,2,0.5,", "yellow-1,clear,2,0.5 %,").replace("late", "spät")
    folder = read_folder(write(tmp_path / "studio", {**files, CASTS: text.encode("cp1252")}))
    yellow = next(each for each in folder.swatches if each.name == "yellow-1")
    assert yellow.loadings["yellow"] == 0.5
    assert any("spät" in each.note for each in folder.swatches)
    assert "the text is not UTF-8: it was read as cp1252" in " ".join(map(str, folder.warnings))


@pytest.mark.parametrize("row", ["yellow-1,clear,2,02,0.5,,", "yellow-1,clear,2,02,,,"])
def test_a_decimal_comma_among_commas_is_no_blank_behind_the_row(tmp_path: Path, row: str) -> None:
    files = good_files()
    text = files[CASTS].decode().replace("yellow-1,clear,2,0.5,,", row)
    with pytest.raises(FolderError, match="row 5: the row has 7 cells; expected 6"):
        read_folder(write(tmp_path / "studio", {**files, CASTS: text.encode()}))
