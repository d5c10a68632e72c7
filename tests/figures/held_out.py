"""Prediction of castings that are in no folder: CIEDE2000 by kind of opacity, and whether the stated error holds.

    python tests/figures/held_out.py [--optics two-flux] [--count 40] [--lying]

The bench (bench.py) pours blends of the demo's pigments by radiative transfer that shares no code with tint. The first
table judges predictions against exact castings: what the model and the fit miss. The second judges the stated 95 %
radius against castings poured and read with the workshop's own errors, as a maker would meet them.
"""

from __future__ import annotations

import argparse
import tempfile
from dataclasses import replace
from pathlib import Path

import bench
import numpy as np
from numpy.typing import NDArray
from pour import STUDIO

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.fitting import fit_palette
from tint.materials import Blend
from tint.palette import Palette
from tint.swatches import read_folder

Array = NDArray[np.float64]

SEED = 20


def judge(palette: Palette, samples: list[bench.Sample], *, seat: str = "air") -> tuple[Array, Array, Array]:
    """CIEDE2000 over black and over white, the stated radius of each, and the misses in contrast ratio."""
    view = colorimetry.viewing(palette.wavelengths)
    away, stated, ratio = [], [], []
    for sample in samples:
        blend = Blend(sample.base, sample.loadings)
        for over, read in (("black", sample.black), ("white", sample.white)):
            said = predict(palette, blend, setting=Setting(thickness_mm=sample.thickness, over=over, seat=seat))
            away.append(float(colorimetry.difference(said.lab, colorimetry.lab(read, view))))
            stated.append(said.expected_error)
        ratio.append(said.contrast_ratio - float(colorimetry.contrast_ratio(sample.black, sample.white, view)))
    return np.array(away), np.array(stated), np.array(ratio)


def row(label: str, away: Array, extra: str = "") -> str:
    return f"{label:32s} {away.mean():6.2f} {np.quantile(away, 0.95):6.2f} {away.max():6.2f} {extra}"


def coverage(label: str, held: list[NDArray[np.bool_]], radii: list[Array]) -> str:
    holds, radius = np.concatenate(held), np.concatenate(radii)
    share = 100 * holds.mean()
    return f"stated 95 % radius, {label:12s}: median {np.median(radius):5.2f}, holds for {share:.1f} % of {holds.size}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--optics", action="append", choices=["two-flux", "many-flux"])
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--lying", action="store_true", help="a workshop whose errors are larger than it says")
    args = parser.parse_args()
    workshop = bench.LYING if args.lying else STUDIO
    exact = replace(bench.EXACT, index_offset=workshop.index_offset, back_lobe=workshop.back_lobe)
    with tempfile.TemporaryDirectory() as place:
        bench.pour_folder(Path(place), seed=args.seed, settings=workshop)
        folder = read_folder(place)
    for optics in args.optics or ["two-flux"]:
        palette = fit_palette(folder, optics=optics)
        residual = np.array([swatch.delta_e for swatch in palette.swatches])
        print(f"\n{optics}: {len(palette.swatches)} castings, model error {palette.model_error:.4f}")
        print(f"{'CIEDE2000, D65, 10 degrees':32s} {'mean':>6s} {'95 %':>6s} {'max':>6s}")
        print(row("fit residual, per swatch", residual[np.isfinite(residual)]))
        for seat in ("air", "wet"):
            everything = []
            for kind in bench.KINDS:
                samples = bench.held_out(kind, args.count, args.seed, workshop=exact, seat=seat)
                away, _, ratio = judge(palette, samples, seat=seat)
                everything.append(away)
                extra = f"contrast ratio off by {np.abs(ratio).mean():.4f} mean, {np.abs(ratio).max():.4f} max"
                print(row(f"held out, {seat}, {kind}", away, extra))
            print(row(f"held out, {seat}, all", np.concatenate(everything)))
        held, radii = [], []
        for kind in bench.KINDS:
            away, stated, _ = judge(palette, bench.held_out(kind, args.count, args.seed, workshop=workshop))
            held.append(away <= stated)
            radii.append(stated)
            print(coverage(kind, held[-1:], radii[-1:]))
        print(coverage("all", held, radii))


if __name__ == "__main__":
    main()
