"""What went wrong: one thing, several or nothing, compared by how well each predicts the readings.

A trial missed by five units of colour can be explained by a little of everything, and is so by least squares; but a lot
that is a fifth weak is one thing, and one thing is likelier than five that happen to add up. Every explanation is given
the readings' probability under it, all that it leaves open averaged over (its evidence), by Laplace's approximation at
its mode (MacKay 1992, Neural Computation 4, 415; from memory). What is known before any reading is common practice, no
source: most pours are right, and of those that are not most have one thing wrong.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from tint.palette import Palette
from tint.trials.trial import SURE, Doubts, Trial
from tint.trials.update import Layout, Mode, Posterior, lay_out, mode, posterior, settled, surprise

NOTHING, SEVERAL, THICKNESS, DOSE, STRENGTH = "nothing", "several", "thickness", "dose", "strength"
_BEFORE = {NOTHING: 0.4, SEVERAL: 0.1}  # what is believed before; single causes share the rest
_CLOSED = 1e-4  # of a logarithm: what is held to be unchanged
# A dose that was weighed wrongly: how far it is off, as a share of it, and how likely that is beside a change of the
# pigment's lot; lots differ more often than what is written down was not weighed.
_WRONG_DOSE, _SLIPS = 0.25, 0.25
RIVAL = 0.1  # probability from which a second explanation is told too; common practice, no source
_STRANGE = 3.0  # standard deviations of left-over misfit that no change explains; common practice, no source
_WRONG_DEPTH = 0.08  # of the thickness: how far a wall is off that was moulded or read wrongly


@dataclass(frozen=True, eq=False)
class Cause:
    """An explanation of trials."""

    # `nothing`, `several`, `thickness`, `strength:PIGMENT`, `haze:BASE`, `tint:BASE`, or `dose:NUMBER:PIGMENT`: that
    # a dose of one trial was not what was written down. Of a single trial the last cannot be told from a change of
    # that pigment's strength, and both are told with what was known of them before.
    what: str
    probability: float  # that it is this one of all those compared, 0 to 1 [-]
    palette: Palette  # as it was before
    layout: Layout
    mode: Mode
    widening: float  # of standard deviations

    @functools.cached_property
    def learned(self) -> Posterior:
        """What the trials teach if it is this one."""
        return posterior(self.palette, self.layout, self.mode, self.widening)

    @property
    def kind(self) -> str:
        """Its first word."""
        return self.what.split(":")[0]

    @property
    def name(self) -> str:
        """The pigment or base that it is about; empty where it is about none."""
        return self.what.split(":", 2 if self.kind == DOSE else 1)[-1] if ":" in self.what else ""


def causes(palette: Palette, trials: Sequence[Trial], doubts: Doubts) -> list[Cause]:
    """All explanations of trials that share their lots, at least one, all checked; the likeliest first."""
    widened = surprise(palette, trials)
    # A palette that missed its own castings by more than it states is believed less here too.
    wide = replace(palette, local=palette.local * widened, modes=palette.modes * np.sqrt(widened))
    layouts = dict(_layouts(wide, trials, doubts))
    # What no explanation predicts is noise for all of them alike.
    _, noise = settled(wide, trials, layouts[SEVERAL])
    modes = {what: mode(wide, trials, layout, noise) for what, layout in layouts.items()}
    log = np.array([modes[what].log_evidence + np.log(before) for what, before in _believed_before(layouts).items()])
    share = np.exp(log - log.max())
    share /= share.sum()
    ranked = sorted(zip(share.tolist(), modes, strict=True), reverse=True)
    wider = float(np.sqrt(widened))
    return [Cause(what, probability, palette, layouts[what], modes[what], wider) for probability, what in ranked]


def _believed_before(whats: Iterable[str]) -> dict[str, float]:
    weights = {what: _SLIPS if what.startswith(DOSE) else 1.0 for what in whats if what not in _BEFORE}
    single = (1.0 - sum(_BEFORE.values())) / max(sum(weights.values()), 1.0)
    return {what: _BEFORE.get(what, single * weights.get(what, 1.0)) for what in whats}


def _layouts(palette: Palette, trials: Sequence[Trial], doubts: Doubts) -> Iterator[tuple[str, Layout]]:
    every = lay_out(palette, trials, doubts)
    yield SEVERAL, every
    yield NOTHING, _only(every, ())
    deep = replace(every, thickness_mm=max(every.thickness_mm, _WRONG_DEPTH * trials[-1].thickness_mm))
    yield THICKNESS, _only(deep, ())
    bases, poured = list(palette.bases), {trial.blend.base for trial in trials}
    for at, name in enumerate(bases):
        if name in poured:
            yield f"tint:{name}", _only(every, (2 * at,))
            yield f"haze:{name}", _only(every, (2 * at + 1,))
    dosed = {name for trial in trials for name, loading in trial.blend.loadings.items() if loading > 0.0}
    for at, name in enumerate(palette.pigments):
        if name in dosed:
            yield f"{STRENGTH}:{name}", _only(every, (2 * len(bases) + at,))
    alone = _only(every, ())
    for number, doses in enumerate(every.doses):
        for slot, at in enumerate(doses):
            yield f"{DOSE}:{number + 1}:{list(palette.pigments)[at]}", _slipped(alone, number, slot)


def _slipped(layout: Layout, number: int, slot: int) -> Layout:
    """The same with one dose of one trial in doubt."""
    sd = [each.copy() for each in layout.dose_sd]
    sd[number][slot] = max(sd[number][slot], _WRONG_DOSE)
    return replace(layout, dose_sd=tuple(sd))


def _only(layout: Layout, changes: tuple[int, ...]) -> Layout:
    """The same with all closed but some changes."""
    kept = np.isin(np.arange(layout.changes.size), changes)
    return replace(layout, changes=np.where(kept, layout.changes, np.minimum(layout.changes, _CLOSED)))


# What is told of it.


@dataclass(frozen=True, kw_only=True)
class Finding:
    """Something that a trial says went wrong."""

    what: str  # `strength:PIGMENT`, `haze:BASE`, `tint:BASE`, `dose:NUMBER:PIGMENT`, `thickness:NUMBER` or `readings`
    # value, error: a factor with the standard deviation of its logarithm, or a shift in mm
    value: float
    error: float
    words: str  # the same as a sentence
    # that this is what went wrong, of all that was compared; NaN where nothing was compared [-]
    probability: float = math.nan
    rivals: Mapping[str, float] = field(default_factory=dict)  # what else it may have been, and how likely that is [-]


def findings(
    palette: Palette, learned: Posterior, trials: Sequence[Trial], found: Sequence[Cause]
) -> Iterator[Finding]:
    """What the likeliest explanation says went wrong, how likely that is, and what else it may have been."""
    changed = _changes(palette, learned, trials)
    if not found:
        yield from changed
        return
    best, rivals = found[0], [each for each in found[1:] if each.probability >= RIVAL]
    sure = (
        f"; {100.0 * best.probability:.0f} % likely to be {'the cause' if best.what != SEVERAL else 'one of several'}"
    )
    other = f", else {', '.join(_named(each) for each in rivals)}" if rivals else ""
    likely = {each.what: each.probability for each in rivals}
    for each in changed:
        if each.what == "readings":
            yield each
        # What moves within its usual error is not found to have gone wrong.
        elif each.what == best.what or best.kind == SEVERAL or best.kind == THICKNESS == each.what.split(":")[0]:
            yield replace(each, words=f"{each.words}{sure}{other}", probability=best.probability, rivals=likely)


def _changes(palette: Palette, learned: Posterior, trials: Sequence[Trial]) -> Iterator[Finding]:
    n_bases, n = len(palette.bases), len(palette.k)
    for at, name in enumerate([*palette.bases, *palette.pigments]):
        kinds = (("tint", at), ("haze", at + n)) if at < n_bases else ((STRENGTH, at),)
        for kind, place in kinds:
            factor, error = float(learned.factors[place]), float(learned.factor_errors[place])
            if abs(np.log(factor)) > SURE * error:
                words = _changed(kind, name, factor)
                words += f" than when the swatches were cast (± {100.0 * error:.0f} %, one standard deviation)"
                yield Finding(what=f"{kind}:{name}", value=factor, error=error, words=words)
    for number, (shift, error) in enumerate(zip(learned.thickness_mm, learned.thickness_errors, strict=True), start=1):
        if abs(shift) > SURE * error:
            stated = trials[number - 1].thickness_mm
            words = f"trial {number} reads as {stated + shift:.2f} mm, not {stated:g} mm"
            yield Finding(what=f"{THICKNESS}:{number}", value=float(shift), error=float(error), words=words)
    yield from _wrong_doses(palette, learned, trials)
    if learned.misfit > _STRANGE:
        words = "no change of strength, base or thickness explains the readings: check blend, doses and readings"
        yield Finding(what="readings", value=learned.misfit, error=1.0, words=words)


def _changed(kind: str, name: str, factor: float) -> str:
    percent = 100.0 * abs(factor - 1.0)
    return {
        STRENGTH: f"{name} is {percent:.0f} % {'stronger' if factor > 1 else 'weaker'}",
        "haze": f"{name} is {percent:.0f} % {'hazier' if factor > 1 else 'clearer'}",
        "tint": f"{name} itself absorbs {percent:.0f} % {'more' if factor > 1 else 'less'}",
    }[kind]


def _wrong_doses(palette: Palette, learned: Posterior, trials: Sequence[Trial]) -> Iterator[Finding]:
    """Doses that were off by more than weighing is: told where a slip was reckoned with."""
    usual, names = palette.instrument.dose_error_percent / 100.0, list(palette.pigments)
    for number, (trial, shares, errors) in enumerate(zip(trials, learned.doses, learned.dose_errors, strict=True), 1):
        dosed = np.flatnonzero(palette.loadings(trial.blend))
        for at, share, error in zip(dosed, shares, errors, strict=True):
            if abs(share) > SURE * max(error, usual):
                name, percent = names[at], 100.0 * abs(share)
                words = f"trial {number} holds {percent:.0f} % {'less' if share < 0 else 'more'} {name} than is written"
                words += f" (± {100.0 * error:.0f} %, one standard deviation): weighed wrongly"
                yield Finding(what=f"{DOSE}:{number}:{name}", value=1.0 + share, error=float(error), words=words)


def _named(cause: Cause) -> str:
    told = {NOTHING: "chance alone", SEVERAL: "several things at once", THICKNESS: "the thickness"}
    what = told.get(cause.kind, f"the {cause.kind} of {cause.name}")
    return f"{what} ({100.0 * cause.probability:.0f} %)"
