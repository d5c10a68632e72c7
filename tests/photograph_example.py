"""A photograph of known truth for tests: eight castings over two cards, seen by a camera that tint knows nothing of."""

from __future__ import annotations

import functools
import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "swatches_demo"
sys.path.insert(0, str(DEMO))

import camera  # noqa: E402
from camera import Shot  # noqa: E402
from stock import BACKINGS, WAVELENGTHS, band, edge  # noqa: E402

from tint import colorimetry  # noqa: E402
from tint.photographs import (  # noqa: E402
    Photographed,
    Picture,
    Spot,
    chart_reference,
    find_arrangement,
    locate,
    photograph,
)
from tint.photographs.colours import check_chart  # noqa: E402

Array = NDArray[np.float64]

SHOT = Shot(camera="parted", fall=0.1, vignette=0.1, flare=0.02, contrast=0.4, pixels_per_mm=1.2, quality=95, seed=3)
WAVES = WAVELENGTHS
# Colours that the invented pigments make, over white; over black a little darker.
CASTINGS = np.stack(
    [
        0.8 - 0.1 * edge(WAVES, 450, 30),
        0.75 - 0.6 * edge(WAVES, 500, 15),
        0.7 - 0.55 * edge(WAVES, 585, 12),
        0.15 + 0.35 * band(WAVES, 480, 50),
        0.15 + 0.3 * band(WAVES, 530, 40),
        0.25 + 0.0 * WAVES,
        0.06 + 0.0 * WAVES,
        0.5 - 0.3 * band(WAVES, 540, 40),
    ]
)
CARDS = (BACKINGS["black"], BACKINGS["white"])
REFERENCE, WHITE = chart_reference("D65", 10)


@functools.cache
def true_lab() -> Array:
    """CIELAB of the castings over black, then over white; asked for, since it imports colour-science."""
    return camera.true_lab(np.concatenate((0.85 * CASTINGS, CASTINGS)))


def spots_of(taken: camera.Photograph, *, card: bool = True) -> list[Spot]:
    rows = [("black", taken.black), ("white", taken.white)]
    castings = [Spot(name=f"s{at}", backing=over, x=x, y=y) for over, row in rows for at, (x, y) in enumerate(row)]
    return castings + [Spot(name="white", x=x, y=y) for x, y in taken.card] * card


@functools.cache
def taken_by(shot: Shot) -> camera.Photograph:
    return camera.photograph(shot, over_black=0.85 * CASTINGS, over_white=CASTINGS, cards=CARDS)


@functools.cache
def told_of(shot: Shot, *, card: bool = True, off: float = 0.0, spots: tuple[Spot, ...] | None = None) -> Photographed:
    taken = taken_by(shot)
    picture = Picture(taken.pixels, "test")
    corners, plain = find_arrangement(picture, taken.corners + off, reference=REFERENCE, white=WHITE)
    every = spots_of(taken, card=card) if spots is None else spots
    places = locate(corners, every, width=picture.width, height=picture.height)
    check_chart(plain)
    return photograph(picture, places, every, reference=REFERENCE, white=WHITE, light="D65", observer=10)


def misses(told: Photographed) -> tuple[Array, Array]:
    """CIEDE2000 of the castings, and what the photograph said they might be."""
    truth = true_lab()
    spots = told.spots[: len(truth)]
    away = colorimetry.difference(truth, np.array([each.lab for each in spots]))
    return away, np.array([each.error for each in spots])
