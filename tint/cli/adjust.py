"""`tint adjust`: trials of an order as a verdict, what went wrong, and the corrected recipe."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tint import jsonable
from tint.cli.amounts import GRAMS, Pairs, all_known, amounts_option, each_once
from tint.cli.asked import setting_of, setting_options
from tint.cli.options import folder_argument, grouped, json_option, number_option, optics_option, palette_of
from tint.cli.rules import rules_of, rules_options
from tint.cli.tables import (
    CARE,
    HEAD,
    fixed,
    page,
    print_json,
    progress,
    show_facts,
    show_notes,
    show_table,
    show_title,
)
from tint.cli.trials import Poured, cautions, trial_options, trials_of
from tint.cli.wanted import Sample, Wish, judged_over, sample_options, target_options, wanted
from tint.errors import InputError
from tint.recipes.limits import warnings
from tint.swatches.instruments import Given
from tint.trials import Additions, Adjustment, Cup, Doubts, Trial, adjust

if TYPE_CHECKING:
    from rich.console import Console

_LEAST_G = 0.0005  # an addition that no scale shows
_TRIFLE = 0.02  # an addition that small a share of what stands there is noise, where the trial is to be left alone


def _cup(cup_base_g: float | None, cup: Pairs) -> tuple[float | None, dict[str, float]]:
    pigments = each_once(cup, "--cup")
    if cup_base_g is None and pigments:
        raise InputError("--cup-base-g", "not given", "expected the grams of the tinted part's own base")
    return cup_base_g, pigments


def _doubts(
    strength_doubt: float | None, haze_doubt: float | None, tint_doubt: float | None, thickness_error: float | None
) -> Doubts:
    given: dict[str, tuple[str, float | None, str]] = {
        "strength_percent": ("--strength-doubt", strength_doubt, "%"),
        "haze_percent": ("--haze-doubt", haze_doubt, "%"),
        "tint_percent": ("--tint-doubt", tint_doubt, "%"),
        "thickness_mm": ("--thickness-error", thickness_error, "mm"),
    }
    for option, value, unit in given.values():
        if value is not None and not 0.0 < value <= 100.0:
            raise InputError(option, f"{value:g} {unit}", f"expected more than 0 and at most 100 {unit}")
    told: dict[str, Any] = {name: value for name, (_, value, _) in given.items() if value is not None}
    return Doubts(**told)


@click.command("adjust")
@folder_argument
@trial_options
@target_options
@sample_options
@setting_options
@grouped(
    "standing",
    _cup,
    number_option("--cup-base-g", "A tinted part stands there: its own base.", expected="grams", metavar="G"),
    amounts_option("--cup", "A pigment in that part.", GRAMS),
)
@grouped(
    "doubts",
    _doubts,
    number_option(
        "--strength-doubt", "How far a lot's strength may be off.  [default: 12]", expected="%", metavar="PERCENT"
    ),
    number_option("--haze-doubt", "The base's haze.  [default: 15]", expected="%", metavar="PERCENT"),
    number_option("--tint-doubt", "The base's own colour.  [default: 15]", expected="%", metavar="PERCENT"),
    number_option(
        "--thickness-error", "Of a trial's thickness.  [default: the instrument's]", expected="mm", metavar="MM"
    ),
)
@rules_options
@optics_option
@json_option
def command(
    folder: Path,
    poured: Poured,
    wish: Wish,
    sample: Sample,
    casting: dict[str, Any],
    said: Given,
    standing: tuple[float | None, dict[str, float]],
    doubts: Doubts,
    search: dict[str, Any],
    optics: str,
    as_json: bool,
) -> None:
    """A trial: what went wrong, and the corrected recipe.

    Example: tint adjust swatches_demo --base clear --load white=0.3 --load yellow=0.06 --load red=0.04
    --thickness 2 --read swatches_demo/readings.csv:peach-lid --target-lab 60,42,34

    With several trials of one order (--trial FILE, repeated), oldest first, it learns from all.
    Doubts and errors are standard deviations.
    """
    palette = palette_of(folder, optics)
    casting = judged_over(palette, sample, casting)
    trials = trials_of(palette, poured, casting, said)
    casting.setdefault("thickness_mm", trials[-1].thickness_mm)
    setting, base = setting_of(palette, casting), trials[-1].blend.base
    rules = rules_of(palette, search)
    target = wanted(palette, wish, sample, setting=setting, base=base, said=said)
    base_g, pigments_g = standing
    cup = None
    if base_g is not None:
        cup = Cup(base=base, base_g=base_g, pigments_g=all_known(pigments_g, palette.pigments, "--cup"))
    with progress(quiet=as_json) as tell:
        tell("learning from trials, then searching", 0, 1)
        done = adjust(palette, target, trials, setting=setting, rules=rules, doubts=doubts, cup=cup)
    if as_json:
        print_json(_as_json(done, trials, optics))
    else:
        with page() as out:
            _show(out, done, trials, cup, optics)


def _show(out: Console, done: Adjustment, trials: tuple[Trial, ...], cup: Cup | None, optics: str) -> None:
    show_title(out, done.verdict, f"Wanted: {done.answer.target.in_words}. {done.foretold.conditions}; {optics}")
    _show_misses(out, done)
    show_notes(out, "What the trial says went wrong", [each.words for each in done.findings])
    if not done.leave:
        _show_recipe(out, done, trials[-1])
    if done.additions is not None and cup is not None:
        _show_additions(out, done, done.additions, cup)
    show_notes(out, "Before you trust it", _cares(done, trials), style=CARE)


def _show_misses(out: Console, done: Adjustment) -> None:
    rows = []
    for miss in done.misses:
        decimals = 2 if miss.what.startswith("colour") else 3
        numbers = (fixed(miss.value, decimals), fixed(miss.scatter, decimals))
        rows.append((miss.what, *numbers, "as read" if miss.as_read else "as foretold from what was read"))
    show_table(out, ("<asked", "missed by", "scatter", "<"), rows)


def _cares(done: Adjustment, trials: tuple[Trial, ...]) -> list[str]:
    """What to know of trials, swatches and recipe, each once."""
    return list(dict.fromkeys([*cautions(done.palette, trials), *_doubtful(done)]))


def _doubtful(done: Adjustment) -> list[str]:
    """What to know of the corrected recipe that is shown."""
    if done.leave:
        return []
    first = done.answer.recipes[0]
    told = [*warnings(done.palette, done.answer.target, [first]), *first.appearance.warnings]
    return [*_changed_pigments(done), *told]


def _changed_pigments(done: Adjustment) -> list[str]:
    if done.kept_pigments:
        return []
    return ["the trial's own pigments no longer reach the target; those that it did not hold are of lots untried here"]


def _show_recipe(out: Console, done: Adjustment, trial: Trial) -> None:
    recipe, was = done.answer.recipes[0], trial.blend.loadings
    names = [*was, *(name for name in recipe.blend.loadings if name not in was)]
    doses = [(name, was.get(name, 0.0), recipe.blend.loadings.get(name, 0.0)) for name in names]
    out.print()
    out.print(f"For a fresh batch, in {recipe.blend.base}", style=HEAD)
    show_table(
        out,
        ("<pigment", "trial %", "now %", "change"),
        [(name, f"{old:.4f}", f"{new:.4f}", _change(old, new)) for name, old, new in doses if old or new],
    )
    out.print()
    show_facts(out, _facts(recipe.delta_e, recipe.appearance))
    show_notes(out, "What keeps it from the target", [recipe.reason] if recipe.reason else [])


def _change(old: float, new: float) -> str:
    return "new" if not old else "out" if not new else f"{100.0 * (new / old - 1.0):+.1f} %"


def _facts(delta_e: float, look: Any) -> Iterable[tuple[str, str, str]]:
    yield "to the target", f"{fixed(delta_e, 2)} CIEDE2000", "as it is now foretold"
    yield "expected error", f"{fixed(look.expected_error, 2)} CIEDE2000", "95 of 100 castings read within it"
    if look.contrast_ratio == look.contrast_ratio:
        ratio = f"{fixed(look.contrast_ratio, 3)} ± {fixed(look.contrast_ratio_error, 3)}"
        yield "contrast ratio", ratio, "Y over black / Y over white; 95 of 100"


def _added(done: Adjustment, additions: Additions, cup: Cup) -> list[tuple[str, float]]:
    """What to add, the base of the part first; nothing, where that would chase noise or no scale shows it."""
    stands = {"": cup.base_g, **cup.pigments_g}
    doses = {"": additions.base_g, **additions.pigments_g}
    if done.leave and all(grams <= max(_TRIFLE * stands.get(name, 0.0), _LEAST_G) for name, grams in doses.items()):
        return []
    part = f"part {done.palette.bases[cup.base].pigment_in}"
    return [(name or part, grams) for name, grams in doses.items() if grams >= _LEAST_G]


def _show_additions(out: Console, done: Adjustment, additions: Additions, cup: Cup) -> None:
    doses = _added(done, additions, cup)
    out.print()
    out.print("To the part that stands there, before its other part goes in", style=HEAD)
    if not doses:
        out.print("add nothing" + ("" if done.leave else ": no addition brings it nearer"))
        return
    show_table(out, ("<add", "g"), [(name, f"{grams:.3f}") for name, grams in doses])
    out.print()
    show_facts(out, _facts(additions.delta_e, additions.appearance))


def _as_json(done: Adjustment, trials: tuple[Trial, ...], optics: str) -> dict[str, Any]:
    additions = done.additions
    return jsonable.answer(done.answer) | {
        "verdict": done.verdict,
        "leave": done.leave,
        "missed": done.missed,
        "scatter": done.scatter,
        "misses": [asdict(miss) | {"leave": miss.leave} for miss in done.misses],
        "findings": [asdict(each) for each in done.findings],
        "kept_pigments": done.kept_pigments,
        "additions": None
        if additions is None
        else jsonable.summary(additions.appearance)
        | {"base_g": additions.base_g, "pigments_g": additions.pigments_g, "delta_e": additions.delta_e},
        "foretold": jsonable.summary(done.foretold),
        "trials": len(trials),
        "cautions": cautions(done.palette, trials),
        "optics": optics,
    }
