"""The picture of a part: its portrait on its backing, a scale of thickness, and what a maker should know of it."""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tint import appearance, thickness
from tint.appearance import Setting
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import words
from tint.proofs.facts import cautions, seen_in
from tint.proofs.part import Part
from tint.proofs.passing import judged
from tint.proofs.picture import BODY, DARK, LEFT, QUIET, RIGHT, SMALL, Box, Layout, Patch, Picture, paint
from tint.proofs.portrait import DASH, FINER, Portrait, View, light_of, outlined, portrait_of, view_of
from tint.proofs.render import ColourTable, Hollow, Light, colour_table, deep_levels, hollow_table, shows_at, to_levels
from tint.proofs.samples import wedge_strip
from tint.proofs.walls import TO_DRAW, Walls, walls_of
from tint.spectra import Mask
from tint.target import Target

PIXELS = 900  # the longer side of the portrait [px]; chosen by eye, as are the next three
SHEET_PIXELS = 560  # the same on a sheet to approve [px]: 70 mm at 200 to an inch; no source
_GUTTER, _SCALE, _SCALED = 48, 34, 150  # between portrait and figures; height of the scale, and with its words [px]
_SLIM, _RULER = 560, 160  # portrait too slim for a sign on it; room for its ruler [px]
_BEYOND_DASH = 2  # of the outline of what is beyond a screen [px]
_RULERS_MM = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0)
_THIN_SHARE = 2.0  # percent of what is seen that may be thinner than what is told as thinnest: rounded edges
_LARGEST_MM = 100.0  # thickest setting that a prediction is asked for


