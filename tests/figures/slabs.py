"""How exact and how fast the many-flux model is: one table of figures on standard output.

    python tests/figures/slabs.py [FOLDER]

FOLDER, if given, holds the reading of a real silicone slab: `slab_reflectance_transmittance.rxt` and
`slab_inverse_result.txt` of the inverse adding-doubling package of S. Prahl (repository scottprahl/iad, folder
docs, MIT licence; measured by A. Bahl, King's College London).
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path

import iadpython
import numpy as np
from numpy.typing import NDArray
from photons import Pour, follow
from PythonicDISORT.pydisort import pydisort
from PythonicDISORT.subroutines import interpolate

from tint.optics import many_flux, two_flux
from tint.optics.adding_doubling import moments, solve
from tint.optics.slab import AT_8, NORMAL, READINGS

Array = NDArray[np.float64]

TERMS = ("UR1", "UT1", "URU", "UTU")
# Refractive index and anisotropy; the indices between those that are computed are the last four.
COMBINATIONS = ((1.0, 0.0), (1.0, 0.9), (1.41, 0.0), (1.41, 0.9), (1.3, 0.5), (1.39, 0.8), (1.44, 0.6), (1.5, 0.7))
LOBES = (-1.0, -0.6, -0.2, 0.03, 0.1, 0.15, 0.2)


def draw(count: int, seed: int) -> tuple[Array, Array]:
    """mu_a d from 1e-4 to 20 and mu_s' d from 1e-3 to 300, log uniform."""
    rng = np.random.default_rng(seed)
    return 10 ** rng.uniform(-4, np.log10(20), count), 10 ** rng.uniform(-3, np.log10(300), count)


def ours(absorbed: Array, reduced: Array, index: float, g: float, **options: int) -> Array:
    """UR1, UT1, URU, UTU by the direct solver, shape (4, ...)."""
    slab = solve(2.0 * absorbed, 0.75 * reduced, refractive_index=index, g=g, **options)
    return np.stack(
        (slab.beam_reflected[NORMAL], slab.beam_passed[NORMAL], slab.diffuse_reflected, slab.diffuse_passed)
    )


def theirs(absorbed: float, reduced: float, index: float, g: float, points: int) -> Array:
    """The same by iadpython; a result that makes light is refused."""
    scattered = reduced / (1.0 - g)
    depth = absorbed + scattered
    sample = iadpython.Sample(a=scattered / depth, b=depth, g=g, n=index, quad_pts=points)
    result = np.array(sample.rt(), dtype=float)
    assert result[0] + result[1] <= 1.0 + 1e-6, "iadpython makes light"
    assert result[2] + result[3] <= 1.0 + 1e-6, "iadpython makes light"
    return result


def show(title: str, values: Array, names: tuple[str, ...] = TERMS) -> None:
    print(f"{title:66s}" + "  ".join(f"{name} {value:.1e}" for name, value in zip(names, values, strict=True)))


def against_iadpython(count: int = 500) -> None:
    """Random slabs, every one with its own index and g."""
    absorbed, reduced = draw(count, 11)
    rng = np.random.default_rng(12)
    index = np.where(rng.random(count) < 0.25, 1.0, rng.uniform(1.30, 1.60, count))
    anisotropy = rng.uniform(0.0, 0.9, count)
    slabs = list(zip(absorbed, reduced, index, anisotropy, strict=True))
    direct = np.array([ours(*slab) for slab in slabs])
    finer = np.array([ours(*slab, nodes=64) for slab in slabs])
    bare, faced = index == 1.0, index > 1.0
    at_24 = np.array([theirs(*slab, points=24) for slab in slabs])
    show(f"direct - iadpython, 24 points, {bare.sum()} slabs, n = 1", np.abs(direct - at_24)[bare].max(axis=0))
    show(f"direct - iadpython, 24 points, {faced.sum()} slabs, n > 1", np.abs(direct - at_24)[faced].max(axis=0))
    at_64 = np.array([theirs(*slab, points=64) if slab[2] > 1.0 else at_24[i] for i, slab in enumerate(slabs)])
    show("direct - iadpython, 64 points, n > 1", np.abs(direct - at_64)[faced].max(axis=0))
    thin = faced & (reduced < 3.0)
    show(f"  of these the {thin.sum()} with mu_s' d < 3", np.abs(direct - at_64)[thin].max(axis=0))
    # Which of the two strays: with next to no absorption everything must come out again.
    white = [(1e-9, reduced, 1.5, 0.8) for reduced in (3.0, 100.0)]
    for slab in white:
        lost = [1.0 - theirs(*slab, points=points)[:2].sum() for points in (24, 64)]
        own = 1.0 - ours(np.array(slab[0]), np.array(slab[1]), *slab[2:])[:2].sum()
        print(f"  lost at mu_s' d = {slab[1]:g}: iadpython 24, 64 points {lost[0]:.1e}, {lost[1]:.1e}; here {own:.1e}")
    show("direct, 24 nodes - 64 nodes", np.abs(direct - finer).max(axis=0))


