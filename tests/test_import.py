"""Measurements taken over into a folder: whose they are, what happens to doubles, and that the file keeps its hand."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from folder_example import good_files, write
from instrument_files import cgats, curve, cxf, tm27, wide
from numpy.typing import NDArray

from tint.cli import main
from tint.errors import InputError, TintError
from tint.swatches import read_folder
from tint.swatches.import_plan import Doubles, Import, Naming
from tint.swatches.importing import plan_import, write_import
from tint.swatches.instruments import Measurement, parse_measurements
from tint.swatches.instruments.words import disagrees, geometry_in

GRID = np.arange(400.0, 701.0, 20.0)
FINE = np.arange(360.0, 741.0, 10.0)


def samples(*names: str) -> dict[str, NDArray[np.float64]]:
    return {name: curve(at, GRID) for at, name in enumerate(names)}


def measured(*names: str, text: str = "", **told: str) -> tuple[Measurement, ...]:
    """Measurements of the names, on the folder's wavelengths."""
    return tuple(
        Measurement(name=name, wavelengths=GRID, values=curve(at, GRID), file="scan", place=f"row {at + 2}", **told)  # type: ignore[arg-type]
        for at, name in enumerate(names)
    )


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write(tmp_path / "studio", good_files())


def plan(folder: Path, measurements: tuple[Measurement, ...], **options: object) -> Import:
    naming = {key: options.pop(key) for key in ("same", "patterns", "backing", "seat", "quantity") if key in options}
    return plan_import(folder, measurements, naming=Naming(**naming), doubles=Doubles(**options))  # type: ignore[arg-type]


def fault(folder: Path, measurements: tuple[Measurement, ...], **options: object) -> str:
    """The first fault, as the one line that writing raises; and that nothing was written."""
    before = (folder / "readings.csv").read_bytes()
    with pytest.raises(TintError) as caught:
        write_import(plan(folder, measurements, **options))
    assert (folder / "readings.csv").read_bytes() == before
    return str(caught.value)


AIR = {"backing": "black", "seat": "air"}


