"""Which swatch to pour next: the one that shrinks the predicted error most, by the palette's own covariance.

Castings are weighed by what two readings of them, over black and over white, would teach (an I-optimal choice, taken
greedily): the mean square CIEDE2000 of the maker's own blends, or of blends drawn from all that the bases and pigments
can do, as it would stand after pouring them. For a workshop without swatches there is no covariance, and a first plan
is made by rule.

References
----------
Atkinson, Donev and Tobias (2007), Optimum Experimental Designs, with SAS: I-optimality, sequential construction (from
memory).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.appearance import Setting, render
from tint.errors import InputError
from tint.materials import Base, Blend, Pigment
from tint.palette import Palette

Array = NDArray[np.float64]

_THICKNESSES_MM = (1.0, 2.0, 3.0, 5.0)
_SHARES = (0.02, 0.1, 0.35, 1.0)  # of a pigment's largest loading, on its own
_TINTS = ((0.2, 0.15), (0.5, 0.05), (0.1, 0.4))  # shares of the lightest pigment's and of the other's
_DRAWS = 80  # blends that stand for all that can be made
_WORTH = 0.03  # of the error: a casting that gains less is not worth pouring
_SMALL = 0.15  # CIEDE2000: half of what a careful pour scatters, and a fifth of what half of lookers perceive


@dataclass(frozen=True, kw_only=True)
class Casting:
    """A swatch to pour, and what it would bring.

    Parameters
    ----------
    blend : Blend
    thickness_mm : float
        [mm]
    error_before, error_after : float
        Root mean square CIEDE2000 of the blends aimed at that the palette's own error makes, before and after [-].
    reason : str
    """

    blend: Blend
    thickness_mm: float
    error_before: float
    error_after: float
    reason: str


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What to pour next, in order, and where to stop.

    Parameters
    ----------
    castings : tuple of Casting
    enough : bool
        Whether the next casting is not worth it: the error is small already, or would hardly shrink.
    words : str
    """

    castings: tuple[Casting, ...]
    enough: bool
    words: str


@dataclass(frozen=True, eq=False)
class _Aims:
    """Slopes of the colours aimed at, three rows a blend, shape (3 n_blends, n_wavelengths, 2 n_components)."""

    slopes: Array
    blends: int


def next_swatches(
    palette: Palette,
    *,
    targets: Sequence[tuple[Blend, Setting]] = (),
    count: int = 5,
    bases: Collection[str] = (),
    thicknesses_mm: Collection[float] = _THICKNESSES_MM,
) -> Plan:
    """The castings that teach most about the blends aimed at.

    Parameters
    ----------
    targets : sequence of (Blend, Setting)
        What the maker wants to predict; blends drawn over all that can be made when there are none.
    count : int
        How many castings to propose.
    bases : collection of str
        Only in these; every base that was cast when empty.
    thicknesses_mm : collection of float
        Moulds at hand [mm].

    Raises
    ------
    InputError
        If a base is unknown, or there is nothing to choose from.
    """
    if count < 1:
        raise InputError("plan", f"{count} castings", "1 or more")
    chosen = list(bases) or list(palette.seen)
    for base in chosen:
        palette.check_base(base)
    aims = _aims(palette, list(targets) or _drawn(palette, chosen))
    offered = [
        (blend, depth) for base in chosen for blend in offers(palette, base) for depth in sorted(set(thicknesses_mm))
    ]
    if not offered:
        raise InputError("plan", "there is nothing to cast", "a base with pigments, and a mould")
    reading = _readings(palette, offered)
    covariance = palette.local + np.einsum("rwp,rwq->wpq", palette.modes, palette.modes)
    error = _error(aims, covariance)
    castings: list[Casting] = []
    fresh = np.ones(len(offered), dtype=bool)
    for _ in range(min(count, len(offered))):
        gains = np.where(fresh, _gains(aims, covariance, reading), -1.0)
        best = int(gains.argmax())
        fresh[best] = False  # pouring the same again would teach of this casting's luck, and less of others
        covariance = _after(covariance, reading, best)
        after = _error(aims, covariance)
        castings.append(_casting(palette, *offered[best], error, after))
        error = after
    enough, words = _verdict(castings)
    return Plan(castings=tuple(castings), enough=enough, words=words)


