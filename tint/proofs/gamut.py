"""The reach of a base as a picture: sections of constant lightness, each in its own colours, with the target."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.colorimetry import Viewing
from tint.proofs import words
from tint.proofs.parts import finished, headed, plot, plot_ink
from tint.proofs.picture import DARK, QUIET, WHITE, Picture, paint
from tint.recipes.reach import Reach
from tint.target import Target

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]

_COLUMNS, _ROW = 3, 550  # sections side by side; height of a row of them [px]; chosen by eye
_ROUND = 20.0  # limits are multiples of it [-]
_FINE = 240  # squares of one colour along each side of a section
_SAME = 0.5  # L* within which a section is the target's own: half the step that is told
NEAREST_LINE = "Where a colour is beyond a screen, the nearest that a screen can show is drawn."


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
    return paint(reach_picture(reach, target))


def reach_picture(reach: Reach, target: Target | None = None) -> Picture:
    """The picture laid out: boxes `section 0`, `section 1` ... by rising lightness, each from -`half_of` to it."""
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

    head, top = headed(f"What {reach.base} reaches", _told(reach, target))
    names = [f"section {at}" for at in range(len(reach.edges))]
    drawn, boxes = plot(draw, names, top=top, height=rows * _ROW)
    quiet = [words.SCREEN_LINE]
    return finished([*head, drawn], drawn.box.bottom + 20, boxes, told=[NEAREST_LINE], quiet=quiet)


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
