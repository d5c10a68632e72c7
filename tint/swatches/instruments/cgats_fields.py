"""What the fields and keywords of a CGATS table mean: names, spectra, Lab, XYZ, and how it was measured."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tint.errors import Gathered, InputError, listed
from tint.spectra import Array
from tint.swatches.instruments.cgats import CgatsTable, cells_of, cgats_tables
from tint.swatches.instruments.measurement import (
    MOST_MEASUREMENTS,
    NO_VALUE,
    Measurement,
    checked_wavelengths,
    hinted,
    needed_number,
    without_gaps,
)
from tint.swatches.instruments.words import (
    SPECULAR,
    geometry_in,
    of_deviations,
    said_by,
    specular_in,
    wavelength_in,
    with_gloss,
)
from tint.swatches.text import Marks, note_marks, numbers, tell_marks

_NAMES = ("SAMPLE_NAME", "SAMPLENAME", "NAME", "SAMPLE_ID", "SAMPLEID", "ID")
_LAB, _XYZ = ("LAB_L", "LAB_A", "LAB_B"), ("XYZ_X", "XYZ_Y", "XYZ_Z")
_BACKINGS = ("BACKING", "SAMPLE_BACKING")
_GEOMETRIES = ("MEASUREMENT_GEOMETRY", "GEOMETRY", "INSTRUMENTATION", "MEASUREMENT_SOURCE")
_QUANTITIES = ("QUANTITY", "MEASUREMENT_TYPE", "MEASUREMENT_MODE", "MODE")
_LIGHTS = ("WEIGHTING_FUNCTION", "MEASUREMENT_SOURCE", "ILLUMINANT", "ILLUMINATION_NAME", "OBSERVER")
_NORMS = ("SPECTRAL_NORM", "SPEC_SCALE")  # what a perfect white reads: 1 or 100
_EMITTERS = re.compile(r"\b(?:emissi|display|monitor|luminance)", re.IGNORECASE)
_PAIR_SCALES = {"SPECTRAL_PCT": "percent", "SPECTRAL_DEC": "fraction"}


def read_cgats(text: str, file: str) -> list[Measurement]:
    """The measurements of all tables of a file that hold colours.

    InputError as `cgats_tables`; and if no table holds a spectrum, Lab or XYZ, or a value is astray.
    """
    tables = cgats_tables(text, file)
    if sum(len(table.rows) for table in tables) > MOST_MEASUREMENTS:
        raise InputError(file, "too many rows", f"at most {MOST_MEASUREMENTS}", "export fewer measurements at a time")
    read: list[Measurement] = []
    marks: Marks = {}
    for at, table in enumerate(tables, start=1):
        columns = _columns(table, f"{file}, line {table.line}")
        _check_kind(table, f"{file}, line {table.line}")
        if columns is not None:
            place = f"table {at}, " if len(tables) > 1 else ""
            for row in table.rows:
                cells = cells_of(row, table.fields, file)
                note_marks(row[0], cells, columns.values, table.fields, marks)
                if any(cells[at].lower() not in NO_VALUE for at in columns.values):  # else a patch that was not read
                    read.append(_measurement(cells, table, columns, file=file, place=f"{place}line {row[0]}"))
    faults = Gathered(file)
    tell_marks(marks, faults)
    faults.stop()
    if not read:
        fields = listed(dict.fromkeys(field for table in tables for field in table.fields))
        raise InputError(file, f"no row has a colour; the fields are {fields}", "SPECTRAL_NM..., LAB_... or XYZ_...")
    return read


@dataclass(frozen=True, kw_only=True)
class _Columns:
    """Where in a row each thing stands."""

    names: tuple[int, ...]
    spectrum: tuple[int, ...]  # in rising order of wavelength
    wavelengths: Array | None
    pairs: tuple[tuple[int, int], ...]  # a wavelength and its value, repeated
    pair_scale: str
    lab: tuple[int, ...]
    xyz: tuple[int, ...]
    quantity: str = ""

    @property
    def values(self) -> tuple[int, ...]:
        """All that are numbers."""
        return (*self.spectrum, *(at for pair in self.pairs for at in pair), *self.lab, *self.xyz)


def _columns(table: CgatsTable, where: str) -> _Columns | None:
    """None when the table holds no colour."""
    fields = table.fields
    spectral = _spectral(fields) or _spectral(fields, plain=True)
    pairs, scale = _pairs(fields, where)
    if pairs and spectral:
        raise InputError(where, "spectra as columns and as pairs in one table", "one of the two")
    lab, xyz = (_all_or_none(fields, names, where) for names in (_LAB, _XYZ))
    if not (spectral or pairs or lab or xyz):
        return None
    return _Columns(
        names=tuple(fields.index(name) for name in _NAMES if name in fields),
        spectrum=tuple(at for _, at in spectral),
        wavelengths=checked_wavelengths([nm for nm, _ in spectral], where) if spectral else None,
        pairs=pairs,
        pair_scale=scale,
        lab=lab,
        xyz=xyz,
        quantity=said_by(fields[at] for _, at in spectral).quantity,
    )


def _spectral(fields: Sequence[str], *, plain: bool = False) -> list[tuple[float, int]]:
    found = ((wavelength_in(field, plain=plain), at) for at, field in enumerate(fields))
    return sorted((nm, at) for nm, at in found if nm is not None)


def _pairs(fields: Sequence[str], where: str) -> tuple[tuple[tuple[int, int], ...], str]:
    """The repeating pairs of the older style: SPECTRAL_NM and SPECTRAL_PCT or SPECTRAL_DEC."""
    starts = [at for at, field in enumerate(fields) if field == "SPECTRAL_NM"]
    kinds = {fields[at + 1] if at + 1 < len(fields) else "" for at in starts}
    if not starts:
        return (), ""
    if len(kinds) != 1 or not kinds <= set(_PAIR_SCALES):
        raise InputError(where, f"SPECTRAL_NM is followed by {listed(sorted(kinds))}", "SPECTRAL_PCT or SPECTRAL_DEC")
    return tuple((at, at + 1) for at in starts), _PAIR_SCALES[kinds.pop()]


def _all_or_none(fields: Sequence[str], names: Sequence[str], where: str) -> tuple[int, ...]:
    there = [name for name in names if name in fields]
    if there and len(there) < len(names):
        raise InputError(where, f"{listed(there)} alone", listed(names))
    return tuple(fields.index(name) for name in there)


def _measurement(cells: Sequence[str], table: CgatsTable, columns: _Columns, *, file: str, place: str) -> Measurement:
    where = f"{file}, {place}"
    taken = set(columns.values)
    own = {name: cells[at] for at, name in enumerate(table.fields) if at not in taken and cells[at]}
    told = {**table.keywords, **own}
    wavelengths, values, in_percent = _spectrum(cells, table, columns, where)
    geometry = next(filter(None, (geometry_in(told.get(name, "")) for name in _GEOMETRIES)), "")
    specular = SPECULAR.get(geometry) or specular_in(" ".join(told.get(name, "") for name in _GEOMETRIES))
    name = next(filter(None, (" ".join(cells[at].split()) for at in columns.names)), place.rpartition(", ")[2])
    light, observer = _seen(told) if columns.lab or columns.xyz else ("", "")
    scale = columns.pair_scale or _scale(told, where)
    statistic = {"statistic": "deviation"} if of_deviations(table.keywords.values()) else {}
    if in_percent and scale == "fraction":
        raise InputError(where, "cells in percent in a table of fractions", "one of the two")
    read = Measurement(
        name=name,
        wavelengths=wavelengths,
        values=values,
        lab=_triple(cells, columns.lab, table, where),
        xyz=_triple(cells, columns.xyz, table, where),
        quantity=_quantity(told, columns.quantity, where),
        geometry=with_gloss(geometry, specular),
        specular=specular,
        backing=next(filter(None, (told.get(name, "") for name in _BACKINGS)), ""),
        instrument=told.get("INSTRUMENTATION", ""),
        light=light,
        observer=observer,
        scale="percent" if in_percent else scale,
        told={name.lower(): cell for name, cell in own.items()} | statistic,
        file=file,
        place=place,
    )
    return hinted(hinted(read, own.values(), "the fields of its row"), table.keywords.values(), "the keywords")


def _spectrum(
    cells: Sequence[str], table: CgatsTable, columns: _Columns, where: str
) -> tuple[Array | None, Array | None, bool]:
    """Wavelengths, values, and whether they carry the sign of percent."""
    if columns.pairs:
        nm = numbers(cells, [at for at, _ in columns.pairs], table.fields, where=where)[0]
        values, in_percent = numbers(cells, [at for _, at in columns.pairs], table.fields, where=where)
        order = np.argsort(nm, kind="stable")
        return checked_wavelengths(np.array(nm)[order].tolist(), where), np.array(values)[order], in_percent
    if columns.wavelengths is None:
        return None, None, False
    places, grid = without_gaps(cells, columns.spectrum, columns.wavelengths)
    values, in_percent = numbers(cells, places, table.fields, where=where)
    return grid, np.array(values), in_percent


def _triple(cells: Sequence[str], columns: Sequence[int], table: CgatsTable, where: str) -> Array | None:
    if all(cells[at].lower() in NO_VALUE for at in columns):
        return None
    return np.array(numbers(cells, columns, table.fields, where=where)[0])


def _quantity(told: Mapping[str, str], of_fields: str, where: str) -> str:
    if told.get("IDENTIFIER", "").upper().startswith("IT8.7/1"):
        return "transmittance"
    words = " ".join(told.get(name, "") for name in _QUANTITIES).lower()
    found = [kind for kind, stem in (("reflectance", "reflect"), ("transmittance", "transmi")) if stem in words]
    own = found[0] if len(found) == 1 else ""
    if own and of_fields not in ("", own):
        raise InputError(where, f"it is {own} by its keywords and {of_fields} by its fields", "one of the two")
    return own or of_fields


def _scale(told: Mapping[str, str], where: str) -> str:
    """The scale of a spectrum by what a perfect white reads on it, where the file says so."""
    norm = next((told[name] for name in _NORMS if name in told), "")
    if not norm:
        return ""
    value = needed_number(norm, f"{where}, {' or '.join(_NORMS)}")
    if value not in (1.0, 100.0):
        raise InputError(where, f"a spectrum on a scale where white is {value:g}", "1 or 100", "export as percent")
    return "percent" if value == 100.0 else "fraction"


def _check_kind(table: CgatsTable, where: str) -> None:
    """Refuse what was measured on a display or a lamp: it is light sent out, not sent back."""
    told = " ".join(table.keywords.get(name, "") for name in (*_QUANTITIES, "DEVICE_CLASS"))
    if _EMITTERS.search(told):
        found = f"it holds light that was sent out ({told.strip()[:40]})"
        raise InputError(where, found, "reflectance or transmittance")


def _seen(told: Mapping[str, str]) -> tuple[str, str]:
    """Light and observer of Lab and XYZ: `ILLUMINANT, D50`, or `Illumination=D50 ObserverAngle=2`."""
    words = " ".join(told.get(name, "") for name in _LIGHTS)
    light = re.search(r"\b(D\d\d|FL?\d{1,2}|[AC])\b", words[:500])
    angle = re.search(r"\b(10|2)(?=\W|_?deg|$)", words[:500])
    return (light[1] if light else ""), (angle[1] if angle else "")
