"""Regular transmittance and haze: the model against photons, and predictions of workshops against the truth.

    python tests/figures/clarity.py slabs [--count 30] [--photons 200000]
    python tests/figures/clarity.py workshops 500:508
    python tests/figures/clarity.py evidence 500:508

`slabs` follows photons through free slabs and counts what leaves within 2.5 degrees of the beam; nothing of tint takes
part in it. `workshops` fits folders of `random_workshops.py` and compares what is predicted of held-out blends with the
total transmittance that iadpython computes and with the beam that Beer's law, Fresnel's equations and the workshop's
own phase function leave within 2.5 degrees. `evidence` does so with readings of regular transmittance and without.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path

import numpy as np
import random_workshops as bench
from bench import luminance
from edge_loss import turned, unpolarised
from numpy.typing import NDArray

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.fitting import fit_palette
from tint.materials import Blend
from tint.optics.layer import Optics, regular_slopes, transmittance
from tint.palette import Palette
from tint.swatches import read_folder

Array = NDArray[np.float64]

HAZEMETER = 0.003  # standard deviation of a haze that is read [-]

INDEX = 1.41
NEAR = float(np.cos(np.radians(2.5)))


def followed(mu_a: float, mu_s: float, g: float, thickness: float, *, photons: int, seed: int) -> tuple[float, float]:
    """Light passed by a free slab in all, and within 2.5 degrees of the beam that came in along the normal [-]."""
    rng = np.random.default_rng(seed)
    z, along = np.zeros(photons), np.tile([[0.0], [0.0], [1.0]], photons)
    weight = np.full(photons, 1.0 - float(unpolarised(1.0, INDEX, np.ones(1))[0]))
    total = near = 0.0
    while weight.size:
        free = rng.exponential(size=weight.size) / max(mu_s, 1e-9)
        down = along[2] > 0.0
        room = np.where(down, thickness - z, z) / np.maximum(np.abs(along[2]), 1e-12)
        meets, step = room < free, np.minimum(room, free)
        z = z + step * along[2]
        weight = weight * np.exp(-mu_a * step)
        face = np.flatnonzero(meets)
        cosine = np.abs(along[2, face])
        back = unpolarised(INDEX, 1.0, cosine)
        out = weight[face] * (1.0 - back) * down[face]
        outside = np.sqrt(np.maximum(1.0 - INDEX**2 * (1.0 - cosine**2), 0.0))
        total += float(out.sum())
        near += float(out[outside >= NEAR].sum())
        z[face] = np.where(down[face], thickness, 0.0)
        weight[face] *= back
        along[2, face] *= -1.0
        inside = np.flatnonzero(~meets)
        along[:, inside] = turned(along[:, inside], g, rng)
        faint = weight < 1e-3
        lives = ~faint | (rng.random(weight.size) < 0.1)
        weight = np.where(faint, 10.0 * weight, weight)
        lives &= weight > 1e-9
        z, along, weight = z[lives], along[:, lives], weight[lives]
    return total / photons, near / photons


def slabs(count: int, photons: int, seed: int) -> None:
    """Print the errors over drawn slabs."""
    rng, rows = np.random.default_rng(seed), []
    for number in range(count):
        g = float(rng.uniform(0.0, 0.92))
        mu_a, mu_s = (float(np.exp(rng.uniform(*np.log(ends)))) for ends in ((0.002, 0.5), (0.01, 5.0)))
        thickness = float(rng.uniform(0.5, 6.0))
        total, near = followed(mu_a, mu_s, g, thickness, photons=photons, seed=number)
        layer = np.array([2.0 * mu_a]), np.array([0.75 * mu_s * (1.0 - g)]), np.array([0.75 * mu_s])
        optics = Optics(model="many-flux", refractive_index=INDEX)
        modelled = float(transmittance(*layer, thickness=thickness, optics=optics)[0])
        regular = float(regular_slopes(*layer, thickness=thickness, optics=optics)[0][0])
        rows.append((modelled - total, regular - near, near / total - regular / modelled))
        print(f"mu_s d {mu_s * thickness:6.2f} g {g:.2f}: total {total:.4f} {modelled:.4f}, regular {near:.4f} "
              f"{regular:.4f}, haze {1 - near / total:.4f} {1 - regular / modelled:.4f}")  # fmt: skip
    for name, error in zip(("total", "regular", "haze"), np.abs(np.array(rows)).T, strict=True):
        print(f"{name}: median {np.median(error):.4f}, 95 % {np.percentile(error, 95):.4f}, worst {error.max():.4f}")


def beam(workshop: bench.Workshop, base: str, loadings: Mapping[str, float], thickness: float) -> Array:
    """Regular transmittance of a casting: what neither is absorbed nor scattered beyond 2.5 degrees in air [-]."""
    parts = [(workshop.bases[base], 1 - sum(loadings.values()) / 100)]
    parts += [(workshop.pigments[name], loading) for name, loading in loadings.items()]
    index = workshop.index[base]
    lost = sum(share * (part.mu_a + part.mu_s * (1 - _within(workshop, part.g, index))) for part, share in parts)
    face, through = ((index - 1.0) / (index + 1.0)) ** 2, np.exp(-thickness * lost)
    return np.asarray((1.0 - face) ** 2 * through / (1.0 - (face * through) ** 2))


def _within(workshop: bench.Workshop, g: Array, index: float) -> Array:
    """Share of scattered light that the workshop's two lobes leave within 2.5 degrees in air, by quadrature."""
    back = workshop.back_lobe
    forward = (g - back * bench.BACKWARDS) / (1 - back)
    half = 0.5 * np.arcsin(np.sin(np.radians(2.5)) / index)
    node, weight = np.polynomial.legendre.leggauss(40)
    angle = half * (node + 1)
    weight = half * weight * np.sin(angle)
    lobes = [share * (1 - mean**2) / 2 / (1 + mean**2 - 2 * mean * np.cos(angle)[:, None]) ** 1.5
             for share, mean in ((1 - back, forward), (back, np.full_like(g, bench.BACKWARDS)))]  # fmt: skip
    return np.asarray(weight @ sum(lobes))


