"""What the fields and keywords of a CGATS table mean: names, spectra, Lab, XYZ, and how it was measured."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tint.errors import InputError
from tint.spectra import Array
from tint.swatches.gather import listed
from tint.swatches.instruments.cgats import CgatsRow, CgatsTable, cgats_tables
from tint.swatches.instruments.geometry import OF_SPHERE, SPECULAR, geometry_in, specular_in
from tint.swatches.instruments.measurement import (
    MOST_MEASUREMENTS,
    NO_VALUE,
    Measurement,
    checked_wavelengths,
    needed_number,
)
from tint.swatches.instruments.spectral_names import wavelength_in

_NAMES = ("SAMPLE_NAME", "SAMPLENAME", "NAME", "SAMPLE_ID", "SAMPLEID", "ID")
_LAB, _XYZ = ("LAB_L", "LAB_A", "LAB_B"), ("XYZ_X", "XYZ_Y", "XYZ_Z")
_BACKINGS = ("BACKING", "SAMPLE_BACKING")
_GEOMETRIES = ("MEASUREMENT_GEOMETRY", "GEOMETRY", "INSTRUMENTATION", "MEASUREMENT_SOURCE")
_QUANTITIES = ("QUANTITY", "MEASUREMENT_TYPE", "MEASUREMENT_MODE", "MODE")
_LIGHTS = ("WEIGHTING_FUNCTION", "MEASUREMENT_SOURCE", "ILLUMINANT", "ILLUMINATION_NAME", "OBSERVER")
_COMMA, _POINT = (re.compile(rf"[+-]?\d+{mark}\d+(?:[eE][+-]?\d+)?", re.ASCII) for mark in (",", r"\."))
_NOTHING = NO_VALUE | {"null", "none"}
_NORMS = ("SPECTRAL_NORM", "SPEC_SCALE")  # what a perfect white reads: 1 or 100
_EMITTERS = re.compile(r"\b(?:emissi|display|monitor|luminance)", re.IGNORECASE)
_PAIR_SCALES = {"SPECTRAL_PCT": "percent", "SPECTRAL_DEC": "fraction"}


def read_cgats(text: str, file: str) -> list[Measurement]:
    """The measurements of all tables of a file that hold colours.

    Raises
    ------
    InputError
        As `cgats_tables`; and if no table holds a spectrum, Lab or XYZ, or a value is astray.
    """
    tables = cgats_tables(text, file)
    if sum(len(table.rows) for table in tables) > MOST_MEASUREMENTS:
        raise InputError(file, "too many rows", f"at most {MOST_MEASUREMENTS}", "export fewer measurements at a time")
    read: list[Measurement] = []
    for at, table in enumerate(tables, start=1):
        columns = _columns(table, f"{file}, line {table.line}")
        _check_kind(table, f"{file}, line {table.line}")
        if columns is not None:
            place = f"table {at}, " if len(tables) > 1 else ""
            read += [
                _measurement(row, table, columns, file=file, place=f"{place}line {row.line}")
                for row in table.rows
                if not _is_empty(row, columns)
            ]
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


def _columns(table: CgatsTable, where: str) -> _Columns | None:
    """None when the table holds no colour."""
    fields = table.fields
    spectral = sorted((nm, at) for at, field in enumerate(fields) if (nm := wavelength_in(field)) is not None)
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
    )


def _is_empty(row: CgatsRow, columns: _Columns) -> bool:
    """Whether a row says of every value that there is none: a patch that was not read."""
    places = (*columns.spectrum, *(at for pair in columns.pairs for at in pair), *columns.lab, *columns.xyz)
    return all(row.cells[at].lower() in _NOTHING for at in places)


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


def _measurement(row: CgatsRow, table: CgatsTable, columns: _Columns, *, file: str, place: str) -> Measurement:
    where = f"{file}, {place}"
    wavelengths, values = _spectrum(row, table, columns, where)
    told = {**table.keywords} | {name: cell for name, cell in zip(table.fields, row.cells, strict=True) if cell}
    geometry = next(filter(None, (geometry_in(told.get(name, "")) for name in _GEOMETRIES)), "")
    specular = SPECULAR.get(geometry) or specular_in(" ".join(told.get(name, "") for name in _GEOMETRIES))
    geometry = OF_SPHERE.get(specular, geometry) if geometry == "d:8" else geometry
    name = next(filter(None, (" ".join(row.cells[at].split()) for at in columns.names)), f"line {row.line}")
    light, observer = _seen(told) if columns.lab or columns.xyz else ("", "")
    return Measurement(
        name=name,
        wavelengths=wavelengths,
        values=values,
        lab=_triple(row, columns.lab, table, where),
        xyz=_triple(row, columns.xyz, table, where),
        quantity=_quantity(told),
        geometry=geometry,
        specular=specular,
        backing=next(filter(None, (told.get(name, "") for name in _BACKINGS)), ""),
        instrument=told.get("INSTRUMENTATION", ""),
        light=light,
        observer=observer,
        scale=columns.pair_scale or _scale(told, where),
        file=file,
        place=place,
    )


def _spectrum(row: CgatsRow, table: CgatsTable, columns: _Columns, where: str) -> tuple[Array | None, Array | None]:
    if columns.pairs:
        pairs = [tuple(_number(row, at, table, where) for at in pair) for pair in columns.pairs]
        wavelengths, values = zip(*sorted(pairs), strict=True)
        return checked_wavelengths(wavelengths, where), np.array(values, dtype=np.float64)
    if columns.wavelengths is None:
        return None, None
    return columns.wavelengths, np.array([_number(row, at, table, where) for at in columns.spectrum], dtype=np.float64)


def _triple(row: CgatsRow, columns: Sequence[int], table: CgatsTable, where: str) -> Array | None:
    return np.array([_number(row, at, table, where) for at in columns], dtype=np.float64) if columns else None


def _number(row: CgatsRow, at: int, table: CgatsTable, where: str) -> float:
    cell = row.cells[at]
    if _COMMA.fullmatch(cell) and not any(_POINT.fullmatch(each) for each in row.cells):
        cell = cell.replace(",", ".")  # as some countries write; points in the same row would leave it open
    return needed_number(cell, f"{where}, field {table.fields[at][:40]}")


def _quantity(told: Mapping[str, str]) -> str:
    if told.get("IDENTIFIER", "").upper().startswith("IT8.7/1"):
        return "transmittance"
    words = " ".join(told.get(name, "") for name in _QUANTITIES).lower()
    found = [kind for kind, stem in (("reflectance", "reflect"), ("transmittance", "transmi")) if stem in words]
    return found[0] if len(found) == 1 else ""


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
        raise InputError(
            where, f"it holds light that was sent out ({told.strip()[:40]})", "reflectance or transmittance"
        )


def _seen(told: Mapping[str, str]) -> tuple[str, str]:
    """Light and observer of Lab and XYZ: `ILLUMINANT, D50`, or `Illumination=D50 ObserverAngle=2`."""
    words = " ".join(told.get(name, "") for name in _LIGHTS)
    light = re.search(r"\b(D\d\d|FL?\d{1,2}|[AC])\b", words[:500])
    angle = re.search(r"\b(10|2)(?=\W|_?deg|$)", words[:500])
    return (light[1] if light else ""), (angle[1] if angle else "")
