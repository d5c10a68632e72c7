"""The least-squares minimum of a fit, with k and s never negative.

Steps are those of `tint.descent`, by the normal equations of `normal`. An unknown that rests on its bound and would
leave it is held there; one that a step would take beyond its bound stops at it, and the step of all others is solved
again with that in it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from tint.descent import GAIN, MOST_STEPS, descend
from tint.fitting.chain import factor, held_at, raised, solved, times
from tint.fitting.normal import Normal, Parts, from_row, in_row, normal, own_solve, parts, without_own
from tint.fitting.priors import Prior
from tint.fitting.problem import Problem
from tint.fitting.unknowns import Shown, Unknowns, show
from tint.spectra import Array

ROUGHLY = 1e-3  # gain that ends a search whose weights are not yet the last ones
_AGAIN = 5  # times that a step is solved again with the bounds it met
_MANY_AT_BOUND = 1000  # from where it is cheaper to factorise again than to correct, of 150 pigments


@dataclass(frozen=True, eq=False)
class Minimum:
    """Where the search for k and s stands, or ended."""

    at: Unknowns
    shown: Shown
    parts: Parts
    cost: float  # sum of squares of residuals and of all priors
    steps: int = 0
    settled: bool = False  # whether it ended because nothing was left to gain


def minimise(
    problem: Problem,
    start: Unknowns,
    prior: Prior,
    *,
    weight: Array,
    most_steps: int = MOST_STEPS,
    gain: float = GAIN,
    bend: bool = True,
    shape: bool = True,
    step_taken: Callable[[int, float], None] | None = None,
) -> Minimum:
    """Search for k and s from a start; see `descend`.

    `weight` is one over the standard deviation of each value, shape (n_readings, n_wavelengths). Anisotropies are
    searched too where `bend` is true, indices and the spot where `shape` is; else they stay where they start.
    """

    def step(here: Minimum, damping: float) -> tuple[Minimum, float]:
        there, foreseen = _step(problem, here, prior, damping, bend=bend, shape=shape)
        return _evaluate(problem, there, prior, weight), foreseen

    first = _evaluate(problem, start, prior, weight)
    found, steps, settled = descend(first, step, most_steps=most_steps, gain=gain, step_taken=step_taken)
    return replace(found, steps=steps, settled=settled)


def _evaluate(problem: Problem, at: Unknowns, prior: Prior, weight: Array) -> Minimum:
    shown = show(problem, at)
    each = parts(problem, at, shown, weight=weight)
    cost = each.cost + prior_cost(at, prior)
    return Minimum(at, shown, each, cost if np.isfinite(cost) else np.inf)


def prior_cost(at: Unknowns, prior: Prior) -> float:
    """Sum of squares of the priors of what castings share."""
    away = float(np.sum(((at.ks - prior.mean) / prior.sd) ** 2) + np.sum(at.bend**2) + np.sum(at.shape**2))
    return away + float(np.sum(prior.bent(at.ks[1]) ** 2) + np.sum(prior.level(at.ks[1])[0] ** 2))


def with_prior(equations: Normal, at: Unknowns, prior: Prior) -> Normal:
    """Normal equations with the priors of k, s, anisotropies and shape added."""
    scores = np.concatenate((at.bend.ravel(), at.shape))
    n_shared = equations.border.shape[0] + scores.size
    weight = prior.sd**-2.0
    differences = np.diff(np.eye(at.ks.shape[2]), 2, axis=0)
    smooth = differences.T @ (prior.stiffness[..., None] ** 2 * differences)  # (n_components, W, W)
    level, slope = prior.level(at.ks[1])
    diagonal = weight.copy()
    diagonal[1] += np.einsum("pww->pw", smooth)
    pull = -weight * (at.ks - prior.mean)
    pull[1] -= np.einsum("pvw,pw->pv", smooth, at.ks[1]) + (slope * level)[:, None]
    own = np.zeros(equations.pull.size - n_shared)
    return replace(
        raised(equations, np.concatenate((in_row(diagonal), np.ones(scores.size), own))),
        stiff=np.where(np.eye(at.ks.shape[2], dtype=bool), 0.0, smooth),
        level=np.broadcast_to(slope[:, None], at.ks[1].shape),
        pull=equations.pull + np.concatenate((in_row(pull), -scores, own)),
    )


def _step(
    problem: Problem, here: Minimum, prior: Prior, damping: float, *, bend: bool, shape: bool
) -> tuple[Unknowns, float]:
    """Where a damped step leads, and the gain that it foresees."""
    at, each = here.at, here.parts
    equations = with_prior(normal(problem, here.shown, each), at, prior)
    pull, diagonal = without_own(problem, here.shown, each, equations, damping)
    n_ks, n_shared, bends = at.ks.size, pull.size, at.bend.size
    of_own = np.einsum("nii->ni", each.own)[problem.used]
    damped = raised(equations, damping * np.concatenate((diagonal, of_own)))
    start = in_row(at.ks)
    # An unknown that rests on its bound and would leave it stays.
    fixed = np.zeros(equations.pull.size, dtype=bool)
    fixed[:n_ks] = (start <= 0.0) & (pull[:n_ks] <= 0.0)
    fixed[n_ks : n_ks + bends] = not bend
    fixed[n_ks + bends : n_shared] = not shape
    lowest = np.full(fixed.size, -np.inf)
    lowest[:n_ks] = -start
    step = _bounded(held_at(damped, fixed, np.zeros(fixed.size)), lowest)
    step = np.concatenate((np.maximum(step, lowest)[:n_shared], np.zeros(of_own.size)))
    along = times(equations, step)
    shared, of_step = step[:n_shared], along[n_shared:]
    own_pull = equations.pull[n_shared:]
    foreseen = 2.0 * shared @ pull - shared @ along[:n_shared] + of_step @ own_solve(problem, each, of_step, damping)
    own = np.zeros_like(at.own)
    own[problem.used] = own_solve(problem, each, own_pull - of_step, damping)
    there = Unknowns(
        ks=np.maximum(at.ks + from_row(step, problem), 0.0),
        bend=at.bend + step[n_ks : n_ks + bends].reshape(at.bend.shape),
        shape=at.shape + step[n_ks + bends : n_shared],
        own=np.where(problem.used, at.own + own, 0.0),
    )
    return there, float(foreseen)


def _bounded(equations: Normal, lowest: Array) -> Array:
    """The solution in which what would fall below its bound rests there.

    A few that do are a correction of low rank. Of many, as in the first steps of a large fit, that would cost more than
    to factorise the equations again with those held, and memory for a column of all unknowns each.
    """
    factored = factor(equations)
    first = solved(factored, equations.pull[:, None])[:, 0]
    held = np.zeros(first.size, dtype=bool)
    step, at_bound, columns = first, np.zeros(0, dtype=np.int64), np.zeros((first.size, 0))
    for _ in range(_AGAIN):
        beyond = np.setdiff1d(np.flatnonzero((step < lowest) & ~held), at_bound)
        if not beyond.size:
            break
        if at_bound.size + beyond.size > _MANY_AT_BOUND:
            held[beyond], held[at_bound] = True, True
            within = held_at(equations, held, lowest)
            factored = factor(within)
            first = solved(factored, within.pull[:, None])[:, 0]
            step, at_bound, columns = first, at_bound[:0], columns[:, :0]
            continue
        unit = np.zeros((first.size, beyond.size))
        unit[beyond, np.arange(beyond.size)] = 1.0
        at_bound = np.concatenate((at_bound, beyond))
        columns = np.concatenate((columns, solved(factored, unit)), axis=1)
        short = np.linalg.solve(columns[at_bound], first[at_bound] - lowest[at_bound])
        step = first - columns @ short
        step[at_bound] = lowest[at_bound]
    return step
