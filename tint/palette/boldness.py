"""How far a blend lies outside what was cast, and by how much that widens its stated error."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping

from tint.materials import Blend
from tint.palette.evidence import Seen, Surprise

INSIDE, PAIR, THICKNESS, LOADING, RUBBER = "inside", "pair", "thickness", "loading", "rubber"

_SLACK = 1.02  # a reading of 2.04 mm stands for 2 mm
# What a folder that says nothing of a kind of question is believed to miss, beyond what is expected, and how many
# castings that belief is worth: as many as it takes to know a variance to a half.
_BELIEVED = {INSIDE: 1.0, PAIR: 1.5, THICKNESS: 1.25, LOADING: 1.25, RUBBER: 1.5}
_WORTH = 8.0


def bold(seen: Mapping[str, Seen], blend: Blend, thickness_mm: float) -> frozenset[str]:
    """In which ways a blend lies outside what was cast; empty for one inside.

    `pair`: two of its pigments were never cast together; `thickness`, `loading`: beyond those of the castings of its
    base; `rubber`: a pigment was never cast in this base.

    Parameters
    ----------
    thickness_mm : float
        [mm]
    """
    here = seen[blend.base]
    held = {name: loading for name, loading in blend.loadings.items() if loading > 0.0}
    together = {frozenset(pair) for each in seen.values() for pair in each.pairs}
    ways = set()
    if any(frozenset(pair) not in together for pair in itertools.combinations(held, 2)):
        ways.add(PAIR)
    if not here.thickness_mm[0] / _SLACK <= thickness_mm <= here.thickness_mm[1] * _SLACK:
        ways.add(THICKNESS)
    if any(loading > _SLACK * here.max_loading.get(name, loading) for name, loading in held.items()):
        ways.add(LOADING)
    if any(name not in here.max_loading for name in held):
        ways.add(RUBBER)
    return frozenset(ways)


def widening(surprises: Mapping[str, Surprise], ways: Iterable[str]) -> float:
    """By how much the variance of a prediction grows: the most that any of its ways of lying outside asks for.

    What was missed when castings were left out in the same way says it, beside what is believed before any casting.
    Few castings know a variance badly, which makes the tails of a prediction longer: Student's quantile over the
    normal one, by its expansion (Abramowitz and Stegun 1964, 26.7.5; from memory).
    """
    most = 1.0
    for way in (INSIDE, *ways):
        told = surprises.get(way, Surprise(ratio=1.0, castings=0))
        count = told.castings + _WORTH
        ratio = (told.ratio * told.castings + _BELIEVED[way] * _WORTH) / count
        most = max(most, ratio * (1.0 + 1.2 / count) ** 2)
    return most