class TestNames:
    def test_exact_names_are_swatches_and_bare_backings(self, folder: Path) -> None:
        made = plan(folder, measured("blue-1", "white"), add=True, **AIR)
        assert [each.key for each in made.planned] == [
            ("blue-1", "black", "air", "reflectance"),
            ("white", "", "", "reflectance"),
        ]
        assert [each.action for each in made.planned] == ["new", "replicate"]

    def test_the_user_says_where_a_name_belongs(self, folder: Path) -> None:
        same = {"a": "blue-1/white/wet", "b": "blue-1/none", "c": "black", "d": "blue-1"}
        made = plan(folder, measured("a", "b", "c", "d"), same=same, add=True, **AIR)
        assert [each.key[:3] for each in made.planned] == [
            ("blue-1", "white", "wet"),
            ("blue-1", "none", ""),
            ("black", "", ""),
            ("blue-1", "black", "air"),
        ]

    def test_a_pattern_is_read_by_the_folder_s_own_names(self, folder: Path) -> None:
        names = ("blue-1-black", "blue-1-white", "green-1-none")
        made = plan(folder, measured(*names), patterns=("{swatch}-{backing}",), seat="wet", add=True)
        assert [each.key[:3] for each in made.planned] == [
            ("blue-1", "black", "wet"),
            ("blue-1", "white", "wet"),
            ("green-1", "none", ""),
        ]

    def test_a_pattern_may_pass_over_a_part_and_name_the_seat(self, folder: Path) -> None:
        names = ("07_blue-1 (black, wet)", "08_blue-1 (white, air)")
        made = plan(folder, measured(*names), patterns=("{any}_{swatch} ({backing}, {seat})",))
        assert [each.key[:3] for each in made.planned] == [("blue-1", "black", "wet"), ("blue-1", "white", "air")]

    def test_what_the_file_tells_of_backing_and_seat_counts(self, folder: Path) -> None:
        made = plan(folder, measured("blue-1", backing="Black", seat="wet"), backing="white", seat="air")
        assert made.planned[0].key[:3] == ("blue-1", "black", "wet")

    def test_transmittance_has_nothing_behind(self, folder: Path) -> None:
        made = plan(folder, measured("green-1", quantity="transmittance", geometry="di:0"), **AIR)
        assert made.faults == ()
        assert made.planned[0].key == ("green-1", "none", "", "transmittance")

    @pytest.mark.parametrize(
        ("name", "options", "line"),
        [
            ("blue-2", AIR, "scan, row 2: blue-2 is no swatch of swatches.csv and no backing of palette.toml; did you"),
            ("lamp", AIR, "leave such out with --skip-unknown"),
            ("blue-1 white", AIR, "write --pattern '{swatch} {backing}'"),
            ("02_blue-1_white_b", AIR, "write --pattern '02_{swatch}_{backing}_b'"),
            ("black bare", AIR, "write --as 'black bare=black'"),
            ("White 2, card", AIR, "leave such out with --skip-unknown"),
            ("white_2", AIR, "write --as 'white_2=white'"),
            ("lid black", AIR, "leave such out with --skip-unknown"),
            ("blackish", AIR, "did you mean black?"),
            ("blue-1", {"seat": "air"}, "scan, row 2: blue-1: no backing is told; expected one of black, white, none"),
            ("blue-1", {"backing": "black"}, "scan, row 2: blue-1: no seat is told; expected one of air, wet"),
            ("blue-1", {"backing": "grey"}, "--backing: there is no `grey`; expected one of black, white, none"),
            ("x", {"same": {"x": "blue-1/grey"}}, "--as x: there is no `blue-1/grey`; expected SWATCH/BACKING/SEAT"),
            ("x", {"same": {"x": "blu-1/black"}}, "did you mean blue-1?"),
            ("x", {"same": {"y": "blue-1"}}, "--as y: no measurement has that name"),
            ("x", {"same": {"x": "black/white"}}, "black is a backing, and has a backing or a seat itself"),
            ("x", {"patterns": ("{backing}",)}, "--pattern: '{backing}' is none; expected {swatch}"),
            ("x", {"patterns": ("{swatch}{swatch}",)}, "--pattern: '{swatch}{swatch}' is none"),
            ("x", {"patterns": ("{swatch}{name}",)}, "--pattern"),
            ("blue-1", {"add": True, "replace": True}, "--add: given together with --replace"),
        ],
    )
    def test_what_is_not_known_is_one_line(
        self, folder: Path, name: str, options: Mapping[str, object], line: str
    ) -> None:
        assert line in fault(folder, measured(name), **options)

    def test_file_and_name_may_not_contradict_each_other(self, folder: Path) -> None:
        line = fault(folder, measured("blue-1-white", backing="black"), patterns=("{swatch}-{backing}",), seat="air")
        assert "the file says backing black, its name white; expected one" in line

    def test_a_backing_in_the_instrument_s_own_words_is_put_right(self, folder: Path) -> None:
        told = measured("blue-1", backing="Substrate")
        assert plan(folder, told, **AIR).planned[0].key[:3] == ("blue-1", "black", "air")
        assert "there is no backing Substrate" in fault(folder, told, seat="air")

    def test_unknown_names_may_be_left_out(self, folder: Path) -> None:
        made = plan(folder, measured("lamp", "blue-1"), skip_unknown=True, **AIR)
        assert [each.action for each in made.planned] == ["left out", "new"]
        write_import(made)
        assert len(read_folder(folder).readings) == 16


