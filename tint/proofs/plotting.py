"""Axes without words as pixels: the one place that knows of matplotlib, which is there only when asked for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import JobError
from tint.proofs.lettering import line_height, text_width
from tint.proofs.picture import DARK, LINE, PAPER, Box, Ink, Item, Text

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
