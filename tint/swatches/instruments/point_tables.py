"""Tables of an instrument with a row for each wavelength: samples one below the other, or side by side."""

from __future__ import annotations

import re
from array import array
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from tint.errors import InputError, listed, shown
from tint.spectra import NEEDED_NM
from tint.swatches.instruments.measurement import NO_VALUE, Measurement, check_count, checked_wavelengths
from tint.swatches.instruments.sheet import (
    Sheet,
    holds_wavelengths,
    label_places,
    labelled,
    name_above,
    unit_of,
    with_said,
    without_nm,
)
from tint.swatches.instruments.words import Said, bare, quantity_in, specular_in
from tint.swatches.tables import Cells, Header, Row
from tint.swatches.text import number

_VALUES = {
    "reflectance": ("reflectance", "reflectancefactor", "rfactor", "r", "refl", "rλ", "remission"),
    "transmittance": ("transmittance", "transmittancefactor", "tfactor", "t", "tλ", "transmission"),
    "": ("value", "values", "spectrum"),
}
# What stands behind the name of a sample whose column this is: its unit, quantity or specular component.
_BEHIND = re.compile(
    r"(?P<name>.*[^\s,_-])[ ,_-]*"
    r"(?:[\[(]\s*(?P<in>%\s?[RT]?|[RT]\s?%?|sci|sce)\s*[\])]|[ _](?P<out>%\s?[RT]|[RT]\s?%|sci|sce))",
    re.IGNORECASE,
)
_LETTER = re.compile(r"(?P<name>.*\S)[ _](?P<out>[RT])(?P<in>)")  # before a unit: lid R [%]


@dataclass(frozen=True, kw_only=True)
class _Column:
    """A column of values: the sample's name where that is its own, and what else it says."""

    at: int
    name: str = ""
    said: Said


def _value_columns(header: Header, at: int) -> list[_Column]:
    """Those that are called reflectance, transmittance or values; else every other one, as a sample."""
    read = []
    for place, each in enumerate(header.cells):
        word = bare(re.sub(r"\b(?:sci|sce|percent)\b", "", each, flags=re.IGNORECASE))
        for kind, words in _VALUES.items():
            if word in words or (not word and not kind and specular_in(each)):
                percent = "%" in each + unit_of(header, place) or "percent" in each.lower() or quantity_in(each)[1]
                said = Said(quantity=kind, scale="percent" * percent, specular=specular_in(each))
                read.append(_Column(at=place, said=said))
    if read:
        return read
    others = [each for place, each in enumerate(header.cells) if place != at and each]
    if any(quantity_in(each)[0] in ("absorbance", "emission") for each in others):
        raise InputError(f"the column of {listed(others)}", "no reflectance", "reflectance or transmittance")
    for place, each in enumerate(header.cells):
        name, told = _parted(each)
        kind = {"t": "transmittance", "r": "reflectance"}.get("".join(re.findall(r"\b[rt]\b", told)), "")
        percent = "%" in told + unit_of(header, place)
        said = Said(quantity=kind, scale="percent" * percent, specular=specular_in(told))
        if place != at and each:
            read.append(_Column(at=place, name=" ".join(name.split()), said=said))
    return read


def _parted(column: str) -> tuple[str, str]:
    """The name of a sample, and what stands behind it in small letters: `lid (SCI) [%]`."""
    told = ""
    while match := _BEHIND.fullmatch(column) or ("%" in told and _LETTER.fullmatch(column)):
        column, told = match["name"], f"{match['in'] or match['out']} {told}".lower()
    return column, told


