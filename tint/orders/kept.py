"""Kept premixes that an order may use: those of the ledger, less what sheets of other orders take.

Nothing is drawn by running an order: the ledger is told by the batch that is added from its weigh sheet once it is
poured. Until then the sheet itself, `weigh.json` in the folder of what is made of an order, tells what it will take; so
one premix is not promised to two orders, and an order that is run again is weighed as it was.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from tint import decoding, jsonable, ledger
from tint.errors import InputError
from tint.materials import Workshop
from tint.orders.order import FOLDER, Order
from tint.palette import Palette
from tint.weighing import Kept, changes_of, from_json

SHEET = "weigh.json"  # in the folder of what is made of an order
_NOTHING_G = 1e-6  # g that sums of floating-point numbers leave


@dataclass(frozen=True, kw_only=True)
class Stock:
    """Premixes that an order may use, the oldest first."""

    usable: tuple[Kept, ...] = ()
    too_old: tuple[Kept, ...] = ()
    promised: tuple[tuple[str, Kept], ...] = ()  # an order, and what its sheet takes before it is poured [g above 0]


@dataclass(frozen=True, kw_only=True)
class Poured:
    """A batch that was poured by an order's own sheet."""

    batch: int  # its number in the ledger
    kept: tuple[Kept, ...]  # the premixes that it used, as they were before it
    changes: tuple[Kept, ...]  # what it changed of premixes


def poured_by(order: Order) -> Poured | None:
    """The batch that was poured by the sheet of an order as it stands; None where there is none.

    InputError if the ledger is damaged.
    """
    where, own = ledger.ledger_path(order.folder), _sheet(order.made_path)
    if own is None or not where.exists():
        return None
    with ledger.read_ledger(where) as book, book.at_one_moment():
        number = _poured(book, order.name, own)
    return None if number is None else Poured(batch=number, kept=tuple(_used(own)), changes=_changes(own))


def stock_for(order: Order, workshop: Workshop, day: datetime.date) -> Stock:
    """The premixes for an order on a day.

    InputError if the ledger is damaged.
    """
    where = ledger.ledger_path(order.folder)
    if not where.exists():
        return Stock()
    with ledger.read_ledger(where) as book, book.at_one_moment():
        stock = ledger.premix_stock(book, day, days=workshop.premix_days)
        promised = tuple(_promised(book, order))
    return Stock(
        usable=_less(stock.usable, [each for _, each in promised]),
        too_old=_less(stock.too_old, [each for _, each in promised]),
        promised=promised,
    )


def newer_lots(order: Order, palette: Palette, loadings: Mapping[str, float]) -> dict[str, str]:
    """Of the pigments of a recipe, the lots in the ledger that are used now in place of those of the swatches.

    InputError if the ledger is damaged.
    """
    where = ledger.ledger_path(order.folder)
    if not where.exists():
        return {}
    with ledger.read_ledger(where) as book:
        now = ledger.newest_lots(book)
    return {name: now[name] for name in loadings if name in now and now[name] != palette.pigments[name].lot}


def _sheet(made: Path) -> jsonable.Sheet | None:
    """The weigh sheet that was made of an order; None where none was, or somebody altered it beyond reading."""
    try:
        sheet = from_json((made / SHEET).read_bytes())
        _changes(sheet), list(_used(sheet))  # both are read later
    except (OSError, InputError):
        return None
    return sheet


def _changes(sheet: jsonable.Sheet) -> tuple[Kept, ...]:
    return changes_of(sheet, where=SHEET)


def _used(sheet: jsonable.Sheet) -> Iterator[Kept]:
    """The kept premixes that a sheet uses, as they were before it."""
    for premix in sheet.premixes:
        if premix.get("kept"):
            yield decoding.converted(premix["kept"], Kept, where=SHEET, form="a weigh sheet")


def _promised(book: ledger.Ledger, order: Order) -> Iterator[tuple[str, Kept]]:
    """What the sheets of other orders take that were not poured yet."""
    for path in sorted((order.folder / FOLDER).glob("*.toml")):
        sheet = None if path.stem == order.name else _sheet(path.with_suffix(""))
        if sheet is None:
            continue
        taken = list(_taken(_changes(sheet)))
        if taken and _poured(book, path.stem, sheet) is None:
            yield from ((path.stem, each) for each in taken)


def _taken(changes: Sequence[Kept]) -> Iterator[Kept]:
    """What a sheet takes of each kept premix: it takes it up whole, and puts back what it leaves."""
    for each in changes:
        if each.grams < 0.0:
            back = sum(other.grams for other in changes if other.grams > 0.0 and _key(other) == _key(each))
            yield replace(each, grams=-each.grams - back)


def _poured(book: ledger.Ledger, name: str, sheet: jsonable.Sheet) -> int | None:
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
        if is_own and (batch.base, batch.batch_g, batch.premixes) == (sheet.base, sheet.batch_g, _changes(sheet)):
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
