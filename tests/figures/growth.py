"""What a fit costs as the folder grows: processor time and memory for 25 to 550 castings.

    python tests/figures/growth.py [COUNT ...]

Readings come from tint's own forward model with noise, since only the cost is judged here: 14 components, 41
wavelengths from 380 to 780 nm, one to four pigments a casting. Each count runs in a process of its own, the tables of
the layer model built before.
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import time
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tint.fitting import fit_palette
from tint.forward import Readings, mix, read
from tint.materials import Base, Instrument, Pigment
from tint.optics.layer import Optics
from tint.swatches import Reading, Swatch, SwatchFolder

Array = NDArray[np.float64]

COUNTS = (25, 75, 150, 300, 550)
COMPONENTS, WAVELENGTHS = 14, np.linspace(380.0, 780.0, 41)
BASE = Base(
    name="clear", cure="addition", density=1.08, refractive_index=1.41, max_loading=5.0, mix={"A": 1.0}, pigment_in="A"
)
CARDS = {"black": np.full(WAVELENGTHS.size, 0.045), "white": np.full(WAVELENGTHS.size, 0.88)}


def folder(count: int, seed: int = 1) -> SwatchFolder:
    """A folder of so many castings, each read over black and white."""
    rng = np.random.default_rng(seed)
    n = COMPONENTS - 1
    loadings = np.zeros((count, n))
    for casting in loadings[1:]:
        held = rng.choice(n, rng.integers(1, 5), replace=False)
        casting[held] = np.exp(rng.uniform(np.log(0.01), np.log(1.0), held.size))
    thickness = rng.uniform(1.0, 4.0, count).round(2)
    values = _read(loadings, thickness + 0.03 * rng.standard_normal(count), rng)
    names = [f"p{number}" for number in range(n)]
    swatches = tuple(
        Swatch(
            name=f"c{at}",
            base="clear",
            thickness_mm=float(thickness[at]),
            loadings={name: float(x) for name, x in zip(names, loadings[at], strict=True) if x > 0.0},
            row=at + 2,
        )
        for at in range(count)
    )
    readings = tuple(
        Reading(
            swatch=f"c{at // 2}",
            backing=tuple(CARDS)[at % 2],
            seat="air",
            quantity="reflectance",
            values=each,
            row=at + 2,
        )
        for at, each in enumerate(values)
    )
    return SwatchFolder(
        path=Path("growth"),
        name="growth",
        instrument=Instrument(repeatability=0.001, thickness_error_mm=0.03, dose_error_percent=0.5),
        bases={"clear": BASE},
        pigments={name: Pigment(name=name) for name in names},
        wavelengths=WAVELENGTHS,
        backings=CARDS,
        bare={},
        swatches=swatches,
        readings=readings,
        warnings=(),
        digest="",
    )


def _read(loadings: Array, thickness: Array, rng: np.random.Generator) -> Array:
    """Noisy readings of castings of random pigments, shape (2 n_castings, n_wavelengths)."""
    count, n = loadings.shape
    centre, width = rng.uniform(400.0, 700.0, (n, 1)), rng.uniform(30.0, 80.0, (n, 1))
    k = 0.05 + rng.uniform(2.0, 20.0, (n, 1)) * np.exp(-0.5 * ((WAVELENGTHS - centre) / width) ** 2)
    s = np.exp(rng.uniform(-1.5, 1.5, (n, 1))) * (550.0 / WAVELENGTHS) ** rng.uniform(0.3, 1.5, (n, 1))
    k, s = np.vstack((np.full(WAVELENGTHS.size, 0.005), k)), np.vstack((np.full(WAVELENGTHS.size, 0.05), s))
    g = rng.uniform(0.5, 0.8, (n + 1, 1))
    shares = np.concatenate((1.0 - loadings.sum(axis=1, keepdims=True) / 100.0, loadings), axis=1)
    rows = Readings(
        casting=np.repeat(np.arange(count), 2),
        backing=np.tile([0, 1], count),
        wet=np.zeros(2 * count, dtype=bool),
        base=np.zeros(2 * count, dtype=np.int64),
        backings=np.stack(list(CARDS.values())),
    )
    optics = (Optics(model="many-flux", refractive_index=1.41),)
    seen = read(rows, mix(np.stack((k, s, s / (1.0 - g))), shares), thickness, optics=optics)
    return np.asarray(np.maximum(seen.values + 0.001 * rng.standard_normal(seen.values.shape), 0.0))


def cost(count: int) -> tuple[int, float, float, float]:
    """Castings, processor time of a fit [s], peak memory of the process [MB], its misfit."""
    made = folder(count)
    began = time.process_time()
    palette = fit_palette(made)
    spent = time.process_time() - began
    return count, spent, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0, palette.misfit


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("counts", type=int, nargs="*", default=list(COUNTS))
    print(f"{'castings':>8s} {'s':>7s} {'MB':>6s}   {COMPONENTS} components, {WAVELENGTHS.size} wavelengths")
    context = multiprocessing.get_context("spawn")
    for count in parser.parse_args().counts:
        with context.Pool(1) as pool:
            castings, spent, memory, _ = pool.apply(cost, (count,))
        print(f"{castings:8d} {spent:7.1f} {memory:6.0f}", flush=True)


if __name__ == "__main__":
    main()