_SHOWN = (
    "Each point has the colour of a flat layer as thick as the material there.",
    "Each point has the colour of flat layers as thick as the walls there: the near one, air, and what lies behind it.",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Shown:
    """A part as it is to be shown."""

    view: View
    named: str  # the part and the side it is seen from
    volume_cm3: float  # what it takes to cast it [cm3]
    finer: int = 2  # lines of sight a pixel, along each side

    @functools.cached_property
    def portrait(self) -> Portrait:
        """Ready to be coloured."""
        return portrait_of(self.view, finer=self.finer)

    @functools.cached_property
    def depths(self) -> tuple[float, float, float]:
        """The thinnest, the median and the thickest wall that is seen [mm]."""
        there = self.portrait.wall_mm[self.portrait.has_part]
        return float(np.percentile(there, _THIN_SHARE)), float(np.median(there)), float(there.max())

    def within(self, pixels: int) -> Shown:
        """Gathered so far that its longer side has no more than so many pixels."""
        return replace(self, finer=max(-(-max(self.view.thickness_mm.shape) // pixels), 1))


def part_shown(
    part: Part, *, pixels: int, named: str = "", side: str = "top", walls: Walls | None = None
) -> Shown:  # fmt: skip
    """A mesh seen from a side, at so many pixels along its longer side; name and walls are its own when absent."""
    walls = walls or walls_of(part.triangles, points=TO_DRAW, name=part.name)
    view = view_of(part, side, pixels=FINER * pixels, walls=walls)
    return Shown(view=view, named=named or part.seen_from(side), volume_cm3=part.volume_cm3, finer=FINER)


def draw_part(
    palette: Palette, blend: Blend, part: Part, *, setting: Setting, target: Target | None = None, title: str = "",
    side: str = "top",
) -> bytes:  # fmt: skip
    """A mesh in its colour, seen from a side, as a PNG tagged sRGB; other arguments as of `part_picture`."""
    shown = part_shown(part, pixels=PIXELS, side=side)
    return paint(part_picture(palette, blend, setting=setting, shown=shown, title=title, target=target))


def part_picture(
    palette: Palette, blend: Blend, *, setting: Setting, shown: Shown, thin_mm: float | None = None, title: str = "",
    target: Target | None = None,
) -> Picture:  # fmt: skip
    """A part in its colour, at its own thickness.

    `setting`: backing and light; its thickness is not used.
    `thin_mm`: what is thinner is outlined with dashes [mm].
    `target`: what of the part misses it is told first, and outlined where no `thin_mm` is given.
    """
    portrait = shown.portrait
    # Up to the thickest wall that is told, be it one along which nobody looks: scale and figures agree.
    table = colour_table(palette, blend, setting=setting, upto_mm=max(portrait.upto_mm, shown.depths[2]))
    pixels = to_levels(light_of(portrait, table, hollow_of(palette, blend, setting=setting, portrait=portrait)))
    told = [f"{shown.named}, {words.behind(table.over)}, {seen_in(palette, setting)}."]
    thin = dashed = None if thin_mm is None else thinner_than(portrait, thin_mm)
    if target is not None:
        seen, (wall, cover) = appearance.predict(palette, blend, setting=setting), (portrait.wall_mm, portrait.cover)
        verdict = judged(palette, seen, target=target, tolerance=target.tolerance, part_mm=wall, weight=cover)
        told += verdict.lines
        dashed = verdict.outline if thin is None else thin
    pixels = outlined(pixels, dashed, dash=DASH)
    beyond, visible = beyond_screen(portrait, table), portrait.has_part.sum()
    if 0 < beyond.sum() < visible:
        pixels = outlined(pixels, beyond, dash=_BEYOND_DASH)
    on = Layout()
    top = on.head(title or palette.name, " ".join(told))
    height, width = pixels.shape[:2]
    box = on.boxes["part"] = Box(LEFT, top + 10, LEFT + width, top + 10 + height)
    on.raster(box, pixels)
    if beyond.any():
        on.sign(box.right + 6 if width < _SLIM else box.right - 42, box.top + 8)
    bottom = _ruler(on, box, portrait.mm_per_pixel)
    left = LEFT + max(width, _RULER) + _GUTTER
    figures = _figures(palette, blend, setting=setting, shown=shown)
    if thin is not None:
        share = 100.0 * float(thin.sum()) / float(visible)
        figure, dashes = (_percent(share), ": within the dashes") if share else ("none", "")
        figures.append((figure, f"of the visible area is thinner than {thin_mm:g} mm{dashes}."))
    if beyond.any():
        meaning = "of the visible area is beyond a screen, which shows the nearest colour it has."
        figures.append((f"{100.0 * beyond.sum() / visible:.0f} %", meaning))
    ends = on.figures(figures, left, box.top, RIGHT - left)
    # The scale stands below the figures where the part leaves room there, else below both.
    left, top = (left, ends + 24) if ends + _SCALED <= bottom else (LEFT, max(bottom, ends) + 16)
    top = on.lines([("How thick, and in which colour", BODY, DARK)], left, top, RIGHT - left) + 12
    strip = Box(left, top, RIGHT, top + _SCALE)
    lowest = wedge_strip(on, [table], strip, table.upto_mm, signs=False)  # it is too low for them
    notes = [
        *cautions(palette, blend, Setting(thickness_mm=min(float(f"{shown.depths[1]:.2g}"), _LARGEST_MM))),
        f"{_SHOWN[bool(portrait.hollow.any())]} Light that spreads sideways is left out; shading and gloss are drawn, "
        "not predicted.",
        words.SCREEN_LINE,
    ]
    return on.finished(max(bottom, ends, lowest) + 26, told=notes)


def beyond_screen(portrait: Portrait, table: ColourTable) -> Mask:
    """Where the part has a colour that a screen cannot show."""
    return np.asarray(portrait.has_part & ~shows_at(table, portrait.thickness_mm))


def thinner_than(portrait: Portrait, thickness_mm: float) -> Mask:
    """Where the part's wall is thinner than that [mm]."""
    return np.asarray(portrait.has_part & (portrait.wall_mm < thickness_mm))


def _ruler(on: Layout, box: Box, mm_per_pixel: float) -> int:
    """A bar of a round length; where its words end."""
    fits = [length for length in _RULERS_MM if length / mm_per_pixel <= box.width / 3]
    length = fits[-1] if fits else _RULERS_MM[0]
    bar = Box(box.left, box.bottom + 20, box.left + round(length / mm_per_pixel), box.bottom + 24)
    on.items.append(Patch(bar, DARK))
    return on.lines([(f"{length:g} mm", SMALL, QUIET)], bar.right + 12, box.bottom + 8, 200)


def _figures(palette: Palette, blend: Blend, *, setting: Setting, shown: Shown) -> list[tuple[str, str]]:
    """What it takes to cast it, its walls, and how these look."""
    least, usual, most = map(words.two_digits, shown.depths)
    span = f"the median wall; from {least} to {most} mm in all." if least != most else "the wall all over."
    told = [_volume(shown.volume_cm3), (usual, f"mm, {span}")]
    if palette.pair:
        depths = sorted({float(f"{max(depth, 1e-3):.2g}") for depth in shown.depths[:2]})
        course = thickness.course(palette, blend, setting=setting, thickness_mm=depths)
        for depth, ratio in zip(depths, course.contrast_ratio, strict=True):
            seen = words.opacity_in_words(float(ratio))
            told.append((f"{ratio:.2f}", f"contrast ratio at {words.two_digits(depth)} mm. {seen}."))
    typical = replace(setting, thickness_mm=min(shown.depths[1], _LARGEST_MM))
    error = appearance.predict(palette, blend, setting=typical).expected_error
    told.append((f"{error:.1f}", f"expected error (CIEDE2000) at {usual} mm, 95 of 100 castings."))
    return told


def _volume(volume_cm3: float) -> tuple[str, str]:
    """A figure of at most five digits, and what it is."""
    meaning = "of the mix fill it, without sprue and waste."
    if volume_cm3 >= 1e4:
        return f"{volume_cm3 / 1000.0:.3g}", f"litres {meaning}"
    if volume_cm3 < 0.01:
        return f"{1000.0 * volume_cm3:.2g}", f"mm3 {meaning}"
    return f"{volume_cm3:.0f}" if volume_cm3 >= 100.0 else f"{volume_cm3:.3g}", f"cm3 {meaning}"


def _percent(percent: float) -> str:
    return f"{percent:.2g} %" if percent < 9.95 else f"{percent:.0f} %"


def deep_part(palette: Palette, blend: Blend, *, setting: Setting, shown: Shown) -> NDArray[np.uint16]:
    """The portrait alone in 65536 levels, shape (height, width, 3)."""
    return deep_levels(part_light(palette, blend, setting=setting, portrait=shown.portrait))


def part_light(palette: Palette, blend: Blend, *, setting: Setting, portrait: Portrait) -> Light:
    """A portrait in the colours of a blend, as `light_of` gives it."""
    table = colour_table(palette, blend, setting=setting, upto_mm=portrait.upto_mm)
    return light_of(portrait, table, hollow_of(palette, blend, setting=setting, portrait=portrait))


def hollow_of(palette: Palette, blend: Blend, *, setting: Setting, portrait: Portrait) -> Hollow | None:
    """The colours of two walls, where the portrait shows any."""
    if not portrait.hollow.any():
        return None
    near, far = portrait.both_upto_mm
    return hollow_table(palette, blend, setting=setting, near_mm=near, far_mm=far)
