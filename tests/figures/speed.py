"""Speed, always as a ratio to a baseline measured in the same run.

    python tests/figures/speed.py [layers] [fit] [commands]

layers    many-flux over two-flux: reflectance with all slopes, per point, same arrays
fit       a palette of 12 pigments and 150 castings against scipy's least_squares, looped over wavelengths
commands  tint --help, predict and solve on the demo folder against `python -c "import numpy"`
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tint import forward
from tint.fitting import fit_palette
from tint.fitting.problem import Problem, lay_out
from tint.fitting.spectra import optics_of
from tint.fitting.unknowns import first_guess, mixing_shares
from tint.materials import Pigment
from tint.optics import layer
from tint.optics.layer import Optics
from tint.swatches import Reading, Swatch, SwatchFolder, read_folder

Array = NDArray[np.float64]

G = 0.65  # where the anisotropy is given

ROOT = Path(__file__).resolve().parents[2]


def best(call: Callable[[], object], *, times: int = 5) -> float:
    """Shortest of several runs [s]."""
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        spent.append(time.perf_counter() - start)
    return min(spent)


def layers() -> None:
    rng = np.random.default_rng(1)
    points = 100_000
    K, S = 10 ** rng.uniform(-3, 1, points), 10 ** rng.uniform(-3, 1.5, points)
    M = S / (1.0 - rng.uniform(0.0, 0.9, points))
    print(f"\nreflectance over a backing with slopes by K, S, M and thickness, {points} points")
    spent = {}
    for model in ("two-flux", "many-flux"):
        optics = Optics(model=model)

        def call(optics: Optics = optics) -> object:
            return layer.reflectance_slopes(K, S, M, thickness=2.0, backing=0.8, optics=optics)

        call()
        spent[model] = best(call)
        print(f"  {model:10s} {1e9 * spent[model] / points:6.0f} ns a point")
    print(f"  many-flux over two-flux: {spent['many-flux'] / spent['two-flux']:.2f}")


def crowded(folder: SwatchFolder, *, n_pigments: int = 12, n_castings: int = 150) -> SwatchFolder:
    """The demo folder with further pigments and castings: copies under other names, a little stronger."""
    pigments: dict[str, Pigment] = dict(folder.pigments)
    swatches: list[Swatch] = list(folder.swatches)
    readings: list[Reading] = list(folder.readings)
    originals = list(folder.pigments)
    for number in range(n_pigments - len(originals)):
        pigments[f"other {number}"] = replace(folder.pigments[originals[number]], name=f"other {number}")
    renamed = {name: f"other {at}" for at, name in enumerate(originals[: n_pigments - len(originals)])}
    for swatch in folder.swatches[: n_castings - len(swatches)]:
        copy = f"again {swatch.name}"
        doses = {renamed.get(name, name): x for name, x in swatch.loadings.items()}
        swatches.append(replace(swatch, name=copy, loadings=doses))
        readings += [replace(reading, swatch=copy) for reading in folder.readings if reading.swatch == swatch.name]
    return replace(folder, pigments=pigments, swatches=tuple(swatches), readings=tuple(readings))


def looped(problem: Problem, start: Array) -> Array:
    """What a plain program would do: scipy's least_squares at one wavelength after another, thickness as written.

    Takes and returns k and s, shape (2, n_components, n_wavelengths); every anisotropy is G.
    """
    from scipy.optimize import least_squares

    share = mixing_shares(problem, problem.loadings)
    result = np.empty_like(start)
    for at in range(problem.n_wavelengths):
        readings = replace(problem.readings, backings=problem.readings.backings[:, at : at + 1])

        def read(theta: Array, readings: forward.Readings = readings) -> forward.Predicted:
            k, s = theta.reshape(2, -1, 1)
            mixed = forward.mix(np.stack((k, s, s / (1.0 - G))), share)
            return forward.read(readings, mixed, problem.thickness, optics=problem.optics)

        def miss(theta: Array, at: int = at, read: Callable[[Array], forward.Predicted] = read) -> Array:
            return read(theta).values[:, 0] - problem.read[:, at]

        def slope(theta: Array, read: Callable[[Array], forward.Predicted] = read) -> Array:
            by_k, by_s, by_m, _ = read(theta).slopes
            of = share[problem.readings.casting]
            return np.concatenate((by_k * of, (by_s + by_m / (1.0 - G)) * of), axis=1)

        found = least_squares(miss, start[:, :, at].ravel(), slope, bounds=(0.0, np.inf))
        result[:, :, at] = found.x.reshape(2, -1)
    return result


def fit() -> None:
    folder = crowded(read_folder(ROOT / "swatches_demo"))
    problem = lay_out(folder, optics_of(folder, "many-flux"), g=G)
    start = first_guess(problem)
    print(f"\nfit of {len(folder.pigments)} pigments, {len(folder.swatches)} castings, {len(folder.readings)} readings")
    fit_palette(folder, optics="many-flux")  # the tables are built once per machine
    whole = best(lambda: fit_palette(folder, optics="many-flux"), times=2)
    ours = best(lambda: fit_palette(folder, optics="many-flux", g=G), times=2)
    theirs = best(lambda: looped(problem, start), times=1)
    own = int(problem.used.sum())
    print(f"  tint, every g and the faces learnt          {whole:6.2f} s")
    print(f"  tint, g given: {own} of castings, weights  {ours:6.2f} s")
    print(
        f"  least_squares looped over wavelengths, once {theirs:6.2f} s   ratio to tint, g given: {theirs / ours:.2f}"
    )


def commands() -> None:
    tint = [sys.executable, "-m", "tint"]
    with tempfile.TemporaryDirectory() as place:
        demo = Path(place) / "demo"
        shutil.copytree(ROOT / "swatches_demo", demo)
        environment = os.environ | {"PYTHONPATH": str(ROOT)}

        def run(*command: str) -> Callable[[], object]:
            return lambda: subprocess.run(command, check=True, capture_output=True, env=environment)

        run(*tint, "fit", str(demo))()
        part = ["--base", "clear", "--thickness", "3"]
        blend = ["--load", "white=0.5", "--load", "yellow=0.3"]
        wanted = ["--target-lab", "70,10,50", "--opacity", "0.98.."]
        calls = {
            'python -c "import numpy"': run(sys.executable, "-c", "import numpy"),
            "tint --help": run(*tint, "--help"),
            "tint predict": run(*tint, "predict", str(demo), *part, *blend),
            "tint solve": run(*tint, "solve", str(demo), *part, *wanted),
        }
        print("\nwall time of commands on the demo folder")
        base = None
        for name, call in calls.items():
            call()
            spent = best(call, times=5)
            base = base or spent
            print(f"  {name:26s} {spent:5.2f} s   ratio {spent / base:5.1f}")


def main() -> None:
    wanted = sys.argv[1:] or ["layers", "fit", "commands"]
    known = {"layers": layers, "fit": fit, "commands": commands}
    for name in wanted:
        known[name]()


if __name__ == "__main__":
    main()
