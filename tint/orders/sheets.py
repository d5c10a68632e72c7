"""Every file that is made of an order, and what each is made of, so that an edit makes anew only what it changes."""

from __future__ import annotations

import contextlib
import csv
import datetime
import functools
import hashlib
import io
import json
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from tint import jsonable
from tint.appearance import predict
from tint.files import neutral
from tint.materials import Base, Blend, Pigment, Workshop
from tint.orders.order import Order
from tint.orders.quote import Quote, costs_table, invoice_csv, invoice_json, invoice_line
from tint.palette import Palette
from tint.proofs.labels import Label, label_sheets
from tint.swatches import PALETTE_FILE
from tint.swatches.contents import contents_of
from tint.swatches.one_reading import file_and_name
from tint.walls import at_walls
from tint.weighing import WeighSheet, weigh_table

if TYPE_CHECKING:
    from tint.proofs.part_picture import Shown

Maker = Callable[[], bytes]

_MONEY = ("price_per_hour", "minutes_a_batch", "minutes_a_part", "margin_percent", "currency")  # of [workshop]
_QUOTED = ("parts", "words", "customer", "due", "price", "minutes")
# Keys of the order that change no recipe, and what is made of each of them.
_OF_KEYS = {
    "weigh.pdf": ("parts",),
    "weigh.csv": ("parts",),
    "card.png": (),
    "expected.csv": (),
    "approval.html": ("words", "customer", "approver"),
    "approval.pdf": ("words", "customer", "approver"),
    "labels.pdf": ("parts", "customer", "due"),
    "choose.html": ("words",),
} | dict.fromkeys(("quote.pdf", "invoice.csv", "invoice.json", "costs.csv"), _QUOTED)
_NOT_OF_RECIPE = frozenset(key for keys in _OF_KEYS.values() for key in keys)


@dataclass(frozen=True, kw_only=True, eq=False)
class Job:
    """An order with all that its files are made of."""

    order: Order
    palette: Palette
    workshop: Workshop
    answer: jsonable.Answer
    sheet: WeighSheet
    quote: Quote
    made_on: datetime.date

    @property
    def blend(self) -> Blend:
        """The recipe chosen."""
        return Blend(self.answer.recipes[0].base, dict(self.answer.recipes[0].loadings))

    @property
    def day(self) -> datetime.datetime:
        """The day on its sheets."""
        return datetime.datetime.combine(self.made_on, datetime.time(), tzinfo=datetime.UTC)


def digest(*parts: bytes | str) -> str:
    """One digest over several things, each with its length."""
    found = hashlib.sha256()
    for part in parts:
        data = part.encode() if isinstance(part, str) else part
        found.update(len(data).to_bytes(8, "big") + data)
    return found.hexdigest()


def asked_of(order: Order, optics: str, beside: list[bytes]) -> str:
    """A digest of all that a recipe is found from: the order, the folder without its charges, files that it names."""
    written = msgspec.to_builtins(order.written)
    told = {key: value for key, value in written.items() if key not in _NOT_OF_RECIPE}
    return digest(_text(told), *_folder(order.folder), optics, *beside)


def beside(order: Order) -> list[bytes]:
    """What stands in the files that an order names."""
    named = [order.beside(order.written.part)] if order.written.part else []
    named += [Path(file_and_name(order.reading)[0])] if order.reading else []
    named += [order.beside(order.written.photo.file)] if order.written.photo else []
    found = []
    for path in named:
        with contextlib.suppress(OSError):  # who reads it says what is wrong with it
            found.append(path.read_bytes())
    return found


def made_of(job: Job, name: str, *, asked: str, recipe: bytes) -> str:
    """A digest of all that a file is made of."""
    written = msgspec.to_builtins(job.order.written)
    told = {key: written[key] for key in _OF_KEYS[name]}
    money = {key: getattr(job.workshop, key) for key in _MONEY} if _OF_KEYS[name] is _QUOTED else {}
    return digest(asked, recipe, _text(told), _text(money))


def _folder(folder: Path) -> list[bytes]:
    contents = {name: each.data or b"" for name, each in contents_of(folder).items()}
    palette = tomllib.loads(contents.pop(PALETTE_FILE).decode("utf-8-sig"))
    shop = palette.get("workshop", {})
    palette["workshop"] = {key: value for key, value in shop.items() if key not in _MONEY}
    return [_text(palette).encode(), *contents.values()]


def _text(told: dict[str, Any]) -> str:
    return json.dumps(told, sort_keys=True, default=str)


def makers(job: Job) -> dict[Path, Maker]:
    """Every file of an order, and how it is made."""
    into = job.order.made_path
    every: dict[str, Maker] = {
        "weigh.pdf": lambda: _weigh_pdf(job),
        "weigh.csv": lambda: weigh_table(job.sheet),
        "labels.pdf": lambda: _labels(job),
        "expected.csv": lambda: _expected(job),
        **_approval(job),
        **(_to_pay(job) if job.quote.price is not None else {}),
    }
    if job.quote.costs:
        every["costs.csv"] = lambda: costs_table(job.quote)
    photo = job.order.written.photo
    if photo is not None and not photo.chart and not photo.chip:
        every["choose.html"] = lambda: _to_choose_from(job)
    return {into / name: make for name, make in every.items()}


