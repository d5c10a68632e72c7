"""From an order to its sheets: fit, solve, choose, weigh and draw, doing again only what has changed."""

from __future__ import annotations

import contextlib
import datetime
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path

import msgspec

from tint import jsonable
from tint.errors import InputError
from tint.given import verb
from tint.materials import Blend, Workshop
from tint.orders.kept import Poured, Stock, newer_lots, poured_by, stock_for
from tint.orders.order import Order, read_order
from tint.orders.quote import Quote, quote_of
from tint.orders.record import Files, Made, record
from tint.orders.sheets import Job, asked_of, beside, made_of, makers
from tint.palette import Palette, fit_path, read_palette
from tint.recipes import from_json, solve
from tint.swatches import PALETTE_FILE, folder_digest
from tint.swatches.declaration import read_workshop
from tint.turns import LOG
from tint.weighing import Batch, Kept, WeighSheet, weigh
from tint.weighing.batch import waste_of
from tint.weighing.premix import scale_of

Tell = Callable[[str, int, int], None]


class Done(msgspec.Struct, frozen=True, kw_only=True):
    """An order that was run."""

    order: Order
    answer: jsonable.Answer  # the recipes; the one chosen comes first
    sheet: WeighSheet
    quote: Quote  # what it costs
    made: Made  # its files
    solved: bool  # whether recipes were sought now, and not kept from before
    entered: tuple[int, int]  # numbers of the order and its recipe in the ledger
    poured: int | None = None  # the batch in the ledger that was poured by the sheet
    promised: tuple[tuple[str, Kept], ...] = ()  # orders, and kept premixes that their sheets take before this one


@verb
def run_order(
    path: str | Path, *, choose: int | None = None, replace: bool = False, optics: str = "many-flux",
    made_on: datetime.date | None = None, progress: Tell | None = None,
) -> Done:  # fmt: skip
    """Do all that an order needs: recipe, weigh sheet, labels, approval sheets, quote, in files beside the order.

    Parameters
    ----------
    path : path-like
        The order's file.
    choose : int, optional
        The rank of the recipe to take; the best when absent, or the one chosen before, while nothing changed.
    replace : bool
        Whether files that someone altered are written over too.
    optics : str
        Layer model: `many-flux` or `two-flux`.
    made_on : date, optional
        The day on the sheets; today when absent.
    progress : callable, optional
        Told what is being done, how many steps of it are, and of how many; of 0 where nobody knows.

    Raises
    ------
    InputError
        If the order or its folder has faults, or there is no recipe of that rank.
    JobError
        If every pigment is refused, or a sheet cannot be made.
    """
    order, tell = read_order(path), progress or (lambda *_: None)
    palette = _palette(order.folder, optics, tell)
    files = Files(order.made_path)
    asked = asked_of(order, optics, beside(order))
    workshop = read_workshop((order.folder / PALETTE_FILE).read_text(encoding="utf-8-sig"))
    with _named(order):
        _check_amount(order)
        if order.written.traced is not None:  # told before anything is sought or made
            from tint.proofs.traced.paths import check_installed

            check_installed()
        answer, data, solved = _recipes(order, palette, workshop, files, asked, choose, replace=replace, tell=tell)
        day = made_on or datetime.date.today()
        stock, poured = stock_for(order, workshop, day), poured_by(order)
        sheet = _sheet(order, palette, answer, workshop, stock, poured)
        # A price goes by what the parts take, not by what happens to be left on the shelf.
        priced = sheet
        if any(each.kept for each in sheet.premixes):
            priced = weigh_chosen(order, palette, answer, workshop)
    _tell_lots(order, newer_lots(order, palette, answer.recipes[0].loadings))
    quote = quote_of(order, palette, priced, workshop)
    entered = record(order, answer)
    job = Job(
        order=order, palette=palette, workshop=workshop, answer=answer, sheet=sheet, priced=priced, quote=quote,
        made_on=day,
    )  # fmt: skip
    made = _made(job, files, asked, data, replace=replace, tell=tell)
    is_poured = poured is not None and poured.changes == sheet.premix_changes
    return Done(
        order=order, answer=answer, sheet=sheet, quote=quote, made=made, solved=solved, entered=entered,
        poured=poured.batch if poured is not None and is_poured else None, promised=stock.promised,
    )  # fmt: skip


def _tell_lots(order: Order, newer: Mapping[str, str]) -> None:
    """Say that pigments are of other lots by now than those that the sheet doses."""
    if newer:
        lots = ", ".join(f"{name} {lot}" for name, lot in newer.items())
        again = f"`tint ledger repeat {order.folder} {order.name}` doses for it"
        LOG.warning("%s: the sheet is for the lots of the swatches, and the ledger has %s; %s", order.path, lots, again)


