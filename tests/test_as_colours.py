"""Colours in files of instruments: how these name them, in whose light they hold, and what a spectrum becomes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tint import colorimetry
from tint.errors import InputError
from tint.swatches.instruments import Measurement, parse_measurements
from tint.swatches.instruments.measurement import as_colour, told_view
from tint.swatches.values import luminance

GRID = np.arange(400.0, 701.0, 10.0)
HEADER = "name,backing,seat,light,observer,source,L,a,b"


def table(*rows: str, header: str = HEADER) -> tuple[Measurement, ...]:
    return parse_measurements("\n".join([header, *rows, ""]).encode(), file="spots.csv")


class TestReaders:
    def test_a_plain_table_of_colours_is_read(self) -> None:
        one, other = table("lid-1,black,wet,D50,2,photograph,50.25,-1.5,3", "lid-2,none,,D65,10°,,60,1,2")
        assert (one.name, one.backing, one.seat, one.light, one.observer) == ("lid-1", "black", "wet", "D50", "2")
        assert (one.source, other.source, other.observer) == ("photograph", "", "10")
        assert one.lab is not None
        assert one.lab.tolist() == [50.25, -1.5, 3.0]
        assert one.values is None
        assert one.wavelengths is None
        assert one.where == "spots.csv, row 2"

    @pytest.mark.parametrize(
        "header", ["L*,a*,b*,sample", "CIELAB L;CIELAB a;CIELAB b;name", "Lab_L\tLab_a\tLab_b\tid", "X,Y,Z,name"]
    )
    def test_spellings_of_the_columns(self, header: str) -> None:
        separator = next(each for each in ";\t," if each in header)
        (only,) = table(separator.join(["50", "1", "2", "lid"]), header=header)
        found = only.xyz if header.startswith("X") else only.lab
        assert found is not None
        assert (only.name, found.tolist()) == ("lid", [50.0, 1.0, 2.0])

    def test_decimal_commas_and_facts_above_the_table(self) -> None:
        text = "export;\nIlluminant;D50\nObserver;2°\n\nname;L;a;b\nlid;50,5;1,25;-2\n"
        (only,) = parse_measurements(text.encode(), file="x.csv")
        assert (only.light, only.observer) == ("D50", "2")
        assert only.lab is not None
        assert only.lab.tolist() == [50.5, 1.25, -2.0]

    def test_a_cell_that_is_no_number_is_told(self) -> None:
        with pytest.raises(InputError, match=r"spots\.csv, row 2, column b: 'x' is not a number"):
            table("lid,,,D50,2,,50,1,x")

    def test_a_source_that_is_no_photograph_means_nothing(self) -> None:
        assert [each.source for each in table("a,,,,,Photograph,1,2,3", "a,,,,,lamp,1,2,3")] == ["photograph", ""]


class TestLight:
    @pytest.mark.parametrize(
        ("light", "observer", "found"),
        [
            ("D65", "10", ("D65", 10)),
            ("d50", "2 degrees", ("D50", 2)),
            ("F11", "10°", ("FL11", 10)),
            ("D65/10°", "", ("D65", 10)),
            ("LED-B3", "02", ("LED-B3", 2)),
        ],
    )
    def test_words_of_files(self, light: str, observer: str, found: tuple[str, int]) -> None:
        measurement = Measurement(name="lid", lab=np.zeros(3), light=light, observer=observer)
        assert told_view(measurement) == found
        assert told_view(measurement) == found  # what the file says stands above

    @pytest.mark.parametrize(
        ("light", "observer", "words"),
        [
            ("D51", "10", "the light 'D51' is not known; expected D65, D50"),
            ("D65", "4", "the observer '4' is not known; expected 2 or 10 (degrees)"),
            ("D65", "20", "the observer '20' is not known"),
            ("", "10", "no light is told for the colour of lid; expected the light that it holds for; tell it in the"),
            ("D65", "", "no observer is told for the colour of lid"),
        ],
    )
    def test_what_is_not_told_or_not_known(self, light: str, observer: str, words: str) -> None:
        measurement = Measurement(name="lid", lab=np.zeros(3), light=light, observer=observer, file="x.csv")
        with pytest.raises(InputError) as caught:
            told_view(measurement)
        assert words in str(caught.value)
        assert str(caught.value).startswith("x.csv: ")


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0.0, 1.0), min_size=31, max_size=31), st.sampled_from(("D50", "A", "FL11")))
def test_property_lab_xyz_and_spectrum_of_one_sample_are_one_colour(values: list[float], light: str) -> None:
    view = colorimetry.viewing(GRID, light=light, observer=10)
    spectrum = np.array(values)
    told = {"light": light, "observer": "10"}
    made = [
        Measurement(name="a", wavelengths=GRID, values=spectrum),
        Measurement(name="a", lab=colorimetry.lab(spectrum, view), **told),  # type: ignore[arg-type]
        Measurement(name="a", xyz=colorimetry.xyz(spectrum, view), **told),  # type: ignore[arg-type]
    ]
    read = [as_colour(each, view) for each in made]
    assert np.ptp([lab for lab, _ in read], axis=0) == pytest.approx(np.zeros(3), abs=1e-9)
    assert [len(notes) for _, notes in read] == [1, 0, 1]


@given(st.floats(-2.0, 105.0))
def test_reference_luminance_factor_of_lightness(lightness: float) -> None:
    # CIE 15:2018: the inverse of the lightness function, written out.
    ratio = ((lightness + 16) / 116) ** 3 if lightness > 8 else lightness * 27 / 24389
    assert luminance(np.array([lightness, 3.0, -4.0])) == pytest.approx(ratio, rel=1e-9, abs=1e-12)
