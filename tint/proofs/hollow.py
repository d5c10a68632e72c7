"""The colours of a hollow part: near wall, air, far wall and backing, looked up by the thickness of both walls."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from tint import forward
from tint.appearance import Setting
from tint.materials import Blend
from tint.optics import finish, stack
from tint.palette import Palette
from tint.proofs.render import LAMP, Light, to_light

Array = NDArray[np.float64]

_NODES = (96, 48)  # thicknesses of near and far wall in the table: straight lines between miss by under a level (tests)
_THINNEST = 1e-3  # of the thickest, from which they run in even ratios


@dataclass(frozen=True, eq=False)
class Hollow:
    """What two walls of a blend look like, over one backing in one light.

    Parameters
    ----------
    near_mm, far_mm : ndarray, shape (n,), (m,)
        Thickness of the walls in the table, from thin to thick [mm].
    light : ndarray, shape (n, m, 3)
        In linear sRGB, adapted to the screen's white, not clipped [-].
    """

    near_mm: Array
    far_mm: Array
    light: Array


def hollow_table(
    palette: Palette, blend: Blend, *, setting: Setting, near_mm: float, far_mm: float, over: str = ""
) -> Hollow:  # fmt: skip
    """The colours of two walls up to a thickness each; other arguments as of `tint.proofs.render.colour_table`.

    What lies beyond the second wall is counted with it.
    """
    over = over or setting.behind(palette)
    optics = palette.optics(blend.base, geometry=setting.geometry or None, as_read=setting.as_read)
    mixed = forward.mix(palette.coefficients, palette.shares(blend.base, palette.loadings(blend)))
    near, far = (
        most * np.geomspace(_THINNEST, 1.0, count) for most, count in zip((near_mm, far_mm), _NODES, strict=True)
    )
    if over == LAMP:
        spectra = stack.transmittance(mixed, near=near, far=far, optics=optics)
    else:
        spectra = stack.reflectance(
            mixed, near=near, far=far, backing=palette.backing(over), seat=setting.seat, optics=optics
        )
        if setting.finish:
            spectra = spectra + finish.added(
                setting.finish, palette.wavelengths, geometry=optics.geometry, refractive_index=optics.refractive_index
            )
    return Hollow(near, far, to_light(spectra, setting.viewing(palette)))


def hollow_light(table: Hollow, near_mm: Array, far_mm: Array) -> Light:
    """Linear sRGB of two walls, shape (...) [mm] to (..., 3), not clipped."""
    places = [
        (np.log(np.maximum(depth, 1e-12) / nodes[0]) / np.log(nodes[-1] / nodes[0]) * (nodes.size - 1))
        for depth, nodes in ((near_mm, table.near_mm), (far_mm, table.far_mm))
    ]
    channels = [map_coordinates(table.light[..., at], places, order=1, mode="nearest") for at in range(3)]
    return np.asarray(np.stack(channels, axis=-1), dtype=np.float32)
