"""An order and its recipe in the workshop's ledger: each entered once, and corrected when the order's file changes."""

from __future__ import annotations

from typing import Any

from tint import jsonable, ledger
from tint.orders.order import Order
from tint.swatches import folder_digest, read_folder

_COLOURS = ("colour", "lab", "reading", "photo", "opacity", "tolerance", "walls_mm")


def record(order: Order, answer: jsonable.Answer) -> tuple[int, int]:
    """Enter an order and the recipe chosen for it, where the ledger does not hold them as they are.

    Parameters
    ----------
    order : Order
    answer : jsonable.Answer
        The chosen recipe first.

    Returns
    -------
    tuple of int
        Their numbers in the ledger.

    Raises
    ------
    JobError
        If the ledger cannot be written.
    """
    path = ledger.ledger_path(order.folder)
    with ledger.open_ledger(path, palette_digest=folder_digest(order.folder)) as book, book.transaction():
        asked = _asked(order)
        held = [each for each in ledger.entries(book, ledger.Order) if each.content.name == order.name]
        if not held:
            number = ledger.add(book, asked)
        elif held[-1].content != asked:
            number = ledger.add(book, asked, corrects=held[-1].id, reason=f"{order.path.name} was edited")
        else:
            number = held[-1].id
        return number, _recipe(book, order, answer, number)


def _asked(order: Order) -> ledger.Order:
    written = order.written
    target = {name: getattr(written, name) for name in _COLOURS}
    told = {name: list(x) if isinstance(x, tuple) else x for name, x in target.items() if x not in (None, ())}
    words = {"customer": written.customer, "customer_words": written.words, "part": written.part or ""}
    due = "" if written.due is None else f"due {written.due.isoformat()}"
    return ledger.Order(name=order.name, target=told, note=due, **words)


def _recipe(book: ledger.Ledger, order: Order, answer: jsonable.Answer, number: int) -> int:
    """The number of the recipe: of one that answers the order already, or a new one."""
    chosen = answer.recipes[0]
    family = ledger.versions(book, "order", number)
    for each in reversed(ledger.entries(book, ledger.Recipe)):
        content = each.content
        if content.order_id in family and (content.base, content.loadings_percent) == (chosen.base, chosen.loadings):
            return each.id
    pigments = read_folder(order.folder).pigments
    lots = {name: pigments[name].lot or "" for name in chosen.loadings if name in pigments}
    told: dict[str, Any] = ledger.of_recipe(answer, chosen)
    kept = {name: lot for name, lot in lots.items() if lot}
    return ledger.add(book, ledger.Recipe(**{"lots": kept, **told, "order_id": number}))
