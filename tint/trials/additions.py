"""Additions only: what to add to a tinted part that stands there without its catalyst, to bring it to the target."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.appearance import Appearance, Setting, predict
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.recipes import limits
from tint.recipes.aims import lay_out
from tint.recipes.answer import Rules
from tint.recipes.choice import closeness
from tint.recipes.sets import Bounds, best_of_sets
from tint.target import Target

Array = NDArray[np.float64]

# Times the base in the cup that are tried in turn, up to the double: beyond that a fresh batch is the lesser waste.
# The grid is coarser than the colour is sensitive, since the pigments are optimised at each; no source.
_THINNINGS = (1.0, 1.02, 1.05, 1.1, 1.2, 1.35, 1.5, 1.75, 2.0)
_WORTH = 0.1  # CIEDE2000 that more base must gain to be added: a tenth of the usual tolerance, no source
_SPARING = 0.02  # CIEDE2000 that a percent of pigment must gain: of additions alike the least is taken, no source
_NOTHING_G = 1e-9  # g that rounding of floating-point numbers leaves
_SLACK = 1.001  # times what stands in the cup, so that rounding does not make it break its own limit


@dataclass(frozen=True, kw_only=True, eq=False)
class Cup:
    """A tinted part that stands there: grams of its own base and of each pigment in it [g]."""

    base: str
    base_g: float
    pigments_g: Mapping[str, float]


@dataclass(frozen=True, kw_only=True, eq=False)
class Additions:
    """What to add, and what it becomes.

    Parameters
    ----------
    base_g : float
        More of the part itself [g].
    pigments_g : dict of str to float
        [g]
    blend : Blend
        Of the finished mix, the other part at the base's own ratio [%].
    """

    base_g: float
    pigments_g: dict[str, float]
    blend: Blend
    appearance: Appearance
    delta_e: float


def additions(palette: Palette, target: Target, cup: Cup, *, setting: Setting, rules: Rules) -> Additions:
    """The least additions that bring a standing part nearest to a target.

    Parameters
    ----------
    cup : Cup
        What stands there; its pigments can only grow.

    Raises
    ------
    InputError
        If the cup holds nothing, or names what the palette does not have.
    """
    palette.loadings(Blend(cup.base, dict.fromkeys(cup.pigments_g, 0.0)))
    if not 0.0 < cup.base_g < np.inf or not all(0.0 <= grams < np.inf for grams in cup.pigments_g.values()):
        raise InputError("cup", f"{cup.base_g:g} g of base", "more than 0 g, and no pigment below 0")
    base = palette.bases[cup.base]
    whole_g = cup.base_g * sum(base.mix.values()) / base.mix[base.pigment_in]  # with the other part to come
    stands = np.array([cup.pigments_g.get(name, 0.0) for name in palette.pigments])
    best: tuple[float, float, Array] | None = None
    for thinning in _THINNINGS:
        loadings, miss = _nearest(palette, target, setting, rules, cup.base, stands, whole_g * thinning)
        if best is None or miss < best[0] - _WORTH:
            best = (miss, thinning, loadings)
    assert best is not None
    _, thinning, loadings = best
    total = whole_g * thinning / (1.0 - loadings.sum() / 100.0)
    added = np.maximum(loadings * total / 100.0 - stands, 0.0)
    blend = palette.blend(cup.base, loadings)
    look = predict(palette, blend, setting=setting)
    return Additions(
        base_g=cup.base_g * (thinning - 1.0),
        pigments_g={name: float(x) for name, x in zip(palette.pigments, added, strict=True) if x > _NOTHING_G},
        blend=blend,
        appearance=look,
        delta_e=float(colorimetry.difference(target.lab, look.lab)),
    )


def _nearest(
    palette: Palette, target: Target, setting: Setting, rules: Rules, base: str, stands: Array, base_g: float
) -> tuple[Array, float]:
    """Best loadings with no pigment taken out, shape (n_pigments,) [%], and their miss."""
    floor = 100.0 * stands / (base_g + stands.sum())
    usable, _ = limits.usable_pigments(palette, base, replace(rules, insist=tuple(palette.pigments)))
    bounds = limits.bounds(palette, base, rules)
    low = np.append(floor, 0.0)
    bounds = Bounds(low, np.maximum(bounds.high, low), max(bounds.total, float(floor.sum()) * _SLACK))
    kept = np.flatnonzero(stands).tolist()
    allowed, _ = limits.usable_pigments(palette, base, rules)
    problem = lay_out(palette, target, setting=setting, base=base, largest=bounds.largest[:-1], walls_mm=rules.walls_mm)
    found = best_of_sets(
        problem,
        usable=sorted(set(allowed) | (set(usable) & set(kept))),
        keep=kept,
        most=max(rules.most_pigments, len(kept)),
        bounds=bounds,
    )
    _, _, miss = closeness(problem, found.sets, found.loadings)
    at = int(np.argmin(miss + _SPARING * found.loadings.sum(axis=1)))
    whole = np.zeros(stands.size + 1)
    whole[found.sets[at]] = found.loadings[at]
    return whole[:-1], float(miss[at])
