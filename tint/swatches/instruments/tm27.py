"""ANSI/IES TM-27-14 (.spdx): one or more spectral distributions in XML.

References
----------
ANSI/IES TM-27-14, Standard Format for the Electronic Transfer of Spectral Data. The standard itself was not at hand:
the elements are those that colour-science's reader and writer know. The namespace is met in two spellings, so elements
are found by local name.
"""

from __future__ import annotations

from pathlib import PurePath
from xml.etree.ElementTree import Element

import numpy as np

from tint.errors import InputError
from tint.swatches.gather import quoted
from tint.swatches.instruments.measurement import Measurement, check_count, checked_wavelengths, needed_number
from tint.swatches.instruments.words import SPECULAR, geometry_in
from tint.swatches.instruments.xml_tree import every, first, needed_attribute, text_of

ROOT = "IESTM2714"
_QUANTITIES = {
    "reflectance": "reflectance",
    "r-factor": "reflectance",
    "transmittance": "transmittance",
    "t-factor": "transmittance",
}
_GEOMETRIES = {"reflectance": "ReflectionGeometry", "transmittance": "TransmissionGeometry"}


def read_tm27(root: Element, file: str) -> list[Measurement]:
    """The measurements of a parsed TM-27-14 document.

    Raises
    ------
    InputError
        If it holds no distribution, or one that is no reflectance or transmittance or has a value astray.
    """
    header = first(root, "Header")
    told = [text_of(header, element) for element in ("Description", "CatalogNumber")]
    name = next(filter(None, told), PurePath(file).stem)
    instrument = text_of(header, "MeasurementEquipment")
    found = list(every(root, "SpectralDistribution"))
    if not found:
        raise InputError(file, "it holds no SpectralDistribution", "one at least")
    return [
        _measurement(each, name if len(found) == 1 else f"{name} {at}", instrument, file, f"distribution {at}")
        for at, each in enumerate(found, start=1)
    ]


def _measurement(element: Element, name: str, instrument: str, file: str, place: str) -> Measurement:
    where = f"{file}, {place}"
    told = text_of(element, "SpectralQuantity")
    quantity = _QUANTITIES.get(told.lower())
    if quantity is None:
        raise InputError(where, f"SpectralQuantity {quoted(told)}", "reflectance, transmittance, R-Factor or T-Factor")
    points = [each for each in element if each.tag.rpartition("}")[2] == "SpectralData"]
    check_count(len(points), where)
    nm = [needed_number(needed_attribute(each, "wavelength", where), f"{where}, wavelength") for each in points]
    wavelengths = checked_wavelengths(nm, where)
    values = [needed_number(each.text or "", f"{where}, {at:g} nm") for at, each in zip(nm, points, strict=True)]
    words = text_of(element, _GEOMETRIES[quantity])
    geometry = words.lower() if quantity == "transmittance" else geometry_in(words) or words
    return Measurement(
        name=name,
        wavelengths=wavelengths,
        values=np.array(values, dtype=np.float64),
        quantity=quantity,
        geometry=geometry,
        specular=SPECULAR.get(geometry, ""),
        instrument=instrument,
        file=file,
        place=place,
    )
