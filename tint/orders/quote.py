"""What an order costs: grams, working time and margin as the workshop tells them.

The costs are a table for the workshop, the price a quote on one page for the customer, and a line for an accounting
program.
"""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from tint.appearance import Appearance
from tint.files import csv_table
from tint.materials import Workshop
from tint.orders.order import Order
from tint.palette import Palette
from tint.weighing import WeighSheet

if TYPE_CHECKING:
    from tint.proofs.leaf import Page

_CHIP_MM = 34.0, 22.0  # chosen by eye
_COLUMNS = (0.56, 0.74, 1.0)  # right edges of quantity, unit price and total, as shares of the width


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
    """What the parts of an order cost; what is left of premixes is not charged.

    The order's own `price` goes before what is worked out, its `minutes` before the workshop's.
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


# The quote on one page: what is cast, how many, for how much, and room to accept it.


def quote_pdf(
    order: Order, palette: Palette, quote: Quote, *, text: str, seen: Appearance, made_on: datetime.date
) -> bytes:  # fmt: skip
    """The quote as a PDF; `text` is what is quoted, `seen` the casting as predicted."""
    from tint.proofs.leaf import one_page  # pages are for those who print

    day = datetime.datetime.combine(made_on, datetime.time(12), tzinfo=datetime.UTC)
    return one_page(
        lambda page: _drawn(page, order, palette, quote, text, seen, made_on),
        paper="a4", title=f"Quote: {order.title}", made=day,
    )  # fmt: skip


def _drawn(
    page: Page, order: Order, palette: Palette, quote: Quote, text: str, seen: Appearance, made_on: datetime.date
) -> float:  # fmt: skip
    from tint.proofs.facts import shade_of
    from tint.proofs.leaf import INK, QUIET

    wide, left, written = page.width, page.left, order.written
    top = page.paragraph(f"Quote: {order.title}", left, 14.0, width=wide, points=24.0)
    to = f" for {written.customer}" if written.customer else ""
    top = page.paragraph(f"{palette.name}{to}, {made_on:%Y-%m-%d}", left, top + 1.0, width=wide, ink=QUIET) + 6.0
    if written.words:
        top = page.paragraph(f"“{written.words}”", left, top, width=wide, points=11.0) + 4.0
    width, height = _CHIP_MM
    page.chip(shade_of(seen.lab, order.setting(palette).viewing(palette)), left, top, width, height)
    facts = _facts(order, palette, seen)
    ends = page.paragraphs(facts, left + width + 5.0, top, wide - width - 5.0, points=9.5)
    top = max(ends, top + height) + 9.0
    edges = [left + share * wide for share in _COLUMNS]
    for name, edge in zip(("quantity", "price", "total"), edges, strict=True):
        page.words(name, edge, top, points=8.5, ink=QUIET, right=True)
    page.rule(left, top + 5.0, page.right, ink=INK)
    pieces = f"{quote.quantity} {quote.unit}{'s' if quote.quantity > 1 and quote.unit == 'piece' else ''}"
    for shown, edge, bold in (
        (pieces, edges[0], False),
        (quote.in_words(quote.price), edges[1], False),
        (quote.in_words(quote.total), edges[2], True),
    ):
        page.words(shown, edge, top + 6.8, points=10.5, bold=bold, right=True)
    top = page.paragraph(text, left, top + 6.8, width=0.4 * wide, points=10.5) + 2.0
    page.rule(left, top, page.right)
    told = [f"Due {written.due.isoformat()}."] if written.due else []
    told.append("Taxes and carriage are not in it.")
    told.append("The colour is judged on a cured casting beside the approval sheet: no screen or printer shows it.")
    top = page.paragraphs(told, left, top + 5.0, wide, points=9.5) + 8.0
    page.blank("Holds until", left, top, to=left + 0.4 * wide, points=9.0)
    top += 22.0
    for name, start, share in (("Accepted by", 0.0, 0.36), ("Signature", 0.39, 0.36), ("Date", 0.78, 0.22)):
        page.rule(left + start * wide, top, left + (start + share) * wide, ink=INK)
        page.words(name, left + start * wide, top + 0.8, points=8.0, ink=QUIET)
    return top + 5.0


def _facts(order: Order, palette: Palette, seen: Appearance) -> list[str]:
    """What is told of the casting, a line each."""
    walls = " and ".join(f"{wall:g}" for wall in order.walls_mm)
    facts = [f"Silicone, base {seen.blend.base}; walls of {walls} mm."]
    if palette.tells_opacity:
        facts.append(f"Contrast ratio {seen.contrast_ratio:.2f} at {order.walls_mm[0]:g} mm: 1 hides all behind it.")
    return [*facts, f"Colour as on the approval sheet, within {order.target(palette).tolerance:g} CIEDE2000."]
