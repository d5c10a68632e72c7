"""What a fit says of the swatches: how each one agrees, what ground they cover, what they leave undetermined."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from tint import colorimetry
from tint.colorimetry import Viewing
from tint.fitting import priors
from tint.fitting.problem import Problem
from tint.fitting.unknowns import errors_written
from tint.forward import TRANSMITTANCE
from tint.palette import Circumstances, Evidence, Palette, Seen, SwatchFit
from tint.spectra import Array
from tint.swatches import Conditions, SwatchFolder
from tint.swatches.records import REGULAR

_SUSPECT_WEIGHT = 0.4  # a swatch that counts for less is named (common practice, no source)
_SUSPECT_THICKNESS = 4.0  # standard deviations from its reading; of 75 normal ones none is so far in 99 of 100 folders
_LEAST_BEAM = 0.01  # mean regular transmittance (common practice, no source)
_LOOSE = 0.35  # relative error from which a coefficient is called loose (common practice, no source)
_TAKEN = 0.8  # of what was doubted of g before any casting: more left is not learnt (common practice, no source)
_MATTERS = 0.05  # optical depth below which it does not matter: about 0.01 of reflectance


def swatch_fits(
    problem: Problem, evidence: Evidence, own: Array, weight: Array, *, folder: SwatchFolder, view: Viewing
) -> tuple[SwatchFit, ...]:
    """How every casting agrees with the fit, in the problem's order; colours as the view sees them.

    `own` holds the fitted scores of thickness and doses, shape (n_castings, n_slots); `weight` what each casting
    counts.
    """
    count, of = problem.thickness.size, problem.readings.casting
    away = colorimetry.difference(colorimetry.lab(evidence.read, view), colorimetry.lab(evidence.fitted, view))
    opaque = evidence.backing > TRANSMITTANCE
    number = np.bincount(of[opaque], minlength=count)
    total = np.bincount(of[opaque], weights=away[opaque], minlength=count)
    delta_e = np.where(number > 0, total / np.maximum(number, 1), np.nan)
    squared = np.mean((evidence.read - evidence.fitted) ** 2, axis=1)
    residual = np.sqrt(np.bincount(of, weights=squared, minlength=count) / np.bincount(of, minlength=count))
    thickness = problem.thickness * np.exp(errors_written(problem)[0] * own[:, 0])
    base = {swatch.name: swatch.base for swatch in folder.swatches}
    return tuple(
        SwatchFit(
            name=name,
            base=base[name],
            delta_e=float(delta_e[at]),
            residual=float(residual[at]),
            thickness_mm=float(problem.thickness[at]),
            fitted_thickness_mm=float(thickness[at]),
            weight=float(weight[at]),
            suspect=_suspicion(float(weight[at]), float(own[at, 0]), float(thickness[at])),
        )
        for at, name in enumerate(problem.names)
    )


def _suspicion(weight: float, shift: float, thickness: float) -> str:
    if weight < _SUSPECT_WEIGHT:
        return "the other swatches contradict it: check blend, dose, thickness and readings"
    if abs(shift) > _SUSPECT_THICKNESS:
        return f"its readings are those of {thickness:.2f} mm: measure its thickness again"
    return ""


def seen(folder: SwatchFolder) -> dict[str, Seen]:
    """What the swatches with readings covered, base by base."""
    read = {reading.swatch for reading in folder.readings}
    # A beam that hardly comes through says nothing.
    beams = {each.swatch for each in folder.readings if each.quantity == REGULAR and each.values.mean() > _LEAST_BEAM}
    result = {}
    for base in folder.bases:
        swatches = [s for s in folder.swatches if s.base == base and s.name in read]
        if not swatches:
            continue
        doses = [{p: x for p, x in s.loadings.items() if x > 0.0} for s in swatches]
        result[base] = Seen(
            thickness_mm=(min(s.thickness_mm for s in swatches), max(s.thickness_mm for s in swatches)),
            max_loading={p: max(d.get(p, 0.0) for d in doses) for p in folder.pigments if any(p in d for d in doses)},
            max_total=max(sum(d.values()) for d in doses),
            mixed=tuple(p for p in folder.pigments if any(p in d and len(d) > 1 for d in doses)),
            pairs=_pairs(folder, doses),
            beams=tuple(dict.fromkeys(name for s in swatches if s.name in beams for name in (base, *s.loadings))),
            circumstances=circumstances(swatch.conditions for swatch in swatches),
        )
    return result


def _pairs(folder: SwatchFolder, doses: list[dict[str, float]]) -> tuple[tuple[str, str], ...]:
    """Pigments that were cast together."""
    every = itertools.combinations(folder.pigments, 2)
    return tuple((one, other) for one, other in every if any(one in each and other in each for each in doses))


def undetermined(
    folder: SwatchFolder, problem: Problem, ks: Array, spread: Array, g_error: Array | None = None
) -> tuple[str, ...]:
    """What the swatches do not say, in words: pigments never cast, coefficients that nothing pins down.

    k and s and their spread, a standard deviation, are of shape (2, n_components, n_wavelengths); `g_error` of
    shape (n_components,) is absent where the anisotropies were not fitted.
    """
    n_bases, depth = len(problem.optics), problem.largest_depth
    names, told = [*folder.bases, *folder.pigments], []
    for at, name in enumerate(names):
        kind = "base" if at < n_bases else "pigment"
        if depth[at] == 0.0:
            told.append(f"{kind} {name}: no swatch of it was read, so nothing is known of it")
            continue
        for of, (symbol, word) in enumerate((("k", "absorption"), ("s", "scattering"))):
            loose = spread[of, at] > np.maximum(_LOOSE * ks[of, at], _MATTERS / depth[at])
            if loose.mean() > 0.25:
                told.append(f"{kind} {name}: its {word} {symbol} is hardly known at {_span(folder.wavelengths[loose])}")
    if g_error is not None:
        before = problem.anisotropy.middle_slope(np.zeros((len(names), 2)))
        scatters = ks[1].mean(axis=-1) * depth > _MATTERS
        taken = [name for at, name in enumerate(names) if scatters[at] and g_error[at] > _TAKEN * before[at] > 0.0]
        if taken:
            told.append(
                f"g of {', '.join(taken)} is taken from what is published of such materials, since these castings "
                "hardly show it; a casting 1 mm thin beside a thick one of the same blend, not hiding, or a "
                "transmittance reading, best a regular one, would"
            )
    return tuple(told)


def _span(wavelengths: Array) -> str:
    return f"{wavelengths.size} wavelengths from {wavelengths[0]:g} to {wavelengths[-1]:g} nm"


# What the castings of a base have in common in their cure, mould and age, and where they differ.


def circumstances(castings: Iterable[Conditions]) -> Circumstances:
    """The conditions of several castings as ranges and lists; what nobody wrote stays empty."""
    told = tuple(castings)
    return Circumstances(
        cure_c=_range(each.cure_c for each in told),
        days=_range(each.days for each in told),
        moulds=once(each.mould for each in told),
        finishes=once(each.finish for each in told),
        lots=once(each.lot for each in told),
    )


def once(words: Iterable[str]) -> tuple[str, ...]:
    """Words each once, as first written; blank ones not at all, and `Satin` is `satin`."""
    first: dict[str, str] = {}
    for word in words:
        if same(word):
            first.setdefault(same(word), word)
    return tuple(first.values())


def same(word: str) -> str:
    """What two spellings of one word share: neither capitals nor blanks tell words apart."""
    return " ".join(word.split()).casefold()


def _range(values: Iterable[float | None]) -> tuple[float, float] | None:
    known = [value for value in values if value is not None]
    return (min(known), max(known)) if known else None


# Pigments that are named but were never cast: no reading tells of them, so they take no part in the fit. They are
# independent of all else, as readings and priors have it, and so what was cast is found the same without them, in far
# less time. The palette has them by their priors alone.


def of_cast(folder: SwatchFolder) -> SwatchFolder:
    """The folder without the pigments of which no casting was read."""
    read = {reading.swatch for reading in folder.readings}
    cast = {name for each in folder.swatches if each.name in read for name, dose in each.loadings.items() if dose > 0.0}
    return replace(folder, pigments={name: each for name, each in folder.pigments.items() if name in cast})


def with_uncast(palette: Palette, folder: SwatchFolder, *, g: float | None = None) -> Palette:
    """The palette of what was cast, with the other pigments of the folder; `g` as of `tint.fitting.fit_palette`."""
    uncast = [name for name in folder.pigments if name not in palette.pigments]
    if not uncast:
        return palette
    wide, n_bases, n = palette.wavelengths.size, len(folder.bases), len(folder.bases) + len(folder.pigments)
    own = [at for at, name in enumerate(folder.pigments, start=n_bases) if name in palette.pigments]
    at = np.array([*range(n_bases), *own])
    prior = priors.anisotropy_prior(folder.bases.values(), folder.pigments.values(), palette.wavelengths, g=g)
    scores = np.zeros((n, priors.BENDS))
    likely, slopes = prior.g(scores)

    def beside(values: Array, otherwise: Array) -> Array:
        """Values of what was cast, its components first, among those of all."""
        whole = otherwise.copy()
        whole[at] = values
        return whole

    pairs = np.concatenate((at, at + n))
    local = np.tile(np.eye(2 * n) * priors.UNKNOWN_SD**2, (wide, 1, 1))
    local[:, pairs[:, None], pairs] = palette.local
    modes = np.zeros((len(palette.modes), wide, 4 * n))
    modes[..., np.concatenate([at + kind * n for kind in range(4)])] = palette.modes
    nothing = (f"pigment {name}: no swatch of it was read, so nothing is known of it" for name in uncast)
    return replace(
        palette,
        pigments=dict(folder.pigments),
        k=beside(palette.k, np.zeros((n, wide))),
        s=beside(palette.s, np.full((n, wide), priors.UNKNOWN_S)),
        g=beside(palette.g, likely),
        g_error=beside(palette.g_error, prior.middle_slope(scores)),
        second_moment=beside(palette.second_moment, prior.second(scores, likely, slopes)[0]),
        local=local,
        modes=modes,
        undetermined=(*nothing, *palette.undetermined),
    )
