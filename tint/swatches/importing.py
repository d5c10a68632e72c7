"""Measurements of an instrument taken over into readings.csv: planned as a whole, then written whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from tint.colorimetry import Viewing, viewing
from tint.errors import FolderError, Gathered, InputError, did_you_mean, shown
from tint.files import write_whole
from tint.spectra import Array, grid_fault
from tint.swatches.casts import Casts
from tint.swatches.declaration import Declared, check_light
from tint.swatches.folder import Content, contents_of, read_cast
from tint.swatches.import_plan import FAULT, GOING, LEFT_OUT, NEW, OTHERWISE, Doubles, Import, Namer, Naming, Planned
from tint.swatches.instruments import Measurement
from tint.swatches.instruments.measurement import as_colour, check_xyz_scale, on_grid
from tint.swatches.instruments.words import disagrees, statistic_in
from tint.swatches.measured import read_measured
from tint.swatches.records import COLOUR_GRID_NM, COLOURS, PALETTE_FILE, READINGS_FILE, SPECTRA, SWATCHES_FILE, THROUGH
from tint.swatches.rewriting import DECIMALS, Written, as_written, begun, composed, doubled, with_column
from tint.swatches.workbook import BOOK_FILE, with_tables


def plan_import(
    folder: str | os.PathLike[str],
    measurements: Sequence[Measurement],
    *,
    naming: Naming | None = None,
    doubles: Doubles | None = None,
) -> Import:
    """Find for every measurement its row in a folder's readings.csv; nothing is written.

    The plan has all faults of all measurements. InputError if the folder cannot be read, or `naming` makes no sense.

    Where the folder has no readings.csv it is begun, on the wavelengths of the first measurement that goes in, or with
    colours where that has no spectrum. `naming` is what the user says of the names in the files, `doubles` what may
    happen to those that cannot go in as they are.
    """
    naming, doubles = naming or Naming(), doubles or Doubles()
    if doubles.add and doubles.replace:
        raise InputError("--add", "given together with --replace", "one or the other")
    where = Path(folder)
    declared, casts = read_cast(where)
    words = [each.backing for each in measurements]
    namer = Namer(naming, swatches=casts.rows, backings=declared.backings, words=words)
    names = [each.name for each in measurements]
    for name in naming.same:
        if name not in names:
            raise InputError(f"--as {shown(name)}", "no measurement has that name", mend=did_you_mean(name, names))
    placed = _of_own_geometry([_checked(each, namer, declared, doubles) for each in measurements], declared)
    contents = contents_of(where)
    content, is_missing = contents[READINGS_FILE], contents[READINGS_FILE].is_missing
    written = _first(placed, where / READINGS_FILE) if is_missing else _written(where, content, declared, casts)
    # A sheet of the workbook has the readings, or will, where another sheet is in use.
    in_book = content.is_sheet or (is_missing and contents[SWATCHES_FILE].is_sheet)
    wavelengths = np.array(list(written.wavelengths.values()))
    view = _view(where, declared) if written.kind == COLOURS else None
    if view is not None:
        check_xyz_scale(each.measurement for each in placed if each.action == NEW)
    placed = [_with_values(each, wavelengths, view) if each.action == NEW else each for each in placed]
    placed = doubled(placed, written, doubles)
    placed, data = composed(placed, _widened(written, placed), declared, casts)
    return Import(
        path=where / (BOOK_FILE if in_book else READINGS_FILE),
        planned=tuple(placed),
        data=data,
        was=written.data,
        kind=written.kind,
        wavelengths=wavelengths,
        view=view,
    )


def _widened(written: Written, placed: Sequence[Planned]) -> Written:
    """With the columns that what goes in needs beyond those that are there."""
    going = [each for each in placed if each.action in GOING]
    needed = {
        "quantity": any(each.quantity in THROUGH for each in going),
        "source": any(each.measurement.source for each in going),
    }
    for column in filter(needed.get, needed):
        written = with_column(written, column)
    return written


def _view(folder: Path, declared: Declared) -> Viewing:
    """The light and observer of a folder of colours; FolderError if palette.toml does not state them."""
    faults = Gathered(PALETTE_FILE)
    check_light(declared, COLOURS, faults)
    own = declared.instrument
    if own is None or own.light is None or own.observer is None:
        raise FolderError(str(folder), faults.faults)
    return viewing(COLOUR_GRID_NM, light=own.light, observer=own.observer)


def write_import(plan: Import, *, into_workbook: bool = False) -> None:
    """Write what was planned, whole or not at all.

    `into_workbook` says whether a workbook may be written to, where the readings stand in one. InputError if the plan
    has faults, or the file cannot be written; ChangedError if readings.csv is no longer what it was when this was
    planned: plan it again.
    """
    if plan.faults:
        first, more = plan.faults[0], len(plan.faults) - 1
        rest = f"and {more} more: add --dry-run to see all" if more else ""
        mend = "; ".join(part for part in (first.mend, rest) if part)
        raise InputError(first.where, first.found, first.expected, mend)
    if not plan.data:
        return
    if plan.path.name != BOOK_FILE:
        write_whole(plan.path, plan.data, was=plan.was)
        return
    if not into_workbook:
        found = "the readings stand in this workbook, which is written to on request only"
        raise InputError(str(plan.path), found, mend="close it and add --into-workbook")
    before, after = with_tables(plan.path, {READINGS_FILE: (plan.was, plan.data)})
    write_whole(plan.path, after, was=before)


def _checked(measurement: Measurement, namer: Namer, declared: Declared, doubles: Doubles) -> Planned:
    """Where a measurement belongs, and whether it was made as the folder's are."""
    quantity = namer.quantity(measurement)
    start = Planned(measurement=measurement, action=NEW, quantity=quantity, notes=measurement.notes)
    try:
        place = namer.place(measurement, quantity)
    except InputError as error:
        return replace(start, action=FAULT, fault=error)
    if place is None:
        return replace(start, action=LEFT_OUT) if doubles.skip_unknown else _unknown(start, namer)
    own = declared.instrument.geometry if declared.instrument else ""
    told = measurement.geometry
    if not disagrees(told, own, quantity):
        return replace(start, place=place)
    found = f"{shown(measurement.name)} was read in the geometry {shown(told)}"
    expected = "total transmittance" if quantity in THROUGH else f"{own}, as {PALETTE_FILE} says"
    if doubles.force:
        return replace(start, place=place, warnings=(f"{measurement.where}: {found}, not {expected}; taken over",))
    mend = "export it in that geometry, or take it over all the same with --force"
    return replace(start, place=place).refused(found, expected, mend)


