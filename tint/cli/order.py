"""`tint order`: a customer's order, from its file to every sheet; and the list of all orders."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tint.cli import options, show
from tint.errors import InputError, TintError
from tint.orders import Done, Order, orders_in, read_order, run_order

if TYPE_CHECKING:
    from rich.console import Console


@click.command("order")
@click.argument("order", type=options.PATH)
@options.count("--choose", "Take the recipe of this rank.  [default: the best, or the one taken before]")
@click.option("--all", "every", is_flag=True, help="List the orders of a swatch folder, with what stands of each.")
@options.replace
@options.optics
@options.as_json
def command(order: Path, choose: int | None, every: bool, replace: bool, optics: str, as_json: bool) -> None:
    """An order: its recipe, weigh sheet, card and approval sheets.

    Example: tint order swatches_demo/orders/lid.toml

    Run again after an edit, it makes anew only what changed. Files that you altered are left as they are. Every other
    command takes an order in place of a folder, and needs no other option.
    """
    if every:
        _list(order, as_json=as_json)
        return
    if order.is_dir():
        raise InputError(str(order), "is a folder", "the file of an order", "add --all to list those in it")
    with show.waiting("working") as told:
        done = run_order(order, choose=choose, replace=replace, optics=optics, progress=told)
    if as_json:
        show.json(_as_json(done))
        return
    with show.page() as out:
        _show(out, done)


def _as_json(done: Done) -> dict[str, Any]:
    made = done.made
    return {
        "order": str(done.order.path),
        "recipe": str(done.order.recipe_path),
        "solved": done.solved,
        "ledger": {"order": done.entered[0], "recipe": done.entered[1]},
        "base": done.answer.recipes[0].base,
        "loadings": done.answer.recipes[0].loadings,
        "written": [str(each) for each in made.written],
        "kept": [str(each) for each in made.kept],
        "left": [str(each) for each in made.left],
    }


def _show(out: Console, done: Done) -> None:
    order, first = done.order, done.answer.recipes[0]
    walls = " and ".join(f"{wall:g}" for wall in order.walls_mm)
    show.title(out, f"Order: {order.title}", f"walls of {walls} mm; {done.answer.conditions}")
    doses = " + ".join(f"{dose:.4g} % {name}" for name, dose in first.loadings.items())
    out.print(f"{first.base} with {doses}" if doses else f"{first.base}, uncoloured")
    out.print("found now" if done.solved else "as chosen before", style=show.QUIET)
    out.print()
    facts = [
        ("target", f"{show.fixed(first.delta_e or 0.0, 2)} CIEDE2000", "met" if first.reached else first.reason),
        ("error", f"{show.fixed(first.expected_error or 0.0, 2)} CIEDE2000", "95 of 100 castings read within it"),
        (
            "weigh",
            f"{done.sheet.total_grams:.4g} g",
            "waste included",
        ),
    ]
    show.facts(out, facts)
    made = done.made
    show.notes(out, f"Made now, in {order.made_path}", [each.name for each in made.written])
    show.notes(out, "Up to date", [each.name for each in made.kept])
    left = [f"{each.name}: add --replace to make it anew" for each in made.left]
    show.notes(out, "Altered by hand, and left as they are", left, style=show.CARE)
    show.notes(out, "Before you trust it", done.answer.warnings, style=show.CARE)


def _list(folder: Path, *, as_json: bool) -> None:
    if not folder.is_dir():
        raise InputError(str(folder), "is not a folder", "a swatch folder, whose orders are listed")
    found = [_line(path) for path in orders_in(folder)]
    if as_json:
        show.json({"orders": found})
        return
    with show.page() as out:
        show.title(out, f"Orders in {folder}", f"{len(found)} in all")
        rows = [(each["name"], each["customer"], each["due"], each["state"]) for each in found]
        show.table(out, ("<order", "<customer", "<due", "<state"), rows)


def _line(path: Path) -> dict[str, str]:
    try:
        order = read_order(path)
    except TintError as error:
        return {"name": path.stem, "customer": "", "due": "", "state": str(error)}
    due = "" if order.written.due is None else order.written.due.isoformat()
    return {"name": order.name, "customer": order.written.customer, "due": due, "state": _state(order)}


def _state(order: Order) -> str:
    if not order.recipe_path.exists():
        return "new"
    return "sheets made" if (order.made_path / "approval.pdf").exists() else "recipe chosen"
