"""A quote on one page: what is cast, how many, for how much, and room to accept it."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from tint.proofs.facts import Shade
from tint.proofs.leaf import INK, QUIET, Page, one_page

_CHIP = 34.0, 22.0  # [mm]; chosen by eye
_COLUMNS = (0.56, 0.74, 1.0)  # right edges of quantity, unit price and total, as shares of the width


@dataclass(frozen=True, kw_only=True)
class QuoteSheet:
    """What a quote says."""

    title: str  # the order
    workshop: str  # who quotes
    customer: str  # may be blank
    words: str  # the customer's own; may be blank
    shade: Shade  # the colour as predicted
    facts: Sequence[str]  # of the casting, a line each
    text: str  # what is quoted
    quantity: str  # with its unit
    unit_price: str  # with the currency
    total: str  # likewise
    due: str  # blank where no day is told
    made: datetime.date


def quote_pdf(sheet: QuoteSheet, *, paper: str = "a4") -> bytes:
    """The quote as a PDF of one page.

    Raises
    ------
    InputError
        If the typeface is not installed, or the paper is not known.
    JobError
        If fpdf2 is not installed.
    """
    day = datetime.datetime.combine(sheet.made, datetime.time(12), tzinfo=datetime.UTC)
    return one_page(lambda page: _drawn(page, sheet), paper=paper, title=f"Quote: {sheet.title}", made=day)


def _drawn(page: Page, sheet: QuoteSheet) -> float:
    wide, left = page.width, page.left
    top = page.paragraph(f"Quote: {sheet.title}", left, 14.0, width=wide, points=24.0)
    to = f" for {sheet.customer}" if sheet.customer else ""
    top = page.paragraph(f"{sheet.workshop}{to}, {sheet.made:%Y-%m-%d}", left, top + 1.0, width=wide, ink=QUIET) + 6.0
    if sheet.words:
        top = page.paragraph(f"“{sheet.words}”", left, top, width=wide, points=11.0) + 4.0
    width, height = _CHIP
    page.chip(sheet.shade, left, top, width, height)
    ends = page.paragraphs(sheet.facts, left + width + 5.0, top, wide - width - 5.0, points=9.5)
    top = max(ends, top + height) + 9.0
    edges = [left + share * wide for share in _COLUMNS]
    for name, edge in zip(("quantity", "price", "total"), edges, strict=True):
        page.words(name, edge, top, points=8.5, ink=QUIET, right=True)
    page.rule(left, top + 5.0, page.right, ink=INK)
    numbers = (sheet.quantity, sheet.unit_price, sheet.total)
    for shown, edge in zip(numbers, edges, strict=True):
        page.words(shown, edge, top + 6.8, points=10.5, bold=shown is sheet.total, right=True)
    top = page.paragraph(sheet.text, left, top + 6.8, width=0.4 * wide, points=10.5) + 2.0
    page.rule(left, top, page.right)
    top += 5.0
    told = [f"Due {sheet.due}."] if sheet.due else []
    told.append("Taxes and carriage are not in it.")
    told.append("The colour is judged on a cured casting beside the approval sheet: no screen or printer shows it.")
    top = page.paragraphs(told, left, top, wide, points=9.5) + 8.0
    page.blank("Holds until", left, top, to=left + 0.4 * wide, points=9.0)
    top += 22.0
    for name, start, share in (("Accepted by", 0.0, 0.36), ("Signature", 0.39, 0.36), ("Date", 0.78, 0.22)):
        page.rule(left + start * wide, top, left + (start + share) * wide, ink=INK)
        page.words(name, left + start * wide, top + 0.8, points=8.0, ink=QUIET)
    return top + 5.0
