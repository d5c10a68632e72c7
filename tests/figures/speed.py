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

from tint.fit import fit_palette
from tint.fit.problem import Problem, forward, lay_out
from tint.fit.start import first_guess
from tint.materials import Pigment
from tint.optics import layer
from tint.optics.layer import Optics
from tint.swatches import Reading, Swatch, SwatchFolder, read_folder

Array = NDArray[np.float64]

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
    print(f"\nreflectance over a backing with slopes by K, S and thickness, {points} points")
    spent = {}
    for model in ("two-flux", "many-flux"):
        optics = Optics(model=model, g=0.65)

        def call(optics: Optics = optics) -> object:
            return layer.reflectance_slopes(K, S, thickness=2.0, backing=0.8, optics=optics)

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
    """What a plain program would do: scipy's least_squares at one wavelength after another, thickness as written."""
    from scipy.optimize import least_squares

    shared = np.zeros(problem.n_shared)
    result = np.empty_like(start)
    for at in range(start.shape[0]):
        one = replace(problem, read=problem.read[:, at : at + 1], backings=problem.backings[:, at : at + 1])

        def miss(theta: Array, one: Problem = one) -> Array:
            return np.asarray((forward(one, theta[None], shared).predicted - one.read)[:, 0])

        def slope(theta: Array, one: Problem = one) -> Array:
            return np.asarray(forward(one, theta[None], shared).by_theta[0])

        result[at] = least_squares(miss, start[at], slope, bounds=(0.0, np.inf)).x
    return result


def fit() -> None:
    folder = crowded(read_folder(ROOT / "swatches_demo"))
    optics = tuple(
        Optics(model="many-flux", refractive_index=base.refractive_index, g=0.65) for base in folder.bases.values()
    )
    problem = lay_out(folder, optics)
    start = first_guess(problem)
    print(f"\nfit of {len(folder.pigments)} pigments, {len(folder.swatches)} castings, {len(folder.readings)} readings")
    fit_palette(folder, optics="many-flux", g=0.65)  # the tables are built once per machine
    whole = best(lambda: fit_palette(folder, optics="many-flux"), times=2)
    ours = best(lambda: fit_palette(folder, optics="many-flux", g=0.65), times=2)
    theirs = best(lambda: looped(problem, start), times=1)
    print(f"  tint, g searched                            {whole:6.2f} s")
    print(f"  tint, g given: {problem.n_shared} shared unknowns, weights  {ours:6.2f} s")
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
        wanted = ["--target-lab", "70,10,50", "--contrast-ratio-min", "0.98"]
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
