"""Measurements in XML: CxF3 and CxF/X-4, ANSI/IES TM-27-14 (.spdx); no entities, nothing fetched, deep or endless.

References
----------
ISO 17972-1:2015 (CxF3) and ISO 17972-4:2018 (CxF/X-4), whose texts were not at hand: elements follow public files and
classes derived from the public schema. The wavelengths of a spectrum begin at its own StartWL, or at that of the
WavelengthRange of its ColorSpecification, and so does the increment; where none is told, StartWL, EndWL and the count
of values make it. ANSI/IES TM-27-14, Standard Format for the Electronic Transfer of Spectral Data, was not at hand
either: the elements are those that colour-science's reader and writer know. Namespaces are met in several spellings,
so elements are found by local name.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import PurePath
from typing import Any
from xml.etree.ElementTree import Element, ParseError, TreeBuilder

import numpy as np

from tint.errors import InputError, did_you_mean, listed, quoted, shown
from tint.spectra import Array
from tint.swatches.instruments.measurement import Measurement, check_count, checked_wavelengths, needed_number
from tint.swatches.instruments.words import SPECULAR, geometry_in

_AGAIN = "export it again"
# Bounds against files that are none of measurements: common practice, no source.
_MOST_ELEMENTS, _DEEPEST, _LONGEST_TAG = 300_000, 60, 20_000  # the last in characters
_LONG_TAG = re.compile(rb"<[^<>]{%d}" % _LONGEST_TAG)  # the parser would gather all its attributes before it asks


class _TooLargeError(Exception):
    pass


class _Bounded(TreeBuilder):
    """A tree that stops growing."""

    left, deeper = _MOST_ELEMENTS, _DEEPEST

    def start(self, tag: Any, attrs: Any, /) -> Element:
        """Open an element, unless there are too many."""
        self.left, self.deeper = self.left - 1, self.deeper - 1
        if self.left < 0 or self.deeper < 0:
            raise _TooLargeError
        return super().start(tag, attrs)

    def end(self, tag: Any, /) -> Element:
        """Close an element."""
        self.deeper += 1
        return super().end(tag)


def read_xml(data: bytes, file: str) -> list[Measurement]:
    """The measurements of an XML document of either kind; InputError if it is none, or has a fault."""
    root = parsed(data, file)
    readers = {"CxF": read_cxf, "IESTM2714": read_tm27}
    if local(root) not in readers:
        mend = "save it from a spreadsheet as .xlsx or CSV" if local(root).lower() in ("html", "workbook") else ""
        raise InputError(file, f"XML of the kind {quoted(local(root))}", "CxF (version 3) or IESTM2714", mend)
    return readers[local(root)](root, file)


def parsed(data: bytes, file: str) -> Element:
    """The root of a document; an InputError if it is not well-formed, declares entities or a type, or is too large."""
    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import XMLParser

    parser = XMLParser(target=_Bounded(), forbid_dtd=True)
    try:
        if _LONG_TAG.search(data):
            raise _TooLargeError
        parser.feed(data)
        root: Element = parser.close()
    except _TooLargeError:
        expected = f"at most {_MOST_ELEMENTS} elements, {_DEEPEST} deep, of {_LONGEST_TAG} characters"
        raise InputError(file, "the XML is too large", expected, "export fewer measurements") from None
    except ParseError as error:
        line, column = error.position
        what = str(error).partition(":")[0]
        raise InputError(f"{file}, line {line}, character {column + 1}", f"is not XML ({what})", mend=_AGAIN) from error
    except DefusedXmlException as error:
        found = "it declares a document type or entities, which tint does not read"
        raise InputError(file, found, "plain XML", _AGAIN) from error
    except (ValueError, LookupError) as error:
        raise InputError(file, f"its text cannot be decoded ({shown(str(error))})", "XML in UTF-8", _AGAIN) from error
    return root


def local(element: Element) -> str:
    """The name of an element without its namespace."""
    return str(element.tag).rpartition("}")[2]


def first(root: Element | None, name: str) -> Element | None:
    """The first child of a name in any namespace; None where there is none."""
    return None if root is None else root.find(f"{{*}}{name}")


def text_of(root: Element | None, name: str) -> str:
    """The text of `first`, in one line; empty where it is missing."""
    element = first(root, name)
    return " ".join((element.text or "").split()) if element is not None else ""


def needed_attribute(element: Element, name: str, where: str) -> str:
    """An attribute that must be there, or an InputError."""
    value = (element.get(name) or "").strip()
    if not value:
        raise InputError(where, f"{quoted(local(element))} has no {name}", f"the attribute {name}")
    return value


# CxF3 and CxF/X-4: objects with colour values, each made as a colour specification says.

_SPECTRA = {"ReflectanceSpectrum": "reflectance", "TransmittanceSpectrum": "transmittance"}
_COLOURS = {"ColorCIELab": ("L", "A", "B"), "ColorCIEXYZ": ("X", "Y", "Z")}
_SPHERES = {"specular_included": "di:8", "specular_excluded": "de:8"}
_LONGEST_WORD = 80  # characters of a device's description; no source, chosen by eye


@dataclass(frozen=True, kw_only=True)
class _Specification:
    """How a value was made; texts of the file, empty or None where it tells nothing."""

    grid: Mapping[str, float]  # StartWL, EndWL and Increment as far as they are told [nm]
    # as fields of a measurement: how it was measured, and for which light and observer a colour holds
    measured: Mapping[str, Any]
    seen: Mapping[str, str]


def read_cxf(root: Element, file: str) -> list[Measurement]:
    """The measurements of a parsed CxF document, an object with several spectra giving several."""
    specifications = {}
    for each in root.iterfind(".//{*}ColorSpecification"):
        name = needed_attribute(each, "Id", f"{file}, ColorSpecification")
        specifications[name] = _specification(each, f"{file}, ColorSpecification {shown(name)}")
    read: list[Measurement] = []
    for at, each in enumerate(root.iterfind(".//{*}Object"), start=1):
        name = " ".join((each.get("Name") or each.get("Id") or f"object {at}").split())
        place = f"object {at} ({shown(name)})"
        read += _measurements(each, name, specifications, file=file, place=place)
    if not read:
        raise InputError(file, "no Object in it has a colour", "a ReflectanceSpectrum, TransmittanceSpectrum or Lab")
    return read


def _specification(element: Element, where: str) -> _Specification:
    measured = first(element, "MeasurementSpec")
    geometry, notes = _geometry(first(measured, "GeometryChoice"))
    device = first(measured, "Device")
    words = [] if device is None else [word for each in device.iter() for word in (each.text or "").split()]
    seen = first(element, "TristimulusSpec")
    return _Specification(
        grid=_grid(first(measured, "WavelengthRange"), where),
        measured={
            "geometry": geometry,
            "specular": SPECULAR.get(geometry, ""),
            "backing": text_of(measured, "Backing"),
            "instrument": " ".join(words)[:_LONGEST_WORD],
            "notes": notes,
        },
        seen={"light": text_of(seen, "Illuminant"), "observer": text_of(seen, "Observer").partition("_")[0]},
    )


def _geometry(choice: Element | None) -> tuple[str, tuple[str, ...]]:
    sphere = text_of(choice, "SphereGeometry")
    if sphere:
        known = _SPHERES.get(sphere.lower())
        note = f"{known} from {sphere}: CxF tells no angle for a sphere"
        return (known, (note,)) if known else (sphere, ())
    single = first(choice, "SingleAngle")
    if single is None:
        return "", ()
    words = tuple(text_of(single, name) for name in ("IlluminationAngle", "MeasurementAngle"))
    angles = {needed_number(word, "angle") if word.replace(".", "", 1).isdigit() else -1.0 for word in words}
    return ("45:0" if angles == {45.0, 0.0} else ":".join(words)), ()


def _measurements(
    element: Element, name: str, specifications: Mapping[str, _Specification], *, file: str, place: str
) -> Iterator[Measurement]:
    """Every spectrum of an object, each with the Lab and XYZ of its own specification; or those alone."""
    where = f"{file}, {place}"
    held = list(first(element, "ColorValues") or ())
    spectra = [each for each in held if local(each) in _SPECTRA]
    colours: dict[str, dict[str, Array]] = {}
    for each in held:
        if local(each) in _COLOURS:
            of_one = colours.setdefault((each.get("ColorSpecification") or "").strip(), {})
            of_one.setdefault(local(each), _colour(each, where))

    def start(own: Mapping[str, Array], made: _Specification | None, seen: _Specification | None) -> Measurement:
        told = {**(made.measured if made else {}), **(seen.seen if seen and own else {})}
        lab, xyz = own.get("ColorCIELab"), own.get("ColorCIEXYZ")
        return Measurement(name=name, lab=lab, xyz=xyz, **told, file=file, place=place)

    for each in spectra:
        wanted = needed_attribute(each, "ColorSpecification", where)
        if wanted not in specifications:
            known = f"one of {listed(specifications)}" if specifications else "a ColorSpecification; there is none"
            mend = did_you_mean(wanted, specifications)
            raise InputError(where, f"there is no ColorSpecification {shown(wanted)}", known, mend)
        made = specifications[wanted]
        told = f", specification {shown(wanted)}" if len(spectra) > 1 else ""
        own = colours.pop(wanted, {})
        if not own and len(spectra) == 1 and len(colours) == 1:
            wanted, own = colours.popitem()
        begun = replace(start(own, made, specifications.get(wanted)), place=place + told)
        grid, values, more = _spectrum(each, made, begun.where)
        kind, notes = _SPECTRA[local(each)], (*begun.notes, *more)
        yield replace(begun, wavelengths=grid, values=values, quantity=kind, notes=notes)
    for wanted, own in colours.items() if not spectra else ():
        yield start(own, specifications.get(wanted), specifications.get(wanted))


def _spectrum(element: Element, made: _Specification, where: str) -> tuple[Array, Array, tuple[str, ...]]:
    words = (element.text or "").split()
    check_count(len(words), where)
    values = [needed_number(word, f"{where}, value {at}") for at, word in enumerate(words, start=1)]
    own = _grid(element, where)
    told = {**made.grid, **own}
    if "Increment" not in told and "EndWL" in told and "StartWL" in told and len(values) > 1:
        told["Increment"] = (told["EndWL"] - told["StartWL"]) / (len(values) - 1)
    for name in ("StartWL", "Increment"):
        if name not in told:
            raise InputError(where, f"neither it nor its ColorSpecification tells {name}", "one, for every wavelength")
    start, step = told["StartWL"], told["Increment"]
    end = start + (len(values) - 1) * step
    # A specification may span more than the spectrum that begins by its own word.
    if "EndWL" in told and ("EndWL" in own or not own) and abs(end - told["EndWL"]) > 0.5 * abs(step):
        found = f"{len(values)} values from {start:g} nm by {step:g} nm end at {end:g} nm"
        raise InputError(where, found, f"the EndWL, {told['EndWL']:g} nm")
    wavelengths, theirs = checked_wavelengths([start + at * step for at in range(len(values))], where), made.grid
    note = f"begins at {start:g} nm by its own word, not at the {theirs.get('StartWL', 0):g} nm of its specification"
    return wavelengths, np.array(values), (note,) if theirs.get("StartWL", start) != start else ()


def _grid(element: Element | None, where: str) -> dict[str, float]:
    """StartWL, EndWL and Increment of an element, as far as it tells them."""
    found = {} if element is None else {name: element.get(name) for name in ("StartWL", "EndWL", "Increment")}
    return {name: needed_number(told, f"{where}, {name}") for name, told in found.items() if told is not None}


def _colour(element: Element, where: str) -> Array:
    names = _COLOURS[local(element)]
    told = [needed_number(text_of(element, name), f"{where}, {local(element)} {name}") for name in names]
    return np.array(told, dtype=np.float64)


# TM-27-14: one or more spectral distributions.

_FACTORS = {"r-factor": "reflectance", "t-factor": "transmittance"}
_GEOMETRIES = {"reflectance": "ReflectionGeometry", "transmittance": "TransmissionGeometry"}


def read_tm27(root: Element, file: str) -> list[Measurement]:
    """The measurements of a parsed TM-27-14 document."""
    header = first(root, "Header")
    told = [text_of(header, element) for element in ("Description", "CatalogNumber")]
    name = next(filter(None, told), PurePath(file).stem)
    instrument = text_of(header, "MeasurementEquipment")
    found = root.findall(".//{*}SpectralDistribution")
    if not found:
        raise InputError(file, "it holds no SpectralDistribution", "one at least")
    return [
        _distribution(each, name if len(found) == 1 else f"{name} {at}", instrument, file, f"distribution {at}")
        for at, each in enumerate(found, start=1)
    ]


def _distribution(element: Element, name: str, instrument: str, file: str, place: str) -> Measurement:
    where = f"{file}, {place}"
    told = text_of(element, "SpectralQuantity")
    quantity = _FACTORS.get(told.lower(), told.lower())
    if quantity not in _GEOMETRIES:
        raise InputError(where, f"SpectralQuantity {quoted(told)}", "reflectance, transmittance, R-Factor or T-Factor")
    points = element.findall("{*}SpectralData")
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
