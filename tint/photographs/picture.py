"""A photograph as pixels, means over places in it, and a picture of them: PNG, TIFF or JPEG, upright.

A chart in the picture calibrates whatever the camera wrote, so a profile is told and not applied; without a chart the
profile is all that says what the pixels mean.
"""

from __future__ import annotations

import io
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageDraw, ImageFont, ImageOps, UnidentifiedImageError

from tint.colorimetry import PATCHES
from tint.errors import InputError
from tint.files import hushed
from tint.spectra import Array

FORMATS = ("PNG", "TIFF", "JPEG")
# A medium-format camera has 150 million pixels and a TIFF of that is 0.9 GB; a file past this is no photograph.
MOST_PIXELS = 160_000_000
MOST_BYTES = 1_000_000_000
# Twenty-four patches of less than 10 pixels each are nothing to take a mean of.
LEAST_SIDE = 80

# A place is cut into so many by so many cells, to see whether it is even.
CELLS = 3
# Levels of 255 from which on a camera may have cut off what it saw: the end and one beside it, for JPEG's rounding.
TOP, BOTTOM = 254, 1
# A pixel so many robust standard deviations from the middle of its place is a speck: of Gaussian noise 1 in 2 000.
SPECK = 3.5
_MOST_PER_SIDE = 96  # pixels; a place larger than that is sampled, at even distances: 9 000 are enough for a mean

_AT_MOST = f"at most {MOST_PIXELS // 1_000_000} million"
_SAVE_AGAIN = "save the photograph again as PNG, TIFF or JPEG"


@dataclass(frozen=True, eq=False)
class Picture:
    """A photograph."""

    pixels: NDArray[np.uint8]  # shape (height, width, 3): upright, as the file holds them [0 to 255]
    file: str  # its name
    notes: tuple[str, ...] = ()  # what was met in reading it

    @property
    def width(self) -> int:
        return int(self.pixels.shape[1])

    @property
    def height(self) -> int:
        return int(self.pixels.shape[0])

    def holds(self, places: Array) -> bool:
        """Whether places, shape (..., 2), lie in the picture [px]."""
        return bool(np.all((places >= 0.0) & (places <= [self.width - 1, self.height - 1])))


def read_picture(path: str | os.PathLike[str], *, as_srgb: bool = False) -> Picture:
    """Read a photograph.

    `as_srgb`: whether pixels of another profile are brought to sRGB: for a picture without a chart.
    Raises InputError if the file is missing, broken, too large or too small, grey, or of another format.
    """
    path = Path(path)
    where = str(path)
    try:
        size = path.stat().st_size
        data = path.read_bytes() if size <= MOST_BYTES else b""
    except OSError as error:
        raise InputError(where, error.strerror or "cannot be read", mend="name a photograph") from error
    if not data:
        found = "the file is empty" if not size else f"{size / 1e9:.1f} GB"
        raise InputError(where, found, f"a photograph of at most {MOST_BYTES / 1e9:g} GB", _SAVE_AGAIN)
    return _decoded(data, where, as_srgb=as_srgb)


def _decoded(data: bytes, where: str, *, as_srgb: bool) -> Picture:
    try:
        # What pillow and libtiff tell, a broken tag or a great many pixels, is harmless here or refused below.
        with hushed(), Image.open(io.BytesIO(data), formats=FORMATS) as image:
            _check(image, where)
            notes = () if as_srgb else _notes(image, data)
            image.load()
            upright = ImageOps.exif_transpose(image).convert("RGB")
            shown = _in_srgb(upright, image.info.get("icc_profile")) if as_srgb else upright
            pixels = np.asarray(shown, dtype=np.uint8)
    except UnidentifiedImageError as error:
        raise InputError(where, "is no PNG, TIFF or JPEG", "a photograph", _SAVE_AGAIN) from error
    except InputError:
        raise
    except Image.DecompressionBombError as error:
        raise InputError(where, "more pixels than a photograph has", _AT_MOST, "scale it down") from error
    except Exception as error:  # pillow's decoders raise whatever they like on broken bytes
        raise InputError(where, "the picture is broken", "a whole photograph", "copy or save it again") from error
    return Picture(pixels, where, notes)


