"""`tint ledger`: the workshop's record, added to, looked up, taken out and in, and poured again."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

import click

from tint import jsonable
from tint import ledger as record
from tint.cli import ledger_entries as pages
from tint.cli import options, show
from tint.cli.asked import palette_of, setting_of
from tint.cli.keys import Command, workshop
from tint.cli.ledger_add import add
from tint.cli.ledger_entries import kind_argument, number_of
from tint.cli.weigh import sheet_options, show_sheet
from tint.ledger.lookup import WITHIN
from tint.swatches import folder_digest
from tint.weighing import Batch, Scale, Split, weigh

_light_option, _observer_option = options.view(light="The CIE light of the colour.")


@click.group("ledger", invoke_without_command=True)
@click.pass_context
def command(ctx: click.Context) -> None:
    """Keep the workshop's record: orders, recipes, batches.

    Example: tint ledger add order swatches_demo --name "celadon lid" --words "as the glaze"

    It lies in the swatch folder, as ledger.sqlite3. Entries are only ever added: one that was wrong is corrected by
    another (tint ledger add KIND ... --corrects NUMBER).
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


command.add_command(add)


@command.command("list", cls=Command)
@options.folder
@kind_argument(required=False)
@click.option("--order", metavar="ORDER", help="Only what belongs to this order, by number or name.")
@options.flag("--all", "Corrected and withdrawn entries, too.", to="all_rows")
@options.as_json
def _list(folder: Path, kind: str | None, order: str | None, all_rows: bool) -> None:
    """Entries of a kind, or of every kind.

    Example: tint ledger list swatches_demo order
    """
    kinds = [kind] if kind else list(record.KINDS)
    with record.read_ledger(record.ledger_path(folder)) as ledger, ledger.at_one_moment():
        held = {each: record.entries(ledger, record.KINDS[each], all_rows=all_rows) for each in kinds}
        if order is not None:
            held = _of_order(ledger, order, held)
    show.answer(
        {record.TABLES[each]: [record.as_dict(entry) for entry in found] for each, found in held.items()},
        lambda out: pages.show_entries(out, held, folder),
    )


def _of_order(
    ledger: record.Ledger, order: str, held: dict[str, list[record.Entry[Any]]]
) -> dict[str, list[record.Entry[Any]]]:
    """What points at the order, and what points at that."""
    wanted = record.find_order(ledger, order).id
    kept: dict[str, set[int]] = {kind: set() for kind in record.KINDS} | {"order": {wanted}}
    waiting = [("order", wanted)]
    while waiting:
        for kind, numbers in record.belonging(ledger, *waiting.pop()).items():
            waiting += [(kind, number) for number in numbers if number not in kept[kind]]
            kept[kind].update(numbers)
    return {kind: [each for each in found if each.id in kept[kind]] for kind, found in held.items()}


@command.command("show", cls=Command)
@options.folder
@kind_argument(required=True)
@click.argument("number", type=number_of, metavar="NUMBER")
@options.as_json
def _show(folder: Path, kind: str, number: int) -> None:
    """One entry, what belongs to it, and how a kept swatch drifted.

    Example: tint ledger show swatches_demo order 1
    """
    with record.read_ledger(record.ledger_path(folder)) as ledger, ledger.at_one_moment():
        entry, family = record.get(ledger, kind, number), record.versions(ledger, kind, number)
        own = record.belonging(ledger, kind, number)
        drifted = record.drift(ledger, number) if kind == "reference" else ()
    drifts = [asdict(each) | {"first": each.first.id, "later": each.later.id} for each in drifted]
    told = {"kind": kind} | record.as_dict(entry) | {"versions": family, "belonging": own, "drift": drifts}
    show.answer(told, lambda out: pages.show_entry(out, kind, entry, family, own, drifted))


@command.command("premixes", cls=Command)
@options.folder
@options.as_json
def _premixes(folder: Path) -> None:
    """Premixes that batches have left, and that the next ones use first.

    Example: tint ledger premixes swatches_demo
    """
    with record.read_ledger(record.ledger_path(folder)) as ledger:
        stock = record.premix_stock(ledger, date.today(), days=workshop().premix_days)
    held = {"premixes": stock.usable, "too_old": stock.too_old}
    told = {name: [asdict(each) | {"percent": 100.0 / each.whole} for each in kept] for name, kept in held.items()}
    show.answer(told, lambda out: pages.show_premixes(out, stock))