class TestDoubles:
    def test_what_was_read_before_is_refused(self, folder: Path) -> None:
        line = fault(folder, measured("clear-2"), **AIR)
        assert "scan, row 2: clear-2 over black, air was read before, in row 4 of readings.csv" in line
        assert "keep both with --add, or put it in their place with --replace" in line

    def test_a_replicate_is_added(self, folder: Path) -> None:
        write_import(plan(folder, measured("clear-2"), add=True, **AIR))
        readings = [each for each in read_folder(folder).readings if each.swatch == "clear-2"]
        assert [each.row for each in readings] == [4, 5, 19]
        np.testing.assert_array_equal(readings[-1].values, curve(0, GRID))

    def test_all_replicates_make_room_for_one(self, folder: Path) -> None:
        before = (folder / "readings.csv").read_text().splitlines()
        made = plan(folder, measured("yellow-2"), replace=True, backing="white", seat="air")
        assert (made.planned[0].action, made.planned[0].rows) == ("replaces", (13, 14))
        write_import(made)
        after = (folder / "readings.csv").read_text().splitlines()
        assert after[:12] + after[13:] == before[:12] + before[14:]
        assert after[12].startswith("yellow-2,white,air,,0.")

    def test_two_of_one_kind_in_the_files_are_told(self, folder: Path) -> None:
        twice = measured("blue-1", "b")
        line = fault(folder, twice, same={"b": "blue-1"}, **AIR)
        assert "scan, row 3: b, blue-1 over black, air, is also scan, row 2; expected one of each" in line
        made = plan(folder, twice, same={"b": "blue-1"}, add=True, **AIR)
        assert [each.action for each in made.planned] == ["new", "replicate"]

    def test_the_very_same_reading_is_refused_even_as_a_replicate(self, folder: Path) -> None:
        write_import(plan(folder, measured("blue-1"), **AIR))
        assert "blue-1 is row 19 of readings.csv to the last digit" in fault(
            folder, measured("blue-1"), add=True, **AIR
        )

    def test_all_faults_are_counted(self, folder: Path) -> None:
        line = fault(folder, measured("x", "y", "blue-1"), **AIR)
        assert line.startswith("scan, row 2: x is no swatch")
        assert line.endswith("and 1 more: add --dry-run to see all")


