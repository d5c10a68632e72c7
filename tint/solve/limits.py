"""What holds a recipe back: cures, largest loadings, opacity, the palette; in words for people and for scripts."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Mapping

import numpy as np
from numpy.typing import NDArray

from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.target import Target

Array = NDArray[np.float64]
Index = NDArray[np.int64]

_TOUCH = 1e-4  # share of a limit within which it binds


def check_names(palette: Palette, groups: Mapping[str, Collection[str]]) -> None:
    """Raise InputError for a pigment that the palette lacks, or one both kept and left out."""
    for option, names in groups.items():
        for name in names:
            if name not in palette.pigments:
                near = difflib.get_close_matches(name, palette.pigments, n=1)
                mend = f"did you mean {near[0]}?" if near else ""
                raise InputError(
                    option, f"`{name}` is not a pigment here", "one of " + ", ".join(palette.pigments), mend
                )
    both = set(groups.get("keep", ())) & set(groups.get("leave out", ()))
    if both:
        raise InputError("keep", f"{' and '.join(sorted(both))} is also to be left out", mend="choose one")


def usable_pigments(
    palette: Palette, base: str, *, leave_out: Collection[str], insist: Collection[str]
) -> tuple[Index, dict[str, str]]:
    """Numbers of the pigments that may go into a base, and why each other one may not."""
    cure = palette.bases[base].cure
    cast = {name for seen in palette.seen.values() for name in seen.max_loading}
    usable, refused = [], {}
    for number, (name, pigment) in enumerate(palette.pigments.items()):
        if name in leave_out:
            continue
        if pigment.cures is not None and cure not in pigment.cures and name not in insist:
            refused[name] = f"not safe with the {cure} cure of {base}"
        elif name not in cast:
            refused[name] = "never cast in any swatch, so nothing is known of it"
        else:
            usable.append(number)
    return np.array(usable, dtype=np.int64), refused


def largest_loadings(palette: Palette, base: str) -> Array:
    """Of each pigment in a base, shape (n_pigments,) [%]."""
    total = palette.bases[base].max_loading
    own = [total if p.max_loading is None else p.max_loading for p in palette.pigments.values()]
    return np.asarray(np.minimum(np.array(own, dtype=float), total))


def binding(
    palette: Palette,
    base: str,
    loadings: Array,
    pull: Array,
    target: Target,
    contrast_ratio: float,
    *,
    reached: bool,
) -> tuple[str, ...]:
    """The limits that a recipe rests on and would pass if it could.

    Parameters
    ----------
    loadings, pull : ndarray, shape (n_pigments,)
        The recipe [%], and minus half the gradient of its miss there.
    """
    total = palette.bases[base].max_loading
    told = []
    wanting = pull > 1e-9
    if loadings.sum() >= total * (1.0 - _TOUCH) and np.any(wanting & (loadings > 0.0)):
        told.append("max_loading:total")
    at_top = (loadings >= largest_loadings(palette, base) * (1.0 - _TOUCH)) & wanting
    told += [f"max_loading:{name}" for name, touches in zip(palette.pigments, at_top, strict=True) if touches]
    if target.asks_opacity and _opacity_rests(target, contrast_ratio):
        told.append("contrast_ratio")
    if not told and not reached:
        told.append("palette")
    return tuple(told)


def _opacity_rests(target: Target, contrast_ratio: float) -> bool:
    bounds = (target.contrast_ratio, target.contrast_ratio_min, target.contrast_ratio_max)
    return any(bound is not None and abs(contrast_ratio - bound) <= 0.003 for bound in bounds) or bool(
        abs(target.opacity_miss(contrast_ratio)) > 0.003
    )


def why_not(
    palette: Palette, base: str, limits: Collection[str], delta_e: float, opacity_miss: float, target: Target
) -> str:
    """Why a recipe does not reach its target, in words."""
    told = []
    if delta_e > target.tolerance:
        told.append(f"the colour stays {delta_e:.1f} CIEDE2000 away")
    if abs(opacity_miss) > 0.005:
        told.append(f"the contrast ratio is {abs(opacity_miss):.2f} too {'high' if opacity_miss > 0 else 'low'}")
    largest = dict(zip(palette.pigments, largest_loadings(palette, base), strict=True))
    for limit in limits:
        kind, _, name = limit.partition(":")
        if limit == "max_loading:total":
            told.append(f"the largest total of {palette.bases[base].max_loading:g} % in {base} binds")
        elif kind == "max_loading":
            told.append(f"the largest loading of {name}, {largest[name]:g} %, binds")
        elif kind == "contrast_ratio":
            told.append("the opacity asked for holds the colour back")
        else:
            told.append("no loading of these pigments comes nearer")
    return "; ".join(told)


def opacity_unsaid(target: Target) -> str:
    """The warning for a target that says nothing of opacity."""
    kind = "a screen colour" if target.source.startswith("screen") else "a colour"
    return f"{kind} says nothing of opacity: ask for a contrast ratio, or the part may come out see-through"


def price(palette: Palette, blend: Blend) -> float | None:
    """Of the pigments in a kilogram of mix; None when one has no price."""
    prices = [(palette.pigments[name].price, loading) for name, loading in blend.loadings.items()]
    if any(each is None for each, _ in prices):
        return None
    return float(sum((each or 0.0) * loading / 100.0 for each, loading in prices))
