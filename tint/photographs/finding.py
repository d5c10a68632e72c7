"""Where a chart is, found in the picture by colour-checker-detection, which is there only when asked for.

Its segmentation gives a rectangle round each chart and the squares in it; a perspective through the squares' middles
says where the corner patches are. Which corner is which, the colours say: `find_arrangement`.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from tint.colorimetry import PATCHES
from tint.colorimetry.chart import COLUMNS, ROWS
from tint.errors import InputError, JobError
from tint.photographs.picture import Picture
from tint.photographs.places import Places, Spot, homography, moved

Array = NDArray[np.float64]

WORKING_WIDTH = 1440  # pixels: what the segmentation's own settings are made for
# Squares that have to be found before a perspective through them is worth anything: half of a chart; common practice,
# no source.
LEAST_SQUARES = 12
_NEAR = 0.4  # of the distance between patches: less than half of it, so that no square is taken for its neighbour

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


# The photograph with what was taken for what: patches and spots outlined, the spots numbered, a key beside it.


LONG_SIDE = 1600  # pixels
_PAPER, _INK = (222, 222, 222), (28, 28, 28)  # a neutral grey: it lends no colour to what is looked at
_LIGHT, _DARK = (255, 255, 255), (28, 28, 28)
_LETTERS, _LINE, _MARGIN = 14, 20, 16  # pixels
_CORNERS = (0, 5, 18, 23)


def draw(picture: Picture, places: Places, spots: Sequence[Spot]) -> bytes:
    """The photograph, not larger than a screen, and beside it the spots by number; as PNG."""
    scale = min(1.0, LONG_SIDE / max(picture.width, picture.height))
    size = (max(round(picture.width * scale), 1), max(round(picture.height * scale), 1))
    seen = Image.fromarray(picture.pixels)
    font = ImageFont.load_default(size=_LETTERS)
    assert isinstance(font, ImageFont.FreeTypeFont)  # pillow gives the bitmap font only where no size is asked
    key = _key(spots, size[1], font)
    image = Image.new("RGB", (size[0] + key.width, max(size[1], key.height)), _PAPER)
    image.paste(seen.resize(size, Image.Resampling.BOX) if scale < 1.0 else seen, (0, 0))
    image.paste(key, (size[0], 0))
    pen = ImageDraw.Draw(image)
    for quad in (*places.patches, *places.spots):
        _outline(pen, scale * quad)
    for at in _CORNERS:
        _word(pen, scale * places.patches[at].mean(axis=0), PATCHES[at], font)
    for number, quad in enumerate(places.spots, start=1):
        _word(pen, scale * quad.mean(axis=0), str(number), font)
    held = io.BytesIO()
    image.save(held, format="PNG")
    return held.getvalue()


def _key(spots: Sequence[Spot], height: int, font: ImageFont.FreeTypeFont) -> Image.Image:
    """Numbers and names in columns."""
    lines = [f"{at}  {_plain(spot.where)}" for at, spot in enumerate(spots, start=1)]
    rows = max((height - 2 * _MARGIN) // _LINE, 8)
    columns = [lines[at : at + rows] for at in range(0, len(lines), rows)]
    widths = [int(max(font.getlength(line) for line in column)) + _MARGIN for column in columns]
    image = Image.new("RGB", (sum(widths) + _MARGIN, rows * _LINE + 2 * _MARGIN), _PAPER)
    pen, left = ImageDraw.Draw(image), _MARGIN
    for column, width in zip(columns, widths, strict=True):
        for row, line in enumerate(column):
            pen.text((left, _MARGIN + row * _LINE), line, fill=_INK, font=font)
        left += width
    return image


def _plain(words: str) -> str:
    return words[:60].encode("ascii", "replace").decode()


def _outline(pen: ImageDraw.ImageDraw, quad: Array) -> None:
    """A light line on a dark one, so that it shows on any colour."""
    points = [(float(x), float(y)) for x, y in (*quad, quad[0])]
    pen.line(points, fill=_DARK, width=3, joint="curve")
    pen.line(points, fill=_LIGHT, width=1)


def _word(pen: ImageDraw.ImageDraw, at: Array, word: str, font: ImageFont.FreeTypeFont) -> None:
    place = (float(at[0]), float(at[1]))
    pen.text(place, word, fill=_LIGHT, font=font, anchor="mm", stroke_width=2, stroke_fill=_DARK)
