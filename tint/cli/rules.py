"""What a recipe may hold and how recipes are ranked, as options."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import click

from tint.cli.amounts import AGAIN, GRAMS, PERCENT, Pairs, all_known, amounts_option, each_once
from tint.cli.options import Decorator, count_option, grouped, known, number, number_option
from tint.cli.workshop import workshop
from tint.errors import InputError
from tint.palette import Palette
from tint.recipes import RANKINGS, Rules

WASTE_PERCENT = 10.0  # as in `tint weigh`


def _search(
    most_pigments: int, keep: tuple[str, ...], leave_out: tuple[str, ...], insist: tuple[str, ...], fix: Pairs,
    smallest: float | None, max_total: float | None, stock: Pairs, batch_g: float | None, waste: float | None,
    scale_step: float | None, wall: tuple[float, ...], rank_by: str, recipes: int,
) -> dict[str, Any]:  # fmt: skip
    return {
        "most_pigments": most_pigments,
        "keep": keep,
        "leave_out": leave_out,
        "insist": insist,
        "fixed": each_once(fix, "--fix"),
        "smallest": smallest or 0.0,
        "max_total": max_total,
        "stock_g": each_once(stock, "--stock"),
        "batch_g": _mix(batch_g, waste),
        "scale_step_g": workshop().scale_step_g if scale_step is None and batch_g is not None else scale_step,
        "walls_mm": wall,
        "rank_by": rank_by,
        "most_recipes": recipes,
    }


def _mix(batch_g: float | None, waste: float | None) -> float | None:
    """What is weighed for a batch, waste included, as `tint weigh` has it [g]."""
    if batch_g is None:
        if waste is not None:
            raise InputError("--waste", "the batch is not told", mend="give --batch-g too")
        return None
    usual = workshop().waste_percent
    percent = (WASTE_PERCENT if usual is None else usual) if waste is None else waste
    if not 0.0 <= percent <= 200.0:
        raise InputError("--waste", f"{percent:g} %", "expected 0 to 200 % of the batch")
    return batch_g * (1.0 + percent / 100.0)


def _pigments(name: str, text: str) -> Decorator:
    return click.option(name, multiple=True, metavar="PIGMENT", help=f"{text} {AGAIN}")


def _wall(text: str) -> float:
    return number(text, "--wall", "a wall thickness in mm")


rules_options = grouped(
    "search",
    _search,
    count_option("--most-pigments", "The largest number of pigments in a recipe.", default=4),
    _pigments("--keep", "Use this pigment in every recipe."),
    _pigments("--leave-out", "Exclude this pigment."),
    _pigments("--insist", "Allow this pigment although it is known to upset the cure."),
    amounts_option("--fix", "Fix the loading of this pigment.", PERCENT),
    number_option("--smallest", "The smallest loading of a pigment.", expected="percent of the mix", metavar="PERCENT"),
    number_option("--max-total", "The largest loading in all.", expected="percent of the mix", metavar="PERCENT"),
    amounts_option("--stock", "The grams of this pigment in stock.", GRAMS),
    number_option("--batch-g", "The grams of mix that the moulds hold.", expected="grams of mix", metavar="G"),
    number_option(
        "--waste",
        f"A margin for what stays in the cup.  [default: {WASTE_PERCENT:g}]",
        expected="% of the batch",
        metavar="PERCENT",
    ),
    number_option("--scale-step", "Round doses to this step of the scale.", expected="grams", metavar="G"),
    click.option(
        "--wall",
        type=_wall,
        multiple=True,
        metavar="MM",
        help=f"A further wall thickness. {AGAIN}",
    ),
    click.option(
        "--rank-by",
        type=click.Choice(RANKINGS),
        default=RANKINGS[0],
        show_default=True,
        help="How recipes are ordered.",
    ),
    count_option("--recipes", "How many recipes to show.", default=5),
)

_NAMES = {
    "keep": "--keep",
    "leave_out": "--leave-out",
    "insist": "--insist",
}
_AMOUNTS = {"fixed": "--fix", "stock_g": "--stock"}


def rules_of(palette: Palette, search: Mapping[str, Any]) -> Rules:
    """The rules that options name, their pigments checked.

    Raises
    ------
    InputError
        If a pigment is unknown, or a rule makes no sense.
    """
    for rule, option in _NAMES.items():
        for name in search[rule]:
            known(name, palette.pigments, option)
    for rule, option in _AMOUNTS.items():
        all_known(search[rule], palette.pigments, option)
    return Rules(**search)