def _of_own_geometry(placed: Sequence[Planned], declared: Declared) -> list[Planned]:
    """Of what was read with and without the specular reflection, the folder's geometry; the other is left out.

    So is a mean beside the readings that it is of.
    """
    own = declared.instrument.geometry if declared.instrument else ""
    fitting = {each.key for each in placed if each.action == NEW and own and each.measurement.geometry == own}
    single = {each.key for each in placed if each.action == NEW and not _is_mean(each.measurement)}

    def kept(each: Planned) -> Planned:
        if each.action == NEW and each.key in single and _is_mean(each.measurement):
            note = "left out: a mean of readings that are there too"
            return replace(each, action=LEFT_OUT, notes=(*each.notes, note))
        if each.key not in fitting or not disagrees(each.measurement.geometry, own, each.quantity):
            return each
        note = (
            f"left out: it was read as {each.measurement.geometry}, and is there as {own} too, as {PALETTE_FILE} says"
        )
        return replace(each, action=LEFT_OUT, fault=None, warnings=(), notes=(*each.notes, note))

    return [kept(each) for each in placed]


def _is_mean(measurement: Measurement) -> bool:
    return statistic_in(measurement.name, measurement.told) == "mean"


def _unknown(start: Planned, namer: Namer) -> Planned:
    name = start.measurement.name
    found = f"{shown(name)} is no swatch of {SWATCHES_FILE} and no backing of {PALETTE_FILE}"
    names = (*namer.swatches, *namer.backings)
    mend = namer.suggestion(start.measurement) or did_you_mean(name, names, otherwise=OTHERWISE)
    return start.refused(found, mend=mend)


def _written(folder: Path, content: Content, declared: Declared, casts: Casts) -> Written:
    """readings.csv as it stands; FolderError if its header is at fault."""
    if content.fault is not None:
        raise FolderError(str(folder), [content.fault])
    written = as_written(content.data or b"", content.file, folder=str(folder))
    faults = Gathered(content.file)
    read_measured(written.table, declared, casts.rows, faults)
    if head := [fault for fault in faults.faults if fault.grave and fault.row == written.table.header_row]:
        raise FolderError(str(folder), head)
    return written


def _first(placed: Sequence[Planned], file: Path) -> Written:
    """The header that the first measurement calls for: of its wavelengths, or of colours."""
    first = next((each.measurement for each in placed if each.action == NEW), None)
    if first is None:
        for each in placed:
            if each.fault is not None:
                raise each.fault
        raise InputError(str(file), "there is none yet, and no measurement that could begin it", "one of a swatch")
    if first.wavelengths is not None and (fault := grid_fault(first.wavelengths)):
        raise InputError(str(file), f"there is none yet, and it cannot begin with the wavelengths measured: {fault}")
    return begun(first.wavelengths)


def _with_values(planned: Planned, wavelengths: Array, view: Viewing | None) -> Planned:
    """With its spectrum on the folder's wavelengths, or its colour in the folder's light, as it will be written."""
    measurement = planned.measurement
    try:
        if view is None:
            values, note = on_grid(measurement, wavelengths)
            notes = planned.notes + ((note,) if note else ())
            return replace(planned, values=np.round(values, DECIMALS[SPECTRA]), notes=notes)
        if planned.quantity in THROUGH:
            found = f"{shown(measurement.name)} is {planned.quantity}, but the folder holds colours"
            raise InputError(measurement.where, found, "reflectance", "leave it out")
        lab, notes = as_colour(measurement, view)
        notes = tuple(dict.fromkeys([*planned.notes, *notes]))
        return replace(planned, values=np.round(lab, DECIMALS[COLOURS]), notes=notes)
    except InputError as error:
        return replace(planned, action=FAULT, fault=error)
