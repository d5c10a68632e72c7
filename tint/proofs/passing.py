"""What meets what was asked: a blend held against its target at every thickness, and how much of a part misses it.

One meaning of "met" is used by recipes, cards and sheets alike: `Target.met`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tint import appearance, colorimetry, forward
from tint.appearance import Appearance, Setting
from tint.materials import Blend
from tint.opacity import KINDS
from tint.optics import layer
from tint.palette import Palette
from tint.proofs import words
from tint.spectra import Array, Index, Mask
from tint.target import Target, amount

_BINS = 120  # thicknesses that stand for a part's own: its range in steps of under a hundredth
_WALLS_MM = (0.2, 30.0)  # thinnest and thickest wall that is proposed in place of the part's own; common practice
_PROPOSED = 241  # walls tried between them
_MORE = np.geomspace(0.25, 8.0, 31)  # times the pigment that is tried; chosen, no source
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
    over = setting.behind(palette)
    drawn = appearance.render(
        palette, np.broadcast_to(share, (depth.size, share.size)), base=blend.base, setting=setting,
        backings=(over, *palette.pair), thickness_mm=depth,
    ).reflectance  # fmt: skip
    delta_e = colorimetry.difference(target.lab, colorimetry.lab(drawn[0], view))
    if target.thickness_mm is not None:
        delta_e = np.zeros_like(delta_e)  # the colour is that of a sample, not of the part's walls
    seen: dict[str, Array] = dict.fromkeys(_NAMES, np.full(depth.size, np.nan))
    if palette.pair:
        seen["contrast_ratio"] = colorimetry.contrast_ratio(drawn[1], drawn[2], view)
    if palette.tells_opacity and (target.asks_light or target.asks_haze):
        seen |= _light_through(palette, blend, setting=setting, depth=depth)
    return Held(
        thickness_mm=depth,
        delta_e=delta_e,
        misses={kind: target.miss(kind, value) for kind, value in seen.items()},
        met=target.met(delta_e, **seen),
        tolerance=target.tolerance,
    )


def _light_through(palette: Palette, blend: Blend, *, setting: Setting, depth: Array) -> dict[str, Array]:
    share, view = palette.shares(blend.base, palette.loadings(blend)), setting.viewing(palette)
    optics = palette.optics(blend.base, geometry=setting.geometry or None, finish=setting.finish)
    mixed = forward.mix(palette.coefficients, share)
    total = layer.transmittance(*mixed, thickness=depth[:, None], optics=optics)
    passed = colorimetry.xyz(total, view)[:, 1] / 100.0
    if optics.model == "two-flux":  # it knows no direction
        return {"transmittance": passed}
    regular, _ = layer.regular_slopes(*mixed, thickness=depth[:, None], optics=optics)
    haze = 1.0 - colorimetry.xyz(regular, view)[:, 1] / 100.0 / np.maximum(passed, 1e-12)
    return {"transmittance": passed, "haze": haze}


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
    `target`: without one the colour agreed on is the recipe's own.
    `tolerance`: CIEDE2000, used without a target [-].
    `part_mm` (...): thickness of the part, point by point; 0 where there is none [mm].
    `weight` (...): how much each point counts; one each when absent.
    """
    asked = Target(lab=seen.lab, tolerance=tolerance) if target is None else target
    setting, blend = seen.setting, seen.blend
    own = held(palette, blend, setting=setting, target=asked, thickness_mm=[setting.thickness_mm])
    lines = [] if target is None else [_of_own(own, target)]
    if part_mm is None or not np.any(part_mm > 0.0):
        if not own.met[0]:
            lines += _mended(palette, seen, asked, own.thickness_mm, np.ones(1))
        return Verdict(met=bool(own.met[0]), missed_share=0.0, misses=None, lines=tuple(lines))
    depth, share, place = _binned(part_mm, weight)
    all_ = held(palette, blend, setting=setting, target=asked, thickness_mm=depth)
    missed = float(share[~all_.met].sum())
    of_part = _of_part(all_, share, missed, "what was asked" if target else "the colour agreed on")
    # Who reads but the first sentence has to learn of what fails.
    lines = [of_part, *lines] if missed > _HARDLY else [*lines, of_part]
    if missed > _HARDLY or not own.met[0]:
        lines += _mended(palette, seen, asked, depth, share)
    misses = np.zeros(part_mm.shape, dtype=bool)
    misses[part_mm > 0.0] = ~all_.met[place]
    return Verdict(met=bool(own.met[0]), missed_share=missed, misses=misses, lines=tuple(lines))


