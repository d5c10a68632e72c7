"""A swatch folder whose readings are colours: read to what was written, every fault and all that is thin told."""

from __future__ import annotations

import re
import tempfile
from pathlib import Path

import numpy as np
import pytest
from colour_example import COLOUR_PALETTE, COLOUR_READINGS, colour_files, readings, with_colours, without
from folder_example import SWATCHES, Change, add, changed, drop, every, put, replace, write
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tint import colorimetry
from tint.errors import FolderError
from tint.swatches import inspect_folder, read_folder

TOML, READS = "palette.toml", "readings.csv"
GRID = np.arange(400.0, 701.0, 10.0)


def told(change: Change, *, grave: bool = True, tmp_path: Path) -> list[str]:
    _, faults = inspect_folder(write(tmp_path / "studio", with_colours(change)))
    return [str(fault) for fault in faults if fault.grave == grave]


def nothing(files: object) -> None:
    """The folder as it is."""


class TestReading:
    def test_colours_are_read_as_written(self, tmp_path: Path) -> None:
        folder = read_folder(write(tmp_path / "studio", colour_files()))
        assert (folder.kind, folder.instrument.light, folder.instrument.observer) == ("colours", "D50", 2)
        assert folder.wavelengths.tolist() == GRID.tolist()
        assert folder.warnings == ()
        assert len(folder.readings) == 14
        assert folder.readings[0].values.tolist() == [37.5, 0.1, -1.2]
        assert folder.readings[2].seat == "wet"
        assert [each.row for each in folder.readings if each.source == "photograph"] == [11, 12]

    def test_bare_readings_are_kept_and_averaged(self, tmp_path: Path) -> None:
        folder = read_folder(write(tmp_path / "studio", colour_files()))
        assert folder.backings["white"] == pytest.approx([95.04, -0.6, 1.86])
        assert folder.backings["black"].tolist() == [24.31, 0.12, -0.4]
        assert {name: [each.row for each in read] for name, read in folder.bare.items()} == {
            "black": [2],
            "white": [3, 4],
        }
        first = folder.bare["white"][0]
        assert (first.swatch, first.backing, first.seat, first.quantity) == ("", "white", "", "reflectance")
        assert first.values.tolist() == [95.02, -0.61, 1.85]

    def test_bare_readings_of_spectra_are_kept_too(self, tmp_path: Path) -> None:
        folder = read_folder(write(tmp_path / "studio", changed(add(READS, "white,,,," + ",".join(["0.5"] * 16)))))
        assert folder.kind == "spectra"
        assert [each.row for each in folder.bare["white"]] == [3, 19]
        mean = np.mean([each.values for each in folder.bare["white"]], axis=0)
        assert np.array_equal(folder.backings["white"], mean)
        assert set(folder.bare) == {"black", "white"}

    def test_a_source_is_read_beside_spectra_too(self, tmp_path: Path) -> None:
        def change(files: dict[str, bytes]) -> None:
            first, *rest = files[READS].decode().splitlines()
            files[READS] = "\n".join(
                [f"{first},source", f"{rest[0]},photograph", *(f"{row}," for row in rest[1:])]
            ).encode()

        folder = read_folder(write(tmp_path / "studio", changed(change)))
        assert folder.bare["black"][0].source == "photograph"
        assert {each.source for each in folder.readings} == {""}

    def test_spots_and_the_older_spelling_of_a_light_are_read(self, tmp_path: Path) -> None:
        change = replace(TOML, 'light = "D50"', 'light = "f11"\naperture_mm = 4\nlit_mm = 8.0')
        own = read_folder(write(tmp_path / "studio", with_colours(change))).instrument
        assert (own.light, own.aperture_mm, own.lit_mm) == ("FL11", 4.0, 8.0)

    @pytest.mark.parametrize("column", ["quantity", "source"])
    def test_optional_columns_may_be_left_out(self, tmp_path: Path, column: str) -> None:
        rows = [line.split(",") for line in COLOUR_READINGS.splitlines()]
        at = rows[0].index(column)
        text = "\n".join(",".join(cells[:at] + cells[at + 1 :]) for cells in rows)
        assert len(read_folder(write(tmp_path / "studio", with_colours(readings(text)))).readings) == 14


