"""Small files as instruments write them, composed from the field names of the formats; every number is invented."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.swatches.instruments import Measurement

Array = NDArray[np.float64]

CXF = "http://colorexchangeformat.com/CxF3-core"
GRID = np.arange(400.0, 701.0, 10.0)


def curve(seed: float, wavelengths: ArrayLike = GRID) -> Array:
    """A smooth reflectance, different for each seed, to five decimals."""
    x = (np.asarray(wavelengths, dtype=float) - 550.0) / 150.0
    return np.round(0.4 + 0.25 * np.sin(2.0 * x + seed) + 0.1 * np.cos(5.0 * x * (1.0 + 0.1 * seed)), 5)


SAMPLES: Mapping[str, Array] = {"white 0.5%": curve(0.0), "lid-3": curve(1.0), "black card": curve(2.0) / 10.0}


def numbers(values: Sequence[float] | Array, *, by: str = " ", decimals: int = 6) -> str:
    """Values in a row."""
    return by.join(f"{value:.{decimals}f}" for value in values)


def cgats(
    samples: Mapping[str, Array] = SAMPLES,
    *,
    wavelengths: Array = GRID,
    column: str = "SPECTRAL_NM",
    keywords: str = 'INSTRUMENTATION "d/8 SCI spectrophotometer"',
    fields: str = "",
    cells: Sequence[str] = (),
) -> str:
    """CGATS.17 text; further fields and a row's cells stand before the spectrum."""
    names = f"SAMPLE_ID SAMPLE_NAME{' ' * bool(fields)}{fields} " + " ".join(f"{column}{nm:g}" for nm in wavelengths)
    rows = [
        f'{at} "{name}" {cells[at - 1] + " " if cells else ""}{numbers(values)}'
        for at, (name, values) in enumerate(samples.items(), start=1)
    ]
    return "\n".join(
        [
            "CGATS.17",
            'ORIGINATOR "nobody"',
            keywords,
            f"NUMBER_OF_FIELDS {len(names.split())}",
            "BEGIN_DATA_FORMAT",
            names,
            "END_DATA_FORMAT",
            f"NUMBER_OF_SETS {len(rows)}",
            "BEGIN_DATA",
            *rows,
            "END_DATA",
            "",
        ]
    )


def cxf(
    samples: Mapping[str, Array] = SAMPLES,
    *,
    start: str = "400",
    increment: str | None = "10",
    own_start: str = "",
    prefix: str = "cc:",
    kind: str = "ReflectanceSpectrum",
    geometry: str = "<SphereGeometry>Specular_Included</SphereGeometry>",
    extra: str = "",
) -> str:
    """A CxF3 document; elements are written without prefix here and get one."""
    own = f' StartWL="{own_start}"' if own_start else ""
    step = f' Increment="{increment}"' if increment is not None else ""
    objects = "".join(
        f'<Object ObjectType="Target" Name="{name}" Id="{at}"><CreationDate>2026-01-15T00:00:00Z</CreationDate>'
        f'<ColorValues><{kind}{own} ColorSpecification="CS1">{numbers(values)}</{kind}>{extra}</ColorValues></Object>'
        for at, (name, values) in enumerate(samples.items(), start=1)
    )
    body = (
        "<CxF><FileInformation><Creator>nobody</Creator></FileInformation><Resources>"
        f"<ObjectCollection>{objects}</ObjectCollection><ColorSpecificationCollection>"
        '<ColorSpecification Id="CS1"><TristimulusSpec><Illuminant>D65</Illuminant><Observer>10_Degree</Observer>'
        "<Method>E308_Table5</Method></TristimulusSpec><MeasurementSpec>"
        "<MeasurementType>Spectrum_Reflectance</MeasurementType>"
        f"<GeometryChoice>{geometry}</GeometryChoice>"
        f'<WavelengthRange StartWL="{start}"{step}/></MeasurementSpec></ColorSpecification>'
        "</ColorSpecificationCollection></Resources></CxF>"
    )
    body = body.replace("</", "\0").replace("<", f"<{prefix}").replace("\0", f"</{prefix}")
    name = f"xmlns:{prefix[:-1]}" if prefix else "xmlns"
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + body.replace("CxF>", f'CxF {name}="{CXF}">', 1) + "\n"


def tm27(
    values: Array | None = None,
    *,
    wavelengths: Array = GRID,
    quantity: str = "R-Factor",
    geometry: str = "<ReflectionGeometry>di:8</ReflectionGeometry>",
    namespace: str = "iestm2714",
    name: str = "white 0.5 % silicone",
) -> str:
    """An IES TM-27-14 document of one distribution."""
    values = SAMPLES["white 0.5%"] if values is None else values
    data = "\n".join(
        f'    <SpectralData wavelength="{nm:.1f}">{value:.6f}</SpectralData>'
        for nm, value in zip(wavelengths, values, strict=True)
    )
    return (
        f'<?xml version="1.0"?>\n<IESTM2714 xmlns="{namespace}" version="1.0">\n'
        f"  <Header><Description>{name}</Description><DocumentCreator>nobody</DocumentCreator>"
        "<DocumentCreationDate>2026-01-15</DocumentCreationDate></Header>\n"
        f"  <SpectralDistribution>\n    <SpectralQuantity>{quantity}</SpectralQuantity>{geometry}"
        f"<BandwidthFWHM>10.0</BandwidthFWHM>\n{data}\n  </SpectralDistribution>\n</IESTM2714>\n"
    )