def _binned(part_mm: Array, weight: Array | None) -> tuple[Array, Array, Index]:
    """Thicknesses that stand for those of a part, the share of each, and which of them each point has."""
    there = part_mm > 0.0
    low, high = float(part_mm[there].min()), float(part_mm[there].max())
    edges = np.geomspace(low, high * (1.0 + 1e-9), _BINS + 1)
    place = np.clip(np.searchsorted(edges, part_mm[there], side="right") - 1, 0, _BINS - 1)
    counted = np.bincount(place, weights=None if weight is None else weight[there], minlength=_BINS)
    sums = np.bincount(place, weights=part_mm[there], minlength=_BINS)
    plain = np.bincount(place, minlength=_BINS)
    used = np.flatnonzero(plain)
    to = np.zeros(_BINS, dtype=np.int64)
    to[used] = np.arange(used.size)
    return sums[used] / plain[used], counted[used] / counted.sum(), to[place]


def _of_own(own: Held, asked: Target) -> str:
    """What is so at the thickness that was agreed on, the only one."""
    at, faults = f"At {own.thickness_mm[0]:g} mm", []
    if own.delta_e[0] > own.tolerance:
        faults.append(f"the colour is {own.delta_e[0]:.1f} CIEDE2000 away, and {own.tolerance:g} was agreed")
    for kind, (miss,) in own.misses.items():
        if fails(miss):
            way = "high" if miss > 0 else "low"
            faults.append(f"the {_NAMES[kind]} is {amount(kind, abs(miss), '.2g')} too {way}")
    if faults:
        return f"{at} this recipe misses what was asked: {' and '.join(faults)}."
    return f"{at} this recipe meets what was asked: {asked_in_words(asked)}."


def asked_in_words(asked: Target) -> str:
    """What has to be met, in a clause."""
    told = [f"a colour difference of at most {asked.tolerance:g} CIEDE2000"]
    for kind, name in _NAMES.items():
        if (bounds := asked.bounds_in_words(kind)) != "any":
            told.append(f"{name} {bounds}")
    return ", ".join(told)


def fails(miss: ArrayLike) -> Mask:
    """Whether a signed miss is one; what nobody can tell is none."""
    return np.asarray(np.abs(miss) > 0.0)


def _of_part(all_: Held, share: Array, missed: float, asked: str) -> str:
    """How much of the part misses what was asked, where, and by what."""
    if missed <= _HARDLY:
        return f"{'Nearly all' if missed > 0.0 else 'All'} of the part that is seen here meets {asked}."
    causes = {"the colour is too far": all_.delta_e > all_.tolerance}
    for kind, miss in all_.misses.items():
        for way, sign in (("low", -1.0), ("high", 1.0)):
            causes[f"the {_NAMES[kind]} is too {way}"] = fails(miss) & (sign * miss > 0.0)
    told: dict[str, list[str]] = {}  # by where: what is wrong there
    for cause, mask in causes.items():
        if (of := float(share[mask].sum())) > _HARDLY:
            where = _where(all_.thickness_mm, mask) + (f" ({_percent(of)})" if of < missed - _HARDLY else "")
            told.setdefault(where, []).append(cause)
    faults = "; ".join(f"{' and '.join(found)} {where}" for where, found in told.items())
    whole = "All" if missed >= 1.0 - _HARDLY else _percent(missed)
    inside = "" if missed >= 1.0 - _HARDLY else ", inside the dashes"
    return f"{whole} of the part that is seen here misses {asked}{inside}: {faults}."


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f}\N{NO-BREAK SPACE}%"


