"""Workshops whose instrument loses light beside its spot: what counting it is worth, judged by photons.

    python tests/figures/spot_workshops.py 500:504 [--photons 20000] [--jobs 2]

A workshop of `random_workshops.py` with some 40 castings is poured as ever, and then each reading loses what photons
in three dimensions (`spot_photons.py`) say that its spot loses, at every wavelength. Two instruments read it: 8 mm seen
and lit, and 4 mm seen of 8 mm lit. Its folder is fitted once with the sizes stated and once without. Held-out blends
are predicted as they are read, and as the eye sees a wide part. CIEDE2000, D65, 10 degrees, over black and white.
"""

from __future__ import annotations

import argparse
import csv
import io
import multiprocessing
import os
import tempfile
from collections.abc import Mapping
from functools import partial
from pathlib import Path

import numpy as np
import random_workshops as bench
from numpy.typing import NDArray
from spot_photons import read_over_wide
from stock import BACKINGS

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.fitting import fit_palette
from tint.materials import Blend
from tint.swatches import read_folder

Array = NDArray[np.float64]

SPOTS = ((8.0, 8.0), (4.0, 8.0))  # mm seen, mm lit
PER_KIND = 6  # held-out blends of each kind
MOST, LEAST = 48, 30  # castings


def lost(workshop: bench.Workshop, base: str, loadings: Mapping[str, float], thickness: float, photons: int) -> Array:
    """What each spot reads over what is wide, the gloss apart, shape (n_spots, 2 cards, n_wavelengths) [-]."""
    parts = [(workshop.bases[base], 1 - sum(loadings.values()) / 100)]
    parts += [(workshop.pigments[name], loading) for name, loading in loadings.items()]
    result = np.empty((len(SPOTS), 2, bench.wavelengths().size))
    for at in range(bench.wavelengths().size):
        mu_a = sum(share * part.mu_a[at] for part, share in parts)
        scattered = [share * part.mu_s[at] for part, share in parts]
        # The forward lobe is sharpened so that the mean cosine stays.
        back = workshop.back_lobe
        g = np.array([(float(p.g[at]) - back * bench.BACKWARDS) / (1.0 - back) for p, _ in parts] + [bench.BACKWARDS])
        share = np.array([*(each * (1.0 - back) for each in scattered), sum(scattered) * back])
        for card, name in enumerate(("black", "white")):
            result[:, card, at] = read_over_wide(
                mu_a=float(mu_a), mu_s=float(share.sum()), g=g, share=share / share.sum(), thickness=thickness,
                index=workshop.index[base], card=float(BACKINGS[name][at]), seat="air", spots=SPOTS,
                photons=photons, seed=7,
            )  # fmt: skip
    return result


def gloss(workshop: bench.Workshop, base: str) -> float:
    """What the upper face reflects of a beam along the normal; what the lower one does is in the photons [-]."""
    n = workshop.index[base]
    return ((n - 1.0) / (n + 1.0)) ** 2


def judge(seed: int, *, photons: int) -> dict[str, list[tuple[float, float]]]:
    """Misses and stated errors of every way, for one workshop."""
    poured = bench.pour(seed)
    workshop = poured.workshop
    rng = np.random.default_rng([bench._SEED, workshop.seed, 1])
    factor = {}
    for casting in workshop.castings:  # the same draws as the pour's
        depth, _ = bench._depth(casting.mould_mm, workshop, rng)
        doses = bench._doses(casting.loadings, workshop, rng)
        factor[casting.name] = lost(workshop, casting.base, doses, depth, photons), gloss(workshop, casting.base)
    held_out = [s for kind in bench.KINDS for s in [x for x in poured.samples if x.kind == kind][:PER_KIND]]
    sample_factor = [lost(workshop, s.base, s.loadings, s.thickness, photons) for s in held_out]
    found: dict[str, list[tuple[float, float]]] = {}
    for number, (seen, lit) in enumerate(SPOTS):
        readings = _spotted(poured.readings_csv, {name: (each[number], face) for name, (each, face) in factor.items()})
        for stated in (True, False):
            with tempfile.TemporaryDirectory() as place:
                bench.write(poured, Path(place))
                (Path(place) / "readings.csv").write_text(readings)
                toml = Path(place) / "palette.toml"
                sizes = f"[instrument]\naperture_mm = {seen}\nlit_mm = {lit}\n" if stated else "[instrument]\n"
                toml.write_text(toml.read_text().replace("[instrument]\n", sizes))
                palette = fit_palette(read_folder(place))
            view = colorimetry.viewing(palette.wavelengths)
            for sample, through in zip(held_out, sample_factor, strict=True):
                for card, over in enumerate(("black", "white")):
                    face = gloss(workshop, sample.base)
                    wide = getattr(sample.read, over)
                    read = face + (wide - face) * through[number, card]
                    for way, truth in (("as read", read), ("wide", wide)):
                        setting = Setting(thickness_mm=sample.thickness, over=over, as_read=way == "as read")
                        said = predict(palette, Blend(sample.base, sample.loadings), setting=setting)
                        miss = float(colorimetry.difference(said.lab, colorimetry.lab(truth, view)))
                        name = f"{seen:g} of {lit:g} mm, sizes {'stated' if stated else 'unknown'}, {way}"
                        found.setdefault(name, []).append((miss, said.expected_error))
            if stated:
                print(f"  {seed}, {seen:g} of {lit:g}: {len(workshop.castings)} castings, share of the loss "
                      f"{palette.spot_share:.3f}, model error {palette.model_error:.4f}", flush=True)  # fmt: skip
    return found


def _spotted(readings: str, factor: Mapping[str, tuple[Array, float]]) -> str:
    rows = list(csv.reader(io.StringIO(readings)))
    for row in rows[1:]:
        if row[0] in factor:
            of, face = factor[row[0]]
            values = np.array(row[4:], dtype=float)
            row[4:] = [f"{v:.5f}" for v in face + (values - face) * of[0 if row[1] == "black" else 1]]
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


def main() -> None:
    """Print what was missed, way by way."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("seeds")
    asked.add_argument("--photons", type=int, default=20_000)
    asked.add_argument("--jobs", type=int, default=1)
    given = asked.parse_args()
    first, last = (int(each) for each in given.seeds.split(":"))
    seeds = [s for s in range(first, last) if LEAST <= len(bench.draw(s).castings) <= MOST]
    print(f"workshops {seeds}", flush=True)
    with multiprocessing.Pool(given.jobs) as pool:
        each = pool.map(partial(judge, photons=given.photons), seeds, chunksize=1)
    print("way: mean, 95 %, worst; the stated error holds for")
    for name in each[0]:
        told = np.array([pair for found in each for pair in found[name]])
        miss, stated = told.T
        print(f"{name}: {miss.mean():.3f} {np.percentile(miss, 95):.2f} {miss.max():.2f};"
              f" {100 * np.mean(miss <= stated):.1f} % of {miss.size}")  # fmt: skip


if __name__ == "__main__":
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    main()
