"""Normal equations of a fit, each casting's own unknowns eliminated one casting at a time.

The readings of a casting depend on what all castings share only through its K, S and M, and on its own thickness and
doses. So each casting adds ``c c^T (x) (G - D A^-1 D^T)`` to the normal matrix of the components' coefficients: c the
mixing law's shares, G what its readings say of K, S and M, A of its own unknowns, D of both. Only then the coefficients
are chained to the unknowns: k, s, the anisotropies, the indices, the lobe and the spot's share. The cost grows with the
number of castings, and not faster.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.fitting.problem import Problem, Shown, Unknowns
from tint.forward import SHAPES

Array = NDArray[np.float64]
Index = NDArray[np.int64]

_TOGETHER = 3_000_000  # numbers held at once while castings are summed: what memory the sum takes


@dataclass(frozen=True, eq=False)
class Parts:
    """What the readings of every casting say, in units of their noise.

    Parameters
    ----------
    share : ndarray, shape (n_castings, n_components)
    alone : ndarray, shape (n_castings, 3, 3, n_wavelengths)
        Information on K, S and M at each wavelength.
    with_shape : ndarray, shape (n_castings, 3 n_wavelengths + SHAPES, SHAPES)
        Between K, S, M and the shape, and within the shape: the index, the lobe and the spot.
    with_own : ndarray, shape (n_castings, 3 n_wavelengths + SHAPES, n_slots)
        Between K, S, M, the shape, and its own unknowns.
    own : ndarray, shape (n_castings, n_slots, n_slots)
        Of its own unknowns, their prior included.
    pull : ndarray, shape (n_castings, 3 n_wavelengths + SHAPES)
        Minus half the gradient by K, S, M and the shape.
    own_pull : ndarray, shape (n_castings, n_slots)
    cost : float
        Sum of squares, the priors of the castings' own unknowns included.
    """

    share: Array
    alone: Array
    with_shape: Array
    with_own: Array
    own: Array
    pull: Array
    own_pull: Array
    cost: float


def parts(problem: Problem, at: Unknowns, shown: Shown, *, weight: Array) -> Parts:
    """Gather what every casting's readings say.

    Parameters
    ----------
    weight : ndarray, shape (n_readings, n_wavelengths)
        One over the standard deviation of each value.
    """
    first, n, wide = problem.first, problem.thickness.size, problem.n_wavelengths
    residual = (problem.read - shown.values) * weight
    mixed, by_own, by_shape = shown.by_mixed * weight, shown.by_own * weight, shown.by_shape * weight

    def per_casting(values: Array) -> Array:
        """Sums over readings, which are the last axis but one."""
        return np.asarray(np.add.reduceat(values, first, axis=-2))

    # Index, lobe and spot count as coefficients of the base, whose share the sum over castings will multiply them by.
    base_share = np.maximum(shown.share[np.arange(n), problem.base], 1e-6)[problem.readings.casting, None]
    by_shape = by_shape / base_share
    alone = per_casting(mixed[:, None] * mixed[None])  # (3, 3, n, W)
    cross = per_casting(mixed[:, None] * by_shape)  # (3, SHAPES, n, W)
    of_shape = per_casting(by_shape[:, None] * by_shape).sum(axis=-1)  # (SHAPES, SHAPES, n)
    shape_own = per_casting(by_shape[:, None] * by_own).sum(axis=-1)  # (SHAPES, slots, n)
    with_own = per_casting(mixed[:, None] * by_own[None])  # (3, slots, n, W)
    own = per_casting(by_own[:, None] * by_own[None]).sum(axis=-1)  # (slots, slots, n)
    pull = per_casting(mixed * residual)  # (3, n, W)
    flat = cross.transpose(2, 0, 3, 1).reshape(n, 3 * wide, SHAPES)
    return Parts(
        share=shown.share,
        alone=np.moveaxis(alone, 2, 0),
        with_shape=np.concatenate((flat, of_shape.transpose(2, 0, 1)), axis=1),
        with_own=np.concatenate(
            (with_own.transpose(2, 0, 3, 1).reshape(n, 3 * wide, -1), shape_own.transpose(2, 0, 1)), axis=1
        ),
        own=np.moveaxis(own, 2, 0) + np.eye(problem.n_slots),
        pull=np.concatenate(
            (
                np.moveaxis(pull, 1, 0).reshape(n, 3 * wide),
                per_casting(by_shape * residual).sum(axis=-1).T,
            ),
            axis=1,
        ),
        own_pull=per_casting(by_own * residual).sum(axis=-1).T - at.own,
        cost=float(np.sum(residual**2) + np.sum(at.own**2)),
    )


@dataclass(frozen=True, eq=False)
class Normal:
    """Normal equations of what all castings share, in a row: k, s, a and b of each component, the shape.

    Parameters
    ----------
    matrix : ndarray, shape (n, n)
    pull : ndarray, shape (n,)
        Minus half the gradient.
    """

    matrix: Array
    pull: Array


def reduced(each: Parts, damping: float = 0.0) -> tuple[Array, Array]:
    """A^-1 D^T, shape (n_castings, n_slots, 3 W + SHAPES), and A^-1 a, shape (n_castings, n_slots)."""
    diagonal = np.einsum("nii->ni", each.own)
    damped = each.own + damping * np.eye(each.own.shape[1]) * diagonal[:, None, :]
    right = np.concatenate((np.swapaxes(each.with_own, 1, 2), each.own_pull[..., None]), axis=2)
    solved = np.linalg.solve(damped, right)
    return solved[..., :-1], solved[..., -1]


def normal(
    problem: Problem, shown: Shown, each: Parts, *, damping: float = 0.0, castings: Index | None = None
) -> Normal:
    """Sum over castings (all, or those picked) and chain to the unknowns."""
    picked = np.arange(problem.thickness.size) if castings is None else castings
    per, alone = reduced(each, damping)
    n, wide = problem.n_components, problem.n_wavelengths
    size = 3 * wide + SHAPES
    upper, lower = np.triu_indices(n)
    summed = np.zeros((upper.size, size * size))
    rows = np.arange(3 * wide).reshape(3, wide)
    together = max(1, _TOGETHER // size**2)
    for start in range(0, picked.size, together):
        some = picked[start : start + together]
        share = each.share[some]
        block = -(each.with_own[some] @ per[some])
        for i in range(3):
            for j in range(3):
                block[:, rows[i], rows[j]] += each.alone[some, i, j]
        block[:, :, -SHAPES:] += each.with_shape[some]
        block[:, -SHAPES:, :-SHAPES] += np.swapaxes(each.with_shape[some, :-SHAPES], 1, 2)
        summed += (share[:, upper] * share[:, lower]).T @ block.reshape(some.size, -1)
    pull = np.einsum(
        "np,nx->px", each.share[picked], (each.pull - np.einsum("nxu,nu->nx", each.with_own, alone))[picked]
    )
    pairs = np.empty((n, n, size, size))
    pairs[upper, lower] = summed.reshape(-1, size, size)
    pairs[lower, upper] = np.swapaxes(pairs[upper, lower], 1, 2)
    half = chain(problem, shown, pairs.transpose(0, 2, 1, 3).reshape(n, size, n * size))
    whole = chain(problem, shown, np.ascontiguousarray(half.T).reshape(n, size, -1))
    return Normal(0.5 * (whole + whole.T), chain(problem, shown, pull[..., None])[:, 0])


def chain(problem: Problem, shown: Shown, rows: Array) -> Array:
    """From slopes by every component's coefficients to slopes by the unknowns.

    Parameters
    ----------
    rows : ndarray, shape (n_components, 3 W + SHAPES, any)

    Returns
    -------
    ndarray, shape (2 n_components W + 2 n_components + n_bases + 2, any)
    """
    n, wide, last = rows.shape[0], problem.n_wavelengths, rows.shape[2]
    by_k, by_s, by_m = (rows[:, i * wide : (i + 1) * wide] for i in range(3))
    by_bend = np.einsum("bpw,pwx->pbx", shown.m_by_bend, by_m, optimize=True)
    return np.concatenate(
        (
            by_k.reshape(n * wide, last),
            (by_s + shown.m_by_s[..., None] * by_m).reshape(n * wide, last),
            by_bend.reshape(2 * n, last),
            rows[: len(problem.optics), 3 * wide],
            rows[: len(problem.optics), 3 * wide + 1 :].sum(axis=0),
        )
    )


def own_step(problem: Problem, shown: Shown, each: Parts, step: Array, damping: float) -> Array:
    """The castings' own step that goes with a step of what they share, shape (n_castings, n_slots)."""
    per, alone = reduced(each, damping)
    moved = np.einsum("np,px->nx", each.share, unchain(problem, shown, step))
    return np.asarray(alone - np.einsum("nux,nx->nu", per, moved))


