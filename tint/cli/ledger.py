"""`tint ledger`: the workshop's record, added to, looked up, taken out and in, and poured again."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

import click

from tint.cli import options, show
from tint.cli.ledger_add import add
from tint.cli.ledger_options import kind_argument, number_of
from tint.cli.ledger_pages import show_due, show_entries, show_entry, show_near
from tint.cli.ledger_repeat import repeat
from tint.ledger import (
    KINDS,
    TABLES,
    Entry,
    Ledger,
    as_dict,
    belonging,
    drift,
    due,
    entries,
    export_ledger,
    find_order,
    get,
    import_json,
    ledger_path,
    open_ledger,
    read_ledger,
    search,
    versions,
)
from tint.ledger.lookup import WITHIN
from tint.swatches import folder_digest

_light_option, _observer_option = options.view(light="The CIE light of the colour.")


@click.group("ledger", invoke_without_command=True)
@click.pass_context
def command(ctx: click.Context) -> None:
    """The workshop's record: orders, recipes, batches, approvals.

    Example: tint ledger add order swatches_demo --name "celadon lid" --words "as the glaze"

    It lies in the swatch folder, as ledger.sqlite3. Entries are only ever added: one that was wrong is corrected by
    another (tint ledger add KIND ... --corrects NUMBER).
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


command.add_command(add)
command.add_command(repeat)


@command.command("list")
@options.folder
@kind_argument(required=False)
@click.option("--order", metavar="ORDER", help="Only what belongs to this order, by number or name.")
@click.option("--all", "all_rows", is_flag=True, help="Corrected and withdrawn entries, too.")
@options.as_json
def _list(folder: Path, kind: str | None, order: str | None, all_rows: bool, as_json: bool) -> None:
    """Entries of a kind, or of every kind.

    Example: tint ledger list swatches_demo order
    """
    kinds = [kind] if kind else list(KINDS)
    with read_ledger(ledger_path(folder)) as ledger, ledger.at_one_moment():
        held = {each: entries(ledger, KINDS[each], all_rows=all_rows) for each in kinds}
        if order is not None:
            held = _of_order(ledger, order, held)
    if as_json:
        show.json({TABLES[each]: [as_dict(entry) for entry in found] for each, found in held.items()})
    else:
        with show.page() as out:
            show_entries(out, held, folder)


def _of_order(ledger: Ledger, order: str, held: dict[str, list[Entry[Any]]]) -> dict[str, list[Entry[Any]]]:
    """What points at the order, and what points at that."""
    wanted = find_order(ledger, order).id
    kept: dict[str, set[int]] = {kind: set() for kind in KINDS} | {"order": {wanted}}
    waiting = [("order", wanted)]
    while waiting:
        for kind, numbers in belonging(ledger, *waiting.pop()).items():
            waiting += [(kind, number) for number in numbers if number not in kept[kind]]
            kept[kind].update(numbers)
    return {kind: [each for each in found if each.id in kept[kind]] for kind, found in held.items()}


@command.command("show")
@options.folder
@kind_argument(required=True)
@click.argument("number", type=number_of, metavar="NUMBER")
@options.as_json
def _show(folder: Path, kind: str, number: int, as_json: bool) -> None:
    """One entry, what belongs to it, and how a kept swatch drifted.

    Example: tint ledger show swatches_demo order 1
    """
    with read_ledger(ledger_path(folder)) as ledger, ledger.at_one_moment():
        entry, family = get(ledger, kind, number), versions(ledger, kind, number)
        own = belonging(ledger, kind, number)
        drifted = drift(ledger, number) if kind == "reference" else ()
    if as_json:
        drifts = [asdict(each) | {"first": each.first.id, "later": each.later.id} for each in drifted]
        show.json({"kind": kind} | as_dict(entry), versions=family, belonging=own, drift=drifts)
    else:
        with show.page() as out:
            show_entry(out, kind, entry, family, own, drifted)


@command.command("search")
@options.folder
@options.lab("--lab", "The colour.", required=True)
@options.number("--within", "How near.", expected="a CIEDE2000", metavar="CIEDE2000", default=WITHIN)
@_light_option
@_observer_option
@options.as_json
def _search(folder: Path, lab: tuple[float, ...], within: float, light: str, observer: int, as_json: bool) -> None:
    """Recipes and readings near a colour, the nearest first.

    Example: tint ledger search swatches_demo --lab 70,20,40 --within 3
    """
    with read_ledger(ledger_path(folder)) as ledger:
        found = search(ledger, lab, light=light, observer=observer, within=within)
    if as_json:
        told = [
            {"kind": each.kind, "delta_e": each.delta_e, "lab": each.lab, "entry": as_dict(each.entry)}
            for each in found
        ]
        show.json({"found": told, "lab": lab, "light": light, "observer": observer, "within": within})
    else:
        with show.page() as out:
            show_near(out, found, lab, f"{light}, {observer}° observer", within)


@command.command("due")
@options.folder
@click.option("--by", type=options.day("--by"), metavar="DAY", help="YYYY-MM-DD.  [default: today]")
@options.as_json
def _due(folder: Path, by: date | None, as_json: bool) -> None:
    """Approvals and retained swatches that have run out by a day.

    Example: tint ledger due swatches_demo --by 2030-01-01
    """
    until = by or date.today()
    with read_ledger(ledger_path(folder)) as ledger, ledger.at_one_moment():
        found = due(ledger, until)
    if as_json:
        show.json({"by": until.isoformat(), "due": [{"kind": kind} | as_dict(each) for kind, each in found]})
    else:
        with show.page() as out:
            show_due(out, found, until)


@command.command("export")
@options.folder
@click.option("--out", type=options.PATH, required=True, help="A new file.json, or a folder for CSV.")
@options.as_json
def _export(folder: Path, out: Path, as_json: bool) -> None:
    """The whole ledger as a JSON file or a folder of CSV tables.

    Example: tint ledger export swatches_demo --out tables
    """
    with read_ledger(ledger_path(folder)) as ledger:
        written = [str(path) for path in export_ledger(ledger, out)]
    if as_json:
        show.json({"written": written})
    else:
        click.echo("Written: " + ", ".join(written))


@command.command("import")
@options.folder
@click.argument("file", metavar="FILE")
@options.as_json
def _import(folder: Path, file: str, as_json: bool) -> None:
    """Take in another ledger's JSON, whole or not at all.

    Example: tint ledger import swatches_demo ledger.json

    FILE is what tint ledger export wrote, or - for stdin. What is here already is not added again.
    """
    data, where = options.read_file(file)
    with open_ledger(ledger_path(folder), palette_digest=folder_digest(folder)) as ledger:
        added = import_json(ledger, data, where=where)
    if as_json:
        show.json({"added": added})
    else:
        told = ", ".join(f"{count} {table}" for table, count in added.items() if count)
        click.echo(f"Added: {told or 'nothing, all of it was here'}")
