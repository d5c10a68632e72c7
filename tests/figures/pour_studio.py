"""Pour the invented studio of `tests/synthetic.py` by iadpython into tests/data/studio_of_bench.csv.

Nothing of tint computes it. Run by hand when the studio changes: `python tests/figures/pour_studio.py`, some seconds.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "swatches_demo"), str(ROOT / "tests"), str(ROOT)]

from slab import phase_moments, slab_terms  # noqa: E402
from synthetic import BACKINGS, BASES, BENCH, CASTS, INSTRUMENT, TRUE_G, TRUE_K, TRUE_S, WAVELENGTHS, mixture  # noqa: E402

SEED = 5
MOMENTS = np.stack([phase_moments(g) for g in TRUE_G])
HEAD = f"""# The studio of tests/synthetic.py, poured by tests/figures/pour_studio.py: iadpython, seed {SEED},
# thicknesses, doses and readings in error as its instrument states; K = 2 mu_a, S = 3/4 mu_s (1 - g),
# Henyey-Greenstein, g by component
"""


def main() -> None:
    rng = np.random.default_rng(SEED)
    with BENCH.open("w", encoding="utf-8", newline="") as file:
        file.write(HEAD)
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["swatch", "backing", "quantity", *(f"{nm:g}" for nm in WAVELENGTHS)])
        for cast in CASTS:
            thickness = cast.thickness_mm + INSTRUMENT.thickness_error_mm * rng.standard_normal()
            wrong = INSTRUMENT.dose_error_percent / 100.0
            doses = {name: dose * (1.0 + wrong * rng.standard_normal()) for name, dose in cast.loadings.items()}
            weights = mixture(cast.base, doses)
            each = weights[:, None] * TRUE_S / (0.75 * (1.0 - TRUE_G[:, None]))  # mu_s that each component brings
            absorbed, scattered = 0.5 * weights @ TRUE_K, each.sum(axis=0)
            phase = (each.T @ MOMENTS) / scattered[:, None]
            index = BASES[cast.base].refractive_index
            terms = slab_terms(absorbed * thickness, scattered * thickness, phase=phase, n=index)
            read = {(name, "reflectance"): terms.over(card) for name, card in BACKINGS.items()}
            for (backing, quantity), values in {**read, ("none", "transmittance"): terms.t1}.items():
                noisy = values + INSTRUMENT.repeatability * rng.standard_normal(values.shape)
                writer.writerow([cast.name, backing, quantity, *(f"{value:.5f}" for value in noisy)])


if __name__ == "__main__":
    main()
