"""Recipes of the demo workshop on three scales: can every dose be weighed, and what do weighing and premixes cost.

    python tests/figures/weighable.py

Random colours that the demo's pigments can make, solid, in batches of 50 to 1000 g. What is proposed first is weighed
as the sheet says: a dose counts as weighable where the sheet weighs it to the tolerance, alone or as a premix.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

import tint
from tint.appearance import Setting, predict
from tint.materials import Blend
from tint.recipes import Rules

DEMO = Path(__file__).resolve().parents[2] / "swatches_demo"
COLOURS, SEED = 12, 23


def main() -> None:
    palette = tint.load(DEMO)
    names = list(palette.seen["clear"].max_loading)
    print(f"{'scale':>8s} {'recipes':>8s} {'reached':>8s} {'doses':>6s} {'weighable':>10s} {'base, mean':>11s}"
          f" {'as weighed, mean':>17s} {'worst':>6s}")  # fmt: skip
    for step in (0.001, 0.01, 0.1):
        rng, doses, able, reached, base_g, off = np.random.default_rng(SEED), 0, 0, 0, [], []
        for _ in range(COLOURS):
            mixed = {str(n): float(10.0 ** rng.uniform(-2.5, -0.5)) for n in rng.choice(names, 2, replace=False)}
            wanted = predict(palette, Blend("clear", {"white": 0.6} | mixed), setting=Setting(thickness_mm=3.0)).lab
            batch = float(10.0 ** rng.uniform(np.log10(50.0), 3.0))
            rules = Rules(batch_g=batch, scale_step_g=step, most_pigments=3)
            answer = tint.solve(palette, lab=wanted, base="clear", thickness_mm=3.0, rules=rules)
            sheet = tint.weigh(palette, answer.best, batch_g=batch, waste_percent=0.0, scale_step_g=step)
            made = {premix.pigment for premix in sheet.premixes}
            lines = [line for line in sheet.lines if line.pigment]
            reached += answer.best.reached
            doses += len(answer.best.blend.loadings)
            able += sum(line.pigment in made or line.exact_grams >= sheet.scale.least_g for line in lines)
            base_g.append(sum(letdown.base_g for premix in sheet.premixes for letdown in premix.steps))
            off.append(sheet.delta_e)
        print(f"{step:6g} g {COLOURS:8d} {reached:8d} {doses:6d} {100.0 * able / doses:9.1f}%"
              f" {np.mean(base_g):9.1f} g {np.mean(off):17.3f} {np.max(off):6.3f}")  # fmt: skip


if __name__ == "__main__":
    main()
