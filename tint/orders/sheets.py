"""Every file that is made of an order, and what each is made of, so that an edit makes anew only what it changes."""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import json
import tomllib
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import msgspec

from tint import jsonable
from tint.appearance import Setting, predict
from tint.files import csv_table
from tint.materials import Blend, Workshop
from tint.orders.order import Order
from tint.orders.quote import Quote, costs_table, invoice_csv, invoice_json, invoice_line, quote_pdf
from tint.palette import Palette
from tint.swatches import PALETTE_FILE
from tint.swatches.folder import contents_of
from tint.swatches.one_reading import file_and_name
from tint.target import Target
from tint.thickness import Wall, at_walls
from tint.weighing import WeighSheet, weigh_table

if TYPE_CHECKING:
    from tint.proofs.approval import Approval
    from tint.proofs.part_picture import Shown
    from tint.proofs.traced.shown import TracedPart

Maker = Callable[[], bytes]
Tell = Callable[[str, int, int], None]

_MONEY = ("price_per_hour", "minutes_a_batch", "minutes_a_part", "margin_percent", "currency")  # of [workshop]


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
    corrected: bool  # whether the recipe was corrected from a trial
    tell: Tell | None  # told how far a traced picture is

    @cached_property
    def blend(self) -> Blend:
        """The recipe chosen."""
        return Blend(self.answer.recipes[0].base, dict(self.answer.recipes[0].loadings))

    @cached_property
    def setting(self) -> Setting:
        """How the part is cast and seen."""
        return self.order.setting(self.palette)

    @cached_property
    def target(self) -> Target:
        """What is wanted of it."""
        return self.order.target(self.palette)

    @cached_property
    def walls(self) -> tuple[Wall, ...]:
        """The recipe at every wall, the worst first."""
        look = predict(self.palette, self.blend, setting=self.setting)
        return at_walls(self.palette, self.target, look, walls_mm=self.order.walls_mm[1:])

    @cached_property
    def traced(self) -> TracedPart | None:
        """The part with light followed through it, where the order names a scene."""
        if self.order.written.traced is None:
            return None
        from tint.proofs.traced.shown import trace_part

        return trace_part(
            self.palette, self.blend, self.order.read_part(), setting=self.setting, scene=self.order.written.traced,
            progress=self.tell,
        )  # fmt: skip

    @cached_property
    def agreed(self) -> Approval:
        """What the customer approves; the page and the PDF show one sheet."""
        from tint.proofs.approval import Asked, approval

        title, written = self.order.title, self.order.written
        who = written.approver or written.customer
        asked = Asked(name=title, words=written.words, who=who, made=self.made_on, tolerance=self.target.tolerance)
        return approval(
            self.palette, self.blend, setting=self.setting, asked=asked, target=self.target, shown=_shown(self.order),
            walls=self.walls, traced=self.traced,
        )  # fmt: skip

    @cached_property
    def invoiced(self) -> dict[str, Any]:
        """The line of an invoice, which the quote words alike."""
        return invoice_line(self.order, self.quote, self.made_on)

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
    written, keys = msgspec.to_builtins(job.order.written), _EVERY[name].keys
    told = {key: written[key] for key in keys}
    money = {key: getattr(job.workshop, key) for key in _MONEY} if keys is _QUOTED else {}
    stock = [asdict(each.kept) for each in job.sheet.premixes if each.kept], job.sheet.warnings
    return digest(asked, recipe, _text(told), _text(money), _text({"stock": stock if name in OF_STOCK else ()}))


def _folder(folder: Path) -> list[bytes]:
    contents = {name: each.data or b"" for name, each in contents_of(folder).items()}
    palette = tomllib.loads(contents.pop(PALETTE_FILE).decode("utf-8-sig"))
    shop = palette.get("workshop", {})
    palette["workshop"] = {key: value for key, value in shop.items() if key not in (*_MONEY, "premix_days")}
    return [_text(palette).encode(), *contents.values()]


def _text(told: dict[str, Any]) -> str:
    return json.dumps(told, sort_keys=True, default=str)


# Each file. What draws it is imported for those who draw.


def _weigh_pdf(job: Job) -> bytes:
    from tint.proofs.sheet import draw_weigh_sheet

    return draw_weigh_sheet(job.palette, job.sheet, title=job.order.title, made=job.day)


def _labels(job: Job) -> bytes:
    from tint.orders.labels import draw_labels

    return draw_labels(job.order, job.palette, job.sheet, made=job.day)


