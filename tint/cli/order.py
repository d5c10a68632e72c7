"""`tint order`: an order, from its file to every sheet; the answer to it; the list; an order in place of a folder."""

from __future__ import annotations

import os
import re
import shlex
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import click

from tint.cli import options, show
from tint.cli.keys import SET, Command, option, spelled
from tint.errors import InputError, TintError
from tint.materials import Blend
from tint.orders import Done, Order, Quote, answer_order, orders_in, read_order, run_order, state_of
from tint.weighing import kept_words


@click.command("order", cls=Command)
@click.argument("order", type=options.PATH)
@options.count(
    "--choose", "Take the recipe of this rank.  [default: the best, or the one taken before]", heading="The recipe"
)
@options.path("--recipe", "Take recipes as adjust --json wrote them after a trial.", heading="The recipe")
@options.grouped(
    "said",
    dict,
    options.choice("--answer", ("approved", "refused"), "Enter it into the ledger.", to="verdict"),
    option("--said", to="words", metavar="WORDS", help="In the customer's own words."),
    option("--by", metavar="NAME", help="Who said so.  [default: the order's approver or customer]"),
    options.day("--on", "When it was said.  [default: today]"),
    options.path("--signed", "The signed sheet; a copy is kept."),
    heading="What the customer said",
)
@options.flag("--all", "List the orders of a swatch folder, with what stands of each.", to="every", heading="Output")
@options.replace
@options.optics
@options.as_json
def command(
    order: Path, choose: int | None, recipe: Path | None, said: dict[str, Any], every: bool, replace: bool, optics: str
) -> None:  # fmt: skip
    """Do a whole order: recipe, weigh sheet, labels, sheets, quote.

    Example: tint order swatches_demo/orders/lid.toml

    Run again after an edit, it makes anew only what changed. Files that you altered are left as they are. Every other
    command takes an order in place of a folder, and needs no other option.
    """
    told = options.given(**said)
    if every:
        _list(order)
        return
    if order.is_dir():
        raise InputError(str(order), "is a folder", "the file of an order", "add --all to list those in it")
    if told:
        _answer(order, told)
        return
    with show.progress() as tell:
        done = run_order(order, choose=choose, recipes=recipe, replace=replace, optics=optics, progress=tell)
    show.answer(_as_json(done), lambda out: _show(out, done))


def _answer(order: Path, told: dict[str, Any]) -> None:
    if "verdict" not in told:
        raise InputError(f"--{next(iter(told)).replace('words', 'said')}", "given without --answer", "both")
    done = answer_order(order, **told)
    content = done.content
    as_json = {
        "approval": done.number, "new": done.is_new, "verdict": content.verdict, "by": content.approved_by,
        "on": content.approved_on, "said": content.note, "order": content.order_id, "recipe": content.recipe_id,
        "signed": None if done.signed is None else str(done.signed),
    }  # fmt: skip
    said = f": “{content.note}”" if content.note else ""
    kept = f"; the signed sheet is kept as {done.signed}" if done.signed else ""
    entered = f"approval {done.number} in the ledger" if done.is_new else f"there already, as approval {done.number}"
    words = f"{done.order.title}: {content.verdict} by {content.approved_by}, {content.approved_on}{said}{kept}."
    show.answer(as_json, show.line(f"{words}\n{'Entered:' if done.is_new else 'It is'} {entered}."))


def _as_json(done: Done) -> dict[str, Any]:
    made, quote = done.made, done.quote
    return {
        "order": str(done.order.path),
        "recipe": str(done.order.recipe_path),
        "solved": done.solved,
        "ledger": {"order": done.entered[0], "recipe": done.entered[1], "batch": done.poured},
        "premixes": kept_words(done.sheet),
        "warnings": done.sheet.warnings,
        "base": done.answer.recipes[0].base,
        "loadings": done.answer.recipes[0].loadings,
        "quote": {
            "costs": [show.fields(each, "what", "quantity", "unit", "total") for each in quote.costs],
            **show.fields(quote, "quantity", "unit", "currency", "total", "agreed", "missing"),
            "unit_price": quote.price,
        },
        **{name: list(map(str, getattr(made, name))) for name in ("written", "kept", "left")},
    }