def tables_against_iadpython(count: int = 60) -> None:
    """Tables are lit at 8 degrees; the normal is set right by the direct solver's own difference."""
    worst, by_direct = np.zeros(2), np.zeros(3)
    for i, (index, g) in enumerate(COMBINATIONS):
        absorbed, reduced = draw(500, 20 + i)
        x, y = 2.0 * absorbed, 0.75 * reduced
        z = y / (1.0 - g)
        slab = solve(x, y, refractive_index=index, g=g)
        for geometry, seat in READINGS:
            values, _ = many_flux.terms(x, y, z, refractive_index=index, geometry=geometry, seat=seat)
            by_direct = np.maximum(by_direct, np.abs(values - slab.terms(geometry, seat)).max(axis=1))
        front, _, back = many_flux.terms(x, y, z, refractive_index=index, geometry="di:8", seat="air")[0]
        passed, _ = many_flux.transmitted(x, y, z, refractive_index=index)
        turn_r = slab.beam_reflected[NORMAL] - slab.beam_reflected[AT_8]
        turn_t = slab.beam_passed[NORMAL] - slab.beam_passed[AT_8]
        table = np.stack((front + turn_r, passed + turn_t, back))[:, :count]
        other = np.array([theirs(*pair, index, g, 24) for pair in zip(absorbed[:count], reduced[:count], strict=True)])
        difference = np.abs(table - other.T[:3]).max(axis=1)
        worst = np.maximum(worst, (difference[:2].max(), difference[2]))
    show("tables - direct, 8 tables x 500 slabs x 6 readings", by_direct, ("front", "through", "back"))
    show(f"tables - iadpython, 24 points, 8 tables x {count} slabs", worst, ("UR1, UT1", "URU"))


def tables_between_nodes(count: int = 300) -> None:
    """Largest error of the tables by anisotropy, at index 1.41: without a lobe by reading, then by lobe."""
    anisotropies = (0.1, 0.3, 0.48, 0.6, 0.7, 0.75, 0.85, 0.92)
    absorbed, reduced = draw(count, 40)
    x, y = 2.0 * absorbed, 0.75 * reduced
    print(
        f"tables - direct between their nodes, n = 1.41, {count} slabs" + "".join(f"  g {g:4.2f}" for g in anisotropies)
    )

    def worst(readings: Iterable[tuple[str, str]], lobe: float) -> str:
        off = []
        for g in anisotropies:
            slab, z = solve(x, y, refractive_index=1.41, g=g, lobe=lobe), y / (1.0 - g)
            q = z * moments(g, 2, lobe)[2]
            every = [
                many_flux.terms(x, y, z, q, refractive_index=1.41, geometry=geometry, seat=seat)[0]
                - slab.terms(geometry, seat)
                for geometry, seat in readings
            ]
            off.append(float(np.abs(every).max()))
        return "".join(f" {each:7.1e}" for each in off)

    for reading in READINGS:
        print(f"  {' '.join(reading)}".ljust(54) + worst([reading], 0.0))
    for lobe in LOBES:
        print(f"  every reading, lobe {lobe:g}".ljust(54) + worst(READINGS, lobe))


def against_disort() -> None:
    """Slabs without faces over a Lambertian ground, seen along the normal or collected, PythonicDISORT, 48 streams."""
    worst = np.zeros(2)
    for absorbed, scattered, g, ground in (
        (0.1, 3.0, 0.5, 0.6),
        (0.5, 1.0, 0.0, 0.9),
        (0.02, 20.0, 0.8, 0.1),
        (1.0, 2.0, 0.75, 0.3),
    ):
        depth, moments = absorbed + scattered, g ** np.arange(400)
        slab = solve(2.0 * absorbed, 0.75 * scattered * (1.0 - g), refractive_index=1.0, g=g)
        for i, (degrees, geometry) in enumerate(((8.0, "di:8"), (45.0, "45:0"))):
            mu = float(np.cos(np.radians(degrees)))
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                _, up, _, radiance = pydisort(
                    depth, scattered / depth, 48, moments, mu, 1.0 / mu, 0.0, NLeg=48, NFourier=1,
                    only_flux=True, f_arr=moments[48], BDRF_Fourier_modes=[ground],
                )[:4]  # fmt: skip
                read = up(0.0) if i == 0 else np.pi * interpolate(radiance)(1.0, 0.0)
            front, through, back = slab.terms(geometry, "air")
            worst[i] = max(worst[i], abs(front + through * ground / (1.0 - back * ground) - float(np.squeeze(read))))
    show("direct - DISORT, n = 1, 4 slabs over a ground", worst, ("di:8", "45:0"))


