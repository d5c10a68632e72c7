"""What is remembered of an order: files made of it, entries in the ledger, the customer's answer, where it stands.

A file is written when what it is made of has changed, and never over what a maker altered.
"""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import json
from collections.abc import Mapping
from pathlib import Path

import msgspec
from msgspec import Struct

from tint import jsonable, ledger
from tint.errors import InputError, TintError
from tint.files import bytes_of, write_all, write_whole
from tint.given import verb
from tint.optics.layer import MODELS
from tint.orders.kept import book_of, poured_by
from tint.orders.order import Order, read_order
from tint.orders.sheets import asked_of, beside, digest
from tint.recipes import from_json
from tint.swatches import folder_digest, read_declared

STATE = "made.json"
_REMEMBERED = 4  # contents of a file that are known to be ours: the last, the one that a stopped run began, and spare


class _File(msgspec.Struct, kw_only=True):
    """Of a file: what it was last made of, and digests of what was written into it, the newest last."""

    made_of: str = ""
    ours: list[str] = []


class Made(msgspec.Struct, frozen=True, kw_only=True):
    """What a run did with the files of an order, each by its path."""

    written: tuple[Path, ...] = ()  # made now
    kept: tuple[Path, ...] = ()  # up to date already
    left: tuple[Path, ...] = ()  # altered by someone since they were made, and therefore left as they are


class Files:
    """The folder of what is made of an order, and the memory of what was written there."""

    def __init__(self, folder: Path) -> None:
        self.folder, self._state = folder, dict[str, _File]()
        with contextlib.suppress(OSError, UnicodeDecodeError, msgspec.DecodeError):  # lost: all is a maker's own
            self._state = msgspec.json.decode((folder / STATE).read_bytes(), type=dict[str, _File])

    def is_fresh(self, path: Path, made_of: str) -> bool:
        """Whether the file stands as it was made, and was made of this."""
        return self.made_of(path) == made_of and _of(path) in self._known(path).ours[-1:]

    def made_of(self, path: Path) -> str:
        """What a file was last made of; empty where nothing is known of it."""
        return self._known(path).made_of

    def _known(self, path: Path) -> _File:
        return self._state.get(path.name, _File())

    def is_ours(self, path: Path) -> bool:
        """Whether nobody has altered it: it is not there, or holds what was once written."""
        return _of(path) in (None, *self._known(path).ours)

    def write(self, contents: Mapping[Path, tuple[str, bytes]]) -> None:
        """Write files, each with the digest of what it is made of.

        What is about to be written is remembered first: a run that is stopped halfway leaves no file that the next one
        would take for a maker's own.
        """
        for path, (made_of, data) in contents.items():
            ours = [*(each for each in self._known(path).ours if each != digest(data)), digest(data)][-_REMEMBERED:]
            self._state[path.name] = _File(made_of=made_of, ours=ours)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            mend = "make its folder writable, or copy the swatch folder"
            raise InputError(str(self.folder), f"cannot be made ({error.strerror})", mend=mend) from error
        try:
            write_whole(self.folder / STATE, msgspec.json.format(msgspec.json.encode(self._state)))
        except TintError:
            if not any(self.folder.iterdir()):
                self.folder.rmdir()
            raise
        write_all({path: data for path, (_, data) in contents.items()})


def _of(path: Path) -> str | None:
    return digest(bytes_of(path)) if path.exists() else None


APPROVED, REFUSED = VERDICTS = ("approved", "refused")
_COLOURS = ("colour", "lab", "reading", "photo", "opacity", "tolerance", "walls_mm")


def record(order: Order, answer: jsonable.Answer) -> tuple[int, int]:
    """Enter an order and the recipe chosen for it, the first, where the ledger does not hold them as they are.

    Returns their numbers in the ledger. JobError if it cannot be written.
    """
    path = ledger.ledger_path(order.folder)
    with ledger.open_ledger(path, palette_digest=folder_digest(order.folder)) as book, book.transaction():
        asked = _asked(order)
        held = [each for each in ledger.entries(book, ledger.Order) if each.content.name == order.name]
        if not held:
            number = ledger.add(book, asked)
        elif held[-1].content != asked:
            number = ledger.add(book, asked, corrects=held[-1].id, reason=f"{order.path.name} was edited")
        else:
            number = held[-1].id
        return number, _recipe(book, order, answer, number)


def is_corrected(recipes: bytes) -> bool:
    """Whether recipes, which `from_json` can read, were corrected from a trial."""
    return bool(msgspec.json.decode(recipes).get("verdict"))  # what `tint adjust` says of it


def _asked(order: Order) -> ledger.Order:
    written = order.written
    plain = json.loads(msgspec.json.encode(written))  # as the ledger gives it back
    told = {name: plain[name] for name in _COLOURS if plain[name] not in (None, [])}
    words = {"customer": written.customer, "customer_words": written.words, "part": written.part or ""}
    due = "" if written.due is None else f"due {written.due.isoformat()}"
    return ledger.Order(name=order.name, target=told, note=due, **words)


def _recipe(book: ledger.Ledger, order: Order, answer: jsonable.Answer, number: int) -> int:
    """The number of the recipe: of one that answers the order already, or a new one."""
    chosen = answer.recipes[0]
    family = ledger.versions(book, "order", number)
    for each in reversed(ledger.entries(book, ledger.Recipe)):
        content = each.content
        if content.order_id in family and (content.base, content.loadings_percent) == (chosen.base, chosen.loadings):
            return each.id
    told = ledger.of_recipe(answer, chosen, read_declared(order.folder).pigments) | {"order_id": number}
    return ledger.add(book, ledger.Recipe(**told))


