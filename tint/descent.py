"""Least squares by damped steps: Levenberg-Marquardt (Marquardt 1963, J. SIAM 11, 431), for one fit or many alike."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, TypeVar

import numpy as np

from tint.spectra import Array

# A fit of 150 pigments takes 44 steps (tests/figures/growth.py); the search ends at a gain below this share, by eye.
MOST_STEPS = 100
GAIN = 1e-5
_STIFFEST, _LEAST_DAMPING = 1e12, 1e-9


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
    most_steps: int = MOST_STEPS,
    gain: float = GAIN,
    step_taken: Callable[[int, float], None] | None = None,
) -> tuple[P, int, bool]:
    """Levenberg-Marquardt: damped steps until nothing is left to gain.

    `step` leads from a point and a damping to the point there and the gain in cost that the normal equations
    foresee. A search ends where what a step gains, foreseen and found, is below the share `gain` of the cost.
    `step_taken` is told after each step how many were taken and the cost. Returns the point, the number of steps,
    and whether the search ended because nothing was left to gain.
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
            if damping <= _LEAST_DAMPING or gain > GAIN:
                return at, number, True
            # Damping holds back just what the readings hardly tell: without it there may be more to gain.
            damping, harder = _LEAST_DAMPING, 4.0
            continue
        # The better the foresight, the less the next step is damped (Nielsen 1999, IMM-REP-1999-05; from memory).
        agreed = min(gained / max(foreseen, 1e-300), 2.0)
        damping, harder = max(damping * max(0.1, 1.0 - (2.0 * agreed - 1.0) ** 3), _LEAST_DAMPING), 4.0
    return at, most_steps, False


@dataclass(frozen=True, eq=False)
class _Scored:
    unknowns: Array
    information: Array
    pull: Array
    cost: float


def most_likely(
    residual: Callable[[Array], tuple[Array, Array]], start: Array, *, most_steps: int, gain: float
) -> tuple[Array, Array, float]:
    """Where the sum of squares of residuals and of the unknowns themselves is least.

    `residual` gives of n unknowns the residuals in standard deviations, shape (m,), and their slopes, shape (m, n).
    Returns the unknowns, the inverse of their covariance, in which that of the prior is one, and the sum of
    squares.

    The prior keeps the normal equations well conditioned, so they may be solved as they are: ten times as fast as
    by the singular values that libraries use to be safe.
    """

    def at(unknowns: Array) -> _Scored:
        missed, slopes = residual(unknowns)
        information = slopes.T @ slopes + np.eye(unknowns.size)
        cost = float(missed @ missed + unknowns @ unknowns)
        return _Scored(unknowns, information, -(slopes.T @ missed) - unknowns, cost)

    def step(here: _Scored, damping: float) -> tuple[_Scored, float]:
        damped = here.information + damping * np.diag(np.diag(here.information))
        by = np.linalg.solve(damped, here.pull)
        return at(here.unknowns + by), float(2.0 * by @ here.pull - by @ here.information @ by)

    found, _, _ = descend(at(start), step, most_steps=most_steps, gain=gain)
    return found.unknowns, found.information, found.cost
