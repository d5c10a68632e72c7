"""`tint solve`: a target as ranked recipes, and in plain words what keeps one from its target."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tint import jsonable
from tint.cli import options, show, wanted
from tint.cli.asked import base_of, palette_of, setting_of, setting_options
from tint.cli.keys import Command, option, workshop
from tint.errors import InputError
from tint.files import write_all
from tint.palette import Palette
from tint.recipes import RANKINGS, Answer, Recipe, solve
from tint.recipes.certainty import SAFE
from tint.swatches.instruments import Given
from tint.target import Target, solid_unless_told, without_gloss

if TYPE_CHECKING:
    from tint.proofs.walls import Walls

# L* of the sections of a reach, but for those that lie within half a step of the target's own.
_LEVELS, _NEAR = (30.0, 45.0, 60.0, 75.0, 90.0), 7.5
_CUP_TEST = "Cure a small cup of a recipe and look at it before you pour a batch."
_BOUND = {
    "contrast_ratio": "the opacity asked for",
    "transmittance": "the transmittance asked for",
    "haze": "the haze asked for",
    "scale_step": "the step of the scale",
    "palette": "what these pigments can do",
}


@dataclass(frozen=True, kw_only=True)
class Model:
    """A part as the command line names it."""

    part: Path | None
    unit: str | None
    shell_mm: float | None

    def walls(self, casting: Mapping[str, Any], search: Mapping[str, Any]) -> Walls | None:
        """Its walls; None without a part. They stand in place of a thickness and further walls."""
        if self.part is None:
            of_mesh = {"--set unit": self.unit, "--set shell_mm": self.shell_mm}
            options.none_of(of_mesh, "no mesh to apply it to", "name one with --part")
            return None
        if "thickness_mm" in casting or search["walls_mm"]:
            option = "--thickness" if "thickness_mm" in casting else "--wall"
            raise InputError(option, "given together with --part", "expected one of them: the part tells its walls")
        from tint.proofs.part import read_part
        from tint.proofs.walls import walls_of

        part = read_part(self.part, unit=self.unit or "", shell_mm=self.shell_mm)
        return walls_of(part.triangles, name=part.name)


unit = options.choice("--set unit", ("mm", "cm", "m", "in"), "Unit of the mesh.  [default: what it says, else mm]")
shell = options.number(
    "--set shell_mm", "Wall of a mesh that is only a surface, half to either side.", expected="a thickness in mm",
    metavar="MM",
)  # fmt: skip
part_options = options.grouped(
    "model",
    Model,
    options.path("--part", "Take the walls from the part: an STL, 3MF or OBJ."),
    unit,
    shell,
    heading="Part",
)


@click.command("solve", cls=Command)
@options.folder
@wanted.target_options
@wanted.sample_options
@option("--base", metavar="NAME", help="Only in this base.  [default: in every base]", heading="Part")
@setting_options
@wanted.rules_options
@part_options
@options.path("--picture", "Draw target and recipes.", "FILE.png", heading="Output")
@options.path("--reach", "Draw what colours can be reached.", "FILE.png", heading="Output")
@options.replace
@options.as_json
@options.optics
def command(
    folder: Path, base: str | None, wish: wanted.Wish, sample: wanted.Sample, casting: dict[str, Any], said: Given,
    search: dict[str, Any], model: Model, picture: Path | None, reach: Path | None, replace: bool, optics: str,
) -> None:  # fmt: skip
    """Find recipes for a colour and an opacity, ranked.

    Example: tint solve swatches_demo --thickness 3 --target-lab 70,20,40 --opacity solid

    A colour without an opacity is to be solid: it hides what is behind it. --opacity any leaves opacity free. A colour
    of a screen or photograph is matched without gloss. When a target is out of reach, the nearest recipes are shown
    with the reason, and the exit status is still 0.
    """
    options.check_file(picture, "--picture", ".png", replace=replace)
    options.check_file(reach, "--reach", ".png", replace=replace)
    if picture and picture == reach:
        raise InputError("--reach", f"{reach} is the name for --picture too", "expected two names")
    palette = palette_of(folder, optics)
    walls = model.walls(casting, search)
    if walls is not None:  # the thinnest is judged first, the others as further walls
        first, *others = walls.to_solve_for
        casting, search = casting | {"thickness_mm": first}, search | {"walls_mm": tuple(others)}
    casting = wanted.judged_over(palette, sample, casting)
    setting = setting_of(palette, without_gloss(palette) | casting if wish.has_no_gloss else casting)
    rules = wanted.rules_of(palette, search)
    named = None if base is None else base_of(palette, base)
    target = wanted.target_wanted(palette, wish, sample, setting=setting, base=named, said=said)
    if wish.opacity is None:
        target = solid_unless_told(target, palette)
    with show.progress() as tell:
        answer = solve(palette, target, setting=setting, base=named, rules=rules, progress=tell)
    drawn: dict[Path, bytes] = {}
    if picture:
        from tint.proofs import draw_answer  # pictures are for those who ask for them

        drawn[picture] = draw_answer(palette, answer)
    if reach:
        drawn[reach] = _reached(palette, answer)
    write_all(drawn)

    def page(out: show.Page) -> None:
        if walls is not None:
            out.print(walls.words)
        _show(out, answer)

    part = {} if walls is None else {"part": walls.told}
    show.answer(jsonable.answer(answer), page, written=list(map(str, drawn)), **part)


def _reached(palette: Palette, answer: Answer) -> bytes:
    """What the best recipe's base reaches, with a section at the target's own lightness."""
    from tint.proofs import draw_reach
    from tint.recipes.reach import reach

    target, own = answer.target, float(answer.target.lab[0])
    colours = reach(
        palette,
        base=answer.recipes[0].blend.base,
        setting=answer.setting,
        rules=answer.rules,
        contrast_ratio_min=target.contrast_ratio if target.contrast_ratio is not None else target.contrast_ratio_min,
        lightness=[own, *(level for level in _LEVELS if abs(level - own) > _NEAR)],
    )
    return draw_reach(colours, target)


# The page: recipes in their order, what each is worth, what binds, what would have to give.


def _show(out: show.Page, answer: Answer) -> None:
    """The page: two tables, then notes, each of which names the recipes that it is about."""
    rules, told = answer.rules, [answer.recipes[0].appearance.conditions]
    if rules.rank_by != RANKINGS[0]:
        told.append(f"ranked by {rules.rank_by}")
    if rules.walls_mm:
        told.append("walls of " + " and ".join(f"{wall:g} mm" for wall in rules.walls_mm) + " too, the worst counts")
    if rules.batch_g is not None and rules.scale_step_g is not None:
        told.append(f"doses in steps of {rules.scale_step_g:g} g in {rules.batch_g:g} g of mix")
    out.title(f"Wanted: {answer.target.in_words}", "; ".join([*told, answer.best.appearance.optics]))
    _show_recipes(out, answer)
    _show_merits(out, answer)
    said = partial(_by_rank, answer.recipes)
    out.notes("Every wall, the worst first", said(lambda each: ["; ".join(wall.words for wall in each.walls)]))
    out.notes("What limits them", said(lambda each: [each.reason or ", ".join(map(bound, each.limits))]))
    out.notes("What would bring it nearer", [each.words for each in answer.loosened])
    doubts = [*answer.warnings, *said(_risks), *said(lambda each: each.appearance.warnings)]
    out.notes("Before you trust it", doubts, style=show.CARE)
    out.notes("Too little to be weighed as it is", said(_premixes))
    refused = [f"{name} in {base}: {why}" for base, each in answer.refused.items() for name, why in each.items()]
    out.notes("Pigments not used", refused)
    out.apart(f"Searched: {show.counted(answer.sets, 'set')} of pigments. {_CUP_TEST}")


def _show_recipes(out: show.Page, answer: Answer) -> None:
    has_pair = math.isfinite(answer.recipes[0].appearance.contrast_ratio)
    columns = ["", "<base", "%", "<pigment", "ΔE00", "error"]
    columns += ["contrast"] * has_pair + ["light"] * answer.target.asks_light
    columns += ["haze"] * answer.target.asks_haze + ["chance", "<met"]
    ranked = enumerate(answer.recipes, start=1)
    rows = [row for rank, recipe in ranked for row in _rows(rank, recipe, answer.target, has_pair=has_pair)]
    out.table(columns, rows[:-1])
    light = "light: luminous transmittance of the free part, 0 to 1. " if answer.target.asks_light else ""
    light += "haze: the share of the light let through that is scattered. " if answer.target.asks_haze else ""
    ratio = ", and within ± of its contrast ratio" if has_pair else ""
    out.apart(
        "%: by mass of the finished mix. ΔE00: CIEDE2000 from target to prediction. 95 of 100 castings read within the "
        f"error of the prediction (CIEDE2000){ratio}. {light}chance: of a casting within "
        f"{answer.target.tolerance:g} CIEDE2000{' and the opacity asked for' if answer.target.asks_opacity else ''}.",
        style=show.QUIET,
    )


def _rows(rank: int, recipe: Recipe, target: Target, *, has_pair: bool) -> list[tuple[str, ...]]:
    """A line a pigment; the recipe's own numbers stand on the first, and a blank line ends it."""
    look = recipe.appearance
    doses = sorted(recipe.blend.loadings.items(), key=lambda dose: -dose[1]) or [("uncoloured", 0.0)]
    own = [show.fixed(recipe.delta_e, 2), show.fixed(look.expected_error, 2)]
    own += [show.within(look.contrast_ratio, look.contrast_ratio_error)] * has_pair
    own += [show.fixed(look.luminous_transmittance, 3)] * target.asks_light
    own += [show.within(look.haze, look.haze_error)] * target.asks_haze
    own += [f"{show.fixed(100.0 * recipe.chance, 0)} %", "yes" if recipe.reached else "no"]
    heads = [(str(rank), recipe.blend.base)] + [("", "")] * len(doses)
    tails = [own] + [[""] * len(own)] * len(doses)
    rows = [(*head, f"{dose:.4f}", name, *tail) for head, (name, dose), tail in zip(heads, doses, tails, strict=False)]
    return [*rows, ("",) * len(rows[0])]