# The customer's answer.


class Answered(Struct, frozen=True, kw_only=True):
    """A customer's answer, as it was entered."""

    order: Order
    number: int  # of the approval in the ledger
    content: ledger.Approval
    signed: Path | None  # where the signed sheet is kept
    is_new: bool  # whether it was not in the ledger before


@verb
def answer_order(
    path: str | Path, verdict: str, *, words: str = "", by: str = "", on: datetime.date | None = None,
    signed: str | Path | None = None,
) -> Answered:  # fmt: skip
    """Enter what the customer said of the sheets of an order.

    Parameters
    ----------
    path : path-like
        The order's file.
    verdict : str
        `approved` or `refused`.
    words : str
        The customer's own.
    by : str
        Who said so; the order's approver or customer when blank.
    on : date, optional
        When; today when absent.
    signed : path-like, optional
        The sheet that was signed, as a scan or photograph; a copy is kept beside the order's sheets.

    Raises
    ------
    InputError
        If the order has no recipe yet, or was edited since, nobody is named, or the signed sheet cannot be read.
    JobError
        If the ledger cannot be written.
    """
    if verdict not in VERDICTS:
        raise InputError("answer", f"`{verdict}`", " or ".join(VERDICTS))
    order, day = read_order(path), on or datetime.date.today()
    who = by or order.written.approver or order.written.customer
    if not who:
        raise InputError(str(order.path), "nobody is told who answers", mend="add --by NAME, or a key customer")
    if not order.recipe_path.exists():
        raise InputError(str(order.path), "has no recipe yet", mend=f"run `tint order {order.path}`")
    if not _is_current(order):
        found = "the order or its folder was edited since its sheets were made"
        raise InputError(str(order.path), found, mend=f"run `tint order {order.path}` and show them anew")
    sheet = None if signed is None else bytes_of(signed)
    recipe = from_json(order.recipe_path.read_bytes(), where=str(order.recipe_path))
    numbers = record(order, recipe)
    shown, kept = "approval sheet", None
    if sheet is not None:
        kept = _kept(order, Path(signed or ""), sheet, day)
        place = kept.relative_to(order.path.parent).as_posix()
        shown += f", signed: {place}, SHA-256 {hashlib.sha256(sheet).hexdigest()}"
    setting = recipe.setting
    content = ledger.Approval(
        order_id=numbers[0], recipe_id=numbers[1], approved_by=who, verdict=verdict, swatch=shown,
        light="" if setting is None else setting.light or "", approved_on=day.isoformat(), note=words,
    )  # fmt: skip
    where = ledger.ledger_path(order.folder)
    with ledger.open_ledger(where, palette_digest=folder_digest(order.folder)) as book, book.transaction():
        held = ledger.entries(book, ledger.Approval)
        is_new = not held or held[-1].content != content
        number = ledger.add(book, content) if is_new else held[-1].id
    return Answered(order=order, number=number, content=content, signed=kept, is_new=is_new)


def _is_current(order: Order) -> bool:
    """Whether the recipe is of the order and its folder as they stand, or a maker's own."""
    near = beside(order)
    current = (asked_of(order, model, near) for model in MODELS)
    return Files(order.made_path).made_of(order.recipe_path) in ("", *current)


def _kept(order: Order, path: Path, data: bytes, day: datetime.date) -> Path:
    """Where a signed sheet is kept: one file for each, whatever it was called."""
    for number in range(1, 100):
        name = f"signed-{day.isoformat()}{'' if number == 1 else f'-{number}'}{path.suffix.lower()}"
        place = order.made_path / name
        if not place.exists():
            write_whole(place, data)
            return place
        if place.read_bytes() == data:
            return place
    raise InputError(str(order.made_path), "holds a hundred signed sheets of that day", mend="move some of them")


def state_of(order: Order) -> str:
    """Where an order stands: what was made of it, what the customer said of its recipe as it is now, if it is poured.

    InputError if the ledger is damaged.
    """
    return _state(order) + (", poured" if poured_by(order) else "")


def _state(order: Order) -> str:
    if not order.recipe_path.exists():
        return "new"
    made = "sheets made" if (order.made_path / "approval.pdf").exists() else "recipe chosen"
    if not _is_current(order):
        made = "sheets out of date"
    with book_of(order) as book:
        named = [] if book is None else [x for x in ledger.entries(book, ledger.Order) if x.content.name == order.name]
        if book is None or not named:
            return made
        family = ledger.versions(book, "order", named[-1].id)
        said = [x.content for x in ledger.entries(book, ledger.Approval) if x.content.order_id in family]
        if said and _is_of(book, order, said[-1]):
            return f"{said[-1].verdict} {said[-1].approved_on}".strip()
    return "changed since it was approved" if said and said[-1].verdict == APPROVED else made


def _is_of(book: ledger.Ledger, order: Order, said: ledger.Approval) -> bool:
    """Whether it was said of the recipe that is chosen now, or of what a trial corrected since."""
    if said.recipe_id is None:
        return True
    data = order.recipe_path.read_bytes()
    try:
        chosen = from_json(data, where=str(order.recipe_path)).recipes[0]
    except TintError:
        return False
    shown = ledger.get(book, "recipe", said.recipe_id).content
    return is_corrected(data) or (shown.base, dict(shown.loadings_percent)) == (chosen.base, dict(chosen.loadings))
