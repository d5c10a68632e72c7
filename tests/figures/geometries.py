"""Geometries and seats that no swatch was read in: a palette learnt in di:8 over air, judged by photons.

    python tests/figures/geometries.py [--photons 100000]

The demo's palette is fitted from its own readings, di:8 over air. Held-out blends of the bench (seed 20, none of them
in the folder) are then predicted in de:8 over air, 45:0 over air and 45:0 wet, and the same castings are followed
photon by photon (photons.py), with every pigment's own phase function, of which the palette knows the mean. di:8
over air stands beside them as the geometry that was learnt; de:8 shares its photons and differs by the gloss alone.

Photons are dear: a few wavelengths a casting, so there is no colour difference here, only differences of reflectance,
absolute and in units of the photons' standard error. Where the second is large and the first is small, the photons
have seen what the palette misses; where it is about 1, they have not.
"""

from __future__ import annotations

import argparse
import math
import time
from itertools import product

import bench
import numpy as np
from numpy.typing import NDArray
from photons import Pour, follow, gloss
from stock import BACKINGS, BASES, PIGMENTS, WAVELENGTHS, coefficients

from tint.appearance import Setting, predict
from tint.fitting import fit_palette
from tint.materials import Blend
from tint.palette import Palette
from tint.swatches import read_folder

Array = NDArray[np.float64]

READINGS = (("di:8", "air"), ("de:8", "air"), ("45:0", "air"), ("45:0", "wet"))
AT_NM = (450.0, 550.0, 650.0)
EACH = 3  # blends of a kind
SEED = 20


def pours(sample: bench.Sample, over: str, seat: str) -> list[Pour]:
    """The casting at each wavelength, as the demo's physics has it."""
    mu_a, mu_s, _ = coefficients(sample.base, sample.loadings)
    parts = [(BASES[sample.base], 1.0 - sum(sample.loadings.values()) / 100.0)]
    parts += [(PIGMENTS[name], loading) for name, loading in sample.loadings.items()]
    made = []
    for nm in AT_NM:
        at = int(np.flatnonzero(nm == WAVELENGTHS)[0])
        each = [part.scatter * (550.0 / nm) ** part.slope / (1.0 - part.g) * amount for part, amount in parts]
        made.append(
            Pour(
                absorbed=float(mu_a[at]) * sample.thickness,
                scattered=float(mu_s[at]) * sample.thickness,
                g=tuple(part.g for part, _ in parts),
                share=tuple(one / sum(each) for one in each),
                index=BASES[sample.base].n,
                backing=float(BACKINGS[over][at]),
                seat=seat,
            )
        )
    return made


def read(pour: Pour, *, photons: int, seed: int) -> dict[str, tuple[float, float]]:
    """Reflectance and its standard error, by geometry."""
    at_8, at_45 = (math.cos(math.radians(degrees)) for degrees in (8.0, 45.0))
    total, total_error, _, _ = follow(pour, at_8, photons=photons, seed=seed)
    _, _, seen, seen_error = follow(pour, at_45, photons=photons, seed=seed + 1)
    return {
        "di:8": (total, total_error),
        "de:8": (total - gloss(pour, at_8), total_error),
        "45:0": (seen, seen_error),
    }


def judge(palette: Palette, sample: bench.Sample, *, photons: int, seed: int) -> list[tuple[str, float, float]]:
    """Geometry with seat, predicted less traced, and standard error, for one casting over both cards."""
    told = []
    for number, (over, seat) in enumerate(product(("black", "white"), ("air", "wet"))):
        castings = enumerate(pours(sample, over, seat))
        traced = [read(pour, photons=photons, seed=seed + 10 * number + 2 * at) for at, pour in castings]
        for geometry in [name for name, at in READINGS if at == seat]:
            setting = Setting(thickness_mm=sample.thickness, over=over, seat=seat, geometry=geometry)
            said = predict(palette, Blend(sample.base, sample.loadings), setting=setting)
            reflectance = np.interp(AT_NM, palette.wavelengths, said.reflectance)
            for value, reading in zip(reflectance, traced, strict=True):
                true, error = reading[geometry]
                told.append((f"{geometry} {seat}", float(value) - true, error))
    return told


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photons", type=int, default=100_000, help="a reading")
    photons = parser.parse_args().photons
    start = time.perf_counter()
    palette = fit_palette(read_folder(bench.DEMO), optics="many-flux")
    middle = palette.g[:, palette.g.shape[1] // 2]
    learnt = ", ".join(f"{name} {g:.2f}" for name, g in zip([*palette.bases, *palette.pigments], middle, strict=True))
    print(f"anisotropies: {learnt}; index {', '.join(f'{n:.3f}' for n in palette.index)}")
    print(f"many-flux, learnt from di:8 over air; {photons} photons a reading")
    print(f"{len(AT_NM)} wavelengths, over black and over white; predicted less traced, reflectance 0 to 1\n")
    names = f"{'readings':>8s} {'mean':>8s} {'rms':>8s} {'largest':>8s} {'st. error':>10s} {'rms, in st. errors':>19s}"
    print(f"{'':24s} {names}")
    for kind in bench.KINDS:
        samples = bench.held_out(kind, 40, SEED)[:EACH]
        told = [
            each
            for number, sample in enumerate(samples)
            for each in judge(palette, sample, photons=photons, seed=1000 * number)
        ]
        for geometry, seat in READINGS:
            rows = np.array([(off, error) for name, off, error in told if name == f"{geometry} {seat}"])
            off, error = rows.T
            rms, largest = np.sqrt(np.mean(off**2)), np.abs(off).max()
            typical, weighed = np.sqrt(np.mean(error**2)), np.sqrt(np.mean((off / error) ** 2))
            label = f"{kind}, {geometry} {seat}"
            figures = f"{off.size:8d} {off.mean():+8.4f} {rms:8.4f} {largest:8.4f} {typical:10.4f} {weighed:19.1f}"
            print(f"{label:24s} {figures}")
    print(f"\n{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
