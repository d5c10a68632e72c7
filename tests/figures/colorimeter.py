"""A palette learned from a colorimeter's L*, a*, b* alone, judged on castings that stand in no folder.

    python tests/figures/colorimeter.py [--seed 20] [--count 40] [--only WORKSHOP]

The demo's plan is poured by the bench (bench.py, which shares no code with tint), and what a spectrophotometer would
have read is turned into L*, a*, b* (D65, 10 degrees) by colour-science, with noise on X, Y and Z. The folder holds
nothing else: no spectra, no transmittance. Predictions are judged against spectra of other castings, in the light of
the readings and in two that the colorimeter never saw.
"""

from __future__ import annotations

import argparse
import csv
import re
import tempfile
from dataclasses import dataclass
from pathlib import Path

import bench
import colour
import numpy as np
from numpy.typing import NDArray
from pour import STUDIO

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.fitting import fit_palette
from tint.materials import Blend
from tint.palette import Palette
from tint.swatches import read_folder

Array = NDArray[np.float64]

SEED = 20
LIGHTS = ("D65", "A", "FL11")


@dataclass(frozen=True, kw_only=True)
class Workshop:
    """A colorimeter and how much was cast.

    Attributes
    ----------
    noise
        Standard deviation of X, Y and Z, each as a share of a perfect white's.
    every
        Only every so many of the coloured castings; the uncoloured ones are all kept.
    backings
        Over which cards the castings are read.
    """

    noise: float
    every: int = 1
    backings: tuple[str, ...] = ("black", "white")


WORKSHOPS = {
    "fair colorimeter": Workshop(noise=0.001),
    "cheap colorimeter": Workshop(noise=0.003),
    "cheap, a third of the castings": Workshop(noise=0.003, every=3),
    "cheap, over white only": Workshop(noise=0.003, backings=("white",)),
}


def write_colours(source: Path, target: Path, workshop: Workshop, *, seed: int) -> None:
    """A folder of colours from a folder of spectra."""
    target.mkdir()
    declared = (source / "palette.toml").read_text("utf-8")
    known = f'repeatability = {workshop.noise}\nlight = "D65"\nobserver = 10\n'
    (target / "palette.toml").write_text(re.sub(r"repeatability = .*\n", known, declared), "utf-8")
    with (source / "swatches.csv").open(encoding="utf-8", newline="") as file:
        header, *castings = csv.reader(file)
    plain = [row for row in castings if not any(row[3 : header.index("note")])]
    coloured = [row for row in castings if row not in plain]
    kept = plain + coloured[:: workshop.every]
    write(target / "swatches.csv", [header, *kept])
    with (source / "readings.csv").open(encoding="utf-8", newline="") as file:
        columns, *readings = csv.reader(file)
    names = {row[0] for row in kept}
    first = next(at for at, column in enumerate(columns) if column[:1].isdigit())
    wavelengths = np.array(columns[first:], dtype=float)
    rows = [
        row
        for row in readings
        if not row[columns.index("backing")]
        or (row[0] in names and row[columns.index("backing")] in workshop.backings and "transmittance" not in row)
    ]
    spectra = np.array([row[first:] for row in rows], dtype=float)
    lab = read_by_colorimeter(spectra, wavelengths, noise=workshop.noise, rng=np.random.default_rng([seed, 77]))
    places = [columns.index(name) for name in ("swatch", "backing", "seat")]
    labelled = [[row[at] for at in places] for row in rows]
    told = [[*label, *(f"{x:.2f}" for x in each)] for label, each in zip(labelled, lab, strict=True)]
    write(target / "readings.csv", [["swatch", "backing", "seat", "L", "a", "b"], *told])


def write(path: Path, rows: list[list[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)


def read_by_colorimeter(spectra: Array, wavelengths: Array, *, noise: float, rng: np.random.Generator) -> Array:
    """L*, a*, b* in D65 for the 10 degree observer, by colour-science's functions."""
    shape = colour.SpectralShape(wavelengths[0], wavelengths[-1], wavelengths[1] - wavelengths[0])
    observer = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"].copy().align(shape).values
    power = observer * colour.SDS_ILLUMINANTS["D65"].copy().align(shape).values[:, None]
    share = (spectra @ power) / power.sum(axis=0)
    share = np.maximum(share + rng.normal(size=share.shape) * noise, 1e-3)
    white = colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["CIE 1964 10 Degree Standard Observer"]["D65"])
    return np.asarray(colour.XYZ_to_Lab(share * white, colour.XYZ_to_xy(white)), dtype=float)


def judge(palette: Palette, samples: list[bench.Sample], light: str) -> tuple[Array, NDArray[np.bool_], Array, Array]:
    """CIEDE2000 over black and over white, whether what was stated held, what that was, and misses in contrast ratio.

    The miss is that from what a spectrophotometer reads. What is stated is how far a colorimeter like that of the
    swatches reads from it, so that one judges whether it holds.
    """
    view = colorimetry.viewing(palette.wavelengths, light=light)
    rng = np.random.default_rng(5)
    away, held, stated, ratio = [], [], [], []
    for sample in samples:
        blend = Blend(sample.base, sample.loadings)
        for over, read in (("black", sample.black), ("white", sample.white)):
            setting = Setting(thickness_mm=sample.thickness, over=over, light=light)
            said = predict(palette, blend, setting=setting)
            away.append(float(colorimetry.difference(said.lab, colorimetry.lab(read, view))))
            noisy = colorimetry.xyz(read, view) / view.white + rng.normal(size=3) * palette.instrument.repeatability
            seen = colorimetry.xyz_to_lab(np.maximum(noisy, 1e-3), np.ones(3))
            held.append(float(colorimetry.difference(said.lab, seen)) <= said.expected_error)
            stated.append(said.expected_error)
        ratio.append(said.contrast_ratio - float(colorimetry.contrast_ratio(sample.black, sample.white, view)))
    return np.array(away), np.array(held), np.array(stated), np.array(ratio)


def row(label: str, away: Array, held: NDArray[np.bool_], stated: Array, ratio: Array) -> str:
    opacity = f"{np.abs(ratio).mean():.4f} {np.abs(ratio).max():.4f}" if np.isfinite(ratio).all() else "not told"
    return (
        f"  {label:22s} {away.mean():6.2f} {np.quantile(away, 0.95):6.2f} {away.max():6.2f}   "
        f"{np.median(stated):6.2f} {100 * held.mean():6.1f} %   {opacity}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--only", action="append", choices=list(WORKSHOPS))
    args = parser.parse_args()
    samples = {kind: bench.held_out(kind, args.count, args.seed, workshop=STUDIO) for kind in bench.KINDS}
    with tempfile.TemporaryDirectory() as place:
        source = Path(place) / "spectra"
        bench.pour_folder(source, seed=args.seed)
        for number, name in enumerate(args.only or WORKSHOPS):
            target = Path(place) / f"colours {number}"
            write_colours(source, target, WORKSHOPS[name], seed=args.seed)
            palette = fit_palette(read_folder(target))
            print(f"\n{name}: {len(palette.swatches)} castings, {palette.evidence.read.shape[0]} readings")
            print(f"  {'CIEDE2000':22s} {'mean':>6s} {'95 %':>6s} {'max':>6s}   stated  holds for   contrast ratio off")
            for kind, each in samples.items():
                print(row(f"{kind}, D65", *judge(palette, each, "D65")))
            for light in LIGHTS:
                judged = [judge(palette, each, light) for each in samples.values()]
                print(row(f"all, {light}", *(np.concatenate(part) for part in zip(*judged, strict=True))))


if __name__ == "__main__":
    main()