def wide(
    samples: Mapping[str, Array] = SAMPLES,
    *,
    wavelengths: Array = GRID,
    separator: str = ",",
    decimal: str = ".",
    column: str = "{}",
    above: str = "",
) -> str:
    """CSV with a row for each sample."""
    header = separator.join(["name", *(column.format(f"{nm:g}") for nm in wavelengths)])
    rows = [f"{name}{separator}{numbers(each, by=separator)}".replace(".", ".") for name, each in samples.items()]
    if decimal == ",":
        rows = [separator.join([row.split(separator)[0], *(c.replace(".", ",") for c in row.split(separator)[1:])])
                for row in rows]  # fmt: skip
    return above + "\n".join([header, *rows]) + "\n"


def long(samples: Mapping[str, Array] = SAMPLES, *, wavelengths: Array = GRID, value: str = "reflectance") -> str:
    """CSV with a row for each sample and wavelength."""
    rows = [
        f"{name},{nm:g},{each:.6f}"
        for name, values in samples.items()
        for nm, each in zip(wavelengths, values, strict=True)
    ]
    return "\n".join([f"name,wavelength,{value}", *rows]) + "\n"


def side_by_side(samples: Mapping[str, Array] = SAMPLES, *, wavelengths: Array = GRID) -> str:
    """CSV with a column for each sample."""
    rows = [
        f"{nm:g}," + numbers(each, by=",")
        for nm, each in zip(wavelengths, np.array([*samples.values()]).T, strict=True)
    ]
    return "\n".join(["wavelength [nm]," + ",".join(samples), *rows]) + "\n"


def seeds() -> dict[str, bytes]:
    """A small good file of every format and spelling, to be broken."""
    few = np.arange(400.0, 701.0, 20.0)
    small = {name: curve(at, few) for at, name in enumerate(("white 0.5%", "lid-3", "foot"))}
    lab = "<ColorCIELab ColorSpecification='CS1'><L>50</L><A>1</A><B>-2</B></ColorCIELab>"
    pairs = "SPECTRAL_NM SPECTRAL_PCT " * few.size
    row = " ".join(f"{nm:g} {100 * value:.2f}" for nm, value in zip(few, small["foot"], strict=True))
    older = (
        f'CGATS.17\n# older style\nKEYWORD "LOT"\nLOT "7"\nBEGIN_DATA_FORMAT\nSAMPLE_ID {pairs}\nEND_DATA_FORMAT\n'
        f"BEGIN_DATA\nfoot {row}\nEND_DATA\n"
    )
    table = cgats(small, wavelengths=few, fields="LAB_L LAB_A LAB_B", cells=["50 1 2"] * 3)
    texts = {
        "cgats": table,
        "cgats, two tables": table + table.replace("CGATS.17\n", ""),
        "cgats, pairs": older,
        "cxf": cxf(small, increment="20", extra=lab),
        "cxf, no prefix": cxf(small, increment="20", prefix="", own_start="400"),
        "tm27": tm27(small["foot"], wavelengths=few),
        "tm27, other namespace": tm27(small["foot"], wavelengths=few, namespace="http://www.ies.org/iestm2714"),
        "jcamp-dx": (
            "##TITLE=foot\n##JCAMP-DX=4.24\n##XUNITS=NANOMETERS\n##YUNITS=REFLECTANCE\n##FIRSTX=400\n##LASTX=700\n"
            f"##NPOINTS={few.size}\n##XYDATA=(X++(Y..Y))\n400 {numbers(small['foot'])}\n##END=\n"
        ),
        "csv wide": wide(small, wavelengths=few, above="an export\ngeometry,di:8\n\n"),
        "csv wide, decimal commas": wide(small, wavelengths=few, separator=";", decimal=",", column="{} nm"),
        "csv long": long(small, wavelengths=few),
        "csv colours": (
            "name,backing,seat,light,observer,source,L,a,b\n"
            "lid-3,black,air,D65,10,photograph,62.5,-3.25,11\nwhite,,,D65,10,,94.4,-0.3,1.6\n"
        ),
        "csv side by side": side_by_side(small, wavelengths=few),
        "csv without header": "".join(f"{nm:g}\t{v:.4f}\n" for nm, v in zip(few, small["foot"], strict=True)),
    }
    return {name: text.encode() for name, text in texts.items()}


def assert_samples(measurements: tuple[Measurement, ...]) -> None:
    """All samples were read, in their order, on their grid."""
    assert [each.name for each in measurements] == list(SAMPLES)
    for each in measurements:
        assert each.wavelengths is not None
        assert each.values is not None
        np.testing.assert_array_equal(each.wavelengths, GRID)
        np.testing.assert_allclose(each.values, SAMPLES[each.name], rtol=0, atol=1e-6)
