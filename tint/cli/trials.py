"""Trials as options: what was poured and read, named option by option or in files; and what to know of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from tint.appearance import Setting, how_read
from tint.checks.castings import YOUNG_DAYS
from tint.cli import options
from tint.cli.asked import Doses, trial_thickness
from tint.cli.keys import called, option
from tint.errors import InputError
from tint.palette import Palette
from tint.swatches.instruments import Given
from tint.trials import Trial
from tint.trials.files import check_range, read_reading, read_trial
from tint.trials.trial import MOST_MM, differences

_FORM = "--base, --load, --thickness and --read FILE[:NAME], or --trial FILE"
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
    options.number(
        "--set trial.days_of_cure", "Days of cure before it was read.", expected="days", metavar="DAYS", was=["days"]
    ),
    options.number(
        "--set trial.cure_c", "Temperature of its cure, in °C.", expected="degrees Celsius", metavar="DEGREES"
    ),
    option("--set trial.mould", metavar="TEXT", help="What its mould is made of."),
    option("--set trial.finish", metavar="TEXT", help="The surface that was read, such as smooth or satin."),
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
    blend, thickness = Doses(poured.base, poured.load).blend(palette), _thickness(poured, casting)
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
    return Trial(
        blend=blend,
        thickness_mm=thickness,
        readings=readings,
        days_of_cure=poured.days_of_cure,
        cure_c=poured.cure_c,
        mould=poured.mould or "",
        finish=poured.finish or "",
        lot=poured.lot or "",
    )


def _thickness(poured: Poured, casting: Mapping[str, Any]) -> float:
    own = poured.thickness_mm
    thickness: float | None = own if own is not None else casting.get("thickness_mm")
    if thickness is None:
        raise InputError("--thickness", "not given", "expected the wall thickness in mm", "as in --thickness 3")
    if not 0.0 < thickness <= MOST_MM:
        option = "--thickness" if own is None else called("thickness_mm")
        raise InputError(option, f"{thickness:g} mm", f"expected more than 0 and at most {MOST_MM:g} mm")
    return thickness


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
    if differs := differences(palette, trial):
        yield (
            f"trial {number} was not cast as the swatches of {trial.blend.base} were: {'; '.join(differs)}. "
            "What this does is not its pigments' doing"
        )