class TestHand:
    """The file keeps its separator, decimal mark, line ends and columns, and every other byte."""

    def imported(self, folder: Path, text: bytes, **told: str) -> bytes:
        (folder / "readings.csv").write_bytes(text)
        write_import(plan(folder, measured("blue-1", **told), **AIR))
        read_folder(folder)
        return (folder / "readings.csv").read_bytes()

    @pytest.mark.parametrize(
        ("before", "row"),
        [
            (good_files()["readings.csv"], b"blue-1,black,air,,0."),
            (good_files()["readings.csv"].rstrip(), b"\nblue-1,black,air,,0."),
            (good_files()["readings.csv"].replace(b"\n", b"\r\n"), b"blue-1,black,air,,0."),
            (good_files()["readings.csv"].replace(b",", b"\t"), b"blue-1\tblack\tair\t\t0."),
            (good_files()["readings.csv"].replace(b",", b";").replace(b".", b","), b"blue-1;black;air;;0,"),
            (b"\xef\xbb\xbf" + good_files()["readings.csv"], b"blue-1,black,air,,0."),
            (good_files()["readings.csv"].replace(b"white,,,,", b'"white",, ,,'), b"blue-1,black,air,,0."),
            (good_files()["readings.csv"] + b"\n ,,\n", b"blue-1,black,air,,0."),
        ],
    )
    def test_a_row_is_written_as_the_others_are(self, folder: Path, before: bytes, row: bytes) -> None:
        after = self.imported(folder, before)
        assert after.startswith(before)
        assert after[len(before) :].startswith(row)
        assert after.endswith(b"\r\n" if b"\r\n" in before else b"\n")
        assert after.count(b"\r") == (after.count(b"\n") if b"\r" in before else 0)

    def test_columns_keep_their_order(self, folder: Path) -> None:
        rows = [line.split(",") for line in good_files()["readings.csv"].decode().splitlines()]
        turned = "".join(",".join([*row[4:], row[1], row[0], row[3], row[2]]) + "\n" for row in rows)
        last = self.imported(folder, turned.encode()).decode().splitlines()[-1].split(",")
        assert last[-4:] == ["black", "blue-1", "", "air"]

    def test_a_column_for_the_quantity_is_added_when_it_is_needed(self, folder: Path) -> None:
        rows = [line.split(",") for line in good_files()["readings.csv"].decode().splitlines()]
        plain = "".join(",".join([*row[:3], *row[4:]]) + "\n" for row in rows if row[3] != "transmittance")
        after = self.imported(folder, plain.encode(), quantity="transmittance").decode().splitlines()
        assert after[0].endswith(",700,quantity")
        assert after[1].endswith(",")
        assert after[-1].endswith(",transmittance")
        assert self.imported(folder, plain.encode()).decode().startswith(plain)

    def test_a_name_with_the_separator_in_it_is_quoted(self, folder: Path) -> None:
        with (folder / "swatches.csv").open("a") as stream:
            stream.write('"lid, red",clear,2,,,\n')
        write_import(plan(folder, measured("lid, red"), **AIR))
        assert read_folder(folder).readings[-1].swatch == "lid, red"

    def test_a_folder_without_readings_gets_its_file(self, folder: Path) -> None:
        (folder / "readings.csv").unlink()
        write_import(plan(folder, measured("black", "white", "blue-1"), **AIR))
        read = read_folder(folder)
        np.testing.assert_array_equal(read.wavelengths, GRID)
        np.testing.assert_array_equal(read.readings[0].values, curve(2, GRID))

    def test_it_cannot_begin_with_a_grid_that_is_none(self, folder: Path) -> None:
        (folder / "readings.csv").unlink()
        short = parse_measurements(wide(samples("blue-1"), wavelengths=GRID + 20).encode(), file="scan")
        with pytest.raises(InputError, match="420 to 720 nm does not cover 400 to 700 nm"):
            plan(folder, short, **AIR)


class TestReadings:
    def test_values_are_brought_onto_the_folder_s_wavelengths(self, folder: Path) -> None:
        text = cgats({"blue-1": 100.0 * curve(0, FINE)}, wavelengths=FINE)
        made = plan(folder, parse_measurements(text.encode(), file="scan"), **AIR)
        notes = made.planned[0].notes
        assert any("taken as percent" in note for note in notes)
        assert any("from 10 to 20 nm as means under triangles" in note for note in notes)
        write_import(made)
        np.testing.assert_allclose(read_folder(folder).readings[-1].values, curve(0, GRID), atol=0.02)

    def test_nothing_is_extrapolated(self, folder: Path) -> None:
        short = np.arange(420.0, 701.0, 20.0)
        text = wide({"blue-1": curve(0, short)}, wavelengths=short)
        line = fault(folder, parse_measurements(text.encode(), file="scan"), **AIR)
        assert line.startswith("scan, row 2: it spans 420 to 700 nm; expected 400 to 700 nm; measure")

    @pytest.mark.parametrize(
        ("values", "line"),
        [
            (curve(0, GRID) - 0.3, "blue-1, 520 nm: reading -"),
            (curve(0, GRID) + 0.9, "is outside 0 to 1"),
        ],
    )
    def test_values_that_check_would_refuse_are_refused(
        self, folder: Path, values: NDArray[np.float64], line: str
    ) -> None:
        one = Measurement(name="blue-1", wavelengths=GRID, values=values, file="scan", place="row 2")
        told = fault(folder, (one,), **AIR)
        assert told.startswith("scan, row 2: blue-1, ")
        assert line.partition("nm")[2] in told

    def test_values_above_one_are_told(self, folder: Path) -> None:
        one = Measurement(name="blue-1", wavelengths=GRID, values=curve(0, GRID) + 0.4, file="scan", place="row 2")
        made = plan(folder, (one,), **AIR)
        assert made.data
        assert "is above 1" in made.planned[0].warnings[0]

    def test_a_card_may_be_read_later(self, folder: Path) -> None:
        """Swatches come from one file and cards from another: `tint check` tells of what is missing yet."""
        (folder / "readings.csv").unlink()
        made = plan(folder, measured("blue-1"), **AIR)
        assert made.data
        assert "swatches were read over black, which has no bare reading" in made.planned[0].warnings[0]

    @pytest.mark.parametrize("file", ["palette.toml", "swatches.csv"])
    def test_a_folder_at_fault_is_told(self, folder: Path, file: str) -> None:
        (folder / file).unlink()
        with pytest.raises(TintError, match=file):
            plan(folder, measured("blue-1"), **AIR)

    def test_readings_on_no_grid_are_told(self, folder: Path) -> None:
        text = (folder / "readings.csv").read_text().replace(",700", ",705")
        (folder / "readings.csv").write_text(text)
        assert "readings.csv, row 1, column 705: the step changes" in fault(folder, measured("blue-1"), **AIR)