def beams_read(poured: bench.Poured) -> str:
    """Rows of readings.csv: the regular transmittance of every casting, as poured, read with the workshop's noise."""
    workshop, rows = poured.workshop, []
    noise = np.random.default_rng([workshop.seed, 13])
    for casting, depth, doses in _made(workshop):
        read = bench._read(beam(workshop, casting.base, doses, depth), workshop, noise)
        rows.append(",".join([casting.name, "none", "", "regular transmittance", *bench._printed(read)]))
    return "\n".join(rows) + "\n"


def hazes_read(poured: bench.Poured) -> str:
    """swatches.csv with the haze of every casting, as poured, as a hazemeter tells it."""
    workshop, weights = poured.workshop, luminance()
    noise = np.random.default_rng([workshop.seed, 17])
    header, *rows = poured.swatches_csv.splitlines()
    told = []
    for row, (casting, depth, doses) in zip(rows, _made(workshop), strict=True):
        total = weights @ bench._solve(workshop, casting.base, doses, depth)[1]
        haze = 1.0 - weights @ beam(workshop, casting.base, doses, depth) / total + HAZEMETER * noise.standard_normal()
        told.append(f"{row},{100.0 * np.clip(haze, 0.0, 1.0):.2f}")
    return "\n".join([f"{header},haze_percent", *told]) + "\n"


def _made(workshop: bench.Workshop) -> Iterator[tuple[bench.Casting, float, dict[str, float]]]:
    """Every casting with the very depth and doses that it was poured with."""
    made = np.random.default_rng([bench._SEED, workshop.seed, 1])
    for casting in workshop.castings:
        depth, _ = bench._depth(casting.mould_mm, workshop, made)
        yield casting, depth, bench._doses(casting.loadings, workshop, made)