def _check(image: Image.Image, where: str) -> None:
    width, height = image.size
    if width * height > MOST_PIXELS:
        raise InputError(where, f"{width} x {height} pixels", _AT_MOST, "scale it down")
    if min(width, height) < LEAST_SIDE:
        raise InputError(
            where, f"{width} x {height} pixels", f"at least {LEAST_SIDE} either way", "use the photograph in full size"
        )
    if image.mode not in ("RGB", "RGBA", "RGBX"):
        raise InputError(where, f"its pixels are {image.mode}, not red, green and blue", mend=_SAVE_AGAIN)


def _in_srgb(image: Image.Image, profile: object) -> Image.Image:
    """Pixels of a profile in sRGB; as they are where there is none, or a broken one."""
    if not isinstance(profile, bytes):
        return image
    try:
        own = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        return ImageCms.profileToProfile(image, own, ImageCms.createProfile("sRGB"), outputMode="RGB") or image
    except (ImageCms.PyCMSError, OSError, ValueError):
        return image


def _notes(image: Image.Image, data: bytes) -> tuple[str, ...]:
    told = []
    profile = _profile_name(image.info.get("icc_profile"))
    if profile and "srgb" not in profile.lower():
        told.append(
            f"its profile is {profile}, not sRGB; the pixels are taken as they are, the chart says what they mean"
        )
    if (image.format == "PNG" and data[24:25] == b"\x10") or _tiff_bits(image) == 16:
        told.append("of 16 bits a channel the upper 8 are read; a mean over hundreds of pixels is finer than that")
    if image.info.get("exif") and image.getexif().get(0x0112, 1) != 1:
        told.append("turned upright as the camera noted; places are counted in the upright picture")
    return tuple(told)


def _tiff_bits(image: Image.Image) -> int:
    tags = getattr(image, "tag_v2", None)
    bits = tags.get(258, (8,)) if image.format == "TIFF" and tags else (8,)
    return int(max(bits)) if isinstance(bits, tuple) else int(bits)


def _profile_name(profile: object) -> str:
    """What an embedded profile calls itself; empty where there is none."""
    if not isinstance(profile, bytes):
        return ""
    try:
        name = ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(profile)))
    except Exception:  # a broken profile changes nothing here
        return "one that cannot be read"
    return " ".join(name.split())[:60] or "one without a name"


# Means over places.


@dataclass(frozen=True, eq=False)
class Samples:
    """Means over places."""

    mean: Array  # shape (n, 3): pixel values without specks [0 to 1]
    cells: Array  # shape (n, 9, 3): likewise of each ninth of a place
    # shape (n,): share of pixels with a channel at the top or the bottom of its range [0 to 1]
    too_high: Array
    too_low: Array
    scatter: Array  # shape (n,): robust standard deviation of single pixels, the largest of the channels [0 to 1]


def sample(picture: Picture, quads: Array) -> Samples:
    """Average a picture over quadrilaterals, shape (n, 4, 2) [px]."""
    each = [_sample_one(picture, quad) for quad in quads]
    shapes = ((0, 3), (0, CELLS**2, 3), (0,), (0,), (0,))
    columns = zip(*each, strict=True) if each else ([] for _ in shapes)
    return Samples(*(np.array(column).reshape(-1, *shape[1:]) for column, shape in zip(columns, shapes, strict=True)))


