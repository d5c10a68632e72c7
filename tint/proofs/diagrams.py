"""Diagrams: a blend against thickness, and the colours that a base reaches, each drawn in the colours it tells of.

Against thickness: how a blend hides, how light passes, and its colours from thin to thick below. The reach of a base:
sections of constant lightness in their own colours, with the target.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from tint import colorimetry
from tint.colorimetry import Viewing
from tint.notebook import plotted
from tint.palette import Palette
from tint.proofs import words
from tint.proofs.facts import Shade, bare_shades
from tint.proofs.picture import DARK, LEFT, LINE, PAPER, QUIET, RIGHT, WHITE, Box, Ink, Layout, Picture, Raster, paint
from tint.proofs.render import LAMP
from tint.recipes.reach import Reach
from tint.spectra import Array, Mask
from tint.target import Target
from tint.thickness import Course, Translucency, course, hiding_in_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


_HEIGHT = 840  # of curves and bands together [px]; chosen by eye
_THICKNESSES = 1200  # thicknesses that are computed, about one a pixel
_BAND = (0.16, 0.84)  # of its height that the colours take, between edges of bare backing
UNCAST: Ink = (209, 209, 209)  # behind what no swatch was like
DOUBT: Ink = (178, 178, 178)  # within the error
CLIPPED_LINE = (
    "Dashed edge of a band: the true colour is beyond a screen; the band shows the nearest colour that a screen has."
)
_COLUMNS, _ROW = 3, 550  # sections side by side; height of a row of them [px]; chosen by eye
_ROUND = 20.0  # limits are multiples of it [-]
_FINE = 240  # squares of one colour along each side of a section
_SAME = 0.5  # L* within which a section is the target's own: half the step that is told
NEAREST_LINE = "Where a colour is beyond a screen, the nearest that a screen can show is drawn."


def draw_translucency(palette: Palette, sheet: Translucency) -> bytes:
    """`translucency_picture` as a PNG tagged sRGB, the same for the same input.

    Raises JobError if matplotlib is not installed.
    """
    return paint(translucency_picture(palette, sheet))


def translucency_picture(palette: Palette, sheet: Translucency) -> Picture:
    """A blend against thickness: boxes `curves`, and `over NAME` and `lit from behind` of the bands of colour.

    `sheet`: at two thicknesses or more, as `tint.thickness.translucency` gives it.
    """
    setting = sheet.appearances[0].setting
    view = setting.viewing(palette)
    low, high = float(sheet.thickness_mm.min()), float(sheet.thickness_mm.max())
    run = course(
        palette, sheet.blend, setting=setting,
        thickness_mm=low + (np.arange(_THICKNESSES) + 0.5) / _THICKNESSES * (high - low),
    )  # fmt: skip
    bare = bare_shades(palette, (palette.black, palette.white, LAMP), view)
    labs = {f"over {palette.black}": run.lab_black, f"over {palette.white}": run.lab_white}
    bands = {
        name: (ground, *colorimetry.lab_to_srgb(lab, view))
        for (name, lab), ground in zip((labs | {"lit from behind": run.lab_from_behind}).items(), bare, strict=True)
    }

    def draw(figure: Figure) -> list[Axes]:
        curves, *strips = figure.subplots(4, 1, sharex=True, height_ratios=(4, 1, 1, 1))
        _curves(curves, palette, sheet, run)
        for axes, (name, (ground, colours, shown)) in zip(strips, bands.items(), strict=True):
            _band(axes, name, ground, colours, shown, (low, high))
        strips[-1].set(xlabel="thickness, mm", xlim=(low, high))
        strips[-1].locator_params(axis="x", nbins=12)
        figure.legend(loc="outside upper left", ncols=4, frameon=False)
        return [curves, *strips]

    told = f"{palette.name}, against thickness. It holds for {sheet.conditions}."
    on = Layout()
    top = plot(on, draw, ("curves", *bands), top=on.head(str(sheet.blend), told), height=_HEIGHT)
    hides = f"It {hiding_in_words(palette, sheet.blend.base, sheet.hides_at_mm)}."
    clipped = [] if all(shown.all() for _, _, shown in bands.values()) else [CLIPPED_LINE]
    cautions = [f"Take care: {warning}." for warning in sheet.warnings]
    return on.finished(top + 20, told=[hides, *cautions, *clipped, words.SCREEN_LINE], quiet=[words.RATIO_LINE])


def _curves(axes: Axes, palette: Palette, sheet: Translucency, run: Course) -> None:
    """How it hides, with the error, and how light passes; where no swatch was so thick; the mark where it hides."""
    x, ratio = run.thickness_mm, run.contrast_ratio
    error = np.interp(x, sheet.thickness_mm, [look.contrast_ratio_error for look in sheet.appearances])
    thin, thick = palette.seen[sheet.blend.base].thickness_mm
    axes.plot(x, ratio, color=plot_ink(DARK), label="contrast ratio", zorder=4)
    axes.fill_between(
        x, ratio - error, np.minimum(ratio + error, 1.0), color=plot_ink(DOUBT), linewidth=0, zorder=2,
        label="95 of 100 castings",
    )  # fmt: skip
    axes.plot(
        x, run.luminous_transmittance, "--", color=plot_ink(QUIET), label="light transmitted, free slab", zorder=3
    )
    for start, end, label in ((-1.0, thin, "outside the swatches"), (thick, max(thick, x[-1]) + 1.0, None)):
        axes.axvspan(start, end, color=plot_ink(UNCAST), linewidth=0, zorder=0, label=label)
    axes.set_ylim(0.0, 1.0)
    depth = sheet.hides_at_mm
    if depth is not None and sheet.thickness_mm.min() <= depth <= sheet.thickness_mm.max():
        axes.axvline(depth, color=plot_ink(DARK), linewidth=2.0, zorder=5)
        past = depth > sheet.thickness_mm.mean()
        axes.text(
            depth, 1.02, f"hides from {depth:.3g} mm", ha="right" if past else "left", va="bottom",
            transform=axes.get_xaxis_transform(),
        )  # fmt: skip


def _band(axes: Axes, name: str, ground: Shade, colours: Array, shown: Mask, span: tuple[float, float]) -> None:
    """The colours along the thickness, on what lies bare behind them, with dashes where a screen cannot show them."""
    axes.set(facecolor=plot_ink(ground.rgb), ylim=(0.0, 1.0), yticks=[])
    axes.grid(visible=False)
    axes.set_ylabel(name, rotation=0, ha="right", va="center")
    axes.imshow(colours[None], extent=(*span, *_BAND), aspect="auto", interpolation="nearest", zorder=2)
    x = span[0] + (np.arange(shown.size) + 0.5) / shown.size * (span[1] - span[0])
    edge = np.where(shown, np.nan, _BAND[0])
    axes.plot(x, edge, color=plot_ink(PAPER), zorder=3)
    axes.plot(x, edge, "--", color=plot_ink(DARK), zorder=4)


def plot_ink(ink: Ink) -> tuple[float, float, float]:
    """An ink as matplotlib takes it."""
    return ink[0] / 255.0, ink[1] / 255.0, ink[2] / 255.0


# What plots on a picture have other than matplotlib's defaults.
PLOT_STYLE = {
    "font.size": 16.0, "axes.titlesize": "medium", "axes.grid": True, "axes.axisbelow": True, "lines.linewidth": 3.0,
    "lines.dash_capstyle": "butt", "lines.solid_capstyle": "butt", "text.color": plot_ink(DARK),
    "axes.labelcolor": plot_ink(QUIET), "xtick.color": plot_ink(DARK), "ytick.color": plot_ink(DARK),
    "figure.facecolor": plot_ink(PAPER), "axes.facecolor": plot_ink(PAPER), "axes.edgecolor": plot_ink(LINE),
    "grid.color": plot_ink((200, 200, 200)),
}  # fmt: skip


def plot(
    on: Layout, draw: Callable[[Figure], Sequence[Axes]], names: Sequence[str], *, top: int, height: int
) -> int:  # fmt: skip
    """What `draw` fills a figure with, across a picture, its axes' places named; where it ends."""
    pixels, places = plotted(draw, width=RIGHT - LEFT, height=height, style=PLOT_STYLE)
    for name, (left, up, right, down) in zip(names, places, strict=True):
        on.boxes[name] = Box(LEFT + left, top + up, LEFT + right, top + down)
    on.items.append(Raster(Box(LEFT, top, RIGHT, top + height), pixels))
    return top + height


