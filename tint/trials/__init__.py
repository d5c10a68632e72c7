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
from tint.palette import Palette
from tint.recipes import Answer, Recipe, Rules, solve
from tint.recipes.aims import FAIR
from tint.target import Target
from tint.trials.additions import Additions, Cup, additions
from tint.trials.trial import SURE, Doubts, Trial, TrialReading, check_trial
from tint.trials.update import Posterior, learn
from tint.trials.verdict import Miss, misses, verdict

__all__ = ["Additions", "Adjustment", "Cup", "Doubts", "Finding", "Miss", "Trial", "TrialReading", "adjust"]

MOST_PIGMENTS = 5  # that solving takes (tint.recipes.Rules)
_STRANGE = 3.0  # standard deviations of left-over misfit that no change explains; common practice, no source


@dataclass(frozen=True, kw_only=True)
class Finding:
    """Something that a trial says went wrong.

    Parameters
    ----------
    what : str
        `strength:PIGMENT`, `haze:BASE`, `tint:BASE`, `thickness:NUMBER` or `readings`.
    value, error : float
        A factor with the standard deviation of its logarithm, or a shift in mm.
    words : str
        The same as a sentence.
    """

    what: str
    value: float
    error: float
    words: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Adjustment:
    """What to do after trials.

    Parameters
    ----------
    misses : tuple of Miss
        All that was asked; the colour in the setting comes first.
    palette : Palette
        As it is now believed to be, for these lots.
    foretold : Appearance
        What that palette says of the last trial's blend in the setting.
    answer : Answer
        Recipes for a fresh batch, by that palette.
    kept_pigments : bool
        Whether the recipes were sought among those that keep the trial's pigments; else these no longer reach the
        target, and others are expected to come nearer.
    additions : Additions or None
        For a part that stands there, when one was told.
    findings : tuple of Finding
    """

    misses: tuple[Miss, ...]
    palette: Palette
    foretold: Appearance
    answer: Answer
    kept_pigments: bool
    additions: Additions | None
    findings: tuple[Finding, ...]

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
        return verdict(self.misses, self.answer.target.tolerance)


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

    Parameters
    ----------
    palette : Palette
    target : Target
        What was asked for.
    trials : sequence of Trial
        Oldest first, poured from the same lots.
    setting : Setting
        The part's; the target's light, observer, backing and seat.
    rules : Rules, optional
        For the corrected recipe; the last trial's pigments are kept when it names none.
    doubts : Doubts, optional
    cup : Cup, optional
        A tinted part that stands there, to be corrected by additions.

    Raises
    ------
    InputError
        If there is no trial, or one cannot be used.
    """
    if not trials:
        raise InputError("adjust", "there is no trial", mend="pour and read one")
    for number, trial in enumerate(trials, start=1):
        check_trial(palette, trial, number)
    doubts, last = doubts or Doubts(), trials[-1]
    given = rules or Rules()
    rules = _keeping(last, given)
    learned = learn(palette, trials, doubts)
    foretold = predict(learned.palette, last.blend, setting=setting)
    answer, kept = _answer(learned.palette, target, setting, last.blend.base, rules, given)
    return Adjustment(
        misses=tuple(
            misses(learned.palette, target, last, setting=setting, foretold=foretold, recipe=answer.recipes[0])
        ),
        palette=learned.palette,
        foretold=foretold,
        answer=answer,
        kept_pigments=kept,
        additions=None if cup is None else additions(learned.palette, target, cup, setting=setting, rules=rules),
        findings=tuple(_findings(palette, learned, trials)),
    )


def _answer(
    palette: Palette, target: Target, setting: Setting, base: str, rules: Rules, given: Rules
) -> tuple[Answer, bool]:
    """Recipes from the trial's own pigments; from any, where those no longer reach the target and others come nearer.

    Other pigments are of lots that no trial has told of: what is not known of them counts against them.
    """
    own = solve(palette, target, setting=setting, base=base, rules=rules)
    if own.recipes[0].reached or rules == given:
        return own, True
    free = solve(palette, target, setting=setting, base=base, rules=given)
    return (free, False) if _expected_miss(free.recipes[0]) < _expected_miss(own.recipes[0]) else (own, True)


def _expected_miss(recipe: Recipe) -> float:
    """Root mean square of what a pour would miss, opacity brought to CIEDE2000 by the scale that solving uses."""
    look = recipe.appearance
    opacity = np.hypot(recipe.opacity_miss, np.nan_to_num(look.contrast_ratio_error) / 2.0) / FAIR
    return float(np.hypot(np.hypot(recipe.delta_e, look.expected_error / 2.0), opacity))


def _keeping(trial: Trial, rules: Rules) -> Rules:
    """Rules that keep the trial's pigments, unless they name others to keep."""
    if rules.keep:
        return rules
    keep = tuple(name for name, x in trial.blend.loadings.items() if x > 0.0 and name not in rules.leave_out)
    if len(keep) > MOST_PIGMENTS:
        raise InputError("adjust", f"the trial holds {len(keep)} pigments", f"at most {MOST_PIGMENTS}", "leave one out")
    return replace(rules, keep=keep, most_pigments=max(rules.most_pigments, len({*keep, *rules.fixed})))


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
    if learned.misfit > _STRANGE:
        words = "no change of strength, base or thickness explains the readings: check blend, doses and readings"
        told.append(Finding(what="readings", value=learned.misfit, error=1.0, words=words))
    return told


def _changed(kind: str, name: str, factor: float, error: float) -> Finding:
    percent = 100.0 * abs(factor - 1.0)
    words = {
        "strength": f"{name} is {percent:.0f} % {'stronger' if factor > 1 else 'weaker'}",
        "haze": f"{name} is {percent:.0f} % {'hazier' if factor > 1 else 'clearer'}",
        "tint": f"{name} itself absorbs {percent:.0f} % {'more' if factor > 1 else 'less'}",
    }[kind]
    sentence = f"{words} than when the swatches were cast (± {100.0 * error:.0f} %, one standard deviation)"
    return Finding(what=f"{kind}:{name}", value=factor, error=error, words=sentence)
