"""The photograph with what was taken for what: patches and spots outlined, the spots numbered, a key beside it."""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from tint.colorimetry import PATCHES
from tint.photographs.picture import Picture
from tint.photographs.places import Places, Spot

Array = NDArray[np.float64]

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