def _show(out: show.Page, done: Done) -> None:
    order, first = done.order, done.answer.recipes[0]
    walls = " and ".join(f"{wall:g}" for wall in order.walls_mm)
    out.title(f"Order: {order.title}", f"walls of {walls} mm; {done.answer.conditions}")
    out.print(str(Blend(first.base, first.loadings)))
    out.print("found now\n" if done.solved else "as chosen before\n", style=show.QUIET)
    facts = [
        ("target", f"{show.fixed(first.delta_e or 0.0, 2)} CIEDE2000", "met" if first.reached else first.reason),
        ("error", f"{show.fixed(first.expected_error or 0.0, 2)} CIEDE2000", "95 of 100 castings read within it"),
        ("weigh", f"{done.sheet.total_grams:.4g} g", "waste included"),
        *_price(done.quote),
    ]
    out.facts(facts)
    out.notes("Kept premixes, stirred before use", kept_words(done.sheet))
    shown = done.sheet.scale.shown
    for_others = [f"{shown(kept.grams)} {kept.name} of {kept.made_on}, for {name}" for name, kept in done.promised]
    out.notes("Kept, and taken by orders that are not poured yet", for_others)
    made = done.made
    out.notes(f"Made now, in {order.made_path}", [each.name for each in made.written])
    out.notes("Up to date", [each.name for each in made.kept])
    left = [f"{each.name}: add --replace to make it anew" for each in made.left]
    out.notes("Altered by hand, and left as they are", left, style=show.CARE)
    out.notes("Before you weigh", done.sheet.warnings, style=show.CARE)
    out.notes("Before you trust it", done.answer.warnings, style=show.CARE)
    if done.quote.price is None:
        out.notes("No quote, since nothing tells", list(done.quote.missing), style=show.QUIET)
    booked = ["tint", "ledger", "add", "batch", os.path.relpath(order.folder), "--recipe", str(done.entered[1])]
    booked += ["--from", str(order.made_path / "weigh.json")]
    once = f"Once it is poured: `{shlex.join(booked)}`"
    out.apart(f"Poured as batch {done.poured} of the ledger." if done.poured else once, style=show.QUIET)


def _price(quote: Quote) -> list[tuple[str, str, str]]:
    if quote.price is None:
        return []
    parts = f"{quote.quantity} of them {quote.in_words(quote.total)}" if quote.quantity > 1 else f"the {quote.unit}"
    costs = {each.what: each.total for each in quote.costs}
    work, margin = costs.pop("work", 0.0), costs.pop("margin", 0.0)
    made_of = f"material {sum(costs.values()):.2f}, work {work:.2f}, margin {margin:.2f}" if quote.costs else ""
    told = [parts, "as agreed" if quote.agreed else "", made_of]
    return [("price", quote.in_words(quote.price), "; ".join(filter(None, told)))]


def _list(folder: Path) -> None:
    if not folder.is_dir():
        raise InputError(str(folder), "is not a folder", "a swatch folder, whose orders are listed")
    found = sorted((_line(path) for path in orders_in(folder)), key=lambda each: (not each["due"], each["due"]))

    def page(out: show.Page) -> None:
        out.title(f"Orders in {folder}", f"{len(found)} in all")
        rows = [(each["name"], each["customer"], each["due"], each["state"]) for each in found]
        out.table(("<order", "<customer", "<due", "<state"), rows)

    show.answer({"orders": found}, page)


def _line(path: Path) -> dict[str, str]:
    try:
        order = read_order(path)
        state = state_of(order)
    except TintError as error:
        return {"name": path.stem, "customer": "", "due": "", "state": str(error)}
    due = "" if order.written.due is None else order.written.due.isoformat()
    return {"name": order.name, "customer": order.written.customer, "due": due, "state": state}


# An order in place of a folder: `tint solve orders/lid.toml` is `tint solve FOLDER` with the order as options. What is
# typed comes after what the order says and goes before it: one option overrides one key.

