"""Pictures that are read: a photograph to show, fitted and never measured; a height map, whose levels are thickness.

A photograph is shown upright, in sRGB, without what else its file tells. The span of a colour that was photographed
without a chart stands as chips on a page for the customer to choose from.
"""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from tint.errors import InputError
from tint.files import bytes_within, hushed
from tint.proofs.leaf import rendered
from tint.proofs.render import Levels, srgb_profile
from tint.spectra import Array

if TYPE_CHECKING:
    from tint.photographs.mailed import Wanted
    from tint.proofs.portrait import View

# What cameras write stays below the first two; the third is along each side. Common practice, no source.
_MOST_BYTES, _MOST_PIXELS, _LEAST = 60_000_000, 120_000_000, 16
_FEWER = f"expected at most {_MOST_PIXELS / 1e6:.0f} megapixels"
_KEPT = 1600  # pixels along the longer side: as wide as a picture
_QUALITY = 88  # of a JPEG, 0 to 95; common practice, no source
_KINDS = ("JPEG", "PNG", "TIFF", "WEBP", "BMP")
COLUMNS = 5  # of chips, as they are named


@dataclass(frozen=True, eq=False)
class Photo:
    """A photograph."""

    pixels: Levels  # (height, width, 3): sRGB [levels]
    named: str  # its file, without the folder

    def fitted(self, width: int, height: int) -> Levels:
        """Scaled, and cropped about its middle, to fill a box of so many pixels, shape (height, width, 3)."""
        image = Image.fromarray(self.pixels)
        return np.asarray(ImageOps.fit(image, (width, height), Image.Resampling.LANCZOS))

    def jpeg(self, width: int, height: int) -> bytes:
        """Likewise as a JPEG tagged sRGB that tells neither place nor camera; never made larger than it is."""
        share = min(1.0, self.pixels.shape[1] / width, self.pixels.shape[0] / height)
        out = io.BytesIO()
        pixels = self.fitted(max(round(share * width), 1), max(round(share * height), 1))
        Image.fromarray(pixels).save(out, format="JPEG", quality=_QUALITY, icc_profile=srgb_profile())
        return out.getvalue()


def read_photo(path: Path) -> Photo:
    """A photograph from a file.

    `path`: a JPEG, PNG, TIFF, WebP or BMP of at most 60 MB and 120 megapixels.
    Raises InputError if it is none, is broken, too large or too small.
    """
    where = str(path)
    data = bytes_within(path, _MOST_BYTES, mend="shrink it")
    try:
        with hushed():  # odd metadata do no harm, and size is looked at here
            return Photo(_opened(data, where), path.name)
    except UnidentifiedImageError as error:
        mend = "save it as a JPEG" if path.suffix.lower() in (".heic", ".heif", ".avif", ".dng", ".raw") else ""
        raise InputError(where, "is no picture that can be read", f"expected {', '.join(_KINDS)}", mend) from error
    except Image.DecompressionBombError as error:
        raise InputError(where, "far too many pixels", _FEWER, "shrink it") from error
    except (OSError, SyntaxError, ValueError, struct.error) as error:
        raise InputError(where, f"is broken ({str(error)[:80]})", mend="save it again") from error


def _opened(data: bytes, where: str) -> Levels:
    with Image.open(io.BytesIO(data), formats=_KINDS) as image:
        width, height = image.size
        if width * height > _MOST_PIXELS:
            found = f"{width} x {height} pixels"
            raise InputError(where, found, _FEWER, "shrink it")
        if min(width, height) < _LEAST:
            raise InputError(where, f"{width} x {height} pixels", f"expected at least {_LEAST} along each side")
        image.draft("RGB", (_KEPT, _KEPT))  # a JPEG is decoded no finer than is needed
        profile = image.info.get("icc_profile")
        small = ImageOps.exif_transpose(image)
        if small.mode in ("I", "I;16", "I;16B", "F"):
            raise InputError(where, f"is of kind {small.mode}, not a photograph", "expected 8 bits a channel")
        small.thumbnail((_KEPT, _KEPT), Image.Resampling.LANCZOS)
        return np.asarray(_in_srgb(small, profile))


def _in_srgb(image: Image.Image, profile: bytes | None) -> Image.Image:
    """The picture in sRGB; as it is where it bears no profile, or one that cannot be used."""
    if image.mode in ("RGBA", "LA", "PA", "P"):
        seen = image.convert("RGBA")
        image = Image.alpha_composite(Image.new("RGBA", seen.size, "white"), seen).convert("RGB")
    if profile and image.mode in ("RGB", "CMYK", "L"):
        try:
            own = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            turned = ImageCms.profileToProfile(image, own, ImageCms.createProfile("sRGB"), outputMode="RGB")
        except (ImageCms.PyCMSError, OSError):
            return image.convert("RGB")
        return image.convert("RGB") if turned is None else turned
    return image.convert("RGB")


# A height map: a grey picture whose levels are thickness.

_MOST_MAP_PIXELS, _MOST_MAP_BYTES = 25_000_000, 110_000_000  # four bytes each and what else it holds
_MOST_ASIDE = 2000  # pixels along a side that are kept: a picture shows 900 of them
_MAP_KINDS = (*_KINDS, "GIF", "PPM")


