"""`tint solve`: a target as ranked recipes, and in plain words what keeps one from its target."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tint.appearance import Setting
from tint.cli.asked import Wish, base_of, setting_of, setting_options, target_of, target_options
from tint.cli.looks import setting_json, summary_json
from tint.cli.options import (
    Decorator,
    count_option,
    folder_argument,
    grouped,
    json_option,
    known,
    optics_option,
    palette_of,
)
from tint.cli.tables import CARE, QUIET, fixed, page, print_json, show_notes, show_table, show_title
from tint.errors import InputError, JobError
from tint.palette import Palette
from tint.solve import Answer, Recipe, solve
from tint.target import Target

if TYPE_CHECKING:
    from rich.console import Console

_CUP_TEST = "Cure a small cup of a recipe and look at it before you pour a batch."


def _search(
    most_pigments: int, keep: tuple[str, ...], leave_out: tuple[str, ...], insist: tuple[str, ...], recipes: int
) -> dict[str, Any]:
    return {
        "most_pigments": most_pigments,
        "keep": keep,
        "leave_out": leave_out,
        "insist": insist,
        "most_recipes": recipes,
    }


def _pigments(name: str, text: str) -> Decorator:
    return click.option(name, multiple=True, metavar="PIGMENT", help=text)


@click.command("solve")
@folder_argument
@click.option("--base", metavar="NAME", help="Only in this base.  [default: in every base]")
@target_options
@setting_options
@grouped(
    "search",
    _search,
    count_option("--most-pigments", "Most pigments in a recipe.", default=4),
    _pigments("--keep", "Have it in every recipe; repeat."),
    _pigments("--leave-out", "Have it in none; repeat."),
    _pigments("--insist", "Use it although it is known to upset the cure; repeat."),
    count_option("--recipes", "How many to show.", default=5),
)
@optics_option
@json_option
def command(
    folder: Path,
    base: str | None,
    wish: Wish,
    casting: dict[str, Any],
    search: dict[str, Any],
    optics: str,
    as_json: bool,
) -> None:
    """A target: ranked recipes.

    Example: tint solve swatches_demo --thickness 3 --target-lab 70,20,40 --contrast-ratio-min 0.98

    A target out of reach gets its nearest recipes and the reason; that is no error.
    """
    palette = palette_of(folder, optics)
    setting = setting_of(palette, casting)
    for option in ("keep", "leave_out", "insist"):
        for name in search[option]:
            known(name, palette.pigments, "--" + option.replace("_", "-"))
    named = None if base is None else base_of(palette, base)
    answer = solve(palette, _wanted(palette, wish, setting), setting=setting, base=named, **search)
    if not answer.recipes:
        raise JobError("solve", "no recipe can be made of the pigments that are left", mend="; ".join(_refused(answer)))
    if as_json:
        print_json(_as_json(answer, optics))
    else:
        with page() as out:
            _show(out, answer, optics)


def _wanted(palette: Palette, wish: Wish, setting: Setting) -> Target:
    target = target_of(palette, wish, setting)
    if target is None:
        expected = "expected --target-lab L,a,b, --target-srgb '#rrggbb' or --target-reading FILE[:NAME]"
        raise InputError("target", "no colour is named", expected)
    return target


def _show(out: Console, answer: Answer, optics: str) -> None:
    conditions = answer.recipes[0].appearance.conditions
    show_title(out, "Wanted: " + asked(answer.target), f"{conditions}; {optics}")
    columns = ("", "<base", "%", "<pigment", "ΔE00", "error", "contrast", "L*    a*    b*", "<met")
    rows = [row for rank, recipe in enumerate(answer.recipes, start=1) for row in _rows(rank, recipe)]
    show_table(out, columns, rows)
    out.print(
        "%: by mass of the finished mix. ΔE00: CIEDE2000 from target to prediction. 95 of 100 castings read within the "
        "error of the prediction (CIEDE2000), and within ± of its contrast ratio.",
        style=QUIET,
    )
    show_notes(out, "What binds", _bounds(answer.recipes))
    show_notes(out, "Before you trust it", _warnings(answer), style=CARE)
    show_notes(out, "Pigments not used", _refused(answer))
    prices = [f"{price:.2f} ({rank})" for rank, each in enumerate(answer.recipes, 1) if (price := each.price_per_kg)]
    out.print()
    if prices:
        out.print("Price of the pigments in 1 kg of mix: " + ", ".join(prices))
    out.print(_CUP_TEST)


def asked(target: Target) -> str:
    """A target in words."""
    bounds = {
        "": target.contrast_ratio,
        "at least ": target.contrast_ratio_min,
        "at most ": target.contrast_ratio_max,
    }
    opacity = " and ".join(f"{word}{bound:g}" for word, bound in bounds.items() if bound is not None)
    lab = "Lab " + ", ".join(f"{x:.2f}".rstrip("0").rstrip(".") for x in target.lab)
    source = "" if target.source.startswith("Lab") else f" ({target.source})"
    return f"{lab}{source}, contrast ratio {opacity or 'any'}, within {target.tolerance:g} CIEDE2000"


def _rows(rank: int, recipe: Recipe) -> list[tuple[str, ...]]:
    """A line a pigment; the recipe's own numbers stand on the first, and a blank line ends it."""
    look = recipe.appearance
    doses = sorted(recipe.blend.loadings.items(), key=lambda dose: -dose[1]) or [("uncoloured", 0.0)]
    own = (
        fixed(recipe.delta_e, 2),
        fixed(look.expected_error, 2),
        f"{fixed(look.contrast_ratio, 3)} ± {fixed(look.contrast_ratio_error, 3)}",
        " ".join(f"{x:5.1f}" for x in look.lab).strip(),
        "yes" if recipe.reached else "no",
    )
    rows = [
        (str(rank), recipe.blend.base, f"{dose:.4f}", name, *own)
        if at == 0
        else ("", "", f"{dose:.4f}", name, *[""] * 5)
        for at, (name, dose) in enumerate(doses)
    ]
    return [*rows, ("",) * 9]