def _show_merits(out: show.Page, answer: Answer) -> None:
    """What is to be weighed up beside the colour; light by light only where a second light was named."""
    second = answer.rules.also_light
    rows = [
        (
            str(rank),
            f"{show.fixed(each.blend.total, 3)} %",
            "-" if each.price_per_kg is None else f"{each.price_per_kg:.2f}",
            *([show.fixed(each.metamerism, 2)] if second else []),
            show.fixed(each.sensitivity, 2),
            each.why,
        )
        for rank, each in enumerate(answer.recipes, start=1)
    ]
    out.print()
    columns = ["", "pigment", "price", *([second] if second else []), "weighing", "~why choose it"]
    out.table(columns, rows)
    currency = f"{workshop().currency} " if workshop().currency else ""
    shifts = "from the target" if answer.target.spectrum is not None else "by which the colour drifts"
    light = f"{second}: CIEDE2000 {shifts} in that light. " if second else ""
    out.apart(
        f"pigment: all pigments together. price: {currency}of 1 kg of mix, with the base where it has a "
        f"price. {light}weighing: CIEDE2000 from weighing errors of 1 %.",
        style=show.QUIET,
    )


def _by_rank(recipes: Iterable[Recipe], words: Callable[[Recipe], Iterable[str]]) -> list[str]:
    """What is said of recipes, each sentence once, with the ranks that it holds for."""
    ranks: dict[str, list[str]] = {}
    for rank, each in enumerate(recipes, start=1):
        for sentence in filter(None, words(each)):
            ranks.setdefault(sentence, []).append(str(rank))
    return [f"{', '.join(each)}: {sentence}" for sentence, each in ranks.items()]


def bound(limit: str) -> str:
    """What binds a recipe, in words."""
    kind, _, name = limit.partition(":")
    if kind == "max_loading":
        return "the largest total loading" if name == "total" else f"the largest loading of {name}"
    if kind in ("smallest", "fixed"):
        return f"the {kind} dose of {name}"
    return _BOUND.get(limit, limit)


def _premixes(recipe: Recipe) -> Iterable[str]:
    made = [name for name in recipe.premix if name not in recipe.unweighable]
    if made:
        yield f"{', '.join(made)}: as a premix, which `tint weigh` tells how to make"
    if recipe.unweighable:
        mend = "make more at a time, or take a finer scale"
        yield f"{', '.join(recipe.unweighable)}: not even as a premix; {mend}"


def _risks(recipe: Recipe) -> Iterable[str]:
    """That the opacity is kept with less than the chance that is sought."""
    if recipe.reached and recipe.opacity_chance < SAFE - 0.005:
        yield f"the opacity asked for is kept with a chance of {show.fixed(100.0 * recipe.opacity_chance, 0)} %"
