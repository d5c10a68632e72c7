"""Tables of instruments as text: CSV by rows, by wavelengths and side by side; CGATS.17 of one table or several."""

from __future__ import annotations

import numpy as np
import pytest
from instrument_files import GRID, SAMPLES, assert_samples, cgats, long, numbers, side_by_side, wide

from tint.errors import InputError
from tint.swatches.instruments import Given, Measurement, parse_measurements


def read(text: str, *, scale: str = "") -> tuple[Measurement, ...]:
    return parse_measurements(text.encode(), file="export", said=Given(scale=scale))


def told(text: str, *, scale: str = "") -> str:
    """The one line of the error."""
    with pytest.raises(InputError) as caught:
        read(text, scale=scale)
    line = str(caught.value)
    assert "\n" not in line
    return line


class TestCsv:
    @pytest.mark.parametrize(
        "text",
        [
            wide(),
            wide(separator=";", decimal=","),
            wide(separator="\t"),
            wide(column="{} nm"),
            wide(column="R{}"),
            wide(column="SPECTRAL_NM{}"),
            wide(column="nm{}"),
            wide(above="An export of 2026\n\noperator,nobody\n"),
            wide().replace("\n", "\r\n"),
            wide().replace("\n", ",,\n"),
            long(),
            long(value="value"),
            side_by_side(),
            wide({name: 100.0 * values for name, values in SAMPLES.items()}),
            long({name: 100.0 * values for name, values in SAMPLES.items()}, value="reflectance [%]"),
        ],
    )
    def test_spellings_of_one_table_read_alike(self, text: str) -> None:
        assert_samples(read(text))

    def test_reflectance_and_transmittance_may_stand_side_by_side(self) -> None:
        head, *rows = long({"lid-3": SAMPLES["lid-3"]}).splitlines()
        both = read("\n".join([f"{head},transmittance", *(f"{row},0.{at:03}" for at, row in enumerate(rows))]))
        assert [(each.name, each.quantity) for each in both] == [("lid-3", "reflectance"), ("lid-3", "transmittance")]
        assert both[1].values is not None
        assert both[1].values[30] == 0.03

    def test_utf_16_is_read_by_its_mark(self) -> None:
        assert_samples(parse_measurements(wide().encode("utf-16"), file="export"))

    def test_rows_of_wavelengths_may_stand_in_any_order(self) -> None:
        header, *rows = long().splitlines()
        assert_samples(
            read("\n".join([header, *sorted(rows, key=lambda r: (list(SAMPLES).index(r.split(",")[0]), r[::-1]))]))
        )

    def test_a_table_without_header_is_one_spectrum_by_wavelength(self) -> None:
        text = "".join(f"{nm:g};{value:.5f}\n" for nm, value in zip(GRID, SAMPLES["lid-3"], strict=True))
        (only,) = parse_measurements(text.encode(), file="scans/lid-3.txt")
        assert only.name == "lid-3"
        assert only.values is not None
        np.testing.assert_allclose(only.values, SAMPLES["lid-3"], atol=1e-9)

    def test_labels_are_taken_from_columns_and_from_above(self) -> None:
        text = wide(above="Geometry,45/0\nInstrument,the old one\n").replace("name,", "sample,backing,seat,quantity,")
        for name in SAMPLES:
            text = text.replace(f"{name},", f"{name},black,wet,transmittance,", 1)
        first = read(text)[0]
        assert (first.name, first.backing, first.seat, first.quantity) == (
            "white 0.5%",
            "black",
            "wet",
            "transmittance",
        )
        assert (first.geometry, first.specular, first.instrument) == ("45:0", "excluded", "the old one")
        assert first.where == "export, row 4"

    def test_lab_and_xyz_columns_are_read_beside_a_spectrum(self) -> None:
        head, *rows = wide().splitlines()
        text = "\n".join([f"L*,a*,b*,{head},X,Y,Z", *(f"50,1.5,-2,{row},20,21,22" for row in rows)])
        first = read(text)[0]
        assert first.lab is not None
        assert first.xyz is not None
        assert (first.lab.tolist(), first.xyz.tolist()) == ([50, 1.5, -2], [20, 21, 22])

    @pytest.mark.parametrize(
        ("text", "line"),
        [
            (wide().replace("0.5%,0", "0.5%,x0", 1), "export, row 2, column 400: 'x0.201040' is not a number"),
            (wide() + "short,0.5\n", "export, row 5: the row has 2 cells; expected 32 as in the header"),
            (wide() + '"open,0.5\n', "export, row 5: a quotation mark is out of place"),
            (wide(separator=";").replace("0.5", "0,5", 3), "mix decimal commas and points"),
            (wide(column="{}").split("\n")[0] + "\n", "export: 0 rows below the header"),
            (wide().replace(",410,", ",400,"), "export, row 1: 400 nm comes after 400 nm"),
            (long().replace("0.201040", "0;201040", 1), "export, row 2, column reflectance: '0;201040' is"),
            (long() + "lid-3,400,0.5\n", "400 nm comes after 400 nm; expected wavelengths that rise"),
            (long() + "one,500,0.5\n", "export, rows 95 to 95 (one): a spectrum of 1 wavelengths"),
            (
                long().replace("reflectance", "value,reflectance", 1).replace(",0.", ",0,0."),
                "several columns of values, value, reflectance; expected one, or one for reflectance",
            ),
            (long().replace(",410,", ",41,"), "a wavelength of 41 nm; expected 100 to 3000 nm"),
            (wide().replace("name,", "quantity,", 1), "the quantity 'white 0.5%'; expected reflectance or"),
            ("a,b\n1,2\n", "is no file of measurements that tint reads; it begins 'a,b'; expected CSV with"),
            ("\n \n", "export: the file is empty"),
        ],
    )  # fmt: skip
    def test_a_fault_is_one_line_that_names_the_place(self, text: str, line: str) -> None:
        assert line in told(text)


