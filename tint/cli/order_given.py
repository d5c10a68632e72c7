"""An order in place of a folder: `tint solve orders/lid.toml` is `tint solve FOLDER` with the order as options.

What is typed comes after what the order says and goes before it: one option overrides one key.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tint.errors import InputError

if TYPE_CHECKING:
    from tint.orders import Order

_COLOURS = ("--target-lab", "--target-srgb", "--target-reading", "--as-blend")
_DOSES = ("--base", "--load", "--recipe", "--trial")
_WALLS = ("--thickness", "--wall", "--part")
_AMOUNTS = ("--batch-g", "--batch-cm3", "--part-cm3")


def expanded(command: click.Command, args: Sequence[str]) -> list[str]:
    """The arguments of a command with an order among them written out; the same where there is none."""
    places = [at for at, word in enumerate(args) if _is_order(word)]
    if not places or command.name == "order" or not _takes_a_folder(command):
        return list(args)
    from tint.orders import read_order  # for those who have one

    order = read_order(args[places[0]])
    rest = [word for at, word in enumerate(args) if at != places[0]]
    known = {name for param in command.params for name in param.opts}
    typed = {word.split("=", 1)[0] for word in rest if word.startswith("--")}
    if command.name == "solve":  # either the walls are told, or a part that tells them
        known -= set(_WALLS) if "--part" in typed else {"--part"}
    needs_recipe = command.name in ("weigh", "proof", "adjust", "predict")
    told = [
        word
        for option, value in _options(order, needs_recipe=needs_recipe and not typed & set(_DOSES))
        if option in known and not _overridden(option, typed)
        for word in (option, value)
    ]
    return [str(order.folder), *told, *rest]


def _is_order(word: str) -> bool:
    path = Path(word)
    return (
        path.suffix == ".toml"
        and not word.startswith("-")
        and path.is_file()
        and path.resolve().parent.name == "orders"
    )


def _takes_a_folder(command: click.Command) -> bool:
    return any(param.name == "folder" and isinstance(param, click.Argument) for param in command.params)


def _overridden(option: str, typed: set[str]) -> bool:
    groups = [group for group in (_COLOURS, _DOSES, _AMOUNTS, ("--thickness", "--wall")) if option in group]
    return option in typed or any(typed & set(group) for group in groups)


def _options(order: Order, *, needs_recipe: bool) -> Iterator[tuple[str, str]]:
    """What an order stands for, as options of any command."""
    written, limits = order.written, order.written.limits
    if needs_recipe:
        if not order.recipe_path.exists():
            raise InputError(str(order.path), "has no recipe yet", mend=f"run `tint order {order.path}`")
        yield "--recipe", str(order.recipe_path)
    elif written.base is not None:
        yield "--base", written.base
    plain = {
        "--target-srgb": written.colour,
        "--target-lab": None if written.lab is None else ",".join(f"{x:g}" for x in written.lab),
        "--target-reading": order.reading,
        "--opacity": order.opacity_text,
        "--tolerance": written.tolerance,
        "--light": written.light,
        "--also-light": written.also_light,
        "--over": written.over,
        "--seat": written.seat,
        "--most-pigments": limits.most_pigments,
        "--smallest": limits.smallest,
        "--max-total": limits.max_total,
        "--part": None if written.part is None else order.beside(written.part),
        "--batch-g": written.batch_g,
        "--part-cm3": order.part_cm3 if written.batch_g is None and written.part is not None else None,
        "--count": written.parts,
        "--name": order.title,
        "--title": order.title,
        "--customer-words": written.words or None,
        "--who": written.approver or written.customer or None,
    }
    thinnest, *others = order.walls_mm
    yield "--thickness", f"{thinnest:g}"
    yield from (("--wall", f"{wall:g}") for wall in others)
    yield from ((option, str(value)) for option, value in plain.items() if value is not None)
    yield from (("--keep", name) for name in limits.keep)
    yield from (("--leave-out", name) for name in limits.leave_out)
    yield from (("--fix", f"{name}={loading:g}") for name, loading in limits.fix.items())
