"""`tint fan`: a recipe for each of many colours; `tint reach`: which of them each base reaches at each wall."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from dataclasses import replace as replace_in
from pathlib import Path
from typing import Any

import click
import msgspec

from tint.appearance import Setting
from tint.cli import options, show
from tint.cli.asked import base_of, palette_of, setting_options
from tint.cli.keys import Command, option
from tint.cli.wanted import rules_of, rules_options
from tint.errors import InputError
from tint.fans import Common, Fan, Wish, lattice, read_rows, read_targets, run_fan
from tint.fans import reach as find_reach
from tint.fans.page import fan_page, fan_pdf, shop_table
from tint.fans.reach import Reach, read_candidates
from tint.fans.solving import Engine, engine_of
from tint.files import write_all
from tint.opacity import opacity_of
from tint.palette import Palette
from tint.swatches.instruments import Given

_NAMED = 20  # colours that are named on the page; the table has all
_NAMED_REACH = 12  # the same on the page of a reach; --json has all


@dataclass(frozen=True, kw_only=True)
class Many:
    """Which colours are asked for, and what of those that do not say it themselves."""

    targets: Path | None
    spacing: float | None
    opacity: str | None
    tolerance: float | None
    base: str | None

    def common(self, palette: Palette, casting: dict[str, Any], search: dict[str, Any]) -> Common:
        """What holds for every colour; further walls are walls like the first."""
        try:
            opacity_of(self.opacity or "any")
        except InputError as error:
            raise error.at("--opacity") from error
        base = None if self.base is None else base_of(palette, self.base)
        seen, rules = dict(casting), rules_of(palette, search)
        walls = (*((seen.pop("thickness_mm"),) if "thickness_mm" in seen else ()), *rules.walls_mm)
        if seen.get("over"):
            options.known(seen["over"], [*palette.backings, "none"], "--over")
        rules = replace_in(rules, walls_mm=())
        return Common(opacity=self.opacity, tolerance=self.tolerance, walls_mm=walls, base=base, rules=rules, seen=seen)

    def wishes(self, palette: Palette, common: Common, said: Given) -> Sequence[Wish]:
        if self.targets is not None and self.spacing is None:
            wishes = list(read_targets(self.targets, palette, common, said=said))
        elif self.spacing is not None and self.targets is None:
            wishes = list(lattice(self.spacing, palette, common))
        else:
            raise InputError("targets", "none or two are given", "a file of colours, or --lattice STEP")
        if not wishes:
            raise InputError(str(self.targets), "there is no colour in it", "a row for each colour")
        if not common.walls_mm and not any(each.walls_mm for each in wishes):
            raise InputError("--thickness", "not given", "expected the wall thickness of the parts in mm")
        return wishes


many_colours = options.grouped(
    "many",
    Many,
    click.argument("targets", type=options.PATH, required=False),
    option(
        "--lattice", to="spacing", type=float, metavar="STEP",
        help="In place of TARGETS: CIELAB within sRGB, in steps of this size.",
    ),
    option("--opacity", metavar="WORD|RANGE", help="As for tint solve.  [default: solid]"),
    options.tolerance,
    option("--base", metavar="NAME", help="Only this base.  [default: every base]"),
    heading="Wanted, where a row does not say",
)  # fmt: skip
on_workers = options.grouped(
    "workers",
    engine_of,
    options.count("--workers", "Processes to work in; more than one needs the extra `fan`.", default=1),
    option("--scheduler", default="", metavar="tcp://HOST:PORT", help="A dask scheduler whose workers do it instead."),
    heading="Where",
)
Workers = AbstractContextManager[Engine]


@click.command("fan", cls=Command)
@options.folder
@many_colours
@setting_options
@rules_options
@options.under(
    "Output",
    options.path("--out", "The table of recipes, or .parquet.", "FILE.csv", required=True),
    options.flag(
        "--changed",
        "Renew the table: keep the rows whose recipes still hold with the palette as it now stands.",
    ),
    options.path("--page", "All as chips, in order of hue and lightness.", "FILE.html"),
    options.path("--pdf", "The same on paper.", "FILE.pdf"),
    options.path("--shop", "The same as a table for a web shop, no recipes.", "FILE.csv"),
    options.replace,
    options.as_json,
)  # fmt: skip
@on_workers
@options.optics
def command(
    folder: Path, many: Many, casting: dict[str, Any], said: Given, search: dict[str, Any], out: Path,
    workers: Workers, changed: bool, page: Path | None, pdf: Path | None, shop: Path | None, replace: bool,
    optics: str,
) -> None:  # fmt: skip
    """Find a recipe for each of many colours, as a table.

    Example: tint fan swatches_demo --lattice 50 --thickness 3 --base clear --most-pigments 2 --out fan.csv

    TARGETS is a table with the columns colour (#rrggbb) or L, a, b, and as it likes name, opacity, tolerance,
    walls_mm and base; or a file of readings. Each colour gets the recipe that tint solve ranks first; one that fails
    has its reason in its row. Finished rows lie in FILE.csv.part, and a run that was stopped goes on from there.
    """
    options.check_file(out, "--out", ".csv", ".parquet", replace=replace or changed)
    drawn = {page: fan_page, pdf: fan_pdf, shop: shop_table}
    for path, called, ending in ((page, "--page", ".html"), (pdf, "--pdf", ".pdf"), (shop, "--shop", ".csv")):
        options.check_file(path, called, ending, replace=replace or changed)
    _check_apart(many.targets, out, shop)
    old = list(read_rows(out)) if changed else None
    palette = palette_of(folder, optics)
    common = many.common(palette, casting, search)
    wishes = many.wishes(palette, common, said)
    with show.progress() as tell, workers as engine:
        fan = run_fan(palette, wishes, common, out, old=old, engine=engine, progress=tell)
    asked = {path: draw for path, draw in drawn.items() if path is not None}
    rows = list(read_rows(out)) if asked else []
    files = {path: draw(rows, palette, common) for path, draw in asked.items()}
    write_all(files)
    written = [str(each) for each in (out, *files)]
    told = msgspec.structs.asdict(fan)
    del told["out"]
    show.answer(told, lambda out: _show(out, fan, changed=changed), written=written)


def _check_apart(targets: Path | None, out: Path, shop: Path | None) -> None:
    """Refuse a table that would be written over another, or over the colours that were asked for."""
    others = {"the file of colours": targets, "the table of recipes": out}
    for called, path in (("--out", out), ("--shop", shop)):
        for words, other in others.items():
            if path is not None and other is not None and path is not other and path.resolve() == other.resolve():
                raise InputError(called, f"{path} is also {words}", mend="choose another name")


def _show(out: show.Page, fan: Fan, *, changed: bool) -> None:
    out.title(f"Fan: {show.counted(fan.targets, 'colour')}")
    out.facts([
        ("reached", f"{fan.reached}", "colour and opacity are met"),
        ("out of reach", f"{fan.out_of_reach}", "the nearest recipe stands in the row"),
        ("failed", f"{fan.failed}", "the reason stands in the row"),
    ])  # fmt: skip
    if fan.kept:
        out.apart(f"{show.counted(fan.kept, 'row')} of a run that was stopped before: kept.", style=show.QUIET)
    if changed:
        names = ", ".join(fan.moved[:_NAMED]) + (" ..." if len(fan.moved) > _NAMED else "")
        rows = f"{show.counted(len(fan.moved), 'row')} of {fan.targets}"
        out.apart(f"Renewed: {rows}{': ' if names else '; every recipe still holds'}{names}")


@click.command("reach", cls=Command)
@options.folder
@many_colours
@options.under(
    "Tried",
    options.path("--candidates", "Pigments that were measured but are not in stock: what each would add.", "FILE.csv"),
    options.several("--candidate", "One of them.", "PIGMENT", to="named"),
)
@setting_options
@rules_options
@on_workers
@options.optics
@options.as_json
def reach(
    folder: Path, many: Many, candidates: Path | None, named: Sequence[str], casting: dict[str, Any], said: Given,
    search: dict[str, Any], workers: Workers, optics: str,
) -> None:  # fmt: skip
    """Tell which of many colours each base and wall can have.

    Example: tint reach swatches_demo --lattice 50 --thickness 3 --base clear --most-pigments 2 --candidate ochre

    TARGETS is as for tint fan; bases and walls of its rows do not count. Every colour is tried in every base at each
    wall alone. A candidate, a pigment of the folder, stays out of the recipes, and is then tried on what was missed.
    The table of candidates has the column name, and may have price_per_kg and note.
    """
    palette = palette_of(folder, optics)
    for name in named:
        options.known(name, palette.pigments, "--candidate")
    tried = [*(read_candidates(candidates, palette) if candidates else ()), *named]
    common = many.common(palette, casting, search)
    wishes = many.wishes(palette, common, said)
    if not common.walls_mm:
        raise InputError("--thickness", "not given", "expected the wall thickness of the parts in mm")
    with show.progress() as tell, workers as engine:
        found = find_reach(palette, wishes, common, candidates=tried, engine=engine, progress=tell)
    show.answer(found, lambda out: _show_reach(out, found, palette.name, common.setting()))


def _show_reach(out: show.Page, found: Reach, name: str, seen: Setting) -> None:
    out.title(f"Reach: {show.counted(found.targets, 'colour')}", f"{name}. {seen.light}, {seen.observer}° observer")
    rows = [(each.base, f"{each.wall_mm:g} mm", *_share(len(each.names), found.targets)) for each in found.reached]
    out.table(["base", "wall", "reached", "share"], rows)
    if found.gains:
        out.print()
        out.table(["with", "reached", "share", "adds", "per kg", "note", ""],
            [(each.pigment, *_share(each.reached, found.targets), f"{len(each.names)}",
              "" if each.price_per_kg is None else f"{each.price_per_kg:g}", each.note, _names(each.names))
             for each in found.gains],
        )  # fmt: skip
    out.print()
    if found.missed:
        out.print(f"Nowhere: {_names([row.name for row in found.missed])}")
    for row in found.failed[:_NAMED_REACH]:
        out.print(f"{row.name}: {row.reason}", style=show.CARE)
    if len(found.failed) > _NAMED_REACH:
        out.print(f"{show.counted(len(found.failed) - _NAMED_REACH, 'further row')} told no colour.", style=show.CARE)


def _share(count: int, of: int) -> tuple[str, str]:
    return f"{count}", f"{100.0 * count / max(of, 1):.0f} %"


def _names(names: Sequence[str]) -> str:
    more = f" and {len(names) - _NAMED_REACH} more" if len(names) > _NAMED_REACH else ""
    return ", ".join(names[:_NAMED_REACH]) + more
