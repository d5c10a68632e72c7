"""One reading by name from a table or an instrument's file: spectra in any scale, colours in their own light."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from colour_example import colour_files
from folder_example import write
from hypothesis import given, settings
from hypothesis import strategies as st
from instrument_files import GRID, SAMPLES, cgats, curve, cxf, long, seeds, side_by_side, tm27, wide
from numpy.typing import NDArray

from tint import colorimetry
from tint.errors import InputError
from tint.given import target_from_reading
from tint.shift import read_pairs
from tint.spectra import resample
from tint.swatches.one_reading import read_one

D65 = colorimetry.viewing(GRID)
PERCENT = {name: 100.0 * values for name, values in SAMPLES.items()}


def file(tmp_path: Path, text: str, name: str = "scan.txt") -> str:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return str(path)


def fault(where: str, told: dict[str, str] | None = None) -> str:
    with pytest.raises(InputError) as caught:
        read_one(where, onto=GRID, told=told)
    line = str(caught.value)
    assert "\n" not in line
    return line


class TestFormats:
    @pytest.mark.parametrize(
        "text",
        [
            wide(),
            wide(PERCENT),
            wide(separator=";", decimal=","),
            wide(separator="\t"),
            wide(column="R{}"),
            wide(above="An export\n\noperator,nobody\n"),
            long(),
            long(PERCENT, value="reflectance [%]"),
            side_by_side(),
            cgats(),
            cgats(PERCENT),
            cxf(),
            cxf(PERCENT),
        ],
    )
    def test_spellings_of_one_sample_read_alike(self, tmp_path: Path, text: str) -> None:
        where = file(tmp_path, text)
        for name, values in SAMPLES.items():
            assert read_one(f"{where}:{name}", onto=GRID).spectrum == pytest.approx(values, abs=1e-5)

    def test_the_only_one_need_not_be_named(self, tmp_path: Path) -> None:
        assert read_one(file(tmp_path, tm27()), onto=GRID).spectrum == pytest.approx(SAMPLES["white 0.5%"], abs=1e-6)
        assert "it holds 3 readings; name one, as in" in fault(file(tmp_path, cgats()))
        assert (
            "no reading is named `lid-4`; expected one of white 0.5%, lid-3, black card; did you mean lid-3?"
            in fault(file(tmp_path, cxf()) + ":lid-4")
        )

    def test_a_name_longer_than_any_file_has_is_told(self) -> None:
        assert "cannot be read (File name too long)" in fault(300 * "lid")

    def test_what_was_decided_is_told(self, tmp_path: Path) -> None:
        highest = max(values.max() for values in PERCENT.values())
        for of_fractions, of_percent in ((wide(), wide(PERCENT)), (cgats(), cgats(PERCENT))):
            assert read_one(file(tmp_path, of_fractions) + ":lid-3", onto=GRID).notes == ()
            notes = read_one(file(tmp_path, of_percent) + ":lid-3", onto=GRID).notes
            assert notes == (f"taken as percent: the highest value of the file is {highest:g}",)

    def test_replicates_are_averaged_and_brought_onto_the_grid(self, tmp_path: Path) -> None:
        fine = np.arange(360.0, 741.0, 5.0)
        one, other = curve(1, fine), curve(2, fine)
        text = cgats({"lid": one, "lid ": other}, wavelengths=fine)
        read = read_one(file(tmp_path, text), onto=GRID)
        assert read.spectrum == pytest.approx(resample(0.5 * (one + other), fine, onto=GRID), abs=2e-3)
        assert "from 5 to 10 nm" in read.notes[0]

    def test_backing_and_quantity_are_heeded(self, tmp_path: Path) -> None:
        text = wide({"a": curve(1), "b": curve(2), "c": curve(3)}, separator=";").replace(
            "name;", "name;Backing;quantity;"
        )
        for name, words in (("a", "Black;"), ("b", "White;"), ("c", "none;transmittance")):
            text = text.replace(f"{name};0", f"lid;{words};0", 1)
        where = file(tmp_path, text)
        for backing, seed in (("black", 1), ("white", 2)):
            read = read_one(where, onto=GRID, told={"backing": backing, "quantity": "reflectance"}).spectrum
            assert read == pytest.approx(curve(seed), abs=1e-6)
        assert "lid has backing Black and White and none; expected a reading with backing grey" in fault(
            where, {"backing": "grey"}
        )

    def test_a_dark_row_of_a_table_in_percent_is_percent_too(self, tmp_path: Path) -> None:
        where = file(tmp_path, wide({**PERCENT, "trap": np.full(GRID.size, 0.9)}))
        assert read_one(f"{where}:trap", onto=GRID).spectrum == pytest.approx(np.full(GRID.size, 0.009))

    def test_a_row_in_percent_among_fractions_is_refused(self, tmp_path: Path) -> None:
        where = file(tmp_path, wide({**SAMPLES, "odd": 100.0 * curve(1)}))
        assert "odd reaches" in fault(f"{where}:lid-3")
        where = file(tmp_path, cgats({**SAMPLES, "odd": 100.0 * curve(1)}))
        assert "odd reaches" in fault(f"{where}:odd")

    def test_noise_below_zero_is_none(self, tmp_path: Path) -> None:
        dark = np.full(GRID.size, -0.0015)
        for text in (wide({"trap": dark}), cgats({"trap": dark})):
            assert read_one(file(tmp_path, text), onto=GRID).spectrum == pytest.approx(np.zeros(GRID.size), abs=0.0)
        for text in (wide({"trap": dark * 2}), cgats({"trap": dark * 2})):
            assert "is not a reflectance; expected numbers from 0 to 1" in fault(file(tmp_path, text))

    @pytest.mark.parametrize(
        ("data", "words"),
        [
            (b"PK\x03\x04 and more", "this is no workbook, or a broken one"),
            (b"<html/>", "XML of the kind 'html'"),
            (b"BEGIN_DATA_FORMAT\nSAMPLE_ID\nEND_DATA_FORMAT\nBEGIN_DATA\nEND_DATA\n", "no row has a colour"),
            (b"name,400\nn\xe4me,0.5\n", "row 1: wavelengths name 1 of its columns; expected 5 or more"),
            (
                b"a,b\n1,2\n",
                "is no file of measurements",
            ),
        ],
    )
    def test_what_is_none(self, tmp_path: Path, data: bytes, words: str) -> None:
        path = tmp_path / "scan"
        path.write_bytes(data)
        assert words in fault(str(path))


class TestColours:
    TABLE = (
        "name,backing,light,observer,L,a,b\n"
        "lid,white,D65,10,60,10,-20\nlid,white,d65,10°,61,10,-22\nlid,black,D65,10,50,9,9\n"
    )

    def test_a_colour_is_read_with_its_light(self, tmp_path: Path) -> None:
        read = read_one(file(tmp_path, self.TABLE), onto=GRID, told={"backing": "white"})
        assert read.spectrum is None
        assert read.lab is not None
        assert (read.lab.tolist(), read.light, read.observer) == ([60.5, 10.0, -21.0], "D65", 10)
        assert read.seen(D65).tolist() == [60.5, 10.0, -21.0]

    def test_it_becomes_a_target_in_its_own_light_only(self, tmp_path: Path) -> None:
        where = file(tmp_path, self.TABLE)
        target = target_from_reading(where, D65, wavelengths=GRID, over="white", seat="air")
        assert target.spectrum is None
        assert target.lab == pytest.approx([60.5, 10.0, -21.0])
        with pytest.raises(InputError) as caught:
            target_from_reading(where, colorimetry.viewing(GRID, light="A"), wavelengths=GRID, over="white")
        assert str(caught.value) == (
            f"{where}: its L*, a*, b* hold for D65, 10° observer, and it has no spectrum; expected A, 10° observer; "
            "ask for that light and observer, or read a spectrum"
        )

    def test_it_tells_no_spectrum(self, tmp_path: Path) -> None:
        read = read_one(file(tmp_path, self.TABLE), onto=GRID)
        assert (read.spectrum, read.light, read.observer) == (None, "D65", 10)

    def test_an_untold_light_or_two_lights_are_refused(self, tmp_path: Path) -> None:
        assert "no light is told for the colour of lid" in fault(file(tmp_path, "name,L,a,b\nlid,1,2,3\n"))
        two = self.TABLE.replace("d65", "A")
        assert "its colours hold for D65, 10° observer and A, 10° observer; expected one" in fault(file(tmp_path, two))

    def test_a_cell_that_is_no_number_matters_only_in_its_row(self, tmp_path: Path) -> None:
        where = file(tmp_path, self.TABLE.replace("50,9,9", "50,x,9"))
        assert read_one(where, onto=GRID, told={"backing": "white"}).lab is not None
        assert "row 4, column a: 'x' is not a number" in fault(where, {"backing": "black"})

    def test_the_readings_of_a_folder_hold_for_its_light(self, tmp_path: Path) -> None:
        folder = write(tmp_path / "studio", colour_files())
        read = read_one(f"{folder / 'readings.csv'}:yellow-1", onto=GRID, told={"backing": "white"})
        assert (read.light, read.observer) == ("D50", 2)
        (folder / "palette.toml").write_text("nonsense")
        assert "no light is told" in fault(f"{folder / 'readings.csv'}:yellow-1")

    def test_other_formats_of_colours(self, tmp_path: Path) -> None:
        text = (
            'CGATS.17\nMEASUREMENT_SOURCE "Illumination=D65 ObserverAngle=10"\nBEGIN_DATA_FORMAT\n'
            "SAMPLE_NAME LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\nBEGIN_DATA\nlid 60 1 2\nEND_DATA\n"
        )
        cells = ";".join(f"{value:.4f}" for value in colorimetry.lab_to_xyz([60.0, 1.0, 2.0], D65.white))
        for each in (
            text,
            "name;L*;a*;b*;light;observer\nlid;60;1;2;D65;10\n",
            f"name;light;observer;X;Y;Z\nlid;D65;10;{cells}\n",
        ):
            assert read_one(file(tmp_path, each), onto=GRID).seen(D65) == pytest.approx([60.0, 1.0, 2.0], abs=1e-3)

    def test_pairs_may_be_colours(self, tmp_path: Path) -> None:
        rows = [
            f"lid-{at},{state},D65,10,{50 + at + drift},1,2"
            for at in range(3)
            for state, drift in (("early", 0), ("cured", 3))
        ]
        where = file(tmp_path, "\n".join(["casting,state,light,observer,L,a,b", *rows]))
        early, cured = read_pairs(where, D65, wavelengths=GRID)
        assert (cured - early).tolist() == [[3.0, 0.0, 0.0]] * 3


@settings(deadline=None)
@given(st.sampled_from(sorted(seeds())), st.data())
def test_property_a_broken_file_is_read_or_refused_in_one_line(name: str, data: st.DataObject) -> None:
    whole = seeds()[name]
    at = data.draw(st.integers(0, len(whole) - 1))
    broken = whole[:at] + data.draw(st.binary(max_size=4)) + whole[at + data.draw(st.integers(0, 40)) :]
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "scan"
        path.write_bytes(broken)
        found = _read_or_refused(path)
    assert isinstance(found, str) or np.isfinite(found).all()
    assert not isinstance(found, str) or "\n" not in found


def _read_or_refused(path: Path) -> NDArray[np.float64] | str:
    try:
        read = read_one(str(path), onto=np.arange(400.0, 701.0, 20.0))
    except InputError as error:
        return str(error)
    found = read.spectrum if read.spectrum is not None else read.lab
    assert found is not None
    return found
