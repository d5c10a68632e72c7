"""Label squares: how many castings are found, how many misread, and how far colours are from those of typed pixels.

    python tests/figures/squares.py [--count 20]

tests/squares_example.py draws the tables; slant, turns, blur, noise, light, size and two hidden squares of each are
drawn at random. Besides, every table is laid once more with each casting on the wrong side of its square.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from squares_example import Drawn, Scene, draw

from tint.colorimetry import difference
from tint.errors import JobError
from tint.photographs import Spot, chart_reference, find_arrangement, locate, photograph
from tint.photographs.places import find_corners
from tint.photographs.squares import CASTING, READ, by_squares, check_apart


def drawn(seed: int, *, wrong_side: bool = False) -> Drawn:
    rng = np.random.default_rng(1000 + seed)
    return draw(
        Scene(
            seed=seed,
            wrong_side=wrong_side,
            tilt=rng.uniform(0.0, 2.0 if wrong_side else 10.0),
            slant=rng.uniform(0.0, 0.16),
            blur=rng.uniform(0.3, 1.6),
            noise=rng.uniform(0.002, 0.02),
            uneven=rng.uniform(0.0, 0.25),
            pixels_per_mm=rng.uniform(2.8, 6.0),
            hidden=tuple(int(each) for each in 40 + rng.choice(12, 2, replace=False)),
        )
    )


def is_refused(seen: Drawn) -> bool:
    try:
        by_squares(seen.picture, seen.squares)
    except JobError:
        return True
    return False


def chart_is_found(seen: Drawn) -> bool:
    try:
        return bool(find_corners(seen.picture))
    except JobError:
        return False


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=20)
    reference, white = chart_reference("D65", 10)
    there = found = misread = charts = refused = wrong = 0
    apart: list[float] = []
    for seed in range(parser.parse_args().count):
        seen = drawn(seed)
        told = by_squares(seen.picture, seen.squares)
        places = np.array([seen.middles[each.number] for each in told.seen])
        off = np.linalg.norm(np.array([[spot.x, spot.y] for spot in told.spots]) - places, axis=1) / seen.side_px
        there, found = there + len(seen.squares) - 2, found + len(told.seen)
        misread += int((off > 0.5 * (CASTING - READ)).sum())
        wrong += is_refused(drawn(seed, wrong_side=True))
        charts += chart_is_found(seen)
        typed = [
            Spot(name=spot.name, backing=spot.backing, seat=spot.seat, x=float(x), y=float(y))
            for spot, (x, y) in zip(told.spots, places, strict=True)
        ]
        corners, _ = find_arrangement(seen.picture, seen.corners, reference=reference, white=white)
        labs = []
        try:
            for spots in (told.spots, typed):
                at = locate(corners, spots, width=seen.picture.width, height=seen.picture.height)
                check_apart(told, at)
                read = photograph(
                    seen.picture, at, spots, reference=reference, white=white, light="D65", observer=10
                )  # fmt: skip
                labs.append(np.array([each.lab for each in read.spots]))
            apart += list(difference(*labs))
        except JobError as error:
            refused += 1
            print(seed, error)
    print(f"squares in sight {there}, found {found}, misread {misread}; charts found {charts}; refused {refused}")
    print(f"refused with castings on the wrong side of their squares: {wrong}")
    print(f"CIEDE2000 from typed pixels: mean {np.mean(apart):.2f}, most {np.max(apart):.2f} of {len(apart)} spots")


if __name__ == "__main__":
    main()
