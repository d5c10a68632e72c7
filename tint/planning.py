"""Which swatch to pour next: the one that shrinks the predicted error most, by the palette's own covariance.

Castings are weighed by what readings of them, over black and over white, would teach (an I-optimal choice, taken
greedily): the mean square CIEDE2000 of the maker's own blends, or of blends drawn from all that the bases and pigments
can do, as it would stand after pouring them.

All is linear algebra on blocks of unknowns that know nothing of each other. Where spectra are read, a block is the k
and s of one wavelength. Where only colours are, a reading ties all wavelengths together: there is one block, and its
unknowns are the modes of the palette's covariance, which hold nearly all of it.

References
----------
Atkinson, Donev and Tobias (2007), Optimum Experimental Designs, with SAS: I-optimality, sequential construction (from
memory).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tint import colorimetry, forward, uncertainty
from tint.appearance import Setting, predict, render
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.spectra import Array, Index

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


AT_ONCE = 4_000_000  # numbers in memory together; a test has fewer
_LIGHTNESS = 116.0 / 3.0  # L* by the palette's model error, a share of reflectance^(2/3)


@dataclass(frozen=True, eq=False)
class Lesson:
    """What is known, what is aimed at, and what each casting offered would read."""

    covariance: Array  # shape (n_blocks, n_unknowns, n_unknowns)
    # shape (3 n_blends, n_blocks, n_unknowns): slopes of the colours aimed at, three rows a blend [CIEDE2000]
    aims: Array
    # shape (n_blocks, n_castings, n_readings, n_held): slopes of what would be read, in units of its noise, by the
    # unknowns that a casting tells of
    readings: Array
    # shape (n_castings, n_held): which unknowns those are: of many pigments a casting holds few
    held: Index


def lesson(
    palette: Palette, targets: Sequence[tuple[Blend, Setting]], offered: Sequence[tuple[Blend, float]]
) -> Lesson:
    """Set up what castings, each a blend and a thickness [mm], would teach of the blends aimed at."""
    aims = _slopes_of_aims(palette, targets)
    if palette.read_as == "spectra":
        covariance = _per_wavelength(palette)
        held = _held(palette, [blend for blend, _ in offered])
        each = [_spectra(palette, *casting)[..., own] for casting, own in zip(offered, held, strict=True)]
        return Lesson(covariance, aims, np.moveaxis(np.stack(each), 2, 0), held)
    in_modes = np.einsum("awp,rwp->ar", aims, palette.modes, optimize=True)[:, None]
    colours = np.stack([_colours(palette, *casting) for casting in offered])[None]
    n_modes = palette.modes.shape[0]
    held = np.tile(np.arange(n_modes), (len(offered), 1))
    return Lesson(np.eye(n_modes)[None], in_modes, colours, held)


def _held(palette: Palette, blends: Sequence[Blend]) -> Index:
    """The k, s, m and q of the components of each blend, shape (n_blends, n_held); of fewer components others too."""
    shares = np.stack([palette.shares(blend.base, palette.loadings(blend)) for blend in blends])
    count = int((shares != 0.0).sum(axis=1).max())
    components = np.argsort(shares == 0.0, axis=1, kind="stable")[:, :count]
    return np.concatenate([components + kind * shares.shape[1] for kind in range(4)], axis=1)


def _per_wavelength(palette: Palette) -> Array:
    """Covariance of k, s, m and q at each wavelength, shape (n_wavelengths, 4 n_components, 4 n_components)."""
    n = len(palette.k)
    lift = np.zeros((palette.wavelengths.size, 4 * n, 2 * n))
    each = np.arange(2 * n)
    lift[:, each, each] = 1.0
    for kind, by_s in enumerate(palette.by_s, start=2):
        lift[:, kind * n + each[:n], n + each[:n]] = by_s.T
    alone = lift @ palette.local @ np.swapaxes(lift, 1, 2)
    return np.asarray(alone + np.einsum("rwp,rwq->wpq", palette.modes, palette.modes))


def _slopes_of_aims(palette: Palette, targets: Sequence[tuple[Blend, Setting]]) -> Array:
    """Shape (3 n_blends, n_wavelengths, 4 n_components)."""
    rows = []
    for blend, setting in targets:
        share = palette.shares(blend.base, palette.loadings(blend))
        over = setting.behind(palette)
        seen = render(palette, share, base=blend.base, setting=setting, backings=(over,))
        lab, by_reading = colorimetry.lab_slopes(seen.reflectance[0], setting.viewing(palette))
        _, by_lab = colorimetry.difference_parts_slopes(lab, lab)
        outward = by_lab @ by_reading  # (3, n_wavelengths)
        gradient = np.concatenate([np.outer(slope, share) for slope in seen.slopes[0, :4]], axis=1)
        rows.append(outward[:, :, None] * gradient)
    return np.concatenate(rows)


def _seen(palette: Palette, blend: Blend, depth: float) -> tuple[Array, Array, Array, Array]:
    """Reflectances of a casting over the backings that swatches are read over, shape (n_backings, n_wavelengths).

    And their slopes: by unknowns, shape (n_backings, n_wavelengths, 4 n_components); by thickness; by all doses
    together, as a share of them.
    """
    share = palette.shares(blend.base, palette.loadings(blend))
    over = palette.pair or palette.read_over or ("none",)
    drawn = render(palette, share, base=blend.base, setting=Setting(thickness_mm=depth), backings=over)
    *by_mixed, by_d = np.moveaxis(drawn.slopes, 1, 0)
    by_theta = np.concatenate([slope[..., None] * share for slope in by_mixed], axis=-1)
    by_dose = sum(slope * each for slope, each in zip(by_mixed, forward.mix(palette.coefficients, share), strict=True))
    return drawn.reflectance, by_theta, by_d, by_dose


def _spectra(palette: Palette, blend: Blend, depth: float) -> Array:
    """Slopes of its spectra in units of their noise, shape (n_backings, n_wavelengths, 3 n_components)."""
    reflectance, by_theta, by_thickness, by_dose = _seen(palette, blend, depth)
    model_error = palette.model_error * np.maximum(reflectance, 0.0) ** (2.0 / 3.0)
    # Thickness and doses of the casting itself are not known either; what they blur is not learned.
    blur = (palette.instrument.thickness_error_mm * by_thickness) ** 2
    blur += (palette.instrument.dose_error_percent / 100.0 * by_dose) ** 2
    variance = palette.instrument.noise**2 + model_error**2 + blur
    return np.asarray(by_theta / np.sqrt(variance)[..., None])


def _colours(palette: Palette, blend: Blend, depth: float) -> Array:
    """Slopes of its colours in units of their noise, shape (3 n_backings, n_modes)."""
    reflectance, by_theta, by_thickness, by_dose = _seen(palette, blend, depth)
    instrument = palette.instrument
    light, observer = instrument.colours_for
    view = colorimetry.viewing(palette.wavelengths, light=light, observer=observer)
    _, by_share, by_reading = colorimetry.lab_share_slopes(reflectance, view)
    slopes = np.einsum("bcw,bwp,rwp->bcr", by_reading, by_theta, palette.modes, optimize=True)
    errors = (instrument.thickness_error_mm * by_thickness, instrument.dose_error_percent / 100.0 * by_dose)
    made = np.stack([np.einsum("bcw,bw->bc", by_reading, each).ravel() for each in errors], axis=-1)
    noise = instrument.noise**2 * by_share @ np.swapaxes(by_share, 1, 2)
    covariance = made @ made.T + (_LIGHTNESS * palette.model_error) ** 2 * np.eye(made.shape[0])
    for at, each in enumerate(noise):
        covariance[3 * at : 3 * at + 3, 3 * at : 3 * at + 3] += each
    return np.asarray(np.linalg.solve(np.linalg.cholesky(covariance), slopes.reshape(made.shape[0], -1)))


def error_of(known: Lesson) -> float:
    """Root mean square CIEDE2000 that the palette's own error makes of the blends aimed at [-]."""
    squared = np.einsum("awp,wpq,awq->", known.aims, known.covariance, known.aims, optimize=True)
    return float(np.sqrt(squared / (len(known.aims) / 3)))