def _weigh_pdf(job: Job) -> bytes:
    from tint.proofs.sheet import draw_weigh_sheet  # pictures are for those who draw

    return draw_weigh_sheet(job.palette, job.sheet, title=job.order.title, made=job.day)


def _expected(job: Job) -> bytes:
    """What the recipe should read over every card, as a table of readings: `tint inspect` holds parts to it."""
    palette, own = job.palette, job.order.setting(job.palette)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["swatch", "backing", "seat", *(f"{nm:.10g}" for nm in palette.wavelengths)])
    for over in palette.backings:
        setting = replace(own, over=over, geometry="", as_read=True)
        seen = predict(palette, job.blend, setting=setting).reflectance
        writer.writerow([neutral(job.order.name), over, own.seat, *(f"{value:.5f}" for value in seen)])
    return out.getvalue().encode("utf-8")


def _labels(job: Job) -> bytes:
    from tint.orders.sheets import draw_labels

    return draw_labels(job.order, job.palette, job.sheet, made=job.day)


def _approval(job: Job) -> dict[str, Maker]:
    """The card to mail and the sheets that the customer approves."""
    order, palette, written = job.order, job.palette, job.order.written
    setting, target = order.setting(palette), order.target(palette)

    @functools.cache
    def walls() -> Any:
        return at_walls(palette, target, predict(palette, job.blend, setting=setting), walls_mm=order.walls_mm[1:])

    def card() -> bytes:
        from tint.proofs import draw_proof

        return draw_proof(palette, job.blend, setting=setting, target=target, title=order.title, walls=walls())

    @functools.cache  # the page and the PDF show one sheet
    def agreed() -> Any:
        from tint.proofs.approval import Asked, approval

        who = written.approver or written.customer
        asked = Asked(
            name=order.title, words=written.words, who=who, made=job.made_on, tolerance=target.tolerance
        )  # fmt: skip
        shown = _shown(order)
        return approval(palette, job.blend, setting=setting, asked=asked, target=target, shown=shown, walls=walls())

    def page() -> bytes:
        from tint.proofs.approval_page import approval_page

        return approval_page(agreed())

    def pdf() -> bytes:
        from tint.proofs.approval_page import approval_pdf

        return approval_pdf(agreed())

    return {"card.png": card, "approval.html": page, "approval.pdf": pdf}


def _shown(order: Order) -> Shown | None:
    """The part that an order names, as a sheet shows it from above."""
    if order.written.part is None:
        return None
    from tint.proofs.part import read_part
    from tint.proofs.part_picture import SHEET_PIXELS, part_shown
    from tint.proofs.walls import TO_DRAW, walls_of

    part = read_part(order.beside(order.written.part))
    walls = walls_of(part.triangles, points=TO_DRAW, name=part.name)
    return part_shown(part, walls, pixels=SHEET_PIXELS, named=order.title)


def _to_pay(job: Job) -> dict[str, Maker]:
    """The quote, and the line that an accounting program takes."""
    line = invoice_line(job.order, job.quote, job.made_on)
    return {
        "quote.pdf": lambda: _quote_pdf(job, line["text"]),
        "invoice.csv": lambda: invoice_csv(line),
        "invoice.json": lambda: invoice_json(line),
    }


def _quote_pdf(job: Job, text: str) -> bytes:
    from tint.proofs.facts import shade_of
    from tint.proofs.quote_sheet import QuoteSheet, quote_pdf

    order, quote, seen = job.order, job.quote, job.sheet.predicted
    walls = " and ".join(f"{wall:g}" for wall in order.walls_mm)
    facts = [f"Silicone, base {job.blend.base}; walls of {walls} mm."]
    if job.palette.tells_opacity:
        facts.append(f"Contrast ratio {seen.contrast_ratio:.2f} at {order.walls_mm[0]:g} mm: 1 hides all behind it.")
    facts.append(f"Colour as on the approval sheet, within {order.target(job.palette).tolerance:g} CIEDE2000.")
    due = order.written.due
    return quote_pdf(
        QuoteSheet(
            title=order.title,
            workshop=job.palette.name,
            customer=order.written.customer,
            words=order.written.words,
            shade=shade_of(seen.lab, order.setting(job.palette).viewing(job.palette)),
            facts=facts,
            text=text,
            quantity=f"{quote.quantity} {quote.unit}{'s' if quote.quantity > 1 and quote.unit == 'piece' else ''}",
            unit_price=quote.in_words(quote.price),
            total=quote.in_words(quote.total),
            due="" if due is None else due.isoformat(),
            made=job.made_on,
        )
    )


def _to_choose_from(job: Job) -> bytes:
    """The span of a colour that was photographed without a chart."""
    from tint.photographs.mailed import mailed_in, wanted_colour
    from tint.proofs.choosing import choosing_page

    order, photo = job.order, job.order.written.photo
    assert order.photo is not None  # the caller has looked
    assert photo is not None
    seen = wanted_colour(mailed_in(order.photo), order.setting(job.palette).viewing(job.palette))
    return choosing_page(seen, spot=photo.spot, title=order.title, words=order.written.words)


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
