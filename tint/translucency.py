"""A blend against thickness: how its colour deepens, from where it hides, how a lamp shines through."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint import colorimetry
from tint.appearance import Appearance, Setting, predict, render
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette

Array = NDArray[np.float64]

HIDING = 0.98  # contrast ratio from which a layer counts as hiding (ASTM D2805)
_THINNEST_MM, _THICKEST_MM = 0.02, 200.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Translucency:
    """One blend at several thicknesses.

    Parameters
    ----------
    appearances : tuple of Appearance
        One a thickness: colour over the setting's, the darkest and the lightest backing, contrast ratio, error.
    thickness_mm : ndarray, shape (n,)
        [mm]
    translucency_parameter : ndarray, shape (n,)
        CIEDE2000 between the casting over the darkest and over the lightest backing [-].
    translucency_parameter_ab : ndarray, shape (n,)
        The same as Euclidean distance in CIELAB, the older form [-].
    lab_from_behind : ndarray, shape (n, 3)
        Of the light that comes through, against the bare lamp as white: lit from behind [-].
    srgb_from_behind : tuple of str
        Likewise, on a screen.
    hides_at_mm : float or None
        The thickness from which the contrast ratio is 0.98; None when no part is that thick [mm].
    """

    blend: Blend
    appearances: tuple[Appearance, ...]
    thickness_mm: Array
    translucency_parameter: Array
    translucency_parameter_ab: Array
    lab_from_behind: Array
    srgb_from_behind: tuple[str, ...]
    hides_at_mm: float | None


def translucency(palette: Palette, blend: Blend, *, setting: Setting, thickness_mm: ArrayLike) -> Translucency:
    """Colour and opacity of a blend against thickness.

    Parameters
    ----------
    setting : Setting
        Its own thickness is not used.
    thickness_mm : array_like, shape (n,)
        [mm]

    Raises
    ------
    InputError
        If there is no thickness, or the palette has fewer than two backings.

    Notes
    -----
    The translucency parameter is the colour difference of one casting over a black and over a white backing (Johnston,
    Ma and Kienle 1995, Int. J. Prosthodont. 8, 79; from memory), here by CIEDE2000.
    """
    depths = np.asarray(thickness_mm, dtype=float)
    if depths.ndim != 1 or depths.size == 0:
        raise InputError("thickness", "there is none", "one or more, in mm")
    if len(palette.backings) < 2:
        raise InputError("translucency", "the palette has one backing", "a black and a white one")
    appearances = tuple(predict(palette, blend, setting=replace(setting, thickness_mm=float(d))) for d in depths)
    black, white = (np.array([getattr(a, name) for a in appearances]) for name in ("lab_black", "lab_white"))
    view = setting.viewing(palette)
    behind = colorimetry.lab(np.array([a.transmittance for a in appearances]), view)
    screen, _ = colorimetry.lab_to_srgb(behind, view)
    return Translucency(
        blend=blend,
        appearances=appearances,
        thickness_mm=depths,
        translucency_parameter=colorimetry.difference(black, white),
        translucency_parameter_ab=np.linalg.norm(black - white, axis=-1),
        lab_from_behind=behind,
        srgb_from_behind=tuple(colorimetry.hex_code(each) for each in screen),
        hides_at_mm=hiding_thickness(palette, blend, setting=setting),
    )


def hiding_thickness(
    palette: Palette, blend: Blend, *, setting: Setting, contrast_ratio: float = HIDING
) -> float | None:
    """The thickness from which a blend reaches a contrast ratio [mm]; None when it would take more than 200 mm.

    Parameters
    ----------
    contrast_ratio : float
        Between 0 and 1 [-].
    """
    share = palette.shares(blend.base, palette.loadings(blend))
    view = setting.viewing(palette)

    def ratio(depths: Array) -> Array:
        drawn = render(
            palette,
            np.broadcast_to(share, (depths.size, share.size)),
            base=blend.base,
            setting=setting,
            backings=(palette.black, palette.white),
            thickness_mm=depths,
        )
        return colorimetry.contrast_ratio(drawn.reflectance[0], drawn.reflectance[1], view)

    low, high = _THINNEST_MM, _THICKEST_MM
    for _ in range(4):  # each sweep narrows the bracket forty times
        depths = np.geomspace(low, high, 41)
        reached = np.flatnonzero(ratio(depths) >= contrast_ratio)
        if reached.size == 0:
            return None
        first = int(reached[0])
        low, high = float(depths[max(first - 1, 0)]), float(depths[first])
    return high
