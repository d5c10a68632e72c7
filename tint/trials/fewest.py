"""The fewest doses to change: a correction that leaves alone what is right."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tint.appearance import Setting
from tint.materials import Blend
from tint.opacity import MET
from tint.palette import Palette
from tint.recipes import Rules, limits
from tint.recipes.aims import STRICT, judge, lay_out
from tint.recipes.search import minimise
from tint.recipes.sparing import ALIKE
from tint.target import Target

Array = NDArray[np.float64]
Index = NDArray[np.int64]

_AS_SOLID = 0.001  # of contrast ratio: lost by a correction, and seen by nobody
_EQUAL = 0.1  # CIEDE2000 between corrections of as many doses: of those the one that changes less


def fewest_changes(
    palette: Palette, target: Target, blend: Blend, *, setting: Setting, rules: Rules
) -> tuple[str, ...]:
    """Pigments of a blend whose doses are to be changed: as few as bring it as near as changing all would.

    Parameters
    ----------
    palette : Palette
        As it is now believed to be.
    blend : Blend
        What was poured.

    Returns
    -------
    tuple of str
        Empty where nothing gains by being changed.
    """
    bounds = limits.bounds(palette, blend.base, replace(rules, keep=(), fixed={}))
    problem = lay_out(
        palette, target, setting=setting, base=blend.base, largest=bounds.largest[:-1], walls_mm=rules.walls_mm
    )
    problem = replace(problem, thrift=0.0, opacity_scale=STRICT)
    poured = palette.loadings(blend)
    held = np.flatnonzero(poured)
    ways = [way for size in range(len(held) + 1) for way in itertools.combinations(range(len(held)), size)]
    free = np.array([[slot in way for slot in range(len(held))] for way in ways], dtype=bool).reshape(len(ways), -1)
    sets = np.tile(held, (len(ways), 1))
    now = poured[sets]

    def residuals(rows: Index, loadings: Array) -> tuple[Array, Array]:
        judged = judge(problem, sets[rows], loadings, rows)
        return judged.residuals, judged.slopes

    found = minimise(
        residuals,
        now,
        low=np.where(free, bounds.low[sets], now),
        high=np.where(free, np.maximum(bounds.high[sets], now), now),
        total=max(bounds.total, float(poured.sum())),
    )
    judged = judge(problem, sets, found.loadings)
    colour, opacity = judged.colour.max(axis=1), np.abs(judged.opacity).max(axis=1, initial=0.0)
    solid = opacity <= max(float(opacity.min()), MET if not target.asks_opacity else _AS_SOLID) + 1e-9
    near = solid & (colour <= float(colour[solid].min()) + ALIKE)
    size = free.sum(axis=1)
    moved = np.sum(np.abs(np.log(np.maximum(found.loadings, 1e-9) / now)), axis=1) if len(held) else np.zeros(1)
    order = np.lexsort((moved, np.floor(colour / _EQUAL), size, ~near))
    names = list(palette.pigments)
    return tuple(names[held[slot]] for slot in ways[int(order[0])])
