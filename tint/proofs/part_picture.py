"""The picture of a part: its portrait on its backing, a scale of thickness, and what a maker should know of it."""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tint import appearance, translucency
from tint.appearance import Setting
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import parts, words
from tint.proofs.part import View
from tint.proofs.parts import BODY, LEFT, RIGHT, SMALL
from tint.proofs.picture import DARK, QUIET, Box, Item, NearSign, Patch, Raster, paragraph
from tint.proofs.portrait import Portrait, beyond_screen, light_of, outlined, portrait_of, thinner_than
from tint.proofs.render import ColourTable, colour_table, deep_levels, levels_at, to_levels
from tint.proofs.views import Picture, cautions, ended, seen_in, stretches_beyond, ticks

Array = NDArray[np.float64]

PIXELS = 900  # the longer side of the portrait
_GUTTER = 48
_SCALE = 34
_RULERS_MM = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0)
_THIN_DASH, _BEYOND_DASH = 6, 2
_THIN_SHARE = 2.0  # percent of what is seen that may be thinner than what is told as thinnest


@dataclass(frozen=True, kw_only=True, eq=False)
class Shown:
    """A part as it is to be shown.

    Parameters
    ----------
    view : View
    named : str
        The part and the side it is seen from.
    volume_cm3 : float
        What it takes to cast it [cm3].
    finer : int
        Lines of sight a pixel, along each side.
    """

    view: View
    named: str
    volume_cm3: float
    finer: int = 2

    @functools.cached_property
    def portrait(self) -> Portrait:
        """Ready to be coloured."""
        return portrait_of(self.view, finer=self.finer)

    def within(self, pixels: int) -> Shown:
        """Gathered so far that its longer side has no more than so many pixels."""
        return replace(self, finer=max(-(-max(self.view.thickness_mm.shape) // pixels), 1))


def usual_thickness(portrait: Portrait) -> float:
    """The thickness that half of what is seen does not reach [mm]."""
    return float(np.median(portrait.thickness_mm[portrait.has_part]))


def table_for(palette: Palette, blend: Blend, *, setting: Setting, portrait: Portrait, over: str = "") -> ColourTable:
    """The colours that a portrait needs."""
    return colour_table(palette, blend, setting=setting, upto_mm=portrait.upto_mm, over=over)


def part_picture(
    palette: Palette, blend: Blend, *, setting: Setting, shown: Shown, thin_mm: float | None = None, title: str = ""
) -> Picture:  # fmt: skip
    """A part in its colour, at its own thickness.

    Parameters
    ----------
    setting : Setting
        Backing and light; its thickness is not used.
    thin_mm : float, optional
        What is thinner is outlined with dashes [mm].
    """
    portrait = shown.portrait
    table = table_for(palette, blend, setting=setting, portrait=portrait)
    thin = None if thin_mm is None else thinner_than(portrait, thin_mm)
    beyond = beyond_screen(portrait, table)
    pixels = to_levels(light_of(portrait, table))
    if thin is not None:
        pixels = outlined(pixels, thin, dash=_THIN_DASH)
    if beyond.any() and beyond.sum() < portrait.has_part.sum():
        pixels = outlined(pixels, beyond, dash=_BEYOND_DASH)
    told = f"{shown.named}, {words.behind(table.over)}, {seen_in(palette, setting)}."
    head = parts.headed(title or palette.name, told)
    height, width = pixels.shape[:2]
    box = Box(LEFT, head.bottom + 10, LEFT + width, head.bottom + 10 + height)
    items: list[Item] = [*head.items, *parts.framed(box), Raster(box, pixels)]
    if beyond.any():
        items.append(NearSign(Box(box.right - 42, box.top + 8, box.right - 8, box.top + 42)))
    ruler, under = _ruler(box, portrait.mm_per_pixel)
    scale, bottom = _scale(table, Box(box.left, under + 16, box.right, under + 16 + _SCALE), portrait)
    left = LEFT + max(width, PIXELS) + _GUTTER
    figures = _figures(palette, blend, setting=setting, shown=shown, portrait=portrait, thin=thin, thin_mm=thin_mm)
    if beyond.any():
        share = 100.0 * beyond.sum() / portrait.has_part.sum()
        figures.append((f"{share:.0f} %", "of what is seen is beyond a screen, which shows the nearest it can."))
    beside, ends = parts.figures(figures, left, box.top, RIGHT - left)
    items += [*ruler, *scale, *beside]
    usual = Setting(thickness_mm=min(float(f"{usual_thickness(portrait):.2g}"), 100.0))
    notes = [
        *cautions(palette, blend, usual),
        "Every point has the colour of a flat layer as thick as the material there; "
        "light that wanders sideways is left out, shade and gloss are drawn.",
    ]
    return ended(items, max(bottom, ends), {"part": box}, notes=notes, has_signs=bool(beyond.any()))


def _ruler(box: Box, mm_per_pixel: float) -> tuple[list[Item], int]:
    """A bar of a round length."""
    fits = [length for length in _RULERS_MM if length / mm_per_pixel <= box.width / 3]
    length = fits[-1] if fits else _RULERS_MM[0]
    bar = Box(box.left, box.bottom + 20, box.left + round(length / mm_per_pixel), box.bottom + 24)
    lines, bottom = paragraph(
        f"{length:g} mm", left=bar.right + 12, top=box.bottom + 8, width=200, size=SMALL, ink=QUIET
    )
    return [Patch(bar, DARK), *lines], bottom


def _scale(table: ColourTable, box: Box, portrait: Portrait) -> tuple[list[Item], int]:
    """The colour of every thickness that there is."""
    depth = (np.arange(box.width) + 0.5) / box.width * portrait.upto_mm
    pixels = np.broadcast_to(levels_at(table, depth)[None], (box.height, box.width, 3))
    lines, top = paragraph("How thick, and in which colour", left=box.left, top=box.top, width=box.width, size=BODY)
    strip = Box(box.left, top + 12, box.right, top + 12 + box.height)
    below, bottom = ticks(strip, portrait.upto_mm)
    marks = [mark for mark in stretches_beyond([table], strip, portrait.upto_mm) if isinstance(mark, Patch)]
    return [*lines, *parts.framed(strip), Raster(strip, np.ascontiguousarray(pixels)), *marks, *below], bottom


def _figures(
    palette: Palette, blend: Blend, *, setting: Setting, shown: Shown, portrait: Portrait,
    thin: NDArray[np.bool_] | None, thin_mm: float | None,
) -> list[tuple[str, str]]:  # fmt: skip
    depths = portrait.thickness_mm[portrait.has_part]
    least, usual = float(np.percentile(depths, _THIN_SHARE)), usual_thickness(portrait)
    told = [
        (f"{shown.volume_cm3:.3g}", "cm3 of the mix fill it, without sprue and waste."),
        (f"{usual:.2g}", f"mm or less at half of what is seen; from {least:.2g} to {depths.max():.2g} mm in all."),
    ]
    if palette.pair:
        course = translucency.course(palette, blend, setting=setting, thickness_mm=[max(least, 1e-3), usual])
        for depth, ratio in zip((least, usual), course.contrast_ratio, strict=True):
            told.append((f"{ratio:.2f}", f"contrast ratio at {depth:.2g} mm. {words.opacity_in_words(float(ratio))}."))
    typical = appearance.predict(
        palette, blend, setting=Setting(**{**vars(setting), "thickness_mm": min(usual, 100.0)})
    )
    error = typical.expected_error
    told.append((f"{error:.1f}", f"expected error (CIEDE2000) at {usual:.2g} mm, 95 times in 100."))
    if thin is not None and thin_mm is not None:
        share = 100.0 * float(thin.sum()) / float(portrait.has_part.sum())
        if share:
            told.append((f"{share:.2g} %", f"of what is seen is thinner than {thin_mm:g} mm: within the dashes."))
        else:
            told.append(("none", f"of what is seen is thinner than {thin_mm:g} mm."))
    return told


def deep_part(palette: Palette, blend: Blend, *, setting: Setting, shown: Shown) -> NDArray[np.uint16]:
    """The portrait alone in 65536 levels, shape (height, width, 3)."""
    portrait = shown.portrait
    return deep_levels(light_of(portrait, table_for(palette, blend, setting=setting, portrait=portrait)))
