"""What an examination finds, and from where a difference is no longer luck."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

_CHANCE = 1e-3  # that one kind of check, over all it compares in a folder, finds something where nothing is
_LISTED = 6  # names told before the rest are counted


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One thing that a metrologist would ask about."""

    kind: str  # a word for machines, such as `replicates` or `strength`
    where: str  # the swatch, pigment, base or backing, and the wavelengths where that says more
    words: str  # what is seen, with numbers and units
    effect: str  # what it does to predictions
    mend: str  # what to pour or read
    # the swatches that are at fault by it, or the pigment that emits light; empty where what lacks is at fault
    about: tuple[str, ...] = ()


def limit(comparisons: int) -> float:
    """Standard deviations that the largest of so many normal errors exceeds once in a thousand folders [-].

    Bonferroni's bound, on both sides: it holds whether or not the errors are independent.
    """
    return NormalDist().inv_cdf(1.0 - 0.5 * _CHANCE / max(comparisons, 1))


def spread_limit(comparisons: int, freedom: int) -> float:
    """Root mean square of `freedom` unit normal errors that the largest of so many exceeds as seldom [-].

    Wilson and Hilferty (1931, PNAS 17, 684), from memory.
    """
    width = 2.0 / (9.0 * max(freedom, 1))
    return float((1.0 - width + limit(comparisons) * width**0.5) ** 1.5)


def listed(names: Sequence[str]) -> str:
    """Names in a row, the rest counted when there are many."""
    more = len(names) - _LISTED
    return ", ".join(names[:_LISTED]) + (f" and {more} more" if more > 0 else "")
