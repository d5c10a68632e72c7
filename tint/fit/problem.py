"""A swatch folder as arrays, and the forward model of all its readings at once, with slopes.

The unknowns are of two kinds. `theta`, shape (n_wavelengths, 2 n_components), holds k then s at each wavelength.
`shared`, shape (n_swatches + n_doses,), holds what all wavelengths have in common: how far each casting's thickness
is from its reading and each dose from its weighing, both in units of their own standard deviation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.materials import Instrument
from tint.optics import layer
from tint.optics.layer import Optics
from tint.palette import shares
from tint.swatches import SwatchFolder

Array = NDArray[np.float64]
Index = NDArray[np.int64]

TRANSMITTANCE, FREE = -2, -1  # in place of a backing's index


@dataclass(frozen=True, eq=False)
class Problem:
    """What was cast and read.

    Parameters
    ----------
    loadings : ndarray, shape (n_swatches, n_pigments)
        [%]
    base : ndarray of int, shape (n_swatches,)
        Index of each swatch's base.
    thickness : ndarray, shape (n_swatches,)
        As written [mm].
    dose_swatch, dose_pigment : ndarray of int, shape (n_doses,)
        Which swatch and pigment each weighing belongs to.
    swatch, backing : ndarray of int, shape (n_readings,)
        What each reading is of; the backing is TRANSMITTANCE or FREE where there is none.
    wet : ndarray of bool, shape (n_readings,)
    read : ndarray, shape (n_readings, n_wavelengths)
    backings : ndarray, shape (n_backings, n_wavelengths)
    optics : tuple of Optics
        One a base.
    """

    loadings: Array
    base: Index
    thickness: Array
    dose_swatch: Index
    dose_pigment: Index
    swatch: Index
    backing: Index
    wet: NDArray[np.bool_]
    read: Array
    backings: Array
    optics: tuple[Optics, ...]
    instrument: Instrument

    @property
    def n_components(self) -> int:
        return len(self.optics) + int(self.loadings.shape[1])

    @property
    def n_shared(self) -> int:
        return self.thickness.size + self.dose_swatch.size


@dataclass(frozen=True, eq=False)
class Forward:
    """Predicted readings, shape (n_readings, n_wavelengths), and their slopes by theta and shared unknowns.

    `by_theta` has shape (n_wavelengths, n_readings, 2 n_components), `by_shared` (n_wavelengths, n_readings, n_shared).
    """

    predicted: Array
    by_theta: Array
    by_shared: Array


def lay_out(folder: SwatchFolder, optics: tuple[Optics, ...]) -> Problem:
    """A folder as arrays; swatches without readings are left out of nothing but the sums."""
    pigments, bases = tuple(folder.pigments), tuple(folder.bases)
    loadings = np.array([[s.loadings.get(p, 0.0) for p in pigments] for s in folder.swatches], dtype=float)
    loadings = loadings.reshape(len(folder.swatches), len(pigments))
    number = {swatch.name: at for at, swatch in enumerate(folder.swatches)}
    backing_number = {name: at for at, name in enumerate(folder.backings)} | {"none": FREE}
    dose_swatch, dose_pigment = np.nonzero(loadings)
    return Problem(
        loadings=loadings,
        base=np.array([bases.index(s.base) for s in folder.swatches], dtype=np.int64),
        thickness=np.array([s.thickness_mm for s in folder.swatches]),
        dose_swatch=dose_swatch.astype(np.int64),
        dose_pigment=dose_pigment.astype(np.int64),
        swatch=np.array([number[r.swatch] for r in folder.readings], dtype=np.int64),
        backing=np.array(
            [TRANSMITTANCE if r.quantity == "transmittance" else backing_number[r.backing] for r in folder.readings],
            dtype=np.int64,
        ),
        wet=np.array([r.seat == "wet" for r in folder.readings]),
        read=np.array([r.values for r in folder.readings]),
        backings=np.array(list(folder.backings.values())).reshape(-1, folder.wavelengths.size),
        optics=optics,
        instrument=folder.instrument,
    )


def forward(problem: Problem, theta: Array, shared: Array) -> Forward:
    """Predict every reading, with slopes."""
    n_components, n_swatches = problem.n_components, problem.thickness.size
    thickness_sd, dose_sd = (
        problem.instrument.thickness_error_mm,
        problem.instrument.dose_error_percent / 100.0,
    )
    loadings = problem.loadings.copy()
    loadings[problem.dose_swatch, problem.dose_pigment] *= 1.0 + dose_sd * shared[n_swatches:]
    # A casting is never thinner than a hundredth of its reading, whatever a step of the search proposes.
    thickness = np.maximum(problem.thickness + thickness_sd * shared[:n_swatches], 0.01 * problem.thickness)
    share = mixing_shares(problem, loadings)
    k, s = theta[:, :n_components].T, theta[:, n_components:].T
    predicted, slopes = _read_all(problem, share @ k, share @ s, thickness)
    of = share[problem.swatch]
    by_k, by_s, by_thickness = np.swapaxes(slopes, 1, 2)  # each (n_wavelengths, n_readings)
    by_theta = np.concatenate((by_k[..., None] * of, by_s[..., None] * of), axis=-1)
    by_shared = np.zeros((*by_k.shape, problem.n_shared))
    rows = np.arange(problem.swatch.size)
    by_shared[:, rows, problem.swatch] = thickness_sd * by_thickness
    _slope_by_doses(problem, by_shared[..., n_swatches:], k, s, by_k, by_s, dose_sd)
    return Forward(predicted, by_theta, by_shared)


def mixing_shares(problem: Problem, loadings: Array) -> Array:
    """c of the mixing law for every swatch, shape (n_swatches, n_components)."""
    n_bases = len(problem.optics)
    share = shares(0, n_bases, loadings)
    share[:, :n_bases] = 0.0
    share[np.arange(problem.base.size), problem.base] = 1.0 - loadings.sum(axis=1) / 100.0
    return share


def _slope_by_doses(problem: Problem, out: Array, k: Array, s: Array, by_k: Array, by_s: Array, dose_sd: float) -> None:
    """Fill `out`, shape (n_wavelengths, n_readings, n_doses): more of a pigment is less of the base."""
    n_bases = len(problem.optics)
    reading, dose = np.nonzero(problem.swatch[:, None] == problem.dose_swatch[None, :])
    at_swatch, pigment = problem.dose_swatch[dose], problem.dose_pigment[dose]
    base = problem.base[at_swatch]
    amount = dose_sd * problem.loadings[at_swatch, pigment]
    k_gain = (k[n_bases + pigment] - k[base] / 100.0).T * amount
    s_gain = (s[n_bases + pigment] - s[base] / 100.0).T * amount
    out[:, reading, dose] = by_k[:, reading] * k_gain + by_s[:, reading] * s_gain


def _read_all(problem: Problem, K: Array, S: Array, thickness: Array) -> tuple[Array, Array]:
    """Every reading, shape (n_readings, n_wavelengths), and slopes by K, S and thickness, shape (3, ...)."""
    predicted = np.empty_like(problem.read)
    slopes = np.empty((3, *problem.read.shape))
    kind = np.where(problem.backing < 0, problem.backing, problem.wet.astype(np.int64))
    base = problem.base[problem.swatch]
    for number, optics in enumerate(problem.optics):
        for each in np.unique(kind[base == number]):
            rows = np.flatnonzero((base == number) & (kind == each))
            at = problem.swatch[rows]
            d = thickness[at, None]
            if each == TRANSMITTANCE:
                predicted[rows], slopes[:, rows] = layer.transmittance_slopes(K[at], S[at], thickness=d, optics=optics)
                continue
            backing = None if each == FREE else problem.backings[problem.backing[rows]]
            predicted[rows], slopes[:, rows] = layer.reflectance_slopes(
                K[at], S[at], thickness=d, backing=backing, seat="wet" if each == 1 else "air", optics=optics
            )
    return predicted, slopes
