"""Targets from a file: a table with a row for each, or the colours of an instrument's file (CGATS, CxF and others)."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from pathlib import Path

from tint.errors import Gathered, InputError, TintError, did_you_mean, listed
from tint.fans.wish import Common, Wish
from tint.palette import Palette
from tint.swatches.instruments import Given, Measurement
from tint.swatches.one_reading import mean_of, samples_of
from tint.swatches.tables import Row, Table, check_marks, read_table
from tint.swatches.text import decoded, held_in, number, why_no_number

_LAB = ("L", "a", "b")
_NUMBERS = (*_LAB, "tolerance", "walls_mm")
COLUMNS = ("name", "colour", *_LAB, "opacity", "tolerance", "walls_mm", "base", "note")


def read_targets(
    path: str | Path, palette: Palette, common: Common, *, said: Given | None = None
) -> Sequence[Wish] | Iterator[Wish]:
    """The targets of a file.

    Parameters
    ----------
    path : path-like
        A table with the columns `name`; `colour` (`#rrggbb`) or `L`, `a`, `b`; and, all optional, `opacity`,
        `tolerance`, `walls_mm` (several apart by blanks), `base`, `note`. Else a file of readings as `tint import`
        takes it: each name is a target.
    common : Common
        Tells the light, the backing and the geometry in which readings count.
    said : Given, optional
        What is true of a file of readings where it does not say so.

    Returns
    -------
    sequence or iterator of Wish
        In the order of the file. A row whose cells are at fault is a wish with that fault.

    Raises
    ------
    InputError
        If the file cannot be read, or its header is at fault.
    """
    file = Path(path)
    try:
        data = file.read_bytes()
    except OSError as error:
        raise InputError(str(path), f"cannot be read ({error.strerror})", mend="check the name") from error
    faults = Gathered(str(path))
    text = None if held_in(data) else decoded(data, faults)
    table = None if text is None else read_table(text, faults, first="name")
    if table is None or any(number(column) is not None for column in table.columns):
        return _measured(str(path), samples_of(str(path), said=said), palette, common)
    check_header(table, faults)
    of_row = {fault.row: str(fault) for fault in reversed(faults.faults) if fault.grave}
    return [_wish(table, row, faults.file, of_row.get(row.number, "")) for row in table.rows]


def check_header(table: Table, faults: Gathered) -> None:
    """Refuse a table of targets whose columns are not known, or that mixes decimal marks."""
    for column in table.columns:
        if column and column not in COLUMNS:
            mend = did_you_mean(column, COLUMNS, otherwise="rename it `note`, or remove it")
            faults.grave(f"there is no column {column}", row=table.header_row, expected=listed(COLUMNS), mend=mend)
    if "colour" not in table.columns and not set(_LAB) <= set(table.columns):
        faults.grave("no column tells a colour", row=table.header_row, expected="colour, or L, a and b")
    check_marks(table, _NUMBERS, faults)
    rows = {row.number for row in table.rows if not row.whole}
    for fault in faults.faults:  # what is wrong with one row is told in that row
        if fault.grave and fault.row not in rows:
            raise InputError(fault.where, fault.found, fault.expected, fault.mend)


def _wish(table: Table, row: Row, file: str, own: str) -> Wish:
    name = table.cell(row, "name") or f"row {row.number}"
    if own:
        return Wish(name=name, fault=own)
    try:
        lab = tuple(_number(table, row, column, file) for column in _LAB if table.cell(row, column))
        colour = table.cell(row, "colour") or None
        if (len(lab) == 3) == (colour is not None) or len(lab) not in (0, 3):
            raise InputError(f"{file}, row {row.number}", "not one colour", "#rrggbb, or all of L, a, b")
        walls = [part for part in re.split(r"[\s;/]+", table.cell(row, "walls_mm")) if part]
        return Wish(
            name=name,
            lab=(lab[0], lab[1], lab[2]) if lab else None,
            srgb=colour,
            opacity=table.cell(row, "opacity") or None,
            tolerance=_number(table, row, "tolerance", file) if table.cell(row, "tolerance") else None,
            walls_mm=tuple(_of(each, f"{file}, row {row.number}, column walls_mm") for each in walls),
            base=table.cell(row, "base") or None,
        )
    except InputError as error:
        return Wish(name=name, fault=str(error))


def _number(table: Table, row: Row, column: str, file: str) -> float:
    return _of(table.cell(row, column), f"{file}, row {row.number}, column {column}")


def _of(cell: str, where: str) -> float:
    value = number(cell)
    if value is None:
        found, mend = why_no_number(cell)
        raise InputError(where, found, "a number", mend)
    return value


def _measured(file: str, samples: Sequence[Measurement], palette: Palette, common: Common) -> Iterator[Wish]:
    """Every name of a file of readings, as it is seen in the setting of all."""
    setting = common.setting()
    view, over = setting.viewing(palette), setting.behind(palette)
    told = {"backing": over, "seat": "air" if over == "none" else setting.seat, "quantity": "reflectance"}
    geometry = setting.geometry or palette.instrument.geometry
    by_name: dict[str, list[Measurement]] = {}
    for each in samples:
        by_name.setdefault(each.name, []).append(each)
    for name, own in by_name.items():
        where = f"{file}:{name}"
        try:
            read = mean_of(where, own, name=name, onto=palette.wavelengths, told=told, geometry=geometry)
            light, red, yellow = map(float, read.seen(view))
        except TintError as error:
            yield Wish(name=name, fault=str(error))
            continue
        spectrum = None if read.spectrum is None else tuple(map(float, read.spectrum))
        yield Wish(name=name, lab=(light, red, yellow), spectrum=spectrum)
