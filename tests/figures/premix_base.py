"""Premixes on three scales: how much base they take, and whether every dose can be weighed.

    python tests/figures/premix_base.py

Batches of 50 to 1000 g with one to four doses from 0.0005 % to 2 %, as colours of the demo need them; to 1 % of a dose.
"""

from __future__ import annotations

from functools import partial

import numpy as np

from tint.weighing import Kept, Scale
from tint.weighing.premix import premixes
from tint.weighing.rounding import spent_g

BATCHES = 400


def main() -> None:
    print(f"{'scale':>8s} {'doses':>6s} {'too small alone':>16s} {'weighable':>10s} {'base, mean':>11s} {'median':>8s}"
          f" {'steps':>6s} {'left over':>10s}")  # fmt: skip
    for step in (0.001, 0.01, 0.1):
        rng, scale = np.random.default_rng(7), Scale(step_g=step)
        base, left, steps, small, able, doses_in_all = [], [], 0, 0, 0, 0
        for _ in range(BATCHES):
            batch = 10.0 ** rng.uniform(np.log10(50.0), 3.0)
            loadings = 10.0 ** rng.uniform(np.log10(5e-4), np.log10(2.0), int(rng.integers(1, 5)))
            doses = {f"p{at}": float(batch * x / 100.0) for at, x in enumerate(loadings)}
            made = premixes(doses, scale=scale, part="A", base_g=batch / 2.0, lots={})
            alone = [name for name, grams in doses.items() if grams < scale.smallest_g * (1.0 - 1e-9)]
            small, able = small + len(alone), able + sum(name in made for name in alone)
            doses_in_all += len(doses)
            steps += sum(len(each.steps) for each in made.values())
            base.append(sum(step.base_g for each in made.values() for step in each.steps))
            left.append(sum(each.left_g for each in made.values()))
        weighable = 100.0 * (doses_in_all - small + able) / doses_in_all
        print(f"{step:6g} g {doses_in_all:6d} {small:16d}"
              f" {weighable:9.1f}% {np.mean(base):9.1f} g {np.median(base):6.1f} g"
              f" {steps:6d} {np.mean(left):8.1f} g")  # fmt: skip
    print("\nDays of four batches of the same five pigments, what is left of premixes used for the next batch")
    for step in (0.001, 0.01, 0.1):
        apart, shared = zip(
            *(a_day(np.random.default_rng([11, day]), Scale(step_g=step)) for day in range(100)), strict=True
        )
        print(f"{step:6g} g  base a batch: {np.mean(apart):6.1f} g each made anew, {np.mean(shared):6.1f} g with it")


def a_day(rng: np.random.Generator, scale: Scale) -> tuple[float, float]:
    """The base that premixes take in a batch of a day's, each made anew and with what the batches before left [g]."""
    spent = [0.0, 0.0]
    kept: tuple[Kept, ...] = ()
    for _ in range(4):
        batch = 10.0 ** rng.uniform(np.log10(50.0), 3.0)
        names = rng.choice(5, int(rng.integers(1, 5)), replace=False)
        doses = {f"p{at}": float(batch * 10.0 ** rng.uniform(np.log10(5e-4), np.log10(2.0)) / 100.0) for at in names}
        make = partial(premixes, doses, scale=scale, part="A", base_g=batch / 2.0, lots={})
        alone, made = make(), make(kept=kept)
        spent[0] += spent_g(alone) / 4.0
        spent[1] += spent_g(made) / 4.0
        used = [each.kept for each in made.values()]
        kept = (
            *(each for each in kept if each not in used),
            *(x for each in made.values() for x in each.leftovers("b")),
        )
    return spent[0], spent[1]


if __name__ == "__main__":
    main()