COLOUR = st.tuples(st.integers(0, 10500), st.integers(-15000, 15000), st.integers(-15000, 15000))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(colours=st.lists(COLOUR, min_size=1, max_size=4))
def test_property_any_colour_is_read_with_points_or_commas(tmp_path: Path, colours: list[tuple[int, int, int]]) -> None:
    text = COLOUR_READINGS + "".join(
        "green-1,none,,,," + ",".join(f"{value / 100:.2f}" for value in each) + "\n" for each in colours
    )
    points = read_folder(write(tmp_path / "points", with_colours(readings(text))))
    commas = read_folder(write(tmp_path / "commas", with_colours(readings(text.replace(",", ";").replace(".", ",")))))
    for one, other in zip(points.readings, commas.readings, strict=True):
        assert np.array_equal(one.values, other.values)
    assert np.array([each.values for each in points.readings[14:]]) == pytest.approx(np.array(colours) / 100)


GRAVE: dict[str, tuple[Change, str]] = {
    "blank": (
        put(READS, 5, "L", ""),
        "readings.csv, row 5, column L: the cell is blank; expected a number from 0 to 100",
    ),
    "text": (put(READS, 5, "a", "red"), "row 5, column a: 'red' is not a number; expected a number from -150 to 150"),
    "unit": (put(READS, 5, "b", "3 CIELAB"), "row 5, column b: '3 CIELAB' is more than a number"),
    "not finite": (put(READS, 5, "b", "nan"), "row 5, column b: 'nan' is not a finite number"),
    "too light": (put(READS, 5, "L", "105.1"), "row 5, column L: L 105.1; expected 0 to 100"),
    "too dark": (put(READS, 5, "L", "-4"), "row 5, column L: L -4; expected 0 to 100; calibrate the instrument's zero"),
    "too red": (put(READS, 5, "a", "151"), "row 5, column a: a 151; expected -150 to 150; is it CIELAB?"),
    "too blue": (put(READS, 5, "b", "-150.5"), "row 5, column b: b -150.5; expected -150 to 150"),
    "marks mixed": (
        readings(COLOUR_READINGS.replace(",", ";").replace("37.5", "37,5")),
        "mix decimal commas",
    ),
    "decimal commas between commas": (readings(COLOUR_READINGS.replace("37.5", "37,5")), "the row has 9 cells"),
    "X, Y, Z instead": (
        replace(READS, "source,L,a,b", "source,X,Y,Z"),
        "readings.csv, row 1: the columns X, Y, Z; expected L, a, b; convert them, or let tint import do so",
    ),
    "one of three missing": (replace(READS, "source,L,a,b", "source,L,a,note"), "the column b is missing"),
    "another spelling": (
        replace(READS, "source,L,a,b", "source,L*,a*,b*"),
        "column L*: there is no such column; expected",
    ),
    "small letters": (replace(READS, "source,L,a,b", "source,l,a,b"), "did you mean L?"),
    "an unknown column": (
        every(readings(re.sub("(?m)$", ",", COLOUR_READINGS.rstrip()).replace("L,a,b,", "L,a,b,gloss"))),
        "column gloss: there is no such column; expected swatch, backing, seat, quantity, source or L, a, b; remove it",
    ),
    "wavelengths beside them": (
        readings(re.sub("(?m)$", ",0.5", COLOUR_READINGS.rstrip()).replace("L,a,b,0.5", "L,a,b,400")),
        "row 1, column L: L, a, b stands beside wavelengths; expected spectra, or the colours L, a, b, but not both",
    ),
    "fractions": (
        readings(
            "\n".join(
                re.sub(r",([\d.]+),(\S+),(\S+)$", lambda m: f",{float(m[1]) / 100:g},0,0", line)
                for line in COLOUR_READINGS.splitlines()
            )
        ),
        "column L: no L is above 0.9506; expected 100 for a perfect white; multiply L, a and b by 100",
    ),
    "transmittance": (
        add(READS, "blue-1,none,,transmittance,,50,1,2"),
        "row 19, column quantity: transmittance as a colour; expected reflectance; leave the row out",
    ),
    "unknown source": (
        put(READS, 5, "source", "photo"),
        "row 5, column source: there is no source photo; expected photograph, or a blank cell for an instrument; did",
    ),
    "unknown source of a backing": (
        put(READS, 2, "source", "memory"),
        "row 2, column source: there is no source memory",
    ),
    "no light": (
        without("light"),
        "palette.toml, key instrument.light: the key is missing; expected a CIE light: D65, D50, A, FL2, FL11, "
        "LED-B3 or another, that the L, a, b of readings.csv hold for; write light = ...",
    ),
    "no observer": (without("observer"), "palette.toml, key instrument.observer: the key is missing; expected 2 or 10"),
    "unknown light": (replace(TOML, '"D50"', '"D51"'), "instrument.light: found 'D51'; expected a CIE light: D65"),
    "light is no text": (replace(TOML, '"D50"', "50"), "instrument.light: found 50; expected a CIE light"),
    "observer as text": (
        replace(TOML, "observer = 2", 'observer = "2"'),
        "instrument.observer: found '2'; expected 2 or 10, in degrees; write it without quotation marks",
    ),
    "another observer": (
        replace(TOML, "observer = 2", "observer = 4"),
        "instrument.observer: found 4; expected 2 or 10",
    ),
    "no spot": (
        replace(TOML, "observer = 2", "observer = 2\naperture_mm = 0"),
        "instrument.aperture_mm: found 0; expected",
    ),
    "a wide spot": (
        replace(TOML, "observer = 2", "observer = 2\nlit_mm = 101"),
        "found 101; expected a diameter above 0",
    ),
    "lit less than measured": (
        replace(TOML, "observer = 2", "observer = 2\naperture_mm = 8\nlit_mm = 6.5"),
        "instrument.lit_mm: a spot of 6.5 mm is lit, and one of 8 mm is measured; expected all that is measured to be",
    ),
    "no bare reading": (drop(READS, 2), "swatches were read over black, which has no bare reading"),
}