def against_photons() -> None:
    """Slabs with faces over a backing, in both seats."""
    print("photons, 1e6 a line:                       direct    photons")
    for absorbed, scattered, g, index, backing, seat in (
        (0.1, 2.0, 0.0, 1.41, 0.8, "air"), (0.1, 2.0, 0.0, 1.41, 0.8, "wet"), (0.02, 3.0, 0.8, 1.5, 0.9, "air"),
        (0.02, 3.0, 0.8, 1.5, 0.9, "wet"), (0.3, 1.0, 0.9, 1.41, 0.05, "air"), (0.2, 8.0, 0.8, 1.41, 0.5, "wet"),
    ):  # fmt: skip
        slab = solve(2.0 * absorbed, 0.75 * scattered * (1.0 - g), refractive_index=index, g=g)
        pour = Pour(absorbed=absorbed, scattered=scattered, g=(g,), index=index, backing=backing, seat=seat)
        for degrees, geometry in ((8.0, "di:8"), (45.0, "45:0")):
            read = follow(pour, float(np.cos(np.radians(degrees))), photons=1_000_000, seed=5)
            value, error = read[:2] if geometry == "di:8" else read[2:]
            front, through, back = slab.terms(geometry, seat)
            direct = front + through * backing / (1.0 - back * backing)
            print(
                f"  {absorbed:g} {scattered:g} g {g:g} n {index:g} over {backing:g} {seat} {geometry}".ljust(42)
                + f" {direct:.5f}   {value:.5f} +- {error:.5f}   {(direct - value) / error:+.1f} sigma"
            )


def real_silicone(folder: Path) -> None:
    """Invert a real slab's reflectance and transmittance, 400 to 780 nm, beside the published inverse."""
    readings = rows(folder / "slab_reflectance_transmittance.rxt", 4)
    published = {row[0]: row for row in rows(folder / "slab_inverse_result.txt", 7)}
    misfit, off = [], []
    for wavelength, reflected, passed, index in readings:
        if 400.0 <= wavelength <= 780.0:
            absorbed, reduced, miss = invert(reflected, passed, index=index, g=0.9)
            misfit.append(miss)
            mu_a, mu_s = published[wavelength][5:7]
            off.append((absorbed / 2.65 - mu_a, (reduced / 2.65 - mu_s) / mu_s))
    by_a, by_s = np.abs(np.array(off)).max(axis=0)
    print(
        f"real silicone, {len(misfit)} points: R and T reproduced to {max(misfit):.1e}; mu_a within {by_a:.1e} /mm, ",
        end="",
    )
    print(f"mu_s' within {100 * by_s:.2f} % of the published inverse (g = 0.9, 12 points, tolerance 1e-4)")


def rows(path: Path, width: int) -> list[tuple[float, ...]]:
    """Lines of numbers of a text file that has other lines too."""
    found = []
    for line in path.read_text().splitlines():
        try:
            numbers = tuple(float(word) for word in line.split()[:width])
        except ValueError:
            continue
        if len(numbers) == width:
            found.append(numbers)
    return found


def invert(reflected: float, passed: float, *, index: float, g: float) -> tuple[float, float, float]:
    """mu_a d, mu_s' d of a free slab read at 8 degrees, and the larger misfit, by Newton steps in the logarithms."""
    logs = np.log([0.05, 5.0])
    for _ in range(12):
        trial = logs[:, None] + np.array([[0.0, 1e-4, 0.0], [0.0, 0.0, 1e-4]])
        slab = solve(2.0 * np.exp(trial[0]), 0.75 * np.exp(trial[1]), refractive_index=index, g=g)
        read = np.stack((slab.beam_reflected[AT_8], slab.beam_passed[AT_8]))
        miss = read[:, 0] - (reflected, passed)
        logs = logs - np.clip(np.linalg.solve((read[:, 1:] - read[:, :1]) / 1e-4, miss), -1.0, 1.0)
    return float(np.exp(logs[0])), float(np.exp(logs[1])), float(np.abs(miss).max())


def speed() -> None:
    """Build of a table, and look-up beside the closed two-flux formula."""
    built = timed(partial(many_flux.build, 1.41), 1)
    print(f"a table of one index and lobe, {len(many_flux.G_AXIS.nodes)} anisotropies, built in {built:.2f} s")
    absorbed, reduced = draw(100_000, 30)
    x, y = 2.0 * absorbed, 0.75 * reduced
    for seat in ("air", "wet"):
        many = timed(partial(many_flux.terms, x, y, 5.0 * y, refractive_index=1.41, geometry="di:8", seat=seat), 9)
        two = timed(partial(two_flux.terms, x, y, refractive_index=1.41, geometry="di:8", seat=seat), 9)
        each = f"{1e4 * many:.0f} ns a point, two-flux {1e4 * two:.0f} ns"
        print(f"look-up with slopes, {seat}: {each}: ratio {many / two:.2f}")


def timed(job: Callable[[], object], repeats: int) -> float:
    best = np.inf
    for _ in range(repeats):
        start = time.perf_counter()
        job()
        best = min(best, time.perf_counter() - start)
    return float(best)


def main() -> None:
    """All figures, with tables built afresh."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ["TINT_CACHE"] = folder
        speed()
        against_iadpython()
        tables_against_iadpython()
        tables_between_nodes()
        against_disort()
        against_photons()
        if len(sys.argv) > 1:
            real_silicone(Path(sys.argv[1]))


if __name__ == "__main__":
    main()
