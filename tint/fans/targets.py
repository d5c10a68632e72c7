"""Targets as plain values, read from a table or a file of colours, and each of them solved.

A table has a row for each; an instrument's file (CGATS, CxF and others) a name. What holds for all of them is `Common`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from msgspec import Struct, field

from tint import colorimetry, decoding, verbs
from tint.appearance import Setting
from tint.errors import Gathered, InputError, TintError, did_you_mean, listed
from tint.files import bytes_of
from tint.given import setting_of, verb
from tint.palette import Palette
from tint.recipes import Answer, Rules
from tint.swatches.instruments import Given, Measurement
from tint.swatches.one_reading import mean_of, samples_of
from tint.swatches.sheets import sheets_of
from tint.swatches.tables import Row, Table, check_marks, read_table
from tint.swatches.text import decoded, held_in, number, why_no_number
from tint.target import Target, solid_unless_told

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


def wish_of(given: Wish | Mapping[str, Any], number: int) -> Wish:
    """A wish as given, or from its fields by name; InputError if a field is unknown or of the wrong kind."""
    if isinstance(given, Wish):
        return given
    if not isinstance(given, Mapping):
        raise InputError(f"target {number}", f"a {type(given).__name__}", _FORM)
    wish: Wish = decoding.converted(dict(given), Wish, where=f"target {number}", form=_FORM)
    return wish


def arguments(palette: Palette, wish: Wish, common: Common) -> dict[str, Any]:
    """The arguments of `tint.solve` that ask for one wish."""
    opacity = common.opacity if wish.opacity is None else wish.opacity
    asked: dict[str, Any] = {
        "opacity": opacity,
        "tolerance": common.tolerance if wish.tolerance is None else wish.tolerance,
        "base": wish.base or common.base,
        "walls_mm": wish.walls_mm or common.walls_mm,
        "rules": common.rules,
        **common.seen,
    }
    if wish.spectrum is None:
        return asked | {"lab": wish.lab, "srgb": wish.srgb}
    target = Target(lab=np.array(wish.lab), spectrum=np.array(wish.spectrum), source=wish.name)
    return asked | {"target": target if opacity is not None else solid_unless_told(target, palette)}


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
    """The targets of a file.

    They come in the order of the file; a row whose cells are at fault is a wish with that fault. InputError if the file
    cannot be read, or its header is at fault.

    Parameters
    ----------
    path : path-like
        A table with the columns `colour` (`#rrggbb`) or `L`, `a`, `b`; and, all optional, `name`, `opacity`,
        `tolerance`, `walls_mm` (several apart by blanks), `base`, `note`. Else a file of readings as `tint import`
        takes it: each name is a target.
    common : Common
        Tells the light, the backing and the geometry in which readings count.
    said : Given, optional
        What is true of a file of readings where it does not say so.
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
    return [_wish(table, row, faults.file, of_row.get(row.number, "")) for row in table.rows]


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
        lab = tuple(_number(cell, row, column, file) for column in _LAB if (cell := table.cell(row, column)))
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
            tolerance=_number(tolerance, row, "tolerance", file) if tolerance else None,
            walls_mm=tuple(_number(each, row, "walls_mm", file) for each in walls),
            base=table.cell(row, "base") or None,
        )
    except InputError as error:
        return Wish(name=name, fault=str(error))


def _number(cell: str, row: Row, column: str, file: str) -> float:
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


# What one target may fail by without stopping the others: what tint says on purpose, and arithmetic that broke down.
FAILURES = (TintError, ArithmeticError, np.linalg.LinAlgError)


@dataclass(frozen=True, kw_only=True, eq=False)
class Solved:
    """A target and what came of it."""

    number: int  # its place among all, from 1
    wish: Wish
    answer: Answer | None = None  # as `tint.solve` gives it; absent where it failed
    fault: str = ""  # why it failed, in a line; empty where it did not


@verb
def solve_many(
    palette: Palette, targets: str | Path | Iterable[Wish | Mapping[str, Any]], *,
    opacity: str | float | Sequence[float] | None = None, tolerance: float | None = None, base: str | None = None,
    thickness_mm: float | None = None, walls_mm: Sequence[float] = (), rules: Rules | None = None,
    said: Given | None = None, **seen: Any,
) -> Iterator[Solved]:  # fmt: skip
    """Recipes for many targets, in their order, each as it is found.

    Parameters
    ----------
    targets : path-like, or iterable of Wish or of mappings
        A table or a file of colours, as `tint.fans.read_targets` takes it; `tint.fans.lattice`; or any iterable, of
        which one is taken at a time.
    opacity, tolerance, base, thickness_mm, walls_mm, rules, said, **seen
        As in `tint.solve`; for the targets that do not say otherwise.

    Returns
    -------
    iterator of Solved
        The same answers as `tint.solve` gives one by one. A target that fails has its reason, and the next follows.

    Raises
    ------
    InputError
        If the file cannot be read.

    Examples
    --------
    >>> wishes = [{"name": "jar", "lab": (70, -12, 8)}, {"name": "lid", "srgb": "#e8701"}]
    >>> found = list(tint.solve_many(palette, wishes, base="clear", thickness_mm=3))
    >>> found[0].answer.best.reached, found[1].answer, found[1].wish.name
    (True, None, 'lid')
    """
    walls = tuple(walls_mm) or (() if thickness_mm is None else (thickness_mm,))
    asked = opacity if opacity is None or isinstance(opacity, str | float) else (opacity[0], opacity[1])
    common = Common(
        opacity=asked, tolerance=tolerance, walls_mm=walls, base=base, rules=rules or Rules(), seen=dict(seen)
    )
    common.setting()  # an argument that there is not is no fault of the first target
    wishes: Iterable[Wish | Mapping[str, Any]]
    wishes = read_targets(targets, palette, common, said=said) if isinstance(targets, str | Path) else targets
    return (solved(palette, wish_of(each, at), common, at) for at, each in enumerate(wishes, start=1))


def solved(palette: Palette, wish: Wish, common: Common, place: int, *, best_only: bool = False) -> Solved:
    """One target, with its reason where it fails; `best_only` as in `tint.solve`."""
    if wish.fault:
        return Solved(number=place, wish=wish, fault=wish.fault)
    try:
        told = arguments(palette, wish, common)
        answer = verbs.solve(palette, loosen=not best_only, best_only=best_only, **told)
        return Solved(number=place, wish=wish, answer=answer)
    except FAILURES as error:
        return Solved(number=place, wish=wish, fault=str(error) or type(error).__name__)
