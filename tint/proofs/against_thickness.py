"""A blend drawn against thickness: how it hides, how light passes, and its colours from thin to thick below."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.palette import Palette
from tint.proofs import words
from tint.proofs.facts import Shade, bare_shades
from tint.proofs.parts import finished, headed, plot, plot_ink
from tint.proofs.picture import DARK, PAPER, QUIET, Ink, Picture, paint
from tint.proofs.render import LAMP
from tint.translucency import Course, Translucency, course, hiding_in_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]

_HEIGHT = 840  # of curves and bands together [px]; chosen by eye
_COLUMNS = 1200  # thicknesses that are computed, about one a pixel
_BAND = (0.16, 0.84)  # of its height that the colours take, between edges of bare backing
UNCAST: Ink = (209, 209, 209)  # behind what no swatch was like
DOUBT: Ink = (178, 178, 178)  # within the error
CLIPPED_LINE = (
    "Dashed edge of a band: the true colour is beyond a screen; the band shows the nearest colour that a screen has."
)


def draw_translucency(palette: Palette, sheet: Translucency) -> bytes:
    """A picture of a blend against thickness.

    Parameters
    ----------
    palette : Palette
    sheet : Translucency
        At two thicknesses or more, as `tint.translucency.translucency` gives it.

    Returns
    -------
    bytes
        A PNG tagged sRGB, the same for the same input.

    Raises
    ------
    JobError
        If matplotlib is not installed.
    """
    return paint(translucency_picture(palette, sheet))


def translucency_picture(palette: Palette, sheet: Translucency) -> Picture:
    """The picture laid out: boxes `curves`, and `over NAME` and `lit from behind` of the bands of colour."""
    setting = sheet.appearances[0].setting
    view = setting.viewing(palette)
    low, high = float(sheet.thickness_mm.min()), float(sheet.thickness_mm.max())
    run = course(
        palette, sheet.blend, setting=setting,
        thickness_mm=low + (np.arange(_COLUMNS) + 0.5) / _COLUMNS * (high - low),
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
    head, top = headed(str(sheet.blend), told)
    drawn, boxes = plot(draw, ("curves", *bands), top=top, height=_HEIGHT)
    hides = f"It {hiding_in_words(palette, sheet.blend.base, sheet.hides_at_mm)}."
    clipped = [] if all(shown.all() for _, _, shown in bands.values()) else [CLIPPED_LINE]
    cautions = [f"Take care: {warning}." for warning in sheet.warnings]
    return finished(
        [*head, drawn], drawn.box.bottom + 20, boxes,
        told=[hides, *cautions, *clipped, words.SCREEN_LINE], quiet=[words.RATIO_LINE],
    )  # fmt: skip


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


def _band(
    axes: Axes, name: str, ground: Shade, colours: Array, shown: NDArray[np.bool_], span: tuple[float, float]
) -> None:
    """The colours along the thickness, on what lies bare behind them, with dashes where a screen cannot show them."""
    axes.set(facecolor=plot_ink(ground.rgb), ylim=(0.0, 1.0), yticks=[])
    axes.grid(visible=False)
    axes.set_ylabel(name, rotation=0, ha="right", va="center")
    axes.imshow(colours[None], extent=(*span, *_BAND), aspect="auto", interpolation="nearest", zorder=2)
    x = span[0] + (np.arange(shown.size) + 0.5) / shown.size * (span[1] - span[0])
    edge = np.where(shown, np.nan, _BAND[0])
    axes.plot(x, edge, color=plot_ink(PAPER), zorder=3)
    axes.plot(x, edge, "--", color=plot_ink(DARK), zorder=4)
