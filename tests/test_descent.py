"""Damped steps end where the sum of squares is least."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares

from tint.descent import most_likely

Array = NDArray[np.float64]


def test_reference_a_straight_problem_has_the_solution_of_its_normal_equations() -> None:
    rng = np.random.default_rng(3)
    slopes, wanted = rng.normal(size=(9, 4)), rng.normal(size=9)
    found, information, cost = most_likely(
        lambda x: (slopes @ x - wanted, slopes), np.zeros(4), most_steps=9, gain=1e-12
    )
    exact = np.linalg.solve(slopes.T @ slopes + np.eye(4), slopes.T @ wanted)
    assert found == pytest.approx(exact, abs=1e-9)
    assert information == pytest.approx(slopes.T @ slopes + np.eye(4))
    assert cost == pytest.approx(np.sum((slopes @ exact - wanted) ** 2) + np.sum(exact**2))


def test_reference_a_bent_problem_ends_where_another_search_does() -> None:
    at, seen = np.linspace(0.0, 2.0, 12), 3.0 * np.exp(-1.7 * np.linspace(0.0, 2.0, 12))

    def residual(x: Array) -> tuple[Array, Array]:
        drop = np.exp(-x[1] * at)
        return 20.0 * (x[0] * drop - seen), 20.0 * np.stack((drop, -x[0] * at * drop), axis=-1)

    def whole(x: Array) -> Array:
        return np.concatenate((residual(x)[0], x))

    found, _, cost = most_likely(residual, np.array([0.1, 0.1]), most_steps=60, gain=1e-12)
    other = least_squares(whole, [0.1, 0.1], xtol=1e-12, ftol=1e-12)
    assert found == pytest.approx(other.x, rel=1e-6)
    assert cost == pytest.approx(2.0 * other.cost, rel=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_reference_the_posterior_mode_is_scipy_s(seed: int) -> None:
    random = np.random.default_rng(seed)
    by, bent = random.normal(size=(40, 8)), random.normal(size=(40, 8))
    read = 3.0 * random.normal(size=40)

    def residual(u: Array) -> tuple[Array, Array]:
        t = np.tanh(bent @ u)
        return by @ u + 2.0 * t - read, by + 2.0 * (1.0 - t[:, None] ** 2) * bent

    start = random.normal(size=8)
    found, information, cost = most_likely(residual, start, most_steps=60, gain=1e-7)

    def whole(u: Array) -> Array:
        return np.concatenate((residual(u)[0], u))

    there = least_squares(whole, found, xtol=1e-14, ftol=1e-14, gtol=1e-12)
    assert cost == pytest.approx(2.0 * there.cost, rel=1e-5)
    assert np.allclose(found, there.x, rtol=0.0, atol=2e-3)
    slopes = residual(found)[1]
    assert np.allclose(information, slopes.T @ slopes + np.eye(8))
    far = least_squares(whole, start)
    assert cost < 2.0 * far.cost * 1.001


def test_reference_of_a_linear_problem_one_gets_the_textbook_s_answer() -> None:
    random = np.random.default_rng(9)
    by, read = random.normal(size=(5, 12)), random.normal(size=5)  # fewer readings than unknowns
    found, information, cost = most_likely(lambda u: (by @ u - read, by), np.full(12, 5.0), most_steps=60, gain=1e-7)
    covariance = np.eye(12) - by.T @ np.linalg.solve(by @ by.T + np.eye(5), by)  # Woodbury's, not ours
    assert np.allclose(np.linalg.inv(information), covariance, rtol=0.0, atol=1e-12)
    assert np.allclose(found, covariance @ by.T @ read, rtol=0.0, atol=1e-6)
    assert cost == pytest.approx(read @ np.linalg.solve(by @ by.T + np.eye(5), read), rel=1e-6)