class TestScale:
    """Percent or fractions: said by the file or its highest value, refused when neither settles it."""

    def test_a_dark_sample_of_a_file_in_percent_is_in_percent_too(self) -> None:
        dark = {"trap": np.full(GRID.size, 0.4), "card": np.full(GRID.size, 88.0)}
        trap, card = read(wide(dark))
        assert trap.values is not None
        assert trap.values[0] == pytest.approx(0.004)
        assert trap.scale == card.scale == "percent"
        assert trap.notes[-1] == "taken as percent: the highest value of the file is 88"

    def test_one_spectrum_that_stands_out_settles_nothing(self) -> None:
        odd = {**SAMPLES, "slip": SAMPLES["lid-3"] + 80.0}
        assert "--set scale=percent or --set scale=fraction" in told(wide(odd))
        assert read(wide(odd), scale="fraction")[0].scale == "fraction"

    @pytest.mark.parametrize(("scale", "factor"), [("percent", 0.01), ("fraction", 1.0)])
    def test_the_user_has_the_last_word(self, scale: str, factor: float) -> None:
        first = read(wide(), scale=scale)[0]
        assert first.values is not None
        np.testing.assert_allclose(first.values, factor * SAMPLES["white 0.5%"], atol=1e-6)

    def test_an_unknown_scale_is_refused(self) -> None:
        assert told(wide(), scale="permille") == "scale: 'permille' is none; expected fraction or percent"


