"""What an order costs: grams, working time and margin as the workshop tells them; a line for an accounting program."""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterator
from typing import Any

from msgspec import Struct

from tint.files import csv_table
from tint.materials import Workshop
from tint.orders.order import Order
from tint.palette import Palette
from tint.weighing import WeighSheet


class Cost(Struct, frozen=True, kw_only=True):
    """A line of what an order costs the workshop: so many of a unit, the price of one, and all of it."""

    what: str
    quantity: float
    unit: str
    unit_price: float

    @property
    def total(self) -> float:
        """In the workshop's currency."""
        return self.quantity * self.unit_price


class Quote(Struct, frozen=True, kw_only=True):
    """What an order costs, and what is asked for it."""

    costs: tuple[Cost, ...]  # material, working time, margin
    price: float | None  # of one part, or of the whole batch where no parts are counted; None where prices are missing
    quantity: int
    unit: str  # `piece`, or `batch`
    currency: str
    missing: tuple[str, ...] = ()  # what palette.toml would have to tell for a price
    agreed: bool = False  # whether the order itself tells the price

    @property
    def total(self) -> float | None:
        """Of all parts."""
        return None if self.price is None else round(self.price * self.quantity, 2)

    def in_words(self, amount: float | None) -> str:
        """An amount of money."""
        return "" if amount is None else f"{amount:.2f} {self.currency}".strip()


def quote_of(order: Order, palette: Palette, sheet: WeighSheet, workshop: Workshop) -> Quote:
    """What the parts of an order cost.

    Parameters
    ----------
    order : Order
        Its own `price` goes before what is worked out, its `minutes` before the workshop's.
    palette : Palette
        Prices of bases and pigments.
    sheet : WeighSheet
        What is weighed; what is left of premixes is not charged.
    """
    written = order.written
    counted = written.part is not None or written.parts > 1
    quantity = written.parts if counted else 1
    missing = tuple(_missing(palette, sheet, workshop, written.minutes))
    costs = () if missing else _costs(palette, sheet, workshop, written.minutes, quantity)
    price = written.price
    if price is None and costs:
        price = round(sum(each.total for each in costs) / quantity, 2)
    return Quote(
        costs=costs, price=price, quantity=quantity, unit="piece" if counted else "batch", currency=workshop.currency,
        missing=missing, agreed=written.price is not None,
    )  # fmt: skip


def _missing(palette: Palette, sheet: WeighSheet, workshop: Workshop, minutes: float | None) -> Iterator[str]:
    base = palette.bases[sheet.blend.base]
    unpriced = [base.name] if base.price is None else []
    unpriced += [name for name in sheet.blend.loadings if palette.pigments[name].price is None]
    if unpriced:
        yield f"the price of {' and '.join(unpriced)}"
    if workshop.price_per_hour is None:
        yield "[workshop] price_per_hour"
    if minutes is None and workshop.minutes_a_batch is None and workshop.minutes_a_part is None:
        yield "[workshop] minutes_a_batch or minutes_a_part, or minutes in the order"


def _costs(
    palette: Palette, sheet: WeighSheet, workshop: Workshop, minutes: float | None, quantity: int
) -> tuple[Cost, ...]:  # fmt: skip
    blend, total = sheet.rounded, sheet.total_grams
    prices = {blend.base: palette.bases[blend.base].price}
    prices |= {name: palette.pigments[name].price for name in blend.loadings}
    shares = {blend.base: 100.0 - blend.total, **blend.loadings}
    costs = [
        Cost(what=name, quantity=total * shares[name] / 100.0, unit="g", unit_price=(price or 0.0) / 1000.0)
        for name, price in prices.items()
    ]
    if minutes is None:
        minutes = (workshop.minutes_a_batch or 0.0) + quantity * (workshop.minutes_a_part or 0.0)
    costs.append(Cost(what="work", quantity=minutes / 60.0, unit="hour", unit_price=workshop.price_per_hour or 0.0))
    if workshop.margin_percent:
        spent = sum(each.total for each in costs)
        costs.append(Cost(what="margin", quantity=workshop.margin_percent, unit="%", unit_price=spent / 100.0))
    return tuple(costs)


# Tables: the costs for the workshop, and the one line that an accounting program takes.


def costs_table(quote: Quote) -> bytes:
    """What an order costs the workshop, as comma-separated values."""
    rows = [
        (each.what, f"{each.quantity:.6g}", each.unit, f"{each.unit_price:.6f}", f"{each.total:.2f}")
        for each in quote.costs
    ]
    return csv_table([("what", "quantity", "unit", "unit_price", "total"), *rows])


def invoice_line(order: Order, quote: Quote, made_on: datetime.date) -> dict[str, Any]:
    """What is to be paid for an order: plain columns, as any accounting program takes them."""
    return {
        "order": order.name,
        "customer": order.written.customer,
        "date": made_on.isoformat(),
        "text": f"{order.title}, cast in silicone, colour as agreed",
        "quantity": quote.quantity,
        "unit": quote.unit,
        "unit_price": quote.price,
        "currency": quote.currency,
        "total": quote.total,
    }


def invoice_csv(line: dict[str, Any]) -> bytes:
    """The line as comma-separated values, its columns first."""
    money = {"unit_price", "total"}
    return csv_table([line, [f"{x:.2f}" if name in money else x for name, x in line.items()]])


def invoice_json(line: dict[str, Any]) -> bytes:
    """The line as one line of JSON."""
    return (json.dumps(line, ensure_ascii=False) + "\n").encode("utf-8")
