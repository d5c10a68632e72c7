"""Castings whose readings are those of each other, names or rows swapped or slid; and rows that slid by a column."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from tint.checks.finding import Finding, Index
from tint.checks.out_of_line import Judged, shown_as
from tint.spectra import Array
from tint.swatches import Swatch

_EXPLAINED = 0.1  # of what two castings miss may stay for them to count as swapped; chosen by eye
_FAR = 1e12  # a miss that no assignment takes
_SLID = 3  # castings that read as others do: fewer may be so by a slip of a dose; chosen by eye
_MOST_COLUMNS = 2  # by which a row may have slid; chosen by eye


@dataclass(frozen=True, eq=False)
class _Out:
    """A casting that was out of line when it left the fit."""

    swatch: Swatch
    judged: Judged


def of_mixed_up(named: Sequence[Judged]) -> tuple[list[Finding], frozenset[str]]:
    """The castings among those out of line that agree once their readings change places, or those of a row do.

    Parameters
    ----------
    named : sequence of Judged
        The castings out of line, each with the fit that contradicted it, the worst first.

    Returns
    -------
    findings : list of Finding
        One for each casting whose row is another way round; for each ring of castings that read as one another; and
        for those that read as others do, of which not all are out of line.
    about : frozenset of str
        Those castings, of which nothing else need be told.
    """
    turned = {each.ground.name(each.left): told for each in named if (told := _turned(each)) is not None}
    findings = [_of_row(name, *told) for name, told in turned.items()]
    about = set(turned)
    out = [_Out(each.ground.swatch(each.left), each) for each in named]
    out = [each for each in out if each.swatch.name not in about]
    if len(out) < 2:
        return findings, frozenset(about)
    # The others of the folder too: of castings that slid by a row, one may agree with its new name by chance.
    own = [each.swatch for each in out]
    others = [swatch for swatch in named[0].ground.folder.swatches if swatch.name not in {each.name for each in own}]
    missed = np.array([[_missed(one, other) for other in (*own, *others)] for one in out])
    from scipy.optimize import linear_sum_assignment  # 0.3 s to import; only a check needs it

    _, among = linear_sum_assignment(np.sqrt(missed[:, : len(out)]))
    for ring in _rings(among):
        of = np.array(ring)
        if len(ring) > 1 and missed[of, among[of]].sum() <= _EXPLAINED * missed[of, of].sum():
            names = [own[at].name for at in ring]
            findings.append(_told(list(zip(names, [*names[1:], names[0]], strict=True))))
            about.update(names)
    left = [at for at, swatch in enumerate(own) if swatch.name not in about]
    if len(left) >= _SLID:
        _, taken = linear_sum_assignment(np.sqrt(missed[left]))
        moved = [
            (own[at].name, (*own, *others)[other].name)
            for at, other in zip(left, taken, strict=True)
            if other != at and missed[at, other] <= _EXPLAINED * missed[at, at]
        ]
        if len(moved) >= _SLID:
            findings.append(_told(moved))
            about.update(name for name, _ in moved)
    return findings, frozenset(about)


# A row whose cells stand in other columns than they should.


def _turned(judged: Judged) -> tuple[str, float] | None:
    """How the rows of a casting must be read to agree with all others, and what that leaves of the miss; else None."""
    ground, left = judged.ground, judged.left
    read = ground.fitted.problem.read[left.rows]
    seen = read - left.missed  # as foretold
    before = float(left.missed.ravel() @ judged.inverse @ left.missed.ravel())
    best: tuple[str, float] | None = None
    for words, other in _ways(read, seen):
        miss = (other - seen).ravel()
        share = float(miss @ judged.inverse @ miss) / before
        if share <= _EXPLAINED and (best is None or share < best[1]):
            best = words, share
    return best


def _ways(read: Array, seen: Array) -> Iterator[tuple[str, Array]]:
    """Readings as they would be, were their columns in another order; what was lost at an end is as foretold."""
    yield "read backwards, from the last wavelength to the first,", read[:, ::-1]
    for by in range(1, _MOST_COLUMNS + 1):
        far = f"{by} column{'s' if by > 1 else ''}"
        yield f"moved by {far} towards the first wavelength,", np.concatenate((read[:, by:], seen[:, -by:]), axis=1)
        yield f"moved by {far} towards the last wavelength,", np.concatenate((seen[:, :by], read[:, :-by]), axis=1)


def _of_row(name: str, how: str, share: float) -> Finding:
    return Finding(
        kind="shifted_row",
        where=name,
        about=(name,),
        words=f"{how} its rows agree with the other castings: {100.0 * share:.1f} % of what they miss is left",
        effect="absorption and scattering of what it holds are fitted at the wrong wavelengths",
        mend="see its rows in readings.csv: their columns are those of other wavelengths",
    )


def _missed(one: _Out, other: Swatch) -> float:
    """By how much the readings of a casting miss what another's blend and thickness would read.

    The square of its length, in standard deviations.
    """
    ground, left = one.judged.ground, one.judged.left
    if one.swatch.base != other.base:
        return _FAR
    problem, casting = ground.fitted.problem, left.castings[0]
    pigments = tuple(ground.folder.pigments)
    loadings = np.array([problem.loadings[casting], [other.loadings.get(name, 0.0) for name in pigments]])
    depths = np.array([problem.thickness[casting], other.thickness_mm])
    as_written, as_other = shown_as(ground.fitted, left.rows, depths, loadings)
    miss = (left.missed + as_written - (as_written if one.swatch is other else as_other)).ravel()
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


def _told(moved: Sequence[tuple[str, str]]) -> Finding:
    names = [name for name, _ in moved]
    pairs = ", ".join(f"{one} reads as {two} should" for one, two in moved)
    how = "swapped" if len(names) == 2 else "mixed up: a column may have slid by a row"
    return Finding(
        kind="mixed_up",
        where=f"{', '.join(names[:-1])} and {names[-1]}",
        about=tuple(names),
        words=f"{pairs}: their rows or names are {how}",
        effect="every pigment in them is fitted to colours that it did not make",
        mend="see the rows of readings.csv and swatches.csv, and the labels on the castings; put each back to its own",
    )