def _verdict(castings: Sequence[Casting]) -> tuple[bool, str]:
    first, last = castings[0], castings[-1]
    now = f"the palette's own error is {first.error_before:.2f} CIEDE2000 (root mean square over the blends aimed at)"
    if first.error_before < _SMALL:
        return True, f"{now}, less than pouring and reading scatter: more casting is not worth it"
    if first.error_after > (1.0 - _WORTH) * first.error_before:
        return True, f"{now}, and no single casting would shrink it by {100 * _WORTH:.0f} %: more is not worth it"
    return False, f"{now}; these would bring it to {last.error_after:.2f}"


def _drawn(palette: Palette, bases: Sequence[str]) -> list[tuple[Blend, Setting]]:
    """Blends of one to four pigments, even in the logarithm of the loading, 1 to 6 mm thick; always the same."""
    rng = np.random.default_rng(11)
    drawn = []
    for _ in range(_DRAWS):
        base = str(rng.choice(list(bases)))
        names = _usable(palette, base)
        size = int(rng.integers(1, min(4, len(names)) + 1)) if names else 0
        picked = [str(name) for name in rng.choice(names, size, replace=False)] if size else []
        most = palette.bases[base].max_loading
        doses = {name: float(_largest(palette, base, name) * 10 ** rng.uniform(-2.0, 0.0)) for name in picked}
        shrink = min(1.0, most / max(sum(doses.values()), 1e-9))
        blend = Blend(base, {name: dose * shrink for name, dose in doses.items()})
        over = palette.white if rng.random() < 0.5 else palette.black
        drawn.append((blend, Setting(thickness_mm=float(rng.uniform(1.0, 6.0)), over=over)))
    return drawn


def _usable(palette: Palette, base: str) -> list[str]:
    cure = palette.bases[base].cure
    return [name for name, p in palette.pigments.items() if p.cures is None or cure in p.cures]


def _largest(palette: Palette, base: str, name: str) -> float:
    own = palette.pigments[name].max_loading
    return min(palette.bases[base].max_loading, own if own is not None else np.inf)


def offers(palette: Palette, base: str) -> list[Blend]:
    """Castings to choose from: the base alone, ladders of each pigment, tints with the lightest one."""
    names = _usable(palette, base)
    offers = [Blend(base)]
    n_bases = len(palette.bases)
    lightest = max(names, key=lambda n: _whiteness(palette, n_bases + list(palette.pigments).index(n)), default="")
    for name in names:
        largest = _largest(palette, base, name)
        offers += [Blend(base, {name: share * largest}) for share in _SHARES]
        if name != lightest:
            light = _largest(palette, base, lightest)
            offers += [Blend(base, {lightest: a * light, name: b * largest}) for a, b in _TINTS]
    limit = palette.bases[base].max_loading
    return [blend for blend in offers if blend.total <= limit]


def _whiteness(palette: Palette, component: int) -> float:
    """Scattering over absorption: the pigment that tints are made with has most."""
    return float(np.mean(palette.s[component]) / (np.mean(palette.k[component]) + 1e-6))


def _aims(palette: Palette, targets: Sequence[tuple[Blend, Setting]]) -> _Aims:
    rows = []
    for blend, setting in targets:
        share = palette.shares(blend.base, palette.loadings(blend))
        over = setting.over or palette.white
        seen = render(palette, share, base=blend.base, setting=setting, backings=(over,))
        lab, by_reading = colorimetry.lab_slopes(seen.reflectance[0], setting.viewing(palette))
        _, by_lab = colorimetry.difference_parts_slopes(lab, lab)
        outward = by_lab @ by_reading  # (3, n_wavelengths)
        by_k, by_s = seen.slopes[0, 0], seen.slopes[0, 1]
        gradient = np.concatenate((np.outer(by_k, share), np.outer(by_s, share)), axis=1)  # (n_wavelengths, 2 n)
        rows.append(outward[:, :, None] * gradient)
    return _Aims(np.concatenate(rows), len(targets))


@dataclass(frozen=True, eq=False)
class _Readings:
    """What each casting offered would read: slopes (n_wavelengths, n, 2, 2 n_components), variance (..., 2)."""

    slopes: Array
    variance: Array


