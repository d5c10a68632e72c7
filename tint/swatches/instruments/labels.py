"""What the label columns of an instrument's spreadsheet mean: names, backings, and how it was measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import PurePath

from tint.errors import InputError
from tint.swatches.gather import quoted
from tint.swatches.instruments.colour_names import bare
from tint.swatches.instruments.geometry import OF_SPHERE, SPECULAR, geometry_in, specular_in
from tint.swatches.instruments.measurement import Measurement
from tint.swatches.instruments.sheet import Sheet
from tint.swatches.records import PHOTOGRAPH
from tint.swatches.tables import Row

ROLES: Mapping[str, tuple[str, ...]] = {
    "name": ("name", "samplename", "swatch", "sample", "sampleid", "label", "specimen", "id"),
    "backing": ("backing", "samplebacking"),
    "seat": ("seat",),
    "quantity": ("quantity", "measurementtype", "mode", "measurementmode"),
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
    specular = SPECULAR.get(geometry, "") or specular_in(cell["geometry"]) or _specular_of(row)
    if specular and geometry not in SPECULAR:  # an instrument's words for a sphere: SCI is di:8, SCE is de:8
        geometry = OF_SPHERE[specular]
    quantity = _quantity(cell["quantity"])
    if quantity not in ("", "reflectance", "transmittance"):
        expected = "reflectance or transmittance"
        raise InputError(sheet.where(row), f"the quantity {quoted(cell['quantity'])}", expected)
    return Measurement(
        name=cell["name"] or name or PurePath(sheet.file).stem,
        quantity=quantity,
        geometry=geometry,
        specular=specular,
        backing=cell["backing"],
        seat=cell["seat"],
        instrument=cell["instrument"],
        light=cell["light"],
        observer=cell["observer"].removesuffix("°"),
        source=PHOTOGRAPH if cell["source"].lower() == PHOTOGRAPH else "",  # what else a column of that name may say
        file=sheet.file,
        place=f"row {row.number}",
        notes=(sheet.left,) if sheet.left else (),
    )


def _quantity(words: str) -> str:
    """Reflectance or transmittance, by the word that an instrument has for its mode; else the words themselves."""
    low = words.lower()
    stems = {"reflectance": ("reflect", "remission"), "transmittance": ("transmi",)}
    return next((kind for kind, each in stems.items() if any(stem in low for stem in each)), low)


def _specular_of(row: Row) -> str:
    """Whether a cell of a row is just SCI or SCE, whatever its column is called."""
    said = {specular_in(cell) for cell in row.cells if cell.strip().upper() in ("SCI", "SCE")}
    return said.pop() if len(said) == 1 else ""


def _label(sheet: Sheet, row: Row, role: str, places: Mapping[str, int]) -> str:
    if role in places and row.cells[places[role]]:
        return " ".join(row.cells[places[role]].split())
    return next((sheet.told[word] for word in ROLES[role] if word in sheet.told), "") if role != "name" else ""
