"""Axes without words as pixels: the one place that knows of matplotlib, which is there only when asked for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import JobError
from tint.proofs.lettering import line_height, text_width
from tint.proofs.picture import DARK, LINE, PAPER, QUIET, Box, Ink, Item, Text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

GRID: Ink = (200, 200, 200)
LINE_WIDTH = 4  # [px]
# On and off along a line [px]: how lines are told apart without a colour.
STYLES: tuple[tuple[float, ...], ...] = (
    (26.0, 10.0),
    (4.0, 8.0),
    (24.0, 8.0, 4.0, 8.0),
    (9.0, 7.0),
    (18.0, 7.0, 4.0, 7.0, 4.0, 7.0),
)
DASHES = (16.0, 10.0)


def plotted(fill: Callable[[Axes], None], *, width: int, height: int) -> NDArray[np.uint8]:
    """What `fill` draws on axes that take the whole picture, shape (height, width, 3), without any words.

    Raises
    ------
    JobError
        If matplotlib is not installed.
    """
    try:
        import matplotlib
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
    except ImportError as error:
        mend = "install tint with its extra `plot`, or `pip install matplotlib`"
        raise JobError("plot", "matplotlib is not installed", mend=mend) from error
    with matplotlib.rc_context():
        matplotlib.rcdefaults()  # whatever the user's own settings are
        figure = Figure(figsize=(width / 72.0, height / 72.0), dpi=72, facecolor=shade(PAPER))
        canvas = FigureCanvasAgg(figure)
        fill(figure.add_axes((0.0, 0.0, 1.0, 1.0)))
        canvas.draw()  # type: ignore[no-untyped-call]
        return np.ascontiguousarray(np.asarray(canvas.buffer_rgba())[..., :3])  # type: ignore[no-untyped-call]


def frame(
    axes: Axes, *, across: tuple[float, float], up: tuple[float, float], ticks: tuple[ArrayLike, ArrayLike]
) -> None:
    """Limits, a quiet grid behind all else, and a border."""
    axes.set(xlim=across, ylim=up, xticks=np.asarray(ticks[0]), yticks=np.asarray(ticks[1]))
    axes.set_facecolor(shade(PAPER))
    axes.set_axisbelow(True)
    axes.grid(color=shade(GRID), linewidth=1.5)
    axes.tick_params(length=0)
    for spine in axes.spines.values():
        spine.set(color=shade(LINE), linewidth=4.0)  # half of it lies outside


def dashed(style: Sequence[float], width: float = LINE_WIDTH) -> tuple[float, tuple[float, ...]]:
    """A style [px] in widths of its line, as matplotlib takes it."""
    return 0.0, tuple(length / width for length in style)


def shade(ink: Ink) -> tuple[float, float, float]:
    """Levels of 255 as shares."""
    return ink[0] / 255.0, ink[1] / 255.0, ink[2] / 255.0


def word(said: str, at: tuple[int, int], *, size: int, ink: Ink = DARK, side: str = "left") -> Text:
    """One line of words: `at` is its upper left corner, its upper right one, or between them."""
    width, (x, top) = text_width(said, size), at
    left = x - {"left": 0, "middle": width // 2, "right": width}[side]
    return Text(Box(left, top, left + width, top + line_height(size)), said, size, ink)


def scale(
    box: Box, values: Sequence[tuple[float, str]], limits: tuple[float, float], *, size: int, upward: bool = False
) -> list[Item]:
    """The numbers along the lower edge of a plot, or up its left one."""
    low, high = limits
    items: list[Item] = []
    for value, said in values:
        share = (value - low) / (high - low)
        if upward:
            middle = round(box.bottom - share * box.height)
            items.append(word(said, (box.left - 14, middle - line_height(size) // 2), size=size, side="right"))
        else:
            items.append(word(said, (round(box.left + share * box.width), box.bottom + 16), size=size, side="middle"))
    return items


# Curves over thickness as pixels.


Array = NDArray[np.float64]

UNCAST: Ink = (209, 209, 209)  # behind what no swatch was like
DOUBT: Ink = (178, 178, 178)  # within the error


@dataclass(frozen=True, kw_only=True, eq=False)
class Curves:
    """What to draw, all of it from 0 to 1 over thickness.

    Parameters
    ----------
    thickness_mm, contrast_ratio, contrast_ratio_error, transmittance : ndarray, shape (n,)
        [mm], [-], [-], [-]
    span_mm : tuple of float
        Left and right edge [mm].
    cast_mm : tuple of float
        Thinnest and thickest swatch [mm].
    marked_mm : float or None
        Where a line stands [mm].
    ticks_mm : sequence of float
        [mm]
    """

    thickness_mm: Array
    contrast_ratio: Array
    contrast_ratio_error: Array
    transmittance: Array
    span_mm: tuple[float, float]
    cast_mm: tuple[float, float]
    marked_mm: float | None
    ticks_mm: Sequence[float]


def draw_curves(curves: Curves, *, width: int, height: int) -> NDArray[np.uint8]:
    """The curves as pixels, shape (height, width, 3), without any words.

    Raises
    ------
    JobError
        If matplotlib is not installed.
    """
    return plotted(lambda axes: _fill(axes, curves), width=width, height=height)


def _fill(axes: Axes, curves: Curves) -> None:
    frame(axes, across=curves.span_mm, up=(0.0, 1.0), ticks=(curves.ticks_mm, np.linspace(0.0, 1.0, 6)))
    (left, right), (thin, thick) = curves.span_mm, curves.cast_mm
    for start, end in ((left, min(thin, right)), (max(thick, left), right)):
        if start < end:
            axes.axvspan(start, end, color=shade(UNCAST), linewidth=0, zorder=0)
    x, ratio, error = curves.thickness_mm, curves.contrast_ratio, curves.contrast_ratio_error
    axes.fill_between(x, ratio - error, np.minimum(ratio + error, 1.0), color=shade(DOUBT), linewidth=0, zorder=2)
    axes.plot(x, curves.transmittance, color=shade(QUIET), linewidth=LINE_WIDTH, linestyle=dashed(DASHES), zorder=3)
    axes.plot(x, ratio, color=shade(DARK), linewidth=LINE_WIDTH, solid_capstyle="butt", zorder=4)
    if curves.marked_mm is not None:
        axes.axvline(curves.marked_mm, color=shade(DARK), linewidth=2.0, zorder=5)
