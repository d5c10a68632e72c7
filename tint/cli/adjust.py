"""`tint adjust`: trials of an order as a verdict, what went wrong, and the corrected recipe."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import click
import msgspec

from tint import jsonable
from tint.appearance import Setting
from tint.cli import options, show, wanted
from tint.cli.asked import Chosen, chosen, palette_of, pick, setting_of, setting_options
from tint.cli.keys import Command, called, option
from tint.cli.trials import Poured, cautions, trial_options, trials_of
from tint.errors import InputError
from tint.palette import Palette
from tint.recipes.binding import warnings
from tint.swatches.instruments import Given
from tint.target import BOUNDS, Target, solid_unless_told, target_from_written, without_gloss
from tint.trials import Additions, Adjustment, Cup, Doubts, Trial, adjust
from tint.trials.files import keep_as_swatch
from tint.trials.trial import HAZE_PERCENT, STRENGTH_PERCENT, TINT_PERCENT

_LEAST_G = 0.0005  # g: half of the last digit that is shown, so what is less shows as 0
# Share of what stands there: so small an addition is noise where the trial is to be left alone; no source.
_TRIFLE = 0.02


def _doubts(doubt_mm: float | None, **told: float | None) -> Doubts:
    given = options.given(**told, thickness_mm=doubt_mm)
    for name, value in given.items():
        unit = "mm" if name == "thickness_mm" else "%"
        if not 0.0 < value <= 100.0:
            expected = f"expected more than 0 and at most 100 {unit}"
            raise InputError(f"--set doubts.{name}", f"{value:g} {unit}", expected)
    return Doubts(**given)


def _doubt(name: str, text: str, default: str, **more: Any) -> options.Decorator:
    text = f"How far {text} may be off, as a standard deviation.  [default: {default}]"
    return options.number(f"--set doubts.{name}", text, **more)


@click.command("adjust", cls=Command)
@options.folder
@trial_options
@options.grouped(
    "choice",
    lambda recipe, pick: chosen(None, {}, recipe, pick),
    option(
        "--recipe", metavar="FILE",
        help="The recipe that was poured, as tint solve --json writes it: doses, target, walls.",
    ),
    pick,
    heading="The trial",
)  # fmt: skip
@wanted.target_options
@wanted.sample_options
@setting_options
@options.grouped(
    "standing",
    dict,
    options.number("--set cup.base_g", "The base in a tinted part that stands there."),
    options.amounts("--set cup.pigments_g", "A pigment in that part.", options.GRAMS),
)
@options.grouped(
    "doubts",
    _doubts,
    _doubt("strength_percent", "the strength of a pigment's lot", f"{STRENGTH_PERCENT:g}"),
    _doubt("haze_percent", "the haze of the base", f"{HAZE_PERCENT:g}"),
    _doubt("tint_percent", "the base's own colour", f"{TINT_PERCENT:g}"),
    _doubt("thickness_mm", "the thickness of a trial", "the instrument's", to="doubt_mm"),
)
@wanted.rules_as_keys
@options.under(
    "Output",
    option("--as-swatch", metavar="NAME", help="Keep the casting as a swatch of the folder, with its readings."),
    options.flag("--into-workbook", "With --as-swatch: write into swatches.xlsx, where tables stand in it."),
)
@options.as_json
@options.optics
def command(
    folder: Path, poured: Poured, choice: Chosen, wish: wanted.Wish, sample: wanted.Sample,
    casting: dict[str, Any], said: Given,
    standing: dict[str, Any], doubts: Doubts, search: dict[str, Any],
    as_swatch: str | None, into_workbook: bool, optics: str,
) -> None:  # fmt: skip
    """Correct a recipe from a trial, and say what went wrong.

    Example: tint adjust swatches_demo --base clear --load white=0.3 --load yellow=0.06 --load red=0.04
    --thickness 2 --read swatches_demo/readings.csv:peach-lid --target-lab 60,42,34 --opacity any

    It learns from several trials of one order: repeat --trial FILE, the oldest first. A colour without an opacity is to
    be solid, as in tint solve. With --recipe, target, part and doses are those of the file; give --base and --load, or
    --trial, where something else was weighed. Doubts and errors are standard deviations. --as-swatch keeps the casting
    (of several, the last) as a swatch for the next fit.
    """
    palette = palette_of(folder, optics)
    casting = choice.solved_in | wanted.judged_over(palette, sample, casting)
    if wish.has_no_gloss:
        casting = without_gloss(palette) | casting
    if choice.file is not None and poured.base is None and not poured.load and not poured.trial:  # poured as proposed
        (recipe,) = choice.recipes.values()
        poured = replace(poured, base=recipe.base, load=recipe.loadings)
    trials = trials_of(palette, poured, casting, said)
    casting.setdefault("thickness_mm", trials[-1].thickness_mm)
    setting, base = setting_of(palette, casting), trials[-1].blend.base
    search["walls_mm"] = choice.further_walls(setting, search["walls_mm"])
    rules = wanted.rules_of(palette, search)
    target = _target(palette, choice, wish, sample, setting=setting, base=base, said=said)
    options.all_known(standing["pigments_g"], palette.pigments, called("pigments_g"))
    if standing["base_g"] is None and standing["pigments_g"]:
        raise InputError(called("base_g"), "not given", "expected the grams of the tinted part's own base")
    cup = None if standing["base_g"] is None else Cup(base=base, **standing)
    with show.progress() as tell:
        tell("learning from trials, then searching", 0, 1)
        done = adjust(palette, target, trials, setting=setting, rules=rules, doubts=doubts, cup=cup)
    kept = () if as_swatch is None else keep_as_swatch(
        folder, trials[-1], palette, name=as_swatch, into_workbook=into_workbook
    )  # fmt: skip

    def page(out: show.Page) -> None:
        _show(out, done, trials, cup)
        if kept:
            out.print(f"\nKept as the swatch {as_swatch}; run `tint fit {folder}`.", style=show.HEAD)

    told = _as_json(done, trials)
    show.answer(jsonable.answer(done.answer), page, written=list(map(str, kept)), **told)


def _target(
    palette: Palette, choice: Chosen, wish: wanted.Wish, sample: wanted.Sample, *, setting: Setting, base: str,
    said: Given,
) -> Target:  # fmt: skip
    """What was wanted: as the options say, else as the recipe file does; solid where neither tells an opacity."""
    file = choice.file
    if file is None or file.target is None or wish.given or sample.as_blend or sample.as_base is not None:
        target = wanted.target_wanted(palette, wish, sample, setting=setting, base=base, said=said)
        return solid_unless_told(target, palette) if wish.opacity is None else target
    lifted: dict[str, Any] = dict.fromkeys(BOUNDS) if wish.opacity is not None else {}
    return replace(target_from_written(file.target), **lifted | wish.asked | sample.more)


def _show(out: show.Page, done: Adjustment, trials: tuple[Trial, ...], cup: Cup | None) -> None:
    seen = done.predicted
    out.title(done.verdict, f"Wanted: {done.answer.target.in_words}. {seen.conditions}; {seen.optics}")
    rows = []
    for miss in done.misses:
        decimals = 2 if miss.what.startswith("colour") else 3
        numbers = (show.fixed(miss.value, decimals), show.fixed(miss.scatter, decimals))
        rows.append((miss.what, *numbers, "as read" if miss.as_read else "as predicted from what was read"))
    out.table(("<asked", "missed by", "scatter", "<"), rows)
    out.notes("What the trial says went wrong", [each.words for each in done.findings])
    if done.otherwise is not None and not done.leave:
        tell = "Another trial with this lot, given too, or the weight of its jar tells which; this pour alone cannot."
        out.notes("A lot or a slip", [done.otherwise.words, tell])
    if not done.leave:
        _show_recipe(out, done, trials[-1])
    if done.additions is not None and cup is not None:
        _show_additions(out, done, done.additions, cup)
    out.notes("Before you trust it", _cares(done, trials), style=show.CARE)


def _cares(done: Adjustment, trials: tuple[Trial, ...]) -> list[str]:
    """What to know of trials and swatches, and of the corrected recipe where one is shown, each once."""
    told = cautions(done.palette, trials)
    if not done.leave:
        if not done.kept_pigments:
            found = "the trial's own pigments no longer reach the target"
            told += [f"{found}; those that it did not hold are of lots untried here"]
        first = done.answer.recipes[0]
        told += [*warnings(done.palette, done.answer.target, [first]), *first.appearance.warnings]
    return list(dict.fromkeys(told))


def _show_recipe(out: show.Page, done: Adjustment, trial: Trial) -> None:
    recipe, was = done.answer.recipes[0], trial.blend.loadings
    rows = []
    for name in dict.fromkeys([*was, *recipe.blend.loadings]):
        old, new = was.get(name, 0.0), recipe.blend.loadings.get(name, 0.0)
        change = "new" if not old else "out" if not new else f"{100.0 * (new / old - 1.0):+.1f} %"
        if old or new:
            rows.append((name, f"{old:.4f}", f"{new:.4f}", change))
    out.apart(f"For a fresh batch, in {recipe.blend.base}", style=show.HEAD)
    out.table(("<pigment", "trial %", "now %", "change"), rows)
    out.print()
    out.facts(_facts(recipe.delta_e, recipe.appearance))
    out.notes("Every wall, the worst first", [wall.words for wall in recipe.walls])
    out.notes("What keeps it from the target", [recipe.reason] if recipe.reason else [])
    out.print(
        "\nTo weigh it, give --json and keep it as FILE.json; then `tint weigh FOLDER --recipe FILE.json`, or for an "
        "order `tint order ORDER.toml --recipe FILE.json`.",
        style=show.QUIET,
    )


def _facts(delta_e: float, look: Any) -> Iterable[tuple[str, str, str]]:
    yield "to the target", f"{show.fixed(delta_e, 2)} CIEDE2000", "as now predicted"
    yield "expected error", f"{show.fixed(look.expected_error, 2)} CIEDE2000", "95 of 100 castings read within it"
    if look.contrast_ratio == look.contrast_ratio:
        ratio = show.within(look.contrast_ratio, look.contrast_ratio_error)
        yield "contrast ratio", ratio, "Y over black / Y over white; 95 of 100"


def _show_additions(out: show.Page, done: Adjustment, additions: Additions, cup: Cup) -> None:
    """What to add, the base of the part first; nothing, where that would chase noise or no scale shows it."""
    stands = {"": cup.base_g, **cup.pigments_g}
    doses = {"": additions.base_g, **additions.pigments_g}
    if done.leave and all(grams <= max(_TRIFLE * stands.get(name, 0.0), _LEAST_G) for name, grams in doses.items()):
        doses = {}
    part = f"part {done.palette.bases[cup.base].pigment_in}"
    rows = [(name or part, f"{grams:.3f}") for name, grams in doses.items() if grams >= _LEAST_G]
    out.apart("To the part that stands there, before its other part goes in", style=show.HEAD)
    if not rows:
        out.print("add nothing" + ("" if done.leave else ": no addition brings it nearer"))
        return
    out.table(("<add", "g"), rows)
    out.print()
    out.facts(_facts(additions.delta_e, additions.appearance))


def _as_json(done: Adjustment, trials: tuple[Trial, ...]) -> dict[str, Any]:
    added = done.additions
    return {
        **show.fields(done, "verdict", "leave", "missed", "scatter", "again", "kept_pigments"),
        "misses": [asdict(miss) | {"leave": miss.leave} for miss in done.misses],
        "findings": done.findings,
        "otherwise": done.otherwise,
        "additions": None
        if added is None
        else msgspec.structs.asdict(jsonable.look(added.appearance))
        | show.fields(added, "base_g", "pigments_g", "delta_e"),
        "predicted": jsonable.look(done.predicted),
        "trials": len(trials),
        "cautions": cautions(done.palette, trials),
    }
