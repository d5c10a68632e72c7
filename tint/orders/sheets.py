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
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from tint import jsonable
from tint.appearance import predict
from tint.files import neutral
from tint.materials import Blend, Workshop
from tint.orders.order import Order
from tint.orders.quote import Quote, costs_table, invoice_csv, invoice_json, invoice_line, quote_pdf
from tint.palette import Palette
from tint.swatches import PALETTE_FILE
from tint.swatches.contents import contents_of
from tint.swatches.one_reading import file_and_name
from tint.thickness import at_walls
from tint.weighing import WeighSheet, weigh_table

if TYPE_CHECKING:
    from tint.proofs.part_picture import Shown
    from tint.proofs.traced.shown import TracedPart

Maker = Callable[[], bytes]
Tell = Callable[[str, int, int], None]

_MONEY = ("price_per_hour", "minutes_a_batch", "minutes_a_part", "margin_percent", "currency")  # of [workshop]
_QUOTED = ("parts", "words", "customer", "due", "price", "minutes")
# Keys of the order that change no recipe, and what is made of each of them.
_OF_KEYS = {
    "weigh.pdf": ("parts",),
    "weigh.csv": ("parts",),
    "weigh.json": ("parts",),
    "card.png": (),
    "expected.csv": (),
    "approval.html": ("words", "customer", "approver", "traced"),
    "approval.pdf": ("words", "customer", "approver", "traced"),
    "traced.png": ("traced",),
    "labels.pdf": ("parts", "customer", "due"),
    "choose.html": ("words",),
} | dict.fromkeys(("quote.pdf", "invoice.csv", "invoice.json", "costs.csv"), _QUOTED)
# Of those, what depends on the premixes that are kept and used.
_OF_STOCK = ("weigh.pdf", "weigh.csv", "weigh.json", "labels.pdf")
_NOT_OF_RECIPE = frozenset(key for keys in _OF_KEYS.values() for key in keys)


@dataclass(frozen=True, kw_only=True, eq=False)
class Job:
    """An order with all that its files are made of."""

    order: Order
    palette: Palette
    workshop: Workshop
    answer: jsonable.Answer
    sheet: WeighSheet
    priced: WeighSheet  # the same with every premix made for it
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
    stock = [asdict(each.kept) for each in job.sheet.premixes if each.kept], job.sheet.warnings
    return digest(asked, recipe, _text(told), _text(money), _text({"stock": stock if name in _OF_STOCK else ()}))


def _folder(folder: Path) -> list[bytes]:
    contents = {name: each.data or b"" for name, each in contents_of(folder).items()}
    palette = tomllib.loads(contents.pop(PALETTE_FILE).decode("utf-8-sig"))
    shop = palette.get("workshop", {})
    palette["workshop"] = {key: value for key, value in shop.items() if key not in (*_MONEY, "premix_days")}
    return [_text(palette).encode(), *contents.values()]


def _text(told: dict[str, Any]) -> str:
    return json.dumps(told, sort_keys=True, default=str)


def makers(job: Job, tell: Tell) -> dict[Path, Maker]:
    """Every file of an order, and how it is made; `tell` is told how far a traced picture is."""
    into = job.order.made_path
    every: dict[str, Maker] = {
        "weigh.pdf": lambda: _weigh_pdf(job),
        "weigh.csv": lambda: weigh_table(job.sheet),
        "weigh.json": lambda: msgspec.json.format(job.sheet.to_json().encode()),
        "labels.pdf": lambda: _labels(job),
        "expected.csv": lambda: _expected(job),
        **_approval(job, tell),
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
    from tint.orders.labels import draw_labels  # pictures are for those who draw

    return draw_labels(job.order, job.palette, job.sheet, made=job.day)


def _approval(job: Job, tell: Tell) -> dict[str, Maker]:
    """The card to mail and the sheets that the customer approves."""
    order, palette, written = job.order, job.palette, job.order.written
    setting, target = order.setting(palette), order.target(palette)

    @functools.cache
    def walls() -> Any:
        return at_walls(palette, target, predict(palette, job.blend, setting=setting), walls_mm=order.walls_mm[1:])

    def card() -> bytes:
        from tint.proofs import draw_proof

        return draw_proof(palette, job.blend, setting=setting, target=target, title=order.title, walls=walls())

    @functools.cache
    def traced() -> TracedPart | None:
        if written.traced is None:
            return None
        from tint.proofs.traced.shown import trace_part

        return trace_part(palette, job.blend, order.read_part(), setting=setting, scene=written.traced, progress=tell)

    def in_light() -> bytes:
        from tint.proofs.picture import paint
        from tint.proofs.traced.shown import traced_picture

        shown = traced()
        assert shown is not None  # made only where a scene is named
        return paint(traced_picture(shown, title=order.title))

    @functools.cache  # the page and the PDF show one sheet
    def agreed() -> Any:
        from tint.proofs.approval import Asked, approval

        who = written.approver or written.customer
        asked = Asked(
            name=order.title, words=written.words, who=who, made=job.made_on, tolerance=target.tolerance
        )  # fmt: skip
        return approval(
            palette, job.blend, setting=setting, asked=asked, target=target, shown=_shown(order), walls=walls(),
            traced=traced(),
        )  # fmt: skip

    def page() -> bytes:
        from tint.proofs.approval_page import approval_page

        return approval_page(agreed())

    def pdf() -> bytes:
        from tint.proofs.approval_page import approval_pdf

        return approval_pdf(agreed())

    made: dict[str, Maker] = {"card.png": card, "approval.html": page, "approval.pdf": pdf}
    return made if written.traced is None else made | {"traced.png": in_light}


def _shown(order: Order) -> Shown | None:
    """The part that an order names, as a sheet shows it from above."""
    if order.written.part is None:
        return None
    from tint.proofs.part_picture import SHEET_PIXELS, part_shown

    return part_shown(order.read_part(), pixels=SHEET_PIXELS, named=order.title)


def _to_pay(job: Job) -> dict[str, Maker]:
    """The quote, and the line that an accounting program takes."""
    line = invoice_line(job.order, job.quote, job.made_on)
    return {
        "quote.pdf": lambda: quote_pdf(
            job.order, job.palette, job.quote, text=line["text"], seen=job.priced.predicted, made_on=job.made_on
        ),
        "invoice.csv": lambda: invoice_csv(line),
        "invoice.json": lambda: invoice_json(line),
    }


def _to_choose_from(job: Job) -> bytes:
    """The span of a colour that was photographed without a chart."""
    from tint.photographs.mailed import mailed_in, wanted_colour
    from tint.proofs.photo import choosing_page

    order, photo = job.order, job.order.written.photo
    assert order.photo is not None  # the caller has looked
    assert photo is not None
    seen = wanted_colour(mailed_in(order.photo), order.setting(job.palette).viewing(job.palette))
    return choosing_page(seen, spot=photo.spot, title=order.title, words=order.written.words)
