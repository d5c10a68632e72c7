"""Where a chart is, found in the picture by colour-checker-detection, which is there only when asked for.

Its segmentation gives a rectangle round each chart and the squares in it; a perspective through the squares' middles
says where the corner patches are. Which corner is which, the colours say: `find_arrangement`.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tint.colorimetry.chart import COLUMNS, ROWS
from tint.errors import InputError, JobError
from tint.photographs.picture import Picture
from tint.photographs.places import homography, moved

Array = NDArray[np.float64]

WORKING_WIDTH = 1440  # pixels: what the segmentation's own settings are made for
# Squares that have to be found before a perspective through them is worth anything: half of a chart.
LEAST_SQUARES = 12
_NEAR = 0.4  # of the distance between patches

_BY_HAND = "name the corner patches with --corners"


def find_corners(picture: Picture) -> list[Array]:
    """Centres of four corner patches, shape (4, 2), of each chart that was found, in order round it [px].

    Raises
    ------
    InputError
        If the package that finds charts is not there.
    JobError
        If no chart was found.
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
    columns, rows = np.meshgrid(np.arange(COLUMNS), np.arange(ROWS))
    net = np.stack((columns.ravel(), rows.ravel()), axis=-1).astype(float)
    if not len(middles):
        return None
    expected = moved(homography(edges, rectangle), net)
    away = np.linalg.norm(expected[:, None] - middles, axis=-1)
    nearest = away.argmin(axis=1)
    held = away.min(axis=1) < _NEAR * sides[0] / COLUMNS
    if held.sum() < LEAST_SQUARES:
        return None
    matrix = homography(net[held], middles[nearest[held]])
    return moved(matrix, np.array([[0.0, 0.0], [COLUMNS - 1.0, 0.0], [COLUMNS - 1.0, ROWS - 1.0], [0.0, ROWS - 1.0]]))
