"""The one renderer: a colour table over thickness, made once from the forward model and looked up pixel by pixel.

A picture needs no spectrum a pixel: of one blend, over one backing, in one light, colour is a smooth curve over
thickness. The table holds that curve in light (linear sRGB, adapted to the screen's white, not yet clipped), so dense
that straight lines between its points stay within a quarter of a level of 255; and a fine copy of it, whose steps are
within half a level, from which pixels are taken. Pixels become files here too, tagged sRGB.
"""

from __future__ import annotations

import functools
import io
import zlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, ImageCms, TiffImagePlugin

from tint import colorimetry, forward
from tint.appearance import Setting, render, transmittance
from tint.colorimetry import Viewing
from tint.errors import InputError
from tint.materials import Blend
from tint.notebook import png_file
from tint.optics import layer, surface
from tint.palette import Palette
from tint.spectra import Array, Mask

Light = NDArray[np.float32]
Levels = NDArray[np.uint8]
Deep = NDArray[np.uint16]

LAMP = "lamp"  # behind the part: what is seen is the light that comes through

# A screen has 255 levels; half of one is not seen. `tests/test_render.py` holds the table to the model within them.
_BEND = 0.25  # levels by which a straight line between two points may miss the model
_STEP = 0.5  # levels between neighbours of the fine table
_FEWEST, _MOST = 2**10, 2**18  # rows of the fine table, so that it takes at most 6 MB
_CODES = 2**15  # light 0 to 1 in so many steps, each less than half a level even in the dark
_NODES = (96, 48)  # thicknesses of near and far wall: straight lines between miss by under a level (tests)
THINNEST = 1e-3  # of the thickest, from which they run in even ratios


@dataclass(frozen=True, eq=False)
class ColourTable:
    """What a blend looks like at every thickness, over one backing in one light."""

    over: str  # a backing, `none`, or `lamp`: lit from behind, against the bare lamp as white
    upto_mm: float  # the thickest that it holds [mm]
    bare: Array  # (3,): the backing with nothing on it, in linear sRGB, adapted to the screen's white, not clipped [-]
    # (1 + m, 3): `bare`, then the blend likewise in the middle of m even steps from 0 to the last thickness
    fine: Light
    levels: Levels  # (1 + m, 3): `fine` as a screen shows it
    shows: Mask  # (1 + m,): whether a screen can show it


def colour_table(palette: Palette, blend: Blend, *, setting: Setting, upto_mm: float, over: str = "") -> ColourTable:
    """The colours of a blend from nothing to a thickness.

    `setting`: light, observer, geometry, seat, and the backing when `over` names none; its thickness is not used.
    `upto_mm`: the thickest to be looked up [mm].
    `over`: a backing, `none` or `lamp`.
    Raises InputError if blend or setting name what the palette does not have, or the thickness is not more than 0.
    """
    if not 0.0 < upto_mm < np.inf:
        raise InputError("thickness", f"{upto_mm:g} mm", "more than 0")
    over = over or setting.behind(palette)
    view = setting.viewing(palette)
    depth, linear = _curve(palette, blend, setting=setting, over=over, view=view, upto_mm=upto_mm)
    bare = to_light(bare_spectrum(palette, over), view)
    steepest = float(np.max(_apart(linear[1:], linear[:-1]) / np.diff(depth)))
    count = int(np.clip(np.ceil(upto_mm * steepest / _STEP), _FEWEST, _MOST))
    middles = (np.arange(count) + 0.5) * (upto_mm / count)
    fine = np.stack([np.interp(middles, depth, channel) for channel in linear.T], axis=-1)
    fine = np.concatenate((bare[None], fine))  # first what is there where nothing is cast
    signal, shows = colorimetry.light_to_srgb(fine)
    levels = np.rint(255.0 * signal).astype(np.uint8)
    return ColourTable(over, upto_mm, bare, fine.astype(np.float32), levels, shows)


def to_light(spectra: ArrayLike, view: Viewing) -> Array:
    """Spectra seen in a light as linear sRGB, adapted to the screen's white, not clipped; shape (..., 3) [-]."""
    return colorimetry.xyz_to_light(colorimetry.xyz(spectra, view), view.white)


def spectra_of(palette: Palette, blend: Blend, *, setting: Setting, over: str, thickness_mm: Array) -> Array:
    """Reflectance over a backing, or what a lamp behind shows; shape (n, n_wavelengths) [-]."""
    share = palette.shares(blend.base, palette.loadings(blend))
    if over == LAMP:
        return transmittance(palette, share, base=blend.base, setting=setting, thickness_mm=thickness_mm)
    many = np.broadcast_to(share, (thickness_mm.size, share.size))
    drawn = render(
        palette, many, base=blend.base, setting=setting, backings=(over,), thickness_mm=thickness_mm
    )  # fmt: skip
    over_it: Array = drawn.reflectance[0]
    return over_it


