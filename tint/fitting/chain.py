"""Equations that are a chain of wavelengths with a border: factorised once, then solved and inverted in part.

A Cholesky factorisation by blocks of two wavelengths, since smoothness reaches two wavelengths on and so never farther
than the next block; then the level of s, a correction of low rank (Woodbury); then the border's Schur complement
(Golub and Van Loan, Matrix Computations, 4.5 and 2.1; from memory).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tint.fitting.normal import Normal
from tint.spectra import Array

_ROUNDING = 1e-12  # share of the diagonal added where rounding leaves the equations not quite positive


@dataclass(frozen=True, eq=False)
class Factor:
    """Equations factorised."""

    cuts: tuple[int, ...]  # where each block of the chain begins, and where the last ends
    # of the Cholesky factor L of the chain: the inverses of its diagonal's blocks, and the blocks below those
    inverse: tuple[Array, ...]
    below: tuple[Array, ...]
    level: Array  # shape (n_ks, n_components): L^-1 times the columns of the level, L being the chain's factor
    level_root: Array  # shape (n_components, n_components): Cholesky factor of one plus what the level adds
    border: Array  # shape (n_ks, n_border): L^-1 times the border
    both: Array  # shape (n_components, n_border): between the level and the border
    root: Array  # shape (n_border, n_border): Cholesky factor of the border's Schur complement


def factor(equations: Normal) -> Factor:
    """Factorise; where rounding leaves the equations not quite positive, their diagonal is raised by as little."""
    raised = 0.0
    while True:
        try:
            return _factor(_raised(equations, raised) if raised else equations)
        except np.linalg.LinAlgError:
            if raised > 1.0:  # numbers that are not finite
                raise
            raised = max(100.0 * raised, _ROUNDING)


def _raised(equations: Normal, by: float) -> Normal:
    diagonal = np.concatenate((np.einsum("wii->wi", equations.blocks).ravel(), np.diag(equations.corner)))
    return raised(equations, by * np.maximum(diagonal, 1e-300))


def raised(equations: Normal, by: Array) -> Normal:
    """Equations with something added to their diagonal."""
    blocks, corner = equations.blocks.copy(), equations.corner.copy()
    wide, size, _ = blocks.shape
    blocks[:, np.arange(size), np.arange(size)] += by[: wide * size].reshape(wide, size)
    corner[np.diag_indices_from(corner)] += by[wide * size :]
    return replace(equations, blocks=blocks, corner=corner)


def _factor(equations: Normal) -> Factor:
    wide, size, _ = equations.blocks.shape
    ends = (*range(0, wide, 2), wide)
    inverse: list[Array] = []
    below: list[Array] = []
    for first, last in itertools.pairwise(ends):
        block = _between(equations, range(first, last), range(first, last))
        if below:
            block -= below[-1] @ below[-1].T
        lower = _root(block)
        inverse.append(_triangular(lower, np.eye(len(lower))))
        if last < wide:
            below.append(_between(equations, range(last, min(last + 2, wide)), range(first, last)) @ inverse[-1].T)
    chain = tuple(size * end for end in ends), tuple(inverse), tuple(below)
    level, border = _forward(*chain, level_columns(equations)), _forward(*chain, equations.border)
    level_root = _root(np.eye(level.shape[1]) + level.T @ level)
    both = _triangular(level_root, level.T @ border)
    root = _root(equations.corner - border.T @ border + both.T @ both)
    return Factor(*chain, level, level_root, border, both, root)


def _between(equations: Normal, rows: range, columns: range) -> Array:
    """The chain's matrix between some wavelengths and others."""
    size = equations.blocks.shape[1]
    s = np.arange(size // 2, size)
    result = np.zeros((len(rows), size, len(columns), size))
    for at, row in enumerate(rows):
        for to, column in enumerate(columns):
            if row == column:
                result[at, :, to] = equations.blocks[row]
            else:
                result[at, s, to, s] = equations.stiff[:, row, column]
    return result.reshape(len(rows) * size, -1)


def level_columns(equations: Normal) -> Array:
    """The level as columns, shape (n_ks, n_components): the chain has their product with their transpose added."""
    wide, size, _ = equations.blocks.shape
    n = size // 2
    result = np.zeros((wide, 2, n, n))
    result[:, 1, np.arange(n), np.arange(n)] = equations.level.T
    return result.reshape(wide * size, n)


def _root(matrix: Array) -> Array:
    """Lower Cholesky factor."""
    return np.asarray(np.linalg.cholesky(matrix))


def _triangular(lower: Array, right: Array, *, transposed: bool = False) -> Array:
    from scipy.linalg import solve_triangular  # only fitting needs it

    return np.asarray(solve_triangular(lower, right, lower=True, trans="T" if transposed else "N", check_finite=False))


def _forward(cuts: Sequence[int], inverse: Sequence[Array], below: Sequence[Array], right: Array) -> Array:
    """L^-1 times columns."""
    result = np.empty_like(right)
    for at, (start, end) in enumerate(itertools.pairwise(cuts)):
        rest = right[start:end] - below[at - 1] @ result[cuts[at - 1] : start] if at else right[start:end]
        result[start:end] = inverse[at] @ rest
    return result


def _backward(factored: Factor, right: Array) -> Array:
    """L^-T times columns."""
    result, cuts = np.empty_like(right), factored.cuts
    for at in reversed(range(len(factored.inverse))):
        start, end = cuts[at], cuts[at + 1]
        rest = right[start:end]
        if at < len(factored.below):
            rest = rest - factored.below[at].T @ result[end : cuts[at + 2]]
        result[start:end] = factored.inverse[at].T @ rest
    return result


def _halves(factored: Factor, right: Array) -> tuple[Array, Array, Array]:
    """Columns by the inverse's factor: of the chain, of the level (which counts against it), of the border."""
    n_ks = factored.border.shape[0]
    chain = _forward(factored.cuts, factored.inverse, factored.below, right[:n_ks])
    level = _triangular(factored.level_root, factored.level.T @ chain)
    rest = right[n_ks:] - factored.border.T @ chain + factored.both.T @ level
    return chain, level, _triangular(factored.root, rest)


def solved(factored: Factor, right: Array) -> Array:
    """The solution for right-hand sides of shape (n_unknowns, n_sides)."""
    chain, level, border = _halves(factored, right)
    last = _triangular(factored.root, border, transposed=True)
    rest = chain - factored.border @ last
    level = level - factored.both @ last
    rest -= factored.level @ _triangular(factored.level_root, level, transposed=True)
    return np.concatenate((_backward(factored, rest), last))


def covariance(factored: Factor, slopes: Array) -> Array:
    """Covariance of what has these slopes by the unknowns, shape (n_unknowns, n_values): (n_values, n_values)."""
    chain, level, border = _halves(factored, slopes)
    return np.asarray(chain.T @ chain - level.T @ level + border.T @ border)


def times(equations: Normal, row: Array) -> Array:
    """The equations' matrix times one row of unknowns."""
    wide, size, _ = equations.blocks.shape
    ks = row[: wide * size].reshape(wide, size)
    result = np.einsum("wij,wj->wi", equations.blocks, ks)
    s = ks[:, size // 2 :]
    of_level = np.sum(equations.level.T * s, axis=0)
    result[:, size // 2 :] += np.einsum("pvw,wp->vp", equations.stiff, s) + equations.level.T * of_level
    last = row[wide * size :]
    return np.concatenate(
        (result.ravel() + equations.border @ last, equations.border.T @ row[: wide * size] + equations.corner @ last)
    )


def held_at(equations: Normal, fixed: NDArray[np.bool_], values: Array) -> Normal:
    """Equations in which some unknowns have these values."""
    values = np.where(fixed, values, 0.0)
    wide, size, _ = equations.blocks.shape
    free = (~fixed).astype(float)
    ks, last = free[: wide * size].reshape(wide, size), free[wide * size :]
    s = ks[:, size // 2 :].T
    masked = replace(
        equations,
        blocks=equations.blocks * ks[:, :, None] * ks[:, None, :],
        stiff=equations.stiff * s[:, :, None] * s[:, None, :],
        level=equations.level * s,
        border=equations.border * free[: wide * size, None] * last,
        corner=equations.corner * last[:, None] * last,
        pull=np.where(fixed, values, equations.pull - times(equations, values)),
    )
    return raised(masked, fixed.astype(float))


@dataclass(frozen=True, eq=False)
class PartOfInverse:
    """Part of the inverse of the equations."""

    variance: Array  # shape (n_unknowns,)
    # shape (n_components, n_wavelengths, n_wavelengths): covariance of s at different wavelengths of which none are
    # more than two apart
    near: Array


def part_of_inverse(factored: Factor, n_components: int) -> PartOfInverse:
    """Variances of all unknowns, and covariances of s from one wavelength to the next two."""
    cuts, size = factored.cuts, 2 * n_components
    wide = cuts[-1] // size
    variance, near = np.empty(cuts[-1]), np.zeros((n_components, wide, wide))
    s = np.arange(n_components, size)
    after = np.zeros((0, 0))
    for at in reversed(range(len(factored.inverse))):
        # Takahashi's recursion: the inverse's blocks from those after them (Erisman and Tinney 1975, CACM 18, 177;
        # from memory).
        root = factored.inverse[at]
        here, first = root.T @ root, cuts[at] // size
        if at < len(factored.below):
            onward = factored.below[at] @ root
            beside = -after @ onward
            here = here - onward.T @ beside
            for row in range(len(beside) // size):
                for column in range(len(here) // size):
                    near[:, first + 2 + row, first + column] = beside[row * size + s, column * size + s]
        if len(here) > size:
            near[:, first + 1, first] = here[size + s, s]
        variance[cuts[at] : cuts[at + 1]], after = np.diag(here), here
    through = factored.border - factored.level @ _triangular(factored.level_root, factored.both, transposed=True)
    for sign, root, columns in ((-1.0, factored.level_root, factored.level), (1.0, factored.root, through)):
        rows = _triangular(root, _backward(factored, columns).T).T
        variance += sign * np.sum(rows**2, axis=1)
        of_s = rows.reshape(wide, 2, n_components, -1)[:, 1]
        for apart in (1, 2):
            before = np.arange(wide - apart)
            near[:, before + apart, before] += sign * np.einsum("wpr,wpr->pw", of_s[apart:], of_s[:-apart])
    last = _triangular(factored.root, np.eye(len(factored.root)))
    apart_by = np.subtract.outer(np.arange(wide), np.arange(wide))
    near = np.where((apart_by > 0) & (apart_by <= 2), near, 0.0)
    return PartOfInverse(np.concatenate((variance, np.sum(last**2, axis=0))), near + near.swapaxes(1, 2))
