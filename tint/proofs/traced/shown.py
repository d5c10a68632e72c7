"""The traced picture with its words: what it is, how it was lit, and how far it is from the slab picture."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from PIL import Image

from tint import appearance
from tint.appearance import Setting
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import words
from tint.proofs.part import SIDES, Part
from tint.proofs.parts import BODY, LEFT, RIGHT, finished, framed, headed, stacked
from tint.proofs.picture import DARK, Box, Item, Picture, Raster, png
from tint.proofs.render import Levels, to_levels
from tint.proofs.traced.against_slab import Apart, against_slab, steps
from tint.proofs.traced.picture import QUALITIES, SIDE_OF, Progress, Traced, traced
from tint.proofs.traced.rubber import few_wavelengths
from tint.proofs.traced.scenes import SCENES

_GUTTER, _COLUMN = 44, 380  # between picture and words; the narrowest column of words [px]; chosen by eye
_SHOWN_WIDE = 960  # px of a card's width that a picture takes at least; smaller ones are scaled up


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
    known_scene, known_quality = SIDE_OF.get(scene, "top"), QUALITIES.get(quality, QUALITIES["preview"])
    side = side or known_scene
    count = few_wavelengths(palette, blend, setting=setting, upto_mm=float(part.size_mm.max())).which.size
    # A path of the comparison takes as long as one of the picture: its passes are told in the same steps.
    first, then = 3 * known_quality.passes * count, steps(count)
    done = 0

    def tell(said: str, at: int, of: int) -> None:
        nonlocal done
        done = at
        if progress is not None:
            progress(said, at, of + then)

    def more() -> None:
        nonlocal done
        done += 1
        if progress is not None:
            progress("Holding it against flat layers", done, first + then)

    picture = traced(
        palette, blend, part, setting=setting, scene=scene, side=side, quality=quality, pixels=pixels, seed=seed,
        progress=tell,
    )  # fmt: skip
    apart = against_slab(palette, blend, part, setting=setting, side=side, seed=seed, tell=more)
    named = f"{_titled(part.name)} from {'a' if side == 'corner' else 'the'} {side}, {SCENES[scene]}"
    lines = [_what_it_is(picture, setting), apart.words]
    if scene == "page":
        depth = float(np.ptp((part.triangles @ SIDES[side][2]).ravel()))
        wall = replace(setting, thickness_mm=float(f"{min(max(depth, 0.05), 100.0):.2g}"))
        lines.append(words.of_clarity(appearance.predict(palette, blend, setting=wall)))
    lines.append(words.SCREEN_LINE)
    return TracedPart(picture=picture, apart=apart, named=named, lines=tuple(filter(None, lines)))


def _titled(name: str) -> str:
    plain = name.rpartition(".")[0].replace("_", " ") or name
    return plain[:1].upper() + plain[1:]


_LIT = {
    "window": "A white card where the part lies would show as white.",
    "behind": "The bare lamp behind it shows as white.",
    "inside": "It is exposed for the glow: how bright the lamp is cannot be judged from it.",
    "page": "White paper beside the part would show as white.",
}


def _what_it_is(picture: Traced, setting: Setting) -> str:
    """How the picture came about, in sentences."""
    return (
        f"Traced: {picture.paths / 1e6:.2g} million paths of light followed through the rubber and its skin, at "
        f"{picture.few.which.size} wavelengths, from the pigments' measured absorption and scattering, for "
        f"{setting.light}. {_LIT[picture.scene]} Noise is smoothed; about {100.0 * picture.noise:.1g} % of white is "
        "left. Table, lamps and room are drawn, not predicted."
    )


def traced_picture(shown: TracedPart, *, title: str) -> Picture:
    """The picture on a card, with its words beside it, or below a wide one."""
    head, top = headed(title, f"{shown.named}.")
    levels = shown.levels
    wide = min(max(levels.shape[1], _SHOWN_WIDE), RIGHT - LEFT)
    high = round(levels.shape[0] * wide / levels.shape[1])
    if levels.shape[1] != wide:
        levels = np.asarray(Image.fromarray(levels).resize((wide, high), Image.Resampling.BICUBIC))
    box = Box(LEFT, top + 10, LEFT + wide, top + 10 + high)
    items: list[Item] = [*head, *framed(box), Raster(box, levels)]
    left, end = box.right + _GUTTER, box.bottom
    told = shown.lines
    if RIGHT - left >= _COLUMN:
        at, told = box.top, (words.SCREEN_LINE,)
        for line in shown.lines[:-1]:
            more, at = stacked([(line, BODY, DARK)], left, at, RIGHT - left)
            items, at = [*items, *more], at + _GUTTER // 2
        end = max(end, at)
    return finished(items, end + 26, {"part": box}, told=told)
