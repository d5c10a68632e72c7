"""Photograph some of the invented castings: writes photograph.jpg and spots.csv, the spots in it.

A scene of camera.py, which invents the camera too: the castings as poured by pour.py, over both cards, beside a
24-patch chart, in daylight that falls off to the right. Run `python swatches_demo/shoot.py [FOLDER]`.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import numpy as np
from camera import Photograph, Shot, photograph
from pour import FOLDER, cast, plan
from stock import BACKINGS

CASTINGS = (
    "white-0.8-3mm", "ochre-tint-1", "ochre-tint-2", "red-tint-1", "blue-tint-1", "green-tint-1", "black-tint-1",
    "black-tint-2", "grey-thick", "celadon-lid", "peach-lid", "moon-diffuser",
)  # fmt: skip
SHOT = Shot(
    camera="close", light="D65", fall=0.12, vignette=0.10, flare=0.02, contrast=0.3, noise=0.006, slant=0.08,
    quality=86, pixels_per_mm=2.25, seed=20,
)  # fmt: skip


def shoot() -> Photograph:
    """The photograph."""
    orders = {order.name: order for order in plan()}
    castings = [cast(o.base, o.loadings, o.mould_mm) for o in (orders[name] for name in CASTINGS)]
    over = {"over_black": np.array([c.black for c in castings]), "over_white": np.array([c.white for c in castings])}
    return photograph(SHOT, **over, cards=(BACKINGS["black"], BACKINGS["white"]))


def rows(taken: Photograph) -> list[list[object]]:
    """Rows of spots.csv: the castings over each card, then the bare cards."""
    named = [
        [name, backing, "air", *middle]
        for backing, middles in (("black", taken.black), ("white", taken.white))
        for name, middle in zip(CASTINGS, middles, strict=True)
    ]
    between = 0.5 * (taken.black[0:8:3] + taken.black[1:9:3])
    bare = [[name, "", "", *at] for name, places in (("black", between), ("white", taken.card)) for at in places]
    return [[*row[:3], *(round(float(value)) for value in row[3:])] for row in [*named, *bare]]


def main() -> None:
    """Write the folder named on the command line, or this one."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    taken = shoot()
    (folder / "photograph.jpg").write_bytes(taken.data)
    with (folder / "spots.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file, lineterminator="\n").writerows([["name", "backing", "seat", "x", "y"], *rows(taken)])
    print("corners", *(",".join(f"{value:.0f}" for value in corner) for corner in taken.corners))


if __name__ == "__main__":
    main()
