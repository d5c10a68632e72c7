"""The traced part against the slab picture: what a flat layer as thick at every point leaves out, in CIEDE2000.

Both look straight at one side, in light from all around, with gloss: so an integrating sphere would measure the part,
and what differs is light that leaves through rims and bent faces, or wanders to where the wall is thinner.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_erosion

from tint import colorimetry
from tint.appearance import Setting
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs.part import MARGIN, SIDES, Part, view_of
from tint.proofs.part_picture import hollow_of
from tint.proofs.portrait import corner_normals, plain_light, portrait_of
from tint.proofs.render import colour_table
from tint.proofs.traced import paths, scenes
from tint.proofs.traced.picture import surfaces_of, united
from tint.proofs.traced.rubber import few_wavelengths, rubber_of

Array = NDArray[np.float64]

_PIXELS, _PASSES, _PATHS, _SQUARE = 72, 4, 16, 3  # of the picture that is compared, in squares of pixels; chosen


@dataclass(frozen=True, kw_only=True)
class Apart:
    """How far the traced part and the slab picture are apart on one side [CIEDE2000]."""

    whole: float  # between the mean colours of the side
    usual: float  # median over the side
    most: float  # what a twentieth of the side exceeds
    noise: float  # median of what two halves of the paths differ by, halved: that much of `usual` may be noise

    @property
    def words(self) -> str:
        """In one sentence."""
        return (
            f"Traced in light from all around and looked at straight, this side differs from the picture made of flat "
            f"layers by {self.whole:.1f} (CIEDE2000) on the whole; half of it by more than {self.usual:.1f}, a "
            f"twentieth by more than {self.most:.1f}, of which noise is about {self.noise:.1f}."
        )


def against_slab(
    palette: Palette, blend: Blend, part: Part, *, setting: Setting, side: str, seed: int = 0,
    tell: Callable[[], None] | None = None,
) -> Apart:  # fmt: skip
    """Trace a side of a part in light from all around, and hold it against the slab picture; arguments as `traced`."""
    measured = replace(setting, geometry="di:8")
    view, finer = view_of(part, side, pixels=2 * _PIXELS), 2
    portrait = portrait_of(view, finer=finer)
    table = colour_table(palette, blend, setting=measured, upto_mm=portrait.upto_mm)
    slab = np.asarray(
        plain_light(portrait, table, hollow_of(palette, blend, setting=measured, portrait=portrait)), dtype=float
    )
    part = united(part)
    body = scenes.placed(part.triangles, corner_normals(part.triangles), SIDES[side], scene="even")
    few = few_wavelengths(palette, blend, setting=setting, upto_mm=body.size)
    rows, columns = portrait.cover.shape
    margin = MARGIN * 2 * _PIXELS / finer
    eye = scenes.facing(body, pixels=(columns, rows), mm_per_pixel=portrait.mm_per_pixel, margin=margin)
    rubber = rubber_of(palette, blend, finish=setting.finish).at(few.which)
    on = paths.stage(rubber, body, scenes.even(body), eye, surfaces=surfaces_of(palette, setting, few))
    seen = setting.viewing(palette)
    passes = [few.light(each, seen) for each in paths.follow(on, passes=_PASSES, paths=_PATHS, seed=seed, tell=tell)]
    first, second = np.mean(passes[0::2], axis=0), np.mean(passes[1::2], axis=0)
    inside = binary_erosion(portrait.cover > 0.99, iterations=1)
    labs = [_squares(each, inside) for each in (slab, 0.5 * (first + second), first, second)]
    wanted, found, one, other = (colorimetry.light_to_lab(each) for each in labs)
    apart = colorimetry.difference(found, wanted)
    means = colorimetry.light_to_lab(np.stack([each[inside].mean(axis=0) for each in (slab, 0.5 * (first + second))]))
    return Apart(
        whole=float(colorimetry.difference(means[0], means[1])),
        usual=float(np.median(apart)),
        most=float(np.percentile(apart, 95.0)),
        noise=float(np.median(colorimetry.difference(one, other))) / 2.0,
    )


def steps(count: int) -> int:
    """How often `tell` is called for so many wavelengths."""
    return _PASSES * count


def _squares(light: Array, inside: NDArray[np.bool_]) -> Array:
    """Mean light of squares of pixels that lie within the part, shape (n, 3); of each pixel where no square does."""
    rows, columns = (side // _SQUARE * _SQUARE for side in inside.shape)

    def cut(values: NDArray[np.generic]) -> NDArray[np.generic]:
        squares = values[:rows, :columns].reshape(rows // _SQUARE, _SQUARE, columns // _SQUARE, _SQUARE, -1)
        return np.asarray(squares.swapaxes(1, 2).reshape(-1, _SQUARE**2, values[0, 0].size))

    whole = cut(inside)[..., 0].all(axis=1)
    if not whole.any():
        return np.asarray(light[inside], dtype=float)
    return np.asarray(cut(light)[whole].mean(axis=1), dtype=float)
