"""The first recipe against brute force: is there one of the same look with less pigment, or for less money.

    python tests/figures/least_pigment.py 1000:1020 [--each 4] [--jobs 2] [--walls]

Colours of castings of random workshops (random_workshops.py), solid and not, for one wall and with --walls for two.
Brute force is differential evolution on every set of up to three pigments in every base: the least pigment whose
colour and opacity stay within given limits. It shares the predicted look with tint, and no line of its search.

Two limits are shown. `alike`: no farther from the target than the nearest recipe there is, by what no eye tells; that
is what tint promises. `tolerance`: anywhere within the order's own tolerance.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import random_workshops as bench
from numpy.typing import NDArray
from recipes_poured import fitted
from seeds import judged, parser_of

from tint import colorimetry
from tint.appearance import Setting
from tint.palette import Palette
from tint.recipes import Recipe, Rules, limits, solve
from tint.recipes.aims import Problem, judge, lay_out
from tint.recipes.sparing import ALIKE
from tint.target import Target

Array = NDArray[np.float64]

MOST = 3
POPULATION, GENERATIONS = 30, 130
LOST = 0.0005  # of contrast ratio, shown as the same in three digits
PRICES = (12.0, 95.0, 30.0, 150.0, 48.0, 64.0, 22.0, 80.0)  # of the pigments, in their order
BASES = (18.0, 25.0)  # of the bases


@dataclass(frozen=True, kw_only=True)
class Least:
    """Pigment [%] of the first recipe, and the least that brute force finds, alike and within the tolerance."""

    seed: int
    kind: str
    first: float
    alike: float
    within: float
    colour: float
    nearest: float
    thrifty: float
    cheapest: float
    least_price: float


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
    for _ in range(GENERATIONS):
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


def judged_workshop(job: tuple[int, int, bool]) -> list[Least]:
    """Ask one workshop, and search all it could answer."""
    seed, each, walls = job
    poured = bench.pour(seed)
    palette = priced(fitted(poured))
    view = colorimetry.viewing(palette.wavelengths)
    rng = np.random.default_rng([seed, 17])
    depths = [depth for seen in palette.seen.values() for depth in seen.thickness_mm]
    result: list[Least] = []
    for at in rng.choice(len(poured.samples), min(each, len(poured.samples)), replace=False):
        sample = poured.samples[at]
        ratio = sample.ordered.contrast_ratio
        least = 0.98 if sample.kind == "opaque" else max(ratio - 0.02, 0.01)
        target = Target(lab=colorimetry.lab(sample.ordered.white, view), tolerance=0.5, contrast_ratio_min=least)
        setting = Setting(thickness_mm=float(np.clip(sample.thickness, min(depths), max(depths))))
        more = (2.0 * setting.thickness_mm,) if walls and sample.kind == "opaque" else ()
        result += _least(palette, seed, sample.kind, target, setting, more)
    return result


def _least(
    palette: Palette, seed: int, kind: str, target: Target, setting: Setting, more: tuple[float, ...]
) -> Iterator[Least]:
    rules = Rules(most_pigments=MOST, walls_mm=more)
    answer = solve(palette, target, setting=setting, rules=rules)
    first = answer.best
    cheapest = solve(palette, target, setting=setting, rules=replace(rules, rank_by="price")).best
    thrifty = solve(palette, target, setting=setting, rules=replace(rules, rank_by="loading")).best
    if not first.reached:
        return
    nearest = min(recipe.delta_e for recipe in answer.recipes if recipe.reached)
    most = min(nearest + ALIKE, max(target.tolerance, ALIKE))
    alike = within = price = np.inf
    start = palette.loadings(first.blend)
    for number, base in enumerate(palette.seen):
        bounds = limits.bounds(palette, base, Rules())
        problem = lay_out(palette, target, setting=setting, base=base, largest=bounds.largest[:-1], walls_mm=more)
        alike = min(alike, brute(palette, problem, base, None, 0.0, start, most))
        within = min(within, brute(palette, problem, base, None, 0.0, start, target.tolerance))
        cost = brute(palette, problem, base, prices(palette), BASES[number], start, target.tolerance)
        price = min(price, cost / 100.0)
    yield Least(
        seed=seed, kind=kind, first=float(start.sum()), alike=alike, within=within, colour=first.delta_e,
        nearest=nearest, thrifty=thrifty.blend.total, cheapest=_price(palette, cheapest), least_price=price,
    )  # fmt: skip


def _price(palette: Palette, recipe: Recipe) -> float:
    """Of a kilogram, base and all."""
    loadings = palette.loadings(recipe.blend)
    of_base = BASES[list(palette.seen).index(recipe.blend.base)] * (100.0 - loadings.sum())
    return float(prices(palette) @ loadings + of_base) / 100.0


def report(found: list[Least]) -> None:
    """One table: ratios of the first recipe to the least."""
    print(f"\n{len(found)} targets within reach; ratio of the first recipe to the least that brute force finds")
    print(f"{'':28s} {'median':>7s} {'95 %':>7s} {'worst':>7s} {'less than brute force':>22s}")
    for name, own, other in (
        ("pigment, alike", "first", "alike"),
        ("pigment, in tolerance", "first", "within"),
        ("ranked by loading", "thrifty", "within"),
        ("price, ranked by price", "cheapest", "least_price"),
    ):
        ratio = np.array([getattr(each, own) / getattr(each, other) for each in found])
        print(f"{name:28s} {np.median(ratio):7.3f} {np.quantile(ratio, 0.95):7.3f} {ratio.max():7.3f}"
              f" {np.sum(ratio < 0.99):22d}")  # fmt: skip
    for each in sorted(found, key=lambda e: -e.first / e.alike)[:5]:
        print("worst:", each)


def main() -> None:
    parser = parser_of(__doc__)
    parser.add_argument("--each", type=int, default=4, help="targets a workshop")
    parser.add_argument("--walls", action="store_true", help="solid targets for two walls")
    args = parser.parse_args()
    jobs = [(seed, args.each, args.walls) for seed in args.seeds]
    found: list[Least] = []
    for some in judged(judged_workshop, jobs, args.jobs):
        found += some
        print(f"{len(found)} targets, ratios", *(f"{each.first / each.alike:.2f}" for each in some), flush=True)
    report(found)


if __name__ == "__main__":
    main()
