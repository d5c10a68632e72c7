"""What meets what was asked: a blend held against its target at every thickness, and how much of a part misses it.

One meaning of "met" is used by recipes, cards and sheets alike: `Target.met`. What just meets it are the limit samples.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from tint import appearance, colorimetry, forward
from tint.appearance import Appearance, Setting
from tint.materials import Blend
from tint.opacity import KINDS
from tint.optics import layer
from tint.palette import Palette
from tint.proofs import words
from tint.proofs.facts import Shade, shade_of
from tint.spectra import Array, Index, Mask
from tint.target import Target
from tint.thickness import first_thickness

_BINS = 120  # thicknesses that stand for a part's own: its range in steps of under a hundredth
_WALLS_MM = (0.2, 30.0)  # thinnest and thickest wall that is proposed in place of the part's own; common practice
_PROPOSED = 241  # walls tried between them
_MORE = np.geomspace(0.25, 8.0, 31)  # times the pigment that is tried; chosen, no source
_LEAST = 0.02  # of the part's own thickness: how thin a limit sample is looked for
_HARDLY = 0.005  # share of a part that is not worth telling: half of what is printed as 1 %
_NAMES = {kind: kind.replace("_", " ") for kind in KINDS}


@dataclass(frozen=True, kw_only=True, eq=False)
class Held:
    """A blend held against a target at several thicknesses."""

    thickness_mm: Array  # (n,) [mm]
    delta_e: Array  # (n,): CIEDE2000 from the target over the setting's backing [-]
    # (n,): how far contrast ratio, transmittance and haze are from what was asked, signed; 0 where met, NaN where
    # nobody can tell [-]
    misses: dict[str, Array]
    met: Mask  # (n,): whether all that was asked is met
    tolerance: float  # CIEDE2000 that was agreed [-]


def held(palette: Palette, blend: Blend, *, setting: Setting, target: Target, thickness_mm: ArrayLike) -> Held:
    """Hold a blend against a target at several thicknesses, shape (n,) [mm]."""
    depth = np.asarray(thickness_mm, dtype=float)
    share, view = palette.shares(blend.base, palette.loadings(blend)), setting.viewing(palette)
    drawn = appearance.render(
        palette, np.broadcast_to(share, (depth.size, share.size)), base=blend.base, setting=setting,
        backings=(setting.behind(palette), *palette.pair), thickness_mm=depth,
    ).reflectance  # fmt: skip
    delta_e = colorimetry.difference(target.lab, colorimetry.lab(drawn[0], view))
    if target.thickness_mm is not None:
        delta_e = np.zeros_like(delta_e)  # the colour is that of a sample, not of the part's walls
    seen: dict[str, Array] = dict.fromkeys(KINDS, np.full(depth.size, np.nan))
    if palette.pair:
        seen["contrast_ratio"] = colorimetry.contrast_ratio(drawn[1], drawn[2], view)
    if palette.tells_opacity and (target.asks_light or target.asks_haze):
        optics = palette.optics(blend.base, geometry=setting.geometry or None, finish=setting.finish)
        mixed = forward.mix(palette.coefficients, share)
        total = layer.transmittance(*mixed, thickness=depth[:, None], optics=optics)
        passed = seen["transmittance"] = colorimetry.xyz(total, view)[:, 1] / 100.0
        if optics.model != "two-flux":  # which knows no direction
            regular, _ = layer.regular_slopes(*mixed, thickness=depth[:, None], optics=optics)
            seen["haze"] = 1.0 - colorimetry.xyz(regular, view)[:, 1] / 100.0 / np.maximum(passed, 1e-12)
    misses = {kind: target.miss(kind, value) for kind, value in seen.items()}
    return Held(
        thickness_mm=depth, delta_e=delta_e, misses=misses, met=target.met(delta_e, **seen), tolerance=target.tolerance
    )


# What a sheet says of it.


@dataclass(frozen=True, kw_only=True, eq=False)
class Verdict:
    """Whether a recipe, and the part where there is one, is what was asked."""

    met: bool  # at the thickness that was agreed
    missed_share: float  # of what is seen of the part, what misses it; 0 without a part [-]
    misses: Mask | None  # where on the picture of the part, in the shape of the thickness given
    lines: tuple[str, ...]  # the same in full sentences: how much, where, and what would mend it

    @property
    def passes(self) -> bool:
        """Whether nothing misses."""
        return self.met and self.missed_share <= _HARDLY

    @property
    def outline(self) -> Mask | None:
        """Where to outline the part on its picture; None where all or nothing of it misses."""
        return self.misses if _HARDLY < self.missed_share < 1.0 - _HARDLY else None


def judged(
    palette: Palette, seen: Appearance, *, target: Target | None, tolerance: float, part_mm: Array | None = None,
    weight: Array | None = None,
) -> Verdict:  # fmt: skip
    """Hold a recipe, and a part of it, against what was asked.

    `seen`: the recipe at the thickness that is agreed on.
    `target`: without one the colour agreed on is the recipe's own, within `tolerance` [-].
    `part_mm` (...): thickness of the part, point by point; 0 where there is none [mm].
    `weight` (...): how much each point counts; one each when absent.
    """
    asked = Target(lab=seen.lab, tolerance=tolerance) if target is None else target
    setting, blend = seen.setting, seen.blend

    def hold(depth: ArrayLike, factor: float = 1.0) -> Held:
        more = blend if factor == 1.0 else Blend(blend.base, {n: factor * dose for n, dose in blend.loadings.items()})
        return held(palette, more, setting=setting, target=asked, thickness_mm=depth)

    own = hold([setting.thickness_mm])
    met, lines = bool(own.met[0]), [] if target is None else [_of_own(own, target)]
    part, share, missed, misses = own, np.ones(1), 0.0, None
    if part_mm is not None and np.any(part_mm > 0.0):
        depth, share, place = _binned(part_mm, weight)
        part = hold(depth)
        missed = float(share[~part.met].sum())
        told = _of_part(part, share, missed, "what was asked" if target else "the colour agreed on")
        # Who reads but the first sentence has to learn of what fails.
        lines = [told, *lines] if missed > _HARDLY else [*lines, told]
        misses = np.zeros(part_mm.shape, dtype=bool)
        misses[part_mm > 0.0] = ~part.met[place]
    if missed > _HARDLY or not met:
        lines.append(_by_walls(hold(np.geomspace(*_WALLS_MM, _PROPOSED)), setting.thickness_mm))
        lines.append(_by_pigment(hold, _allowed(palette, blend), part, share))
    return Verdict(met=met, missed_share=missed, misses=misses, lines=tuple(lines))


def _binned(part_mm: Array, weight: Array | None) -> tuple[Array, Array, Index]:
    """Thicknesses that stand for those of a part, the share of each, and which of them each point has."""
    there = part_mm > 0.0
    depth = part_mm[there]
    edges = np.geomspace(depth.min(), depth.max() * (1.0 + 1e-9), _BINS + 1)
    bins = np.clip(np.searchsorted(edges, depth, side="right") - 1, 0, _BINS - 1)
    weights = (None, depth, None if weight is None else weight[there])
    every = [np.bincount(bins, weights=each, minlength=_BINS) for each in weights]
    used = every[0] > 0
    count, total, counted = (each[used] for each in every)
    return total / count, counted / counted.sum(), (np.cumsum(used) - 1)[bins]


def _of_own(own: Held, asked: Target) -> str:
    """What is so at the thickness that was agreed on, the only one."""
    at, faults = f"At {own.thickness_mm[0]:g} mm", []
    if own.delta_e[0] > own.tolerance:
        faults.append(f"the colour is {own.delta_e[0]:.1f} CIEDE2000 away, and {own.tolerance:g} was agreed")
    faults += [
        f"the {_NAMES[kind]} is {words.missed(kind, miss)}" for kind, (miss,) in own.misses.items() if abs(miss) > 0.0
    ]
    if faults:
        return f"{at} this recipe misses what was asked: {' and '.join(faults)}."
    told = [f"a colour difference of at most {asked.tolerance:g} CIEDE2000"]
    told += [f"{name} {asked.bounds_in_words(kind)}" for kind, name in _NAMES.items() if asked.asks(kind)]
    return f"{at} this recipe meets what was asked: {', '.join(told)}."


def _of_part(part: Held, share: Array, missed: float, asked: str) -> str:
    """How much of the part misses what was asked, where, and by what."""
    if missed <= _HARDLY:
        return f"{'Nearly all' if missed > 0.0 else 'All'} of the part that is seen here meets {asked}."
    causes = {"the colour is too far": part.delta_e > part.tolerance}
    for kind, miss in part.misses.items():
        causes |= {f"the {_NAMES[kind]} is too low": miss < 0.0, f"the {_NAMES[kind]} is too high": miss > 0.0}
    told: dict[str, list[str]] = {}  # by where: what is wrong there
    for cause, mask in causes.items():
        if (of := float(share[mask].sum())) > _HARDLY:
            where = _where(part.thickness_mm, mask) + (f" ({_percent(of)})" if of < missed - _HARDLY else "")
            told.setdefault(where, []).append(cause)
    faults = "; ".join(f"{' and '.join(found)} {where}" for where, found in told.items())
    whole, inside = ("All", "") if missed >= 1.0 - _HARDLY else (_percent(missed), ", inside the dashes")
    return f"{whole} of the part that is seen here misses {asked}{inside}: {faults}."


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f}\N{NO-BREAK SPACE}%"


def _where(depth: Array, mask: Mask) -> str:
    """Which thicknesses a mask holds, in words."""
    at = np.flatnonzero(mask)
    if at.size == depth.size:
        return f"everywhere, in {_span(depth)}"
    low, high = words.two_digits(depth[at[0]]), words.two_digits(depth[at[-1]])
    if at[-1] == at.size - 1:
        return f"where it is {high} mm or thinner"
    if at[0] == depth.size - at.size:
        return f"where it is {low} mm or thicker"
    return f"where it is {low} to {high} mm thick"


def _span(depth: Array) -> str:
    low, high = words.two_digits(depth[0]), words.two_digits(depth[-1])
    return f"a wall of {low} mm" if depth[-1] <= 1.05 * depth[0] else f"walls of {low} to {high} mm"


def _by_walls(walls: Held, own_mm: float) -> str:
    """Which other walls would mend it, the nearest to the part's own."""
    if not walls.met.any():
        return "No wall of this mix would meet it."
    at, bad = np.flatnonzero(walls.met), np.flatnonzero(~walls.met)
    nearest = at[np.argmin(np.abs(np.log(walls.thickness_mm[at] / own_mm)))]
    place = np.searchsorted(bad, nearest)  # the unbroken run about it ends before and after these
    first, last = np.concatenate(([-1], bad, [_PROPOSED]))[[place, place + 1]] + (1, -1)
    low, high = words.two_digits(walls.thickness_mm[first]), words.two_digits(walls.thickness_mm[last])
    if last == _PROPOSED - 1:
        return f"Walls of {low} mm or more would meet it."
    return f"Walls of {f'{low} to' if first else 'at most'} {high} mm would meet it."


