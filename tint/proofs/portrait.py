"""A part's portrait: its thickness and form, ready to be coloured from a table, and the marks that are laid over it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.proofs.form import shading
from tint.proofs.part import View
from tint.proofs.picture import DARK, WHITE
from tint.proofs.render import LAMP, ColourTable, Levels, Light, Mask, light_at, shows_at

Array = NDArray[np.float64]

FINER = 2  # lines of sight a pixel of the portrait, along each side


@dataclass(frozen=True, eq=False)
class Portrait:
    """What of a view a picture is coloured from, in pixels of the picture.

    Parameters
    ----------
    thickness_mm : ndarray, shape (height, width)
        Mean over what of the pixel the part covers; 0 where it covers none [mm].
    cover : ndarray, shape (height, width)
        The share of the pixel that it covers, 0 to 1 [-].
    shade, gloss : ndarray, shape (height, width)
        To multiply light by, and to add to it [-].
    mm_per_pixel : float
        [mm]
    """

    thickness_mm: Array
    cover: Array
    shade: Array
    gloss: Array
    mm_per_pixel: float

    @property
    def has_part(self) -> Mask:
        """Where the part covers any of a pixel."""
        return np.asarray(self.cover > 0.0)

    @property
    def upto_mm(self) -> float:
        """The thickest [mm]."""
        return float(self.thickness_mm.max())


def portrait_of(view: View, *, finer: int = FINER) -> Portrait:
    """A view with its lines of sight gathered into pixels, `finer` by `finer` to each."""
    there = view.has_part
    shade, gloss = shading(view.normals, view.height_mm, has_part=there, mm_per_pixel=view.mm_per_pixel)
    cover = _gathered(there.astype(float), finer)
    share = np.maximum(cover, 1e-9)
    shade, gloss = _gathered(np.where(there, shade, 0.0), finer) / share, _gathered(gloss, finer) / share
    return Portrait(
        thickness_mm=_gathered(view.thickness_mm, finer) / share,
        cover=cover,
        shade=np.where(cover > 0.0, shade, 1.0),
        gloss=gloss,
        mm_per_pixel=view.mm_per_pixel * finer,
    )


def _gathered(values: Array, finer: int) -> Array:
    """Mean over squares of pixels; what is over at the right and the bottom is dropped."""
    rows, columns = values.shape[0] // finer, values.shape[1] // finer
    squares = values[: rows * finer, : columns * finer].reshape(rows, finer, columns, finer)
    return np.asarray(squares.mean(axis=(1, 3)))


def light_of(portrait: Portrait, table: ColourTable) -> Light:
    """The portrait in linear sRGB, not clipped, shape (height, width, 3).

    A lamp behind is not shaded: what then shows the form is how much comes through.
    """
    linear = light_at(table, portrait.thickness_mm)
    if table.over != LAMP:
        linear = linear * portrait.shade[..., None].astype(np.float32) + portrait.gloss[..., None].astype(np.float32)
    cover = portrait.cover[..., None].astype(np.float32)
    return np.asarray(cover * linear + (1.0 - cover) * table.bare.astype(np.float32), dtype=np.float32)


def beyond_screen(portrait: Portrait, table: ColourTable) -> Mask:
    """Where the part has a colour that a screen cannot show."""
    return np.asarray(portrait.has_part & ~shows_at(table, portrait.thickness_mm))


def thinner_than(portrait: Portrait, thickness_mm: float) -> Mask:
    """Where the part is thinner than that [mm]."""
    return np.asarray(portrait.has_part & (portrait.thickness_mm < thickness_mm))


def outlined(pixels: Levels, mask: Mask, *, dash: int) -> Levels:
    """Pixels with a line just inside the edge of a mask, dark and white by turns, so that it shows on any colour."""
    around = np.pad(mask, 1)
    inner = mask & around[:-2, 1:-1] & around[2:, 1:-1] & around[1:-1, :-2] & around[1:-1, 2:]
    rows, columns = np.nonzero(mask & ~inner)
    drawn = pixels.copy()
    drawn[rows, columns] = np.where(((rows // dash + columns // dash) % 2 == 0)[:, None], DARK, WHITE)
    return drawn


def checkered(shape: tuple[int, int], square: int) -> Mask:
    """True on every other square of a board."""
    rows, columns = np.indices(shape)
    return np.asarray((rows // square + columns // square) % 2 == 0)
