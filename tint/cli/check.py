"""`tint check`: what is wrong or thin in a swatch folder, and what a metrologist would ask about its castings."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

import click

from tint.checks import Finding, LeftOut, examine, left_out, unstated_spot
from tint.cli import options, show
from tint.cli.fit import circumstances_in_words, seen_in
from tint.cli.keys import Command
from tint.errors import Fault, InputError
from tint.fitting.report import circumstances as circumstances_of
from tint.folders import as_it_stands
from tint.palette import Circumstances
from tint.swatches import COLOURS, PHOTOGRAPH, SwatchFolder, inspect_folder

_WORST = 8  # swatches, which a terminal shows without scrolling; no source


@dataclass(frozen=True)
class _Examined:
    """What was found in a folder that can be used; no errors where nothing was fitted."""

    findings: tuple[Finding, ...] = ()
    errors: LeftOut | None = None
    unstated_spot: str = ""


@click.command("check", cls=Command)
@options.folder
@options.flag("--quick", "Do not fit: skip what only a fit of all castings can tell.")
@options.as_json
def command(folder: Path, quick: bool) -> None:
    """Check a swatch folder for mistakes and for gaps.

    Example: tint check swatches_demo

    The exit status is 2 when a fault keeps the folder from being used; warnings and findings leave it at 0. Nothing is
    written.
    """
    read, faults = inspect_folder(folder)
    examined = _Examined() if read is None else _examine(read, quick=quick)
    show.answer(_as_json(folder, read, faults, examined), lambda out: _show(out, folder, read, faults, examined))
    grave = sum(fault.grave for fault in faults)
    if grave:
        found = f"{show.counted(grave, 'fault')} {'keeps' if grave == 1 else 'keep'} it from being used"
        raise InputError(str(folder), found, mend="mend what is listed, then check again")


def _examine(read: SwatchFolder, *, quick: bool) -> _Examined:
    if quick or not read.readings:
        return _Examined(examine(read))
    with show.waiting(f"examining {show.counted(len(read.swatches), 'swatch', 'swatches')}"):
        palette, fitted = as_it_stands(read, optics=options.DEFAULT_OPTICS)
        return _Examined(examine(read, palette, fitted), left_out(read, palette), unstated_spot(read, palette))


def _show(
    out: show.Page, folder: Path, read: SwatchFolder | None, faults: Sequence[Fault], examined: _Examined
) -> None:
    for file, of_file in groupby(faults, key=lambda fault: fault.file):
        out.print(file, style=show.HEAD)
        rows = map(_row, sorted(of_file, key=lambda fault: fault.row or 0))
        out.table(("<", "row", "<column", "~found", "~what mends it"), rows, indent=2)
        out.print()
    if read is not None:
        out.print(_contents(read))
        _show_findings(out, examined.findings)
        if examined.unstated_spot:
            out.apart(f"{examined.unstated_spot}\n", style=show.QUIET)
        if examined.errors is not None:
            _show_errors(out, examined.errors, seen_in(read.instrument, read.kind))
    grave = sum(fault.grave for fault in faults)
    asked = "" if read is None else f" {show.counted(len(examined.findings), 'finding')}."
    out.print(f"{folder}: {show.counted(grave, 'fault')}, {show.counted(len(faults) - grave, 'warning')}.{asked}")


def _show_findings(out: show.Page, findings: Sequence[Finding]) -> None:
    """Three sentences to a finding: what is seen, what it does, what mends it."""
    from rich.padding import Padding
    from rich.text import Text

    for each in findings:
        out.apart(Text.assemble((each.kind.replace("_", " "), show.CARE), ": ", (each.where, show.HEAD)))
        for told in (each.words, f"Effect: {each.effect}", f"Mend: {each.mend}"):
            out.print(Padding(told, (0, 0, 0, 2), expand=False))
    if findings:
        out.print()


def _show_errors(out: show.Page, errors: LeftOut, seen_in: str) -> None:
    if not errors.swatches:
        out.print("No reflectance reading of a casting can be predicted from the other castings (leave-one-out).\n")
        return
    worst = list(errors.swatches.items())[:_WORST]
    median = show.fixed(statistics.median(errors.swatches.values()), 2)
    head = f"Each casting predicted from the others (leave-one-out): median {median} CIEDE2000; the {len(worst)} worst"
    out.apart(head, style=show.HEAD)
    out.table(("<swatch", "CIEDE2000"), [(name, show.fixed(error, 2)) for name, error in worst], indent=2)
    out.print()
    pigments = [(name, show.fixed(error, 2)) for name, error in errors.pigments.items()]
    out.table(("<pigment", "CIEDE2000"), pigments, indent=2)
    out.print(
        f"Root mean square of reflectance readings, worst first; {seen_in}.\n"
        "Where a number is large and no finding says why, no other casting shows the same: pour one like it.\n",
        style=show.QUIET,
    )


def _row(fault: Fault) -> tuple[Any, ...]:
    from rich.text import Text

    sort = Text("fault", style=show.ALARM) if fault.grave else Text("warning", style=show.CARE)
    found = "; ".join(part for part in (fault.found, fault.expected) if part)
    return sort, "" if fault.row is None else str(fault.row), fault.column or "", found, fault.mend


def _contents(read: SwatchFolder) -> str:
    how = "".join(f"\n{base}: {words}." for base, words in circumstances_in_words(_circumstances(read)))
    readings, off = show.counted(len(read.readings), "reading"), _photographed(read)
    if off:
        readings += f" ({'all of them' if off == len(read.readings) else off} off photographs)"
    grid = read.wavelengths
    values = f"{grid[0]:g} to {grid[-1]:g} nm by {grid[1] - grid[0]:g} nm"
    if read.kind == COLOURS:
        values = f"L*, a*, b* in {read.instrument.light} for {read.instrument.observer}°"
    declared = {"Bases": read.bases, "Pigments": read.pigments, "Backings": read.backings}
    return (
        f"{read.name}: {show.counted(len(read.swatches), 'casting')}, {readings}, {values}, "
        f"{read.instrument.geometry}.\n"
        + " ".join(f"{kind}: {', '.join(names) or 'none'}." for kind, names in declared.items())
        + how
    )


def _photographed(read: SwatchFolder) -> int:
    return sum(reading.source == PHOTOGRAPH for reading in read.readings)


def _circumstances(read: SwatchFolder) -> dict[str, Circumstances]:
    cast = {base: [swatch.conditions for swatch in read.swatches if swatch.base == base] for base in read.bases}
    return {base: circumstances_of(conditions) for base, conditions in cast.items()}


def _as_json(folder: Path, read: SwatchFolder | None, faults: Sequence[Fault], examined: _Examined) -> dict[str, Any]:
    content: dict[str, Any] = {
        "folder": str(folder),
        "usable": read is not None,
        "faults": [fault for fault in faults if fault.grave],
        "warnings": [fault for fault in faults if not fault.grave],
    }
    if read is not None:
        errors = examined.errors
        content |= {
            "findings": examined.findings,
            "unstated_spot": examined.unstated_spot or None,
            "left_out": None if errors is None else show.fields(errors, "swatches", "pigments"),
            "name": read.name,
            "swatches": len(read.swatches),
            "readings": len(read.readings),
            "photographed": _photographed(read),
            **{name: list(getattr(read, name)) for name in ("bases", "pigments", "backings")},
            **show.fields(read, "wavelengths", "kind"),
            "geometry": read.instrument.geometry,
            "circumstances": _circumstances(read),
        }
    return content
