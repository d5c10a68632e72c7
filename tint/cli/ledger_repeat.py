"""`tint ledger repeat`: an order's recipe as a weigh sheet for today's lots."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tint.appearance import Setting
from tint.cli.asked import setting_of
from tint.cli.options import folder_argument, grouped, json_option, number_option, optics_option, palette_of
from tint.cli.tables import CARE, page, print_json, show_notes, show_table, show_title
from tint.cli.weigh import _as_json as sheet_json
from tint.cli.weigh import _batch as batch_of
from tint.cli.weigh import _show as show_sheet
from tint.ledger import Recipe, Repeat, ledger_path, read_ledger, with_lots
from tint.ledger import repeat as repeat_order
from tint.palette import Palette
from tint.weigh import weigh

if TYPE_CHECKING:
    from rich.console import Console


@click.command("repeat")
@folder_argument
@click.argument("order", metavar="ORDER")
@number_option("--thickness", "Wall of the part.  [default: the recipe's]", expected="mm", metavar="MM")
@grouped(
    "batch",
    batch_of,
    number_option("--batch-g", "Mix that the moulds hold, in grams; or", expected="grams of mix", metavar="G"),
    number_option("--batch-cm3", "in cubic centimetres.", expected="cm3 of mix", metavar="V"),
    number_option("--waste", "For what stays in the cup.", expected="% of the batch", metavar="PERCENT", default=10.0),
    number_option("--scale-step", "Smallest step of the scale.", expected="grams", metavar="G", default=0.01),
)
@optics_option
@json_option
def repeat(
    folder: Path, order: str, thickness: float | None, batch: dict[str, Any], optics: str, as_json: bool
) -> None:
    """An order again: the weigh sheet for today's lots.

    Example: tint ledger repeat swatches_demo "celadon lid" --batch-g 120

    It takes the newest approved recipe; when none is approved, the newest, and says so.

    A dose is divided by what its lot is stronger than the recipe's lot; the look is predicted for today's lots.
    """
    palette = palette_of(folder, optics)
    with read_ledger(ledger_path(folder)) as ledger:
        again = repeat_order(ledger, order, palette, today=date.today())
    today = with_lots(palette, {dose.pigment: dose.against_palette for dose in again.doses})
    sheet = weigh(today, again.blend, setting=_setting(palette, again.recipe.content, thickness), **batch)
    if as_json:
        told = sheet_json(sheet, optics)
        print_json({**told, **_as_json(again), "warnings": [*again.warnings, *told["warnings"]]})
    else:
        with page() as out:
            _show(out, again)
            show_sheet(out, sheet, today, batch["waste_percent"])


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
    show_title(
        out,
        f"Again: {order.content.name}",
        f"order {order.id}; recipe {recipe.id} of {recipe.added_utc[:10]}, {words}{f' on {day}' if day else ''}",
    )
    rows = [
        (
            dose.pigment,
            f"{dose.was_percent:.4f}",
            dose.was_lot or "-",
            dose.lot or "-",
            f"{dose.strength.value:.3f}",
            f"{dose.percent:.4f}",
        )
        for dose in again.doses
    ]
    show_table(out, ("<pigment", "% then", "<lot then", "<lot now", "strength", "% now"), rows)
    show_notes(out, "Before you repeat it", again.warnings, style=CARE)
    out.print()


def _as_json(again: Repeat) -> dict[str, Any]:
    return {
        "order": again.order.id,
        "recipe": again.recipe.id,
        "approval": None if again.approval is None else again.approval.id,
        "doses": [
            {
                "pigment": dose.pigment,
                "was_percent": dose.was_percent,
                "percent": dose.percent,
                "was_lot": dose.was_lot,
                "lot": dose.lot,
                "strength": dose.strength.value,
            }
            for dose in again.doses
        ],
        "lots": {dose.pigment: dose.lot for dose in again.doses if dose.lot},
    }