def _by_pigment(hold: Callable[[ArrayLike, float], Held], factors: Sequence[float], part: Held, share: Array) -> str:
    """How many times the pigment would serve the most of it, without telling what it is."""
    best, times = float(share[~part.met].sum()), 1.0
    for factor in factors:
        left = float(share[~hold(part.thickness_mm, factor).met].sum())
        if left < best - _HARDLY:
            best, times = left, factor
    if times == 1.0:
        return f"A recipe of its own would have to be made for {_span(part.thickness_mm)}."
    then = "nothing would miss it" if best <= _HARDLY else f"{_percent(best)} would still miss it"
    return f"With {times:.2g} times the pigment {then}."


def _allowed(palette: Palette, blend: Blend) -> Sequence[float]:
    """Times the pigment that neither the base nor a pigment is loaded beyond, the nearest to one first."""
    if blend.total == 0.0:
        return []
    limits = ((palette.pigments[name].max_loading, dose) for name, dose in blend.loadings.items() if dose > 0.0)
    most = [limit / dose for limit, dose in limits if limit is not None]
    upto = min([*most, palette.bases[blend.base].max_loading / blend.total])
    return sorted(_MORE[(upto >= _MORE) & (_MORE != 1.0)].tolist(), key=lambda factor: abs(math.log(factor)))


