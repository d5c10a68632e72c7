"""Colours by photograph: how far they miss on castings of known spectra, whether the error holds, what is refused.

    python tests/figures/photographing.py [--count 24] [--seed 4001]

swatches_demo/camera.py renders the photographs from spectra: the bench's castings (bench.py, poured by iadpython)
beside a chart, through cameras, lights, lenses and JPEG. It shares no code with tint. The conditions are drawn at
random: tone curve, flare, fall of light, vignetting, noise, exposure, slant and compression; and the chart is one of
three, so that two photographs of three show another chart than the one that tint takes for granted. Castings, seed
and the cameras `phone` and `wide` were not looked at while the method was made.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from dataclasses import dataclass, field, replace

import bench
import camera
import numpy as np
from camera import Photograph, Shot
from numpy.typing import NDArray
from stock import BACKINGS

from tint import colorimetry
from tint.errors import JobError, TintError
from tint.photographs import Photographed, Picture, Spot, chart_reference, find_arrangement, locate, photograph
from tint.photographs.colours import check_chart

Array = NDArray[np.float64]

CARDS = (BACKINGS["black"], BACKINGS["white"])
CAMERAS = ("phone", "wide", "first", "second")
CHARTS = ("usual", "another print", "a standard's")
LIGHTS = {"daylight": ("D65", "D55", "D50"), "LED": ("LED-B3", "LED-V1"), "tubes": ("FL2", "FL11"), "lamp": ("A",)}


@dataclass(frozen=True, eq=False)
class Judged:
    """Of one photograph: CIEDE2000 of its spots, their stated errors, and why it was refused.

    `outside` marks the spots that tint itself says lie outside of the chart's colours.
    """

    asked: int
    away: Array = field(default_factory=lambda: np.zeros(0))
    stated: Array = field(default_factory=lambda: np.zeros(0))
    outside: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=bool))
    chart_missed: float = np.nan
    refused: str = ""


def drawn(light: str, rng: np.random.Generator) -> Shot:
    """A photograph as a careful maker would take it."""
    return Shot(
        camera=str(rng.choice(CAMERAS)),
        light=light,
        chart=str(rng.choice(CHARTS)),
        exposure=rng.uniform(0.7, 0.92),
        fall=rng.uniform(0.0, 0.25),
        vignette=rng.uniform(0.0, 0.2),
        flare=rng.uniform(0.0, 0.04),
        noise=rng.uniform(0.003, 0.015),
        contrast=rng.uniform(0.0, 0.6),
        slant=rng.uniform(0.0, 0.12),
        quality=int(rng.choice([80, 92, 98])),
        seed=int(rng.integers(2**31)),
    )


def judge(shot: Shot, castings: list[bench.Sample], *, with_card: bool = True, off: float = 0.0) -> Judged:
    """Photograph castings and read them; spots that tint refuses are left out as it says, and counted."""
    over_black = np.array([casting.black for casting in castings])
    over_white = np.array([casting.white for casting in castings])
    taken = camera.photograph(shot, over_black=over_black, over_white=over_white, cards=CARDS)
    true = camera.true_lab(np.concatenate((over_black, over_white)))
    places = [("black", *at) for at in taken.black] + [("white", *at) for at in taken.white]
    wanted = {f"{number}": Spot(name=f"{number}", backing=over, x=x, y=y) for number, (over, x, y) in enumerate(places)}
    card = [Spot(name="white", x=x, y=y) for x, y in taken.card] if with_card else []
    try:
        picture, corners = look(taken, off)
    except TintError as error:
        return Judged(len(places), refused=str(error))
    while True:
        try:
            told = read(picture, corners, [*wanted.values(), *card])
        except JobError as error:
            number = error.where.partition("/")[0]
            if number not in wanted:
                return Judged(len(places), refused=str(error))
            del wanted[number]
            continue
        found = {each.spot.name: each for each in told.spots if each.spot.name in wanted}
        return Judged(
            asked=len(places),
            away=np.array([float(colorimetry.difference(true[int(name)], each.lab)) for name, each in found.items()]),
            stated=np.array([each.error for each in found.values()]),
            outside=np.array([each.outside for each in found.values()]),
            chart_missed=told.missed_mean,
        )


def look(taken: Photograph, off: float) -> tuple[Picture, Array]:
    """The picture, and where the chart is in it."""
    reference, white = chart_reference("D65", 10)
    picture = Picture(taken.pixels, "photograph")
    corners, plain = find_arrangement(picture, taken.corners + off, reference=reference, white=white)
    check_chart(plain)
    return picture, corners


def read(picture: Picture, corners: Array, spots: list[Spot]) -> Photographed:
    """What tint says of a photograph."""
    reference, white = chart_reference("D65", 10)
    places = locate(corners, spots, width=picture.width, height=picture.height)
    return photograph(picture, places, spots, reference=reference, white=white, light="D65", observer=10)


def row(label: str, judged: list[Judged], *, inside: bool = False) -> str:
    kept = [~(j.outside & inside) for j in judged]
    away = np.concatenate([j.away[k] for j, k in zip(judged, kept, strict=True)])
    stated = np.concatenate([j.stated[k] for j, k in zip(judged, kept, strict=True)])
    if not away.size:
        return f"{label:28s} none could be read"
    chart = np.nanmean([j.chart_missed for j in judged])
    numbers = f"{away.mean():6.2f} {np.quantile(away, 0.95):6.2f} {away.max():6.2f} {np.median(stated):7.2f}"
    spared, refused = 1.0 - away.size / sum(j.asked for j in judged), sum(bool(j.refused) for j in judged)
    held = 100.0 * np.mean(away <= stated)
    return f"{label:28s} {numbers} {held:6.1f} {chart:7.2f} {100 * spared:7.1f} {refused:4d} of {len(judged)}"


HEADER = f"{'CIEDE2000, D65, 10 degrees':28s} {'mean':>6s} {'95 %':>6s} {'max':>6s} {'stated':>7s} {'holds%':>6s} {'chart':>7s} {'spared%':>7s} refused"  # noqa: E501


def refusals(castings: list[bench.Sample]) -> None:
    """Photographs that no one should trust, and what is said of them."""
    usual = Shot(camera="phone", flare=0.01, contrast=0.3, seed=5)
    bad = {
        "overexposed": replace(usual, exposure=1.2),
        "three stops too dark": replace(usual, exposure=0.09),
        "noisy": replace(usual, noise=0.25, exposure=0.5),
        "light falls to half": replace(usual, fall=0.5, vignette=0.2),
    }
    print("\nrefused:")
    for label, shot in bad.items():
        print(f"  {label:22s} {judge(shot, castings).refused or 'NOT REFUSED'}")
    print(f"  {'uneven, no white card':22s} {judge(replace(usual, fall=0.45), castings, with_card=False).refused}")
    print(f"  {'corners one patch off':22s} {judge(usual, castings, off=57.0).refused or 'NOT REFUSED'}")
    print(f"  {'corners beside a chart':22s} {judge(usual, castings, off=400.0).refused or 'NOT REFUSED'}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=24, help="photographs of each kind of light")
    parser.add_argument("--seed", type=int, default=4001)
    args = parser.parse_args()
    rng = np.random.default_rng(args.seed)
    sets = [[s for kind in bench.KINDS for s in bench.held_out(kind, 4, args.seed + each)] for each in range(6)]
    by_camera, by_chart = defaultdict(list), defaultdict(list)
    daylight: list[tuple[Shot, list[bench.Sample]]] = []
    print(HEADER)
    for kind, lights in LIGHTS.items():
        judged = []
        for at in range(args.count):
            shot, castings = drawn(lights[at % len(lights)], rng), sets[at % len(sets)]
            judged.append(judge(shot, castings))
            if kind == "daylight":
                daylight.append((shot, castings))
                by_camera[shot.camera].append(judged[-1])
                by_chart[shot.chart].append(judged[-1])
        print(row(kind, judged), flush=True)
        print(row(f"{kind}, not `outside`", judged, inside=True), flush=True)
        for why in sorted({j.refused for j in judged if j.refused}):
            print(f"    {why}")
    for label, each in (*by_camera.items(), *by_chart.items()):
        print(row(f"daylight, {label}", each))
    print(row("daylight, no white card", [judge(shot, castings, with_card=False) for shot, castings in daylight]))
    straight = [judge(replace(shot, coding="straight", quality=0), castings) for shot, castings in daylight]
    print(row("daylight, raw", straight))
    refusals(sets[0])


if __name__ == "__main__":
    main()
