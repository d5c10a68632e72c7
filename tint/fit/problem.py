"""A swatch folder as arrays, and the forward model of all its readings at once, with slopes.

The unknowns are of two kinds. `theta`, shape (n_wavelengths, 2 n_components), holds k then s at each wavelength.
`shared`, shape (n_shared,), holds what all wavelengths have in common: how far each casting's thickness is from its
reading and each dose from its weighing, both in units of their own standard deviation. A reading depends on few of
these, those of its own swatch, so slopes by them are kept in slots: the thickness first, then the doses.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.materials import Instrument
from tint.optics import layer
from tint.optics.layer import Optics
from tint.palette import shares
from tint.swatches import Reading, SwatchFolder

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
    own : ndarray of int, shape (n_swatches, n_slots)
        Where each swatch's thickness and doses stand in `shared`; n_shared for an empty slot.
    dosed : ndarray of int, shape (n_swatches, n_slots - 1)
        Which pigment each dose is of; any for an empty slot.
    dose : ndarray, shape (n_swatches, n_slots - 1)
        As written; 0 for an empty slot [%].
    swatch, backing : ndarray of int, shape (n_readings,)
        What each reading is of, swatch after swatch; the backing is TRANSMITTANCE or FREE where there is none.
    wet : ndarray of bool, shape (n_readings,)
    read : ndarray, shape (n_readings, n_wavelengths)
    backings : ndarray, shape (n_backings, n_wavelengths)
    optics : tuple of Optics
        One a base.
    """

    loadings: Array
    base: Index
    thickness: Array
    own: Index
    dosed: Index
    dose: Array
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
        return self.thickness.size + int(np.count_nonzero(self.dose))


@dataclass(frozen=True, eq=False)
class Forward:
    """Predicted readings, shape (n_readings, n_wavelengths), and their slopes by theta and shared unknowns.

    `by_theta` has shape (n_wavelengths, n_readings, 2 n_components), `by_own` (n_wavelengths, n_readings, n_slots).
    """

    predicted: Array
    by_theta: Array
    by_own: Array


def lay_out(folder: SwatchFolder, optics: tuple[Optics, ...]) -> Problem:
    """A folder as arrays."""
    pigments, bases = tuple(folder.pigments), tuple(folder.bases)
    loadings = np.array([[s.loadings.get(p, 0.0) for p in pigments] for s in folder.swatches], dtype=float)
    loadings = loadings.reshape(len(folder.swatches), len(pigments))
    number = {swatch.name: at for at, swatch in enumerate(folder.swatches)}
    backing_number = {name: at for at, name in enumerate(folder.backings)} | {"none": FREE}
    readings = in_order(folder)
    own, dosed = _slots(loadings)
    return Problem(
        loadings=loadings,
        base=np.array([bases.index(s.base) for s in folder.swatches], dtype=np.int64),
        thickness=np.array([s.thickness_mm for s in folder.swatches]),
        own=own,
        dosed=dosed,
        dose=np.take_along_axis(loadings, dosed, axis=1),
        swatch=np.array([number[r.swatch] for r in readings], dtype=np.int64),
        backing=np.array(
            [TRANSMITTANCE if r.quantity == "transmittance" else backing_number[r.backing] for r in readings],
            dtype=np.int64,
        ),
        wet=np.array([r.seat == "wet" for r in readings]),
        read=np.array([r.values for r in readings]),
        backings=np.array(list(folder.backings.values())).reshape(-1, folder.wavelengths.size),
        optics=optics,
        instrument=folder.instrument,
    )


def in_order(folder: SwatchFolder) -> list[Reading]:
    """The readings, swatch after swatch."""
    number = {swatch.name: at for at, swatch in enumerate(folder.swatches)}
    return sorted(folder.readings, key=lambda reading: number[reading.swatch])


def _slots(loadings: Array) -> tuple[Index, Index]:
    """`own` and `dosed` of `Problem`."""
    n_swatches = loadings.shape[0]
    has = loadings > 0.0
    n_doses = int(has.sum(axis=1).max(initial=0))
    dosed = np.argsort(~has, axis=1, kind="stable")[:, :n_doses]
    used = np.take_along_axis(has, dosed, axis=1)
    n_shared = n_swatches + int(used.sum())
    own = np.full((n_swatches, 1 + n_doses), n_shared, dtype=np.int64)
    own[:, 0] = np.arange(n_swatches)
    own[:, 1:][used] = np.arange(n_swatches, n_shared)
    return own, dosed.astype(np.int64)


def forward(problem: Problem, theta: Array, shared: Array) -> Forward:
    """Predict every reading, with slopes."""
    n_components = problem.n_components
    thickness_sd, dose_sd = problem.instrument.thickness_error_mm, problem.instrument.dose_error_percent / 100.0
    shift = np.append(shared, 0.0)[problem.own]
    doses = problem.dose * (1.0 + dose_sd * shift[:, 1:])
    loadings = np.zeros_like(problem.loadings)
    np.put_along_axis(loadings, problem.dosed, doses, axis=1)
    # A casting is never thinner than a hundredth of its reading, whatever a step of the search proposes.
    thickness = np.maximum(problem.thickness + thickness_sd * shift[:, 0], 0.01 * problem.thickness)
    share = mixing_shares(problem, loadings)
    k, s = theta[:, :n_components].T, theta[:, n_components:].T
    predicted, slopes = _read_all(problem, share @ k, share @ s, thickness)
    of = share[problem.swatch]
    by_k, by_s, by_thickness = np.swapaxes(slopes, 1, 2)  # each (n_wavelengths, n_readings)
    by_theta = np.concatenate((by_k[..., None] * of, by_s[..., None] * of), axis=-1)
    k_gain, s_gain = (_gain(problem, each)[:, problem.swatch] for each in (k, s))
    by_doses = dose_sd * (by_k[..., None] * k_gain + by_s[..., None] * s_gain)
    by_own = np.concatenate((thickness_sd * by_thickness[..., None], by_doses), axis=-1)
    return Forward(predicted, by_theta, by_own)


def _gain(problem: Problem, coefficient: Array) -> Array:
    """What each dose adds to K or S, shape (n_wavelengths, n_swatches, n_slots - 1): more pigment is less base."""
    n_bases = len(problem.optics)
    added = coefficient[n_bases + problem.dosed] - coefficient[problem.base][:, None] / 100.0
    return np.moveaxis(added * problem.dose[..., None], -1, 0)


def mixing_shares(problem: Problem, loadings: Array) -> Array:
    """c of the mixing law for every swatch, shape (n_swatches, n_components)."""
    n_bases = len(problem.optics)
    share = shares(0, n_bases, loadings)
    share[:, :n_bases] = 0.0
    share[np.arange(problem.base.size), problem.base] = 1.0 - loadings.sum(axis=1) / 100.0
    return share


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
