"""Labels of an order: for every premix, every cup and every part, with the caution that belongs on each."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from tint.materials import Base, Pigment
from tint.orders.order import Order
from tint.palette import Palette
from tint.proofs.labels import Label, label_sheets
from tint.weighing import WeighSheet

MOST = 210  # parts that get a label each, ten pages; chosen by eye
_OF_PREMIX = "Stir before use. Keep no longer than the part that it is in."
_OF_PART = "Not for skin or food unless every material in it is cleared for that."


def order_labels(order: Order, palette: Palette, sheet: WeighSheet) -> tuple[Label, ...]:
    """The labels of an order, premixes first, then cups, then parts; of many parts one for their box."""
    return (*_premixes(order, palette, sheet), *_cups(order, palette, sheet), *_parts(order, sheet))


def draw_labels(order: Order, palette: Palette, sheet: WeighSheet, *, made: datetime.datetime) -> bytes:
    """They as a PDF."""
    return label_sheets(order_labels(order, palette, sheet), title=f"Labels: {order.title}", made=made)


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
