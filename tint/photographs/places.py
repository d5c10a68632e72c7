"""Where things are in a photograph: the chart's patches from four of them, by perspective, and the spots asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.colorimetry.chart import COLUMNS, ROWS
from tint.errors import InputError

Array = NDArray[np.float64]

# Of the distance between patch centres; patches fill about 0.85 of it (common practice, no source), so this is the
# inner half of each.
PATCH_SIDE = 0.42
# Pixels from patch to patch: with fewer, the inner half is three pixels across, and no mean.
LEAST_PATCH_PX = 8.0
# How many times longer one side of the chart may look than the one across before it was photographed too much from the
# side; common practice, no source.
MOST_SLANT = 3.0

_CORNER_PLACES = np.array([[0.0, 0.0], [COLUMNS - 1.0, 0.0], [COLUMNS - 1.0, ROWS - 1.0], [0.0, ROWS - 1.0]])


@dataclass(frozen=True, kw_only=True)
class Spot:
    """A place whose colour is asked for."""

    # as readings are named: a swatch over a backing, or a backing alone; blank where not told
    name: str
    backing: str = ""
    seat: str = ""
    # its centre, from the picture's upper left corner [px]
    x: float
    y: float
    # side of the square that is averaged; as large as a chart patch's inner half where not told [px]
    size: float | None = None

    @property
    def where(self) -> str:
        """How it is named: NAME/BACKING/SEAT."""
        return "/".join(each for each in (self.name, self.backing, self.seat) if each)


@dataclass(frozen=True, eq=False)
class Places:
    """Quadrilaterals to average over, in pixels."""

    patches: Array  # shape (24, 4, 2): in the order of the chart's patches
    spots: Array  # shape (n_spots, 4, 2): in the order asked for
    # shape (2,); ndarray, shape (2,); float: middle of the chart, the direction of its rows, and the distance between
    # its patches [px]
    centre: Array
    along: Array
    across: float

    def from_chart(self, quads: Array) -> Array:
        """Middles of quadrilaterals along and across the chart, from its middle in half lengths, shape (..., 2)."""
        axes = np.stack((self.along, [-self.along[1], self.along[0]]), axis=-1)
        return np.asarray((quads.mean(axis=-2) - self.centre) @ axes / (0.5 * COLUMNS * self.across))


def locate(corners: ArrayLike, spots: Sequence[Spot], *, width: int, height: int) -> Places:
    """Quadrilaterals of patches and spots.

    Parameters
    ----------
    corners : array_like, shape (4, 2)
        Centres of the corner patches A1, A6, D6 and D1 [px].
    width, height : int
        Of the picture [px].

    Raises
    ------
    InputError
        If corners are not four in order round a chart, too near to each other, or anything lies outside the picture.
    """
    points = np.asarray(corners, dtype=float)
    _check_corners(points)
    matrix = homography(_CORNER_PLACES, points)
    columns, rows = np.meshgrid(np.arange(COLUMNS), np.arange(ROWS))
    patches = moved(matrix, np.stack((columns.ravel(), rows.ravel()), axis=-1)[:, None] + 0.5 * PATCH_SIDE * _SQUARE)
    sides = np.linalg.norm(patches - np.roll(patches, 1, axis=-2), axis=-1)
    if sides.min() < LEAST_PATCH_PX * PATCH_SIDE:
        found = f"patches are only {sides.min() / PATCH_SIDE:.1f} pixels apart"
        raise InputError(
            "corners", found, f"at least {LEAST_PATCH_PX:g}", "use the photograph in full size, or go nearer"
        )
    across = float(np.median(sides)) / PATCH_SIDE
    squares = np.array([_square(spot, PATCH_SIDE * across) for spot in spots]).reshape(-1, 4, 2)
    _check_inside(patches, "the chart", width, height)
    for spot, square in zip(spots, squares, strict=True):
        _check_inside(square, spot.where, width, height)
    row = points[1] + points[2] - points[0] - points[3]
    return Places(patches, squares, points.mean(axis=0), row / np.linalg.norm(row), across)


_SQUARE = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])


def _square(spot: Spot, usual: float) -> Array:
    side = usual if spot.size is None else spot.size
    if side < LEAST_PATCH_PX * PATCH_SIDE:
        raise InputError(spot.where, f"{side:g} pixels across", "at least 4", "go nearer, or leave the size out")
    return np.asarray([spot.x, spot.y] + 0.5 * side * _SQUARE)


def _check_corners(points: Array) -> None:
    if points.shape != (4, 2) or not np.isfinite(points).all():
        raise InputError("corners", f"{len(points)} places", "the centres of the four corner patches")
    steps = np.roll(points, -1, axis=0) - points
    ahead = np.roll(steps, -1, axis=0)
    turns = steps[:, 0] * ahead[:, 1] - steps[:, 1] * ahead[:, 0]
    if not (np.all(turns > 0) or np.all(turns < 0)):
        raise InputError("corners", "the four do not go round a chart", mend="name them in order round its edge")
    lengths = np.linalg.norm(steps, axis=1)
    if (
        max(lengths[0] / lengths[2], lengths[2] / lengths[0], lengths[1] / lengths[3], lengths[3] / lengths[1])
        > MOST_SLANT
    ):
        raise InputError(
            "corners",
            "one side of the chart is more than three times as long as the one across",
            mend="photograph it from straight above",
        )


def _check_inside(quads: Array, what: str, width: int, height: int) -> None:
    low, high = quads.reshape(-1, 2).min(axis=0), quads.reshape(-1, 2).max(axis=0)
    if low.min() < 0 or high[0] > width - 1 or high[1] > height - 1:
        raise InputError(what, "reaches out of the picture", f"places within {width} x {height} pixels")


def homography(one: Array, two: Array) -> Array:
    """The perspective, shape (3, 3), that brings points nearest to others; four or more, shapes (n, 2)."""
    rows = []
    for (x, y), (u, v) in zip(one, two, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
    solved = np.linalg.lstsq(np.array(rows, dtype=float), two.ravel(), rcond=None)[0]
    return np.append(solved, 1.0).reshape(3, 3)


def moved(matrix: Array, points: Array) -> Array:
    """Points, shape (..., 2), under a perspective."""
    lifted = np.concatenate((points, np.ones((*points.shape[:-1], 1))), axis=-1) @ matrix.T
    return np.asarray(lifted[..., :2] / lifted[..., 2:])


def arrangements(corners: Array) -> list[Array]:
    """The eight ways in which four corners can be those of a chart: from each of them, round either way."""
    ways = [np.roll(corners, -start, axis=0) for start in range(4)]
    return [*ways, *(np.concatenate((way[:1], way[:0:-1])) for way in ways)]
