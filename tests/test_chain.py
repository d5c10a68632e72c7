"""Equations that are a chain with a border, beside the same written out in full."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from tint.fitting.chain import covariance, factor, held_at, part_of_inverse, solved, times
from tint.fitting.normal import Normal

Array = NDArray[np.float64]


def written_out(equations: Normal) -> Array:
    """The matrix of the equations."""
    n_ks = equations.border.shape[0]
    wide, size, _ = equations.blocks.shape
    chain = np.zeros((wide, size, wide, size))
    for w in range(wide):
        chain[w, :, w] = equations.blocks[w]
    for p in range(size // 2):
        s = size // 2 + p
        chain[:, s, :, s] += equations.stiff[p] + np.outer(equations.level[p], equations.level[p])
    whole = [[chain.reshape(n_ks, n_ks), equations.border], [equations.border.T, equations.corner]]
    return np.asarray(np.block(whole))


@pytest.mark.parametrize("wide", [1, 2, 3, 8, 9])
def test_reference_a_chain_with_a_border_is_solved_as_if_written_out(wide: int) -> None:
    random = np.random.default_rng(wide)
    n, border = 3, 5
    root = random.normal(size=(wide, 2 * n, 2 * n))
    near = np.abs(np.subtract.outer(np.arange(wide), np.arange(wide)))
    stiff = random.normal(size=(n, wide, wide))
    count = wide * 2 * n + border
    equations = Normal(
        blocks=root @ root.swapaxes(1, 2) + 30.0 * np.eye(2 * n),
        stiff=np.where((near > 0) & (near <= 2), stiff + stiff.swapaxes(1, 2), 0.0),
        level=random.normal(size=(n, wide)),
        border=random.normal(size=(wide * 2 * n, border)),
        corner=(30.0 + wide) * np.eye(border),
        pull=random.normal(size=count),
    )
    whole, factored = written_out(equations), factor(equations)
    inverse = np.linalg.inv(whole)
    right = random.normal(size=(count, 4))
    assert np.allclose(solved(factored, right), inverse @ right)
    assert np.allclose(covariance(factored, right), right.T @ inverse @ right)
    assert np.allclose(times(equations, right[:, 0]), whole @ right[:, 0])
    told = part_of_inverse(factored, n)
    assert np.allclose(told.variance, np.diag(inverse))
    of_s = inverse[: wide * 2 * n, : wide * 2 * n].reshape(wide, 2, n, wide, 2, n)[:, 1, :, :, 1]
    meeting = np.array([of_s[:, p, :, p] for p in range(n)])
    assert np.allclose(told.near, np.where((near > 0) & (near <= 2), meeting, 0.0))

    fixed = random.random(count) < 0.3
    values = np.where(fixed, random.normal(size=count), 0.0)
    held = held_at(equations, fixed, values)
    found = solved(factor(held), held.pull[:, None])[:, 0]
    free = ~fixed
    rest = equations.pull[free] - whole[np.ix_(free, fixed)] @ values[fixed]
    assert np.allclose(found[free], np.linalg.solve(whole[np.ix_(free, free)], rest))
    assert np.allclose(found[fixed], values[fixed])


def test_equations_that_rounding_leaves_not_positive_are_solved_all_the_same() -> None:
    one = np.ones((2, 2, 2))
    equations = Normal(one, np.zeros((1, 2, 2)), np.zeros((1, 2)), np.zeros((4, 1)), np.ones((1, 1)), np.ones(5))
    assert np.allclose(times(equations, solved(factor(equations), equations.pull[:, None])[:, 0]), 1.0, atol=1e-3)