def unchain(problem: Problem, shown: Shown, step: Array) -> Array:
    """Change of every component's coefficients, shape (n_components, 3 W + SHAPES), with a step of the unknowns."""
    n, wide, bases = problem.n_components, problem.n_wavelengths, len(problem.optics)
    k, s = step[: 2 * n * wide].reshape(2, n, wide)
    bend = step[2 * n * wide : 2 * n * wide + 2 * n].reshape(n, 2)
    m = shown.m_by_s * s + np.einsum("bpw,pb->pw", shown.m_by_bend, bend)
    of_shape = step[2 * n * wide + 2 * n :]
    shape = np.zeros((n, SHAPES))
    shape[:bases, 0], shape[:bases, 1:] = of_shape[:bases], of_shape[bases:]
    return np.concatenate((k, s, m, shape), axis=1)


# Positive matrices of unknowns of very different size: solved and inverted in units of their own diagonal.


_ROUNDING = 1e-10  # share of the largest eigenvalue below which one is rounding


def solve(matrix: Array, right: Array) -> Array:
    """Solve ``matrix x = right``; where rounding leaves the matrix not quite positive, by its pseudo-inverse.

    Parameters
    ----------
    matrix : ndarray, shape (n, n)
    right : ndarray, shape (n,) or (n, m)
    """
    from scipy.linalg import LinAlgError, cho_factor, cho_solve  # only fitting needs it

    scale = 1.0 / np.sqrt(np.maximum(np.diag(matrix), 1e-300))
    scaled = matrix * scale[:, None] * scale
    of_right = scale if right.ndim == 1 else scale[:, None]
    try:
        factor = cho_factor(scaled, lower=True, check_finite=False)
        return np.asarray(of_right * cho_solve(factor, of_right * right, check_finite=False))
    except LinAlgError:
        solved = np.linalg.pinv(scaled, rcond=_ROUNDING, hermitian=True) @ (of_right * right)
        return np.asarray(of_right * solved)


def inverse(matrix: Array) -> Array:
    """The inverse, symmetric to the last digit; shape (n, n)."""
    inverted = solve(matrix, np.eye(matrix.shape[0]))
    return np.asarray(0.5 * (inverted + inverted.T))
