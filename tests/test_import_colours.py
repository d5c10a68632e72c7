"""Colours taken over into a folder of colours: in its light and no other, from Lab, XYZ and spectra."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from colour_example import COLOUR_READINGS, colour_files, with_colours, without
from folder_example import good_files, write
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from instrument_files import cgats, curve, cxf

from tint import colorimetry
from tint.cli import main
from tint.errors import FolderError, InputError, TintError
from tint.swatches import read_folder
from tint.swatches.import_plan import Doubles, Import, Naming
from tint.swatches.importing import plan_import, write_import
from tint.swatches.instruments import Given, Measurement, parse_measurements

GRID = np.arange(400.0, 701.0, 10.0)
D50 = colorimetry.viewing(GRID, light="D50", observer=2)
HEADER = "name,backing,seat,light,observer,source,L,a,b"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write(tmp_path / "studio", colour_files())


def table(*rows: str, header: str = HEADER) -> tuple[Measurement, ...]:
    return parse_measurements("\n".join([header, *rows, ""]).encode(), file="spots.csv")


def plan(folder: Path, measurements: tuple[Measurement, ...], *, add: bool = False, **told: str) -> Import:
    said = Given(**{name: told.pop(name) for name in ("light", "observer") if name in told})
    naming = replace(Naming(backing="none", seat="air"), **told)  # type: ignore[arg-type]
    return plan_import(folder, list(map(said.taken_by, measurements)), naming=naming, doubles=Doubles(add=add))


def fault(folder: Path, measurements: tuple[Measurement, ...], **told: str) -> str:
    """The first fault, as the one line that writing raises; and that nothing was written."""
    before = (folder / "readings.csv").read_bytes()
    with pytest.raises(TintError) as caught:
        write_import(plan(folder, measurements, add=False, **told))
    assert (folder / "readings.csv").read_bytes() == before
    return str(caught.value)


class TestImport:
    def test_colours_go_in_as_they_are(self, folder: Path) -> None:
        made = plan(folder, table("blue-1,none,,D50,2,,50.1234,-1.5,-0.0004"))
        assert (made.kind, str(made.view)) == ("colours", "D50, 2° observer")
        write_import(made)
        after = (folder / "readings.csv").read_text()
        assert after == COLOUR_READINGS + "blue-1,none,,,,50.123,-1.500,0.000\n"
        assert read_folder(folder).readings[-1].values.tolist() == [50.123, -1.5, 0.0]

    def test_a_photograph_says_so_and_gets_its_column(self, folder: Path) -> None:
        rows = [line.split(",") for line in COLOUR_READINGS.splitlines()]
        plain = "".join(",".join([*row[:4], *row[5:]]) + "\n" for row in rows)
        (folder / "readings.csv").write_text(plain)
        write_import(plan(folder, table("blue-1,none,,D50,2,photograph,50,1,2", "green-1,none,,D50,2,,50,1,3")))
        lines = (folder / "readings.csv").read_text().splitlines()
        assert lines[0] == "swatch,backing,seat,quantity,L,a,b,source"
        assert lines[1] == "black,,,,24.31,0.12,-0.40,"
        assert lines[-2:] == ["blue-1,none,,,50.000,1.000,2.000,photograph", "green-1,none,,,50.000,1.000,3.000,"]
        assert [each.source for each in read_folder(folder).readings[-2:]] == ["photograph", ""]

    def test_a_source_is_carried_beside_spectra(self, tmp_path: Path) -> None:
        studio = write(tmp_path / "studio", good_files())
        text = "name,source," + ",".join(f"{nm:g}" for nm in GRID) + "\nblue-1,photograph," + ",".join(["0.5"] * 31)
        write_import(plan(studio, parse_measurements(text.encode(), file="x"), backing="black"))
        assert read_folder(studio).readings[-1].source == "photograph"

    def test_decimal_commas_stay(self, folder: Path) -> None:
        (folder / "readings.csv").write_text(COLOUR_READINGS.replace(",", ";").replace(".", ","))
        write_import(plan(folder, table("blue-1,none,,D50,2,,50.5,1,2")))
        assert (folder / "readings.csv").read_text().endswith("blue-1;none;;;;50,500;1,000;2,000\n")

    def test_another_light_is_refused(self, folder: Path) -> None:
        line = fault(folder, table("blue-1,none,,D65,10,,50,1,2"))
        assert line == (
            "spots.csv, row 2: the colour of blue-1 holds for D65, 10° observer; expected D50, 2° observer; "
            "export it for that, or export its spectrum"
        )
        assert "D50, 10° observer; expected D50, 2° observer" in fault(folder, table("blue-1,none,,D50,10,,50,1,2"))

    def test_an_untold_light_is_refused_until_it_is_stated(self, folder: Path) -> None:
        silent = table("blue-1,none,,,,,50,1,2")
        assert "no light is told for the colour of blue-1" in fault(folder, silent)
        assert "no observer is told" in fault(folder, silent, light="D50")
        assert "holds for A, 2° observer" in fault(folder, silent, light="A", observer="2")
        assert "the light 'D5' is not known" in fault(folder, silent, light="D5", observer="2")
        made = plan(folder, silent, light="D50", observer="2")
        assert made.planned[0].notes == ("taken to hold for D50, 2° observer, as was said",)
        write_import(made)

    def test_a_spectrum_becomes_a_colour_and_that_is_said(self, folder: Path) -> None:
        fine = np.arange(360.0, 741.0, 5.0)
        measurements = parse_measurements(cgats({"blue-1": curve(1, fine)}, wavelengths=fine).encode(), file="x")
        made = plan(folder, measurements)
        assert made.planned[0].notes[-1] == "L*, a*, b* made from the spectrum, for D50, 2° observer"
        assert "from 5 to 10 nm" in made.planned[0].notes[-2]
        expected = colorimetry.lab(curve(1, fine), colorimetry.viewing(fine, light="D50", observer=2))
        assert made.planned[0].values == pytest.approx(expected, abs=0.2)
        write_import(made)
        assert read_folder(folder).readings[-1].values == pytest.approx(expected, abs=0.2)

    def test_a_spectrum_is_worth_more_than_lab_for_another_light(self, folder: Path) -> None:
        lab = "<ColorCIELab ColorSpecification='CS1'><L>50</L><A>1</A><B>-2</B></ColorCIELab>"
        made = plan(folder, parse_measurements(cxf({"blue-1": curve(1)}, extra=lab).encode(), file="x"))
        assert made.faults == ()
        assert made.planned[0].values == pytest.approx(colorimetry.lab(curve(1), D50), abs=5e-4)

    def test_x_y_z_become_a_colour(self, folder: Path) -> None:
        header = "name,light,observer,X,Y,Z"
        cells = ",".join(f"{value:.4f}" for value in colorimetry.lab_to_xyz([60.0, 10.0, -20.0], D50.white))
        made = plan(folder, table(f"blue-1,D50,2,{cells}", header=header))
        assert made.planned[0].values == pytest.approx([60.0, 10.0, -20.0], abs=2e-3)
        assert made.planned[0].notes == ("L*, a*, b* made from X, Y, Z",)

    def test_x_y_z_as_fractions_are_refused(self, folder: Path) -> None:
        measurements = table(
            "blue-1,D50,2,0.4,0.42,0.3", "green-1,D50,2,0.2,0.3,0.1", header="name,light,observer,X,Y,Z"
        )
        words = "spots.csv, row 2: no Y is above 0.42; expected 100 for a perfect white; export L*, a*, b*, or multiply"
        with pytest.raises(InputError, match=words.replace("*", r"\*")):
            plan(folder, measurements)

    def test_what_check_would_refuse_is_refused(self, folder: Path) -> None:
        line = fault(folder, table("blue-1,none,,D50,2,,120,1,2"))
        assert line == "spots.csv, row 2: blue-1, L 120; expected 0 to 100; is it CIELAB? correct it"

    def test_transmittance_is_refused(self, folder: Path) -> None:
        measurements = parse_measurements(cgats({"blue-1": curve(1)}).encode(), file="x")
        line = fault(folder, measurements, quantity="transmittance")
        assert "blue-1 is transmittance, but the folder holds colours; expected reflectance" in line

    def test_doubles_are_told_to_the_last_digit(self, folder: Path) -> None:
        again = table("yellow-1,white,air,D50,2,,74.15,2.05,61.2")
        assert "was read before, in row 12" not in fault(folder, again)
        assert "yellow-1 is row 12 of readings.csv to the last digit" in fault(folder, again)
        assert "was read before, in row 12" in fault(folder, table("yellow-1,white,air,D50,2,,74.16,2.05,61.2"))
        made = plan(folder, table("yellow-1,white,air,D50,2,,74.16,2.05,61.2"), add=True)
        assert [each.action for each in made.planned] == ["replicate"]

    def test_lab_into_a_folder_of_spectra_is_refused_with_what_to_do(self, tmp_path: Path) -> None:
        studio = write(tmp_path / "spectra", good_files())
        line = fault(studio, table("green-1,none,,D50,2,,50,1,2"))
        assert line == (
            "spots.csv, row 2: it holds Lab or XYZ only; expected a spectrum; export the spectra too; colours alone go "
            "into a folder of colours, see docs/folder.md"
        )

    def test_a_folder_of_colours_without_its_light_takes_nothing(self, tmp_path: Path) -> None:
        studio = write(tmp_path / "studio", with_colours(without("light")))
        with pytest.raises(FolderError, match=r"palette\.toml, key instrument\.light: the key is missing"):
            plan(studio, table("blue-1,none,,D50,2,,50,1,2"))

    def test_the_first_measurement_says_what_a_new_file_holds(self, folder: Path) -> None:
        (folder / "readings.csv").unlink()
        measurements = table("black,,,D50,2,,24,0,0", "blue-1,black,wet,D50,2,photograph,50,1,2")
        write_import(plan(folder, measurements))
        assert (folder / "readings.csv").read_text() == (
            "swatch,backing,seat,L,a,b,source\nblack,,,24.000,0.000,0.000,\nblue-1,black,wet,50.000,1.000,2.000,photograph\n"
        )
        assert read_folder(folder).kind == "colours"
        (folder / "readings.csv").unlink()
        spectra = parse_measurements(cgats({"blue-1": curve(1)}).encode(), file="x")
        made = plan(folder, (*spectra, *measurements))
        assert made.kind == "spectra"
        assert "it holds Lab or XYZ only" in str(made.faults[0])

    def test_a_new_file_of_colours_needs_a_light(self, tmp_path: Path) -> None:
        files = with_colours(without("light", "observer"))
        del files["readings.csv"]
        studio = write(tmp_path / "studio", files)
        with pytest.raises(FolderError, match=r"instrument\.light: the key is missing.*and 1 more"):
            plan(studio, table("blue-1,none,,D50,2,,50,1,2"))


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.floats(0, 105), st.floats(-150, 150), st.floats(-150, 150)), min_size=1, max_size=5))
def test_property_what_goes_in_is_read_back(tmp_path: Path, colours: list[tuple[float, float, float]]) -> None:
    studio = write(tmp_path / "studio", colour_files())
    rows = [f"green-1,none,,D50,2,,{L:.6f},{a:.6f},{b:.6f}" for L, a, b in colours]
    write_import(plan(studio, table(*rows), add=True))
    read = [each.values for each in read_folder(studio).readings[14:]]
    assert np.array(read) == pytest.approx(np.array(colours), abs=6e-4)


class TestCommand:
    def run(self, *arguments: object) -> Result:
        return CliRunner().invoke(main, ["import", *map(str, arguments)])

    @pytest.fixture
    def silent(self, tmp_path: Path) -> Path:
        path = tmp_path / "meter.csv"
        path.write_text("name,L,a,b\nblue-1,44,-3,-31\n")
        return path

    def test_options_state_the_light(self, folder: Path, silent: Path) -> None:
        told = ("--backing", "none", "--light", "d50", "--observer", "2")
        done = self.run(folder, silent, *told)
        assert (done.exit_code, done.stderr) == (0, "")
        assert "The folder holds colours: L*, a*, b* for D50, 2° observer." in done.stdout
        assert "taken to hold for D50, 2° observer, as was said" in done.stdout
        assert (folder / "readings.csv").read_text().endswith("blue-1,none,,,,44.000,-3.000,-31.000\n")

    def test_without_them_it_is_one_line(self, folder: Path, silent: Path) -> None:
        done = self.run(folder, silent, "--backing", "none")
        assert done.exit_code == 2
        assert "no light is told for the colour of blue-1" in done.stderr
        assert done.stderr.count("\n") == 1

    def test_json(self, folder: Path, silent: Path) -> None:
        told = ("--backing", "none", "--light", "D50", "--observer", "2", "--dry-run", "--json")
        content = json.loads(self.run(folder, silent, *told).stdout)
        assert (content["kind"], content["light"], content["observer"]) == ("colours", "D50", 2)
        assert content["wavelengths"] is None
        assert content["measurements"][0]["values"] == [44.0, -3.0, -31.0]