_COLOURS = ("--target-lab", "--target-srgb", "--target-reading", "--target-photo", "--set as_blend")
_DOSES = ("--base", "--load", "--recipe", "--trial")
_WALLS = ("--thickness", "--wall", "--part")
_SHELL = "--set shell_mm"
_NOT_COMPARED = {"--part", "--trace", _SHELL, SET + "words", SET + "approver"}
_AMOUNTS = ("--batch-g", "--set batch_cm3", "--part-cm3")


def expanded(command: click.Command, args: Sequence[str]) -> list[str]:
    """The arguments of a command with an order among them written out; the same where there is none."""
    places = [at for at, word in enumerate(args) if _is_order(word)]
    first = next((param.name for param in command.params if isinstance(param, click.Argument)), None)
    if not places or first != "folder":
        return list(args)
    order = read_order(args[places[0]])
    rest = spelled(command, [word for at, word in enumerate(args) if at != places[0]])
    known = {name for param in command.params for name in param.opts}
    typed = {word.split("=", 1)[0] for word in rest if word.startswith("--")}
    if command.name == "solve":  # either the walls are told, or a part that tells them
        known -= set(_WALLS) if "--part" in typed else {"--part", _SHELL}
    if "--show" in typed and not typed & {"--sheet", "--pdf"}:  # another picture than the traced one
        known -= {"--trace"}
    if "--part" in typed:  # another mesh, whose wall the order does not know
        known -= {_SHELL}
    if re.search(r"--pick[= ]\d*[^\d ]", " ".join(rest)):  # a comparison, for the workshop
        known -= _NOT_COMPARED
    needs_recipe = command.name in ("weigh", "proof", "adjust", "predict")
    told = [
        f"{option}={value}"
        for key, value in _keys(order, needs_recipe=needs_recipe and not typed & set(_DOSES))
        for option in (f"--{key.replace('_', '-')}", SET + key)
        if option in known and not _overridden(option, typed)
    ]
    return [str(order.folder), *told, *rest]


def _is_order(word: str) -> bool:
    path = Path(word)
    is_file = path.suffix == ".toml" and not word.startswith("-") and path.is_file()
    return is_file and path.resolve().parent.name == "orders"


def _overridden(option: str, typed: set[str]) -> bool:
    groups = [group for group in (_COLOURS, _DOSES, _AMOUNTS, ("--thickness", "--wall")) if option in group]
    return option in typed or any(typed & set(group) for group in groups)


def _keys(order: Order, *, needs_recipe: bool) -> Iterator[tuple[str, str]]:
    """What an order stands for, by the keys that commands have for it, as options or for `--set`."""
    written, limits = order.written, order.written.limits
    if needs_recipe:
        if not order.recipe_path.exists():
            raise InputError(str(order.path), "has no recipe yet", mend=f"run `tint order {order.path}`")
        yield "recipe", str(order.recipe_path)
    elif written.base is not None:
        yield "base", written.base
    plain = {
        "target_srgb": written.colour,
        "target_lab": None if written.lab is None else ",".join(f"{x:g}" for x in written.lab),
        "target_reading": order.reading,
        "target_photo": order.photo,
        "reference": order.reference,
        **order.asked_texts,
        **show.fields(written, "tolerance", "light", "observer", "also_light", "over", "seat", "shell_mm", "batch_g"),
        **show.fields(limits, "most_pigments", "smallest", "max_total"),
        "part": None if written.part is None else order.beside(written.part),
        "trace": written.traced,
        "part_cm3": order.part_cm3 if written.batch_g is None and written.part is not None else None,
        "count": written.parts if written.batch_g is None else None,
        "title": order.title,
        "words": written.words or None,
        "approver": written.approver or written.customer or None,
    }
    thinnest, *others = order.walls_mm
    yield "thickness", f"{thinnest:g}"
    yield from (("wall", f"{wall:g}") for wall in others)
    yield from ((key, str(value)) for key, value in plain.items() if value is not None)
    yield from ((key, name) for key in ("keep", "leave_out", "insist") for name in getattr(limits, key))
    yield from (("fix", f"{name}={loading:g}") for name, loading in limits.fix.items())
    yield from (("stock", f"{name}={grams:g}") for name, grams in limits.stock.items())
