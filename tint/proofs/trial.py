"""A trial beside its prediction: the casting as it was read, with the difference, and as it was photographed.

A photograph is shown and never measured: upright, in sRGB, without what else its file tells.
"""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from tint import appearance, colorimetry
from tint.appearance import Appearance, Setting
from tint.errors import InputError
from tint.files import hushed
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import words
from tint.proofs.facts import Chip, Row, Shade, shade_of
from tint.proofs.parts import LEFT, RIGHT, chip_row, figures, titled
from tint.proofs.picture import Box, Item, srgb_profile
from tint.proofs.render import Levels

Array = NDArray[np.float64]

PHOTO_SIGN = "A photograph: the camera's colours, not measured"
PHOTO_LINE = "The photograph's colours are the camera's, not measured: no number here comes from it."
_HEIGHT = 320  # of the colours [px]; chosen by eye
# What cameras write stays below the first two; the third is along each side. Common practice, no source.
_MOST_BYTES, _MOST_PIXELS, _LEAST = 60_000_000, 120_000_000, 16
_FEWER = f"expected at most {_MOST_PIXELS / 1e6:.0f} megapixels"
_KEPT = 1600  # pixels along the longer side: as wide as a picture
_QUALITY = 88  # of a JPEG, 0 to 95; common practice, no source
_KINDS = ("JPEG", "PNG", "TIFF", "WEBP", "BMP")


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


@dataclass(frozen=True, kw_only=True, eq=False)
class Read:
    """What an instrument said of the trial's casting."""

    spectrum: Array  # (n_wavelengths,): over the setting's backing, in its seat [-]
    named: str  # where it stands
    thickness_mm: float | None = None  # as read on the casting; the part's own when absent [mm]


@dataclass(frozen=True, kw_only=True, eq=False)
class Trial:
    """What of a trial is shown."""

    predicted: Appearance  # of the recipe, at the thickness of the casting
    as_predicted: Shade
    as_read: Shade | None  # None without a reading
    lab: Array | None  # (3,): as read [-]
    delta_e: float  # CIEDE2000 from prediction to reading [-]; NaN without a reading
    read: str  # where the reading stands
    photo: Photo | None

    @property
    def row(self) -> Row:
        """Predicted, read and photographed, side by side."""
        seen = self.predicted
        where = f"{seen.setting.thickness_mm:g} mm, {words.behind(seen.over)}"
        cast = [("As predicted", where, self.as_predicted), ("As read on the trial", self.read, self.as_read)]
        chips = [Chip(name=n, shades=(shade,), labels=(n,), told=(told,)) for n, told, shade in cast if shade]
        if self.photo is not None:
            chips.append(Chip(name=PHOTO_SIGN, told=(self.photo.named,), photo=self.photo))
        notes = tuple(f"{figure} {meaning}" for figure, meaning in self.figures)
        return Row(title="The trial", chips=tuple(chips), notes=notes)

    @property
    def figures(self) -> list[tuple[str, str]]:
        """Figures, each with what it means."""
        if self.as_read is None:
            return []
        error = self.predicted.expected_error
        stands = "within" if self.delta_e <= error else "more than"
        meaning = (
            f"from the prediction to the reading (CIEDE2000): {words.difference_in_words(self.delta_e)}. That is "
            f"{stands} the expected error of {error:.1f}, which 95 castings in 100 keep."
        )
        return [(f"{self.delta_e:.2f}", meaning)]

    @property
    def notes(self) -> list[str]:
        """What the photograph is not."""
        return [] if self.photo is None else [PHOTO_LINE]


def trial_of(
    palette: Palette, blend: Blend, *, setting: Setting, photo: Photo | None = None, read: Read | None = None
) -> Trial | None:  # fmt: skip
    """What is shown of a trial of a blend; None when there is neither a photograph nor a reading.

    Raises
    ------
    InputError
        If the reading is not on the palette's wavelengths, or blend or setting name what the palette lacks.
    """
    if photo is None and read is None:
        return None
    depth = setting.thickness_mm if read is None or read.thickness_mm is None else read.thickness_mm
    seen = appearance.predict(palette, blend, setting=replace(setting, thickness_mm=depth))
    view = setting.viewing(palette)
    lab = None if read is None else _lab(read.spectrum, palette, setting)
    return Trial(
        predicted=seen,
        as_predicted=shade_of(seen.lab, view),
        as_read=None if lab is None else shade_of(lab, view),
        lab=lab,
        delta_e=np.nan if lab is None else float(colorimetry.difference(seen.lab, lab)),
        read="" if read is None else read.named,
        photo=photo,
    )


def _lab(spectrum: ArrayLike, palette: Palette, setting: Setting) -> Array:
    values = np.asarray(spectrum, dtype=float)
    if values.shape != palette.wavelengths.shape:
        raise InputError(
            "trial", f"a reading of {values.size} wavelengths", f"the palette's {palette.wavelengths.size}"
        )
    return colorimetry.lab(values, setting.viewing(palette))


def trial_laid(
    trial: Trial, top: int, *, left: int = LEFT, right: int = RIGHT, named: str = "The trial", height: int = _HEIGHT
) -> tuple[list[Item], int, list[Box]]:  # fmt: skip
    """The trial in a picture: its items, where they end, and the boxes of its colours and its photograph."""
    items, top = titled(f"{named} beside its prediction", left, top, right - left)
    row, end, boxes = chip_row(trial.row.chips, Box(left, top, right, top + height))
    more, bottom = figures(trial.figures, left, end + 10, right - left)
    return [*items, *row, *more], bottom, [box for (box,) in boxes]


# Reading a photograph.


def read_photo(path: Path) -> Photo:
    """A photograph from a file.

    Parameters
    ----------
    path : Path
        A JPEG, PNG, TIFF, WebP or BMP of at most 60 MB and 120 megapixels.

    Raises
    ------
    InputError
        If it is none, is broken, too large or too small.
    """
    where = f"photograph {path}"
    try:
        size = path.stat().st_size
        if size > _MOST_BYTES:
            raise InputError(where, f"{size / 1e6:.0f} MB", f"expected at most {_MOST_BYTES / 1e6:.0f} MB", "shrink it")
        data = path.read_bytes()
    except OSError as error:
        raise InputError(where, f"cannot be read ({error.strerror})", mend="check the name") from error
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
