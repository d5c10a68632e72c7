"""Where things are in a photograph: the chart's patches from four of them, by perspective, and the spots asked for.

The chart is found by colour-checker-detection, which is there only when asked for. Its segmentation gives a rectangle
round each chart and the squares in it; a perspective through the squares' middles says where the corner patches are.
Which corner is which, the colours say: `find_arrangement`.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from PIL import Image

from tint.colorimetry import decode, difference, lab_to_xyz, root_matrix, root_terms, xyz_to_lab
from tint.colorimetry.spectra import COLUMNS, ROWS
from tint.errors import InputError, JobError
from tint.photographs.picture import Picture, sample
from tint.spectra import Array

# Of the distance between patch centres; patches fill about 0.85 of it (common practice, no source), so this is the
# inner half of each.
PATCH_SIDE = 0.42
# Pixels from patch to patch: with fewer, the inner half is three pixels across, and no mean.
LEAST_PATCH_PX = 8.0
# How many times longer one side of the chart may look than the one across before it was photographed too much from the
# side; common practice, no source.
MOST_SLANT = 3.0

# Round from the upper left, about its middle, of side 2.
SQUARE = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
_NET = np.array([[float(column), float(row)] for row in range(ROWS) for column in range(COLUMNS)])
_CORNER_PLACES = np.array([[0.0, 0.0], [COLUMNS - 1.0, 0.0], [COLUMNS - 1.0, ROWS - 1.0], [0.0, ROWS - 1.0]])


@dataclass(frozen=True, kw_only=True)
class Named:
    """What is named as readings are: a swatch over a backing, or a backing alone; blank where not told."""

    name: str
    backing: str = ""
    seat: str = ""

    @property
    def where(self) -> str:
        """NAME/BACKING/SEAT."""
        return "/".join(each for each in (self.name, self.backing, self.seat) if each)


@dataclass(frozen=True, kw_only=True)
class Spot(Named):
    """A place whose colour is asked for."""

    # its centre, from the picture's upper left corner [px]
    x: float
    y: float
    # side of the square that is averaged; as large as a chart patch's inner half where not told [px]
    size: float | None = None
    # the quadrilateral that is averaged, in place of the square, where a perspective is known [px]
    corners: tuple[tuple[float, float], ...] | None = None


@dataclass(frozen=True, eq=False)
class Places:
    """Quadrilaterals to average over, in pixels."""

    patches: Array  # shape (24, 4, 2): in the order of the chart's patches
    spots: Array  # shape (n_spots, 4, 2): in the order asked for
    centre: Array  # shape (2,): middle of the chart [px]
    along: Array  # shape (2,): the direction of its rows
    across: float  # from patch to patch [px]

    def from_chart(self, quads: Array) -> Array:
        """Middles of quadrilaterals along and across the chart, from its middle in half lengths, shape (..., 2)."""
        axes = np.stack((self.along, [-self.along[1], self.along[0]]), axis=-1)
        return np.asarray((quads.mean(axis=-2) - self.centre) @ axes / (0.5 * COLUMNS * self.across))


def locate(corners: ArrayLike, spots: Sequence[Spot], *, width: int, height: int) -> Places:
    """Quadrilaterals of patches and spots.

    `corners` (4, 2): centres of the corner patches A1, A6, D6 and D1 [px].
    `width`, `height`: of the picture [px].
    Raises InputError if corners are not four in order round a chart, too near to each other, or anything lies outside
        the picture.
    """
    points = np.asarray(corners, dtype=float)
    _check_corners(points)
    matrix = homography(_CORNER_PLACES, points)
    patches = moved(matrix, _NET[:, None] + 0.5 * PATCH_SIDE * SQUARE)
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


def _square(spot: Spot, usual: float) -> Array:
    if spot.corners is not None:
        return np.array(spot.corners)
    side = usual if spot.size is None else spot.size
    if side < LEAST_PATCH_PX * PATCH_SIDE:
        raise InputError(spot.where, f"{side:g} pixels across", "at least 4", "go nearer, or leave the size out")
    return np.asarray([spot.x, spot.y] + 0.5 * side * SQUARE)


def _check_corners(points: Array) -> None:
    if points.shape != (4, 2) or not np.isfinite(points).all():
        raise InputError("corners", f"{len(points)} places", "the centres of the four corner patches")
    steps = np.roll(points, -1, axis=0) - points
    ahead = np.roll(steps, -1, axis=0)
    turns = steps[:, 0] * ahead[:, 1] - steps[:, 1] * ahead[:, 0]
    if not (np.all(turns > 0) or np.all(turns < 0)):
        raise InputError("corners", "the four do not go round a chart", mend="name them in order round its edge")
    lengths = np.linalg.norm(steps, axis=1)
    if np.max(lengths / np.roll(lengths, 2)) > MOST_SLANT:
        found = "one side of the chart is more than three times as long as the one across"
        raise InputError("corners", found, mend="photograph it from straight above")


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


WORKING_WIDTH = 1440  # pixels: what the segmentation's own settings are made for
# Squares that have to be found before a perspective through them is worth anything: half of a chart; common practice,
# no source.
LEAST_SQUARES = 12
_NEAR = 0.4  # of the distance between patches: less than half of it, so that no square is taken for its neighbour

_BY_HAND = "name the corner patches with --corners"


def find_corners(picture: Picture) -> list[Array]:
    """Centres of four corner patches, shape (4, 2), of each chart that was found, in order round it [px].

    InputError if the package that finds charts is not there; JobError if no chart was found.
    """
    segment, settings = _segmentation()
    turned = picture.height > picture.width
    pixels = np.rot90(picture.pixels) if turned else picture.pixels
    scale = pixels.shape[1] / WORKING_WIDTH
    size = (WORKING_WIDTH, max(int(pixels.shape[0] / scale), 1))
    small = np.asarray(Image.fromarray(pixels).resize(size, Image.Resampling.BOX), dtype=np.float32) / 255.0
    with warnings.catch_warnings(), np.printoptions():
        warnings.simplefilter("ignore")
        found = segment(small, additional_data=True, **settings)
    middles = np.array([np.mean(each, axis=0) for each in found.swatches]).reshape(-1, 2)
    each = [_corners(np.asarray(rectangle, dtype=float), middles) for rectangle in found.rectangles]
    corners = [scale * (one + 0.5) - 0.5 for one in each if one is not None]
    if not corners:
        raise JobError("photograph", "no 24-patch chart was found", mend=_BY_HAND)
    if turned:
        corners = [np.stack((picture.width - 1 - one[:, 1], one[:, 0]), axis=-1) for one in corners]
    return corners


def _segmentation() -> tuple[Callable[..., Any], dict[str, Any]]:
    try:
        with warnings.catch_warnings(), np.printoptions():
            warnings.simplefilter("ignore")
            from colour_checker_detection.detection import segmentation
    except ImportError as error:
        absent = "the package that finds charts is missing or cannot be loaded"
        raise InputError("--find", absent, mend=f"run `pip install 'tint[photo]'`, or {_BY_HAND}") from error
    return segmentation.segmenter_default, dict(segmentation.SETTINGS_SEGMENTATION_COLORCHECKER_CLASSIC)


def _corners(rectangle: Array, middles: Array) -> Array | None:
    """Corner patches of the chart in a rectangle, by the squares that lie near its net; None where too few do."""
    sides = np.linalg.norm(np.roll(rectangle, -1, axis=0) - rectangle, axis=1)
    if sides[1] > sides[0]:
        rectangle, sides = np.roll(rectangle, -1, axis=0), np.roll(sides, -1)
    edges = np.array([[0.0, 0.0], [COLUMNS, 0.0], [COLUMNS, ROWS], [0.0, ROWS]]) - 0.5
    if not len(middles):
        return None
    expected = moved(homography(edges, rectangle), _NET)
    away = np.linalg.norm(expected[:, None] - middles, axis=-1)
    nearest = away.argmin(axis=1)
    held = away.min(axis=1) < _NEAR * sides[0] / COLUMNS
    if held.sum() < LEAST_SQUARES:
        return None
    return moved(homography(_NET[held], middles[nearest[held]]), _CORNER_PLACES)


def find_arrangement(picture: Picture, corners: ArrayLike, *, reference: Array, white: Array) -> tuple[Array, float]:
    """Corners in the order of the chart, from whichever they begin, and by how far it is off with a bare matrix.

    InputError as `locate`.
    """
    xyz, given = lab_to_xyz(reference, white), np.asarray(corners, dtype=float)
    best, least = given, np.inf
    for way in (given, np.roll(given, -1, axis=0)):
        patches = locate(way, (), width=picture.width, height=picture.height).patches
        seen, round_it = sample(picture, patches).mean.reshape(ROWS, COLUMNS, 3), way[[0, 1, 3, 2]].reshape(2, 2, 2)
        for turn in ((slice(None, None, down), slice(None, None, along)) for down in (1, -1) for along in (1, -1)):
            values = seen[turn].reshape(-1, 3)
            missed = min(_plain_miss(each, reference, xyz, white) for each in (decode(values), values))
            if missed < least:
                best, least = round_it[turn].reshape(4, 2)[[0, 1, 3, 2]], missed
    return best, least


def _plain_miss(responses: Array, reference: Array, xyz: Array, white: Array) -> float:
    held = np.maximum(responses, 1e-4)
    found = root_terms(held, 1) @ root_matrix(held, xyz, 1)
    return float(difference(reference, xyz_to_lab(np.maximum(found, 0.0), white)).mean())
