"""The faces and the anisotropy that a fit assumes; the search for the g under which the swatches agree best."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

from tint.fit.problem import Problem
from tint.optics.layer import Optics
from tint.swatches import SwatchFolder

G_STEP = 0.05  # of the anisotropies tried: a grid, so that palettes share their tables
_G_MOST = 0.9


def optics_of(folder: SwatchFolder, model: str, g: float) -> tuple[Optics, ...]:
    """The layer model of each base, in the folder's order."""
    return tuple(
        Optics(
            model=model,
            refractive_index=base.refractive_index,
            geometry=folder.instrument.geometry,
            g=g,
            k1=base.k1,
            k2=base.k2,
        )
        for base in folder.bases.values()
    )


def with_g(problem: Problem, g: float) -> Problem:
    """The same problem under another anisotropy."""
    return replace(problem, optics=tuple(replace(optics, g=g) for optics in problem.optics))


def best_step(cost: Callable[[int], float]) -> int:
    """The whole number of steps of g that costs least, by a golden-section search: few trials, none twice."""
    known = cache(cost)
    low, high = 0, round(_G_MOST / G_STEP)
    while high - low > 2:
        inner = (high - low) * (3.0 - 5.0**0.5) / 2.0
        left, right = low + round(inner), high - round(inner)
        left = left - 1 if left == right else left
        low, high = (low, right) if known(left) <= known(right) else (left, high)
    return min(range(low, high + 1), key=known)
