"""Trials as options: what was poured and read, named option by option or in files."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import click

from tint.appearance import Setting, how_read
from tint.checks.conditions import YOUNG_DAYS
from tint.cli.amounts import PERCENT, Pairs, amounts_option, each_once, one_thickness
from tint.cli.asked import Doses, blend_of
from tint.cli.options import base_option, grouped, known, number_option
from tint.errors import InputError
from tint.palette import Palette
from tint.swatches.instruments import Given
from tint.trials import Trial
from tint.trials.files import check_range, read_reading, read_trial
from tint.trials.trial import differences

_FORM = "--base, --load, --thickness and --read FILE[:NAME], or --trial FILE"


@dataclass(frozen=True, kw_only=True)
class Poured:
    """Trials as the command line names them."""

    doses: Doses
    read: str | None
    read_black: str | None
    thickness_mm: float | None
    days: float | None
    cure_c: float | None
    mould: str
    finish: str
    lot: str
    files: tuple[str, ...]

    @property
    def given(self) -> list[str]:
        """The options that describe a trial, all but its file."""
        told = {
            "--base": self.doses.base,
            "--load": self.doses.loadings or None,
            "--read": self.read,
            "--read-black": self.read_black,
            "--read-thickness": self.thickness_mm,
            "--days": self.days,
            "--cure-c": self.cure_c,
            "--mould": self.mould or None,
            "--finish": self.finish or None,
            "--lot": self.lot or None,
        }
        return [option for option, value in told.items() if value is not None]


def _poured(
    base: str | None, load: Pairs, read: str | None, read_black: str | None, read_thickness: float | None,
    days: float | None, cure_c: float | None, mould: str, finish: str, lot: str, trial: tuple[str, ...],
) -> Poured:  # fmt: skip
    return Poured(
        doses=Doses(base, each_once(load, "--load")),
        read=read,
        read_black=read_black,
        thickness_mm=read_thickness,
        days=days,
        cure_c=cure_c,
        mould=mould,
        finish=finish,
        lot=lot,
        files=trial,
    )


trial_options = grouped(
    "poured",
    _poured,
    base_option,
    amounts_option("--load", "A pigment and its percent of the mix, as really weighed; repeat for each.", PERCENT),
    click.option("--read", metavar="FILE[:NAME]", help="The casting read over --over: a row of a readings table."),
    click.option("--read-black", metavar="FILE[:NAME]", help="The same casting over the darkest backing."),
    click.option(
        "--read-thickness", type=one_thickness, metavar="MM", help="As read on it.  [default: as --thickness]"
    ),
    number_option("--days", "Days of cure before it was read.", expected="days", metavar="DAYS"),
    number_option("--cure-c", "Temperature of its cure.", expected="degrees Celsius", metavar="DEGREES"),
    click.option("--mould", default="", metavar="TEXT", help="What its mould is made of."),
    click.option("--finish", default="", metavar="TEXT", help="The surface that was read, such as smooth or satin."),
    click.option("--lot", default="", metavar="TEXT", help="Lot of the base."),
    click.option("--trial", multiple=True, metavar="FILE", help="Instead: a trial file, TOML or JSON."),
)


def trials_of(palette: Palette, poured: Poured, casting: Mapping[str, Any], said: Given) -> tuple[Trial, ...]:
    """The trials that options name, oldest first.

    Raises
    ------
    InputError
        If they name none, or in two ways at once, or one cannot be read.
    """
    if poured.files:
        if poured.given:
            raise InputError(
                "--trial", f"given together with {' and '.join(poured.given)}", "expected one or the other"
            )
        return tuple(read_trial(file, palette, said=said) for file in poured.files)
    if not poured.given:
        raise InputError("trial", "none is named", f"expected {_FORM}")
    return (_from_options(palette, poured, casting, said),)


def _from_options(palette: Palette, poured: Poured, casting: Mapping[str, Any], said: Given) -> Trial:
    blend = blend_of(palette, poured.doses)
    thickness = poured.thickness_mm if poured.thickness_mm is not None else casting.get("thickness_mm")
    if thickness is None:
        raise InputError("--thickness", "not given", "expected the wall thickness in mm", "as in --thickness 3")
    if not 0.0 < thickness <= 100.0:
        option = "--thickness" if poured.thickness_mm is None else "--read-thickness"
        raise InputError(option, f"{thickness:g} mm", "expected more than 0 and at most 100 mm")
    check_range(poured.days, "days", "--days")
    check_range(poured.cure_c, "cure_c", "--cure-c")
    over, seat = casting.get("over") or lightest(palette), casting.get("seat", "air")
    known(over, [*palette.backings, "none"], "--over")
    if poured.read_black is not None and len(palette.backings) < 2:
        raise InputError("--read-black", "the swatches know one backing only", mend="leave it out")
    if poured.read_black is not None and over == palette.black:
        raise InputError("--read-black", f"--over is {over} too", "expected --read over another backing")
    named = ((poured.read, over), (poured.read_black, palette.black if palette.backings else ""))
    readings = tuple(
        read_reading(where, palette, blend, setting=Setting(thickness_mm=thickness, over=name, seat=seat), said=said)
        for where, name in named
        if where is not None
    )
    if not readings:
        raise InputError("--read", "not given", "expected FILE[:NAME], a row of a readings table")
    return Trial(
        blend=blend,
        thickness_mm=thickness,
        readings=readings,
        days_of_cure=poured.days,
        cure_c=poured.cure_c,
        mould=poured.mould,
        finish=poured.finish,
        lot=poured.lot,
    )


def lightest(palette: Palette) -> str:
    """What a casting lies over, when nobody says."""
    return palette.white if palette.backings else "none"


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