def _sheet(
    order: Order, palette: Palette, answer: jsonable.Answer, workshop: Workshop, stock: Stock, poured: Poured | None
) -> WeighSheet:
    """The weigh sheet; as it was poured, while nothing else of it has changed."""
    if poured is not None:
        again = weigh_chosen(order, palette, answer, workshop, kept=poured.kept)
        if again.premix_changes == poured.changes:
            return again
    return weigh_chosen(order, palette, answer, workshop, kept=stock.usable, too_old=stock.too_old)


def _made(job: Job, files: Files, asked: str, recipe: bytes, *, replace: bool, tell: Tell) -> Made:
    """Make what is missing or was made of something else, and leave what somebody altered."""
    every = makers(job, tell)
    of = {each: made_of(job, each.name, asked=asked, recipe=recipe) for each in every}
    fresh = [each for each in every if files.is_fresh(each, of[each])]
    left = [each for each in every if each not in fresh and not replace and not files.is_ours(each)]
    missing = [each for each in every if each not in fresh and each not in left]
    contents: dict[Path, tuple[str, bytes]] = {}
    for each in missing:
        tell(f"Making {each.name}", 0, 0)
        contents[each] = (of[each], every[each]())
    if contents:
        files.write(contents)
    return Made(written=tuple(missing), kept=tuple(fresh), left=tuple(left))


@contextlib.contextmanager
def _named(order: Order) -> Iterator[None]:
    """What is wrong with what an order asks for is told with the order's file."""
    try:
        yield
    except InputError as error:
        if str(order.path.parent) in error.where or error.where == "choose":
            raise
        raise InputError(f"{order.path}, {error.where}", error.found, error.expected, error.mend) from error


def _check_amount(order: Order) -> None:
    if order.written.batch_g is None and order.written.part is None:
        mend = 'part = "lid.stl", or batch_g = 120'
        raise InputError(str(order.path), "no part and no batch is told", "how much to weigh", mend)


def _palette(folder: Path, optics: str, tell: Tell) -> Palette:
    """The palette of the swatches as they stand; fitted and kept where it is missing or out of date."""
    try:
        return read_palette(fit_path(folder, optics), digest=folder_digest(folder))
    except InputError:
        from tint.fitting import refit  # only needed where there is none

        tell("Fitting the palette", 0, 0)
        return refit(folder, optics=optics)


def _recipes(
    order: Order, palette: Palette, workshop: Workshop, files: Files, asked: str, choose: int | None, *,
    replace: bool, tell: Tell,
) -> tuple[jsonable.Answer, bytes, bool]:  # fmt: skip
    """The recipes, the chosen one first, as kept or found now; the file's content, and whether they were sought."""
    path = order.recipe_path
    if choose is None and not replace and (files.is_fresh(path, asked) or not files.is_ours(path)):
        data = path.read_bytes()
        return from_json(data, where=str(path)), data, False
    tell("Solving", 0, 0)
    written = order.written
    if written.base is not None and written.base not in palette.bases:
        raise InputError(f"{order.path}, key base", written.base, "one of " + ", ".join(palette.bases))
    found = solve(
        palette, order.target(palette), setting=order.setting(palette), base=written.base, rules=order.rules(workshop)
    )
    answer = jsonable.answer(found, optics=palette.model)
    if choose is not None:
        if not 1 <= choose <= len(answer.recipes):
            raise InputError("choose", f"{choose}", f"a rank from 1 to {len(answer.recipes)}")
        chosen = answer.recipes[choose - 1]
        answer.recipes = (chosen, *(each for each in answer.recipes if each is not chosen))
    data = msgspec.json.format(jsonable.text(answer).encode())
    if not replace and not files.is_ours(path):
        raise InputError(str(path), "was altered by hand", mend="add --replace to choose anew, or leave --choose out")
    files.write({path: (asked, data)})
    return from_json(data, where=str(path)), data, True


def weigh_chosen(
    order: Order, palette: Palette, answer: jsonable.Answer, workshop: Workshop, *, kept: Sequence[Kept] = (),
    too_old: Sequence[Kept] = (),
) -> WeighSheet:  # fmt: skip
    """The weigh sheet of the chosen recipe for all the parts of an order; `kept` premixes are used first."""
    first = answer.recipes[0]
    batch = Batch(
        batch_g=order.written.batch_g,
        part_cm3=None if order.written.batch_g is not None else order.part_cm3,
        count=order.written.parts if order.written.batch_g is None else 1,
        waste_percent=waste_of(workshop),
    )
    return weigh(
        palette, Blend(first.base, dict(first.loadings)), setting=order.setting(palette), batch=batch,
        scale=scale_of(workshop), premix=True, kept=kept, too_old=too_old, aim=order.target(palette),
        walls_mm=order.walls_mm[1:],
    )  # fmt: skip
