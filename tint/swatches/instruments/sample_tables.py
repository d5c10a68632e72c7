"""Tables of an instrument with a row for each measurement: a column for each wavelength, or Lab or XYZ alone."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from tint.errors import InputError, shown
from tint.spectra import Array
from tint.swatches.instruments.measurement import (
    MOST_MEASUREMENTS,
    NO_VALUE,
    Measurement,
    checked_wavelengths,
    hinted,
    without_gaps,
)
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
from tint.swatches.instruments.words import (
    Said,
    bare,
    quantity_in,
    said_by,
    specular_in,
    statistic_in,
    triple_columns,
    view_in,
    wavelength_in,
)
from tint.swatches.tables import Header, Row

_NO_NAMES = {"date", "time", "datetime", "datetimes", "no", "nr", "index", "number", "timestamp"}


def read_sheet(sheet: Sheet) -> list[Measurement]:
    """The measurements of a sheet; one that is at fault by itself has that as its `fault`.

    InputError if wavelengths stand twice, a row is not as wide as the header, or there is none.
    """
    columns = sheet.header.cells
    at = next((at for at, each in enumerate(columns) if holds_wavelengths(each)), None)
    read: list[Measurement] = []
    is_wide = at is None or is_grid(columns)
    blocks = _blocks(sheet.header, sheet.file) if is_wide else []
    if len(blocks) > 1:  # what heads some of the columns is told of those alone
        sheet = replace(sheet, header=replace(sheet.header, before=sheet.header.before[:-1]))
    for each in _wide(sheet, blocks) if is_wide else read_points(sheet, at or 0):
        if len(read) >= MOST_MEASUREMENTS:
            raise InputError(sheet.file, "too many measurements", f"at most {MOST_MEASUREMENTS}")
        read.append(each)
    notes = tuple(fault.found for fault in sheet.faults.faults)
    above = [" ".join(filter(None, cells)) for cells in sheet.header.before]
    read = [hinted(each, above, "the lines above the table") for each in read]
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
    heads = _heads(header, [at for _, at in spectral]) if len({nm for nm, _ in spectral}) < len(spectral) else {}
    groups: dict[Said, list[tuple[float, int]]] = {}
    for nm, at in spectral:
        own, head = said_by([header.cells[at]]), heads.get(at, Said())
        key = replace(head, quantity=own.quantity or head.quantity, specular=own.specular or head.specular)
        groups.setdefault(key, []).append((nm, at))
    read = []
    # A single column such as R457 beside a spectrum is none of it.
    for head, group in [each for each in groups.items() if len(each[1]) >= LEAST_COLUMNS] or [(Said(), spectral)]:
        statistic = statistic_in("", {"kind": head.backing})
        if statistic == "deviation":
            continue
        _check_order([nm for nm, _ in group], f"{file}, row {header.row}")
        places = tuple(at for _, at in sorted(group))
        grid = checked_wavelengths([nm for nm, _ in sorted(group)], f"{file}, row {header.row}")
        said = replace(
            head, backing="" if statistic else head.backing, scale=said_by(header.cells[at] for at in places).scale
        )
        percent = said.scale == "percent" or all("%" in unit_of(header, at) for at in places)
        read.append(_Block(places=places, grid=grid, said=replace(said, scale="percent" * percent)))
    return read


def _heads(header: Header, places: Sequence[int]) -> dict[int, Said]:
    """What the row above says of columns, where its cells head those up to the next: SCI and SCE, R and T, or cards."""
    head, found = "", {}
    for at, cell in itertools.zip_longest(range(len(header.cells)), header.before[-1] if header.before else ()):
        head = cell or head
        gloss, kind = specular_in(head), quantity_in(head)[0]
        found[at] = Said(quantity=kind, specular=gloss, backing="" if gloss or kind else head)
    return found if len({found[at] for at in places}) > 1 else {}


def _check_order(wavelengths: Sequence[float], where: str) -> None:
    """Refuse columns that begin anew: two spectra in one row that nothing tells apart would be taken for one."""
    rises = wavelengths[-1] > wavelengths[0]
    for one, two in itertools.pairwise(wavelengths):
        if one == two or (two > one) != rises:
            found = f"{two:g} nm comes after {one:g} nm"
            expected = "wavelengths in their order, once; or SCI and SCE, or the backings, in the row above"
            raise InputError(where, found, expected, "export one spectrum a row, or name them above")


def _wide(sheet: Sheet, blocks: Sequence[_Block]) -> Iterator[Measurement]:
    columns = sheet.header.cells
    lab, xyz = ([columns.index(each) for each in triple] for triple in triple_columns(columns))
    labels, view = label_places(columns), view_in(columns[at] for at in (*lab, *xyz))
    taken = {*lab, *xyz, *(at for block in blocks for at in block.places)}
    # Without a column that is plainly the name, the first that is no number is taken.
    free = [at for at, name in enumerate(columns) if at not in taken and (name or at == 0)]
    naming = [at for at in free if bare(columns[at]) not in _NO_NAMES] or free
    named = labels.get("name", naming[0] if naming else None)
    notes = (f"named by the column {shown(columns[named])}",) if named and "name" not in labels else ()
    above = None
    for row in sheet.checked():
        row, more = _continued(row, above, named, [at for role, at in labels.items() if role != "replicate"])
        above = row
        own = "" if named is None else " ".join(row.cells[named].split())
        words = {columns[at]: row.cells[at] for at in free}
        start = labelled(sheet, row, labels, words=words, name=own or f"row {row.number}")
        light, observer = start.light or view[0], start.observer or view[1]
        start = replace(start, light=light, observer=observer, notes=notes + more)
        if all(row.cells[at].lower() in NO_VALUE for at in taken):
            sheet.faults.warn(f"row {row.number} ({shown(start.name)}) holds no value: passed over")
            continue
        for block in blocks:
            try:
                whole = with_said(start, block.said, start.where)
                yield replace(whole, **_values(sheet, row, block), **_colours(sheet, row, lab, xyz))
            except InputError as error:
                yield replace(start, fault=error)
    if above is None:
        raise InputError(sheet.file, "0 rows below the header", f"1 to {MOST_MEASUREMENTS}")


def _continued(row: Row, above: Row | None, named: int | None, places: Sequence[int]) -> tuple[Row, tuple[str, ...]]:
    """A row without a name, as cells that are one over several rows leave it, with the labels of the row above."""
    if above is None or named is None or row.cells[named] or not above.cells[named]:
        return row, ()
    cells = [cell or above.cells[at] * (at in (named, *places)) for at, cell in enumerate(row.cells)]
    return replace(row, cells=tuple(cells)), ("a row without a name was taken to have that of the row above",)


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