def _sample_one(picture: Picture, quad: Array) -> tuple[Array, Array, float, float, float]:
    pixels = _inside(picture, quad)
    clipped = (np.mean((pixels >= TOP).any(axis=-1)), np.mean((pixels <= BOTTOM).any(axis=-1)))
    values = pixels / 255.0
    middle = np.median(values, axis=(0, 1))
    # 1.4826: from the median of distances to a standard deviation; never below half a level.
    spread = np.maximum(1.4826 * np.median(np.abs(values - middle), axis=(0, 1)), 0.5 / 255.0)
    parts = [part for row in np.array_split(values, CELLS) for part in np.array_split(row, CELLS, axis=1)]
    # A ninth is cleaned about its own middle: where an edge runs through the place, it has to show.
    cells = np.stack([_mean(part, spread) for part in parts])
    return _mean(values, spread), cells, float(clipped[0]), float(clipped[1]), float(spread.max())


def _mean(values: Array, spread: Array) -> Array:
    """Mean without specks, shape (..., 3) to (3,)."""
    flat = values.reshape(-1, 3)
    middle = np.median(flat, axis=0)
    clean = np.all(np.abs(flat - middle) <= SPECK * spread, axis=-1)
    return np.asarray(np.mean(flat[clean], axis=0) if clean.any() else middle)


def _inside(picture: Picture, quad: Array) -> NDArray[np.uint8]:
    """Pixels nearest to an even net over a quadrilateral, shape (n, n, 3)."""
    side = np.linalg.norm(quad - np.roll(quad, 1, axis=0), axis=1).max()
    count = int(np.clip(np.round(side), CELLS, _MOST_PER_SIDE))
    at = (np.arange(count) + 0.5) / count
    down, along = np.meshgrid(at, at, indexing="ij")
    corners = np.stack(((1 - along) * (1 - down), along * (1 - down), along * down, (1 - along) * down), axis=-1)
    places = np.rint(corners @ quad).astype(int)
    found: NDArray[np.uint8] = picture.pixels[places[..., 1], places[..., 0]]
    return found


# The photograph with what was taken for what: patches and spots outlined, the spots numbered, a key beside it.


LONG_SIDE = 1600  # pixels
_PAPER, _INK = (222, 222, 222), (28, 28, 28)  # a neutral grey: it lends no colour to what is looked at
_LIGHT, _DARK = (255, 255, 255), (28, 28, 28)
_LETTERS, _LINE, _MARGIN = 14, 20, 16  # pixels
_CORNERS = (0, 5, 18, 23)


def draw(
    picture: Picture, patches: Array, spots: Array, names: Sequence[str], squares: Sequence[Array] = ()
) -> bytes:  # fmt: skip
    """The photograph, not larger than a screen, and beside it the names of the spots by number; as PNG.

    `patches`, `spots` (24, 4, 2) and (n, 4, 2): quadrilaterals [px].
    `squares`: further outlines, each of shape (4, 2) [px].
    """
    scale = min(1.0, LONG_SIDE / max(picture.width, picture.height))
    size = (max(round(picture.width * scale), 1), max(round(picture.height * scale), 1))
    seen = Image.fromarray(picture.pixels)
    font = ImageFont.load_default(size=_LETTERS)
    assert isinstance(font, ImageFont.FreeTypeFont)  # pillow gives the bitmap font only where no size is asked
    key = _key(names, size[1], font)
    image = Image.new("RGB", (size[0] + key.width, max(size[1], key.height)), _PAPER)
    image.paste(seen.resize(size, Image.Resampling.BOX) if scale < 1.0 else seen, (0, 0))
    image.paste(key, (size[0], 0))
    pen = ImageDraw.Draw(image)
    for quad in (*patches, *spots, *squares):
        _outline(pen, scale * quad)
    for at in _CORNERS:
        _word(pen, scale * patches[at].mean(axis=0), PATCHES[at], font)
    for number, quad in enumerate(spots, start=1):
        _word(pen, scale * quad.mean(axis=0), str(number), font)
    held = io.BytesIO()
    image.save(held, format="PNG")
    return held.getvalue()


def _key(names: Sequence[str], height: int, font: ImageFont.FreeTypeFont) -> Image.Image:
    """Numbers and names in columns."""
    lines = [f"{at}  {_plain(name)}" for at, name in enumerate(names, start=1)]
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
