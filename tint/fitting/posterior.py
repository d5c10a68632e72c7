"""How well a fit knows what castings share: the covariance of k, s and m about the minimum.

The refractive indices and the lobe are taken as known here. What is wrong with one is made up for by k and s wherever
castings were read, so that doubting both would count the same doubt twice. What the instrument's spot loses is not made
up for in what is predicted, which is wide, and so it is doubted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.fitting.minimise import Minimum, Prior, with_prior
from tint.fitting.normal import inverse, normal, unchain
from tint.fitting.problem import Problem
from tint.forward import SHAPES

Array = NDArray[np.float64]

# Share of what wavelengths have in common that its modes hold; the rest counts as each wavelength's own
# (tests/figures/judgement.py).
_KEPT = 0.98
_FAINTEST = 1e-4  # share of a coefficient's variance below which a mode is rounding


@dataclass(frozen=True, eq=False)
class Posterior:
    """Covariance about the minimum.

    Parameters
    ----------
    covariance : ndarray, shape (n, n)
        Of k, s, and the scores of a and b, all components.
    local : ndarray, shape (n_wavelengths, 2 n_components, 2 n_components)
        Covariance of k and s at each wavelength alone, were all else known.
    modes : ndarray, shape (n_modes, n_wavelengths, 3 n_components)
        Errors of k, s and m common to all wavelengths.
    g_error, index_error : ndarray, shapes (n_components,) and (n_bases,)
        Standard deviations of g at 550 nm and of the refractive indices [-].
    """

    covariance: Array
    local: Array
    modes: Array
    g_error: Array
    index_error: Array


def posterior(problem: Problem, minimum: Minimum, prior: Prior) -> Posterior:
    """The covariance at a minimum."""
    equations = with_prior(normal(problem, minimum.shown, minimum.parts), minimum.at, prior)
    count, last = equations.pull.size, minimum.at.shape.size
    doubted = np.r_[: count - last, count - 1]
    known = np.arange(count - last, count - 1)
    covariance = inverse(equations.matrix[np.ix_(doubted, doubted)])
    with_index = equations.matrix[np.ix_(doubted, known)]
    of_index = equations.matrix[np.ix_(known, known)] - with_index.T @ covariance @ with_index
    index_error = problem.index_sd * np.sqrt(np.maximum(np.diag(inverse(of_index)), 0.0))[:-1]
    covariance = covariance[:-1, :-1]
    local = _local(problem, minimum, prior)
    modes = _modes(problem, minimum, covariance, local)
    bend = 2 * problem.n_components
    of_a = np.sqrt(np.diag(covariance)[-bend:].reshape(-1, 2)[:, 0])
    return Posterior(
        covariance=covariance,
        local=_with_rest(local, modes, np.diag(covariance)),
        modes=modes,
        g_error=of_a * np.abs(problem.anisotropy.middle_slope(minimum.at.bend)),
        index_error=index_error,
    )


def unknowns_spent(problem: Problem, minimum: Minimum, prior: Prior) -> float:
    """How many unknowns the readings pin down: those that their priors do not.

    Notes
    -----
    The trace of the covariance times what the readings alone say (the hat matrix's own trace), castings' own unknowns
    included.
    """
    data = normal(problem, minimum.shown, minimum.parts)
    covariance = inverse(with_prior(data, minimum.at, prior).matrix)
    shared = float(np.sum(covariance * data.matrix))
    left = np.trace(np.linalg.inv(minimum.parts.own), axis1=1, axis2=2)
    return shared + float(np.sum(minimum.parts.own.shape[1] - left))


def _local(problem: Problem, minimum: Minimum, prior: Prior) -> Array:
    each, n, wide = minimum.parts, problem.n_components, problem.n_wavelengths
    pairs = (each.share[:, :, None] * each.share[:, None, :]).reshape(-1, n * n)
    summed = (pairs.T @ each.alone.reshape(len(pairs), -1)).reshape(n, n, 3, 3, wide)
    q = minimum.shown.m_by_s
    of_s = summed[:, :, 1] + q[:, None, None] * summed[:, :, 2]  # rows by s
    whole = np.empty((2, n, 2, n, wide))
    whole[0, :, 0], whole[0, :, 1] = summed[:, :, 0, 0], summed[:, :, 0, 1] + q * summed[:, :, 0, 2]
    whole[1, :, 0], whole[1, :, 1] = of_s[:, :, 0], of_s[:, :, 1] + q * of_s[:, :, 2]
    information = np.moveaxis(whole.reshape(2 * n, 2 * n, wide), -1, 0).copy()
    sd = prior.sd.reshape(2 * n, wide).T
    information[:, np.arange(2 * n), np.arange(2 * n)] += sd**-2.0
    differences = np.diff(np.eye(wide), 2, axis=0)
    stiff = np.einsum("pi,iw->pw", prior.stiffness**2, differences**2)
    information[:, np.arange(n, 2 * n), np.arange(n, 2 * n)] += stiff.T
    # In units of the prior, so that unknowns of very different size do not spoil the inverse.
    solved = np.linalg.inv(information * sd[:, :, None] * sd[:, None, :])
    return np.asarray(solved * sd[:, :, None] * sd[:, None, :])


def _with_rest(local: Array, modes: Array, variance: Array) -> Array:
    """The local covariance with what the modes leave of every variance."""
    wide, count = local.shape[:2]
    each = np.arange(count)
    rest = variance[: count * wide].reshape(count, wide).T - local[:, each, each]
    rest = rest - np.sum(modes[..., :count] ** 2, axis=0)
    whole = local.copy()
    whole[:, each, each] += np.maximum(rest, 0.0)
    return whole


def _modes(problem: Problem, minimum: Minimum, covariance: Array, local: Array) -> Array:
    """What of the covariance wavelengths share, as few modes as hold it."""
    from scipy.linalg import eigh  # only fitting needs it

    n, wide = problem.n_components, problem.n_wavelengths
    rest = covariance.copy()
    place = np.arange(2 * n)[:, None] * wide + np.arange(wide)  # of each k and s in the unknowns
    rest[place[:, None, :], place[None, :, :]] -= np.moveaxis(local, 0, -1)
    scale = np.sqrt(np.concatenate((np.diag(covariance)[: 2 * n * wide], np.ones(2 * n))))
    values, vectors = eigh(
        rest / scale[:, None] / scale, subset_by_value=(_FAINTEST, np.inf), check_finite=False, overwrite_a=True
    )
    values, vectors = values[::-1], vectors[:, ::-1]
    count = int(np.searchsorted(np.cumsum(values), _KEPT * values.sum())) + 1
    steps = (vectors[:, :count] * np.sqrt(values[:count]) * scale[:, None]).T
    index = np.zeros(minimum.at.shape.size)
    changes = [unchain(problem, minimum.shown, np.concatenate((step, index)))[:, :-SHAPES] for step in steps]
    shape = (len(changes), n, 3, wide)
    return np.asarray(np.array(changes).reshape(shape).transpose(0, 3, 2, 1).reshape(len(changes), wide, 3 * n))
