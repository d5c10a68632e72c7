"""Pigments that were cast only where they hide: how much they absorb and scatter, beyond some least amount, is unknown.

A layer that hides tells k / s and no more: any larger amount of both fits as well. The deepest minimum then lies at
the least amount that still hides, where it happens to meet the noise, and its own covariance takes that edge for a
measurement. What is likely lies beyond, where many amounts fit nearly as well, and there the covariance says so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Protocol, TypeVar

import numpy as np

from tint.fitting.priors import Prior
from tint.fitting.problem import Problem
from tint.fitting.unknowns import Shown, Unknowns, show
from tint.spectra import Array

# Standard deviations, in the root mean square of all values of its castings, by which a pigment's readings move with
# the logarithm of its amount: from here on the amount is known (tests/figures/hidden.py).
_FELT = 20.0
_TWICE = 2.0  # times an amount: enough for what hides to stop hiding
# So many times as much half of what hides is missed as twice of it: 23 to 600 in workshops 1006 and 1012 of
# tests/figures/workshops.py --mie, 4 of a white that hides but for its blue end, 0.8 to 2.2 where nothing hides.
_LESS = 3.0
_STEP = 1e-4  # of the logarithm of an amount, for slopes
_HELD = 0.05  # standard deviation that holds the logarithm of such an amount


class Found(Protocol):
    """Where a search ended."""

    @property
    def at(self) -> Unknowns: ...
    @property
    def shown(self) -> Shown: ...
    @property
    def cost(self) -> float: ...


F = TypeVar("F", bound=Found)


def beyond_hiding(
    problem: Problem,
    found: F,
    prior: Prior,
    *,
    missed: Callable[[Array], Array],
    search: Callable[[Array, Prior], F],
) -> F:
    """What was found, or where nothing speaks against it a minimum with more of the pigments that only hide.

    Parameters
    ----------
    missed : callable
        Of spectra, shape (n_readings, n_wavelengths), how far each number read lies from them [standard deviations].
    search : callable
        Of how many times as much there is of each component, shape (n_components,), and of a prior that holds those
        amounts, the minimum there.
    """
    ks = found.at.ks
    hidden = felt(problem, found.shown, missed) < _FELT
    hidden[hidden] = [_is_least(problem, found.at, number, missed) for number in np.flatnonzero(hidden).tolist()]
    if not hidden.any():
        return found
    more = np.where(hidden, _beyond(ks[1], prior), 1.0)
    # A step along what nothing tells may lead anywhere, so the amount is held while all else settles.
    level, _ = replace(prior, strength=np.ones_like(prior.strength), expected=0.0).level(ks[1] * more[:, None])
    held = replace(
        prior,
        strength=np.where(hidden, 1.0 / _HELD, prior.strength),
        expected=np.where(hidden, level, prior.expected),
    )
    there = search(more, held)
    s = there.at.ks[1]
    lost = there.cost - np.sum(held.level(s)[0] ** 2) + np.sum(prior.level(s)[0] ** 2) - found.cost
    # So many numbers more as the edge tells them apart meet noise that much better, were they of noise alone.
    return there if lost < hidden.sum() * missed(there.shown.values).shape[1] else found


def _is_least(problem: Problem, at: Unknowns, component: int, missed: Callable[[Array], Array]) -> bool:
    """Whether less of a component is missed by far more than more of it is: it hides.

    Of a trace, and of whatever a poor fit tells little of, either is missed about alike.
    """
    costs = []
    for amount in (1.0 / _TWICE, 1.0, _TWICE):
        ks = at.ks.copy()
        ks[:, component] *= amount
        costs.append(float(np.sum(missed(show(problem, replace(at, ks=ks)).values) ** 2)))
    less, here, more = costs
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


def felt(problem: Problem, shown: Shown, missed: Callable[[Array], Array]) -> Array:
    """By how many standard deviations a pigment's readings move with the logarithm of its amount, (n_components,).

    Infinite for bases, and for pigments that no casting holds; `missed` is that of `beyond_hiding`.
    """
    of, here = problem.readings.casting, missed(shown.values)
    moved = np.full(problem.n_components, np.inf)
    for number in range(len(problem.optics), problem.n_components):
        share = shown.share[of, number, None]
        if share.any():
            by_amount = share * np.einsum("irw,iw->rw", shown.by_mixed, shown.coefficients[:, number])
            by = (missed(shown.values + _STEP * by_amount) - here) / _STEP
            moved[number] = np.sqrt(np.mean(by[share[:, 0] > 0.0] ** 2))
    return moved
