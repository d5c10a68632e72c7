"""A palette learned from photographs alone, judged on castings that stand in no folder.

    python tests/figures/photographed_palette.py [--seed 20] [--count 40]

The demo's plan is poured by the bench (bench.py, which shares no code with tint), laid on a black and a white card
beside a chart, twelve castings at a time, and photographed by swatches_demo/camera.py: one invented phone camera,
daylight, a chart that is not quite the one tint takes for granted, and in each picture another fall of light, flare,
tone curve, noise and slant. What `tint photograph` says of each picture goes through `tint import` into a folder that
holds nothing else, with the `repeatability` that it asks for; spots that it refuses are left out, as it says.
Predictions are judged against the spectra of other castings, and against photographs of them by the same camera.
"""

from __future__ import annotations

import argparse
import csv
import re
import tempfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import bench
import camera
import numpy as np
import pour
from camera import Shot
from numpy.typing import NDArray
from photographing import CARDS, drawn, look, read

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.errors import JobError
from tint.fitting import fit_palette
from tint.materials import Blend
from tint.palette import Palette
from tint.photographs import Photographed, Spot, repeatability
from tint.photographs.tables import colours_csv
from tint.swatches import read_folder
from tint.swatches.import_plan import Doubles
from tint.swatches.importing import plan_import, write_import
from tint.swatches.instruments import read_measurements

Array = NDArray[np.float64]

SEED = 20
CAMERA, CHART, DAYLIGHT = "phone", "another print", ("D65", "D55", "D50")
AT_ONCE = 12  # castings that a picture holds


@dataclass(frozen=True, kw_only=True, eq=False)
class Laid:
    """A casting to be photographed: its name, and its spectra over the two cards."""

    name: str
    black: Array
    white: Array


def next_shot(rng: np.random.Generator) -> Shot:
    """The next picture that this workshop takes."""
    return replace(drawn(str(rng.choice(DAYLIGHT)), rng), camera=CAMERA, chart=CHART)


def photographed(castings: Sequence[Laid], shot: Shot) -> tuple[Photographed | None, int]:
    """What tint says of a picture, None if it refuses it, and how many spots it refused."""
    spectra = {over: np.array([getattr(each, over) for each in castings]) for over in ("black", "white")}
    taken = camera.photograph(shot, over_black=spectra["black"], over_white=spectra["white"], cards=CARDS)
    laid = [
        Spot(name=each.name, backing=over, seat="air", x=x, y=y)
        for over, places in (("black", taken.black), ("white", taken.white))
        for each, (x, y) in zip(castings, places, strict=True)
    ]
    between = 0.5 * (taken.black[:-1] + taken.black[1:])
    bare = [Spot(name="black", x=x, y=y) for x, y in between] + [Spot(name="white", x=x, y=y) for x, y in taken.card]
    picture, corners = look(taken, 0.0)
    wanted = {spot.where: spot for spot in laid}
    while True:
        try:
            return read(picture, corners, [*wanted.values(), *bare]), len(laid) - len(wanted)
        except JobError as error:
            if error.where not in wanted:
                return None, len(laid)
            del wanted[error.where]


def poured(seed: int) -> list[Laid]:
    """The plan's castings, with the luck that `bench.pour_folder` gives them."""
    luck = {order.name: np.random.default_rng([seed, zlib.crc32(order.name.encode())]) for order in pour.plan()}
    castings = [(o.name, pour.cast(o.base, o.loadings, o.mould_mm, rng=luck[o.name])) for o in pour.plan()]
    return [Laid(name=name, black=each.black, white=each.white) for name, each in castings]


def albums(castings: Sequence[Laid], rng: np.random.Generator) -> tuple[list[Photographed], int]:
    """All pictures of castings that tint could read, and how many spots it refused."""
    told, spared = [], 0
    for start in range(0, len(castings), AT_ONCE):
        found, refused = photographed(castings[start : start + AT_ONCE], next_shot(rng))
        spared += refused
        told += [found] if found else []
    return told, spared


