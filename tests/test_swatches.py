"""A good swatch folder reads to what was written, whatever spreadsheet wrote it."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from folder_example import (
    LABELS,
    PALETTE,
    SWATCHES,
    WAVELENGTHS,
    add,
    changed,
    every,
    good_files,
    put,
    raw,
    readings_text,
    replace,
    spectrum,
    write,
)
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec import Struct
from msgspec.structs import fields

from tint.errors import FolderError
from tint.materials import KINDS, MOST_STATED, RUBBER, UNKNOWN
from tint.optics.many_flux import MOST_G
from tint.swatches import INPUT_FILES, SwatchFolder, folder_digest, inspect_folder, read_folder
from tint.swatches.keys import BaseTable, InstrumentTable, PigmentTable


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write(tmp_path / "studio", good_files())


def same(one: SwatchFolder, other: SwatchFolder) -> bool:
    return (
        (one.name, one.instrument, one.bases, one.pigments, one.swatches)
        == (other.name, other.instrument, other.bases, other.pigments, other.swatches)
        and np.array_equal(one.wavelengths, other.wavelengths)
        and list(one.backings) == list(other.backings)
        and all(np.array_equal(one.backings[name], other.backings[name]) for name in one.backings)
        and [(r.swatch, r.backing, r.seat, r.quantity, r.row) for r in one.readings]
        == [(r.swatch, r.backing, r.seat, r.quantity, r.row) for r in other.readings]
        and all(np.array_equal(a.values, b.values) for a, b in zip(one.readings, other.readings, strict=True))
    )


def test_what_is_declared_is_read(folder: Path) -> None:
    read = read_folder(folder)
    assert read.name == "Pottery lids"
    assert read.path == folder
    assert (read.instrument.geometry, read.instrument.repeatability) == ("di:8", 0.001)
    assert list(read.bases) == ["clear", "milky"]
    assert list(read.pigments) == ["yellow", "deep blue"]
    clear, milky = read.bases["clear"], read.bases["milky"]
    assert (clear.cure, clear.density, clear.refractive_index, clear.max_loading) == (
        "addition",
        1.08,
        1.41,
        3,
    )
    assert (clear.mix, clear.pigment_in, clear.k1, clear.k2) == ({"A": 1.0, "B": 1.0}, "A", None, None)
    assert (milky.k1, milky.k2) == (0.03, 0.55)
    yellow, blue = read.pigments["yellow"], read.pigments["deep blue"]
    assert (yellow.cures, yellow.max_loading, yellow.lot) == (("addition", "condensation"), 2.0, "Y-117")
    assert (yellow.density, yellow.price) == (1.6, 46.0)
    assert (blue.cures, blue.max_loading, blue.lot, blue.price) == (None, None, None, None)


def test_kinds_and_anisotropies_are_read_and_may_be_left_out(tmp_path: Path) -> None:
    change = every(
        replace("palette.toml", "price = 46.0\n", 'price = 46.0\nkind = "organic yellow"\ng = 0.7\n'),
        replace("palette.toml", "k2 = 0.55\n", 'k2 = 0.55\nkind = "silica"\ng = 0\n'),
    )
    read = read_folder(write(tmp_path / "lids", changed(change)))
    yellow, blue, milky = read.pigments["yellow"], read.pigments["deep blue"], read.bases["milky"]
    assert (yellow.kind, yellow.g) == ("organic yellow", 0.7)
    assert (blue.kind, blue.g) == (None, None)
    assert (milky.kind, milky.g) == ("silica", 0.0)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_may_be_written_and_stands_in_the_docs(kind: str, tmp_path: Path) -> None:
    change = replace("palette.toml", "price = 46.0\n", f'price = 46.0\nkind = "{kind}"\n')
    assert read_folder(write(tmp_path / "lids", changed(change))).pigments["yellow"].kind == kind
    assert f"`{kind}`" in (Path(__file__).parents[1] / "docs" / "folder.md").read_text("utf-8")


@pytest.mark.parametrize(("mean", "sd"), [*KINDS.values(), UNKNOWN, RUBBER])
def test_what_is_believed_of_a_kind_can_be(mean: float, sd: float) -> None:
    assert 0.0 < mean < MOST_STATED < MOST_G
    assert 0.0 < sd < 0.3


def test_what_is_silent_takes_its_default(tmp_path: Path) -> None:
    change = every(
        replace("palette.toml", 'name = "Pottery lids"\n', ""),
        replace("palette.toml", "repeatability = 0.001\n", ""),
    )
    read = read_folder(write(tmp_path / "lids", changed(change)))
    instrument = read.instrument
    assert read.name == "lids"
    assert (instrument.repeatability, instrument.thickness_error_mm, instrument.dose_error_percent) == (
        0.002,
        0.05,
        1.0,
    )


def test_swatches_are_read_with_their_rows(folder: Path) -> None:
    swatches = {swatch.name: swatch for swatch in read_folder(folder).swatches}
    assert [swatch.row for swatch in swatches.values()] == [2, 3, 4, 5, 6, 7, 8]
    assert swatches["clear-4"].note == "poured late"
    assert swatches["clear-4"].loadings == {}
    assert swatches["green-1"].loadings == {"yellow": 0.5, "deep blue": 0.4}
    assert (swatches["green-1"].base, swatches["green-1"].thickness_mm) == ("milky", 3.0)
    assert swatches["green-1"].blend.total == pytest.approx(0.9)


def test_readings_are_read_with_replicates_apart_and_bare_backings_averaged(tmp_path: Path) -> None:
    again = ["white", "", "", "", *map(str, spectrum(0.9, 0.02))]
    folder = write(tmp_path / "studio", changed(add("readings.csv", ",".join(again))))
    read = read_folder(folder)
    np.testing.assert_array_equal(read.wavelengths, WAVELENGTHS)
    expected = [label for label in LABELS if label[1]]
    assert len(read.readings) == len(expected)
    for reading, (swatch, backing, seat, quantity, level, slope) in zip(read.readings, expected, strict=True):
        assert (reading.swatch, reading.backing) == (swatch, backing)
        assert (reading.seat, reading.quantity) == (seat or "air", quantity or "reflectance")
        np.testing.assert_array_equal(reading.values, spectrum(level, slope))
    np.testing.assert_allclose(read.backings["white"], np.array(spectrum(0.89, 0.02)), atol=1e-12)
    np.testing.assert_array_equal(read.backings["black"], spectrum(0.04, 0.0))


def test_a_good_folder_has_no_warnings(folder: Path) -> None:
    read, faults = inspect_folder(folder)
    assert read is not None
    assert read.warnings == faults
    assert faults == ()


def test_arrays_cannot_be_written_to(folder: Path) -> None:
    read = read_folder(folder)
    for array in (read.wavelengths, read.backings["white"], read.readings[0].values):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0.0


@pytest.mark.parametrize(
    "change",
    [
        pytest.param(raw("swatches.csv", b"\xef\xbb\xbf" + SWATCHES.encode()), id="byte-order mark"),
        pytest.param(raw("palette.toml", b"\xef\xbb\xbf" + PALETTE.encode()), id="byte-order mark in TOML"),
        pytest.param(raw("readings.csv", readings_text().replace("\n", "\r\n").encode()), id="CRLF"),
        pytest.param(raw("readings.csv", readings_text().replace("\n", "\r").encode()), id="CR"),
        pytest.param(raw("palette.toml", PALETTE.replace("\n", "\r\n").encode()), id="CRLF in TOML"),
        pytest.param(raw("readings.csv", readings_text().replace(",", "\t").encode()), id="tabs"),
        pytest.param(raw("readings.csv", readings_text().replace(",", ";").encode()), id="semicolons"),
        pytest.param(raw("swatches.csv", SWATCHES.replace(",", " , ").encode()), id="spaces"),
        pytest.param(raw("swatches.csv", SWATCHES.encode() + b"\n,,,,,\n \n"), id="blank rows at the end"),
        pytest.param(raw("swatches.csv", SWATCHES.replace("\n", ",,\n").encode()), id="blank columns"),
        pytest.param(replace("swatches.csv", "yellow-1,clear,2,0.5,,", "yellow-1,clear,2,0.50,0,"), id="zero"),
        pytest.param(replace("swatches.csv", "clear-2,clear", '"clear-2","clear"'), id="quotation marks"),
        pytest.param(replace("swatches.csv", "1.98", "1.98e0"), id="exponent"),
        pytest.param(replace("readings.csv", ",700", ",700.00"), id="wavelength with decimals"),
    ],
)
def test_however_a_spreadsheet_writes_it_the_folder_is_the_same(tmp_path: Path, change: object) -> None:
    plain = read_folder(write(tmp_path / "plain", good_files()))
    assert callable(change)
    assert same(read_folder(write(tmp_path / "other", changed(change))), plain)


def test_blank_rows_count_as_a_spreadsheet_counts_them(tmp_path: Path) -> None:
    change = replace("swatches.csv", "milky-2,", "\n,,,,,\nmilky-2,")
    read = read_folder(write(tmp_path / "studio", changed(change)))
    assert [swatch.row for swatch in read.swatches] == [2, 3, 6, 7, 8, 9, 10]


def test_a_cell_of_two_lines_counts_as_one_row(tmp_path: Path) -> None:
    change = replace("swatches.csv", "poured late", '"poured\nlate, again"')
    read = read_folder(write(tmp_path / "studio", changed(change)))
    assert [swatch.row for swatch in read.swatches] == [2, 3, 4, 5, 6, 7, 8]
    assert read.swatches[1].note == "poured\nlate, again"


def test_columns_may_stand_in_any_order(tmp_path: Path) -> None:
    lines = [line.split(",") for line in SWATCHES.splitlines()]
    turned = "\n".join(",".join(reversed(cells)) for cells in lines)
    plain = read_folder(write(tmp_path / "plain", good_files()))
    assert same(read_folder(write(tmp_path / "other", changed(raw("swatches.csv", turned.encode())))), plain)


def test_reflectance_slightly_below_zero_is_noise_and_kept(tmp_path: Path) -> None:
    read = read_folder(write(tmp_path / "studio", changed(put("readings.csv", 10, "400", "-0.0015"))))
    assert read.readings[6].values[0] == -0.0015
    assert read.warnings == ()


class TestDigest:
    def test_it_is_that_of_the_folder_read(self, folder: Path) -> None:
        assert read_folder(folder).digest == folder_digest(folder)

    @pytest.mark.parametrize(
        ("file", "more"), [("palette.toml", b"[pigments.plum]"), ("swatches.csv", b""), ("readings.csv", b"")]
    )
    def test_it_changes_with_every_file(self, folder: Path, file: str, more: bytes) -> None:
        before = folder_digest(folder)
        (folder / file).write_bytes((folder / file).read_bytes() + b"\n" + more)
        assert folder_digest(folder) != before

    @pytest.mark.parametrize(
        ("key", "is_same"),
        [
            ("scale_step_g = 0.1", True),
            ('scale_step_g = "fine"', False),
            ("scale = 0.1", False),
            ('price_unit = "lb"', False),  # which prices of pigments are told in
        ],
    )
    def test_habits_ask_for_no_new_fit_unless_they_are_at_fault(self, folder: Path, key: str, is_same: bool) -> None:
        before = folder_digest(folder)
        with (folder / "palette.toml").open("a", encoding="utf-8") as file:
            file.write(f"\n[workshop]\n{key}\n")
        assert (folder_digest(folder) == before) == is_same

    def test_other_files_do_not_matter(self, folder: Path) -> None:
        before = folder_digest(folder)
        (folder / "notes.txt").write_text("poured on a wet day", encoding="utf-8")
        assert folder_digest(folder) == before

    def test_a_missing_file_is_told(self, folder: Path) -> None:
        (folder / "swatches.csv").unlink()
        with pytest.raises(FolderError, match=r"swatches\.csv: the file is missing"):
            folder_digest(folder)

    def test_a_missing_folder_is_told(self, tmp_path: Path) -> None:
        with pytest.raises(FolderError, match="there is no such folder"):
            folder_digest(tmp_path / "nowhere")


SPECTRA = st.lists(
    st.lists(st.integers(min_value=0, max_value=10000), min_size=16, max_size=16), min_size=1, max_size=4
)
LOADINGS = st.lists(st.integers(min_value=0, max_value=2000), min_size=2, max_size=2)


@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(spectra=SPECTRA, loadings=LOADINGS, thickness=st.integers(min_value=1, max_value=9999))
def test_property_decimal_commas_read_as_decimal_points(
    tmp_path: Path, spectra: list[list[int]], loadings: list[int], thickness: int
) -> None:
    cells = ["random", "clear", f"{thickness / 1000:.3f}", *(f"{each / 1000:.3f}" for each in loadings), ""]
    rows = [["random", "black", "air", "", *(f"{value / 1e4:.4f}" for value in each)] for each in spectra]
    swatches = SWATCHES + ",".join(cells) + "\n"
    readings = readings_text() + "".join(",".join(row) + "\n" for row in rows)
    points = {**good_files(), "swatches.csv": swatches.encode(), "readings.csv": readings.encode()}
    commas = {
        "palette.toml": points["palette.toml"],
        "swatches.csv": swatches.replace(",", ";").replace(".", ",").encode(),
        "readings.csv": readings.replace(",", ";").replace(".", ",").encode(),
    }
    by_points = read_folder(write(tmp_path / "points", points))
    by_commas = read_folder(write(tmp_path / "commas", commas))
    assert same(by_points, by_commas)
    np.testing.assert_array_equal(by_commas.readings[-1].values, np.array(spectra[-1]) / 1e4)
    assert by_commas.swatches[-1].thickness_mm == pytest.approx(thickness / 1000, abs=1e-12)


class TestDocument:
    """docs/folder.md says what the reader does."""

    TEXT = (Path(__file__).parent.parent / "docs" / "folder.md").read_text(encoding="utf-8")

    def test_its_example_is_read(self, tmp_path: Path) -> None:
        blocks = re.findall(r"^`(\w+\.\w+)`\n\n```\w+\n(.*?)```$", self.TEXT, flags=re.DOTALL | re.MULTILINE)
        assert [file for file, _ in blocks] == list(INPUT_FILES)
        read = read_folder(write(tmp_path / "studio", {file: text.encode() for file, text in blocks}))
        assert (len(read.swatches), len(read.readings), len(read.backings)) == (3, 6, 2)

    @pytest.mark.parametrize("table", [InstrumentTable, BaseTable, PigmentTable])
    def test_it_lists_every_key_with_its_default(self, table: type[Struct]) -> None:
        heading = {
            InstrumentTable: "[instrument]",
            BaseTable: "[bases.NAME]",
            PigmentTable: "[pigments.NAME]",
        }
        section = self.TEXT.split(f"### `{heading[table]}`")[1].split("\n#")[0]
        rows = [[cell.strip() for cell in line.split("|")[1:-1]] for line in section.splitlines() if "|" in line]
        listed = {cells[0].strip("`"): cells[-1] for cells in rows[2:]}
        keys = {field.name: field for field in fields(table)}
        assert list(listed) == list(keys)
        assert {name for name, told in listed.items() if told == "required"} == {
            name for name, field in keys.items() if field.required
        }
        defaults = {name: str(field.default) for name, field in keys.items() if isinstance(field.default, float)}
        assert {name: listed[name] for name in defaults} == defaults
