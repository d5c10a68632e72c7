"""Labels of an order: for every premix, every cup and every part, with the caution that belongs on each, on paper.

Many stand on a sheet, to be cut or printed on sheets of labels.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass

from tint.materials import Base, Pigment
from tint.orders.order import Order
from tint.palette import Palette
from tint.proofs.leaf import FAINT, FORMATS, QUIET, Page, many_pages
from tint.weighing import WeighSheet

MOST = 210  # parts that get a label each, ten pages; chosen by eye
_OF_PREMIX = "Stir before use. Keep no longer than the part that it is in."
# A sheet of 3 by 7 labels as shops sell them, lengths in mm: common practice, no source.
WIDE, HIGH, ACROSS, DOWN, GUTTER = 63.5, 38.1, 3, 7, 2.5
_INSIDE = 2.5  # from a label's edge to its words; chosen by eye
_OF_PART = "Not for skin or food unless every material in it is cleared for that."


@dataclass(frozen=True, kw_only=True)
class Label:
    """A label."""

    head: str  # what it is, large
    lines: tuple[str, ...] = ()  # more of it
    blanks: tuple[str, ...] = ()  # what is written by hand
    caution: str = ""  # what to know of it


def order_labels(order: Order, palette: Palette, sheet: WeighSheet) -> tuple[Label, ...]:
    """The labels of an order, premixes first, then cups, then parts; of many parts one for their box."""
    return (*_premixes(order, palette, sheet), *_cups(order, palette, sheet), *_parts(order, sheet))


def _premixes(order: Order, palette: Palette, sheet: WeighSheet) -> Iterator[Label]:
    shown = sheet.scale.shown
    base = palette.bases[sheet.blend.base]
    for premix in sheet.premixes:
        caution = " ".join((*_cure(base, {premix.pigment: palette.pigments[premix.pigment]}), _OF_PREMIX))
        for step in premix.steps:
            lot = f", lot {step.lot}" if step.lot else ""
            yield Label(
                head=step.makes,
                lines=(
                    f"{shown(step.grams)} {step.what}{lot}",
                    f"into {shown(step.base_g)} part {step.part} of {base.name}",
                    f"for {order.title}",
                ),
                blanks=("made on", "by"),
                caution=caution,
            )


def _cups(order: Order, palette: Palette, sheet: WeighSheet) -> Iterator[Label]:
    base, count = palette.bases[sheet.blend.base], sheet.cups.count
    pigments = {name: palette.pigments[name] for name in sheet.blend.loadings}
    doses = ", ".join(f"{dose:.4g} % {name}" for name, dose in sheet.blend.loadings.items())
    for at in range(1, count + 1):
        yield Label(
            head=f"{order.title}, cup {at} of {count}" if count > 1 else f"{order.title}, cup",
            lines=(f"{base.name}, {sheet.scale.shown(sheet.cups.grams)}", doses or "uncoloured"),
            blanks=("parts met", "poured"),
            caution=" ".join((*_cure(base, pigments), "Cure a small cup of this mix first.")),
        )


def _parts(order: Order, sheet: WeighSheet) -> Iterator[Label]:
    written = order.written
    walls = " and ".join(f"{wall:g}" for wall in order.walls_mm)
    due = f", due {written.due.isoformat()}" if written.due else ""
    told = [f"{sheet.blend.base}, {walls} mm"] + ([f"{written.customer}{due}"] if written.customer or due else [])
    heads = [f"{order.title} {at} of {written.parts}" for at in range(1, written.parts + 1)]
    if written.parts == 1:
        heads = [order.title]
    elif written.parts > MOST:
        heads = [f"{order.title}, {written.parts} pieces"]
    for head in heads:
        lines = tuple(line.strip(", ") for line in told)
        yield Label(head=head, lines=lines, blanks=("cast on", "checked"), caution=_OF_PART)


def _cure(base: Base, pigments: dict[str, Pigment]) -> Iterator[str]:
    """What upsets the cure, or is harmful in it; see docs/limits.md."""
    unsure = [name for name, each in pigments.items() if each.cures is None]
    unsafe = [name for name, each in pigments.items() if each.cures is not None and base.cure not in each.cures]
    if unsafe:
        yield f"{' and '.join(unsafe)}: not safe with {base.cure} cure."
    if unsure:
        yield f"{' and '.join(unsure)}: not known to be safe with {base.cure} cure."
    if base.cure == "condensation":
        yield "Tin catalyst: keep off skin, ventilate."
    else:
        yield "Sulphur, tin and amines stop its cure: nitrile gloves, clean tools."


# On paper.


def draw_labels(order: Order, palette: Palette, sheet: WeighSheet, *, made: datetime.datetime) -> bytes:
    """The labels on as many pages as they take, as the bytes of a PDF."""
    labels = order_labels(order, palette, sheet)

    def draw(page: Page) -> None:
        width, height = FORMATS["a4"]
        left = 0.5 * (width - ACROSS * WIDE - (ACROSS - 1) * GUTTER)
        top = 0.5 * (height - DOWN * HIGH)
        for at, label in enumerate(labels):
            row, column = divmod(at % (ACROSS * DOWN), ACROSS)
            if at and not (row or column):
                page.turn()
            _label(page, label, left + column * (WIDE + GUTTER), top + row * HIGH)

    return many_pages(draw, paper="a4", title=f"Labels: {order.title}", made=made, serif=False)


def _label(page: Page, label: Label, x: float, top: float) -> None:
    page.pdf.set_draw_color(*FAINT)
    page.pdf.set_line_width(0.2)
    page.pdf.rect(x, top, WIDE, HIGH, style="D")
    left, width, foot = x + _INSIDE, WIDE - 2.0 * _INSIDE, top + HIGH - _INSIDE
    y = top + _INSIDE - 0.5
    page.words(label.head, left, y, points=11.5, bold=True, width=width)
    y += page.line_height(11.5) + 0.3
    for line in label.lines:
        y = page.paragraph(line, left, y, width=width, points=8.0)
    share = width / max(len(label.blanks), 1)
    if label.blanks:
        y += 0.8
    for at, name in enumerate(label.blanks):
        page.blank(name, left + at * share, y, to=left + (at + 1) * share - 1.5)
    if label.caution:
        lines = page.wrapped(label.caution, width=width, points=6.6)
        first = foot - len(lines) * page.line_height(6.6)
        for at, line in enumerate(lines):
            page.words(line, left, first + at * page.line_height(6.6), points=6.6, ink=QUIET)
