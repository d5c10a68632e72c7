"""A trial: a pour made from a recipe, with what was really weighed and what was read."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.checks.castings import CURES_APART_K, YOUNG_DAYS, apart_in_age
from tint.errors import InputError
from tint.fitting.report import same
from tint.materials import SEATS, Blend
from tint.palette import Palette
from tint.spectra import Array

SURE = 2.0  # standard deviations from which a change is told as one; common practice, no source
MOST_MM = 100.0  # wall thickness that a casting may have; beyond it a slip of the pen, no source
_READABLE = (-0.02, 1.3)  # reflectance factor: noise below 0, fluorescence above 1; outside, it is percent or worse
# Prior standard deviations [%]. Lots are sold within a tenth or so: common practice, no source. What corrections they
# lead to where lots change by up to 25 % and haze by up to 30 %: tests/figures/correction.py.
STRENGTH_PERCENT, HAZE_PERCENT, TINT_PERCENT = 12.0, 15.0, 15.0


@dataclass(frozen=True, kw_only=True, eq=False)
class TrialReading:
    """One spectrum of a trial over a backing or `none`."""

    values: Array  # shape (n_wavelengths,): [reflectance, 0 to 1]
    over: str
    seat: str = "air"
    # how many times as noisy as the instrument's own each value is: a colour made into a spectrum tells less [-]
    noise: float = 1.0

    def __post_init__(self) -> None:
        try:
            values = np.asarray(self.values, dtype=np.float64)
        except (TypeError, ValueError):
            raise InputError(
                "reading", f"a {type(self.values).__name__}", "a reflectance for each wavelength"
            ) from None
        object.__setattr__(self, "values", values)


@dataclass(frozen=True, kw_only=True, eq=False)
class Trial:
    """What was poured and read."""

    blend: Blend  # as really weighed [%]
    thickness_mm: float  # as read on the cured casting [mm]
    readings: tuple[TrialReading, ...]  # in the palette's own geometry
    days_of_cure: float | None = None  # when it was read [d]
    cure_c: float | None = None  # temperature of its cure [degrees Celsius]
    # mould, finish, lot, note: what the mould is made of, the surface that was read, the lot of the base; blank where
    # not known
    mould: str = ""
    finish: str = ""
    lot: str = ""
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Doubts:
    """What may have changed since the swatches were cast, as standard deviations: the prior of an adjustment."""

    strength_percent: float = STRENGTH_PERCENT  # of a pigment's strength, from lot to lot [%]
    haze_percent: float = HAZE_PERCENT  # of a base's scattering [%]
    tint_percent: float = TINT_PERCENT  # of a base's absorption [%]
    thickness_mm: float | None = None  # of the thickness readings of trials; the instrument's own when absent [mm]
    # one for each base and pigment, in the palette's order, in place of the first three [%]
    only: tuple[float, ...] = ()


def check_trial(palette: Palette, trial: Trial, number: int) -> None:
    """Raise InputError for a trial that cannot be used."""
    where = f"trial {number}"
    for given, kind, expected in (
        (trial.blend, Blend, "a Blend, as in tint.Blend('clear', {'white': 0.5})"),
        (trial.thickness_mm, int | float | np.number, "its thickness in mm"),
    ):
        if not isinstance(given, kind):
            raise InputError(where, f"a {type(given).__name__}", expected)
    palette.loadings(trial.blend)
    if not 0.0 < trial.thickness_mm <= MOST_MM:
        raise InputError(where, f"{trial.thickness_mm:g} mm", f"more than 0 and at most {MOST_MM:g} mm")
    if not trial.readings:
        raise InputError(where, "it has no reading", mend="read the cured casting")
    for reading in trial.readings:
        palette.backing(reading.over)
        if reading.seat not in SEATS:
            raise InputError(where, f"seat `{reading.seat}` is not known", " or ".join(SEATS))
        if reading.values.shape != palette.wavelengths.shape:
            raise InputError(
                where, f"a reading of {reading.values.size} wavelengths", f"the palette's {palette.wavelengths.size}"
            )
        if not np.all((reading.values >= _READABLE[0]) & (reading.values <= _READABLE[1])):
            raise InputError(where, "a reading is not a reflectance", "numbers from 0 to 1")


# Where a trial was not cast and cured as the swatches were: a difference that is not its pigments' doing.


def differences(palette: Palette, trial: Trial) -> tuple[str, ...]:
    """What of a trial's finish, mould, lot, cure and age differs from all swatches of its base, in words.

    Empty where nothing differs, or nobody wrote it of either.
    """
    if trial.blend.base not in palette.seen:
        return ()
    swatches, told = palette.seen[trial.blend.base].circumstances, []
    words = (
        ("finish", trial.finish, swatches.finishes),
        ("mould", trial.mould, swatches.moulds),
        ("lot of the base", trial.lot, swatches.lots),
    )
    for name, its, theirs in words:
        if its and theirs and same(its) not in map(same, theirs):
            told.append(f"{name} {its} (theirs {', '.join(theirs)})")
    if trial.cure_c is not None and swatches.cure_c is not None:
        away = max(swatches.cure_c[0] - trial.cure_c, trial.cure_c - swatches.cure_c[1])
        if away > CURES_APART_K:
            told.append(f"cured at {trial.cure_c:g} °C (theirs {span(swatches.cure_c)} °C)")
    if trial.days_of_cure is not None and swatches.days is not None and trial.days_of_cure >= YOUNG_DAYS:
        nearest = min(max(trial.days_of_cure, swatches.days[0]), swatches.days[1])
        if apart_in_age(trial.days_of_cure, nearest):
            told.append(f"read {trial.days_of_cure:g} days after its cure (theirs {span(swatches.days)} days)")
    return tuple(told)


def span(ends: tuple[float, float]) -> str:
    """`23`, or `23 to 80`."""
    return f"{ends[0]:g}" if ends[0] == ends[1] else f"{ends[0]:g} to {ends[1]:g}"
