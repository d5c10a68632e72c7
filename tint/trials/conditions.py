"""Where a trial was not cast and cured as the swatches were: a difference that is not its pigments' doing."""

from __future__ import annotations

from collections.abc import Iterator

from tint.checks.conditions import CURES_APART_K, YOUNG_DAYS, apart_in_age
from tint.fitting.circumstances import same
from tint.palette import Circumstances, Palette
from tint.trials.trial import Trial


def differences(palette: Palette, trial: Trial) -> tuple[str, ...]:
    """What of a trial's finish, mould, lot, cure and age differs from all swatches of its base, in words.

    Parameters
    ----------
    palette : Palette
        Whose `seen` tells how its swatches were cast.
    trial : Trial

    Returns
    -------
    tuple of str
        Empty where nothing differs, or nobody wrote it of either.
    """
    seen = palette.seen.get(trial.blend.base)
    return () if seen is None else tuple(_differences(trial, seen.circumstances))


def _differences(trial: Trial, swatches: Circumstances) -> Iterator[str]:
    words = (
        ("finish", trial.finish, swatches.finishes),
        ("mould", trial.mould, swatches.moulds),
        ("lot of the base", trial.lot, swatches.lots),
    )
    for name, its, theirs in words:
        if its and theirs and same(its) not in map(same, theirs):
            yield f"{name} {its} (theirs {', '.join(theirs)})"
    if trial.cure_c is not None and swatches.cure_c is not None:
        away = max(swatches.cure_c[0] - trial.cure_c, trial.cure_c - swatches.cure_c[1])
        if away > CURES_APART_K:
            yield f"cured at {trial.cure_c:g} °C (theirs {span(swatches.cure_c)} °C)"
    if trial.days_of_cure is not None and swatches.days is not None and trial.days_of_cure >= YOUNG_DAYS:
        nearest = min(max(trial.days_of_cure, swatches.days[0]), swatches.days[1])
        if apart_in_age(trial.days_of_cure, nearest):
            yield f"read {trial.days_of_cure:g} days after its cure (theirs {span(swatches.days)} days)"


def span(ends: tuple[float, float]) -> str:
    """`23`, or `23 to 80`."""
    return f"{ends[0]:g}" if ends[0] == ends[1] else f"{ends[0]:g} to {ends[1]:g}"