def _expected(job: Job) -> bytes:
    """What the recipe should read over every card, as a table of readings: `tint inspect` holds parts to it."""
    rows = [("swatch", "backing", "seat", *(f"{nm:.10g}" for nm in job.palette.wavelengths))]
    for over in job.palette.backings:
        setting = replace(job.setting, over=over, geometry="", as_read=True)
        seen = predict(job.palette, job.blend, setting=setting).reflectance
        rows.append((job.order.name, over, setting.seat, *(f"{value:.5f}" for value in seen)))
    return csv_table(rows)


def _card(job: Job) -> bytes:
    from tint.proofs import draw_proof

    title = job.order.title
    return draw_proof(job.palette, job.blend, setting=job.setting, target=job.target, title=title, walls=job.walls)


def _approval_page(job: Job) -> bytes:
    from tint.proofs.approval_page import approval_page

    return approval_page(job.agreed)


def _approval_pdf(job: Job) -> bytes:
    from tint.proofs.approval_page import approval_pdf

    return approval_pdf(job.agreed)


def _in_light(job: Job) -> bytes:
    from tint.proofs.picture import paint
    from tint.proofs.traced.shown import traced_picture

    assert job.traced is not None  # made only where a scene is named
    return paint(traced_picture(job.traced, title=job.order.title))


def _shown(order: Order) -> Shown | None:
    """The part that an order names, as a sheet shows it from above."""
    if order.written.part is None:
        return None
    from tint.proofs.part_picture import SHEET_PIXELS, part_shown

    return part_shown(order.read_part(), pixels=SHEET_PIXELS, named=order.title)


def _quote(job: Job) -> bytes:
    text = job.invoiced["text"]
    return quote_pdf(job.order, job.palette, job.quote, text=text, seen=job.priced.predicted, made_on=job.made_on)


def _to_choose_from(job: Job) -> bytes:
    """The span of a colour that was photographed without a chart."""
    from tint.photographs.mailed import mailed_in, wanted_colour
    from tint.proofs.photo import choosing_page

    order, photo = job.order, job.order.written.photo
    assert order.photo is not None  # made only then
    assert photo is not None
    seen = wanted_colour(mailed_in(order.photo), job.setting.viewing(job.palette))
    return choosing_page(seen, spot=photo.spot, title=order.title, words=order.written.words)


def _is_to_choose(job: Job) -> bool:
    photo = job.order.written.photo
    return photo is not None and not photo.chart and not photo.chip


class _File(NamedTuple):
    make: Callable[[Job], bytes]
    keys: tuple[str, ...] = ()  # of the order, that change it and no recipe
    is_made: Callable[[Job], bool] = lambda _: True


_AGREED = ("words", "customer", "approver", "traced")
_QUOTED = ("parts", "words", "customer", "due", "price", "minutes")


def _is_priced(job: Job) -> bool:
    return job.quote.price is not None


_EVERY = {
    "weigh.pdf": _File(_weigh_pdf, ("parts",)),
    "weigh.csv": _File(lambda job: weigh_table(job.sheet), ("parts",)),
    "weigh.json": _File(lambda job: msgspec.json.format(job.sheet.to_json().encode()), ("parts",)),
    "labels.pdf": _File(_labels, ("parts", "customer", "due")),
    "expected.csv": _File(_expected),
    "card.png": _File(_card),
    "approval.html": _File(_approval_page, _AGREED),
    "approval.pdf": _File(_approval_pdf, _AGREED),
    "traced.png": _File(_in_light, ("traced",), lambda job: job.order.written.traced is not None),
    "quote.pdf": _File(_quote, _QUOTED, _is_priced),
    "invoice.csv": _File(lambda job: invoice_csv(job.invoiced), _QUOTED, _is_priced),
    "invoice.json": _File(lambda job: invoice_json(job.invoiced), _QUOTED, _is_priced),
    "costs.csv": _File(lambda job: costs_table(job.quote), _QUOTED, lambda job: bool(job.quote.costs)),
    "choose.html": _File(_to_choose_from, ("words",), _is_to_choose),
}
OF_STOCK = ("weigh.pdf", "weigh.csv", "weigh.json", "labels.pdf")  # what depends on premixes that are kept and used
_NOT_OF_RECIPE = frozenset(key for each in _EVERY.values() for key in each.keys)


def makers(job: Job) -> dict[Path, Maker]:
    """Every file of an order, and how it is made.

    Of a recipe that was corrected from a trial only what is weighed: the customer has approved the others.
    """
    own = [name for name in _EVERY if name in OF_STOCK or not job.corrected]
    every = {name: _EVERY[name] for name in own if _EVERY[name].is_made(job)}
    return {job.order.made_path / name: partial(each.make, job) for name, each in every.items()}
