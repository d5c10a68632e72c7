"""The reach of a base as a picture: sections of constant lightness, each in its own colours, with the target."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.colorimetry import Viewing
from tint.proofs import words
from tint.proofs.lettering import line_height
from tint.proofs.parts import BODY, LEFT, RIGHT, WIDTH, footed, headed
from tint.proofs.picture import DARK, QUIET, WHITE, Box, Item, Raster, paint
from tint.proofs.plotting import frame, plotted, scale, shade, word
from tint.recipes.reach import Reach
from tint.target import Target

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]

_COLUMNS, _GAP = 3, 44
_SCALE = 58  # room for the numbers at the left [px]
_ROUND = 20.0  # limits are multiples of it [-]
_FINE = 2  # pixels to a square of one colour
_SAME = 0.5  # L* within which a section is the target's own
NEAREST_LINE = "Where a colour is beyond a screen, the nearest that a screen can show is drawn."


@dataclass(frozen=True)
class Layout:
    """Where things stand on the picture [px].

    Parameters
    ----------
    sections : tuple of Box
        By rising lightness; a* and b* run from `-half` to `half` across and up each.
    half : float
        [-]
    own : int or None
        Which section the target is marked in.
    """

    canvas: Box
    sections: tuple[Box, ...]
    half: float
    own: int | None

    def place(self, section: int, a: float, b: float) -> tuple[int, int]:
        """The pixel of a colour in a section: column, row."""
        box = self.sections[section]
        across, up = (a + self.half) / (2.0 * self.half), (b + self.half) / (2.0 * self.half)
        return int(box.left + across * box.width), int(box.bottom - up * box.height)


def draw_reach(reach: Reach, target: Target | None = None) -> bytes:
    """A picture of the colours that a base reaches.

    Parameters
    ----------
    reach : Reach
        As `tint.recipes.reach.reach` gives it.
    target : Target, optional
        Marked in the section of its own lightness, where the reach has one.

    Returns
    -------
    bytes
        A PNG tagged sRGB, the same for the same input.

    Raises
    ------
    JobError
        If matplotlib is not installed.
    """
    items, layout = compose(reach, target)
    return paint(layout.canvas, items)


def reach_layout(reach: Reach, target: Target | None = None) -> Layout:
    """Where `draw_reach` puts things, for the same arguments."""
    return compose(reach, target)[1]


def compose(reach: Reach, target: Target | None) -> tuple[list[Item], Layout]:
    """Every item of the picture, in the order of painting, and the boxes of what matters."""
    head = headed(f"What {reach.base} reaches", _told(reach, target))
    boxes = _sections(len(reach.edges), head.bottom + line_height(BODY) + 6)
    own = _own(reach, target)
    layout = Layout(Box(0, 0, 0, 0), boxes, _half(reach, target), own)
    # Light and observer alone decide how a colour shows: any grid does.
    view = colorimetry.viewing(
        np.arange(400.0, 701.0, 10.0), light=reach.setting.light, observer=reach.setting.observer
    )
    items: list[Item] = [*head.items]
    for at, (box, lightness, edge) in enumerate(zip(boxes, reach.lightness, reach.edges, strict=True)):
        mark = target.lab[1:] if target and at == own else None
        items += _section(box, float(lightness), edge, mark, layout, view, first=at % _COLUMNS == 0)
    bottom = boxes[-1].bottom + 28 + 2 * line_height(BODY)
    foot = footed([NEAREST_LINE], bottom, quiet=[words.SCREEN_LINE], has_signs=False)
    return [*items, *foot.items], Layout(Box(0, 0, WIDTH, foot.bottom + 44), boxes, layout.half, own)


def _told(reach: Reach, target: Target | None) -> str:
    s = reach.setting
    over = "a free slab" if s.over == "none" else f"over {s.over or 'the lightest backing'}, {s.seat} seat"
    told = f"Colours a*, b* at several lightnesses, {s.thickness_mm:g} mm, {over}, {s.light}, {s.observer}° observer"
    if reach.contrast_ratio_min is not None:
        told += f", contrast ratio at least {reach.contrast_ratio_min:.3g}"
    return f"{told}. Target: {target.in_words}." if target else f"{told}."


def _sections(count: int, top: int) -> tuple[Box, ...]:
    side = (RIGHT - LEFT - _SCALE - (_COLUMNS - 1) * _GAP) // _COLUMNS
    down = side + line_height(BODY) * 3 + 34
    corners = [
        (LEFT + _SCALE + at % _COLUMNS * (side + _GAP), top + at // _COLUMNS * down) for at in range(max(count, 1))
    ]
    return tuple(Box(left, up, left + side, up + side) for left, up in corners)


def _own(reach: Reach, target: Target | None) -> int | None:
    if target is None or not len(reach.lightness):
        return None
    apart = np.abs(reach.lightness - target.lab[0])
    return int(apart.argmin()) if apart.min() <= _SAME else None


def _half(reach: Reach, target: Target | None) -> float:
    """A round number beyond all that is drawn."""
    far = [float(np.abs(edge).max()) for edge in reach.edges if len(edge)]
    far += [float(np.abs(target.lab[1:]).max())] if target else []
    return _ROUND * math.ceil((max(far, default=_ROUND) + 4.0) / _ROUND)


def _section(
    box: Box, lightness: float, edge: Array, mark: Array | None, layout: Layout, view: Viewing, *, first: bool
) -> list[Item]:
    half = layout.half
    step = _ROUND if half <= 3.0 * _ROUND else 2.0 * _ROUND
    most = math.ceil(half / step) - 1  # none on the border
    ticks = np.arange(-most, most + 1) * step

    def fill(axes: Axes) -> None:
        frame(axes, across=(-half, half), up=(-half, half), ticks=(ticks, ticks))
        axes.axhline(0.0, color=shade(QUIET), linewidth=1.5)
        axes.axvline(0.0, color=shade(QUIET), linewidth=1.5)
        if len(edge):
            _fill(axes, edge, _colours(lightness, half, box.width // _FINE, view), half)
        if mark is not None:
            a, b = (float(x) for x in mark)
            for ink, width in ((WHITE, 8), (DARK, 4)):  # a ring that is seen on any colour, open in its middle
                axes.plot(
                    a, b, "o", markersize=24, markerfacecolor="none", markeredgecolor=shade(ink),
                    markeredgewidth=width, zorder=5,
                )  # fmt: skip

    items: list[Item] = [Raster(box, plotted(fill, width=box.width, height=box.height))]
    own = ", the target's" if mark is not None else ""
    none = "" if len(edge) else ": no recipe"
    items.append(word(f"L* {lightness:.4g}{own}{none}", (box.left, box.top - line_height(BODY) - 4), size=BODY))
    numbers = [(float(tick), f"{tick:g}") for tick in ticks]
    items += scale(box, numbers, (-half, half), size=BODY)
    items.append(word("a*", (box.right, box.bottom + 16 + line_height(BODY)), size=BODY, ink=QUIET, side="right"))
    if first:
        items += scale(box, numbers, (-half, half), size=BODY, upward=True)
        items.append(word("b*", (box.left - 14, box.top - line_height(BODY) - 4), size=BODY, ink=QUIET, side="right"))
    return items


def _colours(lightness: float, half: float, count: int, view: Viewing) -> Array:
    """Screen colours over the whole of a section, shape (count, count, 3), b* rising downward as rows do."""
    at = (np.arange(count) + 0.5) / count * 2.0 * half - half
    a, b = np.meshgrid(at, at)
    signal, _ = colorimetry.lab_to_srgb(np.stack((np.full_like(a, lightness), a, b), axis=-1), view)
    return signal


def _fill(axes: Axes, edge: Array, colours: Array, half: float) -> None:
    """A section in its own colours, cut out along its edge."""
    (outline,) = axes.fill(edge[:, 0], edge[:, 1], facecolor="none", edgecolor=shade(DARK), linewidth=3.0, zorder=3)
    drawn = axes.imshow(
        colours, extent=(-half, half, -half, half), origin="lower", interpolation="nearest", aspect="auto", zorder=2.5
    )
    drawn.set_clip_path(outline)