class TestGeometry:
    @pytest.mark.parametrize("told", ["45:0", "de:8", "d:d", "other"])
    def test_another_geometry_is_refused_or_forced(self, folder: Path, told: str) -> None:
        line = fault(folder, measured("blue-1", geometry=told), **AIR)
        assert f"blue-1 was read in the geometry {told}; expected di:8, as palette.toml says" in line
        made = plan(folder, measured("blue-1", geometry=told), force=True, **AIR)
        assert made.data
        assert f"in the geometry {told}, not di:8" in made.planned[0].warnings[0]

    @pytest.mark.parametrize("told", ["", "di:8", "d:8"])
    def test_the_same_or_an_open_one_is_taken(self, folder: Path, told: str) -> None:
        assert plan(folder, measured("blue-1", geometry=told), **AIR).faults == ()

    @pytest.mark.parametrize("told", ["0:0", "de:0"])
    def test_a_part_of_the_transmittance_is_refused(self, folder: Path, told: str) -> None:
        line = fault(folder, measured("green-1", geometry=told, quantity="transmittance"))
        assert "expected total transmittance" in line

    @pytest.mark.parametrize(
        ("text", "word"),
        [
            ("d/8 SCI", "di:8"),
            ("d/8°, specular included", "di:8"),
            ("8:de", "de:8"),
            ("D/8 Specular_Excluded", "de:8"),
            ("d/8", "d:8"),
            ("SCI SCE d/8", "d:8"),
            ("45/0", "45:0"),
            ("0/45c", "45:0"),
            ("Illumination=D65", ""),
            ("1.45/0.5", ""),
        ],
    )
    def test_words_of_instruments(self, text: str, word: str) -> None:
        assert geometry_in(text) == word

    def test_a_sphere_left_open_is_no_ring(self) -> None:
        assert disagrees("d:8", "45:0", "reflectance")


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(each) for each in arguments], env={"COLUMNS": "200"})