def _readings(palette: Palette, offered: Sequence[tuple[Blend, float]]) -> _Readings:
    slopes, variance = [], []
    instrument = palette.instrument
    for blend, depth in offered:
        share = palette.shares(blend.base, palette.loadings(blend))
        setting = Setting(thickness_mm=depth)
        seen = render(palette, share, base=blend.base, setting=setting, backings=(palette.black, palette.white))
        by_k, by_s, by_d = np.moveaxis(seen.slopes, 1, 0)  # each (2, n_wavelengths)
        own = np.concatenate((by_k[..., None] * share, by_s[..., None] * share), axis=-1)
        slopes.append(own)
        misfit = palette.misfit * np.maximum(seen.reflectance, 0.0) ** (2.0 / 3.0)
        # Thickness and doses of the casting itself are not known either; what they blur is not learned.
        blur = (instrument.thickness_error_mm * by_d) ** 2
        blur += (instrument.dose_error_percent / 100.0 * (by_k * (share @ palette.k) + by_s * (share @ palette.s))) ** 2
        variance.append(max(instrument.repeatability, 1e-4) ** 2 + misfit**2 + blur)
    return _Readings(np.moveaxis(np.stack(slopes), 2, 0), np.moveaxis(np.stack(variance), 2, 0))


def _error(aims: _Aims, covariance: Array) -> float:
    squared = np.einsum("awp,wpq,awq->", aims.slopes, covariance, aims.slopes, optimize=True)
    return float(np.sqrt(squared / aims.blends))


def _gains(aims: _Aims, covariance: Array, reading: _Readings) -> Array:
    """By how much each casting offered shrinks the squared error, shape (n,)."""
    learned = np.einsum("wpq,wnrq->wnrp", covariance, reading.slopes, optimize=True)
    inner = np.einsum("wnrp,wnsp->wnrs", learned, reading.slopes)
    inner[..., 0, 0] += reading.variance[..., 0]
    inner[..., 1, 1] += reading.variance[..., 1]
    toward = np.einsum("awp,wnrp->wnar", aims.slopes, learned, optimize=True)
    solved = np.linalg.solve(inner, np.swapaxes(toward, -1, -2))
    return np.asarray(np.einsum("wnar,wnra->n", toward, solved))


def _after(covariance: Array, reading: _Readings, chosen: int) -> Array:
    slopes = reading.slopes[:, chosen]
    learned = covariance @ np.swapaxes(slopes, 1, 2)
    inner = slopes @ learned + np.eye(2) * reading.variance[:, chosen][:, None, :]
    return np.asarray(covariance - learned @ np.linalg.solve(inner, np.swapaxes(learned, 1, 2)))


def _casting(palette: Palette, blend: Blend, depth: float, before: float, after: float) -> Casting:
    names = list(blend.loadings)
    reason = f"{blend.base} itself"
    if len(names) == 1:
        seen = palette.seen[blend.base].max_loading.get(names[0], 0.0)
        reason = f"{names[0]} beyond the {seen:g} % that was cast" if blend.total > seen else f"{names[0]} on its own"
    elif names:
        reason = f"{names[1]} let down with {names[0]}"
    return Casting(blend=blend, thickness_mm=depth, error_before=before, error_after=after, reason=reason)


def first_swatches(bases: Mapping[str, Base], pigments: Mapping[str, Pigment]) -> tuple[tuple[Blend, float, str], ...]:
    """A first plan for a workshop without swatches: blend, thickness [mm] and reason of each casting.

    Notes
    -----
    The fewest that leave no base or pigment unknown: each base thin and thick, each pigment once, weak enough to see
    through so that two backings tell its absorption from its scattering. From there `next_swatches` knows better than
    any rule. On the bench of tests/figures/planning.py eight pigments in two bases so start at a mean CIEDE2000 of 0.7.
    """
    first = next(iter(bases))
    plan: list[tuple[Blend, float, str]] = []
    for name in bases:
        plan += [(Blend(name), 2.0, f"{name} itself"), (Blend(name), 5.0, f"{name} itself, thick")]
    for name, pigment in pigments.items():
        home = next((b for b, base in bases.items() if pigment.cures is None or base.cure in pigment.cures), first)
        most = min(bases[home].max_loading, pigment.max_loading or bases[home].max_loading)
        plan.append((Blend(home, {name: float(f"{0.1 * most:.2g}")}), 2.0, f"{name}, see-through"))
    return tuple(plan)
