"""Which swatch to pour next: the one that shrinks the predicted error most, by the palette's own covariance.

Castings are weighed by what readings of them, over black and over white, would teach (an I-optimal choice, taken
greedily): the mean square CIEDE2000 of the maker's own blends, or of blends drawn from all that the bases and pigments
can do, as it would stand after pouring them.

References
----------
Atkinson, Donev and Tobias (2007), Optimum Experimental Designs, with SAS: I-optimality, sequential construction (from
memory).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from tint import colorimetry, uncertainty
from tint.appearance import Setting, predict
from tint.errors import InputError
from tint.learning import after, error_of, gains, lesson
from tint.materials import Blend
from tint.palette import Palette

CASTINGS = 5  # an afternoon of pouring; no source
MOULDS_MM = (1.0, 2.0, 3.0, 5.0)  # mm, depths of moulds for swatches; common practice, no source
_WORTH = 0.03  # of the error: a casting that gains less is not worth pouring
_SMALL = 0.15  # CIEDE2000: half of what a careful pour scatters, and a fifth of what half of lookers perceive


@dataclass(frozen=True, kw_only=True)
class Casting:
    """A swatch to pour, and what it would bring."""

    blend: Blend
    thickness_mm: float  # [mm]
    # root mean square CIEDE2000 of the blends aimed at that the palette's own error makes, before and after [-]
    error_before: float
    error_after: float
    # that by which castings of those blends, poured and read, would then miss their predictions [-]
    missed_after: float
    reason: str


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What to pour next, in order, and where to stop."""

    castings: tuple[Casting, ...]
    enough: bool  # whether the next casting is not worth it: the error is small already, or would hardly shrink
    # root mean square CIEDE2000 by which castings of the blends aimed at, poured and read now, would miss their
    # predictions: errors of model, thickness, doses and reading too [-]
    missed_now: float
    words: str


def next_swatches(
    palette: Palette,
    *,
    targets: Sequence[tuple[Blend, Setting]] = (),
    count: int = CASTINGS,
    bases: Collection[str] = (),
    thicknesses_mm: Collection[float] = MOULDS_MM,
) -> Plan:
    """The castings that teach most about the blends aimed at.

    `targets`: what the maker wants to predict; blends drawn over all that can be made when there are none.
    `count`: how many castings to propose.
    `bases`: only in these; every base that was cast when empty.
    `thicknesses_mm`: moulds at hand [mm].
    Raises InputError if a base is unknown, or there is nothing to choose from.
    """
    if count < 1:
        raise InputError("plan", f"{count} castings", "1 or more")
    chosen = list(bases) or list(palette.seen)
    for base in chosen:
        palette.check_base(base)
    offered = [
        (blend, depth) for base in chosen for blend in offers(palette, base) for depth in sorted(set(thicknesses_mm))
    ]
    if not offered:
        raise InputError("plan", "there is nothing to cast", "a base with pigments, and a mould")
    aims = list(targets) or drawn(palette, chosen)
    known = lesson(palette, aims, offered)
    error = first = error_of(known)
    now, making = missed(palette, aims)
    castings: list[Casting] = []
    fresh = np.ones(len(offered), dtype=bool)
    for _ in range(min(count, len(offered))):
        best = int(np.where(fresh, gains(known), -1.0).argmax())
        fresh[best] = False  # pouring the same again would teach of this casting's luck, and less of others
        known = after(known, best)
        left = error_of(known)
        # What no casting teaches, how a part is poured and read, stays; the rest shrinks with the palette's own error.
        then = float(np.hypot(making, np.sqrt(max(now**2 - making**2, 0.0)) * left / max(first, 1e-12)))
        castings.append(_casting(palette, *offered[best], error, left, then))
        error = left
    enough, words = _verdict(castings, now)
    return Plan(castings=tuple(castings), enough=enough, missed_now=now, words=words)


def missed(palette: Palette, aims: Sequence[tuple[Blend, Setting]]) -> tuple[float, float]:
    """Root mean square CIEDE2000 by which castings will miss predictions, and the part that pouring and reading make.

    It is what the covariance of each prediction expects. The bounds that are stated beside predictions are wider
    outside what was cast, as nothing has shown there that the mixing law holds: a bound is no promise, and over all
    that can be made a few of them would be most of the sum (tests/figures/first_plans.py).
    """
    total, making = 0.0, 0.0
    for blend, setting in aims:
        seen = predict(palette, blend, setting=setting)
        _, by_lab = colorimetry.difference_parts_slopes(seen.lab, seen.lab)
        covariance = seen.covariance[:3, :3] / uncertainty.widened_by(palette, blend, setting.thickness_mm)
        expected = float(np.trace(by_lab @ covariance @ by_lab.T))
        made = seen.scatter / max(float(uncertainty.radius(seen.lab, covariance)), 1e-12)
        total += expected
        making += expected * min(made, 1.0) ** 2
    return float(np.sqrt(total / len(aims))), float(np.sqrt(making / len(aims)))


