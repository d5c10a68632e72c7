"""What went wrong: one thing, several or nothing, compared by how well each foretells the readings.

A trial missed by five units of colour can be explained by a little of everything, and is so by least squares; but a lot
that is a fifth weak is one thing, and one thing is likelier than five that happen to add up. Every explanation is given
the readings' probability under it, all that it leaves open averaged over (its evidence), by Laplace's approximation at
its mode (MacKay 1992, Neural Computation 4, 415; from memory). What is known before any reading is common practice, no
source: most pours are right, and of those that are not most have one thing wrong.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tint.palette import Palette
from tint.trials.trial import Doubts, Trial
from tint.trials.update import Layout, Posterior, lay_out, mode, posterior, settled, surprise

Array = NDArray[np.float64]

NOTHING, SEVERAL, THICKNESS = "nothing", "several", "thickness"
_BEFORE = {NOTHING: 0.4, SEVERAL: 0.1}  # what is believed before; single causes share the rest
_CLOSED = 1e-4  # of a logarithm: what is held to be unchanged
_WRONG_DEPTH = 0.08  # of the thickness: how far a wall is off that was moulded or read wrongly


@dataclass(frozen=True, kw_only=True, eq=False)
class Cause:
    """An explanation of trials.

    Parameters
    ----------
    what : str
        `nothing`, `several`, `thickness`, `strength:PIGMENT`, `haze:BASE` or `tint:BASE`.
    probability : float
        That it is this one of all those compared, 0 to 1 [-].
    learned : Posterior
        What the trials teach if it is this one.
    """

    what: str
    probability: float
    learned: Posterior


def causes(palette: Palette, trials: Sequence[Trial], doubts: Doubts) -> list[Cause]:
    """All explanations of trials that share their lots, the likeliest first.

    Parameters
    ----------
    trials : sequence of Trial
        At least one, all checked.
    doubts : Doubts
        How large each change is expected to be, where it is one.
    """
    widened = surprise(palette, trials)
    # A palette that missed its own castings by more than it states is believed less here too.
    wide = replace(palette, local=palette.local * widened, modes=palette.modes * np.sqrt(widened))
    layouts = dict(_layouts(palette, trials, doubts))
    # What no explanation foretells is noise for all of them alike.
    _, noise = settled(wide, trials, layouts[SEVERAL])
    modes = {what: mode(wide, trials, layout, noise) for what, layout in layouts.items()}
    single = (1.0 - sum(_BEFORE.values())) / max(len(layouts) - len(_BEFORE), 1)
    log = np.array([found.log_evidence + np.log(_BEFORE.get(what, single)) for what, found in modes.items()])
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
            yield f"strength:{name}", _only(every, (2 * len(bases) + at,))


def _only(layout: Layout, changes: tuple[int, ...]) -> Layout:
    """The same with all closed but some changes."""
    kept = np.isin(np.arange(layout.changes.size), changes)
    return replace(layout, changes=np.where(kept, layout.changes, np.minimum(layout.changes, _CLOSED)))
