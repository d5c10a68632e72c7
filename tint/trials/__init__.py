"""A trial becomes a better palette, a better recipe, and a word on what went wrong.

Nothing here chases noise: what a trial says is weighed against what reading, weighing and thickness alone scatter,
and a miss inside that is left alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from tint.appearance import Appearance, Setting, predict
from tint.errors import InputError
from tint.materials import Blend
from tint.opacity import ALLOWED
from tint.optics.surface import known_word
from tint.palette import Palette
from tint.recipes import Answer, Rules
from tint.target import Target
from tint.trials.cause import DOSE, NOTHING, SEVERAL, STRENGTH, THICKNESS, Cause, causes
from tint.trials.correct import Additions, Cup, additions, corrected, keeping
from tint.trials.trial import SURE, Doubts, Trial, TrialReading, check_trial
from tint.trials.update import Posterior, learn
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

_RIVAL = 0.1  # probability from which a second explanation is told too; common practice, no source
_ROUNDING = 1e-4  # share of a dose, below the last digit that is shown: the same dose
_STRANGE = 3.0  # standard deviations of left-over misfit that no change explains; common practice, no source


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
    """Learn from trials of one order, and correct its recipe.

    `target`: what was asked for.
    `trials`: oldest first, poured from the same lots.
    `setting`: the part's; the target's light, observer, backing and seat. Its faces are those of the last trial where
        it names no finish.
    `rules`: for the corrected recipe; the last trial's pigments are kept when it names none.
    `cup`: a tinted part that stands there, to be corrected by additions.
    Raises InputError if there is no trial, or one cannot be used.
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
        findings=tuple(_likely(_findings(palette, learned, trials), found)),
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
    if not pair or pair[0].probability < _RIVAL:
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


def _findings(palette: Palette, learned: Posterior, trials: Sequence[Trial]) -> list[Finding]:
    n_bases, n = len(palette.bases), len(palette.k)
    told = []
    for at, name in enumerate([*palette.bases, *palette.pigments]):
        kinds = (("tint", at), ("haze", at + n)) if at < n_bases else (("strength", at),)
        for kind, place in kinds:
            factor, error = float(learned.factors[place]), float(learned.factor_errors[place])
            if abs(np.log(factor)) > SURE * error:
                told.append(_changed(kind, name, factor, error))
    for number, (shift, error) in enumerate(zip(learned.thickness_mm, learned.thickness_errors, strict=True), start=1):
        if abs(shift) > SURE * error:
            thickness = trials[number - 1].thickness_mm + shift
            words = f"trial {number} reads as {thickness:.2f} mm, not {trials[number - 1].thickness_mm:g} mm"
            told.append(Finding(what=f"thickness:{number}", value=float(shift), error=float(error), words=words))
    told += _wrong_doses(palette, learned, trials)
    if learned.misfit > _STRANGE:
        words = "no change of strength, base or thickness explains the readings: check blend, doses and readings"
        told.append(Finding(what="readings", value=learned.misfit, error=1.0, words=words))
    return told


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


def _likely(findings: list[Finding], found: Sequence[Cause]) -> list[Finding]:
    """Findings with how likely they are, and what else it may have been."""
    if not found:
        return findings
    findings = [each for each in findings if _opened(each, found[0])]
    best, rivals = found[0], [each for each in found[1:] if each.probability >= _RIVAL]
    sure = (
        f"; {100.0 * best.probability:.0f} % likely to be {'the cause' if best.what != SEVERAL else 'one of several'}"
    )
    other = f", else {', '.join(_named(each) for each in rivals)}" if rivals else ""
    likely = {each.what: each.probability for each in rivals}
    return [
        each
        if each.what == "readings"
        else replace(each, words=f"{each.words}{sure}{other}", probability=best.probability, rivals=likely)
        for each in findings
    ]


def _opened(finding: Finding, cause: Cause) -> bool:
    """Whether an explanation is of this at all: what moves within its usual error is not found to have gone wrong."""
    told = finding.what == cause.what or (cause.kind == THICKNESS and finding.what.startswith(THICKNESS))
    return told or cause.kind == SEVERAL or finding.what == "readings"


def _named(cause: Cause) -> str:
    told = {NOTHING: "chance alone", SEVERAL: "several things at once", THICKNESS: "the thickness"}
    what = told.get(cause.kind, f"the {cause.kind} of {cause.name}")
    return f"{what} ({100.0 * cause.probability:.0f} %)"


def _changed(kind: str, name: str, factor: float, error: float) -> Finding:
    percent = 100.0 * abs(factor - 1.0)
    words = {
        "strength": f"{name} is {percent:.0f} % {'stronger' if factor > 1 else 'weaker'}",
        "haze": f"{name} is {percent:.0f} % {'hazier' if factor > 1 else 'clearer'}",
        "tint": f"{name} itself absorbs {percent:.0f} % {'more' if factor > 1 else 'less'}",
    }[kind]
    sentence = f"{words} than when the swatches were cast (± {100.0 * error:.0f} %, one standard deviation)"
    return Finding(what=f"{kind}:{name}", value=factor, error=error, words=sentence)