class TestCommand:
    @pytest.fixture
    def scan(self, tmp_path: Path) -> Path:
        path = tmp_path / "scan.txt"
        path.write_text(cgats(samples("blue-1", "blue 2"), wavelengths=GRID), encoding="utf-8")
        return path

    def test_faults_that_are_alike_are_told_once(self, folder: Path, tmp_path: Path) -> None:
        file = tmp_path / "scan.csv"
        file.write_text(wide(samples(*(f"strange {at}" for at in range(9))), wavelengths=GRID))
        shown = CliRunner().invoke(main, ["import", str(folder), str(file), "--seat", "air", "--dry-run"])
        assert " ".join(shown.stdout.split()).count("is no swatch of") == 1, shown.stderr
        assert "so are 8 more: row 3, row 4, row 5, ..." in " ".join(shown.stdout.split())

    def test_it_takes_files_of_every_format_at_once(self, folder: Path, tmp_path: Path) -> None:
        one = samples("blue-1")
        texts = {
            "a.txt": cgats(one, wavelengths=GRID),
            "b.cxf": cxf(one, increment="20"),
            "c.dat": tm27(one["blue-1"] + 0.02, wavelengths=GRID, name="blue-1"),
            "d.csv": wide({"blue-1": one["blue-1"] + 0.03}, wavelengths=GRID),
        }
        for name, text in texts.items():
            (tmp_path / name).write_text(text, encoding="utf-8")
        done = run(
            "import", folder, *(tmp_path / name for name in texts), "--backing", "white", "--seat", "wet", "--add"
        )
        assert done.exit_code == 0, done.stderr
        assert "Written: 4 readings into" in done.stdout
        assert len(read_folder(folder).readings) == 19

    def test_a_dry_run_writes_nothing_and_tells_all(self, folder: Path, scan: Path) -> None:
        before = (folder / "readings.csv").read_bytes()
        done = run("import", folder, scan, "--backing", "black", "--seat", "air", "--dry-run")
        assert done.exit_code == 2
        assert (
            done.stderr
            == f"tint: {folder}: 1 measurement of 2 cannot be taken over; mend what is listed, or leave it out\n"
        )
        assert "blue 2 is no swatch of swatches.csv and no backing of palette.toml; did you mean blue-1?" in done.stdout
        assert "Nothing written: 1 reading would go into" in done.stdout
        assert (folder / "readings.csv").read_bytes() == before

    def test_without_it_one_fault_stops_all(self, folder: Path, scan: Path) -> None:
        before = (folder / "readings.csv").read_bytes()
        done = run("import", folder, scan, "--backing", "black", "--seat", "air")
        assert (done.exit_code, done.stdout) == (2, "")
        assert done.stderr.startswith(f"tint: {scan}, line 11: blue 2 is no swatch")
        assert done.stderr.count("\n") == 1
        assert (folder / "readings.csv").read_bytes() == before

    def test_json(self, folder: Path, scan: Path) -> None:
        told = ("--backing", "black", "--seat", "air", "--as", "blue 2=green-1/white/wet", "--json")
        done = run("import", folder, scan, *told)
        assert (done.exit_code, done.stderr) == (0, "")
        content = json.loads(done.stdout)
        assert content["written"] is True
        assert content["faults"] == []
        assert [each["swatch"] for each in content["measurements"]] == ["blue-1", "green-1"]
        assert content["measurements"][1]["values"] == pytest.approx(curve(1, GRID).tolist())
        assert content["measurements"][1] | {"values": None, "notes": []} == {
            "name": "blue 2", "file": str(scan), "place": "line 11", "action": "new", "swatch": "green-1",
            "backing": "white", "seat": "wet", "quantity": "reflectance", "replaces_rows": [], "geometry": "di:8",
            "source": None, "scale": "fraction", "values": None, "fault": None, "warnings": [], "notes": [],
        }  # fmt: skip
        assert len(read_folder(folder).readings) == 17

    @pytest.mark.parametrize(
        ("arguments", "line"),
        [
            (["HERE/none.txt"], "none.txt: cannot be read (No such file or directory)"),
            (["HERE/scan.txt", "--as", "blue-1"], "--as: `blue-1`; expected NAME=SWATCH/BACKING/SEAT"),
            (["HERE/scan.txt", "--as", "a=blue-1", "--as", "a=blue-1"], "--as: a is given twice"),
            (["HERE/scan.txt", "--seat", "dry"], "'dry' is not one of"),
            ([], "missing argument"),
        ],
    )
    def test_wrong_usage_is_one_line(self, folder: Path, scan: Path, arguments: list[str], line: str) -> None:
        done = run("import", folder, *(each.replace("HERE", str(scan.parent)) for each in arguments))
        assert done.exit_code == 2
        assert line in done.stderr
        assert done.stderr.count("\n") == 1
