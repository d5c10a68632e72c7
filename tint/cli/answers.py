"""An answer as a page and as JSON: recipes in their order, what each is worth, what binds, what would have to give."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

from tint.cli.tables import CARE, QUIET, counted, fixed, show_notes, show_table, show_title
from tint.cli.workshop import workshop
from tint.recipes import RANKINGS, Answer, Recipe
from tint.target import Target

if TYPE_CHECKING:
    from rich.console import Console

_CUP_TEST = "Cure a small cup of a recipe and look at it before you pour a batch."
_BOUND = {
    "contrast_ratio": "the opacity asked for",
    "transmittance": "the transmittance asked for",
    "haze": "the haze asked for",
    "scale_step": "the step of the scale",
    "palette": "what these pigments can do",
}


def show_answer(out: Console, answer: Answer, optics: str) -> None:
    """The page: two tables, then notes, each of which names the recipes that it is about."""
    conditions = [answer.recipes[0].appearance.conditions, *_further(answer), optics]
    show_title(out, f"Wanted: {answer.target.in_words}", "; ".join(conditions))
    _show_recipes(out, answer)
    _show_merits(out, answer)
    show_notes(out, "Every wall, the worst first", _by_rank(_walls(answer.recipes)))
    show_notes(out, "What binds", _by_rank(_bounds(answer.recipes)))
    show_notes(out, "What would have to give", [each.words for each in answer.loosened])
    show_notes(out, "Before you trust it", [*answer.warnings, *_by_rank(_doubts(answer.recipes))], style=CARE)
    show_notes(out, "Too little to weigh well: make a premix, or more at a time", _by_rank(_premixes(answer)))
    show_notes(out, "Pigments not used", _refused(answer))
    out.print()
    out.print(f"Searched: {counted(answer.sets, 'set')} of pigments. {_CUP_TEST}")


def _further(answer: Answer) -> list[str]:
    """What else the numbers hold for."""
    rules, told = answer.rules, []
    if rules.rank_by != RANKINGS[0]:
        told.append(f"ranked by {rules.rank_by}")
    if rules.walls_mm:
        told.append("walls of " + " and ".join(f"{wall:g} mm" for wall in rules.walls_mm) + " too, the worst counts")
    if rules.batch_g is not None and rules.scale_step_g is not None:
        told.append(f"doses in steps of {rules.scale_step_g:g} g in {rules.batch_g:g} g of mix")
    return told


def _show_recipes(out: Console, answer: Answer) -> None:
    has_pair = math.isfinite(answer.recipes[0].appearance.contrast_ratio)
    columns = ["", "<base", "%", "<pigment", "ΔE00", "error"]
    columns += ["contrast"] * has_pair + ["light"] * answer.target.asks_light
    columns += ["haze"] * answer.target.asks_haze + ["chance", "<met"]
    rows = [
        row
        for rank, recipe in enumerate(answer.recipes, start=1)
        for row in _rows(rank, recipe, answer.target, has_pair=has_pair)
    ]
    show_table(out, columns, rows[:-1])
    light = "light: luminous transmittance of the free part, 0 to 1. " if answer.target.asks_light else ""
    light += "haze: the share of the light let through that is scattered. " if answer.target.asks_haze else ""
    ratio = ", and within ± of its contrast ratio" if has_pair else ""
    out.print()
    out.print(
        "%: by mass of the finished mix. ΔE00: CIEDE2000 from target to prediction. 95 of 100 castings read within the "
        f"error of the prediction (CIEDE2000){ratio}. {light}chance: of a casting within "
        f"{answer.target.tolerance:g} CIEDE2000{' and the opacity asked for' if answer.target.asks_opacity else ''}.",
        style=QUIET,
    )


def _rows(rank: int, recipe: Recipe, target: Target, *, has_pair: bool) -> list[tuple[str, ...]]:
    """A line a pigment; the recipe's own numbers stand on the first, and a blank line ends it."""
    look = recipe.appearance
    doses = sorted(recipe.blend.loadings.items(), key=lambda dose: -dose[1]) or [("uncoloured", 0.0)]
    own = [fixed(recipe.delta_e, 2), fixed(look.expected_error, 2)]
    own += [f"{fixed(look.contrast_ratio, 3)} ± {fixed(look.contrast_ratio_error, 3)}"] * has_pair
    own += [fixed(look.luminous_transmittance, 3)] * target.asks_light
    own += [f"{fixed(look.haze, 3)} ± {fixed(look.haze_error, 3)}"] * target.asks_haze
    own += [f"{fixed(100.0 * recipe.chance, 0)} %", "yes" if recipe.reached else "no"]
    heads = [(str(rank), recipe.blend.base)] + [("", "")] * len(doses)
    tails = [own] + [[""] * len(own)] * len(doses)
    doses_told = [(f"{dose:.4f}", name) for name, dose in doses]
    rows = [(*head, *dose, *tail) for head, dose, tail in zip(heads, doses_told, tails, strict=False)]
    return [*rows, ("",) * len(rows[0])]


