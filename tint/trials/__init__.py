"""A trial becomes a better palette, a better recipe, and a word on what went wrong.

Nothing here chases noise: what a trial says is weighed against what reading, weighing and thickness alone scatter,
and a miss inside that is left alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tint.appearance import Appearance, Setting, predict
from tint.errors import InputError
from tint.materials import Blend
from tint.opacity import ALLOWED
from tint.optics.surface import known_word
from tint.palette import Palette
from tint.recipes import Answer, Rules
from tint.target import Target
from tint.trials.cause import DOSE, RIVAL, STRENGTH, Cause, Finding, causes, findings
from tint.trials.correct import Additions, Cup, additions, corrected, keeping
from tint.trials.trial import Doubts, Trial, TrialReading, check_trial
from tint.trials.update import learn
from tint.trials.verdict import Miss, misses, verdict

__all__ = [
    "Additions",
    "Adjustment",
    "Cup",
    "Doubts",
    "Finding",
    "Miss",
    "Otherwise",
    "Trial",
    "TrialReading",
    "adjust",
]

_ROUNDING = 1e-4  # share of a dose, below the last digit that is shown: the same dose


@dataclass(frozen=True, kw_only=True)
class Otherwise:
    """What to pour if it was the other of two causes that trials tell apart badly: a lot, or a slip in one dose."""

    what: str  # as of a finding
    probability: float  # that it was this [-]
    blend: Blend  # the recipe for a fresh batch then [%]
    words: str  # the same as a sentence


@dataclass(frozen=True, kw_only=True, eq=False)
class Adjustment:
    """What to do after trials."""

    misses: tuple[Miss, ...]  # all that was asked; the colour in the setting comes first
    palette: Palette  # as it is now believed to be, for these lots
    predicted: Appearance  # what that palette says of the last trial's blend in the setting
    answer: Answer  # recipes for a fresh batch, by that palette
    # whether the recipes were sought among those that keep the trial's pigments; else these no longer reach the
    # target, and others are expected to come nearer
    kept_pigments: bool
    additions: Additions | None  # for a part that stands there, when one was told
    findings: tuple[Finding, ...]
    poured: Blend  # that of the last trial
    otherwise: Otherwise | None = None  # where a lot and a slip in one dose are both likely

    @property
    def again(self) -> bool:
        """Whether the recipe is right as it was poured, and the pour is to be made again."""
        best = self.answer.best.blend
        return best.base == self.poured.base and not _changes(self.poured, best)

    @property
    def missed(self) -> float:
        """From the target's colour to the last trial [CIEDE2000]."""
        return self.misses[0].value

    @property
    def scatter(self) -> float:
        """What pouring and reading the same again would scatter, 95 times in 100 [CIEDE2000]."""
        return self.misses[0].scatter

    @property
    def leave(self) -> bool:
        """Whether all that correcting would gain is inside the scatter, and the recipe is to be left as it is."""
        return all(miss.leave for miss in self.misses)

    @property
    def verdict(self) -> str:
        """What to do, in a sentence."""
        return verdict(self.misses, self.answer.target.tolerance, again=self.again)


def adjust(
    palette: Palette,
    target: Target,
    trials: Sequence[Trial],
    *,
    setting: Setting,
    rules: Rules | None = None,
    doubts: Doubts | None = None,
    cup: Cup | None = None,
) -> Adjustment:
    """Learn from trials of one order, poured from the same lots, oldest first, and correct its recipe.

    The setting is the part's; its faces are those of the last trial where it names no finish. The last trial's pigments
    are kept where rules name none. A cup is a tinted part that stands there, to be corrected by additions. InputError
    if there is no trial, or one cannot be used.
    """
    if not trials:
        raise InputError("adjust", "there is no trial", mend="pour and read one")
    for number, trial in enumerate(trials, start=1):
        check_trial(palette, trial, number)
    doubts, last = doubts or Doubts(), trials[-1]
    setting = replace(setting, finish=setting.finish or known_word(last.finish))
    given = (rules or Rules()).in_workshop(palette.workshop)
    rules = keeping(last, given)
    found = [] if doubts.only else causes(palette, trials, doubts)
    learned = found[0].learned if found else learn(palette, trials, doubts)
    predicted = predict(learned.palette, last.blend, setting=setting)
    asked = _as_solid(palette, target, last, setting)
    cause = found[0] if found else None
    answer, kept = corrected(learned.palette, asked, setting, last.blend, rules, given, cause)
    if asked is not target and not answer.recipes[0].reached:  # out of reach either way: then the nearest there is
        free, free_kept = corrected(learned.palette, target, setting, last.blend, rules, given, cause)
        if not free.recipes[0].reached:
            answer, kept = free, free_kept
    return Adjustment(
        misses=tuple(
            misses(learned.palette, target, last, setting=setting, predicted=predicted, recipe=answer.recipes[0])
        ),
        palette=learned.palette,
        predicted=predicted,
        answer=answer,
        kept_pigments=kept,
        additions=None if cup is None else additions(learned.palette, target, cup, setting=setting, rules=rules),
        findings=tuple(findings(palette, learned, trials, found)),
        poured=last.blend,
        otherwise=_otherwise(found, asked, setting, last.blend, rules, given),
    )


def _otherwise(
    found: Sequence[Cause], target: Target, setting: Setting, poured: Blend, rules: Rules, given: Rules
) -> Otherwise | None:
    """The correction by the other of a lot and a slip in its dose, where that is likely too."""
    if not found or found[0].kind not in (STRENGTH, DOSE):
        return None
    pair = [each for each in found[1:] if {each.kind, found[0].kind} == {STRENGTH, DOSE} and each.name == found[0].name]
    if not pair or pair[0].probability < RIVAL:
        return None
    other = pair[0]
    answer, _ = corrected(other.learned.palette, target, setting, poured, rules, given, other, loosen=False)
    best = answer.best.blend
    changed = _changes(poured, best)
    told = ", ".join(f"{name} {dose:.4f} %" for name, dose in changed.items())
    rest = ", all else as it was" if best.loadings.keys() - changed else ""
    todo = f"{told}{rest}" if told else "pour the recipe again as it stands"
    cause = f"the lot of {other.name}" if other.kind == STRENGTH else f"the dose of {other.name}, weighed wrongly"
    words = f"If it was {cause} ({100.0 * other.probability:.0f} % likely): {todo}."
    return Otherwise(what=other.what, probability=other.probability, blend=best, words=words)


def _changes(poured: Blend, now: Blend) -> dict[str, float]:
    """Doses that differ by more than rounding, as they are now [%]."""
    names = {**poured.loadings, **now.loadings}
    both = {name: (poured.loadings.get(name, 0.0), now.loadings.get(name, 0.0)) for name in names}
    return {name: new for name, (old, new) in both.items() if abs(new - old) > _ROUNDING * max(old, new)}


def _as_solid(palette: Palette, target: Target, trial: Trial, setting: Setting) -> Target:
    """The target; where it asks for no opacity, a correction is to be as solid as the recipe was meant to be."""
    if target.asks_more or not palette.pair:
        return target
    meant = predict(palette, trial.blend, setting=setting).contrast_ratio
    return replace(target, contrast_ratio_min=float(np.clip(meant - ALLOWED, ALLOWED, 1.0)))
