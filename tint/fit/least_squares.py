"""Bounded least squares in two blocks: many small sets of unknowns (one a wavelength) and one set that they share.

Levenberg-Marquardt on the normal equations, the wavelengths' own unknowns eliminated by a Schur complement, so that
the cost grows with the number of wavelengths and not with its cube. Bounds are kept by projection: an unknown that
rests on its bound and would leave it is held there for the step.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Normal:
    """Normal equations of weighted residuals.

    Parameters
    ----------
    own : ndarray, shape (n_wavelengths, p, p)
    cross : ndarray, shape (n_wavelengths, p, q)
    shared : ndarray, shape (q, q)
        With the priors of the shared unknowns.
    own_pull : ndarray, shape (n_wavelengths, p)
        Minus half the gradient.
    shared_pull : ndarray, shape (q,)
    cost : float
    """

    own: Array
    cross: Array
    shared: Array
    own_pull: Array
    shared_pull: Array
    cost: float


@dataclass(frozen=True, eq=False)
class Prior:
    """Mean and standard deviation of theta before any reading, shape (n_wavelengths, p): so weak that it only speaks
    where no reading does, and keeps what nothing pins down from running away."""

    mean: Array
    sd: Array


@dataclass(frozen=True, eq=False)
class Solution:
    """Where the search ended."""

    theta: Array
    shared: Array
    cost: float
    steps: int


def normal_equations(
    residual: Array, by_theta: Array, by_own: Array, *, own: Index, group: Index, shared: Array
) -> Normal:
    """Normal equations from weighted residuals and slopes, and a unit normal prior on each shared unknown.

    Parameters
    ----------
    residual : ndarray, shape (n_wavelengths, n_readings)
        Read minus predicted, in standard deviations.
    by_theta : ndarray, shape (n_wavelengths, n_readings, p)
        Slopes of the predictions by each wavelength's own unknowns, in the same units.
    by_own : ndarray, shape (n_wavelengths, n_readings, n_slots)
        Slopes by those shared unknowns that a reading depends on at all.
    own : ndarray of int, shape (n_groups, n_slots)
        Which shared unknown each slot of a group is; q for an empty slot. No unknown is in two groups.
    group : ndarray of int, shape (n_readings,)
        The group of each reading, rising.
    shared : ndarray, shape (q,)
    """
    q = shared.size
    present, first = np.unique(group, return_index=True)
    at = own[present]
    transposed = np.swapaxes(by_theta, 1, 2)
    cross = np.zeros((*by_theta.shape[::2], q + 1))
    mixed = np.add.reduceat(by_theta[..., None] * by_own[..., None, :], first, axis=1)
    cross[:, :, at.ravel()] = np.moveaxis(mixed, 1, 2).reshape(*mixed.shape[::2], -1)
    block, pull = np.zeros((q + 1, q + 1)), np.zeros(q + 1)
    by_reading = np.einsum("wmu,wmv->muv", by_own, by_own)
    block[at[:, :, None], at[:, None, :]] = np.add.reduceat(by_reading, first, axis=0)
    pull[at] = np.add.reduceat(np.einsum("wmu,wm->mu", by_own, residual), first, axis=0)
    return Normal(
        own=transposed @ by_theta,
        cross=cross[..., :q],
        shared=block[:q, :q] + np.eye(q),
        own_pull=(transposed @ residual[..., None])[..., 0],
        shared_pull=pull[:q] - shared,
        cost=float(np.sum(residual**2) + np.sum(shared**2)),
    )


def minimise(
    equations: Callable[[Array, Array], Normal],
    theta: Array,
    shared: Array,
    *,
    most_steps: int = 60,
    tolerance: float = 1e-7,
) -> Solution:
    """Least squares over theta >= 0 and the shared unknowns.

    Parameters
    ----------
    equations : callable
        (theta, shared) to the normal equations there.
    theta, shared : ndarray, shapes (n_wavelengths, p) and (q,)
        Where to start.
    tolerance : float
        Stop when a step gains less than this share of the cost.
    """
    damping = 1e-3
    here = equations(theta, shared)
    for step in range(most_steps):
        d_theta, d_shared = _step(here, theta, damping)
        new_theta, new_shared = np.maximum(theta + d_theta, 0.0), shared + d_shared
        there = equations(new_theta, new_shared)
        if not there.cost < here.cost:
            damping *= 8.0
            if damping > 1e9:
                return Solution(theta, shared, here.cost, step)
            continue
        gain = (here.cost - there.cost) / max(here.cost, 1e-300)
        theta, shared, here = new_theta, new_shared, there
        damping = max(damping / 6.0, 1e-12)
        if gain < tolerance:
            return Solution(theta, shared, here.cost, step + 1)
    return Solution(theta, shared, here.cost, most_steps)


def _step(normal: Normal, theta: Array, damping: float) -> tuple[Array, Array]:
    free = ~((theta <= 0.0) & (normal.own_pull <= 0.0))
    own = np.where(free[..., :, None] & free[..., None, :], normal.own, 0.0)
    diagonal = np.einsum("wpp->wp", own)
    size = np.where(diagonal > 0.0, diagonal, 1.0)
    own = own + np.eye(theta.shape[1]) * (damping * size + np.where(free, 1e-12 * size, 1.0))[..., None, :]
    cross = np.where(free[..., None], normal.cross, 0.0)
    pull = np.where(free, normal.own_pull, 0.0)
    solved = np.linalg.solve(own, np.concatenate((cross, pull[..., None]), axis=-1))
    by_shared, alone = solved[..., :-1], solved[..., -1]
    flat = cross.reshape(-1, cross.shape[-1])
    schur = normal.shared + damping * np.diag(np.diag(normal.shared)) - flat.T @ by_shared.reshape(flat.shape)
    d_shared = np.linalg.solve(schur, normal.shared_pull - flat.T @ alone.ravel())
    return alone - by_shared @ d_shared, d_shared


def with_prior(normal: Normal, theta: Array, prior: Prior) -> Normal:
    """Normal equations with a prior on theta added."""
    weight = prior.sd**-2.0
    away = theta - prior.mean
    return replace(
        normal,
        own=normal.own + np.eye(theta.shape[1]) * weight[..., None, :],
        own_pull=normal.own_pull - weight * away,
        cost=normal.cost + float(np.sum(weight * away**2)),
    )


def covariance(normal: Normal, prior: Prior) -> tuple[Array, Array]:
    """Covariance of theta at a solution, split into what each wavelength has alone and what all share.

    Parameters
    ----------
    normal : Normal
        With the prior in it.

    Returns
    -------
    local : ndarray, shape (n_wavelengths, p, p)
    modes : ndarray, shape (r, n_wavelengths, p)
        The shared part is the sum over r of the outer products.
    """
    # In units of the prior, so that unknowns of very different size do not spoil the inverse.
    local = prior.sd[..., :, None] * np.linalg.inv(_in_units(normal.own, prior.sd)) * prior.sd[..., None, :]
    by_shared = local @ normal.cross
    flat = normal.cross.reshape(-1, normal.shared.shape[0])
    schur = normal.shared - flat.T @ by_shared.reshape(flat.shape)
    # Eigenvectors of the shared covariance; those that move theta least are left out.
    values, vectors = np.linalg.eigh(0.5 * (schur + schur.T))
    modes = np.moveaxis(by_shared @ (vectors / np.sqrt(np.maximum(values, 1e-9))), -1, 0)
    scale = np.sqrt(np.einsum("wpp->wp", local))
    return np.asarray(local), compress(modes, scale)


def _in_units(matrix: Array, unit: Array) -> Array:
    return unit[..., :, None] * matrix * unit[..., None, :]


def compress(modes: Array, scale: Array, *, kept: float = 0.9995) -> Array:
    """Fewest modes, shape (r, ...), whose outer products sum to (nearly) those of all, measured in `scale`."""
    if not modes.any():  # no thickness or dose is in doubt
        return modes[:0]
    flat = (modes / scale).reshape(modes.shape[0], -1)
    values, vectors = np.linalg.eigh(flat @ flat.T)
    order = np.argsort(values)[::-1]
    share = np.cumsum(values[order]) / max(values.sum(), 1e-300)
    count = int(np.searchsorted(share, kept)) + 1
    turned = vectors[:, order[:count]].T @ modes.reshape(modes.shape[0], -1)
    return np.asarray(turned.reshape(count, *modes.shape[1:]))
