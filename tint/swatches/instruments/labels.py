"""What the label columns of an instrument's spreadsheet mean: names, backings, and how it was measured."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import PurePath

from tint.errors import InputError
from tint.swatches.gather import quoted
from tint.swatches.instruments.measurement import Measurement
from tint.swatches.instruments.sheet import Sheet
from tint.swatches.records import PHOTOGRAPH
from tint.swatches.tables import Row

ROLES: Mapping[str, tuple[str, ...]] = {
    "name": ("name", "samplename", "swatch", "sample", "sampleid", "label", "specimen", "id"),
    "backing": ("backing", "samplebacking"),
    "seat": ("seat",),
    "quantity": ("quantity", "measurementtype"),
    "geometry": ("geometry", "measurementgeometry"),
    "instrument": ("instrument", "instrumentation", "device"),
    "light": ("light", "illuminant"),
    "observer": ("observer",),
    "source": ("source",),
    "replicate": ("replicate", "repeat", "reading", "scan", "measurement"),
}


def column_of(columns: Sequence[str], role: str) -> str | None:
    """The column that plays a role of `ROLES`; of several the one that the role prefers."""
    by_word = {bare(column): column for column in reversed(columns)}
    return next((by_word[word] for word in ROLES[role] if word in by_word), None)


def label_places(columns: Sequence[str]) -> dict[str, int]:
    """Where in a row each role of `ROLES` that has a column stands."""
    found = {role: column_of(columns, role) for role in ROLES}
    return {role: columns.index(column) for role, column in found.items() if column is not None}


def labelled(sheet: Sheet, row: Row, places: Mapping[str, int], *, name: str = "") -> Measurement:
    """What the label cells of a row, or the facts above the table, tell; without values as yet.

    Parameters
    ----------
    places : mapping of str to int
        As of `label_places`.
    name : str
        Of a row that has none of its own; by default that of the file.
    """
    cell = {role: _label(sheet, row, role, places) for role in ROLES}
    geometry = geometry_in(cell["geometry"]) or cell["geometry"]
    quantity = cell["quantity"].lower()
    if quantity not in ("", "reflectance", "transmittance"):
        expected = "reflectance or transmittance"
        raise InputError(sheet.where(row), f"the quantity {quoted(cell['quantity'])}", expected)
    return Measurement(
        name=cell["name"] or name or PurePath(sheet.file).stem,
        quantity=quantity,
        geometry=geometry,
        specular=SPECULAR.get(geometry, "") or specular_in(cell["geometry"]),
        backing=cell["backing"],
        seat=cell["seat"],
        instrument=cell["instrument"],
        light=cell["light"],
        observer=cell["observer"].removesuffix("°"),
        source=PHOTOGRAPH if cell["source"].lower() == PHOTOGRAPH else "",  # what else a column of that name may say
        file=sheet.file,
        place=f"row {row.number}",
    )


def _label(sheet: Sheet, row: Row, role: str, places: Mapping[str, int]) -> str:
    if role in places and row.cells[places[role]]:
        return " ".join(row.cells[places[role]].split())
    return next((sheet.told[word] for word in ROLES[role] if word in sheet.told), "") if role != "name" else ""


# How the files of instruments name the columns of Lab and XYZ.


_LAB = (("l", "labl", "cielabl", "lstar"), ("a", "laba", "cielaba", "astar"), ("b", "labb", "cielabb", "bstar"))
_XYZ = (("x", "xyzx", "ciex"), ("y", "xyzy", "ciey"), ("z", "xyzz", "ciez"))


def bare(column: str) -> str:
    """A column's name for comparison: its letters only, small."""
    return "".join(each for each in column.lower() if each.isalpha())