@command.command("search", cls=Command)
@options.folder
@options.lab("--lab", "The colour.", required=True)
@options.number("--within", "How near.", expected="a CIEDE2000", metavar="CIEDE2000", default=WITHIN)
@_light_option
@_observer_option
@options.as_json
def _search(folder: Path, lab: tuple[float, ...], within: float, light: str, observer: int) -> None:
    """Recipes and readings near a colour, the nearest first.

    Example: tint ledger search swatches_demo --lab 70,20,40 --within 3
    """
    with record.read_ledger(record.ledger_path(folder)) as ledger:
        found = record.search(ledger, lab, light=light, observer=observer, within=within)
    told = [show.fields(each, "kind", "delta_e", "lab") | {"entry": record.as_dict(each.entry)} for each in found]
    show.answer(
        {"found": told, "lab": lab, "light": light, "observer": observer, "within": within},
        lambda out: pages.show_near(out, found, lab, f"{light}, {observer}° observer", within),
    )


@command.command("due", cls=Command)
@options.folder
@options.day("--by", "YYYY-MM-DD.  [default: today]")
@options.as_json
def _due(folder: Path, by: date | None) -> None:
    """Approvals and retained swatches that have run out by a day.

    Example: tint ledger due swatches_demo --by 2030-01-01
    """
    until = by or date.today()
    with record.read_ledger(record.ledger_path(folder)) as ledger, ledger.at_one_moment():
        found = record.due(ledger, until)
    told = [{"kind": kind} | record.as_dict(each) for kind, each in found]
    show.answer({"by": until.isoformat(), "due": told}, lambda out: pages.show_due(out, found, until))


@command.command("export", cls=Command)
@options.folder
@options.path("--out", "A new file.json, or a folder for CSV.", "PATH", required=True)
@options.as_json
def _export(folder: Path, out: Path) -> None:
    """The whole ledger as a JSON file or a folder of CSV tables.

    Example: tint ledger export swatches_demo --out tables
    """
    with record.read_ledger(record.ledger_path(folder)) as ledger:
        written = [str(path) for path in record.export_ledger(ledger, out)]
    show.answer({"written": written}, show.line("Written: " + ", ".join(written)))


@command.command("import", cls=Command)
@options.folder
@click.argument("file", metavar="FILE")
@options.as_json
def _import(folder: Path, file: str) -> None:
    """Take in another ledger's JSON, whole or not at all.

    Example: tint ledger import swatches_demo ledger.json

    FILE is what tint ledger export wrote, or - for stdin. What is here already is not added again.
    """
    data, where = options.read_file(file)
    with record.open_ledger(record.ledger_path(folder), palette_digest=folder_digest(folder)) as ledger:
        added = record.import_json(ledger, data, where=where)
    told = ", ".join(f"{count} {table}" for table, count in added.items() if count)
    show.answer({"added": added}, show.line(f"Added: {told or 'nothing, all of it was here'}"))


@command.command("repeat", cls=Command)
@options.folder
@click.argument("order", metavar="ORDER")
@options.number("--thickness", "Wall of the part.  [default: the recipe's]", expected="mm", metavar="MM")
@sheet_options
@options.optics
@options.as_json
def _repeat(
    folder: Path, order: str, thickness: float | None, batch: Batch, scale: Scale, premix: bool, split: Split,
    optics: str,
) -> None:  # fmt: skip
    """An order again: the weigh sheet for today's lots.

    Example: tint ledger repeat swatches_demo "celadon lid" --batch-g 120

    It takes the newest approved recipe; when none is approved, the newest, and says so.

    A dose is divided by what its lot is stronger than the recipe's lot; the look is predicted for today's lots.
    """
    palette = palette_of(folder, optics)
    with record.read_ledger(record.ledger_path(folder)) as ledger:
        again = record.repeat(ledger, order, palette, today=date.today())
        stock = record.premix_stock(ledger, date.today(), days=workshop().premix_days) if premix else record.Stock()
    recipe = again.recipe.content
    cast = {
        "thickness_mm": thickness or recipe.thickness_mm,
        "over": recipe.backing,
        "observer": recipe.observer_degrees,
    }
    cast |= show.fields(recipe, "seat", "light", "geometry")
    setting = setting_of(palette, {name: value for name, value in cast.items() if value})
    today = record.with_lots(palette, again.against_palette, lots=again.lots)
    sheet = weigh(
        today, again.blend, setting=setting, batch=batch, scale=scale, split=split, premix=premix, kept=stock.usable,
        too_old=stock.too_old,
    )  # fmt: skip

    def page(out: show.Page) -> None:
        pages.show_repeat(out, again)
        show_sheet(out, sheet, today)

    of_dose = ("pigment", "was_percent", "percent", "was_lot", "lot")
    told: dict[str, Any] = {
        "order": again.order.id,
        "recipe": again.recipe.id,
        "approval": None if again.approval is None else again.approval.id,
        "doses": [show.fields(dose, *of_dose) | {"strength": dose.strength.value} for dose in again.doses],
        "lots": again.lots,
        "warnings": [*again.warnings, *sheet.warnings],
    }
    show.answer(jsonable.sheet(sheet), page, **told)
