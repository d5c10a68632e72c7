"""What went wrong: one thing, several or nothing, compared by how well each predicts the readings.

A trial missed by five units of colour can be explained by a little of everything, and is so by least squares; but a lot
that is a fifth weak is one thing, and one thing is likelier than five that happen to add up. Every explanation is given
the readings' probability under it, all that it leaves open averaged over (its evidence), by Laplace's approximation at
its mode (MacKay 1992, Neural Computation 4, 415; from memory). What is known before any reading is common practice, no
source: most pours are right, and of those that are not most have one thing wrong.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tint.palette import Palette
from tint.trials.trial import Doubts, Trial
from tint.trials.update import Layout, Posterior, lay_out, mode, posterior, settled, surprise

NOTHING, SEVERAL, THICKNESS, DOSE, STRENGTH = "nothing", "several", "thickness", "dose", "strength"
_BEFORE = {NOTHING: 0.4, SEVERAL: 0.1}  # what is believed before; single causes share the rest
_CLOSED = 1e-4  # of a logarithm: what is held to be unchanged
# A dose that was weighed wrongly: how far it is off, as a share of it, and how likely that is beside a change of the
# pigment's lot; lots differ more often than what is written down was not weighed.
_WRONG_DOSE, _SLIPS = 0.25, 0.25
_WRONG_DEPTH = 0.08  # of the thickness: how far a wall is off that was moulded or read wrongly


@dataclass(frozen=True, kw_only=True, eq=False)
class Cause:
    """An explanation of trials."""

    # `nothing`, `several`, `thickness`, `strength:PIGMENT`, `haze:BASE`, `tint:BASE`, or `dose:NUMBER:PIGMENT`: that
    # a dose of one trial was not what was written down. Of a single trial the last cannot be told from a change of
    # that pigment's strength, and both are told with what was known of them before.
    what: str
    probability: float  # that it is this one of all those compared, 0 to 1 [-]
    learned: Posterior  # what the trials teach if it is this one

    @property
    def kind(self) -> str:
        """Its first word."""
        return self.what.split(":")[0]

    @property
    def name(self) -> str:
        """The pigment or base that it is about; empty where it is about none."""
        return self.what.split(":", 2 if self.kind == DOSE else 1)[-1] if ":" in self.what else ""


def causes(palette: Palette, trials: Sequence[Trial], doubts: Doubts) -> list[Cause]:
    """All explanations of trials that share their lots, the likeliest first.

    `trials`: at least one, all checked.
    `doubts`: how large each change is expected to be, where it is one.
    """
    widened = surprise(palette, trials)
    # A palette that missed its own castings by more than it states is believed less here too.
    wide = replace(palette, local=palette.local * widened, modes=palette.modes * np.sqrt(widened))
    layouts = dict(_layouts(palette, trials, doubts))
    # What no explanation predicts is noise for all of them alike.
    _, noise = settled(wide, trials, layouts[SEVERAL])
    modes = {what: mode(wide, trials, layout, noise) for what, layout in layouts.items()}
    log = np.array([modes[what].log_evidence + np.log(before) for what, before in _believed_before(layouts).items()])
    share = np.exp(log - log.max())
    share /= share.sum()
    ranked = sorted(zip(share, modes, strict=True), reverse=True)
    return [
        Cause(
            what=what,
            probability=float(probability),
            learned=posterior(palette, layouts[what], modes[what], np.sqrt(widened)),
        )
        for probability, what in ranked
    ]


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
