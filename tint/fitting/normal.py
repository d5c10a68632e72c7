"""Normal equations of a fit: a chain of wavelengths with a border of what they share.

The k and s of one wavelength meet those of another only through the smoothness of s, which reaches two wavelengths on,
through the level of s, and through what all wavelengths share: the phase functions, the shape (indices, spot), and
each casting's own thickness and doses. `tint.fitting.chain` solves equations of this form at a cost that grows with
the cube of the components, not with that of components times wavelengths.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.fitting.priors import BENDS
from tint.fitting.problem import Problem
from tint.fitting.unknowns import Shown, Unknowns
from tint.forward import SHAPES
from tint.spectra import Array

Index = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Parts:
    """What the readings of every casting say, in units of their noise."""

    share: Array  # shape (n_castings, n_components)
    alone: Array  # shape (n_castings, 4, 4, n_wavelengths): information on K, S, M and Q at each wavelength
    # shape (n_castings, 4, n_wavelengths, SHAPES): between K, S, M, Q and the shape: the index and the spot
    with_shape: Array
    of_shape: Array  # shape (n_castings, SHAPES, SHAPES)
    with_own: Array  # shape (n_castings, 4, n_wavelengths, n_slots): between K, S, M, Q and its own unknowns
    shape_own: Array  # shape (n_castings, SHAPES, n_slots)
    own: Array  # shape (n_castings, n_slots, n_slots): of its own unknowns, their prior included
    pull: Array  # shape (n_castings, 4, n_wavelengths): minus half the gradient by K, S, M and Q
    # shapes (n_castings, SHAPES) and (n_castings, n_slots)
    shape_pull: Array
    own_pull: Array
    cost: float  # sum of squares, the priors of the castings' own unknowns included


def parts(problem: Problem, at: Unknowns, shown: Shown, *, weight: Array) -> Parts:
    """Gather what every casting's readings say.

    Parameters
    ----------
    weight : ndarray, shape (n_readings, n_wavelengths)
        One over the standard deviation of each value.
    """
    residual = (problem.read - shown.values) * weight
    mixed, by_own, by_shape = shown.by_mixed * weight, shown.by_own * weight, shown.by_shape * weight

    def per_casting(products: Array) -> Array:
        """Sums over readings, which are the last axis but one and become the first."""
        return np.asarray(np.moveaxis(np.add.reduceat(products, problem.first, axis=-2), -2, 0))

    return Parts(
        share=shown.share,
        alone=per_casting(mixed[:, None] * mixed),
        with_shape=np.moveaxis(per_casting(mixed[:, None] * by_shape), 2, 3),
        of_shape=per_casting(by_shape[:, None] * by_shape).sum(axis=-1),
        with_own=np.moveaxis(per_casting(mixed[:, None] * by_own), 2, 3),
        shape_own=per_casting(by_shape[:, None] * by_own).sum(axis=-1),
        own=per_casting(by_own[:, None] * by_own).sum(axis=-1) + np.eye(problem.n_slots),
        pull=per_casting(mixed * residual),
        shape_pull=per_casting(by_shape * residual).sum(axis=-1),
        own_pull=per_casting(by_own * residual).sum(axis=-1) - at.own,
        cost=float(np.sum(residual**2) + np.sum(at.own**2)),
    )


@dataclass(frozen=True, eq=False)
class Normal:
    """Normal equations of all unknowns.

    In a row, the unknowns are at each wavelength k of every component and s of every component; then those of the
    border: a, b and e of each component, the shape (the bases' indices, spot), the castings' own.
    """

    blocks: Array  # shape (n_wavelengths, 2 n_components, 2 n_components): of k and s of one wavelength
    # shape (n_components, n_wavelengths, n_wavelengths): between s of different wavelengths, of which none that meet
    # are more than two apart
    stiff: Array
    level: Array  # shape (n_components, n_wavelengths): their products stand further between s of any two wavelengths
    border: Array  # shape (2 n_components n_wavelengths, n_border)
    corner: Array  # shape (n_border, n_border)
    pull: Array  # shape (2 n_components n_wavelengths + n_border,): minus half the gradient


def normal(problem: Problem, shown: Shown, each: Parts) -> Normal:
    """Sum over castings and chain from K, S, M and Q to the unknowns; without the priors of what castings share."""
    n, wide, share, (m, q) = problem.n_components, problem.n_wavelengths, each.share, shown.by_s
    pairs = (share[:, :, None] * share[:, None, :]).reshape(-1, n * n)
    summed = (pairs.T @ each.alone.reshape(len(pairs), -1)).reshape(n, n, 4, 4, wide)
    along_s = summed[:, :, 1] + m[:, None, None] * summed[:, :, 2] + q[:, None, None] * summed[:, :, 3]
    by = np.stack((summed[:, :, 0], along_s))  # rows by k and s
    blocks = np.empty((wide, 2, n, 2, n))
    blocks[..., 0, :] = by[:, :, :, 0].transpose(3, 0, 1, 2)
    blocks[..., 1, :] = (by[:, :, :, 1] + m * by[:, :, :, 2] + q * by[:, :, :, 3]).transpose(3, 0, 1, 2)
    border, corner = _border(problem, shown, each, by[:, :, :, 2:], summed[:, :, 2:, 2:])
    return Normal(
        blocks=blocks.reshape(wide, 2 * n, 2 * n),
        stiff=np.zeros((n, wide, wide)),
        level=np.zeros((n, wide)),
        border=border,
        corner=corner,
        pull=_pull(problem, shown, each),
    )


def _border(problem: Problem, shown: Shown, each: Parts, by_mq: Array, of_mq: Array) -> tuple[Array, Array]:
    """The border and its corner.

    `by_mq` stands between k and s of one component and m and q of another, shape (2, n_components, n_components, 2,
    n_wavelengths); `of_mq` between m and q of two, shape (n_components, n_components, 2, 2, n_wavelengths).
    """
    n, wide, by_bend, share = problem.n_components, problem.n_wavelengths, shown.by_bend, each.share
    bends = BENDS * n
    index, count = shape_columns(problem)
    of, slot = np.nonzero(problem.used)
    mixed = np.zeros((len(share), 4, wide, count))
    np.put_along_axis(mixed, np.broadcast_to(index[:, None, None], each.with_shape.shape), each.with_shape, axis=-1)
    shapes = (share.T @ mixed.reshape(len(share), -1)).reshape(n, 4, wide, count)
    owns = np.einsum("op,oiw->piwo", share[of], each.with_own[of, :, :, slot])
    border = np.empty((wide, 2, n, bends + count + of.size))
    border[..., :bends] = np.einsum("ipouw,buow->wipob", by_mq, by_bend).reshape(wide, 2, n, bends)
    bend, shape, own = np.split(np.arange(border.shape[-1]), (bends, bends + count))
    for columns, found in ((shape, shapes), (own, owns)):
        border[:, 0][:, :, columns] = found[:, 0].swapaxes(0, 1)
        along_s = found[:, 1] + sum(by[..., None] * found[:, 2 + at] for at, by in enumerate(shown.by_s))
        border[:, 1][:, :, columns] = along_s.swapaxes(0, 1)

    corner = np.zeros((border.shape[-1],) * 2)
    between = np.einsum("aupw,pouvw,bvow->paob", by_bend, of_mq, by_bend, optimize=True)
    corner[np.ix_(bend, bend)] = between.reshape(bends, bends)
    for columns, found in ((shape, shapes), (own, owns)):
        corner[np.ix_(bend, columns)] = np.einsum("bupw,puwc->pbc", by_bend, found[:, 2:]).reshape(bends, -1)
    for one, other in np.ndindex(SHAPES, SHAPES):
        np.add.at(corner, (shape[index[:, one]], shape[index[:, other]]), each.of_shape[:, one, other])
    corner[shape[index[of]], own[:, None]] = each.shape_own[of, :, slot]
    corner[np.ix_(own, own)] = np.where(of[:, None] == of, each.own[of[:, None], slot[:, None], slot], 0.0)
    corner[np.tril_indices(len(corner), -1)] = corner.T[np.tril_indices(len(corner), -1)]
    return border.reshape(wide * 2 * n, -1), corner


def shape_columns(problem: Problem) -> tuple[Index, int]:
    """Which of the shape's unknowns each casting depends on, shape (n_castings, SHAPES), and how many there are."""
    bases = len(problem.optics)
    others = np.broadcast_to(np.arange(bases, bases + SHAPES - 1), (problem.base.size, SHAPES - 1))
    return np.concatenate((problem.base[:, None], others), axis=1), bases + SHAPES - 1


def _pull(problem: Problem, shown: Shown, each: Parts) -> Array:
    index, count = shape_columns(problem)
    k, s, *mq = np.tensordot(each.share, each.pull, (0, 0)).swapaxes(0, 1)  # (n_components, n_wavelengths)
    of_shape = np.zeros(count)
    np.add.at(of_shape, index, each.shape_pull)
    by_bend = np.einsum("bupw,upw->pb", shown.by_bend, np.stack(mq))
    along_s = s + np.sum(shown.by_s * np.stack(mq), axis=0)
    return np.concatenate((in_row(np.stack((k, along_s))), by_bend.ravel(), of_shape, each.own_pull[problem.used]))


def in_row(ks: Array) -> Array:
    """k and s, shape (2, n_components, n_wavelengths), in the order of the equations' unknowns."""
    return np.asarray(np.moveaxis(ks, -1, 0).ravel())


def from_row(row: Array, problem: Problem) -> Array:
    """k and s again, shape (..., 2, n_components, n_wavelengths), from the unknowns in a row."""
    n, wide = problem.n_components, problem.n_wavelengths
    return np.asarray(np.moveaxis(row[..., : 2 * n * wide].reshape(*row.shape[:-1], wide, 2, n), -3, -1))


# The castings' own unknowns eliminated, one casting at a time: what damping and bounds are judged by.


def own_solve(problem: Problem, each: Parts, right: Array, damping: float) -> Array:
    """Solve the castings' own block, its diagonal raised by a share of itself, for right-hand sides (n_own, ...)."""
    rows = np.zeros((*problem.used.shape, *right.shape[1:]))
    rows[problem.used] = right
    solved = np.linalg.solve(_damped(each, damping), rows.reshape(*problem.used.shape, -1))
    return np.asarray(solved.reshape(rows.shape)[problem.used])


def _damped(each: Parts, damping: float) -> Array:
    diagonal = np.einsum("nii->ni", each.own)
    return np.asarray(each.own + damping * np.eye(each.own.shape[1]) * diagonal[:, None, :])


def without_own(problem: Problem, shown: Shown, each: Parts, equations: Normal, damping: float) -> tuple[Array, Array]:
    """Pull and diagonal of what castings share once their own unknowns are eliminated, both (n_shared,)."""
    n_ks, n_own = equations.border.shape[0], int(problem.used.sum())
    n_shared = equations.pull.size - n_own
    own = own_solve(problem, each, equations.pull[n_shared:], damping)
    corner = equations.corner[: n_shared - n_ks, n_shared - n_ks :]
    taken = np.concatenate((equations.border[:, n_shared - n_ks :] @ own, corner @ own))
    right = np.moveaxis(each.with_own, -1, 1)  # (n_castings, n_slots, 4, n_wavelengths)
    solved = np.linalg.solve(_damped(each, damping), right.reshape(*right.shape[:2], -1)).reshape(right.shape)
    of = each.share.T**2 @ np.einsum("nuiw,nujw->ijnw", right, solved)  # (4, 4, n_components, n_wavelengths)
    by_s = np.stack((np.ones_like(shown.by_s[0]), *shown.by_s))  # of s, m and q by s
    along_s = np.einsum("ipw,ijpw,jpw->pw", by_s, of[1:, 1:], by_s)
    of_border = np.sum(corner * own_solve(problem, each, corner.T, damping).T, axis=1)
    level = np.stack((np.zeros_like(along_s), equations.level**2))
    ks = np.einsum("wii->wi", equations.blocks).ravel() + in_row(level - np.stack((of[0, 0], along_s)))
    diagonal = np.concatenate((ks, np.diag(equations.corner)[: corner.shape[0]] - of_border))
    return equations.pull[:n_shared] - taken, diagonal