def read_points(sheet: Sheet, at: int) -> Iterator[Measurement]:
    """The measurements of a sheet whose column `at` holds wavelengths.

    InputError if a wavelength of one spectrum stands twice, a cell is no number, there is no row, or it is no
    reflectance.
    """
    columns = sheet.header.cells
    if sum(map(holds_wavelengths, columns)) > 1:
        yield from _paired(sheet)
        return
    values = _value_columns(sheet.header, at)
    kinds = [(each.said.quantity, each.said.specular) for each in values if not each.name]
    if len(set(kinds)) < len(kinds) or (len(kinds) > 1 and any(not any(each) for each in kinds)):
        found = f"several columns of values, {listed(columns[each.at] for each in values)}"
        raise InputError(sheet.file, found, "one, or one for reflectance and one for transmittance")
    places = [each.at for each in values]
    labels = label_places(columns) if kinds else {}
    points: dict[Cells, array[float]] = {}
    rows: dict[Cells, tuple[Row, Row, bool]] = {}
    for row in sheet.checked():
        if without_nm(row.cells[at]) != row.cells[at]:
            row = replace(row, cells=(*row.cells[:at], without_nm(row.cells[at]), *row.cells[at + 1 :]))
        if all(row.cells[place].lower() in NO_VALUE for place in places):
            nm = number(row.cells[at])
            if nm is not None and not NEEDED_NM[0] <= nm <= NEEDED_NM[1]:
                continue
        in_percent = row.cells[places[0]].endswith("%")
        if in_percent:
            read = sheet.numbers(row, (at,))[0] + sheet.numbers(row, places)[0]
        else:
            read = sheet.numbers(row, (at, *places))[0]
        key = tuple([row.cells[label] for label in labels.values()])
        if not any(key) and rows:
            key = next(reversed(rows))  # as cells that are one over all rows of a sample leave them
        if key not in points:
            points[key] = array("d")
        points[key].extend(read)
        rows[key] = (rows[key][0] if key in rows else row, row, in_percent)
    if not points:
        raise InputError(sheet.file, "no row below the header", "a row for each wavelength")
    for key, held in points.items():
        first, last, in_percent = rows[key]
        words = {column: cell for column, cell in zip(columns, first.cells, strict=True) if number(cell) is None}
        own_name = name_above(sheet.header)
        told = labelled(sheet, first, labels, words={} if values[0].name else words, name=own_name)
        where = f"{sheet.file}, rows {first.number} to {last.number}" + (f" ({shown(told.name)})" if labels else "")
        table = np.array(held).reshape(-1, 1 + len(places))
        check_count(len(table), where)
        table = table[np.argsort(table[:, 0], kind="stable")]
        grid = checked_wavelengths(table[:, 0].tolist(), where)
        for column, each in enumerate(values, start=1):
            scale = "percent" if in_percent else each.said.scale
            own = _of_column(sheet, each, own_name) if each.name else told
            start = with_said(own, Said(each.said.quantity, scale, each.said.specular), where)
            yield replace(start, wavelengths=grid, values=table[:, column])


def _of_column(sheet: Sheet, column: _Column, above: str) -> Measurement:
    """What the rows above say of a sample that has a column of its own, each by its first cell."""
    rows = [cells for cells in sheet.header.before if len(cells) == len(sheet.header.cells)]
    facts = {cells[0]: cells[column.at] for cells in rows if cells[0] and cells[column.at]}
    row = Row(sheet.header.row, tuple(facts.values()))
    told = labelled(sheet, row, label_places(tuple(facts)), words=facts, name=column.name)
    told = replace(told, name=column.name, place=f"column {shown(sheet.header.cells[column.at])}")
    scale = "percent" if "%" in {fact.strip("[]() ") for fact in facts.values()} else told.scale
    return replace(told, scale=scale, told={**told.told, "sample above": above})


def _paired(sheet: Sheet) -> Iterator[Measurement]:
    """Columns in pairs, a wavelength and the value at it, the sample's name in the row above."""
    columns = sheet.header.cells
    pairs = [at for at, each in enumerate(columns) if holds_wavelengths(each)]
    if any(at + 1 >= len(columns) or at + 1 in pairs or not columns[at + 1] for at in pairs):
        raise InputError(sheet.file, "several columns of wavelengths", "one, or a column of values beside each")
    names = next((each for each in reversed(sheet.header.before) if any(each[at : at + 1] for at in pairs)), ())
    points: dict[int, list[list[float]]] = {at: [] for at in pairs}
    row = None
    for row in sheet.checked():
        for at in pairs:
            if row.cells[at] or row.cells[at + 1]:
                points[at].append(sheet.numbers(row, (at,))[0] + sheet.numbers(row, (at + 1,))[0])
    if row is None:
        raise InputError(sheet.file, "no row below the header", "a row for each wavelength")
    for at, held in points.items():
        told = labelled(sheet, row, {}, words={})
        name = " ".join("".join(names[at : at + 1]).split()) or f"{told.name} {pairs.index(at) + 1}"
        where = f"{sheet.file}, column {shown(columns[at + 1])} of {shown(name)}"
        check_count(len(held), where)
        table = np.array(sorted(held))
        kind, percent = quantity_in(columns[at + 1])
        if kind in ("absorbance", "emission"):
            raise InputError(where, f"it holds {kind}", "reflectance or transmittance")
        own = replace(told, name=name, place=where.removeprefix(f"{sheet.file}, "))
        scale = "percent" if percent or "%" in columns[at + 1] + unit_of(sheet.header, at + 1) else ""
        start = with_said(own, Said(kind, scale, specular_in(columns[at + 1])), where)
        yield replace(start, wavelengths=checked_wavelengths(table[:, 0].tolist(), where), values=table[:, 1])
