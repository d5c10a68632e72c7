"""Trials with one planted cause, or none: is it named, are doses left alone that are right, does one correction do.

    python tests/figures/one_cause.py 1000:1020 [--each 6] [--jobs 2]

Orders in random workshops (random_workshops.py): the recipe that tint proposes is poured with a lot that is weak or
strong, a hazy or tinted base, one wrong dose, a wrong thickness, or as it should be, and read with the workshop's own
errors; then the corrected recipe is poured exactly, from the same lots. CIEDE2000, D65, 10 degrees.

named: the planted cause alone is found; either: or it is the other of a lot and a slip in its dose, told with its
probability; beyond: doses changed by more than 2 % that the cause does not ask to change; known: after, where the maker
found out which of the two it was; opacity: the share that is as solid as asked for.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, replace

import numpy as np
import random_workshops as bench
from numpy.typing import NDArray
from recipes_poured import fitted, pour
from seeds import judged, parser_of

from tint import colorimetry
from tint.appearance import Setting
from tint.errors import TintError
from tint.materials import Blend
from tint.recipes import Rules, solve
from tint.target import Target
from tint.trials import Trial, TrialReading, adjust

Array = NDArray[np.float64]

CAUSES = ("weak lot", "strong lot", "hazy base", "tinted base", "wrong dose", "wrong thickness", "none")
SIZE = {"weak lot": 0.8, "strong lot": 1.25, "wrong dose": 0.75, "hazy base": 1.5, "tinted base": 2.0}
THICKER = 1.12


@dataclass(frozen=True, kw_only=True)
class Tried:
    """One trial and its correction.

    Parameters
    ----------
    named : bool
        Whether the finding is the planted cause and nothing else is found; for none, whether nothing is.
    either : bool
        The same where a lot and a slip in its dose, which one trial cannot tell apart, are told as either of the two.
    seen : bool
        Whether the cause moved the colour by more than the trial's own scatter: else it is not there to be found.
    beyond : int
        Doses changed by more than 2 % beyond those that the cause asks for.
    before, after, known : float
        CIEDE2000 to the target: of the pour with its cause, of the corrected recipe, and of the recipe told for the
        planted one of the two where a lot or a slip is told.
    less_solid : float
        Contrast ratio of the corrected recipe below what was asked [-].
    """

    cause: str
    named: bool
    either: bool
    seen: bool
    left: bool
    beyond: int
    before: float
    after: float
    known: float
    less_solid: float


def planted(workshop: bench.Workshop, cause: str, pigment: str, base: str) -> bench.Workshop:
    """The workshop as its lots now are."""

    def times(part: bench.Component, absorbs: float, scatters: float) -> bench.Component:
        return replace(part, mu_a=part.mu_a * absorbs, mu_s=part.mu_s * scatters)

    if cause in ("weak lot", "strong lot"):
        lots = {pigment: times(workshop.pigments[pigment], SIZE[cause], SIZE[cause])}
        return replace(workshop, pigments=workshop.pigments | lots)
    if cause == "hazy base":
        return replace(workshop, bases=workshop.bases | {base: times(workshop.bases[base], 1.0, SIZE[cause])})
    if cause == "tinted base":
        return replace(workshop, bases=workshop.bases | {base: times(workshop.bases[base], SIZE[cause], 1.0)})
    return workshop


def judge(job: tuple[int, int]) -> list[Tried]:
    """Orders of one workshop, each with another cause."""
    warnings.simplefilter("ignore")
    seed, each = job
    poured = bench.pour(seed)
    try:
        palette = fitted(poured)
    except TintError:
        return []
    rng = np.random.default_rng([seed, 19])
    view = colorimetry.viewing(palette.wavelengths)
    depths = [depth for seen in palette.seen.values() for depth in seen.thickness_mm]
    samples = [sample for sample in poured.samples if sample.kind != "see-through"]
    result: list[Tried] = []
    for number in range(each):
        sample, cause = samples[int(rng.integers(len(samples)))], CAUSES[(number + seed) % len(CAUSES)]
        least = 0.98 if sample.kind == "opaque" else max(sample.ordered.contrast_ratio - 0.02, 0.01)
        target = Target(lab=colorimetry.lab(sample.ordered.white, view), contrast_ratio_min=least)
        setting = Setting(thickness_mm=float(np.clip(sample.thickness, min(depths), max(depths))))
        recipe = solve(palette, target, setting=setting, rules=Rules(most_pigments=3)).best
        if not recipe.reached or not recipe.blend.loadings:
            continue
        pigment = str(rng.choice([name for name, x in recipe.blend.loadings.items() if x > 0.0]))
        truth = planted(poured.workshop, cause, pigment, recipe.blend.base)
        wrong = {pigment: SIZE[cause] * recipe.blend.loadings[pigment]} if cause == "wrong dose" else {}
        done = Blend(recipe.blend.base, {**recipe.blend.loadings, **wrong})
        depth = setting.thickness_mm * (THICKER if cause == "wrong thickness" else 1.0)
        black, white = pour(truth, done, depth, rng)
        readings = (TrialReading(values=black, over="black"), TrialReading(values=white, over="white"))
        trial = Trial(blend=recipe.blend, thickness_mm=setting.thickness_mm, readings=readings)
        try:
            adjusted = adjust(palette, target, [trial], setting=setting)
        except TintError as error:
            print(seed, cause, error)
            continue
        corrected = recipe.blend if adjusted.leave else adjusted.answer.best.blend
        after = pour(truth, corrected, setting.thickness_mm, None)
        other = adjusted.otherwise
        right = pour(poured.workshop, recipe.blend, setting.thickness_mm, None)
        found = [finding.what for finding in adjusted.findings]
        wanted = {
            "hazy base": f"haze:{recipe.blend.base}", "tinted base": f"tint:{recipe.blend.base}",
            "wrong thickness": "thickness:1", "wrong dose": f"dose:1:{pigment}", "none": "",
        }.get(cause, f"strength:{pigment}")  # fmt: skip
        told = {each.what: {each.what, *each.rivals} for each in adjusted.findings}
        mended = corrected
        if other is not None and not adjusted.leave and other.what == wanted:
            mended = other.blend
        known = pour(truth, mended, setting.thickness_mm, None)[1] if mended is not corrected else after[1]
        moved = float(colorimetry.difference(colorimetry.lab(white, view), colorimetry.lab(right[1], view)))
        result.append(
            Tried(
                cause=cause,
                named=found == [wanted] if wanted else not found,
                either=len(found) == 1 and wanted in told[found[0]] if wanted else not found,
                seen=moved > adjusted.scatter,
                left=adjusted.leave,
                beyond=_beyond(recipe.blend, corrected, cause, pigment),
                before=float(colorimetry.difference(target.lab, colorimetry.lab(white, view))),
                after=float(colorimetry.difference(target.lab, colorimetry.lab(after[1], view))),
                known=float(colorimetry.difference(target.lab, colorimetry.lab(known, view))),
                less_solid=max(least - float(colorimetry.contrast_ratio(*after, view)), 0.0),
            )
        )
    return result


def _beyond(recipe: Blend, corrected: Blend, cause: str, pigment: str) -> int:
    """Doses changed that the cause did not ask to change; a haze or tint asks for any."""
    if cause in ("hazy base", "tinted base"):
        return 0
    may = {pigment} if cause in ("weak lot", "strong lot") else set()
    names = {*recipe.loadings, *corrected.loadings} - may
    doses = [(recipe.loadings.get(name, 0.0), corrected.loadings.get(name, 0.0)) for name in names]
    return sum(abs(two - one) > 0.02 * max(one, two) for one, two in doses)


def report(tried: list[Tried]) -> None:
    """A row a cause."""
    print(f"\n{len(tried)} trials, one correction")
    print(f"{'cause':16s} {'n':>4s} {'named':>6s} {'either':>6s} {'seen':>5s} {'either':>6s} {'left':>5s}"
          f" {'beyond':>6s} {'before':>7s} {'after':>6s} {'95 %':>5s} {'known':>6s} {'opacity':>7s}")  # fmt: skip
    for cause in (*CAUSES, "all"):
        these = [each for each in tried if cause in ("all", each.cause)]
        if not these:
            continue
        seen = [each for each in these if each.seen]
        after = np.array([each.after for each in these])
        print(
            f"{cause:16s} {len(these):4d} {np.mean([e.named for e in these]):6.2f}"
            f" {np.mean([e.either for e in these]):6.2f} {len(seen):5d}"
            f" {np.mean([e.either for e in seen]) if seen else np.nan:6.2f} {np.mean([e.left for e in these]):5.2f}"
            f" {np.mean([e.beyond for e in these]):6.2f} {np.mean([e.before for e in these]):7.2f} {after.mean():6.2f}"
            f" {np.quantile(after, 0.95):5.2f} {np.mean([e.known for e in these]):6.2f}"
            f" {np.mean([e.less_solid <= 0.005 for e in these]):7.2f}"
        )


def main() -> None:
    parser = parser_of(__doc__)
    parser.add_argument("--each", type=int, default=6, help="orders a workshop")
    args = parser.parse_args()
    jobs = [(seed, args.each) for seed in args.seeds]
    report([each for some in judged(judge, jobs, args.jobs) for each in some])


if __name__ == "__main__":
    main()