def read_height_map(path: str | Path, *, mm_per_level: float, mm_per_pixel: float = 0.1) -> View:
    """Read a grey picture whose levels are thickness.

    `mm_per_level`: thickness of one grey level [mm].
    `mm_per_pixel` [mm]
    Raises InputError if it cannot be read, is coloured or too large, or a level is negative, no number or thicker than
        any part.

    Of a map with more than 2000 pixels along a side every second pixel is taken, or every third, and so on.
    """
    from tint.proofs.part import LARGEST_MM  # forms are for those who have one
    from tint.proofs.portrait import View

    for name, value in (("mm_per_level", mm_per_level), ("mm_per_pixel", mm_per_pixel)):
        if not 0.0 < value < 100.0:
            raise InputError(name, f"{value:g}", "expected more than 0 and less than 100 mm")
    path = Path(path)
    levels = _grey(path)
    every = -(-max(levels.shape) // _MOST_ASIDE)
    levels, mm_per_pixel = levels[::every, ::every], mm_per_pixel * every
    if not (levels.min() >= 0.0 and levels.max() < np.inf):  # written so that a NaN fails too
        raise InputError(str(path), "holds levels below 0 or that are no numbers", "expected 0 where there is nothing")
    if not levels.any():
        raise InputError(str(path), "is black all over", "expected brighter where the part is thicker")
    if min(levels.shape) < 2:
        raise InputError(str(path), f"{levels.shape[1]} x {levels.shape[0]} pixels", "expected at least 2 either way")
    thickness = levels * mm_per_level
    if thickness.max() > LARGEST_MM:
        expected = f"expected at most {LARGEST_MM:g} mm"
        raise InputError(str(path), f"{thickness.max():.3g} mm thick", expected, "check mm_per_level")
    down, right = np.gradient(thickness, mm_per_pixel)
    normals = np.stack((-right, down, np.ones_like(thickness)), axis=-1)
    normals /= np.linalg.norm(normals, axis=-1, keepdims=True)
    return View(thickness, thickness, normals, mm_per_pixel)


def _grey(path: Path) -> Array:
    expected = "expected a grey PNG"
    data = bytes_within(path, _MOST_MAP_BYTES, expected=expected, mend="scale it")
    try:
        # Pillow warns of odd tags, which do no harm, and of a great many pixels, which are refused here.
        with hushed(), Image.open(io.BytesIO(data), formats=_MAP_KINDS) as image:
            if image.width * image.height > _MOST_MAP_PIXELS:
                found, most = f"{image.width} x {image.height} pixels", f"{_MOST_MAP_PIXELS // 1_000_000} million"
                raise InputError(str(path), found, f"expected at most {most}", "scale it")
            pixels = np.asarray(image if image.mode[:1] in ("I", "L", "F") else image.convert("RGB"))
    except InputError:
        raise
    except (UnidentifiedImageError, Image.DecompressionBombError) as error:
        raise InputError(str(path), "cannot be read (not a picture)", expected, "check the name") from error
    except Exception as error:  # pillow's decoders raise whatever they like on broken bytes
        raise InputError(str(path), "cannot be read (it is broken)", expected, "save it again") from error
    if pixels.ndim == 3 and pixels.shape[-1] >= 3 and np.ptp(pixels[..., :3], axis=-1).max() > 0:
        raise InputError(str(path), "is coloured", "expected a grey picture", "save it in grey")
    levels = pixels[..., 0] if pixels.ndim == 3 else pixels
    with np.errstate(invalid="ignore"):  # a signalling NaN of single precision is told as any other
        return levels.astype(float)


# The page to choose from.


def choosing_page(wanted: Wanted, *, spot: tuple[float, float], title: str, words: str = "") -> bytes:
    """The page as HTML, self-contained.

    `wanted`: with chips to choose from.
    `spot`: the place in the photograph [px].
    `title`: what the order is called.
    `words`: the customer's own; may be blank.
    Raises InputError if what draws it is not installed.
    """
    chips = wanted.chips
    rows = [chips[start : start + COLUMNS] for start in range(0, len(chips), COLUMNS)]
    middle = len(rows) // 2
    return rendered(
        "choosing.html.j2",
        title=title,
        words=words,
        error=f"{wanted.error if wanted.span is None else wanted.span.error:.0f}",
        rows=[(name, each) for name, each in zip(("lighter", "as in the picture", "darker"), rows, strict=True)],
        heads=[chip.words for chip in rows[middle]],
        photo=Photo(_around(wanted.picture.pixels, spot, wanted.side), "the picture"),
    )


def _around(pixels: NDArray[np.uint8], spot: tuple[float, float], size: float) -> NDArray[np.uint8]:
    """The neighbourhood of a place, with the square that was read drawn in it."""
    height, width = pixels.shape[:2]
    wide, high = (max(min(round(share * size), most), 16) for share, most in ((9.0, width), (6.0, height)))
    left = int(np.clip(spot[0] - wide / 2, 0, width - wide))
    top = int(np.clip(spot[1] - high / 2, 0, height - high))
    shown = pixels[top : top + high, left : left + wide].copy()
    x, y = round(spot[0] - left), round(spot[1] - top)
    half, thick = round(size / 2) + 1, max(round(size / 24), 1)
    level = 0 if shown.mean() > 127.0 else 255
    rows, columns = np.abs(np.arange(high) - y)[:, None], np.abs(np.arange(wide) - x)[None, :]
    away = np.maximum(rows, columns)
    shown[(away >= half) & (away < half + thick)] = level
    return shown
