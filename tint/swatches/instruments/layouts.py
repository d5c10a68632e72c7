"""Tables of an instrument: a row for each measurement, or one for each wavelength with samples beside or below."""

from __future__ import annotations

import itertools
import re
from array import array
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from tint.errors import InputError, listed, shown
from tint.spectra import Array
from tint.swatches.instruments.measurement import (
    MOST_MEASUREMENTS,
    NO_VALUE,
    Measurement,
    check_count,
    checked_wavelengths,
    hinted,
    is_spare,
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
    without_nm,
)
from tint.swatches.instruments.words import (
    Said,
    bare,
    parted,
    quantity_in,
    said_by,
    specular_in,
    statistic_in,
    triple_columns,
    value_kinds,
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
    is_wide = at is None or is_grid(columns)
    blocks = _blocks(sheet.header, sheet.file) if is_wide else []
    if len(blocks) > 1:  # what heads some of the columns is told of those alone
        sheet = replace(sheet, header=replace(sheet.header, before=sheet.header.before[:-1]))
    for each in _wide(sheet, blocks) if is_wide else _points(sheet, at or 0):
        if len(read) >= MOST_MEASUREMENTS:
            raise InputError(sheet.file, "too many measurements", f"at most {MOST_MEASUREMENTS}")
        read.append(each)
    notes = tuple(fault.found for fault in sheet.faults.faults)
    above = [" ".join(filter(None, cells)) for cells in sheet.header.before]
    read = [hinted(each, above, "the lines above the table") for each in read]
    return [replace(each, notes=(*each.notes, *notes)) for each in read] if notes else read


# A row for each measurement: a column for each wavelength, or Lab or XYZ alone.


@dataclass(frozen=True, kw_only=True)
class _Block:
    """Columns of one spectrum, from the shortest wavelength, and what their names say."""

    places: tuple[int, ...] = ()
    grid: Array | None = None
    said: Said = field(default_factory=Said)


def _blocks(header: Header, file: str) -> list[_Block]:
    """The spectra that a row holds: one, or one for each specular component, quantity or backing."""
    spectral = [(nm, at) for at, each in enumerate(header.cells) if (nm := wavelength_in(each, plain=True)) is not None]
    if len(spectral) < LEAST_COLUMNS:
        return [_Block()]
    heads = _heads(header, [at for _, at in spectral]) if len({nm for nm, _ in spectral}) < len(spectral) else {}
    groups: dict[Said, list[tuple[float, int]]] = {}
    for nm, at in spectral:
        own, head = said_by([header.cells[at]]), heads.get(at, Said())
        key = replace(head, quantity=own.quantity or head.quantity, specular=own.specular or head.specular)
        groups.setdefault(key, []).append((nm, at))
    read, where = [], f"{file}, row {header.row}"
    # A single column such as R457 beside a spectrum is none of it.
    for head, group in [each for each in groups.items() if len(each[1]) >= LEAST_COLUMNS] or [(Said(), spectral)]:
        statistic = statistic_in("", {"kind": head.backing})
        if statistic == "deviation":
            continue
        _check_order([nm for nm, _ in group], where)
        places = tuple(at for _, at in sorted(group))
        grid = checked_wavelengths([nm for nm, _ in sorted(group)], where)
        scale = said_by(header.cells[at] for at in places).scale
        percent = scale == "percent" or all("%" in unit_of(header, at) for at in places)
        said = replace(head, backing="" if statistic else head.backing, scale="percent" * percent)
        read.append(_Block(places=places, grid=grid, said=said))
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
    triples = {name: [columns.index(e) for e in each] for name, each in triple_columns(columns).items()}
    labels, view = label_places(columns), view_in(columns[at] for at in itertools.chain(*triples.values()))
    taken = {*itertools.chain(*triples.values()), *(at for block in blocks for at in block.places)}
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
                yield replace(whole, **_values(sheet, row, block, triples))
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


def _values(sheet: Sheet, row: Row, block: _Block, triples: Mapping[str, Sequence[int]]) -> dict[str, Any]:
    """Spectrum, Lab and XYZ of a row; of the last two each unless all its cells are blank."""
    read: dict[str, Any] = {}
    if block.grid is not None:
        places, grid = without_gaps(row.cells, block.places, block.grid)
        values, in_percent = sheet.numbers(row, places)
        read = {"wavelengths": grid, "values": np.array(values), **({"scale": "percent"} if in_percent else {})}
    for name, triple in triples.items():
        if any(row.cells[at].lower() not in NO_VALUE for at in triple):
            read[name] = np.array(sheet.numbers(row, triple)[0])
    return read


# A row for each wavelength: samples one below the other, side by side, or in pairs of a wavelength and a value.


def _value_columns(header: Header, at: int) -> list[tuple[int, str, Said]]:
    """Where values stand: columns that are called reflectance, transmittance or values; else every other, as a sample.

    Of each the sample's name where that is its own, and what else it says.
    """
    read = []
    for place, each in enumerate(header.cells):
        for kind in value_kinds(each):
            percent = "%" in each + unit_of(header, place) or "percent" in each.lower() or quantity_in(each)[1]
            read.append((place, "", Said(kind, "percent" * percent, specular_in(each))))
    others = {place: each for place, each in enumerate(header.cells) if place != at and each} if not read else {}
    if any(quantity_in(each)[0] in ("absorbance", "emission") for each in others.values()):
        found = listed(others.values())
        raise InputError(f"the column of {found}", "no reflectance", "reflectance or transmittance")
    for place, each in others.items():
        name, told = parted(each)
        kind = {"t": "transmittance", "r": "reflectance"}.get("".join(re.findall(r"\b[rt]\b", told)), "")
        percent = "%" in told + unit_of(header, place)
        read.append((place, " ".join(name.split()), Said(kind, "percent" * percent, specular_in(told))))
    return read


def _points(sheet: Sheet, at: int) -> Iterator[Measurement]:
    columns = sheet.header.cells
    if sum(map(holds_wavelengths, columns)) > 1:
        yield from _paired(sheet)
        return
    values, own_name = _value_columns(sheet.header, at), name_above(sheet.header)
    kinds = [(said.quantity, said.specular) for _, name, said in values if not name]
    if len(set(kinds)) < len(kinds) or (len(kinds) > 1 and ("", "") in kinds):
        found = f"several columns of values, {listed(columns[place] for place, _, _ in values)}"
        raise InputError(sheet.file, found, "one, or one for reflectance and one for transmittance")
    places = [place for place, _, _ in values]
    labels = label_places(columns) if kinds else {}
    points: dict[Cells, array[float]] = {}
    rows: dict[Cells, tuple[Row, Row, bool]] = {}
    for row in sheet.checked():
        if (nm := without_nm(row.cells[at])) != row.cells[at]:
            row = replace(row, cells=(*row.cells[:at], nm, *row.cells[at + 1 :]))
        if all(row.cells[place].lower() in NO_VALUE for place in places) and is_spare(nm):
            continue
        in_percent = row.cells[places[0]].endswith("%")
        if in_percent:
            read = sheet.numbers(row, (at,))[0] + sheet.numbers(row, places)[0]
        else:
            read = sheet.numbers(row, (at, *places))[0]
        key = tuple([row.cells[label] for label in labels.values()])
        if not any(key) and rows:
            key = next(reversed(rows))  # as cells that are one over all rows of a sample leave them
        points.setdefault(key, array("d")).extend(read)
        rows[key] = (rows[key][0] if key in rows else row, row, in_percent)
    if not points:
        raise InputError(sheet.file, "no row below the header", "a row for each wavelength")
    for key, held in points.items():
        first, last, in_percent = rows[key]
        words = {column: cell for column, cell in zip(columns, first.cells, strict=True) if number(cell) is None}
        told = labelled(sheet, first, labels, words={} if values[0][1] else words, name=own_name)
        where = f"{sheet.file}, rows {first.number} to {last.number}" + (f" ({shown(told.name)})" if labels else "")
        table = np.array(held).reshape(-1, 1 + len(places))
        check_count(len(table), where)
        table = table[np.argsort(table[:, 0], kind="stable")]
        grid = checked_wavelengths(table[:, 0].tolist(), where)
        for column, (place, name, said) in enumerate(values, start=1):
            own = _of_column(sheet, place, name, own_name) if name else told
            start = with_said(own, replace(said, scale="percent" if in_percent else said.scale), where)
            yield replace(start, wavelengths=grid, values=table[:, column])


def _of_column(sheet: Sheet, at: int, name: str, above: str) -> Measurement:
    """What the rows above say of a sample that has a column of its own, each by its first cell."""
    rows = [cells for cells in sheet.header.before if len(cells) == len(sheet.header.cells)]
    facts = {cells[0]: cells[at] for cells in rows if cells[0] and cells[at]}
    row = Row(sheet.header.row, tuple(facts.values()))
    told = labelled(sheet, row, label_places(tuple(facts)), words=facts, name=name)
    told = replace(told, name=name, place=f"column {shown(sheet.header.cells[at])}")
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
