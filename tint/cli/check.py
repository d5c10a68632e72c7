"""`tint check`: what is wrong or thin in a swatch folder, by file, row and column."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tint.cli.options import folder_argument, json_option
from tint.cli.tables import ALARM, CARE, HEAD, counted, page, print_json, show_table
from tint.errors import Fault, InputError
from tint.swatches import SwatchFolder, inspect_folder

if TYPE_CHECKING:
    from rich.console import Console


@click.command("check")
@folder_argument
@json_option
def command(folder: Path, as_json: bool) -> None:
    """Read a swatch folder and say what is wrong or thin in it.

    Example: tint check swatches_demo

    Exit status 2 when a fault keeps the folder from being used; what is merely thin does not.
    """
    read, faults = inspect_folder(folder)
    if as_json:
        print_json(_as_json(folder, read, faults))
    else:
        with page() as out:
            _show(out, folder, read, faults)
    grave = sum(fault.grave for fault in faults)
    if grave:
        found = f"{counted(grave, 'fault')} {'keeps' if grave == 1 else 'keep'} it from being used"
        raise InputError(str(folder), found, mend="mend what is listed, then check again")


def _show(out: Console, folder: Path, read: SwatchFolder | None, faults: Sequence[Fault]) -> None:
    for file, of_file in groupby(faults, key=lambda fault: fault.file):
        out.print(file, style=HEAD)
        show_table(
            out,
            ("<", "row", "<column", "~found", "~what mends it"),
            map(_row, sorted(of_file, key=lambda fault: fault.row or 0)),
            indent=2,
        )
        out.print()
    if read is not None:
        out.print(_contents(read))
    grave = sum(fault.grave for fault in faults)
    thin = len(faults) - grave
    out.print(f"{folder}: {counted(grave, 'fault')}, {counted(thin, 'warning')}.")


def _row(fault: Fault) -> tuple[Any, ...]:
    from rich.text import Text

    sort = Text("fault", style=ALARM) if fault.grave else Text("warning", style=CARE)
    found = "; ".join(part for part in (fault.found, fault.expected) if part)
    return sort, "" if fault.row is None else str(fault.row), fault.column or "", found, fault.mend


def _contents(read: SwatchFolder) -> str:
    grid = read.wavelengths
    return (
        f"{read.name}: {counted(len(read.swatches), 'casting')}, {counted(len(read.readings), 'reading')}, "
        f"{grid[0]:g} to {grid[-1]:g} nm by {grid[1] - grid[0]:g} nm, {read.instrument.geometry}.\n"
        f"Bases: {', '.join(read.bases)}. Pigments: {', '.join(read.pigments)}. Backings: {', '.join(read.backings)}."
    )


def _as_json(folder: Path, read: SwatchFolder | None, faults: Sequence[Fault]) -> dict[str, Any]:
    told = [
        {name: getattr(fault, name) for name in ("file", "row", "column", "found", "expected", "mend", "grave")}
        for fault in faults
    ]
    content: dict[str, Any] = {
        "folder": str(folder),
        "usable": read is not None,
        "faults": [fault for fault in told if fault["grave"]],
        "warnings": [fault for fault in told if not fault["grave"]],
    }
    if read is not None:
        content |= {
            "name": read.name,
            "swatches": len(read.swatches),
            "readings": len(read.readings),
            "bases": list(read.bases),
            "pigments": list(read.pigments),
            "backings": list(read.backings),
            "wavelengths": read.wavelengths,
            "geometry": read.instrument.geometry,
        }
    return content