class TestCgats:
    @pytest.mark.parametrize(
        "text",
        [
            *(cgats(column=column) for column in ("SPECTRAL_NM", "SPECTRAL_", "SPEC_", "nm")),
            cgats().replace("CGATS.17", "IT8.7/2"),
            cgats().replace("CGATS.17", '"an export" of our own'),
            cgats().replace("\n", "\r\n"),
            cgats().replace("BEGIN_DATA\n", "BEGIN_DATA\n# a comment\n\n"),
            cgats().replace(" ", "\t").replace("white\t0.5%", "white 0.5%").replace("black\tcard", "black card"),
            cgats(keywords='KEYWORD "LOT"\nLOT "Y-117"\nINSTRUMENTATION "SCI, d/8"'),
            cgats({name: 100.0 * values for name, values in SAMPLES.items()}),
            cgats(dict(SAMPLES), wavelengths=GRID).replace("NUMBER_OF_SETS 3\n", ""),
        ],
    )
    def test_spellings_of_one_table_read_alike(self, text: str) -> None:
        assert_samples(read(text))

    def test_names_between_tabs_need_no_quotation_marks(self) -> None:
        text = cgats().replace(" ", "\t").replace('"white\t0.5%"', "white 0.5%").replace('"black\tcard"', "black card")
        assert_samples(read(text))

    def test_what_was_measured_is_told_by_keywords_and_fields(self) -> None:
        text = cgats(
            keywords='INSTRUMENTATION "d/8 SCE"\nMEASUREMENT_SOURCE "Illumination=D50 ObserverAngle=2 WhiteBase=Abs"',
            fields="SAMPLE_BACKING LAB_L LAB_A LAB_B XYZ_X XYZ_Y XYZ_Z",
            cells=["white 61.5 -2 3e1 20 21 22"] * 3,
        )
        first = read(text)[0]
        assert (first.geometry, first.specular, first.backing) == ("de:8", "excluded", "white")
        assert (first.light, first.observer, first.instrument) == ("D50", "2", "d/8 SCE")
        assert first.lab is not None
        assert first.xyz is not None
        assert (first.lab.tolist(), first.xyz.tolist()) == ([61.5, -2, 30], [20, 21, 22])
        assert first.where == "export, line 11"

    def test_tables_have_headers_of_their_own(self) -> None:
        one, two = cgats({"a": SAMPLES["lid-3"]}), cgats({"b": SAMPLES["lid-3"]}, keywords="NOTE here")
        read_both = read(one + two)
        assert [(each.name, each.geometry) for each in read_both] == [("a", "di:8"), ("b", "")]
        assert [each.place for each in read_both] == ["table 1, line 10", "table 2, line 21"]

    def test_a_table_without_colours_is_passed_over(self) -> None:
        plain = "BEGIN_DATA_FORMAT\nSAMPLE_ID CMYK_C\nEND_DATA_FORMAT\nBEGIN_DATA\n1 20\nEND_DATA\n"
        assert_samples(read(cgats() + plain))
        assert "no row has a colour; the fields are SAMPLE_ID, CMYK_C" in told("CGATS.17\n" + plain)

    @pytest.mark.parametrize(("field", "factor"), [("SPECTRAL_PCT", 100.0), ("SPECTRAL_DEC", 1.0)])
    def test_repeated_pairs_are_in_the_scale_of_their_field(self, field: str, factor: float) -> None:
        dark = 0.01 * SAMPLES["lid-3"]  # below 2 in percent, too: only the field tells
        pairs = " ".join(f"{nm:g} {factor * value:.8f}" for nm, value in zip(GRID, dark, strict=True))
        names = f"SPECTRAL_NM {field} " * GRID.size
        text = f"CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID {names}\nEND_DATA_FORMAT\nBEGIN_DATA\n7 {pairs}\nEND_DATA\n"
        (only,) = read(text)
        assert only.name == "7"
        assert only.values is not None
        np.testing.assert_allclose(only.values, dark, atol=1e-8)

    def test_lab_alone_is_a_measurement_without_spectrum(self) -> None:
        text = (
            "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\nBEGIN_DATA\n1 50 2 3\nEND_DATA"
        )
        (only,) = read(text)
        assert only.values is None
        assert only.lab is not None

    @pytest.mark.parametrize(
        ("old", "new", "line"),
        [
            ("NUMBER_OF_SETS 3", "NUMBER_OF_SETS 4", "line 13: the table has 3 rows; expected the NUMBER_OF_SETS, 4"),
            ("NUMBER_OF_SETS 3", "NUMBER_OF_SETS many", "NUMBER_OF_SETS is 'many'; expected a whole number"),
            ('"lid-3" ', '"lid-3" 0.5 ', "line 11: the row of 2 has 34 values; expected 33, one a field; put names"),
            ('"white 0.5%"', "white 0.5%", "line 10: the row of 1 has 34 values"),
            ('"lid-3"', '"lid-3', "line 11: a quotation mark is astray in"),
            ("\nEND_DATA\n", "\n", "line 13: the file ends within the data"),
            ("END_DATA_FORMAT", "", "line 9: BEGIN_DATA within the fields"),
            (
                numbers(SAMPLES["lid-3"])[:8],
                "0,7",
                "row 11, column SPECTRAL_NM400: '0,7' and '0.201040' (row 10) mix",
            ),
            (numbers(SAMPLES["lid-3"])[:8], "-", "line 11, column SPECTRAL_NM400: '-' is not a number"),
            (numbers(SAMPLES["lid-3"])[:8], "nan", "'nan' is not a finite number"),
            ("SPECTRAL_NM410", "SPECTRAL_NM400", "line 5: 400 nm comes after 400 nm"),
            ("SPECTRAL_NM400", "LAB_L", "line 5: LAB_L alone; expected LAB_L, LAB_A, LAB_B"),
            ("SPECTRAL_NM400", "SPECTRAL_NM", "SPECTRAL_NM is followed by SPECTRAL_NM410"),
        ],
    )
    def test_a_fault_is_one_line_that_names_the_place(self, old: str, new: str, line: str) -> None:
        assert old in cgats()
        assert line in told(cgats().replace(old, new, 1))
