"""Trials as options: what was poured and read, named option by option or in files."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import click

from tint.adjust import Trial
from tint.adjust.files import read_reading, read_trial
from tint.cli.amounts import PERCENT, Pairs, amounts_option, each_once
from tint.cli.asked import Doses, blend_of
from tint.cli.options import base_option, grouped, known, number_option
from tint.cli.spans import one_thickness
from tint.errors import InputError
from tint.palette import Palette

_FORM = "--base, --load, --thickness and --read FILE[:NAME], or --trial FILE"


@dataclass(frozen=True, kw_only=True)
class Poured:
    """Trials as the command line names them."""

    doses: Doses
    read: str | None
    read_black: str | None
    thickness_mm: float | None
    days: float | None
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
        }
        return [option for option, value in told.items() if value is not None]


def _poured(
    base: str | None, load: Pairs, read: str | None, read_black: str | None, read_thickness: float | None,
    days: float | None, trial: tuple[str, ...],
) -> Poured:  # fmt: skip
    return Poured(
        doses=Doses(base, each_once(load, "--load")),
        read=read,
        read_black=read_black,
        thickness_mm=read_thickness,
        days=days,
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
    click.option("--trial", multiple=True, metavar="FILE", help="Instead: a trial file, TOML or JSON."),
)


def trials_of(palette: Palette, poured: Poured, casting: Mapping[str, Any]) -> tuple[Trial, ...]:
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
        return tuple(read_trial(file, palette) for file in poured.files)
    if not poured.given:
        raise InputError("trial", "none is named", f"expected {_FORM}")
    return (_from_options(palette, poured, casting),)


def _from_options(palette: Palette, poured: Poured, casting: Mapping[str, Any]) -> Trial:
    blend = blend_of(palette, poured.doses)
    thickness = poured.thickness_mm if poured.thickness_mm is not None else casting.get("thickness_mm")
    if thickness is None:
        raise InputError("--thickness", "not given", "expected the wall thickness in mm", "as in --thickness 3")
    if poured.days is not None and poured.days < 0.0:
        raise InputError("--days", f"{poured.days:g}", "expected 0 or more")
    over, seat = casting.get("over") or lightest(palette), casting.get("seat", "air")
    known(over, [*palette.backings, "none"], "--over")
    if poured.read_black is not None and len(palette.backings) < 2:
        raise InputError("--read-black", "the swatches know one backing only", mend="leave it out")
    if poured.read_black is not None and over == palette.black:
        raise InputError("--read-black", f"--over is {over} too", "expected --read over another backing")
    named = ((poured.read, over), (poured.read_black, palette.black if palette.backings else ""))
    readings = tuple(read_reading(where, palette, over=name, seat=seat) for where, name in named if where is not None)
    if not readings:
        raise InputError("--read", "not given", "expected FILE[:NAME], a row of a readings table")
    return Trial(blend=blend, thickness_mm=thickness, readings=readings, days_of_cure=poured.days)


def lightest(palette: Palette) -> str:
    """What a casting lies over, when nobody says."""
    return palette.white if palette.backings else "none"


def cautions(trials: tuple[Trial, ...]) -> list[str]:
    """What to know of trials before their answer is believed."""
    early = [number for number, each in enumerate(trials, 1) if each.days_of_cure is not None and each.days_of_cure < 1]
    return [
        f"trial {number} was read after less than a day of cure: read it again when cured, or learn how far it moves"
        for number in early
    ]