def build(folder: Path, pictures: Sequence[Photographed], *, seed: int, stated: float | None) -> None:
    """A folder of colours, by the way a maker goes."""
    bench.pour_folder(folder, seed=seed)
    (folder / "readings.csv").unlink()
    stated = stated or float(np.mean([repeatability(each) for each in pictures]))
    known = f'repeatability = {stated:.2g}\nlight = "D65"\nobserver = 10\n'
    declared = (folder / "palette.toml").read_text("utf-8")
    (folder / "palette.toml").write_text(re.sub(r"repeatability = .*\n", known, declared), "utf-8")
    seen = {spot.spot.name for each in pictures for spot in each.spots}
    with (folder / "swatches.csv").open(encoding="utf-8", newline="") as file:
        header, *rows = csv.reader(file)
    with (folder / "swatches.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([header, *(row for row in rows if row[0] in seen)])
    for number, each in enumerate(pictures):
        colours = folder.with_name(f"colours {number}.csv")
        colours.write_bytes(colours_csv(each))
        write_import(plan_import(folder, read_measurements(colours), doubles=Doubles(add=True)))


@dataclass(frozen=True, kw_only=True, eq=False)
class Judged:
    """By reading: CIEDE2000 from prediction to the spectrum and to a photograph (NaN: refused), and what was stated.

    `ratio` is by casting: what the contrast ratio is off by, and what was stated of that.
    """

    away: Array
    by_photograph: Array
    stated: Array
    ratio: Array
    ratio_stated: Array


def judge(palette: Palette, samples: Sequence[bench.Sample], rng: np.random.Generator) -> Judged:
    """Predictions of castings against what they are, and what the workshop's camera would say of them."""
    view = colorimetry.viewing(palette.wavelengths, light="D65", observer=10)
    laid = [Laid(name=f"{at}", black=each.black, white=each.white) for at, each in enumerate(samples)]
    seen = {spot.spot.where: spot.lab for told in albums(laid, rng)[0] for spot in told.spots}
    away, camera_away, stated, ratio, ratio_stated = [], [], [], [], []
    for at, sample in enumerate(samples):
        for over, spectrum in (("black", sample.black), ("white", sample.white)):
            setting = Setting(thickness_mm=sample.thickness, over=over)
            said = predict(palette, Blend(sample.base, sample.loadings), setting=setting)
            away.append(float(colorimetry.difference(said.lab, colorimetry.lab(spectrum, view))))
            lab = seen.get(f"{at}/{over}/air")
            camera_away.append(np.nan if lab is None else float(colorimetry.difference(said.lab, lab)))
            stated.append(said.expected_error)
        true = float(colorimetry.contrast_ratio(sample.black, sample.white, view))
        ratio.append(abs(said.contrast_ratio - true))
        ratio_stated.append(said.contrast_ratio_error)
    told = (away, camera_away, stated, ratio, ratio_stated)
    return Judged(**dict(zip(Judged.__dataclass_fields__, map(np.array, told), strict=True)))


def row(label: str, judged: Sequence[Judged]) -> str:
    away, seen, stated, ratio, ratio_stated = (
        np.concatenate([getattr(each, name) for each in judged]) for name in Judged.__dataclass_fields__
    )
    known = np.isfinite(seen)
    held = [100.0 * np.mean(part) for part in (away <= stated, seen[known] <= stated[known], ratio <= ratio_stated)]
    return (
        f"{label:14s} {away.mean():6.2f} {np.quantile(away, 0.95):6.2f} {away.max():6.2f} {np.median(stated):8.2f} "
        f"{held[0]:8.1f} {held[1]:11.1f}     "
        f"{ratio.mean():.3f} {np.quantile(ratio, 0.95):.3f} {ratio.max():.3f} {held[2]:8.1f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=40, help="castings of each kind")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--repeatability", type=float, help="in place of what tint photograph asks for")
    args = parser.parse_args()
    rng = np.random.default_rng([args.seed, 31])
    castings = poured(args.seed)
    pictures, spared = albums(castings, rng)
    samples = {kind: bench.held_out(kind, args.count, args.seed) for kind in bench.KINDS}
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "photographs"
        build(folder, pictures, seed=args.seed, stated=args.repeatability)
        palette = fit_palette(read_folder(folder))
    missed = np.mean([each.missed_mean for each in pictures])
    print(f"{len(pictures)} photographs; {spared} of {2 * len(castings)} spots refused; chart missed by {missed:.2f}")
    noise = f"{palette.instrument.repeatability:g}, model error {38.7 * palette.model_error:.2f} L*"
    print(f"{len(palette.swatches)} castings, {len(palette.evidence.read)} colours; repeatability {noise}\n")
    head = f"{'mean':>6s} {'95 %':>6s} {'max':>6s} {'stated':>8s} {'holds %':>8s} {'by camera %':>11s}"
    print(f"{'CIEDE2000':14s} {head}     contrast ratio off: mean, 95 %, max, holds %")
    judged = {kind: judge(palette, each, rng) for kind, each in samples.items()}
    for kind, each in judged.items():
        print(row(kind, [each]))
    print(row("all", list(judged.values())))


if __name__ == "__main__":
    main()
