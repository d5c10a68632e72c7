"""The first recipe against brute force, and poured: is there one of the same look with less pigment, is it as told.

    python tests/figures/least_pigment.py 1000:1020 [--each 4] [--hex 0] [--jobs 2] [--ranked]

Targets are colours of castings of random workshops (random_workshops.py), solid and not, every second solid one for
two walls; with --hex so many screen colours a workshop, near those of castings, solid, the specular part excluded.
Brute force is differential evolution on every set of up to three pigments in every base: the least pigment whose
colour is alike and which keeps the same room to the bound of the opacity as the first recipe. It shares the predicted
look with tint, and no line of its search. `alike`: no farther from the target than the nearest recipe there is, by
what no eye tells; that is what tint promises. The first recipe is then poured exactly as written (recipes_poured.py).

With --ranked also: recipes ranked by price and by loading against the least price and pigment within the tolerance.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import random_workshops as bench
from numpy.typing import NDArray
from recipes_poured import fitted, pour
from seeds import judged, parser_of

from tint import colorimetry
from tint.appearance import Setting
from tint.palette import Palette
from tint.recipes import Answer, Recipe, Rules, certainty, limits, solve
from tint.recipes.aims import Problem, drawn_in, lay_out
from tint.recipes.judging import judge
from tint.recipes.refine import ALIKE
from tint.recipes.sets import best_of_sets
from tint.target import Target, target_from_srgb

Array = NDArray[np.float64]

MOST = 3
POPULATION, GENERATIONS = 30, 130
SIFTED = 25  # the generation after which sets are given up that are not near
NEAR = 1.0  # CIEDE2000 beyond the limit, with what else is broken
LOST = 0.0005  # of contrast ratio, shown as the same in three digits
PRICES = (12.0, 95.0, 30.0, 150.0, 48.0, 64.0, 22.0, 80.0)  # of the pigments, in their order
BASES = (18.0, 25.0)  # of the bases

DUST = 5e-4  # percent: half a milligram in 100 g


@dataclass(frozen=True, kw_only=True)
class Least:
    """One target, its first recipe, the least that brute force finds, and the recipe poured.

    Parameters
    ----------
    first, alike, within : float
        Pigment of the first recipe, the least alike, and the least within the tolerance [%].
    colour, poured : float
        CIEDE2000 of the worst wall as told, and exactly as poured.
    kept : float
        Contrast ratio as poured less the least asked for, of the worst wall [-].
    ranked : tuple of float
        Pigment of the recipe ranked by loading over the least within the tolerance; likewise its price.
    """

    seed: int
    kind: str
    walls: int
    first: float
    alike: float
    within: float
    colour: float
    poured: float
    kept: float
    ranked: tuple[float, float] = (np.nan, np.nan)

    @property
    def over(self) -> float:
        """The first recipe over the least alike; what no workshop weighs counts as what it can."""
        return max(self.first, DUST) / max(self.alike, DUST)

    @property
    def over_within(self) -> float:
        """The same over the least within the tolerance."""
        return max(self.first, DUST) / max(self.within, DUST)


def priced(palette: Palette) -> Palette:
    """The same workshop with prices."""
    pigments = {n: replace(p, price=PRICES[at % 8]) for at, (n, p) in enumerate(palette.pigments.items())}
    bases = {n: replace(b, price=BASES[at]) for at, (n, b) in enumerate(palette.bases.items())}
    return replace(palette, pigments=pigments, bases=bases)


def prices(palette: Palette) -> Array:
    """Of the pigments, per kilogram."""
    return np.array([each.price for each in palette.pigments.values()])


def brute(
    palette: Palette, problem: Problem, base: str, price: Array | None, base_price: float, first: Array, most: float
) -> float:
    """The least pigment [%], or price, of any set within `most` CIEDE2000 and the opacity asked for; else infinite.

    Differential evolution (Storn and Price 1997), a population for every set, all sets side by side; what breaks a
    limit loses to what breaks it less, and to all that keeps it (Deb 2000). Sets of fewer pigments are sets of three
    with a dose of nothing.
    """
    bounds, worth = limits.bounds(palette, base, Rules()), np.ones(len(palette.pigments)) if price is None else price
    usable, _ = limits.usable_pigments(palette, base, Rules())
    sets = np.array(list(itertools.combinations(usable, min(MOST, len(usable)))))
    rng = np.random.default_rng(5)
    every = np.repeat(sets, POPULATION, axis=0)
    high = bounds.largest[every]
    x = high * 10.0 ** rng.uniform(-3.0, 0.0, every.shape)
    x[::POPULATION] = first[sets]  # tint's own answer, as far as the set holds it, is one of the crowd

    def cost(x: Array) -> tuple[Array, Array]:
        judged = judge(problem, every, x)
        over = np.maximum(judged.colour.max(axis=1) - most, 0.0) + np.maximum(x.sum(axis=1) - bounds.total, 0.0)
        over = over + 100.0 * np.maximum(np.abs(judged.opacity).max(axis=1, initial=0.0) - LOST, 0.0)
        return np.sum((worth[every] - base_price) * x, axis=1), over

    value, over = cost(x)
    for generation in range(GENERATIONS):
        if generation == SIFTED:
            near = over.reshape(len(sets), POPULATION).min(axis=1) <= NEAR
            if not near.any():
                return np.inf
            rows, sets = np.repeat(near, POPULATION), sets[near]
            every, x, value, over, high = (each[rows] for each in (every, x, value, over, high))
        trial = _trial(x, len(sets), rng, high)
        new_value, new_over = cost(trial)
        better = np.where((over <= 0.0) & (new_over <= 0.0), new_value < value, new_over < over)
        x = np.where(better[:, None], trial, x)
        value, over = np.where(better, new_value, value), np.where(better, new_over, over)
    least = float(np.min(value, where=over <= 1e-9, initial=np.inf))
    return least if price is None else base_price * 100.0 + least


def _trial(x: Array, n_sets: int, rng: np.random.Generator, high: Array) -> Array:
    """Each one moved by the difference of two others, half towards the best third of its own crowd by chance."""
    crowd = x.reshape(n_sets, POPULATION, -1)
    pick = np.stack([rng.permuted(np.tile(np.arange(POPULATION), (n_sets, 1)), axis=1) for _ in range(3)])
    one, two, three = (np.take_along_axis(crowd, at[..., None], axis=1) for at in pick)
    scale = rng.uniform(0.3, 0.9, (n_sets, POPULATION, 1))
    moved = np.where(rng.random((n_sets, POPULATION, 1)) < 0.5, one, crowd) + scale * (two - three)
    crossed = np.where(rng.random(moved.shape) < 0.9, moved, crowd).reshape(x.shape)
    # What leaves the bounds returns half way to them from where it was.
    crossed = np.where(crossed < 0.0, np.where(x < 1e-4 * high, 0.0, 0.5 * x), crossed)
    return np.minimum(crossed, high)


def judged_workshop(job: tuple[int, int, int, bool]) -> list[Least]:
    """Ask one workshop, and search all it could answer."""
    seed, each, screen, ranked = job
    poured = bench.pour(seed)
    palette = priced(fitted(poured))
    rng = np.random.default_rng([seed, 17])
    result: list[Least] = []
    for kind, target, setting, more in _castings(poured, palette, each, rng):
        answer = solve(palette, target, setting=setting, rules=Rules(most_pigments=MOST, walls_mm=more))
        if answer.best.reached:
            result.append(_least(poured, palette, kind, answer, ranked=ranked))
    for _ in range(screen):
        setting, target = _screen(poured, palette, rng)
        answer = solve(palette, target, setting=setting, rules=Rules(most_pigments=MOST), loosen=False)
        if answer.best.reached:
            result.append(_least(poured, palette, "hex", answer))
    return result


def _screen(poured: bench.Poured, palette: Palette, rng: np.random.Generator) -> tuple[Setting, Target]:
    """A screen colour near that of a casting, solid."""
    depths = sorted(depth for seen in palette.seen.values() for depth in seen.thickness_mm)
    setting = Setting(thickness_mm=float(rng.choice(depths)), geometry="de:8")
    view = setting.viewing(palette)
    solid = [each for each in poured.samples if each.kind != "see-through"]
    sample = solid[int(rng.integers(len(solid)))]
    white = sample.ordered.white - _gloss(poured.workshop.index[sample.base])
    lab = colorimetry.lab(white, view) + rng.normal(0.0, (3.0, 2.0, 2.0))
    code = colorimetry.hex_code(colorimetry.lab_to_srgb(lab, view)[0])
    return setting, target_from_srgb(code, view, tolerance=0.5, contrast_ratio_min=0.98)


def _castings(
    poured: bench.Poured, palette: Palette, count: int, rng: np.random.Generator
) -> Iterator[tuple[str, Target, Setting, tuple[float, ...]]]:
    """Colours of castings, each with its further walls."""
    view = colorimetry.viewing(palette.wavelengths)
    depths = [depth for seen in palette.seen.values() for depth in seen.thickness_mm]
    for number, at in enumerate(rng.choice(len(poured.samples), min(count, len(poured.samples)), replace=False)):
        sample = poured.samples[at]
        ratio = sample.ordered.contrast_ratio
        least = 0.98 if sample.kind == "opaque" else max(ratio - 0.02, 0.01)
        target = Target(lab=colorimetry.lab(sample.ordered.white, view), tolerance=0.5, contrast_ratio_min=least)
        setting = Setting(thickness_mm=float(np.clip(sample.thickness, min(depths), max(depths))))
        yield sample.kind, target, setting, (2.0 * setting.thickness_mm,) * (sample.kind == "opaque" and number % 2)


def _least(poured: bench.Poured, palette: Palette, kind: str, answer: Answer, *, ranked: bool = False) -> Least:
    target, setting, rules, best = answer.target, answer.setting, answer.rules, answer.best
    looks = [wall.appearance for wall in best.walls] or [best.appearance]
    # As much room to the bound as the first recipe's own error asks for, unless it has less itself.
    room = certainty.of_depth("contrast_ratio", *certainty.predicted(best.appearance, "contrast_ratio"))
    safe, _ = drawn_in(target, "contrast_ratio", np.array([room]))
    room = min(float(safe[0]), *(look.contrast_ratio for look in looks))
    asked = replace(target, contrast_ratio_min=max(room, float(target.contrast_ratio_min or 0.0)))
    start = palette.loadings(best.blend)
    problems = {
        base: lay_out(
            palette, asked, setting=setting, base=base, largest=limits.bounds(palette, base, Rules()).largest[:-1],
            walls_mm=rules.walls_mm,
        )
        for base in palette.seen
    }  # fmt: skip
    nearest = min(_nearest(palette, base, problem) for base, problem in problems.items())
    most = max(min(nearest + ALIKE, target.tolerance), best.delta_e)
    alike = within = price = np.inf
    for number, (base, problem) in enumerate(problems.items()):
        alike = min(alike, brute(palette, problem, base, None, 0.0, start, most))
        within = min(within, brute(palette, problem, base, None, 0.0, start, target.tolerance))
        if ranked:
            cost = brute(palette, problem, base, prices(palette), BASES[number], start, target.tolerance)
            price = min(price, cost / 100.0)
    of_rank = [solve(palette, target, setting=setting, rules=replace(rules, rank_by=by)).best
               for by in ("loading", "price") if ranked]  # fmt: skip
    view = setting.viewing(palette)
    off, kept = [], []
    for wall in (setting.thickness_mm, *rules.walls_mm):
        black, white = pour(poured.workshop, best.blend, wall, None)
        gloss = _gloss(poured.workshop.index[best.blend.base]) if setting.geometry == "de:8" else 0.0
        off.append(float(colorimetry.difference(target.lab, colorimetry.lab(white - gloss, view))))
        kept.append(float(colorimetry.contrast_ratio(black - gloss, white - gloss, view)))
    return Least(
        seed=poured.workshop.seed, kind=kind, walls=1 + len(rules.walls_mm), first=float(start.sum()), alike=alike,
        within=within, colour=best.delta_e, poured=max(off), kept=min(kept) - float(target.contrast_ratio_min or 0.0),
        ranked=(of_rank[0].blend.total / within, _price(palette, of_rank[1]) / price) if ranked else (np.nan, np.nan),
    )  # fmt: skip


def _nearest(palette: Palette, base: str, problem: Problem) -> float:
    """The least CIEDE2000 of all sets that have the opacity."""
    bounds, usable = limits.bounds(palette, base, Rules()), limits.usable_pigments(palette, base, Rules())[0]
    found = best_of_sets(problem, usable=usable, keep=(), most=MOST, bounds=bounds)
    seen = judge(problem, found.sets, found.loadings)
    good = np.abs(seen.opacity).max(axis=1, initial=0.0) <= LOST
    return float(np.min(seen.colour.max(axis=1), where=good, initial=np.inf))


def _gloss(index: float) -> float:
    """What a face throws back of light at 8 degrees (Fresnel); a solid part shows no other gloss."""
    cos, inside = np.cos(np.radians(8.0)), np.sqrt(1.0 - (np.sin(np.radians(8.0)) / index) ** 2)
    across, along = (cos - index * inside) / (cos + index * inside), (index * cos - inside) / (index * cos + inside)
    return float(0.5 * (across**2 + along**2))


def _price(palette: Palette, recipe: Recipe) -> float:
    """Of a kilogram, base and all."""
    loadings = palette.loadings(recipe.blend)
    of_base = BASES[list(palette.seen).index(recipe.blend.base)] * (100.0 - loadings.sum())
    return float(prices(palette) @ loadings + of_base) / 100.0


def report(found: list[Least]) -> None:
    """Ratios of the first recipe to the least, and what was poured, by kind."""
    print(f"\n{len(found)} targets within reach; pigment of the first recipe over the least that brute force finds")
    print(f"{'':14s} {'n':>4s} {'median':>7s} {'95 %':>6s} {'worst':>6s} {'below':>5s} {'told':>6s} {'poured':>7s}"
          f" {'95 %':>6s} {'kept':>6s}   over the least within the tolerance: median, worst")  # fmt: skip
    groups = {
        "castings": [each for each in found if each.kind != "hex"],
        **{kind: [each for each in found if each.kind == kind] for kind in (*bench.KINDS, "hex")},
        "two walls": [each for each in found if each.walls == 2],
    }
    for name, these in groups.items():
        if these:
            ratio, off = np.array([e.over for e in these]), np.array([e.poured for e in these])
            within = np.array([e.over_within for e in these])
            print(f"{name:14s} {len(these):4d} {np.median(ratio):7.3f} {np.quantile(ratio, 0.95):6.3f}"
                  f" {ratio.max():6.3f} {np.sum(ratio < 0.99):5d} {np.mean([e.colour for e in these]):6.3f}"
                  f" {off.mean():7.3f} {np.quantile(off, 0.95):6.3f}"
                  f" {100.0 * np.mean([e.kept >= 0.0 for e in these]):5.1f}%"
                  f"   {np.median(within):7.3f} {within.max():6.3f}")  # fmt: skip
    for place, name in enumerate(("by loading", "by price")):
        ratio = np.array([e.ranked[place] for e in found if np.isfinite(e.ranked[place])])
        if ratio.size:
            print(f"ranked {name}: over the least within the tolerance {np.median(ratio):.3f}, worst {ratio.max():.3f}")
    for each in sorted(found, key=lambda e: -e.over_within)[:6]:
        print("worst:", each)


def main() -> None:
    parser = parser_of(__doc__)
    parser.add_argument("--each", type=int, default=4, help="castings a workshop")
    parser.add_argument("--hex", type=int, default=0, help="screen colours a workshop")
    parser.add_argument("--ranked", action="store_true", help="also by price and by loading")
    args = parser.parse_args()
    jobs = [(seed, args.each, args.hex, args.ranked) for seed in args.seeds]
    found: list[Least] = []
    for some in judged(judged_workshop, jobs, args.jobs):
        found += some
        told = (f"{each.kind[:3]} {each.over:.2f} {each.over_within:.2f} {each.poured:.2f}" for each in some)
        print(f"{len(found)} targets:", *told, sep="  ", flush=True)
    report(found)


if __name__ == "__main__":
    main()
