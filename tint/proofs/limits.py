"""Limit samples: the lightest, the darkest and the thinnest part that an agreed tolerance lets pass."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tint import appearance, colorimetry
from tint.appearance import Appearance
from tint.palette import Palette
from tint.proofs.facts import Shade, shades_of

Array = NDArray[np.float64]

_THINNEST = 0.02  # of the part's own thickness


@dataclass(frozen=True, eq=False)
class Limit:
    """A part that is just within the tolerance.

    Parameters
    ----------
    name : str
        `lightest`, `darkest` or `thinnest`.
    lab : ndarray, shape (3,)
        [-]
    shade : Shade
    delta_e : float
        CIEDE2000 from the part as agreed [-].
    thickness_mm : float
        [mm]
    """

    name: str
    lab: Array
    shade: Shade
    delta_e: float
    thickness_mm: float


def limits_of(palette: Palette, seen: Appearance, *, tolerance: float) -> tuple[Limit, ...]:
    """The limit samples of a prediction; one that does not exist is left out.

    Parameters
    ----------
    tolerance : float
        CIEDE2000 [-].

    Notes
    -----
    Lightest and darkest differ in L* alone; the thinnest is the same mix over the same backing.
    """
    own = seen.setting.thickness_mm
    found = [("lightest", _moved(seen.lab, tolerance, 1.0), own), ("darkest", _moved(seen.lab, tolerance, -1.0), own)]
    thin = _thinnest(palette, seen, tolerance)
    if thin is not None:
        found.append(("thinnest", *thin))
    view = seen.setting.viewing(palette)
    return tuple(
        Limit(name, lab, shades_of(lab[None], view)[0], float(colorimetry.difference(seen.lab, lab)), thickness)
        for name, lab, thickness in found
        if 0.0 <= lab[0] <= 100.0
    )


def _moved(lab: Array, tolerance: float, way: float) -> Array:
    """The colour so much lighter or darker that it is just as far as the tolerance."""
    low, high = 0.0, 4.0 * tolerance + 1.0  # at either end of the scale a unit of L* counts for at least 0.57
    for _ in range(60):
        middle = 0.5 * (low + high)
        far = float(colorimetry.difference(lab, lab + np.array([way * middle, 0.0, 0.0]))) > tolerance
        low, high = (low, middle) if far else (middle, high)
    return np.asarray(lab + np.array([way * low, 0.0, 0.0]))


def _thinnest(palette: Palette, seen: Appearance, tolerance: float) -> tuple[Array, float] | None:
    """The colour and thickness of the thinnest part that still passes; None where any passes."""
    own = seen.setting.thickness_mm
    view = seen.setting.viewing(palette)
    shares = palette.shares(seen.blend.base, palette.loadings(seen.blend))
    setting = replace(seen.setting, over=seen.over)

    def labs(depth: Array) -> Array:
        many = np.broadcast_to(shares, (depth.size, shares.size))
        drawn = appearance.render(
            palette, many, base=seen.blend.base, setting=setting, backings=(seen.over,), thickness_mm=depth
        )
        return colorimetry.lab(drawn.reflectance[0], view)

    low, high = _THINNEST * own, own  # each sweep narrows the bracket fortyfold
    for _ in range(4):
        depth = np.linspace(high, low, 41)
        far = np.flatnonzero(colorimetry.difference(seen.lab, labs(depth)) > tolerance)
        if far.size == 0:
            return None
        first = max(int(far[0]), 1)
        high, low = float(depth[first - 1]), float(depth[first])
    return labs(np.array([high]))[0], high