def triple_columns(columns: Sequence[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The columns of Lab and those of XYZ, each empty when one of the three is missing."""
    by_word = {bare(column): column for column in reversed(columns) if wavelength_in(column, plain=True) is None}
    read = []
    for triple in (_LAB, _XYZ):
        found = [next((by_word[word] for word in words if word in by_word), None) for words in triple]
        read.append(tuple(each for each in found if each is not None) if None not in found else ())
    return read[0], read[1]


# How the files of instruments name the columns of a spectrum.


_CGATS = re.compile(r"(?:SPECTRAL_NM|SPECTRAL|SPEC|NM)_?(\d{3,4}(?:\.\d{1,4})?)", re.IGNORECASE | re.ASCII)
_PLAIN = re.compile(r"[RT]?[ _]?(\d{3,4}(?:[.,]\d{1,4})?)\s*(?:nm|\(nm\)|\[nm\])?", re.IGNORECASE | re.ASCII)
_SHORTEST, _LONGEST = 200.0, 3000.0


def wavelength_in(column: str, *, plain: bool = False) -> float | None:
    """The wavelength [nm] that a column's name tells; None when it tells none.

    Parameters
    ----------
    column : str
        `SPECTRAL_NM400`, `SPECTRAL_400`, `SPEC_400` or `nm400`.
    plain : bool
        Whether a bare number counts too, as `400`, `400 nm` or `R400`.
    """
    name = column.strip()
    if len(name) > 40:
        return None
    match = _CGATS.fullmatch(name) or (_PLAIN.fullmatch(name) if plain else None)
    if match is None:
        return None
    value = float(match[1].replace(",", "."))
    return value if _SHORTEST <= value <= _LONGEST else None


# The geometry words of instruments' files, brought to those of the swatch folder.


SPECULAR = {"di:8": "included", "de:8": "excluded", "45:0": "excluded"}
TOTAL, PARTIAL = ("di:0", "0:di", "d:0", "0:d", "di:8", "8:di", "d:d"), ("0:0", "de:0", "0:de", "de:8", "8:de")

_SPHERE = re.compile(r"(?<![\w.])(?:(d[ie]?)\s*[:/]\s*8|8\s*[:/]\s*(d[ie]?))(?![\w.])")
_RING = re.compile(r"(?<![\w.])(?:45\s*[acx]?\s*[:/]\s*0|0\s*[:/]\s*45\s*[acx]?)(?![\w.])")
_INCLUDED = re.compile(r"\bsci\b|\bspecular[\s_-]*(?:component[\s_-]*)?includ")
_EXCLUDED = re.compile(r"\bsce\b|\bspecular[\s_-]*(?:component[\s_-]*)?exclud")


def geometry_in(text: str) -> str:
    """The geometry that a text names, in the folder's words; `d:8` when the mirror reflection is left open; else empty.

    `d/8 SCI`, `di:8` and `8:di` are one, and so are `45/0`, `45a:0` and `0:45x`.
    """
    words = text.lower()[:500].replace("°", "")
    sphere = _SPHERE.search(words)
    if sphere is None:
        return "45:0" if _RING.search(words) else ""
    kind = sphere[1] or sphere[2]
    told = {"di": "included", "de": "excluded"}.get(kind) or specular_in(words)
    return {"included": "di:8", "excluded": "de:8"}.get(told, "d:8")


def specular_in(text: str) -> str:
    """Whether a text says that the mirror reflection was `included` or `excluded`; empty when neither, or both."""
    words = text.lower()[:500]
    included, excluded = _INCLUDED.search(words), _EXCLUDED.search(words)
    if bool(included) == bool(excluded):
        return ""
    return "included" if included else "excluded"


def disagrees(geometry: str, own: str, quantity: str) -> bool:
    """Whether a geometry that a file tells cannot be that of the folder, `own`.

    What a file leaves open does not disagree. Of a transmittance only a part may have been caught, which is not what
    the folder means by it; how its reflectances are read does not matter then.
    """
    if quantity == "transmittance":
        return geometry in PARTIAL
    return bool(geometry) and geometry != own and not (geometry == "d:8" and own in ("di:8", "de:8"))
