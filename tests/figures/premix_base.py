"""Premixes on three scales: how much base they take, and whether every dose can be weighed.

    python tests/figures/premix_base.py

Batches of 50 to 1000 g with one to four doses from 0.0005 % to 2 %, as colours of the demo need them; to 1 % of a dose.
"""

from __future__ import annotations

import numpy as np

from tint.weighing import Scale
from tint.weighing.premix import premixes

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


if __name__ == "__main__":
    main()
