"""`tint reach`: which of many colours each base reaches at each wall, and what a further pigment would add."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from tint.cli import options, show
from tint.cli.asked import base_of, palette_of, setting_options
from tint.cli.fan import common_of, many_colours, on_workers, wishes_of
from tint.cli.keys import Command, option
from tint.cli.wanted import rules_options
from tint.errors import InputError
from tint.fans import Reach, reach
from tint.fans.cluster import engine_of
from tint.swatches.instruments import Given

_NAMED = 12  # colours that are named; --json has all


@click.command("reach", cls=Command)
@options.folder
@many_colours
@option(
    "--candidate", to="candidates", heading="Tried", multiple=True, metavar="PIGMENT",
    help=f"A pigment that was measured but is not in stock: what it would add. {options.AGAIN}",
)  # fmt: skip
@setting_options
@rules_options
@on_workers
@options.optics
@options.as_json
def command(
    folder: Path, targets: Path | None, spacing: float | None, opacity: str | None, tolerance: float | None,
    base: str | None, candidates: Sequence[str], casting: dict[str, Any], said: Given, search: dict[str, Any],
    workers: int, scheduler: str, optics: str, as_json: bool,
) -> None:  # fmt: skip
    """Many colours: which of them each base and wall can have.

    Example: tint reach swatches_demo --lattice 50 --thickness 3 --base clear --most-pigments 2 --candidate ochre

    TARGETS is as of tint fan; bases and walls of its rows do not count. Every colour is tried in every base at each
    wall alone. A candidate stays out of the recipes, and is then tried on what was missed.
    """
    palette = palette_of(folder, optics)
    for name in candidates:
        options.known(name, palette.pigments, "--candidate")
    common = common_of(palette, casting, search, opacity, tolerance, None if base is None else base_of(palette, base))
    wishes = wishes_of(palette, common, targets, spacing, said)
    if not common.walls_mm:
        raise InputError("--thickness", "not given", "expected the wall thickness of the parts in mm")
    with show.progress(quiet=as_json) as tell, engine_of(workers=workers, scheduler=scheduler) as engine:
        found = reach(palette, wishes, common, candidates=candidates, engine=engine, progress=tell)
    if as_json:
        show.json(found)
        return
    seen = common.setting()
    _show(found, f"{palette.name}. {seen.light}, {seen.observer}° observer")


def _show(found: Reach, conditions: str) -> None:
    with show.page() as out:
        show.title(out, f"Reach: {show.counted(found.targets, 'colour')}", conditions)
        rows = [(each.base, f"{each.wall_mm:g} mm", *_share(each.names, found.targets)) for each in found.reached]
        show.table(out, ["base", "wall", "reached", "share"], rows)
        if found.gains:
            out.print()
            show.table(
                out, ["with", "adds", "share", ""],
                [(each.pigment, *_share(each.names, found.targets), _names(each.names)) for each in found.gains],
            )  # fmt: skip
        out.print()
        if found.missed:
            out.print(f"Nowhere: {_names([row.name for row in found.missed])}")
        for row in found.failed[:_NAMED]:
            out.print(f"{row.name}: {row.reason}", style=show.CARE)
        if len(found.failed) > _NAMED:
            out.print(f"{show.counted(len(found.failed) - _NAMED, 'further row')} told no colour.", style=show.CARE)


def _share(names: Sequence[str], of: int) -> tuple[str, str]:
    return f"{len(names)}", f"{100.0 * len(names) / max(of, 1):.0f} %"


def _names(names: Sequence[str]) -> str:
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(names[:_NAMED]) + more
