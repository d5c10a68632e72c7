"""How well a fit knows what castings share: the covariance of k, s, m and q about the minimum.

The refractive indices are taken as known here. What is wrong with one is made up for by k and s wherever
castings were read, so that doubting both would count the same doubt twice. What the instrument's spot loses is not made
up for in what is predicted, which is wide, and so it is doubted.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tint.fitting.chain import Factor, covariance, factor, level_columns, part_of_inverse, solved
from tint.fitting.minimise import Minimum, with_prior
from tint.fitting.normal import Normal, from_row, in_row, normal
from tint.fitting.priors import BENDS, Prior
from tint.fitting.problem import Problem
from tint.spectra import Array

# Share of what wavelengths have in common that its modes hold; the rest counts as each wavelength's own
# (tests/figures/judgement.py).
_KEPT = 0.98
_FAINTEST = 1e-4  # share of a coefficient's variance below which a mode is rounding
# Unknowns from which on the modes are sought in a random subspace of this share of them, with so many powers: of 30
# pigments 14 in 100 hold what is kept.
MANY, _SUBSPACE, _POWERS = 3000, 0.25, 2
_TOGETHER = 256  # columns that the equations are solved for at once


@dataclass(frozen=True, eq=False)
class Posterior:
    """Covariance about the minimum."""

    # of the equations of k, s, the anisotropies, the spot and the castings' own unknowns, all else known
    factored: Factor
    # shape (n, n): of k, s and the scores of a, b and e in the order of the equations; absent where it is large
    covariance: Array | None
    variance: Array  # shape (n,): of the same
    # shape (n_wavelengths, 2 n_components, 2 n_components): covariance of k and s at each wavelength, were those at all
    # others known
    local: Array
    # shapes (n_components,) and (n_bases,): standard deviations of g at 550 nm and of the refractive indices [-]
    g_error: Array
    index_error: Array


def posterior(problem: Problem, minimum: Minimum, prior: Prior) -> Posterior:
    """The covariance at a minimum."""
    whole = with_prior(normal(problem, minimum.shown, minimum.parts), minimum.at, prior)
    n_ks, n_bends, bases = minimum.at.ks.size, minimum.at.bend.size, len(problem.optics)
    known = np.arange(n_bends, n_bends + bases)  # in the border: indices
    equations, with_known = _without(whole, known)
    factored = factor(equations)
    variance = part_of_inverse(factored, problem.n_components).variance[: n_ks + n_bends]
    of_known = whole.corner[np.ix_(known, known)] - with_known.T @ solved(factored, with_known)
    index_error = problem.index_sd * np.sqrt(np.maximum(np.diag(np.linalg.inv(of_known)), 0.0))
    covariance = _inverse_times(factored, np.eye(variance.size)) if variance.size <= MANY else None
    of_a = np.sqrt(variance[n_ks : n_ks + n_bends].reshape(-1, BENDS)[:, 0])
    return Posterior(
        factored=factored,
        covariance=covariance,
        variance=variance,
        local=_local(equations, prior),
        g_error=of_a * np.abs(problem.anisotropy.middle_slope(minimum.at.bend)),
        index_error=index_error,
    )


def _without(equations: Normal, known: NDArray[np.int64]) -> tuple[Normal, Array]:
    """Equations without some of the border's unknowns, and the columns between those and the rest."""
    n_ks = equations.border.shape[0]
    kept = np.setdiff1d(np.arange(equations.corner.shape[0]), known)
    columns = np.concatenate((equations.border[:, known], equations.corner[np.ix_(kept, known)]))
    without = replace(
        equations,
        border=equations.border[:, kept],
        corner=equations.corner[np.ix_(kept, kept)],
        pull=np.concatenate((equations.pull[:n_ks], equations.pull[n_ks:][kept])),
    )
    return without, columns


def unknowns_spent(problem: Problem, minimum: Minimum, prior: Prior) -> float:
    """How many unknowns the readings pin down: those that their priors do not.

    Notes
    -----
    The trace of the covariance times what the readings alone say (the hat matrix's own trace), castings' own unknowns
    included: the number of unknowns less the trace of the covariance times the priors.
    """
    bare = normal(problem, minimum.shown, minimum.parts)
    equations = with_prior(bare, minimum.at, prior)
    factored = factor(equations)
    told = part_of_inverse(factored, problem.n_components)
    n_ks, n_shared = minimum.at.ks.size, minimum.at.ks.size + minimum.at.bend.size + minimum.at.shape.size
    added = np.einsum("wii->wi", equations.blocks - bare.blocks).ravel()
    level = np.zeros((equations.pull.size, problem.n_components))
    level[:n_ks] = level_columns(equations)
    by_priors = told.variance[:n_ks] @ added + np.sum(told.near * equations.stiff)
    by_priors += np.trace(covariance(factored, level)) + np.sum(told.variance[n_ks:n_shared])
    left = np.trace(np.linalg.inv(minimum.parts.own), axis1=1, axis2=2)
    return float(n_shared - by_priors + np.sum(minimum.parts.own.shape[1] - left))


