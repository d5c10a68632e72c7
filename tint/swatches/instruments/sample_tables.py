"""Tables of an instrument with a row for each measurement: a column for each wavelength, or Lab or XYZ alone."""

from __future__ import annotations

import re
from array import array
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from tint.errors import InputError, listed, shown
from tint.spectra import NEEDED_NM, Array
from tint.swatches.instruments.measurement import (
    MOST_MEASUREMENTS,
    NO_VALUE,
    Measurement,
    check_count,
    checked_wavelengths,
    without_gaps,
)
from tint.swatches.instruments.sheet import (
    LEAST_COLUMNS,
    Sheet,
    holds_wavelengths,
    is_grid,
    label_places,
    labelled,
    name_above,
    unit_of,
    with_said,
)
from tint.swatches.instruments.words import (
    Said,
    bare,
    quantity_in,
    said_by,
    specular_in,
    triple_columns,
    view_in,
    wavelength_in,
)
from tint.swatches.tables import Cells, Header, Row
from tint.swatches.text import number

_NO_NAMES = {"date", "time", "datetime", "datetimes", "no", "nr", "index", "number", "timestamp"}


def read_sheet(sheet: Sheet) -> list[Measurement]:
    """The measurements of a sheet; one that is at fault by itself has that as its `fault`.

    InputError if wavelengths stand twice, a row is not as wide as the header, or there is none.
    """
    columns = sheet.header.cells
    at = next((at for at, each in enumerate(columns) if holds_wavelengths(each)), None)
    read: list[Measurement] = []
    for each in _wide(sheet) if at is None or is_grid(columns) else read_points(sheet, at):
        if len(read) >= MOST_MEASUREMENTS:
            raise InputError(sheet.file, "too many measurements", f"at most {MOST_MEASUREMENTS}")
        read.append(each)
    notes = tuple(fault.found for fault in sheet.faults.faults)
    return [replace(each, notes=(*each.notes, *notes)) for each in read] if notes else read


@dataclass(frozen=True, kw_only=True)
class _Block:
    """Columns of one spectrum, from the shortest wavelength, and what their names say."""

    places: tuple[int, ...] = ()
    grid: Array | None = None
    said: Said = field(default_factory=Said)


def _blocks(header: Header, file: str) -> list[_Block]:
    """The spectra that a row holds: one, or one for each specular component or quantity."""
    spectral = [(nm, at) for at, each in enumerate(header.cells) if (nm := wavelength_in(each, plain=True)) is not None]
    if len(spectral) < LEAST_COLUMNS:
        return [_Block()]
    above = _gloss_above(header) if len({nm for nm, _ in spectral}) < len(spectral) else {}
    groups: dict[tuple[str, str], list[tuple[float, int]]] = {}
    for nm, at in spectral:
        own = said_by([header.cells[at]])
        groups.setdefault((own.quantity, own.specular or above.get(at, "")), []).append((nm, at))
    read = []
    # A single column such as R457 beside a spectrum is none of it.
    for group in [each for each in groups.values() if len(each) >= LEAST_COLUMNS] or [spectral]:
        places = tuple(at for _, at in sorted(group))
        grid = checked_wavelengths([nm for nm, _ in sorted(group)], f"{file}, row {header.row}")
        said = said_by(header.cells[at] for at in places)
        said = replace(said, specular=said.specular or above.get(places[0], ""))
        percent = said.scale == "percent" or all("%" in unit_of(header, at) for at in places)
        read.append(_Block(places=places, grid=grid, said=replace(said, scale="percent" * percent)))
    return read


def _gloss_above(header: Header) -> dict[int, str]:
    """The specular component of each column by the row above, where SCI and SCE head the columns up to the next."""
    gloss, found = "", {}
    cells = header.before[-1] if header.before else ()
    for at in range(len(header.cells)):
        cell = cells[at] if at < len(cells) else ""
        gloss = specular_in(cell) if cell else gloss
        found[at] = gloss
    return found if len({*found.values()} - {""}) == 2 else {}


def _wide(sheet: Sheet) -> Iterator[Measurement]:
    columns = sheet.header.cells
    blocks = _blocks(sheet.header, sheet.file)
    lab, xyz = ([columns.index(each) for each in triple] for triple in triple_columns(columns))
    labels, view = label_places(columns), view_in(columns[at] for at in (*lab, *xyz))
    taken = {*lab, *xyz, *(at for block in blocks for at in block.places)}
    # Without a column that is plainly the name, the first that is no number is taken.
    free = [at for at, name in enumerate(columns) if at not in taken and (name or at == 0)]
    naming = [at for at in free if bare(columns[at]) not in _NO_NAMES] or free
    other = None if "name" in labels or not naming else naming[0]
    notes = (f"named by the column {shown(columns[other])}",) if other else ()
    is_empty = True
    for row in sheet.checked():
        is_empty = False
        own = "" if other is None else " ".join(row.cells[other].split())
        words = [row.cells[at] for at in free]
        start = labelled(sheet.header, row, labels, sheet.file, words=words, name=own or f"row {row.number}")
        told = {columns[at].lower(): word for at, word in zip(free, words, strict=True)}
        light, observer = start.light or view[0], start.observer or view[1]
        start = replace(start, light=light, observer=observer, told=told, notes=notes)
        if all(row.cells[at].lower() in NO_VALUE for at in taken):
            sheet.faults.warn(f"row {row.number} ({shown(start.name)}) holds no value: passed over")
            continue
        for block in blocks:
            try:
                whole = with_said(start, block.said, start.where)
                yield replace(whole, **_values(sheet, row, block), **_colours(sheet, row, lab, xyz))
            except InputError as error:
                yield replace(start, fault=error)
    if is_empty:
        raise InputError(sheet.file, "0 rows below the header", f"1 to {MOST_MEASUREMENTS}")


def _values(sheet: Sheet, row: Row, block: _Block) -> dict[str, Any]:
    if block.grid is None:
        return {}
    places, grid = without_gaps(row.cells, block.places, block.grid)
    values, in_percent = sheet.numbers(row, places)
    return {"wavelengths": grid, "values": np.array(values), **({"scale": "percent"} if in_percent else {})}


def _colours(sheet: Sheet, row: Row, lab: Sequence[int], xyz: Sequence[int]) -> dict[str, Any]:
    """Lab and XYZ of a row, each unless all its cells are blank."""
    told = {"lab": lab, "xyz": xyz}
    there = [name for name, places in told.items() if any(row.cells[at].lower() not in NO_VALUE for at in places)]
    return {name: np.array(sheet.numbers(row, told[name])[0]) for name in there}


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
    while (match := _BEHIND.fullmatch(column)) is not None:
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
        words = () if values[0].name else [cell for cell in first.cells if number(cell) is None]
        own_name = "" if values[0].name else name_above(sheet.header)
        told = labelled(sheet.header, first, labels, sheet.file, words=words, name=own_name)
        where = f"{sheet.file}, rows {first.number} to {last.number}" + (f" ({shown(told.name)})" if labels else "")
        table = np.array(held).reshape(-1, 1 + len(places))
        check_count(len(table), where)
        table = table[np.argsort(table[:, 0], kind="stable")]
        grid = checked_wavelengths(table[:, 0].tolist(), where)
        for column, each in enumerate(values, start=1):
            scale = "percent" if in_percent else each.said.scale
            own = replace(told, name=each.name, place=f"column {shown(columns[each.at])}") if each.name else told
            start = with_said(own, Said(each.said.quantity, scale, each.said.specular), where)
            yield replace(start, wavelengths=grid, values=table[:, column])


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
        told = labelled(sheet.header, row, {}, sheet.file)
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
