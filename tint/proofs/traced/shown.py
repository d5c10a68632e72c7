"""The traced picture with its words: what it is, how it was lit, and how far it is from the slab picture."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.ndimage import binary_erosion

from tint import appearance, colorimetry
from tint.appearance import Setting
from tint.glossary import SCENES
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import words
from tint.proofs.part import Part, corner_normals
from tint.proofs.part_picture import hollow_of
from tint.proofs.picture import BODY, DARK, LEFT, RIGHT, Box, Layout, Picture, paint
from tint.proofs.portrait import FINER, MARGIN, SIDES, View, plain_light, portrait_of, view_of
from tint.proofs.render import Levels, colour_table, png, to_levels
from tint.proofs.traced import paths, scenes
from tint.proofs.traced.picture import Progress, Traced, side_of, surfaces_of, traced, united
from tint.proofs.traced.rubber import few_wavelengths, rubber_of
from tint.spectra import Array, Mask

_PIXELS, _PASSES, _PATHS, _SQUARE = 72, 4, 16, 3  # of the picture that is compared, in squares of pixels; chosen
_LONGEST = 16.0  # times as many pixels along a narrow view as along a square one; chosen
_GUTTER, _COLUMN = 44, 380  # between picture and words; the narrowest column of words [px]; chosen by eye
_SHOWN = 960 * 720  # px that a picture has at least on a card; smaller ones are scaled up


@dataclass(frozen=True, kw_only=True, eq=False)
class TracedPart:
    """A part traced in a scene, with all that is said of it."""

    picture: Traced
    apart: Apart  # from the slab picture of the same side
    named: str  # the part, the side and the scene
    lines: tuple[str, ...]  # what a customer and a maker should know of it

    @property
    def levels(self) -> Levels:
        """As a screen shows it, shape (height, width, 3)."""
        return to_levels(self.picture.light)

    @property
    def png(self) -> bytes:
        """Likewise, as a file."""
        return png(self.levels)

    @property
    def told(self) -> dict[str, object]:
        """The same as keys."""
        return {
            "scene": self.picture.scene,
            "paths": self.picture.paths,
            "noise": self.picture.noise,
            "wavelengths": int(self.picture.few.which.size),
            "spectral_error": self.picture.few.miss,
            "delta_e_to_flat_layers": {
                "whole": self.apart.whole, "median": self.apart.usual, "p95": self.apart.most,
                "noise": self.apart.noise,
            },
        }  # fmt: skip


def trace_part(
    palette: Palette, blend: Blend, part: Part, *, setting: Setting, scene: str, side: str = "",
    quality: str = "preview", pixels: int | None = None, seed: int = 0, progress: Progress | None = None,
) -> TracedPart:  # fmt: skip
    """Trace a part, and hold it against its slab picture; arguments as of `tint.proofs.traced.picture.traced`."""
    side = side or side_of(scene, part)
    _view_to_compare(part, side)  # what cannot be compared is told before minutes have gone by
    at, steps = 0, 0

    def tell(said: str, now: int, of: int) -> None:
        nonlocal at, steps
        at, steps = now, of
        if progress is not None:
            progress(said, now, of)

    more: dict[str, Any] = {"setting": setting, "side": side, "seed": seed}
    # A path of the comparison takes as long as one of the picture: its passes are told in the same steps.
    picture = traced(
        palette, blend, part, scene=scene, quality=quality, pixels=pixels, more_passes=_PASSES, progress=tell, **more
    )
    apart = against_slab(
        palette, blend, part, tell=lambda: tell("Holding it against flat layers", at + 1, steps), **more
    )
    named = f"{part.seen_from(side)}, {SCENES[scene]}"
    lines = [_what_it_is(picture, setting, _across(part, side)), apart.words]
    if scene == "page":
        depth = float(np.ptp((part.triangles @ SIDES[side][2]).ravel()))
        wall = replace(setting, thickness_mm=float(f"{min(max(depth, 0.05), 100.0):.2g}"))
        lines.append(words.of_clarity(appearance.predict(palette, blend, setting=wall)))
    lines.append(words.SCREEN_LINE)
    return TracedPart(picture=picture, apart=apart, named=named, lines=tuple(filter(None, lines)))


_LIT = {
    "window": "A white card where the part lies would show as white.",
    "behind": "The bare lamp behind it shows as white.",
    "inside": "It is exposed for the glow: how bright the lamp is cannot be judged from it.",
    "page": "White paper beside the part would show as white.",
}


def _what_it_is(picture: Traced, setting: Setting, across: Array) -> str:
    """How the picture came about, in sentences."""
    lit = _LIT[picture.scene]
    if picture.scene == "page":  # how large the print is, nothing else in the picture tells
        scale = scenes.page_scale(across)
        larger = f", drawn {scale:.2g} times as large" if scale > 1.0 else ""
        lit += f" The page is A5, its letters are of 12 points{larger}."
    return (
        f"Traced: {picture.paths / 1e6:.2g} million paths of light followed through the rubber and its skin, at "
        f"{picture.few.which.size} wavelengths, from the pigments' measured absorption and scattering, for "
        f"{setting.light}. {lit} Noise is smoothed; about {100.0 * picture.noise:.1g} % of white is "
        "left. Table, lamps and room are drawn, not predicted."
    )


def draw_traced(
    palette: Palette, blend: Blend, part: Part, *, setting: Setting, scene: str, title: str = "", **how: Any
) -> bytes:  # fmt: skip
    """The traced part on a card, as a PNG tagged sRGB; other arguments as of `trace_part`."""
    shown = trace_part(palette, blend, part, setting=setting, scene=scene, **how)
    return paint(traced_picture(shown, title=title or palette.name))


def traced_picture(shown: TracedPart, *, title: str) -> Picture:
    """The picture on a card, with its words beside it, or below a wide one."""
    on = Layout()
    top = on.head(title, f"{shown.named}.")
    levels = shown.levels
    rows, columns, _ = levels.shape
    scale = min(max(np.sqrt(_SHOWN / (rows * columns)), 1.0), (RIGHT - LEFT) / max(rows, columns))
    wide, high = round(scale * columns), round(scale * rows)
    if wide != columns:
        levels = np.asarray(Image.fromarray(levels).resize((wide, high), Image.Resampling.BICUBIC))
    box = on.boxes["part"] = Box(LEFT, top + 10, LEFT + wide, top + 10 + high)
    on.raster(box, levels)
    left, end, told = box.right + _GUTTER, box.bottom, shown.lines
    if RIGHT - left >= _COLUMN:
        at, told = box.top, (words.SCREEN_LINE,)
        for line in shown.lines[:-1]:
            at = on.lines([(line, BODY, DARK)], left, at, RIGHT - left) + _GUTTER // 2
        end = max(end, at)
    return on.finished(end + 26, told=told)


# Against the slab picture: what a flat layer as thick at every point leaves out. Both look straight at one side, in
# light from all around, with gloss: so an integrating sphere would measure the part, and what differs is light that
# leaves through rims and bent faces, or wanders to where the wall is thinner.


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
    portrait = portrait_of(_view_to_compare(part, side))
    table = colour_table(palette, blend, setting=measured, upto_mm=portrait.upto_mm)
    slab = plain_light(portrait, table, hollow_of(palette, blend, setting=measured, portrait=portrait)).astype(float)
    part = united(part)
    body = scenes.placed(part.triangles, corner_normals(part.triangles), SIDES[side], scene="even")
    few = few_wavelengths(palette, blend, setting=setting, upto_mm=body.size)
    rows, columns = portrait.cover.shape
    margin = MARGIN * _pixels_for(part, side)
    eye = scenes.facing(body, pixels=(columns, rows), mm_per_pixel=portrait.mm_per_pixel, margin=margin)
    rubber = rubber_of(palette, blend, finish=setting.finish).at(few.which)
    on = paths.stage(rubber, body, scenes.even(body), eye, surfaces=surfaces_of(palette, setting, few))
    seen = setting.viewing(palette)
    passes = [few.light(each, seen) for each in paths.follow(on, passes=_PASSES, paths=_PATHS, seed=seed, tell=tell)]
    first, second = np.mean(passes[0::2], axis=0), np.mean(passes[1::2], axis=0)
    inside = binary_erosion(portrait.cover > 0.99, iterations=1)
    if not inside.any():  # a part as thin as a pixel or two
        inside = portrait.cover >= portrait.cover.max()
    every = (slab, 0.5 * (first + second), first, second)
    wanted, found, one, other = (colorimetry.light_to_lab(_squares(each, inside)) for each in every)
    apart = colorimetry.difference(found, wanted)
    means = [colorimetry.light_to_lab(each[inside].mean(axis=0)) for each in every[:2]]
    return Apart(
        whole=float(colorimetry.difference(*means)),
        usual=float(np.median(apart)),
        most=float(np.percentile(apart, 95.0)),
        noise=float(np.median(colorimetry.difference(one, other))) / 2.0,
    )


def _view_to_compare(part: Part, side: str) -> View:
    return view_of(part, side, pixels=FINER * _pixels_for(part, side))


def _across(part: Part, side: str) -> Array:
    """Corners of the part as they lie across the eye, shape (n, 2) [mm]."""
    return np.asarray((part.triangles @ SIDES[side].T).reshape(-1, 3)[:, :2])


def _pixels_for(part: Part, side: str) -> int:
    """Along the longer side, so that a long and narrow view has about as many in all as a square one."""
    across = np.ptp(_across(part, side), axis=0)
    return round(_PIXELS * min(float(np.sqrt(across.max() / max(float(across.min()), 1e-9))), _LONGEST))


def _squares(light: Array, inside: Mask) -> Array:
    """Mean light of squares of pixels that lie within the part, shape (n, 3); of each pixel where no square does."""
    rows, columns = (side // _SQUARE * _SQUARE for side in inside.shape)

    def cut(values: NDArray[np.generic]) -> NDArray[np.generic]:
        squares = values[:rows, :columns].reshape(rows // _SQUARE, _SQUARE, columns // _SQUARE, _SQUARE, -1)
        return np.asarray(squares.swapaxes(1, 2).reshape(-1, _SQUARE**2, values[0, 0].size))

    whole = cut(inside)[..., 0].all(axis=1)
    if not whole.any():
        return np.asarray(light[inside], dtype=float)
    return np.asarray(cut(light)[whole].mean(axis=1), dtype=float)
