"""Correction on a bench whose lots have changed: CIEDE2000 before, after one trial, after two.

    python tests/figures/correction.py [--orders 40] [--seed 3]

The palette is fitted to the demo folder. Then the strength of every pigment changes by up to 25 %, the haze of the
base by up to 30 %, and the thickness of each trial is read wrong by up to 0.1 mm. Targets are held-out castings of the
old lots, their colour over white and their contrast ratio. Each recipe is poured on the bench with the errors of the
studio, read, corrected and poured again; what a recipe is worth is judged by an exact pour of it. At last, orders whose
first pour was perfect are adjusted: they are to be left alone.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import bench
import numpy as np
import pour
import stock
from numpy.typing import NDArray

from tint import colorimetry
from tint.appearance import Setting
from tint.fitting import fit_palette
from tint.materials import Blend
from tint.palette import Palette
from tint.recipes import Rules, solve
from tint.swatches import read_folder
from tint.target import Target
from tint.trials import Doubts, Trial, TrialReading, adjust

Array = NDArray[np.float64]


class Lots:
    """New lots: strengths of pigments and haze of bases, as factors."""

    def __init__(self, palette: Palette, rng: np.random.Generator, *, changed: bool = True) -> None:
        spread = 1.0 if changed else 0.0
        self.strength = {name: 1.0 + spread * rng.uniform(-0.25, 0.25) for name in palette.pigments}
        self.haze = {name: 1.0 + spread * rng.uniform(-0.3, 0.3) for name in palette.bases}

    def cast(self, blend: Blend, thickness: float, rng: np.random.Generator | None) -> pour.Casting:
        """Pour with these lots: exactly without a generator, else with the studio's errors in doses and readings."""
        doses = {name: x * self.strength[name] for name, x in blend.loadings.items()}
        own = stock.BASES[blend.base]
        stock.BASES[blend.base] = replace(own, scatter=own.scatter * self.haze[blend.base])
        try:
            return pour.pour(blend.base, doses, thickness, rng=rng, workshop=replace(pour.STUDIO, mould_mm=0.0))
        finally:
            stock.BASES[blend.base] = own


def trial_of(casting: pour.Casting, blend: Blend, thickness: float, rng: np.random.Generator, off: float) -> Trial:
    readings = (TrialReading(values=casting.black, over="black"), TrialReading(values=casting.white, over="white"))
    return Trial(blend=blend, thickness_mm=round(thickness + rng.uniform(-off, off), 2), readings=readings)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--orders", type=int, default=40)
    parser.add_argument("--seed", type=int, default=3)
    args = parser.parse_args()
    palette = fit_palette(read_folder(bench.DEMO))
    view = colorimetry.viewing(palette.wavelengths)
    rng = np.random.default_rng(args.seed)
    doubts = Doubts(thickness_mm=0.06)
    each = -(-args.orders // 3)
    samples = [s for kind in bench.KINDS for s in bench.held_out(kind, each, args.seed + 40)][: args.orders]
    away: list[list[float]] = []
    for sample in samples:
        lots = Lots(palette, rng)
        lab = colorimetry.lab(sample.white, view)
        target = Target(lab=lab, spectrum=sample.white, contrast_ratio=float(min(sample.contrast_ratio, 1.0)))
        setting = Setting(thickness_mm=sample.thickness)
        blend = solve(palette, target, setting=setting, base=sample.base).recipes[0].blend
        trials: list[Trial] = []
        row = []
        for _ in range(3):
            exact = lots.cast(blend, sample.thickness, None)
            row.append(float(colorimetry.difference(lab, colorimetry.lab(exact.white, view))))
            read = lots.cast(blend, sample.thickness, rng)
            trials.append(trial_of(read, blend, sample.thickness, rng, 0.1))
            done = adjust(palette, target, trials, setting=setting, doubts=doubts)
            if not done.leave:
                blend = done.answer.recipes[0].blend
        away.append(row)
    table = np.array(away)
    print(f"\n{len(table)} orders with changed lots; CIEDE2000 of an exact pour of the recipe to its target")
    print(f"{'':18s} {'mean':>6s} {'95 %':>6s} {'max':>6s}")
    for label, column in zip(("before", "after one trial", "after two"), table.T, strict=True):
        print(f"{label:18s} {column.mean():6.2f} {np.quantile(column, 0.95):6.2f} {column.max():6.2f}")
    left = 0
    perfect = [s for kind in bench.KINDS for s in bench.held_out(kind, 34, args.seed + 60)][:100]
    lots = Lots(palette, rng, changed=False)
    for sample in perfect:
        blend = Blend(sample.base, sample.loadings)
        target = Target(lab=colorimetry.lab(lots.cast(blend, sample.thickness, None).white, view))
        trial = trial_of(lots.cast(blend, sample.thickness, rng), blend, sample.thickness, rng, 0.05)
        kept = Rules(keep=tuple(sample.loadings), most_pigments=max(4, len(sample.loadings)))
        left += adjust(palette, target, [trial], setting=Setting(thickness_mm=sample.thickness), rules=kept).leave
    print(f"perfect first pours left alone: {left} of {len(perfect)}")


if __name__ == "__main__":
    main()