# Limit samples: the lightest, the darkest and the thinnest part that an agreed tolerance lets pass.


@dataclass(frozen=True, eq=False)
class Limit:
    """A part that is just within the tolerance."""

    name: str  # `lightest`, `darkest` or `thinnest`
    lab: Array  # (3,) [-]
    shade: Shade
    thickness_mm: float  # [mm]


def limits_of(
    palette: Palette, seen: Appearance, *, tolerance: float, target: Target | None = None
) -> tuple[Limit, ...]:  # fmt: skip
    """The limit samples of a prediction; one that does not exist is left out.

    `tolerance`: CIEDE2000 from the colour agreed on, which is the prediction's [-].
    `target`: what was asked: a sample meets its colour and opacity too, so that there is none where the prediction
        misses it.

    Lightest and darkest differ in L* alone, at the same thickness and opacity; the thinnest is the same mix over the
    same backing.
    """
    own, view = seen.setting.thickness_mm, seen.setting.viewing(palette)
    agreed = replace(target or Target(lab=seen.lab), lab=seen.lab, tolerance=tolerance, thickness_mm=None)
    asked = [agreed, *([target] if target else [])]

    def fails(depth: Array) -> Mask:
        each = (held(palette, seen.blend, setting=seen.setting, target=one, thickness_mm=depth) for one in asked)
        return np.asarray(~np.all([one.met for one in each], axis=0))

    if fails(np.array([own]))[0]:
        return ()
    colours = [one for one in asked if one.thickness_mm is None]
    moved = {"lightest": _moved(seen.lab, 1.0, colours), "darkest": _moved(seen.lab, -1.0, colours)}
    found = [(name, lab, own) for name, lab in moved.items() if lab is not None]
    if between := first_thickness(fails, own, _LEAST * own):
        thin = appearance.predict(palette, seen.blend, setting=replace(seen.setting, thickness_mm=between[0]))
        found.append(("thinnest", colorimetry.lab(thin.reflectance, view), between[0]))
    return tuple(Limit(name, lab, shade_of(lab, view), depth) for name, lab, depth in found if 0.0 <= lab[0] <= 100.0)


def _moved(lab: Array, way: float, colours: Sequence[Target]) -> Array | None:
    """The colour so much lighter or darker that it is just as far as passes; None where that is no way at all."""
    from scipy.optimize import brentq

    def over(by: float) -> float:
        there = lab + np.array([way * by, 0.0, 0.0])
        return max(float(colorimetry.difference(each.lab, there)) - each.tolerance for each in colours)

    if over(0.0) >= 0.0:
        return None
    # At either end of the scale a unit of L* counts for at least 0.57 (weighting of lightness in CIEDE2000).
    return np.asarray(lab + np.array([way * brentq(over, 0.0, 4.0 * colours[0].tolerance + 1.0), 0.0, 0.0]))
