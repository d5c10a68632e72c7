"""From an order to its sheets: fit, solve, choose, weigh and draw, doing again only what has changed."""

from __future__ import annotations

import contextlib
import datetime
from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path

import msgspec

from tint import jsonable
from tint.errors import InputError
from tint.files import bytes_of
from tint.given import out_of_reach, verb
from tint.materials import Blend, Workshop
from tint.orders.kept import newer_lots, poured_by, stock_for
from tint.orders.order import Order, read_order
from tint.orders.quote import Quote, quote_of
from tint.orders.record import Files, Made, is_corrected, record
from tint.orders.sheets import Job, Tell, asked_of, beside, made_of, makers
from tint.palette import Palette, fit_path, read_palette
from tint.recipes import from_json, solve
from tint.swatches import PALETTE_FILE, folder_digest
from tint.swatches.declaration import read_workshop
from tint.turns import LOG
from tint.weighing import Batch, Kept, WeighSheet, weigh
from tint.weighing.batch import waste_of
from tint.weighing.premix import scale_of


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
    path: str | Path, *, choose: int | None = None, recipes: str | Path | None = None, replace: bool = False,
    optics: str = "many-flux", made_on: datetime.date | None = None, progress: Tell | None = None,
) -> Done:  # fmt: skip
    """Do all that an order needs: recipe, weigh sheet, labels, approval sheets, quote, in files beside the order.

    Parameters
    ----------
    path : path-like
        The order's file.
    choose : int, optional
        The rank of the recipe to take; the best when absent, or the one chosen before, while nothing changed.
    recipes : path-like, optional
        A file to take it from in place of a search, as `tint adjust --json` or `tint solve --json` writes
        it. Of one that was corrected from a trial the weigh sheet and labels are made; the others stay as approved.
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
        if order.written.batch_g is None and order.written.part is None:
            mend = 'part = "lid.stl", or batch_g = 120'
            raise InputError(str(order.path), "no part and no batch is told", "how much to weigh", mend)
        if order.written.traced is not None:  # told before anything is sought or made
            from tint.proofs.traced.paths import check_installed

            check_installed()
        data, solved = _recipes(order, palette, workshop, files, asked, choose, recipes, replace=replace, tell=tell)
        answer, corrected = from_json(data, where=str(order.recipe_path)), is_corrected(data)
        day = made_on or datetime.date.today()
        (stock, promised), poured = stock_for(order, workshop, day), poured_by(order)
        weighed = partial(weigh_chosen, order, palette, answer, workshop, corrected=corrected)
        sheet = weighed(kept=stock.usable, too_old=stock.too_old) if poured is None else weighed(kept=poured.kept)
        if poured is not None and sheet.premix_changes != poured.changes:  # it was poured from another one
            sheet, poured = weighed(kept=stock.usable, too_old=stock.too_old), None
        # A price goes by what the parts take, not by what happens to be left on the shelf.
        priced = weighed() if any(each.kept for each in sheet.premixes) else sheet
    _tell_of_lots(order, newer_lots(order, palette, answer.recipes[0].loadings), corrected=corrected)
    quote = quote_of(order, palette, priced, workshop)
    entered = record(order, answer)
    job = Job(
        order=order, palette=palette, workshop=workshop, answer=answer, sheet=sheet, priced=priced, quote=quote,
        made_on=day, corrected=corrected, tell=tell,
    )  # fmt: skip
    made = _made(job, files, asked, data, replace=replace)
    return Done(
        order=order, answer=answer, sheet=sheet, quote=quote, made=made, solved=solved, entered=entered,
        poured=None if poured is None else poured.batch, promised=promised,
    )  # fmt: skip


def _tell_of_lots(order: Order, newer: Mapping[str, str], *, corrected: bool) -> None:
    """Say that pigments are of other lots by now than those that the sheet doses, or looks are predicted for."""
    if corrected:
        LOG.warning("%s: doses are as corrected, predicted looks are for the lots of the swatches", order.path)
    elif newer:
        lots = ", ".join(f"{name} {lot}" for name, lot in newer.items())
        again = f"`tint ledger repeat {order.folder} {order.name}` doses for it"
        LOG.warning("%s: the sheet is for the lots of the swatches, and the ledger has %s; %s", order.path, lots, again)


def _made(job: Job, files: Files, asked: str, recipe: bytes, *, replace: bool) -> Made:
    """Make what is missing or was made of something else, and leave what somebody altered."""
    every = makers(job)
    of = {each: made_of(job, each.name, asked=asked, recipe=recipe) for each in every}
    fresh = [each for each in every if files.is_fresh(each, of[each])]
    left = [each for each in every if each not in fresh and not replace and not files.is_ours(each)]
    missing = [each for each in every if each not in fresh and each not in left]
    contents: dict[Path, tuple[str, bytes]] = {}
    for each in missing:
        if job.tell is not None:
            job.tell(f"Making {each.name}", 0, 0)
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


def _palette(folder: Path, optics: str, tell: Tell) -> Palette:
    """The palette of the swatches as they stand; fitted and kept where it is missing or out of date."""
    try:
        return read_palette(fit_path(folder, optics), digest=folder_digest(folder))
    except InputError:
        from tint.fitting import refit  # only needed where there is none

        tell("Fitting the palette", 0, 0)
        return refit(folder, optics=optics)


def _recipes(
    order: Order, palette: Palette, workshop: Workshop, files: Files, asked: str, choose: int | None,
    recipes: str | Path | None, *, replace: bool, tell: Tell,
) -> tuple[bytes, bool]:  # fmt: skip
    """The recipes as they are kept, the chosen one first, and whether they were sought now."""
    path = order.recipe_path
    if (choose, recipes, replace) == (None, None, False) and (files.is_fresh(path, asked) or not files.is_ours(path)):
        return path.read_bytes(), False
    if not replace and not files.is_ours(path):
        raise InputError(str(path), "was altered by hand", mend="add --replace to choose anew, or leave --choose out")
    if order.written.base is not None and order.written.base not in palette.bases:
        raise InputError(f"{order.path}, key base", order.written.base, "one of " + ", ".join(palette.bases))
    if recipes is not None:
        data = bytes_of(recipes)
        answer, more = from_json(data, where=str(recipes)), {"verdict": "corrected"} if is_corrected(data) else {}
    else:
        tell("Solving", 0, 0)
        setting, rules = order.setting(palette), order.rules(workshop)
        found = solve(palette, order.target(palette), setting=setting, base=order.written.base, rules=rules)
        answer, more = jsonable.answer(found), {}
    if choose is not None:
        if not 1 <= choose <= len(answer.recipes):
            raise InputError("choose", f"{choose}", f"a rank from 1 to {len(answer.recipes)}")
        chosen = answer.recipes[choose - 1]
        answer.recipes = (chosen, *(each for each in answer.recipes if each is not chosen))
    first = answer.recipes[0]
    bases, pigments = list(palette.bases), list(palette.pigments)
    for name, known in [(first.base, bases), *((each, pigments) for each in first.loadings)]:
        if name not in known:
            raise InputError(str(recipes), f"`{name}` is not in the palette", "one of " + ", ".join(known))
    kept = msgspec.json.format(jsonable.text(answer, **more).encode())
    files.write({path: (asked, kept)})
    return kept, recipes is None


def weigh_chosen(
    order: Order, palette: Palette, answer: jsonable.Answer, workshop: Workshop, *, kept: Sequence[Kept] = (),
    too_old: Sequence[Kept] = (), corrected: bool = False,
) -> WeighSheet:  # fmt: skip
    """The weigh sheet of the chosen recipe for all the parts of an order; `kept` premixes are used first.

    One that was corrected is rounded to itself: predictions, which are for the lots of the swatches, have no say in it.
    """
    first, grams = answer.recipes[0], order.written.batch_g
    if grams is not None:
        batch = Batch(batch_g=grams, waste_percent=waste_of(workshop))
    else:
        batch = Batch(part_cm3=order.part_cm3, count=order.written.parts, waste_percent=waste_of(workshop))
    return weigh(
        palette, Blend(first.base, dict(first.loadings)), setting=order.setting(palette), batch=batch,
        scale=scale_of(workshop), premix=True, kept=kept, too_old=too_old, walls_mm=order.walls_mm[1:],
        aim=None if corrected else order.target(palette), warnings=out_of_reach(first),
    )  # fmt: skip
