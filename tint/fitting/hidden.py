"""Pigments that were cast only where they hide: how much they absorb and scatter, beyond some least amount, is unknown.

A layer that hides tells k / s and no more: any larger amount of both fits as well. The deepest minimum then lies at
the least amount that still hides, where it happens to meet the noise, and its own covariance takes that edge for a
measurement. What is likely lies beyond, where many amounts fit nearly as well, and there the covariance says so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tint.fitting import priors
from tint.fitting.minimise import ROUGHLY, Minimum, minimise, prior_cost
from tint.fitting.priors import Prior
from tint.fitting.problem import Problem
from tint.fitting.unknowns import Unknowns, show
from tint.spectra import Array

# Standard deviations, in the root mean square of all values of its castings, by which a pigment's readings move with
# the logarithm of its amount: from here on the amount is known (tests/figures/hidden.py).
_FELT = 20.0
_TWICE = 2.0  # times an amount: enough for what hides to stop hiding
# So many times as much half of what hides is missed as twice of it: 23 to 600 in workshops 1006 and 1012 of
# tests/figures/workshops.py --mie, 4 of a white that hides but for its blue end, 0.8 to 2.2 where nothing hides.
_LESS = 3.0
_HELD = 0.05  # standard deviation that holds the logarithm of such an amount


def beyond_hiding(
    problem: Problem, minimum: Minimum, prior: Prior, *, weight: Array, step_taken: Callable[[int, float], None]
) -> tuple[Minimum, Prior]:
    """The minimum, or where nothing speaks against it one with more of the pigments that only hide.

    With it comes the prior that is smooth about it; `weight` is that of `minimise`, as is `prior` of the minimum.
    """
    hidden = felt(problem, minimum, weight) < _FELT
    hidden[hidden] = [_is_least(problem, minimum.at, number, weight) for number in np.flatnonzero(hidden).tolist()]
    if not hidden.any():
        return minimum, prior
    ks = minimum.at.ks * np.where(hidden, _beyond(minimum.at.ks[1], prior), 1.0)[:, None]
    smooth = priors.smooth(prior, ks, problem.largest_depth, problem.anisotropy.log_wavelength)
    # A step along what nothing tells may lead anywhere, so the amount is held while all else settles.
    score, _ = prior.level(ks[1])
    held = replace(
        smooth,
        strength=np.where(hidden, 1.0 / _HELD, prior.strength),
        expected=np.where(hidden, score / np.where(hidden, prior.strength, 1.0), prior.expected),
    )
    there = minimise(problem, replace(minimum.at, ks=ks), held, weight=weight, gain=ROUGHLY, step_taken=step_taken)
    # So many numbers more as the edge tells them apart meet noise that much better, were they of noise alone.
    lost = there.parts.cost + prior_cost(there.at, smooth) - minimum.cost
    return (there, smooth) if lost < hidden.sum() * problem.n_wavelengths else (minimum, prior)


def _is_least(problem: Problem, at: Unknowns, component: int, weight: Array) -> bool:
    """Whether less of a component is missed by far more than more of it is: it hides.

    Of a trace, and of whatever a poor fit tells little of, either is missed about alike.
    """
    missed = []
    for amount in (1.0 / _TWICE, 1.0, _TWICE):
        ks = at.ks.copy()
        ks[:, component] *= amount
        values = show(problem, replace(at, ks=ks)).values
        missed.append(float(np.sum(((problem.read - values) * weight) ** 2)))
    less, here, more = missed
    return less - here > _LESS * (more - here)


def _beyond(s: Array, prior: Prior) -> Array:
    """How many times s is to be expected if it is known to be no less, shape (n_components,).

    Notes
    -----
    The mean of a normal distribution cut off at a score is the inverse of Mills's ratio there (Greene, Econometric
    Analysis, 24.2; from memory).
    """
    from scipy.special import erfcx  # only fitting needs it

    score, _ = prior.level(s)
    known = prior.strength > 0.0
    more = np.sqrt(2.0 / np.pi) / erfcx(score / np.sqrt(2.0)) - score
    return np.exp(np.where(known, more / np.where(known, prior.strength, 1.0), 0.0))


def felt(problem: Problem, minimum: Minimum, weight: Array) -> Array:
    """By how many standard deviations a pigment's readings move with the logarithm of its amount, (n_components,).

    Infinite for bases, and for pigments that no casting holds.
    """
    shown, of = minimum.shown, problem.readings.casting
    moved = np.full(problem.n_components, np.inf)
    for number in range(len(problem.optics), problem.n_components):
        rows = np.flatnonzero(shown.share[of, number] > 0.0)
        if rows.size:
            by_amount = np.einsum("irw,iw->rw", shown.by_mixed[:, rows], shown.coefficients[:, number])
            by_amount *= shown.share[of[rows], number, None] * weight[rows]
            moved[number] = np.sqrt(np.mean(by_amount**2))
    return moved
