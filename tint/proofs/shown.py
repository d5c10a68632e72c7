"""What the picture of an answer shows: colours over each backing, figures and spectra of target and recipes."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.appearance import Appearance, predict
from tint.palette import Palette
from tint.proofs.facts import Shade, shades_of
from tint.proofs.words import behind
from tint.recipes import Answer, Recipe
from tint.target import Target

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Chip:
    """The target or a recipe.

    Parameters
    ----------
    name : str
        `Target`, or rank and base.
    sign : str
        The same, short: beside its spectrum.
    shades : tuple of Shade or None
        Over each of `Shown.behind`; None where that is not known.
    lines : tuple of str
        What is told of it.
    spectrum : ndarray, shape (n_wavelengths,), or None
        Reflectance over the setting's backing [-].
    """

    name: str
    sign: str
    shades: tuple[Shade | None, ...]
    lines: tuple[str, ...]
    spectrum: Array | None


@dataclass(frozen=True, eq=False)
class Shown:
    """All that is on the picture.

    Parameters
    ----------
    chips : tuple of Chip
        The target, then the recipes, best first.
    behind : tuple of str
        Darkest and lightest backing, and the setting's own where that is another.
    bare : tuple of Shade
        Those backings with nothing on them.
    over : str
        The setting's backing.
    """

    told: str
    conditions: str
    chips: tuple[Chip, ...]
    behind: tuple[str, ...]
    bare: tuple[Shade, ...]
    over: str
    wavelengths: Array
    notes: tuple[str, ...]


def gather(palette: Palette, answer: Answer) -> Shown:
    """Everything that the picture of an answer shows, at the thickness at which target and recipes are compared."""
    target, part = answer.target, answer.setting
    compared = replace(part, thickness_mm=target.thickness_mm or part.thickness_mm)
    same = compared.thickness_mm == part.thickness_mm
    looks = [each.appearance if same else predict(palette, each.blend, setting=compared) for each in answer.recipes]
    over, view = looks[0].over, part.viewing(palette)
    pair = palette.pair
    names = tuple(dict.fromkeys((*pair, over)))
    cards = [palette.backing(name) for name in names]
    bare = np.stack([np.zeros_like(palette.wavelengths) if card is None else card for card in cards])

    def shades(labs: dict[str, Array]) -> tuple[Shade | None, ...]:
        return tuple(shades_of(labs[name][None], view)[0] if name in labs else None for name in names)

    first = Chip("Target", "target", shades(_of_target(answer, over)), _asked(target, over), target.spectrum)
    others = [
        Chip(f"{rank}, {each.blend.base}", str(rank), shades(_of_look(palette, look)), _told(each), look.reflectance)
        for rank, (each, look) in enumerate(zip(answer.recipes, looks, strict=True), start=1)
    ]
    note = (
        f"Target and recipes are shown as a sample of {compared.thickness_mm:g} mm, which the target was measured on;"
    )
    note += f" contrast ratios are those of the part of {part.thickness_mm:g} mm."
    return Shown(
        told=f"{palette.name}. Wanted: {target.in_words}.",
        conditions=answer.recipes[0].appearance.conditions,
        chips=(first, *others),
        behind=names,
        bare=shades_of(colorimetry.lab(bare, view), view),
        over=over,
        wavelengths=palette.wavelengths,
        notes=() if same else (note,),
    )


def _of_target(answer: Answer, over: str) -> dict[str, Array]:
    """The colours that the target is known to have, by backing, in the seat and thickness that are shown."""
    target, part = answer.target, answer.setting
    depth = target.thickness_mm or part.thickness_mm
    labs = {over: target.lab}
    for look in target.also:
        if (look.thickness_mm or depth) == depth and (look.seat or part.seat) == part.seat:
            labs.setdefault(look.over or over, look.lab)
    return labs


def _of_look(palette: Palette, look: Appearance) -> dict[str, Array]:
    pair = {palette.black: look.lab_black, palette.white: look.lab_white} if palette.pair else {}
    return pair | {look.over: look.lab}


def _asked(target: Target, over: str) -> tuple[str, ...]:
    asked = f"contrast {target.bounds_in_words('contrast_ratio')}"
    lines = [asked if target.asks_opacity else "no contrast asked for"]
    if target.asks_light:
        lines.append(f"transmittance {target.bounds_in_words('transmittance')}")
    if target.asks_haze:
        lines.append(f"haze {target.bounds_in_words('haze')}")
    if not target.also:
        lines.append(f"known {behind(over)}")
    return tuple(lines)


def _told(recipe: Recipe) -> tuple[str, ...]:
    look = recipe.appearance
    lines = [f"CIEDE2000 {recipe.delta_e:.2f}, {'met' if recipe.reached else 'not met'}"]
    if math.isfinite(look.contrast_ratio):
        lines.append(f"contrast {look.contrast_ratio:.3f}")
    doses = sorted(recipe.blend.loadings.items(), key=lambda dose: -dose[1])
    lines.append(", ".join(name for name, _ in doses) or "uncoloured")
    return tuple(lines)
