"""Curves over thickness as pixels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tint.proofs.picture import DARK, QUIET, Ink
from tint.proofs.plotting import DASHES, LINE_WIDTH, dashed, frame, plotted, shade

if TYPE_CHECKING:
    from matplotlib.axes import Axes

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