def evidence(first: int, last: int) -> None:
    """Print what readings of regular transmittance, and of haze, do for the anisotropy and for held-out blends."""
    found: dict[str, list[Array]] = {"without": [], "beams": [], "hazes": []}
    missed: dict[str, dict[str, list[tuple[float, float]]]] = {name: _none_yet() for name in found}
    for seed in range(first, last):
        poured = bench.pour(seed)
        workshop = poured.workshop
        true = np.array([part.g for part in (*workshop.bases.values(), *workshop.pigments.values())])
        line = f"  {seed} {workshop.plan} {len(workshop.castings)} lobe {workshop.back_lobe:g}"
        for name in found:
            with tempfile.TemporaryDirectory() as place:
                bench.write(poured, Path(place))
                if name == "hazes":
                    (Path(place) / "swatches.csv").write_text(hazes_read(poured), encoding="utf-8")
                if name == "beams":
                    with (Path(place) / "readings.csv").open("a", encoding="utf-8") as file:
                        file.write(beams_read(poured))
                palette = fit_palette(read_folder(place))
            found[name].append(np.abs((palette.g - true).mean(axis=1)))
            _judge(poured, palette, missed[name])
            line += f", {name}: g off by {found[name][-1].mean():.3f}, model error {palette.model_error:.4f}"
        print(line, flush=True)
    for name, each in found.items():
        off = np.concatenate(each)
        print(f"{name}: g off by {off.mean():.3f} mean, {np.percentile(off, 95):.3f} 95 %, {off.max():.3f} worst "
              f"of {off.size}")  # fmt: skip
        _told(missed[name])


def _none_yet() -> dict[str, list[tuple[float, float]]]:
    return {name: [] for name in ("total", "regular", "haze", "colour")}


def workshops(first: int, last: int) -> None:
    """Print how far predictions are off and how often their stated errors hold."""
    missed = _none_yet()
    for seed in range(first, last):
        poured = bench.pour(seed)
        with tempfile.TemporaryDirectory() as place:
            bench.write(poured, Path(place))
            palette = fit_palette(read_folder(place))
        _judge(poured, palette, missed)
        print(f"  {seed} {poured.workshop.plan} {len(poured.workshop.castings)}", flush=True)
    _told(missed)


def _judge(poured: bench.Poured, palette: Palette, missed: dict[str, list[tuple[float, float]]]) -> None:
    """Predictions of held-out blends beside the truth: misses, and the errors stated."""
    workshop, weights = poured.workshop, luminance()
    view = colorimetry.viewing(palette.wavelengths)
    for sample in poured.samples:
        said = predict(palette, Blend(sample.base, sample.loadings), setting=Setting(thickness_mm=sample.thickness))
        read = colorimetry.lab(getattr(sample.read, said.over), view)
        missed["colour"].append((float(colorimetry.difference(said.lab, read)), said.expected_error))
        through = bench._solve(workshop, sample.base, sample.loadings, sample.thickness)[1]
        straight = beam(workshop, sample.base, sample.loadings, sample.thickness)
        total, regular = float(weights @ through / weights.sum()), float(weights @ straight / weights.sum())
        if total < 0.005:
            continue
        missed["total"].append((said.luminous_transmittance - total, said.luminous_transmittance_error))
        missed["regular"].append((said.regular_transmittance - regular, said.regular_transmittance_error))
        missed["haze"].append((said.haze - 1.0 + regular / total, said.haze_error))


def _told(missed: dict[str, list[tuple[float, float]]]) -> None:
    for name, pairs in missed.items():
        miss, stated = np.abs(np.array(pairs)).T
        print(f"{name}: mean {miss.mean():.4f}, 95 % {np.percentile(miss, 95):.4f}, worst {miss.max():.4f}; stated "
              f"{np.median(stated):.4f}, holds for {100 * np.mean(miss <= stated):.1f} % of {miss.size}")  # fmt: skip


def main() -> None:
    """Print one of the tables."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("what", choices=("slabs", "workshops", "evidence"))
    asked.add_argument("seeds", nargs="?", default="500:508")
    asked.add_argument("--count", type=int, default=30)
    asked.add_argument("--photons", type=int, default=200_000)
    asked.add_argument("--seed", type=int, default=5)
    given = asked.parse_args()
    if given.what == "slabs":
        slabs(given.count, given.photons, given.seed)
    else:
        judged = workshops if given.what == "workshops" else evidence
        judged(*(int(each) for each in given.seeds.split(":")))


if __name__ == "__main__":
    main()
