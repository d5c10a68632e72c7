"""How far each swatch is from what all the others foretell of it, and how far that may be by the stated errors.

Every swatch leaves in turn, by linear algebra in place of a fit. All its readings at all wavelengths leave together
with its thickness and doses, which tie them: what remains foretells it from the thickness and doses as written.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tint import colorimetry
from tint.examine.finding import Index, noise
from tint.fit.problem import Forward, Problem, forward, lay_out
from tint.palette import Palette
from tint.spectra import Array
from tint.swatches import COLOURS, Swatch, SwatchFolder

# Of a swatch's part in a direction that it alone holds up; beyond it a miss cannot be told from rounding.
_ALONE = 0.98


@dataclass(frozen=True, eq=False)
class Foretold:
    """One swatch without which the rest were fitted.

    Parameters
    ----------
    at : int
        Its place in the folder's swatches.
    rows : ndarray of int, shape (n_readings,)
        Its readings in the palette's evidence.
    missed : ndarray, shape (n_readings, n_wavelengths)
        Read less foretold [-].
    covariance : ndarray, shape (n_readings * n_wavelengths, ) twice
        Of what is missed, by the errors of the palette, of its casting and of its reading.
    slopes : ndarray, shape (n_slots, n_readings, n_wavelengths)
        By its thickness and then its doses, in units of their standard deviation.
    """

    at: int
    rows: Index
    missed: Array
    covariance: Array
    slopes: Array


@dataclass(frozen=True)
class LeftOut:
    """Root mean square CIEDE2000 of reflectance readings against what the others foretell.

    In D65 for the 10 degree observer; of a folder of colours in its own light and for its own observer.
    """

    swatches: Mapping[str, float]
    pigments: Mapping[str, float]


def left_out(folder: SwatchFolder, palette: Palette) -> LeftOut:
    """Leave-one-out error of every swatch, and of every pigment over the swatches that hold it; worst first."""
    squared = _from_evidence(palette) if folder.kind == COLOURS else _from_spectra(folder, palette)
    held = {
        pigment: [squared[s.name] for s in folder.swatches if pigment in s.loadings and s.name in squared]
        for pigment in folder.pigments
    }
    by_pigment = {pigment: float(np.mean(found)) for pigment, found in held.items() if found}
    return LeftOut(_worst_first(squared), _worst_first(by_pigment))


def _from_evidence(palette: Palette) -> dict[str, float]:
    """Mean square miss of every swatch that was read as a colour, as the fit foretold it from the others."""
    evidence = palette.evidence
    return {
        swatch.name: float(np.mean(evidence.missed[evidence.swatch == at]))
        for at, swatch in enumerate(palette.swatches)
        if np.any(evidence.swatch == at)
    }


def _from_spectra(folder: SwatchFolder, palette: Palette) -> dict[str, float]:
    view = colorimetry.viewing(folder.wavelengths)
    squared: dict[str, float] = {}
    for each in foretell(folder, palette):
        read = palette.evidence.read[each.rows]
        seen = palette.evidence.backing[each.rows] >= -1
        if seen.any():
            lab = colorimetry.lab(np.maximum(read[seen], 0.0), view)
            away = colorimetry.difference(colorimetry.lab(np.maximum(read - each.missed, 0.0)[seen], view), lab)
            squared[folder.swatches[each.at].name] = float(np.mean(away**2))
    return squared


def _worst_first(squared: Mapping[str, float]) -> dict[str, float]:
    return {name: value**0.5 for name, value in sorted(squared.items(), key=lambda item: -item[1])}


def foretell(folder: SwatchFolder, palette: Palette) -> Iterator[Foretold]:
    """Every swatch that was read and holds nothing that no other holds, left out in turn.

    Notes
    -----
    Let r be what the palette misses of a swatch at its written thickness and doses, H the palette's covariance carried
    to its readings, and R the covariance with which it entered the fit: noise and misfit, and the errors of thickness
    and doses. Without it, r becomes ``R (R - H)^-1 r`` and H ``R (R - H)^-1 H`` (the information of one group of
    observations subtracted; Cook and Weisberg 1982, Residuals and Influence in Regression, 2.2; from memory).
    """
    problem = lay_out(folder, tuple(palette.optics(base) for base in palette.bases))
    theta = np.concatenate((palette.k, palette.s)).T
    at = forward(problem, theta, np.zeros(problem.n_shared))
    weight = {swatch.name: swatch.weight for swatch in palette.swatches}
    for number, swatch in enumerate(folder.swatches):
        # What a swatch alone shows of a pigment or base is contradicted by nothing.
        others = [each for each in folder.swatches if each.name in weight and each is not swatch]
        if swatch.name in weight and _is_known(swatch, others):
            yield _foretold(problem, at, palette, number, max(weight[swatch.name], 1e-6))


def _is_known(swatch: Swatch, others: Sequence[Swatch]) -> bool:
    pigments = {name for name, dose in swatch.loadings.items() if dose > 0.0}
    seen = {name for each in others for name, dose in each.loadings.items() if dose > 0.0}
    return pigments <= seen and any(each.base == swatch.base for each in others)


def _foretold(problem: Problem, at: Forward, palette: Palette, number: int, weight: float) -> Foretold:
    rows = np.flatnonzero(problem.swatch == number)
    size = (rows.size, problem.read.shape[1])
    slopes = np.moveaxis(at.by_own[:, rows], 2, 0).swapaxes(1, 2)  # (n_slots, n_readings, n_wavelengths)
    made = slopes.reshape(slopes.shape[0], -1)
    variance = noise(problem.instrument) ** 2 + (
        palette.misfit**2 * np.maximum(palette.evidence.fitted[rows], 0.0) ** (4.0 / 3.0)
    )
    entered = np.diag(variance.ravel() / weight) + made.T @ made
    miss = (problem.read[rows] - at.predicted[rows]).ravel()
    half = np.asarray(np.linalg.cholesky(entered), dtype=float)
    white = np.linalg.solve(half, np.linalg.solve(half, _carried(at, palette, rows)).T)
    parts, basis = np.linalg.eigh(0.5 * (white + white.T))
    parts = np.clip(parts, 0.0, _ALONE)
    turned = half @ basis
    missed = turned @ ((basis.T @ np.linalg.solve(half, miss)) / (1.0 - parts))
    of_palette = (turned * (parts / (1.0 - parts))) @ turned.T
    # Noise, and what the model misses, may run through all wavelengths of a reading as well as be each value's own.
    common = np.einsum("ab,aw->abw", np.eye(rows.size), np.sqrt(variance)).reshape(rows.size, -1)
    covariance = of_palette + np.diag(variance.ravel()) + made.T @ made + common.T @ common
    return Foretold(number, rows, missed.reshape(size), covariance, slopes)


def _carried(at: Forward, palette: Palette, rows: Index) -> Array:
    """The palette's covariance carried to these readings, all wavelengths of all of them."""
    own = at.by_theta[:, rows]  # (n_wavelengths, n_readings, 2 n_components)
    n_wavelengths, n_readings = own.shape[:2]
    alone = np.einsum("wap,wpq,wbq->abw", own, palette.local, own, optimize=True)
    common = np.einsum("wap,rwp->raw", own, palette.modes, optimize=True).reshape(-1, n_readings * n_wavelengths)
    result = np.zeros((n_readings, n_wavelengths, n_readings, n_wavelengths))
    each = np.arange(n_wavelengths)
    result[:, each, :, each] = np.moveaxis(alone, 2, 0)
    return np.asarray(result.reshape(common.shape[1], common.shape[1]) + common.T @ common)
