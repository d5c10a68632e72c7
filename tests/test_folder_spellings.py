"""A folder's own tables in the spellings of spreadsheets: read as they are meant, and written on in the same hand."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from folder_example import Files, good_files, write

from tint.errors import FolderError
from tint.swatches import inspect_folder, read_folder
from tint.swatches.import_plan import Naming
from tint.swatches.importing import plan_import, write_import
from tint.swatches.instruments import Measurement

PALETTE, CASTS, READS = "palette.toml", "swatches.csv", "readings.csv"
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
    "capitals": (
        lambda text: text.replace(",wet,", ",Wet,").replace(",none,", ",None,").replace(",trans", ",Trans"),
        "utf-8",
    ),
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


# What was cast, and the words of palette.toml.


CAST_SPELLINGS: dict[str, Respell] = {
    "capitals": lambda text: text.replace("swatch,base,thickness_mm,yellow", "Swatch,Base,Thickness_mm,Yellow"),
    "units in brackets": lambda text: text.replace("thickness_mm,yellow", "thickness (mm),yellow [%]"),
    "no unit": lambda text: text.replace("thickness_mm", "thickness"),
    "units in the cells": lambda text: text.replace(",2.02,", ",2.02 mm,").replace(",0.2,", ",0.2 %,"),
    "a row of units": lambda text: text.replace("note\n", "note\n,,mm,%,%,\n"),
    "decimal commas": lambda text: text.replace(",", ";").replace(".", ","),
    "a line for the separator": lambda text: "sep=;\n" + text.replace(",", ";"),
    "blanks": lambda text: text.replace(",", ";").replace("\n", ";;\n") + ";;;;;;;\n\n",
}


@pytest.mark.parametrize("spelling", CAST_SPELLINGS)
def test_castings_are_read_alike(tmp_path: Path, spelling: str) -> None:
    plain, files = read_folder(write(tmp_path / "plain", good_files())), good_files()
    other = {**files, CASTS: CAST_SPELLINGS[spelling](files[CASTS].decode()).encode()}
    assert other[CASTS] != files[CASTS]
    read = read_folder(write(tmp_path / "other", other))
    told = [[(each.name, each.base, each.thickness_mm, each.loadings) for each in f.swatches] for f in (plain, read)]
    assert told[0] == told[1]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (b"thickness_mm", b"thickness (cm)", "column thickness (cm): the thickness is in cm; write millimetres"),
        (b",2.02,", b",0.202 cm,", "it says cm: write it in millimetres"),
        (b",2.02,", b",2026-02-02,", "'2026-02-02' is a date; "),
        (b",2.02,", b",2020,", "is it in µm? write it in mm"),
    ],
)
def test_another_unit_is_told(tmp_path: Path, old: bytes, new: bytes, words: str) -> None:
    files = good_files()
    files[CASTS] = files[CASTS].replace(old, new)
    told = [str(fault) for fault in inspect_folder(write(tmp_path, files))[1] if fault.grave]
    assert any(words in line for line in told), told


def changed_casts(change: Callable[[str, str], str]) -> bytes:
    head, *rows = (line.split(",") for line in good_files()[CASTS].decode().splitlines())
    told = [[change(name, cell) for name, cell in zip(head, row, strict=True)] for row in rows]
    return "".join(",".join(row) + "\n" for row in (head, *told)).encode()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda name, cell: f"{float(cell) / 10:g}" if name == "thickness_mm" else cell, "centimetres or inches"),
        (lambda _, cell: "0.202" if cell == "2.02" else cell, "clear-2 is 0.202 mm thick"),
        (lambda name, cell: f"{float(cell) / 100:g}" if name in ("yellow", "deep blue") and cell else cell,
         "are they fractions of one? write percent"),
    ],
)  # fmt: skip
def test_a_unit_that_looks_like_another_is_asked_about(
    tmp_path: Path, change: Callable[[str, str], str], words: str
) -> None:
    whole = [str(fault) for fault in inspect_folder(write(tmp_path / "plain", good_files()))[1]]
    assert not any(words in line for line in whole)
    files = {**good_files(), CASTS: changed_casts(change)}
    told = [str(fault) for fault in inspect_folder(write(tmp_path / "other", files))[1]]
    assert any(words in line for line in told), told


def test_a_repeatability_that_looks_like_percent_is_asked_about(tmp_path: Path) -> None:
    stated = good_files()[PALETTE]
    for value, asked in ((b"0.001", False), (b"0.03", False), (b"0.1", True)):
        files = {**good_files(), PALETTE: stated.replace(b"repeatability = 0.001", b"repeatability = " + value)}
        told = " ".join(map(str, inspect_folder(write(tmp_path / value.decode(), files))[1]))
        assert ("is it in percent? divide by 100" in told) is asked


def test_a_word_for_a_surface_that_is_not_known_is_told(tmp_path: Path) -> None:
    """Its castings count as glossy."""
    head, *rows = good_files()[CASTS].decode().splitlines()
    for finish, told in (("Matte", False), ("gloss", False), ("sandblasted", True)):
        table = "".join(
            f"{line},{cell}\n" for line, cell in zip([head, *rows], ["finish", *[finish] * 9], strict=False)
        )
        found = " ".join(map(str, inspect_folder(write(tmp_path / finish, {**good_files(), CASTS: table.encode()}))[1]))
        assert ("row 2, column finish: there is no finish sandblasted; expected one of gloss" in found) is told
        assert found.count("there is no finish") == told


def test_the_trade_s_words_for_cures_and_geometry(tmp_path: Path) -> None:
    files = good_files()
    text = files["palette.toml"].decode()
    for old, new in (
        ('cure = "addition"', 'cure = "platinum"'),
        ('cure = "condensation"', 'cure = "Tin"'),
        ('cures = ["addition", "condensation"]', 'cures = "platinum, tin"'),
        ('geometry = "di:8"', 'geometry = "d/8 SCI"'),
    ):
        assert old in text
        text = text.replace(old, new)
    read = read_folder(write(tmp_path, {**files, "palette.toml": text.encode()}))
    plain = read_folder(write(tmp_path / "plain", files))
    assert (read.bases, read.pigments, read.instrument) == (plain.bases, plain.pigments, plain.instrument)


def test_one_name_in_both_forms_of_unicode_is_one_name(tmp_path: Path) -> None:
    """One program writes é as one letter, another as e and an accent; no eye tells the two apart."""
    good = good_files()
    named = {file: data.decode().replace("yellow", "jaune doré") for file, data in good.items()}
    named[PALETTE] = named[PALETTE].replace("[pigments.jaune doré]", '[pigments."jaune doré"]')
    for file in (CASTS, READS):
        named[file] = unicodedata.normalize("NFD", named[file])
    folder = read_folder(write(tmp_path / "named", {file: text.encode() for file, text in named.items()}))
    assert any("jaune doré" in swatch.loadings for swatch in folder.swatches)
    assert len(folder.readings) == len(read_folder(write(tmp_path / "plain", good)).readings)
