"""Targets as plain values, read from a table or a file of colours.

A table has a row for each; an instrument's file (CGATS, CxF and others) a name. What holds for all of them is `Common`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from msgspec import Struct, field, structs

from tint import colorimetry, kinds
from tint.appearance import Setting
from tint.errors import Gathered, InputError, TintError, did_you_mean, listed
from tint.files import bytes_of
from tint.given import setting_of
from tint.palette import Palette
from tint.recipes import Rules
from tint.swatches.instruments import Given, Measurement
from tint.swatches.one_reading import mean_of, samples_of
from tint.swatches.tables import Row, Table, check_marks, read_table
from tint.swatches.text import decoded, held_in, number, why_no_number
from tint.swatches.workbook import sheets_of

_FORM = "name, and lab or srgb; opacity, tolerance, walls_mm, base as in tint.solve"
_LEAST_STEP = 1.0  # CIELAB: a finer lattice has more than 800,000 colours


class Wish(Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """One target of many."""

    name: str = ""
    lab: tuple[float, float, float] | None = None  # CIELAB in the light and observer of all; or `srgb`
    srgb: str | None = None  # a screen colour `#rrggbb`, matched with the specular reflection excluded
    # beside `lab`, of a colour that was measured: reflectance on the palette's wavelengths [-]
    spectrum: tuple[float, ...] | None = None
    # as in `tint.solve`; what holds for all when absent
    opacity: str | float | tuple[float, float] | None = None
    tolerance: float | None = None
    walls_mm: tuple[float, ...] = ()  # wall thicknesses of the part; those of all when empty [mm]
    base: str | None = None
    fault: str = ""  # why it cannot be solved, where its row says nothing that could be


class Common(Struct, kw_only=True, frozen=True):
    """What holds for every target that does not say otherwise; fields are the arguments of `tint.solve`."""

    opacity: str | float | tuple[float, float] | None = None
    tolerance: float | None = None
    walls_mm: tuple[float, ...] = ()
    base: str | None = None
    rules: Rules = field(default_factory=Rules)
    seen: Mapping[str, Any] = field(default_factory=dict)  # `over`, `seat`, `light`, `observer`, `geometry`

    def setting(self) -> Setting:
        """The light and the backing of all; its thickness is the first wall, or 1 mm where each row has its own."""
        return setting_of(None, min(self.walls_mm, default=1.0), self.seen)

    def of(self, wish: Wish) -> Common:
        """What holds for one target: what it says itself, and else this."""
        own: dict[str, object] = {"opacity": wish.opacity, "tolerance": wish.tolerance}
        own |= {"walls_mm": wish.walls_mm or None, "base": wish.base or None}
        return structs.replace(self, **{name: value for name, value in own.items() if value is not None})


def wish_of(given: Wish | Mapping[str, Any], number: int) -> Wish:
    """A wish as given, or from its fields by name; InputError if a field is unknown or of the wrong kind."""
    if isinstance(given, Wish):
        return given
    if not isinstance(given, Mapping):
        raise InputError(f"target {number}", f"a {type(given).__name__}", _FORM)
    wish: Wish = kinds.converted(dict(given), Wish, where=f"target {number}", form=_FORM)
    return wish


def lattice(spacing: float, palette: Palette, common: Common) -> Iterator[Wish]:
    """CIELAB at equal distances, as far as a screen can show it in the light of `common`, by rising lightness.

    `spacing` is that between neighbours in L*, a* and b* [-]. InputError if the spacing is less than 1 or more than 50.
    """
    if not _LEAST_STEP <= spacing <= 50.0:
        raise InputError("lattice", f"a spacing of {spacing:g}", "from 1 to 50 units of CIELAB")
    view = common.setting().viewing(palette)
    n = int(130 // spacing)
    side = spacing * np.arange(-n, n + 1)
    for level in spacing * np.arange(1, int(100 // spacing) + 1):
        plane = np.stack(np.meshgrid([level], side, side, indexing="ij"), axis=-1).reshape(-1, 3)
        _, shown = colorimetry.lab_to_srgb(plane, view)
        for light, red, yellow in plane[shown].tolist():
            yield Wish(name=f"{light:g} {red:g} {yellow:g}", lab=(light, red, yellow))


_LAB = ("L", "a", "b")
_NUMBERS = (*_LAB, "tolerance", "walls_mm")
_OF_TARGETS = {"colour", "opacity", "tolerance", "walls_mm"}
COLUMNS = ("name", "colour", *_LAB, "opacity", "tolerance", "walls_mm", "base", "note")


def read_targets(
    path: str | Path, palette: Palette, common: Common, *, said: Given | None = None
) -> Sequence[Wish] | Iterator[Wish]:
    """The targets of a file in their order; a row whose cells are at fault is a wish with that fault.

    The file is a table with the columns `colour` (`#rrggbb`) or `L`, `a`, `b`; and, all optional, `name`, `opacity`,
    `tolerance`, `walls_mm` (several apart by blanks), `base`, `note`. Else it holds readings as `tint import` takes
    them, and each name is a target: `common` tells the light, the backing and the geometry in which they count, `said`
    what is true of them where the file does not say so. InputError if it cannot be read, or its header is at fault.
    """
    data = bytes_of(path)
    faults = Gathered(str(path))
    is_book = bool(held_in(data))
    texts = [text for _, text in sheets_of(data, str(path))] if is_book else [decoded(data, faults)]
    table = next((found for text in texts if text and (found := _table(text, faults)) is not None), None)
    if (
        is_book
        and table is not None
        and not _OF_TARGETS & set(table.columns)
        and not set(table.columns) <= set(COLUMNS)
    ):
        table = None  # a sheet of an instrument, with columns of its own
    if table is None or any(number(column) is not None for column in table.columns):
        return _measured(str(path), samples_of(str(path), said=said), palette, common)
    check_header(table, faults)
    of_row = {fault.row: str(fault) for fault in reversed(faults.faults) if fault.grave}
    wishes = [_wish(table, row, faults.file, of_row.get(row.number, "")) for row in table.rows]
    _check_names(faults.file, table, wishes)
    return wishes


def _check_names(file: str, table: Table, wishes: Sequence[Wish]) -> None:
    """Refuse two rows of one name, which recipes go by; in several bases or walls a colour keeps its name."""
    first: dict[object, int] = {}
    for row, wish in zip(table.rows, wishes, strict=True):
        at = first.setdefault((wish.name, wish.base, wish.walls_mm, wish.opacity), row.number)
        if at != row.number and not wish.fault:
            found = f"both are called `{wish.name}`, of one base, wall and opacity"
            raise InputError(f"{file}, rows {at} and {row.number}", found, mend="rename or remove one")


def _table(text: str, faults: Gathered) -> Table | None:
    """The table of targets, which needs no names: each is then called after its row. None where it is none."""
    for first in ("name", "colour", "L"):
        own = Gathered(faults.file)
        table = read_table(text, own, first=first)
        if table is not None:
            faults.faults.extend(own.faults)
            return table
    return None


def check_header(table: Table, faults: Gathered) -> None:
    """Refuse a table of targets whose columns are not known, or that mixes decimal marks."""
    for column in table.columns:
        if column and column not in COLUMNS:
            is_wall = column.startswith(("thickness", "wall"))
            otherwise = "rename it walls_mm" if is_wall else "rename it `note`, or remove it"
            mend = did_you_mean(column, COLUMNS, otherwise=otherwise)
            faults.grave(f"there is no column {column}", row=table.header_row, expected=listed(COLUMNS), mend=mend)
    if "colour" not in table.columns and not set(_LAB) <= set(table.columns):
        faults.grave("no column tells a colour", row=table.header_row, expected="colour, or L, a and b")
    check_marks(table, _NUMBERS, faults)
    rows = {row.number for row in table.rows if not row.whole}
    for fault in faults.faults:  # what is wrong with one row is told in that row
        if fault.grave and fault.row not in rows:
            raise fault.error


def _wish(table: Table, row: Row, file: str, own: str) -> Wish:
    name = table.cell(row, "name") or f"row {row.number}"
    if own:
        return Wish(name=name, fault=own)
    try:
        lab = tuple(number_of(cell, row, column, file) for column in _LAB if (cell := table.cell(row, column)))
        colour = table.cell(row, "colour") or None
        if (len(lab) == 3) == (colour is not None) or len(lab) not in (0, 3):
            raise InputError(f"{file}, row {row.number}", "not one colour", "#rrggbb, or all of L, a, b")
        tolerance = table.cell(row, "tolerance")
        walls = [part for part in re.split(r"[\s;/]+", table.cell(row, "walls_mm")) if part]
        return Wish(
            name=name,
            lab=(lab[0], lab[1], lab[2]) if lab else None,
            srgb=colour,
            opacity=table.cell(row, "opacity") or None,
            tolerance=number_of(tolerance, row, "tolerance", file) if tolerance else None,
            walls_mm=tuple(number_of(each, row, "walls_mm", file) for each in walls),
            base=table.cell(row, "base") or None,
        )
    except InputError as error:
        return Wish(name=name, fault=str(error))


def number_of(cell: str, row: Row, column: str, file: str) -> float:
    value = number(cell)
    if value is None:
        found, mend = why_no_number(cell)
        raise InputError(f"{file}, row {row.number}, column {column}", found, "a number", mend)
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
