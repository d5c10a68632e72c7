"""Random orders, reachable or absurd: whether any fails with other than a line, or says what is not finite.

    python tests/figures/random_orders.py SEED COUNT

On the demo's palette: any colour, opacity, wall, base and rules through `solve`, then `weigh` on a random scale,
`adjust` by a trial that reads as predicted or otherwise, and the answer's and the sheet's JSON. Counted: answers,
refusals in one line, failures (anything else that is raised), numbers that are not finite where one is promised, and
recipes told as met that miss what was asked by their own figures.
"""

from __future__ import annotations

import collections
import sys
import traceback
import warnings
from pathlib import Path
from typing import Any

import numpy as np

import tint
from tint.trials import Trial, TrialReading

ROOT = Path(__file__).resolve().parents[2]
WORDS = ("solid", "milky", "see-through", "glows", "clear", "any")


def order(palette: tint.Palette, rng: np.random.Generator) -> dict[str, Any]:
    """What is asked of `solve`."""
    names = list(palette.pigments)
    asked: dict[str, Any] = {"opacity": str(rng.choice(WORDS))}
    if rng.random() < 0.3:
        low = float(rng.uniform(0.05, 1.0))
        asked["opacity"] = [low, float(rng.uniform(low, 1.0))] if rng.random() < 0.5 else low
    kind = rng.random()
    if kind < 0.4:
        asked["lab"] = (rng.uniform(0, 100), rng.normal(0, 35), rng.normal(0, 35))
    elif kind < 0.7:
        asked["srgb"] = f"#{int(rng.integers(1 << 24)):06x}"
    else:
        doses = {str(name): float(10 ** rng.uniform(-4, 0)) for name in rng.choice(names, int(rng.integers(0, 4)))}
        look = tint.predict(palette, tint.Blend(str(rng.choice(list(palette.bases))), doses), thickness_mm=2.0)
        asked["lab"] = tuple(look.lab)
    if rng.random() < 0.5:
        asked["base"] = str(rng.choice(list(palette.bases)))
    walls = [float(10 ** rng.uniform(-1, 1.7)) for _ in range(int(rng.integers(1, 4)))]
    asked |= {"walls_mm": walls} if rng.random() < 0.3 else {"thickness_mm": walls[0]}
    rules: dict[str, Any] = {"most_pigments": int(rng.integers(1, 5))}
    if rng.random() < 0.2:
        rules["leave_out"] = [str(name) for name in rng.choice(names, 5, replace=False)]
    if rng.random() < 0.15:
        rules["fixed"] = {str(rng.choice(names)): float(rng.uniform(0, 2))}
    if rng.random() < 0.3:
        rules |= {"batch_g": float(10 ** rng.uniform(0, 4)), "scale_step_g": float(rng.choice([0.001, 0.01, 0.1, 1.0]))}
    if rng.random() < 0.2:
        rules["rank_by"] = str(rng.choice(["closeness", "price", "loading", "chance"]))
    if rng.random() < 0.15:
        rules["smallest"] = float(10 ** rng.uniform(-4, 0))
    return asked | {"rules": tint.Rules(**rules), "tolerance": float(10 ** rng.uniform(-1, 0.7))}


def run(palette: tint.Palette, asked: dict[str, Any], rng: np.random.Generator) -> list[str]:
    """What was wrong with one order."""
    answer = tint.solve(palette, **asked)
    wrong = []
    for each in answer.recipes:
        look = each.appearance
        if not np.all(np.isfinite([each.delta_e, look.expected_error, each.chance, look.contrast_ratio])):
            wrong.append("not finite")
        if not 0.0 <= each.chance <= 1.0 or not each.why:
            wrong.append("no chance or reason")
        worst = max([each.delta_e, *(wall.delta_e for wall in each.walls)])
        if each.reached and (worst > answer.target.tolerance + 1e-9 or abs(each.opacity_miss) > 0.0051):
            wrong.append("met that is not met")
    answer.to_json()
    sheet = tint.weigh(
        palette,
        answer.best,
        batch_g=float(10 ** rng.uniform(0.5, 3.5)),
        scale_step_g=float(rng.choice([0.001, 0.01, 0.1])),
    )
    sheet.to_json()
    if rng.random() < 0.3 and answer.best.blend.loadings:
        look = answer.best.appearance
        read = np.clip(look.reflectance * rng.uniform(0.8, 1.2) + rng.normal(0, 0.02), 0.001, 0.99)
        trial = Trial(
            blend=answer.best.blend,
            thickness_mm=look.setting.thickness_mm,
            readings=(TrialReading(values=read, over="white"),),
        )
        tint.adjust(palette, answer, trial)
    return wrong


def main() -> None:
    """Count and print; the first failures in full."""
    seed, count = int(sys.argv[1]), int(sys.argv[2])
    palette = tint.load(ROOT / "swatches_demo")
    told: collections.Counter[str] = collections.Counter()
    warnings.simplefilter("error")
    for number in range(count):
        rng = np.random.default_rng([seed, number])
        try:
            asked = order(palette, rng)
            wrong = run(palette, asked, rng)
            told[wrong[0] if wrong else "answered"] += 1
            if wrong:
                print(number, wrong, asked)
        except tint.TintError as error:
            told["refused in a line"] += 1
            if told["refused in a line"] <= 5:
                print(number, error)
        except Exception:  # whatever else is raised is what is looked for
            told["FAILED"] += 1
            if told["FAILED"] <= 5:
                print(number, asked)
                traceback.print_exc()
    print(dict(told))


if __name__ == "__main__":
    main()