# The reach of a base.


def draw_reach(reach: Reach, target: Target | None = None) -> bytes:
    """`reach_picture` as a PNG tagged sRGB, the same for the same input.

    Raises JobError if matplotlib is not installed.
    """
    return paint(reach_picture(reach, target))


def reach_picture(reach: Reach, target: Target | None = None) -> Picture:
    """What a base reaches: boxes `section 0`, `section 1` ... by rising lightness, each from -`half_of` to it.

    `target`: marked in the section of its own lightness, where the reach has one.
    """
    # Light and observer alone decide how a colour shows: any grid does.
    view = colorimetry.viewing(
        np.arange(400.0, 701.0, 10.0), light=reach.setting.light, observer=reach.setting.observer
    )
    own, half = own_section(reach, target), half_of(reach, target)
    rows = max(math.ceil(len(reach.edges) / _COLUMNS), 1)

    def draw(figure: Figure) -> list[Axes]:
        places = figure.subplots(rows, _COLUMNS, sharex=True, sharey=True, squeeze=False).ravel()
        for at, axes in enumerate(places):
            if at >= len(reach.edges):
                axes.set_visible(False)
                continue
            mark = target.lab[1:] if target and at == own else None
            _section(axes, float(reach.lightness[at]), reach.edges[at], mark, half, view)
            axes.tick_params(labelbottom=True)
            if at % _COLUMNS == 0:
                axes.set_ylabel("b*", rotation=0)
        return list(places[: len(reach.edges)])

    on = Layout()
    top = on.head(f"What {reach.base} reaches", _told(reach, target))
    top = plot(on, draw, [f"section {at}" for at in range(len(reach.edges))], top=top, height=rows * _ROW)
    return on.finished(top + 20, told=[NEAREST_LINE], quiet=[words.SCREEN_LINE])


