"""The least-squares minimum of a fit, with k and s never negative.

`descend` is Levenberg-Marquardt (Marquardt 1963, J. SIAM 11, 431) for whatever can tell a step from its normal
equations; `minimise` takes those of `normal`. An unknown that rests on its
bound and would leave it is held there; one that a step would take beyond its bound stops at it, and the step of all
others is solved again with that in it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from tint.fitting.normal import Normal, Parts, normal, own_step, parts, solve
from tint.fitting.problem import Problem, Shown, Unknowns, show

Array = NDArray[np.float64]

_MOST_STEPS = 100
_GAIN = 1e-5
_STIFFEST, _LEAST_DAMPING = 1e12, 1e-9
_AGAIN = 6  # times that a step is solved again with the bounds it met


@dataclass(frozen=True, eq=False)
class Prior:
    """Of k and s before any reading.

    Parameters
    ----------
    mean, sd : ndarray, shape (2, n_components, n_wavelengths)
        So wide that it only speaks where no reading does, and keeps what nothing pins down from running away.
    stiffness : ndarray, shape (n_components, n_wavelengths - 2)
        One over the standard deviation of the second difference of s from wavelength to wavelength.
    strength : ndarray, shape (n_components,)
        One over the standard deviation of the logarithm of the mean of s; 0 where nothing is known of it.
    faint : float
        Added to that mean, so that a dye costs no more than it should [1/mm per %].
    """

    mean: Array
    sd: Array
    stiffness: Array
    strength: Array
    faint: float = 0.02

    def bent(self, s: Array) -> Array:
        """Second differences of s in their standard deviations, shape of `stiffness`."""
        return np.asarray(np.diff(s, 2, axis=-1) * self.stiffness)

    def level(self, s: Array) -> tuple[Array, Array]:
        """Logarithm of the mean of s in its standard deviations, and its slope by each s; both (n_components,)."""
        mean = s.mean(axis=-1) + self.faint
        return np.log(mean) * self.strength, self.strength / (mean * s.shape[-1])


class Point(Protocol):
    """Where a search stands: whatever the next step is computed from, and what it costs."""

    @property
    def cost(self) -> float:
        """Sum of squares of residuals and of all priors."""
        ...


P = TypeVar("P", bound=Point)


def descend(
    start: P,
    step: Callable[[P, float], tuple[P, float]],
    *,
    most_steps: int = _MOST_STEPS,
    gain: float = _GAIN,
    step_taken: Callable[[int, float], None] | None = None,
) -> tuple[P, int, bool]:
    """Levenberg-Marquardt: damped steps until nothing is left to gain.

    Parameters
    ----------
    step : callable
        From a point and a damping [-] to the point there and the gain in cost that the normal equations foresee.
    gain : float
        Share of the cost below which what a step gains, foreseen and found, ends the search.
    step_taken : callable, optional
        Told after each step how many were taken and the cost.

    Returns
    -------
    point
        Where it ended.
    steps : int
    settled : bool
        Whether it ended because nothing was left to gain.
    """
    damping, harder, at, number = 1e-3, 4.0, start, 0
    while number < most_steps:
        there, foreseen = step(at, damping)
        gained = at.cost - there.cost
        if not gained > 0.0:
            if foreseen < gain * at.cost or damping > _STIFFEST:
                return at, number, foreseen < gain * at.cost
            damping, harder = max(harder * damping, 1e-6), 2.0 * harder
            continue
        number += 1
        at = there
        if step_taken is not None:
            step_taken(number, at.cost)
        if max(gained, foreseen) < gain * at.cost:
            if damping <= _LEAST_DAMPING or gain > _GAIN:
                return at, number, True
            # Damping holds back just what the readings hardly tell: without it there may be more to gain.
            damping, harder = _LEAST_DAMPING, 4.0
            continue
        # The better the foresight, the less the next step is damped (Nielsen 1999, IMM-REP-1999-05; from memory).
        agreed = min(gained / max(foreseen, 1e-300), 2.0)
        damping, harder = max(damping * max(0.1, 1.0 - (2.0 * agreed - 1.0) ** 3), _LEAST_DAMPING), 4.0
    return at, most_steps, False


@dataclass(frozen=True, eq=False)
class Minimum:
    """Where the search for k and s stands, or ended.

    Parameters
    ----------
    cost : float
        Sum of squares of residuals and of all priors.
    steps : int
    settled : bool
        Whether it ended because nothing was left to gain.
    """

    at: Unknowns
    shown: Shown
    parts: Parts
    cost: float
    steps: int = 0
    settled: bool = False


def minimise(
    problem: Problem,
    start: Unknowns,
    prior: Prior,
    *,
    weight: Array,
    most_steps: int = _MOST_STEPS,
    gain: float = _GAIN,
    bend: bool = True,
    shape: bool = True,
    step_taken: Callable[[int, float], None] | None = None,
) -> Minimum:
    """Search for k and s from a start; see `descend`.

    Parameters
    ----------
    weight : ndarray, shape (n_readings, n_wavelengths)
        One over the standard deviation of each value.
    bend, shape : bool
        Whether anisotropies are searched too, and whether indices and the lobe are; else they stay where they start.
    """

    def step(here: Minimum, damping: float) -> tuple[Minimum, float]:
        by, foreseen = _step(problem, here.at, here.shown, here.parts, prior, damping, bend=bend, shape=shape)
        there = moved(problem, here.at, here.shown, here.parts, by, damping)
        return _evaluate(problem, there, prior, weight), foreseen

    first = _evaluate(problem, start, prior, weight)
    found, steps, settled = descend(first, step, most_steps=most_steps, gain=gain, step_taken=step_taken)
    return replace(found, steps=steps, settled=settled)


def _evaluate(problem: Problem, at: Unknowns, prior: Prior, weight: Array) -> Minimum:
    shown = show(problem, at)
    each = parts(problem, at, shown, weight=weight)
    away = float(np.sum(((at.ks - prior.mean) / prior.sd) ** 2) + np.sum(at.bend**2) + np.sum(at.shape**2))
    away += float(np.sum(prior.bent(at.ks[1]) ** 2) + np.sum(prior.level(at.ks[1])[0] ** 2))
    cost = each.cost + away
    return Minimum(at, shown, each, cost if np.isfinite(cost) else np.inf)


def with_prior(equations: Normal, at: Unknowns, prior: Prior) -> Normal:
    """Normal equations with the priors of k, s, anisotropies and indices added."""
    weight = np.concatenate((prior.sd.ravel() ** -2.0, np.ones(at.bend.size + at.shape.size)))
    away = np.concatenate(((at.ks - prior.mean).ravel(), at.bend.ravel(), at.shape))
    matrix = equations.matrix.copy()
    matrix[np.diag_indices_from(matrix)] += weight
    pull = equations.pull - weight * away
    wide = at.ks.shape[2]
    differences = np.diff(np.eye(wide), 2, axis=0)
    level, slope = prior.level(at.ks[1])
    for number, stiffness in enumerate(prior.stiffness):
        scaled = differences * stiffness[:, None]
        rows = slice((at.ks.shape[1] + number) * wide, (at.ks.shape[1] + number + 1) * wide)
        matrix[rows, rows] += scaled.T @ scaled + slope[number] ** 2
        pull[rows] -= scaled.T @ (scaled @ at.ks[1, number]) + slope[number] * level[number]
    return Normal(matrix, pull)


def held(at: Unknowns, pull: Array) -> NDArray[np.bool_]:
    """Which unknowns rest on their bound and would leave it, shape (n,)."""
    bounded = at.ks.size
    result = np.zeros(pull.size, dtype=bool)
    result[:bounded] = (at.ks.ravel() <= 0.0) & (pull[:bounded] <= 0.0)
    return result


def _step(
    problem: Problem, at: Unknowns, shown: Shown, each: Parts, prior: Prior, damping: float, *, bend: bool, shape: bool
) -> tuple[Array, float]:
    """A damped step, and the gain that it foresees."""
    equations = with_prior(normal(problem, shown, each, damping=damping), at, prior)
    matrix, pull = equations.matrix, equations.pull
    diagonal = np.diag(matrix).copy()
    matrix[np.diag_indices_from(matrix)] += damping * diagonal
    fixed, step = held(at, pull), np.zeros(pull.size)
    fixed[at.ks.size : at.ks.size + at.bend.size] |= not bend
    fixed[at.ks.size + at.bend.size :] |= not shape
    lowest = np.full(pull.size, -np.inf)
    lowest[: at.ks.size] = -at.ks.ravel()
    for _ in range(_AGAIN):
        if not fixed.any():
            step = solve(matrix, pull)
        else:
            free = np.flatnonzero(~fixed)
            right = pull[free] - matrix[np.ix_(free, np.flatnonzero(fixed))] @ step[fixed]
            step[free] = solve(matrix[np.ix_(free, free)], right)
        beyond = ~fixed & (step < lowest)
        if not beyond.any():
            break
        step[beyond] = lowest[beyond]
        fixed |= beyond
    step = np.maximum(step, lowest)
    return step, float(2.0 * step @ pull - step @ matrix @ step + damping * (diagonal * step) @ step)


def moved(problem: Problem, at: Unknowns, shown: Shown, each: Parts, step: Array, damping: float) -> Unknowns:
    """The point after a step of what castings share, their own unknowns along with it."""
    shared, bends = at.ks.size, at.bend.size
    return Unknowns(
        ks=np.maximum(at.ks + step[:shared].reshape(at.ks.shape), 0.0),
        bend=at.bend + step[shared : shared + bends].reshape(at.bend.shape),
        shape=at.shape + step[shared + bends :],
        own=np.where(problem.used, at.own + own_step(problem, shown, each, step, damping), 0.0),
    )
