"""Tables of an instrument with a row for each measurement: a column for each wavelength, or Lab or XYZ alone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from tint.errors import InputError
from tint.spectra import NEEDED_NM, Array
from tint.swatches.gather import shown
from tint.swatches.instruments.measurement import MOST_MEASUREMENTS, NO_VALUE, Measurement, checked_wavelengths
from tint.swatches.instruments.point_tables import read_points
from tint.swatches.instruments.sheet import (
    LEAST_COLUMNS,
    Sheet,
    holds_wavelengths,
    is_grid,
    label_places,
    labelled,
    unit_of,
    with_said,
)
from tint.swatches.instruments.words import Said, bare, said_by, specular_in, triple_columns, view_in, wavelength_in
from tint.swatches.tables import Header, Row

_NO_NAMES = {"date", "time", "datetime", "datetimes", "no", "nr", "index", "number", "timestamp"}


def read_sheet(sheet: Sheet) -> list[Measurement]:
    """The measurements of a sheet; one that is at fault by itself has that as its `fault`.

    Raises
    ------
    InputError
        If wavelengths stand twice, a row is not as wide as the header, or there is none.
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
    """Spectrum of a row; a cell beyond what is needed may say that nothing was read there."""
    if block.grid is None:
        return {}
    places, grid, (low, high) = block.places, block.grid, NEEDED_NM
    gone = {at for at, p in enumerate(places) if row.cells[p].lower() in NO_VALUE and not low <= grid[at] <= high}
    if gone:
        kept = [at for at in range(len(places)) if at not in gone]
        places, grid = tuple(places[at] for at in kept), grid[kept]
    values, in_percent = sheet.numbers(row, places)
    return {"wavelengths": grid, "values": np.array(values), **({"scale": "percent"} if in_percent else {})}


def _colours(sheet: Sheet, row: Row, lab: Sequence[int], xyz: Sequence[int]) -> dict[str, Any]:
    """Lab and XYZ of a row, each unless all its cells are blank."""
    told = {"lab": lab, "xyz": xyz}
    there = [name for name, places in told.items() if any(row.cells[at].lower() not in NO_VALUE for at in places)]
    return {name: np.array(sheet.numbers(row, told[name])[0]) for name in there}
