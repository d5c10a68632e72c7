"""What fit, check, plan and solve cost as the folder grows: processor time and memory.

    python tests/figures/growth.py [--pigments 10 30 60 150] [--castings 25 75 150 300 550] [--limit 170]

Readings come from tint's own forward model with noise, since only the cost is judged here: 41 wavelengths from 380 to
780 nm, one to four pigments a casting. Of so many castings there are 13 pigments; of so many pigments, two castings
each. Every step runs in a process of its own, the tables of the layer model built before, and ends after `--limit`
seconds of processor time.
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import signal
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import tint
from tint.checks import examine
from tint.fitting import fit_palette
from tint.forward import Readings, mix, read
from tint.materials import Base, Instrument, Pigment
from tint.optics.layer import Optics
from tint.palette import read_palette, write_palette
from tint.planning import next_swatches
from tint.swatches import Reading, Swatch, SwatchFolder

Array = NDArray[np.float64]

PIGMENTS, WAVELENGTHS = 13, np.linspace(380.0, 780.0, 41)
BASE = Base(
    name="clear", cure="addition", density=1.08, refractive_index=1.41, max_loading=5.0, mix={"A": 1.0}, pigment_in="A"
)
CARDS = {"black": np.full(WAVELENGTHS.size, 0.045), "white": np.full(WAVELENGTHS.size, 0.88)}


def folder(count: int, n: int = PIGMENTS, seed: int = 1) -> SwatchFolder:
    """A folder of so many castings of so many pigments, each casting read over black and white."""
    rng = np.random.default_rng(seed)
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


def _steps(count: int, n: int, place: str) -> dict[str, Callable[[], object]]:
    """What is measured, by name; each but the fit begins with the palette that the fit left in a file."""
    path, made = Path(place), folder(count, n)
    return {
        "fit": lambda: write_palette(fit_palette(made), path),
        "check": lambda: examine(made, read_palette(path)),
        "plan": lambda: next_swatches(read_palette(path), count=2),
        "solve": lambda: tint.solve(read_palette(path), lab=(60.0, 20.0, 10.0), thickness_mm=3.0),
    }


def cost(step: str, count: int, n: int, place: str, limit_s: int) -> str:
    """Processor time of a step [s], and the peak memory of the process [MB]."""
    resource.setrlimit(resource.RLIMIT_CPU, (limit_s, limit_s + 5))
    signal.signal(signal.SIGXCPU, _ended)
    run = _steps(count, n, place)[step]
    began = time.process_time()
    try:
        run()
    except TimeoutError:
        return f"> {limit_s} s"
    except Exception as error:  # the next sizes are of interest all the same
        return f"{type(error).__name__}: {error!s:.60}"
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    return f"{time.process_time() - began:.1f} s {memory:.0f} MB"


def _ended(*_: object) -> None:
    raise TimeoutError


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pigments", type=int, nargs="*", default=[])
    parser.add_argument("--castings", type=int, nargs="*", default=[])
    parser.add_argument("--limit", type=int, default=170)
    asked = parser.parse_args()
    sizes = [(2 * n, n) for n in asked.pigments] + [(count, PIGMENTS) for count in asked.castings]
    context = multiprocessing.get_context("spawn")
    for count, n in sizes:
        with tempfile.TemporaryDirectory() as place:
            for step in ("fit", "check", "plan", "solve"):
                with ProcessPoolExecutor(1, mp_context=context) as pool:
                    try:
                        told = pool.submit(cost, step, count, n, f"{place}/a.fit", asked.limit).result()
                    except BrokenProcessPool:
                        told = f"> {asked.limit} s"
                print(f"{n:5d} pigments {count:5d} castings  {step:6s} {told}", flush=True)


if __name__ == "__main__":
    main()
