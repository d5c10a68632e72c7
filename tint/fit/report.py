"""What a fit says of the swatches: how each one agrees, what ground they cover, what they leave undetermined."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.colorimetry import Viewing
from tint.fit.circumstances import circumstances
from tint.fit.least_squares import Prior
from tint.fit.problem import Problem
from tint.palette import Evidence, Seen, SwatchFit
from tint.swatches import SwatchFolder

Array = NDArray[np.float64]

_SUSPECT_WEIGHT = 0.4  # a swatch that counts for less than this is named
_SUSPECT_THICKNESS = 4.0  # standard deviations from its reading
_WIDE = 100.0
_LOOSE = 0.35  # relative error from which a coefficient counts as undetermined
_MATTERS = 0.05  # optical depth below which it does not matter


def mean_by(group: NDArray[np.int64], values: Array, count: int) -> Array:
    """Mean of `values` in each group, shape (count,); NaN for an empty group."""
    number = np.bincount(group, minlength=count)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.bincount(group, weights=values, minlength=count) / np.where(number, number, np.nan))


def swatch_fits(
    folder: SwatchFolder, problem: Problem, evidence: Evidence, shared: Array, weight: Array, *, view: Viewing
) -> tuple[SwatchFit, ...]:
    """How every swatch agrees with the fit, in the folder's order; colours as the view sees them."""
    count = problem.thickness.size
    away = colorimetry.difference(colorimetry.lab(evidence.read, view), colorimetry.lab(evidence.fitted, view))
    opaque = evidence.backing > -2
    delta_e = mean_by(problem.swatch[opaque], away[opaque], count)
    residual = np.sqrt(mean_by(problem.swatch, np.mean((evidence.read - evidence.fitted) ** 2, axis=1), count))
    shift = problem.instrument.thickness_error_mm * shared[:count]
    return tuple(
        SwatchFit(
            name=swatch.name,
            base=swatch.base,
            delta_e=float(delta_e[at]),
            residual=float(residual[at]),
            thickness_mm=swatch.thickness_mm,
            fitted_thickness_mm=float(swatch.thickness_mm + shift[at]),
            weight=float(weight[at]),
            suspect=_suspicion(float(weight[at]), float(shared[at]), swatch.thickness_mm + float(shift[at])),
        )
        for at, swatch in enumerate(folder.swatches)
        if np.isfinite(residual[at])
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
            circumstances=circumstances(swatch.conditions for swatch in swatches),
        )
    return result


def _largest_depth(problem: Problem) -> Array:
    """Largest share times thickness at which each component was cast, shape (n_components,) [mm, or mm %]."""
    n_bases = len(problem.optics)
    cast = np.isin(np.arange(problem.thickness.size), problem.swatch)
    bare = [np.max(problem.thickness, initial=0.0, where=cast & (problem.base == at)) for at in range(n_bases)]
    dosed = np.max(problem.loadings * problem.thickness[:, None], axis=0, initial=0.0, where=cast[:, None])
    return np.concatenate((bare, dosed))


def never_cast(problem: Problem) -> NDArray[np.bool_]:
    """Which columns of theta are of a base or pigment of which no casting was read, shape (2 n_components,)."""
    return np.tile(_largest_depth(problem) == 0.0, 2)


def prior(guess: Array, problem: Problem) -> Prior:
    """About the first guess, so wide that it only speaks where no reading does; shapes of theta.

    A hundred times what was guessed, and as much again as a hundred optical depths in the strongest casting: enough to
    keep what no reading pins down from running away, too little to be felt by anything that one does.
    """
    depth = np.tile(_largest_depth(problem), 2)
    return Prior(guess, _WIDE * (guess + 1.0 / np.where(depth > 0.0, depth, 1.0)))


def undetermined(folder: SwatchFolder, problem: Problem, theta: Array, spread: Array) -> tuple[str, ...]:
    """What the swatches do not say, in words: pigments never cast, coefficients that nothing pins down."""
    n_bases = len(problem.optics)
    names = [*folder.bases, *folder.pigments]
    depth = _largest_depth(problem)
    told = []
    for at, name in enumerate(names):
        kind = "base" if at < n_bases else "pigment"
        if depth[at] == 0.0:
            told.append(f"{kind} {name}: no swatch of it was read, so nothing is known of it")
            continue
        for block, (symbol, word) in enumerate((("k", "absorption"), ("s", "scattering"))):
            column = at + block * len(names)
            loose = spread[:, column] > np.maximum(_LOOSE * theta[:, column], _MATTERS / depth[at])
            if loose.mean() > 0.25:
                told.append(f"{kind} {name}: its {word} {symbol} is loose at {_span(folder.wavelengths[loose])}")
    return tuple(told)


def _span(wavelengths: Array) -> str:
    return f"{wavelengths.size} wavelengths from {wavelengths[0]:g} to {wavelengths[-1]:g} nm"
