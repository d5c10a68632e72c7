"""Pigments that were cast only where they hide: what a fit knows of how much they absorb.

    python tests/figures/hidden.py 1000:1060 [--mie]

Of every pigment of random workshops, by how strongly its readings feel its amount (`tint.fitting.hidden.felt`): how
far its absorption is off as a logarithm, in the median over the wavelengths, and whether the truth lies within two
stated standard deviations.
"""

from __future__ import annotations

import argparse
import itertools
import tempfile
from pathlib import Path

import numpy as np
import random_workshops as bench
import workshops
from numpy.typing import NDArray

from tint.fitting.hidden import felt
from tint.fitting.rounds import weights
from tint.fitting.spectra import fit_with_ground
from tint.swatches import read_folder

Array = NDArray[np.float64]

BINS = (0.0, 5.0, 10.0, 20.0, 40.0, 80.0, np.inf)


def pigments_of(seed: int, *, mie: bool) -> list[tuple[float, float, bool]]:
    """Of each pigment that was cast: how its amount is felt, how far off it is, and whether that was said."""
    poured = workshops.poured(seed, mie=mie)
    with tempfile.TemporaryDirectory() as place:
        bench.write(poured, Path(place))
        palette, fitted = fit_with_ground(read_folder(place))
    problem = fitted.problem
    held = weights(problem, fitted.minimum.shown.values, fitted.weighting)
    strength = felt(problem, fitted.minimum.shown, lambda values: (problem.read - values) * held)
    bases = len(palette.bases)
    found = []
    for number, name in enumerate(palette.pigments, start=bases):
        truth = np.interp(palette.wavelengths, bench.wavelengths(), 2.0 * poured.workshop.pigments[name].mu_a)
        variance = palette.local[:, number, number] + np.sum(palette.modes[:, :, number] ** 2, axis=0)
        off = palette.k[number] - truth
        said = bool(np.median(np.abs(off) / np.sqrt(variance)) < 2.0)
        if np.isfinite(strength[number]):
            ratio = np.log(np.maximum(palette.k[number], 1e-9) / truth)
            found.append((float(strength[number]), float(np.median(np.abs(ratio))), said))
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("seeds", help="FIRST:LAST")
    parser.add_argument("--mie", action="store_true", help="pigments scatter as Mie's theory has it; needs miepython")
    args = parser.parse_args()
    each = [told for seed in range(*map(int, args.seeds.split(":"))) for told in pigments_of(seed, mie=args.mie)]
    felt_by, off, said = (np.array(column) for column in zip(*each, strict=True))
    print("felt [sd]   pigments  |log k off|, median  said within two sd")
    for low, high in itertools.pairwise(BINS):
        these = (felt_by >= low) & (felt_by < high)
        if these.any():
            print(
                f"{low:4.0f}-{high:4.0f}  {these.sum():8d}  {np.median(off[these]):19.3f}"
                f"  {100 * said[these].mean():14.0f} %"
            )


if __name__ == "__main__":
    main()