def _told(reach: Reach, target: Target | None) -> str:
    s = reach.setting
    over = "a free slab" if s.over == "none" else f"over {s.over or 'the lightest backing'}, {s.seat} seat"
    told = f"Colours a*, b* at several lightnesses, {s.thickness_mm:g} mm, {over}, {s.light}, {s.observer}° observer"
    if reach.contrast_ratio_min is not None:
        told += f", contrast ratio at least {reach.contrast_ratio_min:.3g}"
    return f"{told}. Target: {target.in_words}." if target else f"{told}."


def own_section(reach: Reach, target: Target | None) -> int | None:
    """Which section has the target's lightness."""
    if target is None or not len(reach.lightness):
        return None
    apart = np.abs(reach.lightness - target.lab[0])
    return int(apart.argmin()) if apart.min() <= _SAME else None


def half_of(reach: Reach, target: Target | None) -> float:
    """Up to where a* and b* run in each section: a round number beyond all that is drawn [-]."""
    far = [float(np.abs(edge).max()) for edge in reach.edges if len(edge)]
    far += [float(np.abs(target.lab[1:]).max())] if target else []
    return _ROUND * math.ceil((max(far, default=_ROUND) + 4.0) / _ROUND)


def _section(axes: Axes, lightness: float, edge: Array, mark: Array | None, half: float, view: Viewing) -> None:
    """A section in its own colours, cut out along its edge, and a ring where the target is."""
    own = ", the target's" if mark is not None else ""
    axes.set(
        xlim=(-half, half), ylim=(-half, half), aspect="equal", xlabel="a*",
        title=f"L* {lightness:.4g}{own}{'' if len(edge) else ': no recipe'}",
    )  # fmt: skip
    axes.locator_params(nbins=7, prune="both")
    axes.axhline(0.0, color=plot_ink(QUIET), linewidth=1.5)
    axes.axvline(0.0, color=plot_ink(QUIET), linewidth=1.5)
    if len(edge):
        (outline,) = axes.fill(*edge.T, facecolor="none", edgecolor=plot_ink(DARK), linewidth=2.5, zorder=3)
        drawn = axes.imshow(
            _colours(lightness, half, view), extent=(-half, half, -half, half), origin="lower",
            interpolation="nearest", zorder=2.5,
        )  # fmt: skip
        drawn.set_clip_path(outline)
    if mark is not None:
        for ink, width in ((WHITE, 6), (DARK, 3)):  # a ring that is seen on any colour, open in its middle
            axes.plot(*mark, "o", markersize=18, mfc="none", mec=plot_ink(ink), mew=width, zorder=5)


def _colours(lightness: float, half: float, view: Viewing) -> Array:
    """Screen colours over the whole of a section, shape (count, count, 3), b* rising downward as rows do."""
    at = (np.arange(_FINE) + 0.5) / _FINE * 2.0 * half - half
    a, b = np.meshgrid(at, at)
    signal, _ = colorimetry.lab_to_srgb(np.stack((np.full_like(a, lightness), a, b), axis=-1), view)
    return signal
