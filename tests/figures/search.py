"""The search for recipes: how fast, how near the best there is, how well poured, how truly it names what binds.

    python tests/figures/search.py [speed] [ratio] [quality] [poured] [limits]

speed    the whole search by number of pigments, sets of up to 4
ratio    20 pigments, 6,195 sets, against scipy's SLSQP looped over them; and the demo in every base, one wall and two
quality  the nearest recipe against SLSQP from five starts on every set, and differential evolution
poured   recipes for held-out castings, poured on the bench by physics that is not tint's, and read
limits   targets put out of reach through one limit each: is that limit named, and does loosening it help

All with the many-flux palette of the demo folder. Nothing is tuned to what stands here.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from itertools import islice

import bench
import hampered
import numpy as np
import pour
import rivals
from hampered import BASE
from numpy.typing import NDArray
from shelf import shelf
from speed import best

from tint import colorimetry
from tint.appearance import Setting
from tint.fitting import fit_palette
from tint.opacity import FAIR
from tint.palette import Palette
from tint.recipes import Answer, Recipe, Rules, limits, solve
from tint.recipes.aims import Problem, lay_out
from tint.recipes.answer import Loosened
from tint.recipes.sets import best_of_sets
from tint.swatches import read_folder
from tint.target import Target

Array = NDArray[np.float64]

SEED = 31
SAMPLED = 60  # sets that SLSQP is timed on
EVERYTHING = 10_000  # more recipes than there are


def demo() -> Palette:
    return fit_palette(read_folder(bench.DEMO), optics="many-flux")


def colour(*lab: float) -> Array:
    return np.array(lab)


# Speed

WANTED = {
    "within reach": Target(lab=colour(70.0, 10.0, 50.0)),
    "contrast ratio at least 0.95": Target(lab=colour(70.0, 10.0, 50.0), contrast_ratio_min=0.95),
    "out of reach": Target(lab=colour(60.0, 70.0, 60.0), contrast_ratio_min=0.95),
}


def speed(palette: Palette) -> None:
    setting = Setting(thickness_mm=3.0)
    print("\nwall time of the whole search, one base, sets of up to 4")
    print(f"{'pigments':>8s} {'sets':>7s}" + "".join(f"{name:>30s}" for name in WANTED))
    for count in (6, 10, 15, 20, 30):
        stocked = shelf(palette, count)
        spent = [best(partial(solve, stocked, each, setting=setting, base=BASE), times=3) for each in WANTED.values()]
        sets = len(rivals.all_sets(range(count), 4))
        print(f"{count:8d} {sets:7d}" + "".join(f"{each:28.2f} s" for each in spent))


def ratio(palette: Palette) -> None:
    """Processor time, so that what else the machine does counts less; SLSQP on a random sample of the sets."""
    setting, solid = Setting(thickness_mm=3.0), replace(WANTED["within reach"], contrast_ratio_min=0.98)
    one, two = (
        _spent(partial(solve, palette, solid, setting=setting, rules=Rules(walls_mm=walls))) for walls in ((), (6.0,))
    )
    print(f"\ndemo, every base, solid: {one:.2f} s of processor; two walls {two:.2f} s, {two / one:.2f} times")
    stocked = shelf(palette, 20)
    every = rivals.all_sets(range(20), 4)
    chosen = [every[at] for at in np.random.default_rng(1).choice(len(every), SAMPLED, replace=False)]
    bounds = limits.bounds(stocked, BASE, Rules())
    print(f"\n{len(every)} sets, against SLSQP one by one from one start ({SAMPLED} drawn, scaled to all)")
    for name, target in WANTED.items():
        problem = lay_out(stocked, target, setting=setting, base=BASE, largest=bounds.high[:-1])

        def loop(problem: Problem = problem) -> None:
            for each in chosen:
                rivals.slsqp(problem, each, bounds, np.full(len(each), 0.15))

        theirs = _spent(loop, times=1) * len(every) / SAMPLED
        ours = _spent(partial(solve, stocked, target, setting=setting, base=BASE))
        sets_alone = _spent(partial(best_of_sets, problem, usable=list(range(20)), keep=(), most=4, bounds=bounds))
        print(
            f"  {name:30s} tint {ours:5.2f} s, its sets alone {sets_alone:5.2f} s   SLSQP {theirs:6.1f} s   "
            f"ratio {theirs / ours:5.0f}, {theirs / sets_alone:5.0f}"
        )


def _spent(job: Callable[[], object], *, times: int = 3) -> float:
    """The least processor time of several goes, after one that loads what is kept [s]."""
    job()
    spent = []
    for _ in range(times):
        start = time.process_time()
        job()
        spent.append(time.process_time() - start)
    return min(spent)


# Quality


@dataclass(frozen=True)
class Case:
    """A target in a wall."""

    kind: str
    target: Target
    thickness_mm: float


def cases(palette: Palette) -> list[Case]:
    """Colours of held-out castings, in walls thinner than theirs, opaquer than they were; and colours far outside."""
    view = colorimetry.viewing(palette.wavelengths)
    rng = np.random.default_rng(SEED)
    made = []
    for kind in bench.KINDS:
        for sample in [each for each in bench.held_out(kind, 17, SEED) if each.base == BASE][:4]:
            lab, ratio = colorimetry.lab(sample.white, view), sample.contrast_ratio
            made.append(Case("held-out colour", Target(lab=lab), sample.thickness))
            opaquer = Target(lab=lab, contrast_ratio_min=min(ratio + 0.15, 0.98))
            made.append(Case("opaquer than it was", opaquer, sample.thickness))
            made.append(Case("thin wall", Target(lab=lab, contrast_ratio=ratio), 0.8))
    for _ in range(12):
        hue, chroma, lightness = rng.uniform(0.0, 2.0 * np.pi), rng.uniform(40.0, 110.0), rng.uniform(15.0, 95.0)
        lab = colour(lightness, chroma * np.cos(hue), chroma * np.sin(hue))
        made.append(Case("far colour", Target(lab=lab), float(rng.uniform(1.0, 6.0))))
    return made


def quality(palette: Palette) -> None:
    rules = Rules(most_recipes=EVERYTHING)
    bounds = limits.bounds(palette, BASE, rules)
    usable, _ = limits.usable_pigments(palette, BASE, rules)
    every = rivals.all_sets(usable, rules.most_pigments)
    rows = []
    for case in cases(palette):
        setting = Setting(thickness_mm=case.thickness_mm)
        problem = lay_out(palette, case.target, setting=setting, base=BASE, largest=bounds.high[:-1])
        answer = solve(palette, case.target, setting=setting, base=BASE, rules=rules)
        ours = min(_miss(recipe) for recipe in answer.recipes)
        looped = [rivals.many_starts(problem, chosen, bounds, starts=5) for chosen in every]
        few = sorted(range(len(every)), key=lambda at: looped[at].cost)[:3]
        bred = [rivals.evolved(problem, every[at], bounds, most=4, seed=1) for at in few]
        bred += [rivals.evolved(problem, usable, bounds, most=4, seed=seed) for seed in (1, 2)]
        rows.append((case.kind, ours, min(each.miss for each in looped), min(each.miss for each in bred)))
    print(f"\nmiss of the nearest recipe, an opacity of {FAIR:g} counting as one CIEDE2000: {len(every)} sets")
    print(f"{'':22s} {'n':>3s} {'tint':>15s} {'by SLSQP':>17s} {'by evolution':>17s}")
    print(f"{'':22s} {'':3s} {'mean':>7s} {'max':>7s} {'mean':>9s} {'worst':>7s} {'mean':>9s} {'worst':>7s}")
    for kind in [*dict.fromkeys(row[0] for row in rows), "all"]:
        ours, *theirs = np.array([row[1:] for row in rows if kind in (row[0], "all")]).T
        columns = " ".join(f"{(ours - each).mean():9.4f} {(ours - each).max():7.4f}" for each in theirs)
        print(f"{kind:22s} {ours.size:3d} {ours.mean():7.3f} {ours.max():7.3f} {columns}")
    print("by: how far tint's is behind theirs; negative is ahead")


def _miss(recipe: Recipe) -> float:
    return float(np.hypot(recipe.delta_e, recipe.opacity_miss / FAIR))


# Poured


def poured(palette: Palette, *, count: int = 17) -> None:
    view = colorimetry.viewing(palette.wavelengths)
    away, ratio, said, stated, held, held_ratio, kinds = [], [], [], [], [], [], []
    for kind in bench.KINDS:
        for sample in bench.held_out(kind, count, SEED):
            target = Target(
                lab=colorimetry.lab(sample.white, view), spectrum=sample.white, contrast_ratio=sample.contrast_ratio
            )
            setting = Setting(thickness_mm=sample.thickness)
            recipe = solve(palette, target, setting=setting, base=sample.base).recipes[0]
            cast = pour.pour(sample.base, recipe.blend.loadings, sample.thickness, rng=None, workshop=bench.EXACT)
            read = colorimetry.lab(cast.white, view)
            opaque = float(colorimetry.contrast_ratio(cast.black, cast.white, view))
            look = recipe.appearance
            kinds.append(kind)
            said.append(recipe.delta_e)
            stated.append(look.expected_error)
            away.append(float(colorimetry.difference(target.lab, read)))
            ratio.append(abs(opaque - sample.contrast_ratio))
            held.append(float(colorimetry.difference(look.lab, read)) <= look.expected_error)
            held_ratio.append(abs(opaque - look.contrast_ratio) <= look.contrast_ratio_error)
    print("\nrecipes for held-out castings, poured exactly and read: CIEDE2000 to the target, contrast ratio off")
    print(f"{'':14s} {'n':>3s} {'tint said':>10s} {'mean':>6s} {'95 %':>6s} {'max':>6s} {'ratio':>7s} {'max':>7s}")
    for kind in [*bench.KINDS, "all"]:
        own = np.array([kind in (each, "all") for each in kinds])
        d, r = np.array(away)[own], np.array(ratio)[own]
        print(
            f"{kind:14s} {d.size:3d} {np.array(said)[own].mean():10.3f} {d.mean():6.2f} {np.quantile(d, 0.95):6.2f} "
            f"{d.max():6.2f} {r.mean():7.4f} {r.max():7.4f}"
        )
    print(
        f"stated 95 % error: colour, median {np.median(stated):.2f}, holds for {100 * np.mean(held):.0f} %; "
        f"contrast ratio holds for {100 * np.mean(held_ratio):.0f} %"
    )


# Limits


def named(palette: Palette) -> None:
    kinds = {
        "total loading": islice(hampered.by_loading(palette, total=True), 13),
        "one pigment's loading": islice(hampered.by_loading(palette, total=False), 13),
        "opacity": islice(hampered.by_opacity(palette), 12),
        "palette": islice(hampered.by_palette(palette), 12),
    }
    print("\ntargets out of reach through one limit: is it named, and what comes of loosening it as told")
    print(
        f"{'':22s} {'n':>3s} {'named':>6s} {'alone':>6s} {'told':>5s} {'reaches':>8s} {'nearer':>7s} "
        f"{'miss':>6s} {'then':>6s}"
    )
    for kind, hindered in kinds.items():
        rows = np.array([_judged(each) for each in hindered])
        n, alone, told, reaches, nearer = rows[:, :5].sum(axis=0)
        print(
            f"{kind:22s} {len(rows):3d} {n:6.0f} {alone:6.0f} {told:5.0f} {reaches:8.0f} {nearer:7.0f} "
            f"{rows[:, 5].mean():6.2f} {np.nanmean(rows[:, 6]) if told else np.nan:6.2f}"
        )


def _judged(case: hampered.Hampered) -> tuple[float, ...]:
    """Whether the limit is named, with no other but opacity, is told to be loosened; then reaches, is nearer."""
    answer = solve(case.palette, case.target, setting=case.setting, base=BASE)
    first = answer.recipes[0]
    now = _miss(first)
    wanted = "opacity" if case.limit == "contrast_ratio" else case.limit
    told = next((each for each in answer.loosened if each.limit == wanted), None)
    is_named = case.limit in first.limits
    # An opacity that a castable blend had gives way too where its loading may not be had.
    alone = is_named and set(first.limits) <= {case.limit, "contrast_ratio"}
    if told is None:
        return is_named, alone, 0.0, 0.0, 0.0, now, np.nan
    again = loosened(case, told).recipes[0]
    then = _miss(again)
    return is_named, alone, 1.0, again.reached, then < 0.7 * now, now, then


def loosened(case: hampered.Hampered, told: Loosened) -> Answer:
    """The answer when that limit gives way as far as was told."""
    palette, target = case.palette, case.target
    _, _, name = told.limit.partition(":")
    if name == "total":
        palette = hampered.with_total(palette, float(told.value or 0.0))
    elif name:
        palette = hampered.with_largest(palette, name, float(told.value or 0.0))
    else:
        target = replace(target, contrast_ratio_min=None)
    return solve(palette, target, setting=case.setting, base=BASE)


def main() -> None:
    jobs = {"speed": speed, "ratio": ratio, "quality": quality, "poured": poured, "limits": named}
    palette = demo()
    for name in sys.argv[1:] or jobs:
        jobs[name](palette)


if __name__ == "__main__":
    main()
