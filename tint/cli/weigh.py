"""`tint weigh`: a recipe and a batch size as grams to weigh, and what the rounded doses will look like."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import click

from tint import jsonable
from tint.cli import options, show
from tint.cli.asked import Chosen, palette_of, recipe_options, setting_options
from tint.cli.keys import Command, option, workshop
from tint.cli.predict import show_appearance
from tint.cli.wanted import Wish, target_of, target_options
from tint.files import write_all
from tint.given import out_of_reach
from tint.ledger import Stock, ledger_path, premix_stock, read_ledger
from tint.palette import Palette
from tint.swatches.instruments import Given
from tint.weighing import Batch, Kept, Scale, Split, WeighSheet, kept_from_json, kept_words, weigh, weigh_table
from tint.weighing.batch import HEADROOM, WASTE_PERCENT
from tint.weighing.premix import STEP_G, TOLERANCE_PERCENT

_NOTHING = 0.005  # CIEDE2000 a step, which shows as 0.00: below it a weighing is not pointed out


# What is weighed, on what, in which cups; and what the sheet is written as.

_batch_options = options.grouped(
    "batch",
    Batch,
    options.number("--batch-g", "How much mix the moulds hold, in grams; or"),
    options.number("--part-cm3", "the volume of one part, in cubic centimetres,"),
    options.count("--count", "and how many parts.", default=1),
    options.number("--set batch_cm3", "How much mix the moulds hold."),
    options.count("--set moulds", "How many moulds are poured.  [default: one a part]"),
    options.number("--set sprue_cm3", "What stays in sprue and flash of each mould.", default=0.0),
    options.number("--set cup_loss_g", "What stays in each cup.", default=0.0),
    options.number("--set waste_percent", "A margin on what is poured.", default=WASTE_PERCENT),
    heading="How much",
)


_scale_options = options.grouped(
    "scale",
    lambda **told: Scale(**told, max_g=workshop().scale_max_g),
    options.number("--set scale_step_g", "Smallest step of the scale.", to="step_g", default=STEP_G),
    options.number(
        "--set scale_sd_g", "Repeatability of the scale, as a standard deviation.  [default: 0.41 steps]", to="sd_g",
    ),
    options.number(
        "--set dose_tolerance_percent", "By how much a dose may be off.", to="tolerance_percent",
        default=TOLERANCE_PERCENT,
    ),
)  # fmt: skip
_premix_option = option(
    "--set premix", type=bool, default=True, metavar="yes|no",
    help="Let pigments down in base first whose dose is too small to weigh.  [default: yes]",
)  # fmt: skip
_split_options = options.grouped(
    "split",
    Split,
    options.number("--set cup_cm3", "The largest cup there is, filled to its brim."),
    options.number(
        "--set headroom", "How many times the mix a cup must hold, since mix swells under vacuum; 3 to 5 is usual.",
        expected="how many times the mix", metavar="TIMES", default=HEADROOM,
    ),
    options.number("--set pot_life_min", "From when the parts meet until the mix no longer pours."),
    options.number(
        "--set minutes_to_mix", "Of the pot life, what mixing and degassing take.", metavar="MIN", default=0.0
    ),
    options.number("--set minutes_per_mould", "Of the pot life, what pouring one mould takes.", metavar="MIN"),
)  # fmt: skip


def sheet_options(command: options.Command) -> options.Command:
    return _batch_options(_scale_options(_premix_option(_split_options(command))))


@dataclass(frozen=True, kw_only=True)
class Files:
    """What else the sheet is written as."""

    csv: Path | None
    pdf: Path | None
    paper: str
    title: str | None
    date: date | None
    replace: bool

    def check(self) -> None:
        options.check_file(self.csv, "--csv", ".csv", replace=self.replace)
        options.check_file(self.pdf, "--pdf", ".pdf", replace=self.replace)

    def write(self, palette: Palette, sheet: WeighSheet) -> list[str]:
        contents: dict[Path, bytes] = {}
        if self.csv:
            contents[self.csv] = weigh_table(sheet)
        if self.pdf:
            from tint.proofs.sheet import draw_weigh_sheet  # for those who ask for it

            made = datetime(self.date.year, self.date.month, self.date.day, tzinfo=UTC) if self.date else None
            contents[self.pdf] = draw_weigh_sheet(palette, sheet, title=self.title or "", paper=self.paper, made=made)
        write_all(contents)
        return [str(path) for path in contents]


file_options = options.grouped(
    "files",
    Files,
    options.path("--csv", "Write it for a spreadsheet too.", "FILE.csv"),
    options.path("--pdf", "Write it for paper, one page.", "FILE.pdf"),
    options.paper,
    options.title,
    options.day("--set date", "On the PDF, as in 2031-05-09.  [default: left blank]"),
    options.replace,
    heading="Output",
)


@click.command("weigh", cls=Command)
@options.folder
@recipe_options
@target_options
@setting_options
@options.walls
@sheet_options
@option(
    "--set kept", metavar="FILE.json",
    help="The sheet of the batch before, written with --json, whose premixes are used first; `none` uses none.  "
    "[default: those that the ledger tells, up to premix_days old]",
)  # fmt: skip
@file_options
@options.as_json
@options.optics
def command(
    folder: Path, choice: Chosen, wish: Wish, casting: dict[str, Any],
    walls_mm: tuple[float, ...], said: Given, batch: Batch, scale: Scale, premix: bool, kept: str | None,
    split: Split, files: Files, optics: str,
) -> None:  # fmt: skip
    """Turn a recipe and a batch size into grams to weigh.

    Example: tint weigh swatches_demo --base clear --load white=0.5 --thickness 3 --batch-g 120

    Or from a solved recipe: tint solve ... --json | tint weigh swatches_demo --recipe - --batch-g 120

    Doses are rounded so that the mix comes nearest to the target, or without one to the recipe.
    """
    files.check()
    palette = palette_of(folder, optics)
    (recipe,), (blend,) = choice.recipes.values(), choice.blends(palette).values()
    setting = choice.setting(palette, casting)
    target = target_of(palette, wish, setting, said)
    stock = _stock(folder, kept) if premix else Stock()
    sheet = weigh(
        palette, blend, setting=setting, batch=batch, scale=scale, split=split, premix=premix, kept=stock.usable,
        too_old=stock.too_old, aim=target, walls_mm=choice.further_walls(setting, walls_mm),
        warnings=out_of_reach(recipe),
    )  # fmt: skip
    written = files.write(palette, sheet)
    show.answer(
        jsonable.sheet(sheet),
        lambda out: show_sheet(out, sheet, palette, has_target=target is not None),
        written=written,
    )


def _stock(folder: Path, name: str | None) -> Stock:
    """What an earlier sheet left of premixes, or the batches of the ledger."""
    if name is not None and name != "none":
        data, where = options.read_file(name)
        return Stock(usable=kept_from_json(data, where=where))
    if name == "none" or not ledger_path(folder).exists():
        return Stock()
    with read_ledger(ledger_path(folder)) as ledger:
        return premix_stock(ledger, date.today(), days=workshop().premix_days)


# The page: premixes, the batch in its order, cups, and what hangs on each weighing.


def show_sheet(out: show.Page, sheet: WeighSheet, palette: Palette, *, has_target: bool = False) -> None:
    scale, batch = sheet.scale, sheet.batch
    allowed = [f"{batch.waste_percent:g} % for waste"] if batch.waste_percent else []
    allowed += ["sprue"] * bool(batch.sprue_cm3) + ["what stays in cups"] * bool(batch.cup_loss_g)
    allowed = allowed or ["nothing for waste"]
    mix = f"{sheet.batch_g:.4g} g of mix, {', '.join(allowed)} included; {sheet.volume_cm3:.4g} cm3"
    doses = f"doses of {scale.smallest_g:.2g} g and more are weighed to {scale.tolerance_percent:g} %"
    out.title(f"Weigh: {sheet.blend}", f"{mix}; scale step {scale.step_g:g} g: {doses}")
    if sheet.premixes:
        _show_premixes(out, sheet)
        out.print("Batch, in this order", style=show.HEAD)
    _show_lines(out, sheet)
    _show_cups(out, sheet)
    out.notes("Before you weigh", sheet.warnings, style=show.CARE)
    out.notes("Left over, for the next batch", [_left(sheet, each) for each in sheet.leftovers])
    out.notes("With less base", [sheet.looser.words] if sheet.looser else [])
    care = [  # each weighing that a step of the scale can be seen in, the most delicate first
        (each.what, f"into {each.into}", f"{each.step_g:g} g", show.fixed(each.delta_e, 2))
        for each in sheet.care
        if each.delta_e >= _NOTHING
    ]
    if care:
        out.apart("Weigh most carefully", style=show.HEAD)
        out.table(("<", "<", "a step", "CIEDE2000"), care)
    out.apart("As rounded, it will look like this", style=show.HEAD)
    out.print(f"{sheet.predicted.conditions}; {palette.model}\n", style=show.QUIET)
    more = [("rounding", f"{sheet.delta_e:.2f} CIEDE2000", "from the exact recipe")]
    if has_target:
        more.append(("target", f"{sheet.aim_delta_e:.2f} CIEDE2000", "from it, as rounded"))
    show_appearance(out, sheet.predicted, palette, more=more)
    out.notes("Every wall, the worst first", [wall.words for wall in sheet.walls])
    out.notes("Take care", sheet.cautions)


def _show_premixes(out: show.Page, sheet: WeighSheet) -> None:
    """What is let down first, a line a step; and what is there already."""
    shown = sheet.scale.shown
    rows = [
        (step.makes, shown(step.grams), step.what, shown(step.base_g), f"part {step.part}", step.lot)
        for premix in sheet.premixes
        for step in premix.steps
    ]
    if rows:
        out.print("Premixes, made and stirred first", style=show.HEAD)
        out.table(("<", "", "<", "into", "<", "<lot"), rows)
        out.print()
    if kept := kept_words(sheet):
        out.print(f"Kept, stirred before use: {'; '.join(kept)}.\n")
    errors = ", ".join(f"{premix.pigment} {premix.dose_error_percent:.1f} %" for premix in sheet.premixes)
    out.print(f"Error of each dose, all weighings together (95 of 100): {errors}.\n", style=show.QUIET)


def _left(sheet: WeighSheet, kept: Kept) -> str:
    lot = f", {kept.pigment} of lot {kept.lot}" if kept.lot else ""
    day = f", made on {kept.made_on}" if kept.made_on else ""
    return f"{sheet.scale.shown(kept.grams)} {kept.name} in part {kept.part} of {kept.base}{lot}{day}"


def _show_lines(out: show.Page, sheet: WeighSheet) -> None:
    shown = sheet.scale.shown
    rows = [
        (str(at), line.what, f"into {line.into}" if line.pigment else "", shown(line.grams), *line.beside.values())
        for at, line in enumerate(sheet.lines, start=1)
    ]
    total = {name: "100.000 %" if name == "of the mix" else "" for name in sheet.lines[0].beside}
    rows.append(("", "total", "", shown(sheet.total_grams), *total.values()))
    out.table(("", "<what", "<", "weigh", *total), rows)
    out.apart(
        f"The parts keep their mixing ratio within {sheet.mix_error_percent:.2f} % as rounded. Pigment counted as part "
        f"of part {sheet.lines[0].part} would leave that part {sheet.naive_part_error_percent:.2f} % short, and the "
        f"ratio {sheet.naive_mix_error_percent:.2f} % off.",
        style=show.QUIET,
    )


def _show_cups(out: show.Page, sheet: WeighSheet) -> None:
    """How the batch is split; of one cup only how large it must be."""
    cups, split, shown = sheet.cups, sheet.split, sheet.scale.shown
    facts = [("cups", f"{cups.count}", f"of {cups.least_cup_cm3:.4g} cm3 or more, {split.headroom:g} times the mix")]
    if cups.count > 1:
        into = [f"{shown(cups.tinted_g)} tinted part {sheet.lines[0].part}"]
        into += [f"{shown(grams)} part {part}" for part, grams in cups.rest_g.items()]
        facts += [("in each", shown(cups.grams), " + ".join(into))]
        facts += [("their ratio", f"within {cups.mix_error_percent:.2f} %", "as shared out")]
    if cups.cups_each > 1:
        facts += [("cups a mould", f"{cups.cups_each}", "poured one straight after the other")]
    elif cups.moulds_each is not None:
        over = cups.count * cups.moulds_each - (sheet.batch.pours or 0)
        facts += [("moulds a cup", f"{cups.moulds_each}", f"mix for {over} more than asked" if over else "")]
    if cups.minutes is not None and split.pot_life_min is not None:
        mixing = "mixing and pouring" if split.minutes_to_mix else "pouring alone; mixing comes on top"
        facts += [("minutes", f"{cups.minutes:g}", f"{mixing}; pot life {split.pot_life_min:g}")]
    out.print()
    out.facts(facts)
