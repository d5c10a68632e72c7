"""Castings whose readings are those of each other: names, blends or rows that were swapped, or slid by a row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tint.checks.finding import Finding, Index
from tint.checks.out_of_line import Judged, shown_as
from tint.spectra import Array
from tint.swatches import Swatch

_EXPLAINED = 0.1  # of what two castings miss may stay for them to count as swapped; chosen by eye
_FAR = 1e12  # a miss that no assignment takes


@dataclass(frozen=True, eq=False)
class _Out:
    """A casting that was out of line when it left the fit."""

    swatch: Swatch
    judged: Judged


def of_mixed_up(named: Sequence[Judged]) -> tuple[list[Finding], frozenset[str]]:
    """The castings among those out of line that agree once their readings change places.

    Parameters
    ----------
    named : sequence of Judged
        The castings out of line, each with the fit that contradicted it.

    Returns
    -------
    findings : list of Finding
        One for each ring of castings that read as one another.
    about : frozenset of str
        Those castings, of which nothing else need be told.
    """
    out = [_Out(each.ground.swatch(each.left), each) for each in named]
    if len(out) < 2:
        return [], frozenset()
    missed = np.array([[_missed(one, other) for other in out] for one in out])
    from scipy.optimize import linear_sum_assignment  # 0.3 s to import; only a check needs it

    _, taken = linear_sum_assignment(np.sqrt(missed))
    findings: list[Finding] = []
    about: set[str] = set()
    for ring in _rings(taken):
        of = np.array(ring)
        if len(ring) > 1 and missed[of, taken[of]].sum() <= _EXPLAINED * missed[of, of].sum():
            names = [out[at].swatch.name for at in ring]
            findings.append(_told(names))
            about.update(names)
    return findings, frozenset(about)


def _missed(one: _Out, other: _Out) -> float:
    """By how much the readings of a casting miss what another's blend and thickness would read.

    The square of its length, in standard deviations.
    """
    ground, left = one.judged.ground, one.judged.left
    if one.swatch.base != other.swatch.base:
        return _FAR
    problem, casting = ground.fitted.problem, left.castings[0]
    pigments = tuple(ground.folder.pigments)
    loadings = np.array([problem.loadings[casting], [other.swatch.loadings.get(name, 0.0) for name in pigments]])
    depths = np.array([problem.thickness[casting], other.swatch.thickness_mm])
    as_written, as_other = shown_as(ground.fitted, left.rows, depths, loadings)
    miss = (left.missed + as_written - (as_written if one is other else as_other)).ravel()
    return float(miss @ one.judged.inverse @ miss)


def _rings(taken: Index | Array) -> list[list[int]]:
    """The rings of an assignment: each takes the place of the next."""
    rings, seen = [], set[int]()
    for start in range(len(taken)):
        ring, at = [], start
        while at not in seen:
            seen.add(at)
            ring.append(at)
            at = int(taken[at])
        if ring:
            rings.append(ring)
    return rings


def _told(names: Sequence[str]) -> Finding:
    pairs = ", ".join(f"{one} reads as {two} should" for one, two in zip(names, [*names[1:], names[0]], strict=True))
    how = "swapped" if len(names) == 2 else "mixed up: a column may have slid by a row"
    return Finding(
        kind="mixed_up",
        where=f"{', '.join(names[:-1])} and {names[-1]}",
        about=tuple(names),
        words=f"{pairs}: their rows or names are {how}",
        effect="every pigment in them is fitted to colours that it did not make",
        mend="see the rows of readings.csv and swatches.csv, and the labels on the castings; put each back to its own",
    )
