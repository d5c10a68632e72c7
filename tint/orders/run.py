"""From an order to its sheets: fit, solve, choose, weigh and draw, doing again only what has changed."""

from __future__ import annotations

import contextlib
import datetime
import functools
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from tint import jsonable
from tint.appearance import predict
from tint.errors import InputError
from tint.materials import Blend, Workshop
from tint.orders.files import Files, Made, digest
from tint.orders.order import Order, read_order
from tint.orders.record import record
from tint.palette import Palette, fit_path, read_palette
from tint.recipes import from_json, solve
from tint.swatches import PALETTE_FILE, folder_digest
from tint.swatches.declaration import read_workshop
from tint.swatches.one_reading import file_and_name
from tint.walls import at_walls
from tint.weighing import Batch, WeighSheet, weigh, weigh_table
from tint.weighing.batch import waste_of
from tint.weighing.premix import scale_of

if TYPE_CHECKING:
    from tint.proofs.part_picture import Shown

Tell = Callable[[str], None]


class Done(msgspec.Struct, frozen=True, kw_only=True):
    """An order that was run.

    Parameters
    ----------
    order : Order
    answer : jsonable.Answer
        The recipes; the one chosen comes first.
    sheet : WeighSheet
    made : Made
        Its files.
    solved : bool
        Whether recipes were sought now, and not kept from before.
    entered : tuple of int
        Numbers of the order and its recipe in the ledger.
    """

    order: Order
    answer: jsonable.Answer
    sheet: WeighSheet
    made: Made
    solved: bool
    entered: tuple[int, int]


def run_order(
    path: str | Path, *, choose: int | None = None, replace: bool = False, optics: str = "many-flux",
    made_on: datetime.date | None = None, progress: Tell | None = None,
) -> Done:  # fmt: skip
    """Do all that an order needs: recipe, weigh sheet, card and approval sheets, in files beside the order.

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
        Told in words what is being done.

    Raises
    ------
    InputError
        If the order or its folder has faults, or there is no recipe of that rank.
    JobError
        If every pigment is refused, or a sheet cannot be made.
    """
    order, tell = read_order(path), progress or (lambda _: None)
    palette = _palette(order.folder, optics, tell)
    files = Files(order.made_path)
    asked_of = digest(order.path.read_bytes(), folder_digest(order.folder), optics, *_beside(order))
    workshop = read_workshop((order.folder / PALETTE_FILE).read_text(encoding="utf-8-sig"))
    with _named(order):
        _check_amount(order)
        answer, data, solved = _recipes(order, palette, workshop, files, asked_of, choose, replace=replace, tell=tell)
        sheet = weigh_chosen(order, palette, answer, workshop)
    entered = record(order, answer)
    makers = _makers(order, palette, answer, sheet, made_on or datetime.date.today())
    made_of = digest(asked_of, data)
    fresh = [each for each in makers if files.is_fresh(each, made_of)]
    left = [each for each in makers if each not in fresh and not replace and not files.is_ours(each)]
    missing = [each for each in makers if each not in fresh and each not in left]
    contents: dict[Path, tuple[str, bytes]] = {}
    for each in missing:
        tell(f"making {each.name}")
        contents[each] = (made_of, makers[each]())
    if contents:
        files.write(contents)
    made = Made(written=tuple(missing), kept=tuple(fresh), left=tuple(left))
    return Done(order=order, answer=answer, sheet=sheet, made=made, solved=solved, entered=entered)


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


def _beside(order: Order) -> list[bytes]:
    """What stands in the files that an order names."""
    named = [order.beside(order.written.part)] if order.written.part else []
    named += [Path(file_and_name(order.reading)[0])] if order.reading else []
    found = []
    for path in named:
        with contextlib.suppress(OSError):  # who reads it says what is wrong with it
            found.append(path.read_bytes())
    return found


def _palette(folder: Path, optics: str, tell: Tell) -> Palette:
    """The palette of the swatches as they stand; fitted and kept where it is missing or out of date."""
    try:
        return read_palette(fit_path(folder, optics), digest=folder_digest(folder))
    except InputError:
        from tint.fitting import refit  # only needed where there is none

        tell("fitting the palette")
        return refit(folder, optics=optics)


def _recipes(
    order: Order, palette: Palette, workshop: Workshop, files: Files, asked_of: str, choose: int | None, *,
    replace: bool, tell: Tell,
) -> tuple[jsonable.Answer, bytes, bool]:  # fmt: skip
    """The recipes, the chosen one first, as kept or found now; the file's content, and whether they were sought."""
    path = order.recipe_path
    if choose is None and not replace and (files.is_fresh(path, asked_of) or not files.is_ours(path)):
        data = path.read_bytes()
        return from_json(data, where=str(path)), data, False
    tell("solving")
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
    files.write({path: (asked_of, data)})
    return from_json(data, where=str(path)), data, True


def weigh_chosen(order: Order, palette: Palette, answer: jsonable.Answer, workshop: Workshop) -> WeighSheet:
    """The weigh sheet of the chosen recipe for all the parts of an order."""
    first = answer.recipes[0]
    batch = Batch(
        batch_g=order.written.batch_g,
        part_cm3=None if order.written.batch_g is not None else order.part_cm3,
        count=order.written.parts,
        waste_percent=waste_of(workshop),
    )
    return weigh(
        palette, Blend(first.base, dict(first.loadings)), setting=order.setting(palette), batch=batch,
        scale=scale_of(workshop), premix=True, aim=order.target(palette), walls_mm=order.walls_mm[1:],
    )  # fmt: skip


def _makers(
    order: Order, palette: Palette, answer: jsonable.Answer, sheet: WeighSheet, made_on: datetime.date
) -> dict[Path, Callable[[], bytes]]:
    """Every file of an order, and how it is made."""
    from tint.proofs import draw_proof  # pictures are for those who draw
    from tint.proofs.approval import Approval, Asked, approval
    from tint.proofs.approval_page import approval_page, approval_pdf
    from tint.proofs.sheet import draw_weigh_sheet

    setting, target, title = order.setting(palette), order.target(palette), order.title
    blend = Blend(answer.recipes[0].base, dict(answer.recipes[0].loadings))
    walls = at_walls(palette, target, predict(palette, blend, setting=setting), walls_mm=order.walls_mm[1:])

    @functools.cache  # the page and the PDF show one sheet
    def agreed() -> Approval:
        asked = Asked(
            name=title,
            words=order.written.words,
            who=order.written.approver or order.written.customer,
            made=made_on,
            tolerance=target.tolerance,
        )
        shown = _shown(order)
        return approval(palette, blend, setting=setting, asked=asked, target=target, shown=shown, walls=walls)

    day = datetime.datetime(made_on.year, made_on.month, made_on.day, tzinfo=datetime.UTC)
    into = order.made_path
    return {
        into / "weigh.pdf": lambda: draw_weigh_sheet(palette, sheet, title=title, made=day),
        into / "weigh.csv": lambda: weigh_table(sheet),
        into / "card.png": lambda: draw_proof(palette, blend, setting=setting, target=target, title=title, walls=walls),
        into / "approval.html": lambda: approval_page(agreed()),
        into / "approval.pdf": lambda: approval_pdf(agreed()),
    }


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