def gains(known: Lesson) -> Array:
    """By how much each casting offered shrinks the sum of squared errors, shape (n_castings,)."""
    toward_all = np.einsum("awp,wpq->wqa", known.aims, known.covariance, optimize=True)
    size = known.covariance.shape[0] * known.held.shape[1] * toward_all.shape[2]
    step = max(AT_ONCE // size, 1)
    parts = [slice(first, first + step) for first in range(0, len(known.held), step)]
    return np.concatenate([_gains(known, toward_all, part) for part in parts])


def _gains(known: Lesson, toward_all: Array, part: slice) -> Array:
    """Of some castings; `toward_all` is what the covariance has of the aims, shape (n_blocks, n_unknowns, n_aims)."""
    held, readings = known.held[part], known.readings[:, part]
    toward = readings @ toward_all[:, held]
    own = known.covariance[:, held[:, :, None], held[:, None, :]]
    inner = readings @ own @ np.swapaxes(readings, -1, -2) + np.eye(readings.shape[2])
    return np.asarray(np.einsum("wnra,wnra->n", toward, np.linalg.solve(inner, toward)))


def after(known: Lesson, chosen: int) -> Lesson:
    """What is known once a casting has been poured and read."""
    slopes, held = known.readings[:, chosen], known.held[chosen]
    learned = known.covariance[:, :, held] @ np.swapaxes(slopes, 1, 2)
    inner = slopes @ learned[:, held] + np.eye(slopes.shape[1])
    return replace(known, covariance=known.covariance - learned @ np.linalg.solve(inner, np.swapaxes(learned, 1, 2)))