def _where(depth: Array, mask: Mask) -> str:
    """Which thicknesses a mask holds, in words."""
    at = np.flatnonzero(mask)
    if at.size == depth.size:
        return f"everywhere, in {_span(depth)}"
    low, high = depth[at[0]], depth[at[-1]]
    if at[0] == 0 and at.size == at[-1] + 1:
        return f"where it is {words.two_digits(high)} mm or thinner"
    if at[-1] == depth.size - 1 and at.size == depth.size - at[0]:
        return f"where it is {words.two_digits(low)} mm or thicker"
    return f"where it is {words.two_digits(low)} to {words.two_digits(high)} mm thick"


def _mended(palette: Palette, seen: Appearance, asked: Target, depth: Array, share: Array) -> list[str]:
    """What would mend it: other walls, or more or less of the same pigments."""
    return [_by_walls(palette, seen, asked), _by_pigment(palette, seen, asked, depth, share)]


def _by_walls(palette: Palette, seen: Appearance, asked: Target) -> str:
    walls = np.geomspace(*_WALLS_MM, _PROPOSED)
    good = held(palette, seen.blend, setting=seen.setting, target=asked, thickness_mm=walls).met
    if not good.any():
        return "No wall of this mix would meet it."
    at = np.flatnonzero(good)
    nearest = at[np.argmin(np.abs(np.log(walls[at] / seen.setting.thickness_mm)))]
    first, last = _run(good, int(nearest))
    if last == _PROPOSED - 1:
        return f"Walls of {words.two_digits(walls[first])} mm or more would meet it."
    if first == 0:
        return f"Walls of at most {words.two_digits(walls[last])} mm would meet it."
    return f"Walls of {words.two_digits(walls[first])} to {words.two_digits(walls[last])} mm would meet it."


def _run(good: Mask, at: int) -> tuple[int, int]:
    """First and last of the unbroken run about a place."""
    bad = np.flatnonzero(~good)
    before, after = bad[bad < at], bad[bad > at]
    return (int(before[-1]) + 1 if before.size else 0), (int(after[0]) - 1 if after.size else good.size - 1)


def _by_pigment(palette: Palette, seen: Appearance, asked: Target, depth: Array, share: Array) -> str:
    """How many times the pigment would serve the most of it, without telling what it is."""
    now = float(share[~held(palette, seen.blend, setting=seen.setting, target=asked, thickness_mm=depth).met].sum())
    best, times = now, 1.0
    for factor in _allowed(palette, seen.blend):
        more = Blend(seen.blend.base, {name: factor * dose for name, dose in seen.blend.loadings.items()})
        good = held(palette, more, setting=seen.setting, target=asked, thickness_mm=depth).met
        left = float(share[~good].sum())
        if left < best - _HARDLY:
            best, times = left, factor
    if times == 1.0:
        return f"A recipe of its own would have to be made for {_span(depth)}."
    then = "nothing would miss it" if best <= _HARDLY else f"{_percent(best)} would still miss it"
    return f"With {times:.2g} times the pigment {then}."


def _span(depth: Array) -> str:
    low, high = float(depth[0]), float(depth[-1])
    return (
        f"a wall of {words.two_digits(low)} mm"
        if high <= 1.05 * low
        else f"walls of {words.two_digits(low)} to {words.two_digits(high)} mm"
    )


def _allowed(palette: Palette, blend: Blend) -> Sequence[float]:
    """Times the pigment that neither the base nor a pigment is loaded beyond, the nearest to one first."""
    most = [
        limit / dose
        for name, dose in blend.loadings.items()
        if dose > 0.0 and (limit := palette.pigments[name].max_loading) is not None
    ]
    if blend.total == 0.0:
        return []
    upto = min([*most, palette.bases[blend.base].max_loading / blend.total])
    tried = [float(factor) for factor in _MORE if factor <= upto and factor != 1.0]
    return sorted(tried, key=lambda factor: abs(math.log(factor)))