def _local(equations: Normal, prior: Prior) -> Array:
    """Covariance of k and s at each wavelength alone, in units of the prior on the way, since sizes differ much."""
    sd = in_row(prior.sd).reshape(equations.blocks.shape[:2])
    scale = sd[:, :, None] * sd[:, None, :]
    return np.asarray(np.linalg.inv(equations.blocks * scale) * scale)


def in_modes(problem: Problem, minimum: Minimum, known: Posterior) -> tuple[Array, Array]:
    """The covariance of k, s, m and q as a palette holds it; it takes longer than all else here.

    First that of k and s at each wavelength alone, shape (n_wavelengths, 2 n_components, 2 n_components); then the
    errors of k, s, m and q common to all wavelengths, shape (n_modes, n_wavelengths, 4 n_components).
    """
    modes = _modes(problem, minimum, known.factored, known.covariance, known.local, known.variance)
    return _with_rest(known.local, modes, known.variance), modes


def _with_rest(local: Array, modes: Array, variance: Array) -> Array:
    """The local covariance with what the modes leave of every variance."""
    wide, count = local.shape[:2]
    each = np.arange(count)
    rest = variance[: count * wide].reshape(wide, count) - local[:, each, each]
    rest = rest - np.sum(modes[..., :count] ** 2, axis=0)
    whole = local.copy()
    whole[:, each, each] += np.maximum(rest, 0.0)
    return whole


def _inverse_times(factored: Factor, columns: Array) -> Array:
    """The covariance of k, s, a, b and e times columns; a few after the other, which spares memory."""
    result = np.empty_like(columns)
    for start in range(0, columns.shape[1], _TOGETHER):
        some = columns[:, start : start + _TOGETHER]
        whole = np.zeros((factored.border.shape[0] + factored.root.shape[0], some.shape[1]))
        whole[: len(some)] = some
        result[:, start : start + _TOGETHER] = solved(factored, whole)[: len(some)]
    return result


def _modes(
    problem: Problem, minimum: Minimum, factored: Factor, covariance: Array | None, local: Array, variance: Array
) -> Array:
    """What of the covariance wavelengths share, as few modes as hold it."""
    n_ks, wide = minimum.at.ks.size, problem.n_wavelengths
    scale = np.sqrt(np.concatenate((variance[:n_ks], np.ones(variance.size - n_ks))))

    def rest(columns: Array) -> Array:
        """The scaled covariance without the local one, times columns."""
        scaled = columns / scale[:, None]
        found = _inverse_times(factored, scaled)
        found[:n_ks] -= (local @ scaled[:n_ks].reshape(wide, -1, columns.shape[1])).reshape(n_ks, -1)
        return found / scale[:, None]

    if covariance is None:
        values, vectors = _in_subspace(rest, variance.size)
    else:
        matrix, each = covariance.copy(), np.arange(n_ks).reshape(wide, -1)
        matrix[each[:, :, None], each[:, None, :]] -= local
        values, vectors = _largest(matrix / scale[:, None] / scale)
    count = int(np.searchsorted(np.cumsum(values), _KEPT * values.sum())) + 1
    steps = (vectors[:, :count] * np.sqrt(values[:count]) * scale[:, None]).T
    k, s = np.moveaxis(from_row(steps, problem), 1, 0)
    bend = steps[:, n_ks:].reshape(len(steps), -1, BENDS)
    m, q = minimum.shown.by_s[:, None] * s + np.einsum("bupw,rpb->urpw", minimum.shown.by_bend, bend, optimize=True)
    return np.concatenate((k, s, m, q), axis=1).swapaxes(1, 2)


def _largest(matrix: Array) -> tuple[Array, Array]:
    """The eigenvalues above `_FAINTEST` of a symmetric matrix, largest first, and their vectors."""
    from scipy.linalg import eigh  # only fitting needs it

    both = 0.5 * (matrix + matrix.T)
    values, vectors = eigh(both, subset_by_value=(_FAINTEST, np.inf), check_finite=False, overwrite_a=True)
    return values[::-1], vectors[:, ::-1]


def _in_subspace(times: Callable[[Array], Array], size: int) -> tuple[Array, Array]:
    """As `_largest` of a large matrix, within the subspace that powers of it turn a random one into.

    Notes
    -----
    Halko, Martinsson and Tropp 2011, SIAM Review 53, 217; from memory. What a mode then lacks counts as each
    wavelength's own.
    """
    from scipy.linalg import qr  # only fitting needs it

    basis = np.random.default_rng(0).standard_normal((size, int(_SUBSPACE * size)))
    for _ in range(_POWERS):
        basis = np.asarray(qr(times(basis), mode="economic", overwrite_a=True, check_finite=False)[0])
    values, vectors = _largest(basis.T @ times(basis))
    return values, basis @ vectors
