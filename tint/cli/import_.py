"""`tint import`: measurements of an instrument taken over into a folder's readings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from tint.cli import options, show
from tint.cli.keys import Command
from tint.cli.show import plain
from tint.errors import ChangedError, InputError
from tint.materials import SEATS
from tint.swatches.import_plan import FAULT, GOING, KEY_COLUMNS, LEFT_OUT, REPLACES, Doubles, Import, Naming, Planned
from tint.swatches.importing import plan_import, write_import
from tint.swatches.instruments import Given, read_measurements
from tint.swatches.records import QUANTITIES, THROUGH

_PLACES = 3  # of faults that are alike, after the first


def _pair(given: str) -> tuple[str, str]:
    name, sign, place = (part.strip() for part in given.rpartition("="))
    if not (sign and name and place):
        raise InputError("--as", f"`{given}`", "NAME=SWATCH/BACKING/SEAT, as in 3a=lid-3/black/air")
    return name, place


def _naming(same: tuple[tuple[str, str], ...], pattern: tuple[str, ...], **told: str | None) -> Naming:
    defaults = {name: value or "" for name, value in told.items()}
    return Naming(same=options.each_once(same, "--as", "each name once"), patterns=pattern, **defaults)


@click.command("import", cls=Command)
@options.folder
@click.argument("files", nargs=-1, required=True, type=options.PATH, metavar="FILE...")
@options.grouped(
    "naming",
    _naming,
    options.several(
        "--as", "Where a measurement belongs: SWATCH, SWATCH/BACKING, SWATCH/BACKING/SEAT, or a bare BACKING.",
        "NAME=PLACE", to="same", type=_pair,
    ),
    options.several("--pattern", "How names are made, as in '{swatch}-{backing}'; {seat} and {any} too.", "TEXT"),
    click.option("--backing", metavar="NAME", help="The backing of measurements that tell none."),
    options.choice("--seat", SEATS, "The seat of measurements that tell none."),
    options.choice(
        "--quantity", QUANTITIES,
        "The quantity of measurements that tell none, or, if regular, no more than transmittance.  "
        "[default: reflectance]",
    ),
)  # fmt: skip
@options.said_options
@options.grouped(
    "doubles",
    Doubles,
    options.flag("--add", "Keep what was read before, and add replicates."),
    options.flag("--replace", "Put measurements in the place of what was read before."),
    options.flag("--skip-unknown", "Leave out measurements that are no swatch or backing."),
    options.flag("--force", "Take over readings of another geometry too."),
)
@options.flag("--into-workbook", "Write into swatches.xlsx, where the readings stand in it.")
@options.flag("--dry-run", "Show what would be done, and do nothing.")
@options.as_json
def command(
    folder: Path, files: tuple[Path, ...], naming: Naming, said: Given, doubles: Doubles, into_workbook: bool,
    dry_run: bool,
) -> None:  # fmt: skip
    """Take an instrument's files into the readings.

    Example: tint import swatches_demo swatches_demo/again.cgats --seat air --add --dry-run

    A file may be CSV, a workbook (.xlsx), CGATS.17, CxF, IES TM-27-14 or JCAMP-DX. All of it is taken over, or nothing.
    """
    measurements = [each for file in files for each in read_measurements(file, said=said)]
    plan = plan_import(folder, measurements, naming=naming, doubles=doubles)
    while not dry_run:
        try:
            write_import(plan, into_workbook=into_workbook)
            break
        except ChangedError as error:  # each time another program has got further, so this comes to an end
            click.echo(f"tint: {plain(error.where)}: {error.found}; its new rows are kept, and these added", err=True)
            plan = plan_import(folder, measurements, naming=naming, doubles=doubles)
    show.answer(_as_json(plan, dry_run=dry_run), lambda out: _show(out, folder, plan, dry_run=dry_run))
    if plan.faults:
        found = f"{show.counted(len(plan.faults), 'measurement')} of {len(plan.planned)} cannot be taken over"
        raise InputError(str(folder), found, mend="mend what is listed, or leave it out")


def _show(out: show.Page, folder: Path, plan: Import, *, dry_run: bool) -> None:
    out.table(("<measurement", "<from", "<becomes", "<over", "<"), [_row(each) for each in plan.planned])
    out.notes("Cannot be taken over", _alike(plan.planned), style=show.ALARM)
    out.notes("Before you trust it", _once([each.warnings for each in plan.planned]), style=show.CARE)
    out.notes("How the files were read", _once([each.notes for each in plan.planned]))
    going = sum(each.action in GOING for each in plan.planned)
    out.print()
    if dry_run or not plan.data:
        out.print(f"Nothing written: {show.counted(going, 'reading')} would go into {plan.path}.", style=show.HEAD)
    else:
        out.print(f"Written: {show.counted(going, 'reading')} into {plan.path}.", style=show.HEAD)
        out.print(f"Now run `tint check {folder}`, then `tint fit {folder}`.")
    if plan.view is not None:
        out.print(f"The folder holds colours: L*, a*, b* for {plan.view}.", style=show.QUIET)
    else:
        grid = plan.wavelengths
        known = f"Wavelengths of the folder: {grid[0]:g} to {grid[-1]:g} nm by {grid[1] - grid[0]:g} nm."
        out.print(known, style=show.QUIET)


def _alike(planned: Sequence[Planned]) -> list[str]:
    """Faults in words; those that differ in the measurement alone told once, with how many and the first places."""
    groups: dict[tuple[str, ...], list[InputError]] = {}
    for each in planned:
        if each.fault is not None:
            words = (each.fault.found, each.fault.expected, each.fault.mend)
            groups.setdefault(tuple(word.replace(each.measurement.name, "") for word in words), []).append(each.fault)
    told = []
    for first, *rest in groups.values():
        file = first.where.partition(", ")[0]
        places = ", ".join(each.where.removeprefix(file).lstrip(", ") for each in rest[:_PLACES])
        more = f"; so are {len(rest)} more: {places}{', ...' * (len(rest) > _PLACES)}" if rest else ""
        told.append(f"{first}{more}")
    return told


def _row(planned: Planned) -> tuple[Any, ...]:
    from rich.text import Text

    done = planned.action
    if done == REPLACES:
        done = f"replaces row {', '.join(map(str, planned.rows))}"
    style = {FAULT: show.ALARM, LEFT_OUT: show.CARE}.get(planned.action, "")
    swatch, backing, seat, quantity = planned.key
    over = ", ".join(each for each in (backing or "bare" * bool(swatch), seat) if each)
    kind = f"{swatch} ({quantity})" if quantity in THROUGH and swatch else swatch
    return planned.measurement.name, planned.measurement.where, kind or "-", over or "-", Text(done, style=style)


def _once(told: Sequence[tuple[str, ...]]) -> list[str]:
    """Each sentence once, with how many measurements it holds for when not for all."""
    counts = Counter(each for words in told for each in words)
    return [each if count in (1, len(told)) else f"{each} ({count} measurements)" for each, count in counts.items()]


def _as_json(plan: Import, *, dry_run: bool) -> dict[str, Any]:
    return {
        "readings": str(plan.path),
        "written": bool(plan.data) and not dry_run,
        "kind": plan.kind,
        "wavelengths": plan.wavelengths if plan.view is None else None,
        "light": plan.view.light if plan.view else None,
        "observer": plan.view.observer if plan.view else None,
        "measurements": [_planned_json(each) for each in plan.planned],
        "faults": [str(fault) for fault in plan.faults],
    }


def _planned_json(planned: Planned) -> dict[str, Any]:
    measurement = planned.measurement
    return {
        **show.fields(measurement, "name", "file", "place"),
        **{name: getattr(measurement, name) or None for name in ("geometry", "source", "scale")},
        **{column: cell or None for column, cell in zip(KEY_COLUMNS, planned.key, strict=True)},
        "quantity": planned.key[-1],
        "replaces_rows": planned.rows,
        "fault": None if planned.fault is None else str(planned.fault),
        **show.fields(planned, "action", "values", "warnings", "notes"),
    }