def _curve(
    palette: Palette, blend: Blend, *, setting: Setting, over: str, view: Viewing, upto_mm: float
) -> tuple[Array, Array]:
    """Points of the curve, so dense that straight lines between them do."""

    def at(depth: Array) -> Array:
        return to_light(spectra_of(palette, blend, setting=setting, over=over, thickness_mm=depth), view)

    depth = np.concatenate(([0.0], np.geomspace(1e-4, 1.0, 33))) * upto_mm
    linear = at(depth)
    open_ = np.ones(depth.size - 1, dtype=bool)  # intervals not yet known to be straight enough
    while open_.any():
        low = np.flatnonzero(open_)
        middle = 0.5 * (depth[low] + depth[low + 1])
        true = at(middle)
        bent = _apart(true, 0.5 * (linear[low] + linear[low + 1])) > _BEND
        depth, linear = np.insert(depth, low + 1, middle), np.insert(linear, low + 1, true, axis=0)
        halves = low + np.arange(low.size)  # where the left half of each interval now lies
        open_ = np.zeros(depth.size - 1, dtype=bool)
        open_[halves[bent]] = open_[halves[bent] + 1] = True
    return depth, linear


def _apart(a: Array, b: Array) -> Array:
    """Levels of 255 between colours, shape (..., 3) to (...); also where a screen would clip them."""
    return np.asarray(255.0 * np.max(np.abs(colorimetry.encode_signed(a) - colorimetry.encode_signed(b)), axis=-1))


def bare_spectrum(palette: Palette, over: str) -> Array:
    """What a backing shows with nothing on it, shape (n_wavelengths,); nothing behind is dark, a lamp is white [-]."""
    card = np.ones_like(palette.wavelengths) if over == LAMP else palette.backing(over)
    return np.zeros_like(palette.wavelengths) if card is None else card


def _places(table: ColourTable, thickness_mm: ArrayLike) -> NDArray[np.int32]:
    """Rows of the fine table for thicknesses."""
    thickness = np.asarray(thickness_mm, dtype=float)
    if thickness.size and not (thickness.min() >= 0.0 and thickness.max() <= table.upto_mm * (1.0 + 1e-9)):
        found = f"from {thickness.min():g} to {thickness.max():g} mm"
        raise InputError("thickness", found, f"from 0 to {table.upto_mm:g} mm, which the table holds")
    rows = thickness * ((table.fine.shape[0] - 1) / table.upto_mm)
    return np.asarray(np.ceil(rows), dtype=np.int32)  # 0 only where there is nothing


def levels_at(table: ColourTable, thickness_mm: ArrayLike) -> Levels:
    """Screen colours of thicknesses, shape (...) [mm] to (..., 3); 0 mm is the backing with nothing on it."""
    return np.take(table.levels, _places(table, thickness_mm), axis=0, mode="clip")


def light_at(table: ColourTable, thickness_mm: ArrayLike) -> Light:
    """Likewise in linear sRGB, for shading; not clipped."""
    return np.take(table.fine, _places(table, thickness_mm), axis=0, mode="clip")


def shows_at(table: ColourTable, thickness_mm: ArrayLike) -> Mask:
    """Whether a screen can show the colours of thicknesses, shape (...)."""
    return np.take(table.shows, _places(table, thickness_mm), mode="clip")


def to_levels(linear: Light) -> Levels:
    """Linear sRGB as a screen shows it, clipped, shape (..., 3)."""
    codes = np.rint(255.0 * colorimetry.encode(np.linspace(0.0, 1.0, _CODES))).astype(np.uint8)
    at = np.clip(linear, 0.0, 1.0) * np.float32(_CODES - 1)
    return np.take(codes, (at + np.float32(0.5)).astype(np.int32))


def deep_levels(linear: ArrayLike) -> Deep:
    """Linear sRGB in 65536 levels, clipped, shape (..., 3)."""
    shown = np.clip(np.asarray(linear, dtype=float), 0.0, 1.0)
    return np.rint(65535.0 * colorimetry.encode(shown)).astype(np.uint16)


# Hollow parts: near wall, air, far wall and backing, looked up by the thickness of both walls.


@dataclass(frozen=True, eq=False)
class Hollow:
    """What two walls of a blend look like, over one backing in one light."""

    near_mm: float  # the thickest near wall [mm]
    far_mm: float  # the thickest far wall [mm]
    # (n, m, 3): in linear sRGB, adapted to the screen's white, not clipped; from thin to thick in even ratios [-]
    light: Array


