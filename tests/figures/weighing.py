"""Weigh sheets: is the rounding the best there is, is no mass lost, is the mixing ratio kept.

    python tests/figures/weighing.py

30 recipes of one to four pigments in either base of the demo folder, in batches of 15 to 400 g on a scale of 0.01 or
0.1 g, each weighed plainly and with premixes. What a sheet says is booked again here, line by line, from nothing but
the sheet. Roundings are judged by trying all weights within two steps of the exact ones, doses and parts alike. The
palette is the demo folder's, many-flux. Nothing is tuned to what stands here.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.appearance import Setting, render
from tint.fitting import fit_palette
from tint.materials import Blend
from tint.palette import Palette
from tint.swatches import read_folder
from tint.weighing import WeighSheet, weigh

Array = NDArray[np.float64]

ROOT = Path(__file__).resolve().parents[2]
SEED, RECIPES = 12, 30
SETTING = Setting(thickness_mm=3.0)
AS_GOOD = 0.1  # % by which the mixing ratio of a rounding may be worse than the best


@dataclass(frozen=True)
class Judged:
    """One sheet: CIEDE2000 from the exact recipe, and what its booking leaves over."""

    nearest: float
    chosen: float
    best: float
    best_kept: float
    lost_g: float
    ratio_before: float
    ratio_after: float
    in_steps: float
    premixes: int


def recipes(palette: Palette) -> list[tuple[Blend, float, float]]:
    """Blends with their batch [g] and scale step [g]."""
    rng, drawn = np.random.default_rng(SEED), []
    for _ in range(RECIPES):
        base = str(rng.choice(list(palette.bases)))
        names = rng.choice(list(palette.seen[base].max_loading), size=rng.integers(1, 5), replace=False)
        most = palette.bases[base].max_loading / 4.0
        doses = {str(name): float(10.0 ** rng.uniform(-2.3, np.log10(most))) for name in names}
        drawn.append((Blend(base, doses), float(10.0 ** rng.uniform(1.2, 2.6)), float(rng.choice([0.01, 0.1]))))
    return drawn


def contents(palette: Palette, sheet: WeighSheet, grams: Array) -> tuple[Array, Array]:
    """Pigments, shape (..., n_pigments), and parts of the base, shape (..., n_parts), in weights of the lines [g]."""
    parts, strength = list(palette.bases[sheet.blend.base].mix), {each.name: each.whole for each in sheet.premixes}
    pigments = np.zeros((*grams.shape[:-1], len(palette.pigments)))
    base = np.zeros((*grams.shape[:-1], len(parts)))
    for at, line in enumerate(sheet.lines):
        held = grams[..., at] / strength.get(line.what, 1) if line.pigment else 0.0
        if line.pigment:
            pigments[..., list(palette.pigments).index(line.pigment)] += held
        base[..., parts.index(line.part)] += grams[..., at] - held
    return pigments, base


def ratio_error(palette: Palette, sheet: WeighSheet, grams: Array) -> Array:
    """Largest relative error of a part [%]."""
    mix = np.array(list(palette.bases[sheet.blend.base].mix.values()))
    base = contents(palette, sheet, grams)[1]
    share = base / np.maximum(base.sum(axis=-1, keepdims=True), 1e-12)
    error: Array = 100.0 * np.max(np.abs(share / (mix / mix.sum()) - 1.0), axis=-1)
    return error


def missed(palette: Palette, sheet: WeighSheet, grams: Array) -> Array:
    """CIEDE2000 of weights, shape (n, n_lines) [g], from the exact recipe."""
    loadings = 100.0 * contents(palette, sheet, grams)[0] / grams.sum(axis=1, keepdims=True)
    both = np.vstack((palette.loadings(sheet.blend)[None], loadings))
    view, base = SETTING.viewing(palette), sheet.blend.base
    shares = palette.shares(base, both)
    seen = render(palette, shares, base=base, setting=SETTING, backings=(palette.white,)).reflectance[0]
    labs = colorimetry.lab(seen, view)
    return colorimetry.difference(labs[0], labs[1:])


def judge(palette: Palette, blend: Blend, batch_g: float, step: float, *, premix: bool) -> Judged:
    sheet = weigh(palette, blend, setting=SETTING, batch_g=batch_g, scale_step_g=step, premix=premix)
    exact = np.array([line.exact_grams for line in sheet.lines])
    shown = np.array([line.grams for line in sheet.lines])
    around = [np.arange(np.ceil(x / step - 2.0), np.floor(x / step + 2.0) + 1.0) * step for x in exact]
    tried = np.array(list(itertools.product(*(each[each >= 0.0] for each in around))))
    costs, errors = missed(palette, sheet, tried), ratio_error(palette, sheet, tried)
    kept = errors <= max(errors.min() + AS_GOOD, float(ratio_error(palette, sheet, shown))) + 1e-9
    meant = np.array([blend.loadings.get(name, 0.0) for name in palette.pigments]) * sheet.batch_g / 100.0
    lost = max(abs(exact.sum() - sheet.batch_g), np.max(np.abs(contents(palette, sheet, exact)[0] - meant)))
    base = contents(palette, sheet, shown)[1]
    mix = np.array(list(palette.bases[blend.base].mix.values()))
    off = np.abs(base - base.sum() * mix / mix.sum()).max()
    nearest = np.maximum(np.rint(exact / step) * step, 0.0)
    return Judged(
        nearest=float(missed(palette, sheet, nearest[None])[0]),
        chosen=float(missed(palette, sheet, shown[None])[0]),
        best=float(costs.min()),
        best_kept=float(costs[kept].min()),
        lost_g=float(lost),
        ratio_before=float(ratio_error(palette, sheet, exact)),
        ratio_after=float(ratio_error(palette, sheet, shown)),
        in_steps=float(off / step),
        premixes=len(sheet.premixes),
    )


def main() -> None:
    palette = fit_palette(read_folder(ROOT / "swatches_demo"), optics="many-flux")
    print(__doc__.split("\n\n")[0])
    for premix in (False, True):
        told = [judge(palette, *recipe, premix=premix) for recipe in recipes(palette)]
        print(f"\n{len(told)} recipes, {sum(each.premixes for each in told) or 'no'} premixes")
        print(f"{'CIEDE2000 from the exact recipe':<44} {'median':>9} {'mean':>9} {'largest':>9}")
        rows = {
            "nearest step": [each.nearest for each in told],
            "as the sheet rounds": [each.chosen for each in told],
            "best within 2 steps, ratio as good": [each.best_kept for each in told],
            "best within 2 steps, whatever the ratio": [each.best for each in told],
            "sheet beyond the best, ratio as good": [each.chosen - each.best_kept for each in told],
        }
        for name, values in rows.items():
            print(f"{name:<44} {np.median(values):9.4f} {np.mean(values):9.4f} {np.max(values):9.4f}")
        print(f"mass lost before rounding, largest                {max(each.lost_g for each in told):.1e} g")
        print(f"mixing ratio off before rounding, largest         {max(each.ratio_before for each in told):.1e} %")
        print(f"mixing ratio off as rounded, median               {np.median([e.ratio_after for e in told]):.4f} %")
        print(f"mixing ratio off as rounded, largest              {max(each.ratio_after for each in told):.4f} %")
        print(f"a part off its ratio as rounded, largest          {max(each.in_steps for each in told):.2f} steps")


if __name__ == "__main__":
    main()
