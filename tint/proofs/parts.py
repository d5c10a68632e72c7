"""What every picture is put together from: a head, titles, figures, colours with their captions, a foot."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from tint.plots import plotted
from tint.proofs import words
from tint.proofs.facts import Chip, Shade
from tint.proofs.lettering import baseline
from tint.proofs.picture import DARK, LINE, PAPER, QUIET, Box, Ink, Item, NearSign, Patch, Picture, Raster, paragraph

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Sizes [px], chosen by eye: letters of 21 px on 1600 px are read on a laptop without zooming.
WIDTH, MARGIN = 1600, 64
LEFT, RIGHT = MARGIN, WIDTH - MARGIN
TITLE, FIGURE, HEADING, BODY, SMALL = 44, 38, 26, 22, 21
CHIP_SIGN, STEP_SIGN = 34, 28
_FIGURE_WIDTH = 140
_BELOW = 44  # free below the last line


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

Line = tuple[str, int, Ink]  # words, their size [px] and ink
Laid = tuple[list[Item], int]  # items, and where they end [px]


def stacked(lines: Sequence[Line], left: int, top: int, width: int) -> Laid:
    """Paragraphs one below the other."""
    items: list[Item] = []
    for said, size, ink in lines:
        more, top = paragraph(said, left=left, top=top, width=width, size=size, ink=ink)
        items += more
    return items, top


def headed(title: str, told: str) -> Laid:
    """The top of any picture: its name, what it holds for, a rule."""
    items, top = stacked([(title, TITLE, DARK)], LEFT, 36, RIGHT - LEFT)
    more, top = stacked([(told, BODY, QUIET)], LEFT, top + 4, RIGHT - LEFT)
    return [*items, *more, Patch(Box(LEFT, top + 14, RIGHT, top + 16), DARK)], top + 34


def finished(
    items: Sequence[Item], top: int, boxes: dict[str, Box], *, told: Sequence[str], quiet: Sequence[str] = (),
    width: int = WIDTH, margin: int = MARGIN, size: int = BODY,
) -> Picture:  # fmt: skip
    """A picture with its foot: a rule, what its signs mean where it has any, then lines dark and quiet."""
    left, right = margin, width - margin
    foot: list[Item] = [Patch(Box(left, top, right, top + 1), LINE)]
    top += 16
    if any(isinstance(item, NearSign) for item in items):
        sign = Box(left, top + 1, left + STEP_SIGN, top + 1 + STEP_SIGN)
        more, top = stacked([(words.NEAREST_LINE, size, DARK)], sign.right + 10, top, right - sign.right - 10)
        foot += [NearSign(sign), *more]
    lines = [*((line, size, DARK) for line in told), *((line, size, QUIET) for line in quiet)]
    more, top = stacked(lines, left, top, right - left)
    return Picture(Box(0, 0, width, top + _BELOW), [*items, *foot, *more], boxes)


def plot(
    draw: Callable[[Figure], Sequence[Axes]], names: Sequence[str], *, top: int, height: int
) -> tuple[Raster, dict[str, Box]]:  # fmt: skip
    """What `draw` fills a figure with, across the picture, and the places of the axes that it returns, by name."""
    pixels, places = plotted(draw, width=RIGHT - LEFT, height=height, style=PLOT_STYLE)
    boxes = {
        name: Box(LEFT + left, top + up, LEFT + right, top + down)
        for name, (left, up, right, down) in zip(names, places, strict=True)
    }
    return Raster(Box(LEFT, top, RIGHT, top + height), pixels), boxes


def titled(said: str, left: int, top: int, width: int) -> Laid:
    """A heading."""
    items, end = stacked([(said, HEADING, DARK)], left, top, width)
    return items, end + 10


def figures(said: Sequence[tuple[str, str]], left: int, top: int, width: int) -> Laid:
    """Large figures, each with what it means beside it."""
    items: list[Item] = []
    down = baseline(FIGURE) - baseline(BODY)
    for figure, meaning in said:
        large, end = stacked([(figure, FIGURE, DARK)], left, top, _FIGURE_WIDTH)
        lines, bottom = stacked([(meaning, BODY, DARK)], left + _FIGURE_WIDTH, top + down, width - _FIGURE_WIDTH)
        items += [*large, *lines]
        top = max(end, bottom) + 2
    return items, top


def captioned(under: Box, name: str, lines: Sequence[str]) -> Laid:
    """Lines below a colour: the first dark, the others small and quiet."""
    said = [(name, BODY, DARK), *((line, SMALL, QUIET) for line in lines)]
    return stacked(said, under.left, under.bottom + 8, under.width - 16)


def framed(box: Box) -> list[Item]:
    """A thin line around a box, to be painted before what fills it."""
    return [Patch(box.grown(1), LINE)]


def coloured(box: Box, shade: Shade, *, at_left: bool = False, size: int = CHIP_SIGN) -> list[Item]:
    """A colour, with the sign in an upper corner where a screen cannot show it."""
    if shade.exact:
        return [Patch(box, shade.rgb)]
    left = box.left + 8 if at_left else box.right - 8 - size
    return [Patch(box, shade.rgb), NearSign(Box(left, box.top + 8, left + size, box.top + 8 + size))]


def chip_row(chips: Sequence[Chip], strip: Box, *, gap: int = 0) -> tuple[list[Item], int, list[tuple[Box, ...]]]:
    """Colours side by side in a strip with their captions: the items, where they end, and each chip's boxes."""
    items = [] if gap else framed(strip)
    boxes, ends = [], [strip.bottom]
    wider = Box(strip.left, strip.top, strip.right + gap, strip.bottom)
    for column, chip in zip(wider.columns(max(len(chips), 1)), chips, strict=False):
        box = Box(column.left, column.top, column.right - gap, column.bottom)
        parts = box.columns(max(len(chip.shades), 1))
        items += framed(box) if gap else []
        for at, (part, shade) in enumerate(zip(parts, chip.shades, strict=False)):
            items += coloured(part, shade, at_left=at == 0 and len(parts) > 1)
        if chip.photo is not None:
            items.append(Raster(box, chip.photo.fitted(box.width, box.height)))
        more, end = captioned(box, chip.name, chip.told)
        items += more
        boxes.append(parts)
        ends.append(end)
    return items, max(ends), boxes