@pytest.mark.parametrize("name", GRAVE)
def test_a_grave_fault_is_told(name: str, tmp_path: Path) -> None:
    change, words = GRAVE[name]
    faults = told(change, tmp_path=tmp_path)
    assert any(words in each for each in faults), faults
    assert all("\n" not in each for each in faults)
    with pytest.raises(FolderError):
        read_folder(tmp_path / "studio")


def test_x_y_z_and_colours_beside_wavelengths_are_each_one_fault(tmp_path: Path) -> None:
    for name in ("X, Y, Z instead", "transmittance", "no light", "unknown source", "too red"):
        assert len(told(GRAVE[name][0], tmp_path=tmp_path)) == 1, name


def test_all_three_bad_cells_of_a_row_are_told(tmp_path: Path) -> None:
    change = every(put(READS, 5, "L", ""), put(READS, 5, "a", "x"), put(READS, 6, "b", "200"))
    assert len(told(change, tmp_path=tmp_path)) == 3


THIN: dict[str, tuple[Change, str]] = {
    "swapped": (
        every(put(READS, 13, "L", "72.5"), put(READS, 14, "L", "45")),
        "readings.csv, row 13, column backing: yellow-2 reads lighter over black (L 72.50) than over white (L 45.00); "
        "a lighter backing cannot darken a swatch",
    ),
    "backings alike": (
        every(put(READS, 3, "L", "30"), put(READS, 4, "L", "31")),
        "backings black, white",
    ),
    "fluorescent": (put(READS, 6, "L", "103"), "row 6, column L: L 103 is above 100; expected 0 to 100; a fluorescent"),
    "two rows alike": (
        add(READS, "green-1,white,air,,,46.9,-22.7,16.6"),
        "row 19: the values are those of row 18, to the last digit",
    ),
    "one way": (
        drop(READS, *range(5, 19, 2)),
        "all swatches were read over white only, in reflectance only; scattering and opacity are hardly known",
    ),
    "one way at times": (drop(READS, 18), "swatches read in one way only: green-1; scattering and opacity are hardly"),
    "unread": (drop(READS, 17, 18), "swatches.csv, row 8, column swatch: green-1 has no reading"),
}


