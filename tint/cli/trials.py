"""Trials as options: what was poured and read, and what to know of it; and `tint lot`, a lot judged by one letdown."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import click

from tint.appearance import Setting, how_read
from tint.checks.castings import YOUNG_DAYS
from tint.cli import options, show
from tint.cli.asked import blend_of, palette_of, setting_options, trial_thickness
from tint.cli.keys import Command, called, option
from tint.errors import InputError
from tint.materials import USE, Blend
from tint.palette import Palette
from tint.swatches.instruments import Given
from tint.trials import Trial
from tint.trials.files import check_range, read_reading, read_trial
from tint.trials.trial import MOST_MM, differences
from tint.trials.verdict import UNCLEAR, LotCheck, check_lot
from tint.trials.verdict import rescale as rescaled
from tint.uncertainty import Z95

_FORM = "--base, --load, --thickness and --read FILE[:NAME], or --trial FILE"
_THIN = 0.5  # times the thinnest swatch: a trial below it may be told in another unit; chosen by eye
_ABOUT = ("thickness_mm", "days_of_cure", "cure_c", "mould", "finish", "lot")


@dataclass(frozen=True, kw_only=True)
class Poured:
    """Trials as the command line names them; fields are named as options and keys are."""

    base: str | None
    load: Mapping[str, float]
    read: str | None
    read_black: str | None
    thickness_mm: float | None
    days_of_cure: float | None
    cure_c: float | None
    mould: str | None
    finish: str | None
    lot: str | None
    trial: tuple[str, ...]

    @property
    def given(self) -> list[str]:
        """The options that describe a trial, all but its file."""
        names = ("base", "load", "read", "read_black", *_ABOUT)
        told = {name: getattr(self, name) for name in names} | {"load": self.load or None}
        return [called(name) for name in options.given(**told)]


trial_options = options.grouped(
    "poured",
    Poured,
    options.base,
    options.amounts("--load", "A pigment and its percent of the mix, as really weighed.", options.PERCENT),
    option("--read", metavar="FILE[:NAME]", help="The casting read over --over: a row of a readings table."),
    option("--read-black", metavar="FILE[:NAME]", help="The same casting read over the darkest backing."),
    trial_thickness,
    options.number("--set trial.days_of_cure", "Days of cure before it was read.", expected="days", metavar="DAYS"),
    options.number(
        "--set trial.cure_c", "Temperature of its cure, in °C.", expected="degrees Celsius", metavar="DEGREES"
    ),
    option("--set trial.mould", metavar="TEXT", help="What its mould is made of."),
    option("--set trial.finish", metavar="TEXT", help="The surface that was read: gloss, satin or matt."),
    option("--set trial.lot", metavar="TEXT", help="Lot of the base."),
    option("--trial", multiple=True, metavar="FILE", help="Instead: a trial file, TOML or JSON; repeat for each."),
    heading="The trial",
)


def trials_of(palette: Palette, poured: Poured, casting: Mapping[str, Any], said: Given) -> tuple[Trial, ...]:
    """The trials that options name, oldest first."""
    if poured.trial:
        if poured.given:
            found = f"given together with {' and '.join(poured.given)}"
            raise InputError("--trial", found, "expected one or the other")
        return tuple(read_trial(file, palette, said=said) for file in poured.trial)
    if not poured.given:
        raise InputError("trial", "none is named", f"expected {_FORM}")
    return (_from_options(palette, poured, casting, said),)


def _from_options(palette: Palette, poured: Poured, casting: Mapping[str, Any], said: Given) -> Trial:
    blend, own = blend_of(palette, poured.base, poured.load), poured.thickness_mm
    thickness: float | None = own if own is not None else casting.get("thickness_mm")
    if thickness is None:
        raise InputError("--thickness", "not given", "expected the wall thickness in mm", "as in --thickness 3")
    if not 0.0 < thickness <= MOST_MM:
        option = "--thickness" if own is None else called("thickness_mm")
        raise InputError(option, f"{thickness:g} mm", f"expected more than 0 and at most {MOST_MM:g} mm")
    check_range(poured.days_of_cure, "days", called("days_of_cure"))
    check_range(poured.cure_c, "cure_c", called("cure_c"))
    asked = Setting(thickness_mm=thickness, over=casting.get("over", ""), seat=casting.get("seat", "air"))
    over = asked.behind(palette)
    options.known(over, [*palette.backings, "none"], "--over")
    if poured.read_black is not None and len(palette.backings) < 2:
        raise InputError("--read-black", "the swatches know one backing only", mend="leave it out")
    if poured.read_black is not None and over == palette.black:
        raise InputError("--read-black", f"--over is {over} too", "expected --read over another backing")
    named = ((poured.read, over), (poured.read_black, palette.black if palette.backings else ""))
    readings = tuple(
        read_reading(where, palette, blend, setting=replace(asked, over=name), said=said)
        for where, name in named
        if where is not None
    )
    if not readings:
        raise InputError("--read", "not given", "expected FILE[:NAME], a row of a readings table")
    about = options.given(**{name: getattr(poured, name) for name in _ABOUT})
    return Trial(blend=blend, readings=readings, **about | {"thickness_mm": thickness})


def cautions(palette: Palette, trials: tuple[Trial, ...]) -> list[str]:
    """What to know of trials, and of the swatches that they are held against, before their answer is believed."""
    of_trials = [told for number, trial in enumerate(trials, 1) for told in _cautions(palette, trial, number)]
    behind = {reading.over for trial in trials for reading in trial.readings}
    of_swatches = [told for over in sorted(behind) for told in how_read(palette, over=over)]
    return list(dict.fromkeys([*of_trials, *of_swatches]))


def _cautions(palette: Palette, trial: Trial, number: int) -> Iterator[str]:
    if trial.days_of_cure is not None and trial.days_of_cure < YOUNG_DAYS:
        early = f"trial {number} was read after less than a day of cure"
        yield f"{early}: read it again when cured, or learn how far it moves"
    base = trial.blend.base
    if base in palette.seen and trial.thickness_mm < _THIN * palette.seen[base].thickness_mm[0]:
        thinnest = f"the thinnest swatch of {base} is {palette.seen[base].thickness_mm[0]:g} mm"
        yield f"trial {number} is {trial.thickness_mm:g} mm thick, {thinnest}: is it in centimetres or inches?"
    if differs := differences(palette, trial):
        yield (
            f"trial {number} was not cast as the swatches of {trial.blend.base} were: {'; '.join(differs)}. "
            "What this does is not its pigments' doing"
        )


# A lot, judged by one letdown.


@click.command("lot", cls=Command)
@options.folder
@click.argument("what", metavar="PIGMENT_OR_BASE")
@trial_options
@setting_options
@options.amounts(
    "--rescale", "A dose of an old recipe, to be brought to the new lot.", options.PERCENT, heading="The recipe"
)
@options.as_json
@options.optics
def lot(
    folder: Path, what: str, poured: Poured, casting: dict[str, Any], said: Given, rescale: dict[str, float],
    optics: str,
) -> None:  # fmt: skip
    """Judge a new lot of a pigment or base: strength and hue.

    Example: tint lot swatches_demo red --base clear --load red=0.05 --load white=0.5 --thickness 3
    --read swatches_demo/readings.csv:red-tint-1

    All else in the letdown is to be of the lots of the swatches.
    """
    palette = palette_of(folder, optics)
    options.known(what, [*palette.pigments, *palette.bases], "lot")
    recipe = options.all_known(rescale, palette.pigments, "--rescale")
    if recipe and what in palette.bases:
        raise InputError("--rescale", f"{what} is a base", "expected a pigment's lot", "solve again after tint fit")
    if recipe and what not in recipe:
        raise InputError("--rescale", f"the recipe holds no {what}", mend=f"name its dose, as in {what}=0.5")
    trials = trials_of(palette, poured, casting, said)
    if len(trials) > 1:
        raise InputError("--trial", f"{len(trials)} letdowns", "expected one")
    found = check_lot(palette, what, trials[0])
    # That a new lot of the base is another one goes without saying.
    told = cautions(palette, (replace(trials[0], lot="") if what in palette.bases else trials[0],))
    base = trials[0].blend.base
    new, record = None, None
    if found.verdict != UNCLEAR:
        record = _record(folder, found)
        if recipe:  # as it is, where the lot is used as the old one
            new = Blend(base, recipe)
            new = rescaled(new, {what: found.strength}) if found.verdict != USE else new

    def page(out: show.Page) -> None:
        out.title(f"{found.words[:1].upper()}{found.words[1:]}.", f"by {trials[0].blend}; {optics}")
        strength = f"{found.strength:.3f} ± {found.strength_error:.3f}"
        hue = f"at equal strength; {found.hue_error:.2f} may be chance"
        out.facts([
            ("strength", strength, "against the lot of the swatches; one standard deviation"),
            ("hue left", f"{found.hue_left:.2f} CIEDE2000", hue),
        ])  # fmt: skip
        if new is not None:
            out.apart("The recipe with this lot", style=show.HEAD)
            rows = [(name, f"{was:.4f}", f"{new.loadings[name]:.4f}") for name, was in recipe.items()]
            out.table(("<pigment", "was %", "now %"), rows)
            out.apart("%: by mass of the finished mix.", style=show.QUIET)
        out.notes("Before you trust it", told, style=show.CARE)
        out.notes("To keep it in the ledger", [record] if record else [])

    more = {"recipe": None if new is None else {"base": base, "loadings": dict(new.loadings)}, "record": record}
    show.answer(asdict(found) | more, page, cautions=told, optics=optics)


def _record(folder: Path, found: LotCheck) -> str:
    """The command that writes it down; the ledger keeps half widths that hold 95 of 100."""
    told = ["tint", "ledger", "add", "lot", str(folder), "--material", found.what, "--lot", "LOT"]
    told += ["--strength", f"{found.strength:.4f}", "--strength-error", f"{Z95 * found.strength_error:.4f}"]
    told += ["--hue-left-over", f"{found.hue_left:.2f}", "--verdict", found.verdict]
    return shlex.join(told)
