"""CxF3, CxF/X-4 and IES TM-27-14: what elements mean, what is refused, and that XML from strangers does no harm."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from instrument_files import GRID, SAMPLES, assert_samples, curve, cxf, tm27
from tables import column, rows_of

from tint import colorimetry
from tint.errors import InputError
from tint.swatches.instruments import Measurement, parse_measurements, read_measurements


def read(text: str) -> tuple[Measurement, ...]:
    return parse_measurements(text.encode(), file="export")


def told(text: str | bytes) -> str:
    with pytest.raises(InputError) as caught:
        parse_measurements(text if isinstance(text, bytes) else text.encode(), file="export")
    line = str(caught.value)
    assert "\n" not in line
    return line


class TestCxf:
    @pytest.mark.parametrize(
        "text",
        [
            cxf(),
            cxf(prefix=""),
            cxf(prefix="x:"),
            cxf(own_start="400"),
            cxf().replace(' xmlns:cc="http://colorexchangeformat.com/CxF3-core"', "").replace("cc:", ""),
            cxf({name: 100.0 * values for name, values in SAMPLES.items()}),
            cxf().replace("><", ">\n  <"),
        ],
    )
    def test_spellings_of_one_document_read_alike(self, text: str) -> None:
        assert_samples(read(text))

    def test_utf_16_is_read(self) -> None:
        assert_samples(parse_measurements(cxf().replace("UTF-8", "UTF-16").encode("utf-16"), file="export"))

    def test_the_increment_is_that_of_the_specification(self) -> None:
        other = cxf(start="380", increment="5").replace("CS1", "CS2")
        begin, end = "<cc:ColorSpecification ", "</cc:ColorSpecification>"
        further = other[other.index(begin) : other.index(end) + len(end)]
        text = cxf().replace(end, end + further, 1).replace('ColorSpecification="CS1"', 'ColorSpecification="CS2"', 1)
        first, second, _ = read(text)
        assert first.wavelengths is not None
        assert second.wavelengths is not None
        assert (first.wavelengths[0], first.wavelengths[1], second.wavelengths[1]) == (380.0, 385.0, 410.0)

    def test_a_spectrum_begins_at_its_own_word_and_that_is_said(self) -> None:
        first = read(cxf(start="380", own_start="400"))[0]
        assert first.wavelengths is not None
        assert first.wavelengths[0] == 400.0
        assert any("begins at 400 nm by its own word" in note for note in first.notes)

    @pytest.mark.parametrize(
        ("inside", "geometry"),
        [
            ("<SphereGeometry>Specular_Included</SphereGeometry>", "di:8"),
            ("<SphereGeometry>Specular_Excluded</SphereGeometry>", "de:8"),
            (
                "<SingleAngle><SingleAngleConfiguration>Annular</SingleAngleConfiguration>"
                "<IlluminationAngle>45</IlluminationAngle><MeasurementAngle>0.0</MeasurementAngle></SingleAngle>",
                "45:0",
            ),
            ("<SingleAngle><IlluminationAngle>20</IlluminationAngle></SingleAngle>", "20:"),
            ("", ""),
        ],
    )
    def test_geometries(self, inside: str, geometry: str) -> None:
        assert read(cxf(geometry=inside))[0].geometry == geometry

    def test_transmittance_is_known_from_its_element(self) -> None:
        assert {each.quantity for each in read(cxf(kind="TransmittanceSpectrum"))} == {"transmittance"}

    def test_two_spectra_of_an_object_are_two_measurements(self) -> None:
        extra = '<TransmittanceSpectrum ColorSpecification="CS1">' + "0.1 " * GRID.size + "</TransmittanceSpectrum>"
        both = read(cxf({"lid": SAMPLES["lid-3"]}, extra=extra))
        assert [each.quantity for each in both] == ["reflectance", "transmittance"]
        assert both[0].where == "export, object 1 (lid), specification CS1"

    def test_lab_computed_from_the_spectrum_is_the_lab_computed_directly(self) -> None:
        view = colorimetry.viewing(GRID, light="D65", observer=10)
        lab = colorimetry.lab(SAMPLES["lid-3"], view)
        cells = "".join(f"<{name}>{value:.8f}</{name}>" for name, value in zip("LAB", lab, strict=True))
        extra = f'<ColorCIELab ColorSpecification="CS1">{cells}</ColorCIELab>'
        (only,) = read(cxf({"lid": SAMPLES["lid-3"]}, extra=extra))
        assert only.values is not None
        assert only.lab is not None
        assert (only.light, only.observer) == ("D65", "10")
        own = colorimetry.viewing(only.wavelengths, light=only.light, observer=int(only.observer))  # type: ignore[arg-type]
        np.testing.assert_allclose(colorimetry.lab(only.values, own), lab, atol=1e-9)
        np.testing.assert_allclose(only.lab, lab, atol=1e-7)

    def test_a_grid_read_wrongly_would_show(self) -> None:
        """Numbers from 380 nm taken as if from 400 nm are another colour altogether."""
        right, wrong = read(cxf(start="380"))[1], read(cxf(start="400"))[1]
        labs = [colorimetry.lab(each.values, colorimetry.viewing(each.wavelengths)) for each in (right, wrong)]  # type: ignore[arg-type]
        assert colorimetry.difference(*labs) > 3.0

    def test_published_patches_of_a_public_file_have_the_colours_that_its_instrument_told(self) -> None:
        """Written as CxF3 and read back; its instrument weighs by table 5 of ASTM E308, tint by its own weights."""
        grid = np.arange(380.0, 681.0, 10.0)
        spectra = column("printed_patches", *(f"{nm:g}" for nm in grid))
        names = [row["patch"] for row in rows_of("printed_patches")]
        patches = read(cxf(dict(zip(names, spectra, strict=True)), start="380"))
        assert [each.name for each in patches] == names
        assert len(patches) == 25
        np.testing.assert_array_equal(patches[0].wavelengths, grid)
        view = colorimetry.viewing(grid, light="D50", observer=2)
        own = colorimetry.lab(np.array([each.values for each in patches]), view)
        away = colorimetry.difference(own, column("printed_patches", "L", "a", "b"))
        assert float(away[:8].max()) < 0.15
        assert float(away.max()) < 0.16  # a patch all but black, where the last digit of a reflectance counts
        assert float(away.mean()) < 0.06

    @pytest.mark.parametrize(
        ("text", "line"),
        [
            (cxf(increment=None), "object 1 (white 0.5%): neither it nor its ColorSpecification tells Increment"),
            (cxf(increment="0"), "object 1 (white 0.5%): 400 nm comes after 400 nm"),
            (cxf(increment="1e5"), "expected 100 to 3000 nm"),
            (cxf(increment="wide"), "ColorSpecification CS1, Increment: 'wide' is no number"),
            (cxf().replace('Id="CS1"', 'Id="CS2"'), "there is no ColorSpecification CS1; expected one of CS2; did you"),
            (cxf().replace(' ColorSpecification="CS1"', "", 1), "'ReflectanceSpectrum' has no ColorSpecification"),
            (cxf(kind="EmissiveSpectrum"), "export: no Object in it has a colour"),
            (cxf()[:-30], ": is not XML"),
            ("<svg/>", "export: XML of the kind 'svg'; expected CxF (version 3) or IESTM2714"),
        ],
    )
    def test_a_fault_is_one_line_that_names_the_place(self, text: str, line: str) -> None:
        assert line in told(text)

    def test_a_value_that_is_no_number_is_told_by_its_place(self) -> None:
        good = f"{SAMPLES['lid-3'][0]:.6f}"
        assert "object 2 (lid-3), value 1: '0,5' is no number" in told(cxf().replace(good, "0,5", 1))


class TestTm27:
    @pytest.mark.parametrize("namespace", ["iestm2714", "http://www.ies.org/iestm2714"])
    def test_both_namespaces_are_read(self, namespace: str) -> None:
        (only,) = read(tm27(namespace=namespace))
        assert (only.name, only.quantity, only.geometry) == ("white 0.5 % silicone", "reflectance", "di:8")
        assert only.values is not None
        np.testing.assert_allclose(only.values, SAMPLES["white 0.5%"], atol=1e-6)

    @pytest.mark.parametrize("namespace", ["iestm2714", "http://www.ies.org/iestm2714"])
    def test_reference_the_reader_of_colour_science_agrees(self, namespace: str, tmp_path: Path) -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import colour

            path = tmp_path / "lid.spdx"
            path.write_text(tm27(curve(3.0), namespace=namespace), encoding="utf-8")
            judge = colour.SpectralDistribution_IESTM2714(str(path)).read()
        (only,) = read_measurements(path)
        np.testing.assert_array_equal(only.wavelengths, judge.wavelengths)
        np.testing.assert_array_equal(only.values, judge.values)
        assert only.name == judge.header.description
        assert only.geometry == judge.reflection_geometry

    def test_reference_what_colour_science_writes_is_read(self, tmp_path: Path) -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import colour

            path = tmp_path / "lid.spdx"
            made = colour.SpectralDistribution_IESTM2714(data=dict(zip(GRID, curve(4.0), strict=True)))
            made.path = str(path)
            made.spectral_quantity, made.transmission_geometry = "transmittance", "di:0"
            made.header.description = "lid"
            made.header.document_creator = "nobody"
            made.header.document_creation_date = "2026-01-15"
            made.write()
        (only,) = read_measurements(path)
        assert (only.name, only.quantity, only.geometry) == ("lid", "transmittance", "di:0")
        np.testing.assert_array_equal(only.values, curve(4.0))

    @pytest.mark.parametrize(
        ("told_geometry", "geometry"),
        [("8:de", "de:8"), ("45a:0", "45:0"), ("0:45x", "45:0"), ("d:d", "d:d"), ("other", "other")],
    )
    def test_geometry_words(self, told_geometry: str, geometry: str) -> None:
        (only,) = read(tm27(geometry=f"<ReflectionGeometry>{told_geometry}</ReflectionGeometry>"))
        assert only.geometry == geometry

    @pytest.mark.parametrize(
        ("text", "line"),
        [
            (tm27(quantity="flux"), "distribution 1: SpectralQuantity 'flux'; expected reflectance, transmittance"),
            (tm27().replace('wavelength="410.0"', 'wavelength="400.0"'), "400 nm comes after 400 nm"),
            (tm27().replace('wavelength="410.0"', ""), "'SpectralData' has no wavelength"),
            (tm27().replace(">0.4", ">x0.4", 1), "is no number that a measurement can be"),
            (tm27().replace("SpectralDistribution", "Distribution"), "it holds no SpectralDistribution"),
        ],
    )
    def test_a_fault_is_one_line_that_names_the_place(self, text: str, line: str) -> None:
        assert line in told(text)


class TestStrangers:
    """XML that is meant to harm is refused before it can."""

    def bomb(self) -> str:
        levels = "".join(f'<!ENTITY a{at} "{f"&a{at - 1};" * 10}">' for at in range(1, 12))
        return f'<?xml version="1.0"?><!DOCTYPE CxF [<!ENTITY a0 "lol">{levels}]><CxF>&a11;</CxF>'

    @pytest.mark.parametrize(
        "document",
        [
            '<!DOCTYPE CxF [<!ENTITY x SYSTEM "file:///etc/hostname">]><CxF>&x;</CxF>',
            '<!DOCTYPE CxF SYSTEM "http://192.0.2.1/none.dtd"><CxF/>',
            '<!DOCTYPE CxF [<!ENTITY % x SYSTEM "http://192.0.2.1/x"> %x;]><CxF/>',
        ],
    )
    def test_nothing_is_fetched(self, document: str) -> None:
        assert "document type or entities" in told(document)

    def test_entities_are_not_expanded(self) -> None:
        assert "document type or entities" in told(self.bomb())

    @pytest.mark.parametrize(
        "document",
        [
            lambda: "<CxF>" + "<a>" * 100_000,
            lambda: "<CxF>" + "<a/>" * 500_000,
            lambda: "<CxF " + " ".join(f'a{n}=""' for n in range(9999)) + "/>",
        ],
        ids=["elements in elements", "elements", "attributes"],
    )
    def test_what_is_deep_or_endless_is_refused(self, document: Callable[[], str]) -> None:
        assert "the XML is too large" in told(document())

    @pytest.mark.parametrize(
        ("data", "line"),
        [
            (
                b"PK\x03\x04 and so on",
                "this is no workbook, or a broken one; save it again, or export",
            ),
            (b"\x00\x01\x02", "the file holds zero bytes"),
            (b"a,b\nfa\xe7ade,2\n", "is no file of measurements that tint reads"),
            (b"1,2\n" + b"x" * 300_000, "export, row 2: a line of 300000 characters"),
            (b'<?xml version="1.0" encoding="nonsense"?><CxF/>', "cannot be decoded"),
        ],
    )
    def test_what_no_instrument_writes_is_refused(self, data: bytes, line: str) -> None:
        assert line in told(data)

    def test_what_is_too_large_is_refused(self) -> None:
        assert "the file is too large; expected at most 100 MB" in told(b"x" * (101 * 2**20))
        assert "8000001 lines; expected at most 8000000" in told(b"\n" * 8_000_001 + b"x")

    def test_a_file_that_is_not_there_is_told(self, tmp_path: Path) -> None:
        with pytest.raises(InputError, match="cannot be read"):
            read_measurements(tmp_path / "none.csv")
        with pytest.raises(InputError, match="cannot be read"):
            read_measurements(tmp_path)
