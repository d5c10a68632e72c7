"""Kept premixes that an order may use: those of the ledger, less what sheets of other orders take.

Nothing is drawn by running an order: the ledger is told by the batch that is added from its weigh sheet once it is
poured. Until then the sheet itself, `weigh.json` in the folder of what is made of an order, tells what it will take; so
one premix is not promised to two orders, and an order that is run again is weighed as it was.
"""

from __future__ import annotations

import contextlib
import datetime
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from tint import kinds, ledger
from tint.errors import InputError
from tint.materials import Workshop
from tint.orders.order import Order, orders_in
from tint.palette import Palette
from tint.weighing import Kept, changes_of, from_json

SHEET = "weigh.json"  # in the folder of what is made of an order
_NOTHING_G = 1e-6  # g that sums of floating-point numbers leave


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A weigh sheet that was made of an order."""

    base: str
    batch_g: float | None
    kept: tuple[Kept, ...]  # the premixes that it uses, as they are before it
    changes: tuple[Kept, ...]  # what it changes of premixes
    batch: int | None = None  # that was poured by it: its number in the ledger


def poured_by(order: Order) -> Sheet | None:
    """The sheet of an order as it stands, by which a batch was poured; None where none was."""
    sheet = _sheet(order.made_path)
    if sheet is None:
        return None
    with book_of(order) as book:
        number = None if book is None else _poured(book, order.name, sheet)
    return None if number is None else replace(sheet, batch=number)


def stock_for(
    order: Order, workshop: Workshop, day: datetime.date
) -> tuple[ledger.Stock, tuple[tuple[str, Kept], ...]]:  # fmt: skip
    """The premixes for an order on a day; and of other orders what their sheets take before that [g above 0]."""
    with book_of(order) as book:
        if book is None:
            return ledger.Stock(), ()
        stock = ledger.premix_stock(book, day, days=workshop.premix_days)
        promised = tuple(_promised(book, order))
    taken = [each for _, each in promised]
    return ledger.Stock(usable=_less(stock.usable, taken), too_old=_less(stock.too_old, taken)), promised


def newer_lots(order: Order, palette: Palette, loadings: Mapping[str, float]) -> dict[str, str]:
    """Of the pigments of a recipe, the lots in the ledger that are used now in place of those of the swatches."""
    with book_of(order) as book:
        now = {} if book is None else ledger.newest_lots(book)
    return {name: now[name] for name in loadings if name in now and now[name] != palette.pigments[name].lot}


@contextlib.contextmanager
def book_of(order: Order) -> Iterator[ledger.Ledger | None]:
    """The ledger of an order's folder at one moment, None where there is none; InputError if it is damaged."""
    where = ledger.ledger_path(order.folder)
    if not where.exists():
        yield None
        return
    with ledger.read_ledger(where) as book, book.at_one_moment():
        yield book


def _sheet(made: Path) -> Sheet | None:
    """The weigh sheet that was made of an order; None where none was, or somebody altered it beyond reading."""
    try:
        told = from_json((made / SHEET).read_bytes())
        own = [each["kept"] for each in told.premixes if each.get("kept")]
        kept = tuple(kinds.converted(each, Kept, where=SHEET, form="a weigh sheet") for each in own)
        return Sheet(base=told.base, batch_g=told.batch_g, kept=kept, changes=changes_of(told, where=SHEET))
    except (OSError, InputError):
        return None


def _promised(book: ledger.Ledger, order: Order) -> Iterator[tuple[str, Kept]]:
    """What the sheets of other orders take that were not poured yet."""
    for path in orders_in(order.folder):
        sheet = None if path.stem == order.name else _sheet(path.with_suffix(""))
        taken = [] if sheet is None else list(_taken(sheet.changes))
        if sheet is not None and taken and _poured(book, path.stem, sheet) is None:
            yield from ((path.stem, each) for each in taken)


def _taken(changes: Sequence[Kept]) -> Iterator[Kept]:
    """What a sheet takes of each kept premix: it takes it up whole, and puts back what it leaves."""
    for each in changes:
        if each.grams < 0.0:
            back = sum(other.grams for other in changes if other.grams > 0.0 and _key(other) == _key(each))
            yield replace(each, grams=-each.grams - back)


def _poured(book: ledger.Ledger, name: str, sheet: Sheet) -> int | None:
    """The number of the batch that was poured by the sheet of an order; None where there is none."""
    orders = {
        number
        for each in ledger.entries(book, ledger.Order)
        if each.content.name == name
        for number in ledger.versions(book, "order", each.id)
    }
    recipes = {each.id for each in ledger.entries(book, ledger.Recipe) if each.content.order_id in orders}
    for entry in reversed(ledger.entries(book, ledger.Batch)):
        batch = entry.content
        is_own = batch.order_id in orders or batch.recipe_id in recipes
        if is_own and (batch.base, batch.batch_g, batch.premixes) == (sheet.base, sheet.batch_g, sheet.changes):
            return entry.id
    return None


def _less(there: Sequence[Kept], taken: Sequence[Kept]) -> tuple[Kept, ...]:
    """Premixes without what is taken of them."""
    left = [
        replace(each, grams=round(each.grams - sum(other.grams for other in taken if _key(other) == _key(each)), 6))
        for each in there
    ]
    return tuple(each for each in left if each.grams > _NOTHING_G)


def _key(kept: Kept) -> tuple[str, ...]:
    return kept.name, kept.base, kept.part, kept.lot, kept.made_on
