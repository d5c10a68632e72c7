"""The spectra of target and recipes as curves, told apart by their dashes and named at their ends."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tint.proofs.lettering import line_height
from tint.proofs.parts import BODY
from tint.proofs.picture import DARK, LINE, QUIET, Box, Ink, Item, Patch, Raster
from tint.proofs.plotting import LINE_WIDTH, STYLES, dashed, frame, plotted, scale, shade, word
from tint.proofs.shown import Shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]

_LEFT, _RIGHT = 96, 220  # room for the scale and for the names [px]
_SAMPLE = 84  # of a line, before its name [px]
_BROAD = 12  # the target's [px]
_STEP_NM = 50.0
MOST = 10  # recipes; more have no room for their names


@dataclass(frozen=True, eq=False)
class Line:
    """One spectrum.

    Parameters
    ----------
    style : tuple of float
        On and off along it [px].
    """

    sign: str
    values: Array
    style: tuple[float, ...]
    ink: Ink
    width: int


@dataclass(frozen=True)
class Plot:
    """Where the curves stand, from 0 to `top`."""

    box: Box
    top: float


def draw_spectra(shown: Shown, room: Box) -> tuple[list[Item], Plot]:
    """Curves with their scales and names, in a room on the picture."""
    lines = _lines(shown)
    top = _top(lines)
    box = Box(room.left + _LEFT, room.top + 16, room.right - _RIGHT, room.bottom - 16)
    first, last = float(shown.wavelengths[0]), float(shown.wavelengths[-1])
    ticks = np.arange(math.ceil(first / _STEP_NM), math.floor(last / _STEP_NM) + 1) * _STEP_NM
    levels = np.linspace(0.0, top, 6 if top > 0.35 else 5)

    def fill(axes: Axes) -> None:
        frame(axes, across=(first, last), up=(0.0, top), ticks=(ticks, levels))
        for line in lines:
            style = dashed(line.style, line.width) if line.style else "-"
            axes.plot(
                shown.wavelengths, line.values, color=shade(line.ink), linewidth=line.width, linestyle=style,
                solid_capstyle="butt", dash_capstyle="butt",
            )  # fmt: skip

    items: list[Item] = [Raster(box, plotted(fill, width=box.width, height=box.height))]
    items += scale(box, [(nm, f"{nm:g}") for nm in ticks], (first, last), size=BODY)
    items += scale(box, [(level, f"{level:.2f}") for level in levels], (0.0, top), size=BODY, upward=True)
    items.append(word("nm", (box.right + 40, box.bottom + 16), size=BODY, ink=QUIET))
    return [*items, *_names(lines, box, top)], Plot(box, top)


def _lines(shown: Shown) -> list[Line]:
    """The target broad and grey, so that recipes show on it; those in dashes, dark ones first."""
    target, *recipes = shown.chips
    lines = [] if target.spectrum is None else [Line(target.sign, target.spectrum, (), LINE, _BROAD)]
    for at, chip in enumerate(recipes[:MOST]):
        assert chip.spectrum is not None  # a recipe always has one
        ink = DARK if at // len(STYLES) % 2 == 0 else QUIET
        lines.append(Line(chip.sign, chip.spectrum, STYLES[at % len(STYLES)], ink, LINE_WIDTH))
    return lines


def _top(lines: Sequence[Line]) -> float:
    """A round number above all curves."""
    most = max(float(line.values.max()) for line in lines)
    return next((top for top in (0.1, 0.2, 0.5, 1.0) if most <= top), math.ceil(5.0 * most) / 5.0)


def _names(lines: Sequence[Line], box: Box, top: float) -> list[Item]:
    """At the end of each curve its dashes and its name, pushed apart where curves end together."""
    height = line_height(BODY)
    ends = [box.bottom - float(line.values[-1]) / top * box.height for line in lines]
    order = np.argsort(ends, kind="stable")
    items: list[Item] = []
    for line, middle in zip(
        [lines[at] for at in order], spread_out([ends[at] for at in order], height, box), strict=True
    ):
        left = box.right + 24
        half = line.width // 2
        items += [
            Patch(Box(start, middle - half, end, middle - half + line.width), line.ink)
            for start, end in _strokes(line.style, left, left + _SAMPLE)
        ]
        items.append(word(line.sign, (left + _SAMPLE + 12, middle - height // 2), size=BODY))
    return items


def spread_out(ends: Sequence[float], height: int, box: Box) -> list[int]:
    """Heights at least a line apart, as near to where the curves end as that allows, within the plot's own height."""
    offsets = np.arange(len(ends)) * height
    # The nearest rising sequence: the mean of the running maximum from above and the running minimum from below.
    free = np.asarray(ends) - offsets
    level = 0.5 * (np.maximum.accumulate(free) + np.minimum.accumulate(free[::-1])[::-1])
    last = max(box.bottom - height // 2 - float(offsets[-1]), box.top)
    return [round(float(at)) for at in np.clip(level, box.top + height // 2, last) + offsets]


def _strokes(style: Sequence[float], left: int, right: int) -> list[tuple[int, int]]:
    """Where a style is on, between two ends."""
    if not style:
        return [(left, right)]
    strokes, at, number = [], float(left), 0
    while at < right:
        length = style[number % len(style)]
        if number % 2 == 0:
            strokes.append((round(at), min(round(at + length), right)))
        at, number = at + length, number + 1
    return strokes