def _verdict(castings: Sequence[Casting], missed_now: float) -> tuple[bool, str]:
    first, last = castings[0], castings[-1]
    now = (
        f"a part poured now would miss its prediction by {missed_now:.2f} CIEDE2000 (root mean square over the blends "
        f"aimed at), {first.error_before:.2f} of it the palette's own error"
    )
    if first.error_before < _SMALL:
        return True, f"{now}, less than pouring and reading scatter: more casting is not worth it"
    if first.error_after > (1.0 - _WORTH) * first.error_before:
        return True, f"{now}, and no single casting would shrink it by {100 * _WORTH:.0f} %: more is not worth it"
    return False, f"{now}; these would bring them to {last.missed_after:.2f} and {last.error_after:.2f}"


def _casting(palette: Palette, blend: Blend, depth: float, before: float, after: float, missed_after: float) -> Casting:
    names = list(blend.loadings)
    reason = f"{blend.base} itself"
    if len(names) == 1:
        seen = palette.seen[blend.base].max_loading.get(names[0], 0.0)
        reason = f"{names[0]} beyond the {seen:g} % that was cast" if blend.total > seen else f"{names[0]} on its own"
    elif names:
        reason = f"{names[1]} let down with {names[0]}"
    return Casting(
        blend=blend, thickness_mm=depth, error_before=before, error_after=after, missed_after=missed_after,
        reason=reason,
    )  # fmt: skip


# Blends to cast and blends to aim at, drawn from all that bases and pigments can do.


_SHARES = (0.02, 0.1, 0.35, 1.0)  # of a pigment's largest loading, on its own
_TINTS = ((0.2, 0.15), (0.5, 0.05), (0.1, 0.4))  # shares of the lightest pigment's and of the other's
_DRAWS = 80  # blends that stand for all that can be made


def drawn(palette: Palette, bases: Sequence[str]) -> list[tuple[Blend, Setting]]:
    """Blends of one to four pigments, even in the logarithm of the loading, 1 to 6 mm thick; always the same."""
    rng = np.random.default_rng(11)
    drawn = []
    for _ in range(_DRAWS):
        base = str(rng.choice(list(bases)))
        largest = _largest(palette, base)
        size = int(rng.integers(1, min(4, len(largest)) + 1)) if largest else 0
        picked = [str(name) for name in rng.choice(list(largest), size, replace=False)] if size else []
        doses = {name: float(largest[name] * 10 ** rng.uniform(-2.0, 0.0)) for name in picked}
        shrink = min(1.0, palette.bases[base].max_loading / max(sum(doses.values()), 1e-9))
        blend = Blend(base, {name: dose * shrink for name, dose in doses.items()})
        light = rng.random() < 0.5
        over = (palette.white if light else palette.black) if palette.backings else "none"
        drawn.append((blend, Setting(thickness_mm=float(rng.uniform(1.0, 6.0)), over=over)))
    return drawn


def _largest(palette: Palette, base: str) -> dict[str, float]:
    """The largest loading in a base of each pigment that is not known to upset its cure [%]."""
    of = palette.bases[base]
    usable = {name: each for name, each in palette.pigments.items() if each.cures is None or of.cure in each.cures}
    return {name: min(of.max_loading, np.inf if p.max_loading is None else p.max_loading) for name, p in usable.items()}


def offers(palette: Palette, base: str) -> list[Blend]:
    """Castings to choose from: the base alone, ladders of each pigment, tints with the lightest one."""
    largest = _largest(palette, base)
    offers = [Blend(base)]
    # Scattering over absorption: the pigment that tints are made with has most.
    whiteness = (palette.s.mean(axis=1) / (palette.k.mean(axis=1) + 1e-6))[len(palette.bases) :]
    by_name = dict(zip(palette.pigments, whiteness.tolist(), strict=True))
    cast = {name for seen in palette.seen.values() for name in seen.max_loading}
    lightest = max(largest, key=lambda name: (name in cast, by_name[name]), default="")
    for name, most in largest.items():
        offers += [Blend(base, {name: share * most}) for share in _SHARES]
        if name != lightest:
            offers += [Blend(base, {lightest: a * largest[lightest], name: b * most}) for a, b in _TINTS]
    limit = palette.bases[base].max_loading
    return [blend for blend in offers if blend.total <= limit]