def _bounds(recipes: tuple[Recipe, ...]) -> list[str]:
    told = [(rank, each.reason or ", ".join(map(_bound, each.limits))) for rank, each in enumerate(recipes, start=1)]
    return [f"{rank}: {words}" for rank, words in told if words]


def _refused(answer: Answer) -> list[str]:
    return [f"{name} in {base}: {why}" for base, each in answer.refused.items() for name, why in each.items()]


def _bound(limit: str) -> str:
    kind, _, name = limit.partition(":")
    if kind == "max_loading":
        return "the largest total loading" if name == "total" else f"the largest loading of {name}"
    return "the opacity asked for" if kind == "contrast_ratio" else "what these pigments can do"


def _warnings(answer: Answer) -> list[str]:
    """Of the answer, then of its recipes, each once with the ranks it holds for."""
    ranks: dict[str, list[str]] = {}
    for rank, recipe in enumerate(answer.recipes, start=1):
        for warning in recipe.appearance.warnings:
            ranks.setdefault(warning, []).append(str(rank))
    return [*answer.warnings, *(f"{', '.join(each)}: {warning}" for warning, each in ranks.items())]


def _as_json(answer: Answer, optics: str) -> dict[str, Any]:
    target = answer.target
    first = answer.recipes[0].appearance
    return {
        "recipes": [_recipe_json(recipe) for recipe in answer.recipes],
        "target": {
            "lab": target.lab,
            "contrast_ratio": target.contrast_ratio,
            "contrast_ratio_min": target.contrast_ratio_min,
            "contrast_ratio_max": target.contrast_ratio_max,
            "tolerance": target.tolerance,
            "source": target.source,
        },
        "setting": setting_json(first),
        "conditions": first.conditions,
        "refused": answer.refused,
        "warnings": list(answer.warnings),
        "optics": optics,
    }


def _recipe_json(recipe: Recipe) -> dict[str, Any]:
    return summary_json(recipe.appearance) | {
        "delta_e": recipe.delta_e,
        "limits": list(recipe.limits),
        "reached": recipe.reached,
        "reason": recipe.reason,
        "price_per_kg": recipe.price_per_kg,
    }