def hollow_spectra(
    palette: Palette, blend: Blend, *, setting: Setting, near_mm: float, far_mm: float, over: str,
    counts: tuple[int, int] = _NODES,
) -> Array:  # fmt: skip
    """Reflectance of two walls of up to a thickness each over a backing, or what a lamp behind shows.

    Returns (n, m, n_wavelengths): so many thicknesses of each wall in even ratios [-]
    """
    near, far = near_mm * np.geomspace(THINNEST, 1.0, counts[0]), far_mm * np.geomspace(THINNEST, 1.0, counts[1])
    optics = palette.optics(blend.base, geometry=setting.geometry or None, as_read=setting.as_read)
    mixed = forward.mix(palette.coefficients, palette.shares(blend.base, palette.loadings(blend)))
    if over == LAMP:
        return layer.transmittance_of_walls(mixed, near=near, far=far, optics=optics)
    spectra = layer.reflectance_of_walls(
        mixed, near=near, far=far, backing=palette.backing(over), seat=setting.seat, optics=optics
    )
    if not setting.finish:
        return spectra
    return spectra + surface.added_by_finish(
        setting.finish, palette.wavelengths, geometry=optics.geometry, refractive_index=optics.refractive_index
    )


def hollow_table(
    palette: Palette, blend: Blend, *, setting: Setting, near_mm: float, far_mm: float, over: str = ""
) -> Hollow:
    """The colours of two walls up to a thickness each; other arguments as of `colour_table`.

    What lies beyond the second wall is counted with it.
    """
    over = over or setting.behind(palette)
    spectra = hollow_spectra(palette, blend, setting=setting, near_mm=near_mm, far_mm=far_mm, over=over)
    return Hollow(near_mm, far_mm, to_light(spectra, setting.viewing(palette)))


def hollow_light(table: Hollow, near_mm: Array, far_mm: Array) -> Light:
    """Linear sRGB of two walls, shape (...) [mm] to (..., 3), not clipped."""
    from scipy.ndimage import map_coordinates  # only needed by hollow parts

    places = [
        (1.0 - np.log(np.maximum(depth, 1e-12) / most) / np.log(THINNEST)) * (count - 1)
        for depth, most, count in zip((near_mm, far_mm), (table.near_mm, table.far_mm), table.light.shape, strict=False)
    ]
    channels = [map_coordinates(table.light[..., at], places, order=1, mode="nearest") for at in range(3)]
    return np.asarray(np.stack(channels, axis=-1), dtype=np.float32)


# Pixels as files tagged sRGB: PNG in 8 or 16 bits a channel, TIFF in 16.


@functools.cache
def srgb_profile() -> bytes:
    """The sRGB profile, with the time of its making set to a fixed one: equal pictures are equal files."""
    made = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    fixed = b"".join(part.to_bytes(2, "big") for part in (2000, 1, 1, 0, 0, 0))
    return made[:24] + fixed + made[36:]  # ICC.1, header bytes 24 to 35: date and time


def png(pixels: Levels) -> bytes:
    """A PNG of 8 bits a channel, shape (height, width, 3)."""
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, format="PNG", icc_profile=srgb_profile())
    return out.getvalue()


def deep_png(pixels: Deep) -> bytes:
    """A PNG of 16 bits a channel, shape (height, width, 3) (ISO/IEC 15948; pillow writes no such colour picture)."""
    height, width, _ = pixels.shape
    rows = np.zeros((height, 1 + 6 * width), dtype=np.uint8)  # each begins with its filter: none
    rows[:, 1:] = np.ascontiguousarray(pixels, dtype=">u2").view(np.uint8).reshape(height, -1)
    profile = (b"iCCP", b"sRGB\0\0" + zlib.compress(srgb_profile()))
    return png_file(width, height, zlib.compress(rows.tobytes(), 6), bits=16, space=profile)


def deep_tiff(pixels: Deep) -> bytes:
    """A TIFF of 16 bits a channel, uncompressed, shape (height, width, 3) (TIFF 6.0; pillow writes no such pixels)."""
    height, width, _ = pixels.shape
    strip = np.ascontiguousarray(pixels, dtype="<u2").tobytes()
    fields = TiffImagePlugin.ImageFileDirectory_v2()
    fields[TiffImagePlugin.IMAGEWIDTH], fields[TiffImagePlugin.IMAGELENGTH] = width, height
    fields[TiffImagePlugin.BITSPERSAMPLE], fields[TiffImagePlugin.SAMPLESPERPIXEL] = (16, 16, 16), 3
    fields[TiffImagePlugin.COMPRESSION], fields[TiffImagePlugin.PHOTOMETRIC_INTERPRETATION] = 1, 2  # none, RGB
    fields[TiffImagePlugin.PLANAR_CONFIGURATION] = 1  # channels interleaved
    fields[TiffImagePlugin.ICCPROFILE] = srgb_profile()
    # All rows in one strip, behind the fields: pillow counts its place from their end.
    fields[TiffImagePlugin.ROWSPERSTRIP], fields[TiffImagePlugin.STRIPBYTECOUNTS] = height, len(strip)
    fields[TiffImagePlugin.STRIPOFFSETS] = 0
    out = io.BytesIO()
    fields.save(out)
    return out.getvalue() + strip