def _show_merits(out: Console, answer: Answer) -> None:
    """What is to be weighed up beside the colour."""
    rows = [
        (
            str(rank),
            f"{fixed(each.blend.total, 3)} %",
            "-" if each.price_per_kg is None else f"{each.price_per_kg:.2f}",
            fixed(each.metamerism, 2),
            fixed(each.sensitivity, 2),
            ", ".join(each.merits) or "near enough to be worth a look",
        )
        for rank, each in enumerate(answer.recipes, start=1)
    ]
    out.print()
    show_table(out, ("", "in all", "price", "lights", "doses", "~why it is listed"), rows)
    currency = f"{workshop().currency} " if workshop().currency else ""
    lights = "apart from the target" if answer.target.spectrum is not None else "by which its colour drifts"
    out.print()
    out.print(
        f"price: {currency}of 1 kg of mix, with the base where it has a price. lights: CIEDE2000 {lights} under lamp, "
        "shop tube or LED, the worst. "
        "doses: CIEDE2000 from weighing errors of 1 %.",
        style=QUIET,
    )


def _by_rank(told: Iterable[tuple[int, str]]) -> list[str]:
    """Sentences, each once, with the ranks that it holds for."""
    ranks: dict[str, list[str]] = {}
    for rank, words in told:
        ranks.setdefault(words, []).append(str(rank))
    return [f"{', '.join(each)}: {words}" for words, each in ranks.items()]


def _walls(recipes: tuple[Recipe, ...]) -> list[tuple[int, str]]:
    told = [(rank, "; ".join(wall.words for wall in each.walls)) for rank, each in enumerate(recipes, start=1)]
    return [(rank, words) for rank, words in told if words]


def _bounds(recipes: tuple[Recipe, ...]) -> list[tuple[int, str]]:
    told = [(rank, each.reason or ", ".join(map(bound, each.limits))) for rank, each in enumerate(recipes, start=1)]
    return [(rank, words) for rank, words in told if words]


def bound(limit: str) -> str:
    """What binds a recipe, in words."""
    kind, _, name = limit.partition(":")
    if kind == "max_loading":
        return "the largest total loading" if name == "total" else f"the largest loading of {name}"
    if kind in ("smallest", "fixed"):
        return f"the {kind} dose of {name}"
    return _BOUND.get(limit, limit)


def _doubts(recipes: tuple[Recipe, ...]) -> list[tuple[int, str]]:
    return [(rank, words) for rank, each in enumerate(recipes, start=1) for words in each.appearance.warnings]


def _premixes(answer: Answer) -> list[tuple[int, str]]:
    told = []
    for rank, each in enumerate(answer.recipes, start=1):
        few = [name for name in each.premix if name in each.blend.loadings]
        none = [name for name in each.premix if name not in each.blend.loadings]
        words = [f"{', '.join(few)}: few steps of the scale"] * bool(few)
        words += [f"{', '.join(none)}: less than a step, left out"] * bool(none)
        told += [(rank, "; ".join(words))] * bool(words)
    return told


def _refused(answer: Answer) -> list[str]:
    return [f"{name} in {base}: {why}" for base, each in answer.refused.items() for name, why in each.items()]
