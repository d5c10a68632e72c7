"""`tint ledger repeat`: an order's recipe as a weigh sheet for today's lots."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tint import jsonable
from tint.appearance import Setting
from tint.cli import options, show
from tint.cli.asked import palette_of, setting_of
from tint.cli.weigh import show_sheet
from tint.cli.weigh_options import sheet_options
from tint.ledger import Recipe, Repeat, ledger_path, read_ledger, with_lots
from tint.ledger import repeat as repeat_order
from tint.palette import Palette
from tint.weighing import Batch, Scale, Split, weigh

if TYPE_CHECKING:
    from rich.console import Console


@click.command("repeat")
@options.folder
@click.argument("order", metavar="ORDER")
@options.number("--thickness", "Wall of the part.  [default: the recipe's]", expected="mm", metavar="MM")
@sheet_options
@options.optics
@options.as_json
def repeat(
    folder: Path, order: str, thickness: float | None, batch: Batch, scale: Scale, premix: bool, split: Split,
    optics: str, as_json: bool,
) -> None:  # fmt: skip
    """An order again: the weigh sheet for today's lots.

    Example: tint ledger repeat swatches_demo "celadon lid" --batch-g 120

    It takes the newest approved recipe; when none is approved, the newest, and says so.

    A dose is divided by what its lot is stronger than the recipe's lot; the look is predicted for today's lots.
    """
    palette = palette_of(folder, optics)
    with read_ledger(ledger_path(folder)) as ledger:
        again = repeat_order(ledger, order, palette, today=date.today())
    today, setting = with_lots(palette, again.against_palette), _setting(palette, again.recipe.content, thickness)
    sheet = weigh(today, again.blend, setting=setting, batch=batch, scale=scale, split=split, premix=premix)
    if as_json:
        warnings = [*again.warnings, *sheet.warnings]
        show.json(jsonable.sheet(sheet, optics=optics), **_as_json(again), warnings=warnings)
    else:
        with show.page() as out:
            _show(out, again)
            show_sheet(out, sheet, today)


def _setting(palette: Palette, recipe: Recipe, thickness: float | None) -> Setting:
    told = {
        "thickness_mm": thickness or recipe.thickness_mm,
        "over": recipe.backing,
        "seat": recipe.seat,
        "light": recipe.light,
        "observer": recipe.observer_degrees,
        "geometry": recipe.geometry,
    }
    return setting_of(palette, {name: value for name, value in told.items() if value})


def _show(out: Console, again: Repeat) -> None:
    order, recipe, approval = again.order, again.recipe, again.approval
    words = "not approved" if approval is None else f"approved by {approval.content.approved_by}"
    day = approval.content.approved_on if approval else ""
    show.title(
        out,
        f"Again: {order.content.name}",
        f"order {order.id}; recipe {recipe.id} of {recipe.added_utc[:10]}, {words}{f' on {day}' if day else ''}",
    )
    rows = [
        (each.pigment, f"{each.was_percent:.4f}", each.was_lot or "-", each.lot or "-", f"{each.strength.value:.3f}",
         f"{each.percent:.4f}")
        for each in again.doses
    ]  # fmt: skip
    show.table(out, ("<pigment", "% then", "<lot then", "<lot now", "strength", "% now"), rows)
    show.notes(out, "Before you repeat it", again.warnings, style=show.CARE)
    out.print()


def _as_json(again: Repeat) -> dict[str, Any]:
    told = ("pigment", "was_percent", "percent", "was_lot", "lot")
    return {
        "order": again.order.id,
        "recipe": again.recipe.id,
        "approval": None if again.approval is None else again.approval.id,
        "doses": [
            {name: getattr(dose, name) for name in told} | {"strength": dose.strength.value} for dose in again.doses
        ],
        "lots": {dose.pigment: dose.lot for dose in again.doses if dose.lot},
    }