@pytest.mark.parametrize("name", THIN)
def test_what_is_thin_is_told(name: str, tmp_path: Path) -> None:
    change, words = THIN[name]
    warnings = told(change, grave=False, tmp_path=tmp_path)
    assert any(words in each for each in warnings), warnings
    assert read_folder(tmp_path / "studio").kind == "colours"


def test_nothing_is_thin_in_the_example(tmp_path: Path) -> None:
    assert told(nothing, grave=False, tmp_path=tmp_path) == []


def test_dark_colours_may_be_alike(tmp_path: Path) -> None:
    change = every(*(add(READS, f"green-1,none,,,,{cells}") for cells in ("1,0.1,0.1", "1,0.1,0.1")))
    assert told(change, grave=False, tmp_path=tmp_path) == []


def test_noise_does_not_make_a_swatch_lighter_over_black(tmp_path: Path) -> None:
    opaque = every(put(READS, 17, "L", "46.95"), put(READS, 18, "L", "46.9"))
    assert told(opaque, grave=False, tmp_path=tmp_path) == []


def test_light_and_observer_mean_nothing_beside_spectra(tmp_path: Path) -> None:
    change = replace(TOML, 'geometry = "di:8"\n', 'geometry = "di:8"\nlight = "D65"\nobserver = 10\n')
    folder = read_folder(write(tmp_path / "studio", changed(change)))
    assert [fault.column for fault in folder.warnings] == ["instrument.light", "instrument.observer"]
    assert "means nothing, as the readings are spectra" in str(folder.warnings[0])
    assert folder.instrument.light == "D65"


@settings(deadline=None)
@given(st.integers(0, len(COLOUR_READINGS) - 1), st.sampled_from("\"',;\t\nLabXYZ0-9.é\0"), st.integers(0, 6))
def test_property_a_broken_table_is_read_or_told(at: int, put_in: str, taken: int) -> None:
    text = COLOUR_READINGS[:at] + put_in + COLOUR_READINGS[at + taken :]
    with tempfile.TemporaryDirectory() as place:
        folder, faults = inspect_folder(write(Path(place), with_colours(readings(text))))
    assert (folder is None) == any(fault.grave for fault in faults)
    assert all("\n" not in str(fault) for fault in faults)
    assert folder is None or all(np.isfinite(each.values).all() for each in folder.readings)


def test_a_spectrum_seen_in_the_light_of_a_folder_is_in_range(tmp_path: Path) -> None:
    view = colorimetry.viewing(GRID, light="D50", observer=2)
    for row in (np.ones(31), np.full(31, 1e-4), (GRID > 600.0) * 1.0, (GRID < 450.0) * 1.0):
        cells = ",".join(f"{value:.2f}" for value in colorimetry.lab(row, view))
        assert told(add(READS, f"green-1,none,,,,{cells}"), tmp_path=tmp_path) == []


class TestDocument:
    """docs/folder.md says what the reader does."""

    TEXT = (Path(__file__).parent.parent / "docs" / "folder.md").read_text(encoding="utf-8")

    def test_its_example_of_colours_is_read(self, tmp_path: Path) -> None:
        section = self.TEXT.split("## Colours instead of spectra")[1].split("\n## ")[0]
        (keys,), (table,) = (re.findall(rf"```{kind}\n(.*?)```", section, flags=re.DOTALL) for kind in ("toml", "csv"))
        palette = re.sub(r"(?s)\[instrument\].*?\n\n", f"{keys}\n", COLOUR_PALETTE, count=1)
        files = {"palette.toml": palette, "swatches.csv": SWATCHES, "readings.csv": table}
        folder = read_folder(write(tmp_path / "studio", {name: text.encode() for name, text in files.items()}))
        assert (folder.kind, folder.instrument.light, len(folder.readings)) == ("colours", "D65", 4)
