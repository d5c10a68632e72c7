"""Castings whose readings are those of each other, names or rows swapped or slid; and rows that slid by a column."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

import numpy as np

from tint.checks.ground import Finding, Ground
from tint.checks.out_of_line import Judged, shown_as
from tint.forward import FREE
from tint.spectra import Array, Index, Mask
from tint.swatches import Swatch

_EXPLAINED = 0.1  # of what two castings miss may stay for them to count as swapped; chosen by eye
_FAR = 1e12  # a miss that no assignment takes
_SLID, _NEARER = 3, 0.4  # castings that slid at the least, and the share of their miss that stays; chosen by eye
_OTHERWISE = 0.05  # of what a casting misses may stay where its row is read otherwise; chosen by eye
_OF_LUCK = 0.2  # the same where it is no more than the stated errors leave; chosen by eye
_MOST_COLUMNS = 2  # by which a row may have slid; chosen by eye


def of_mixed_up(named: Sequence[Judged], rest: Ground) -> tuple[list[Finding], frozenset[str]]:
    """The castings among those out of line that agree once their readings change places, or those of a row do.

    `named` are the castings out of line, each with the fit that contradicted it, the worst first; `rest` is the fit
    without any of them. Returns a finding for each casting whose rows are another way round, or of another seat,
    and for each ring of castings that read as one another; and all of these castings, of which nothing else need be
    told.
    """
    slid = _slid([each.swatch for each in named], named[0].ground, rest) if named else []
    findings, about = ([_told(slid)] if slid else []), set(slid)

    def turn(*, doses: bool) -> None:
        for each in named:
            if each.swatch.name not in about and (told := _turned(each, doses=doses)) is not None:
                findings.append(_of_row(each.swatch.name, *told))
                about.add(each.swatch.name)

    turn(doses=False)
    for names in _swapped([each for each in named if each.swatch.name not in about]):
        findings.append(_told(names))
        about.update(names)
    turn(doses=True)  # last: two castings alike but for a pigment, swapped, read as if each had other doses
    return findings, frozenset(about)


def _swapped(out: Sequence[Judged]) -> Iterator[list[str]]:
    """Rings of castings of which each reads as the next."""
    if len(out) < 2:
        return
    own = [each.swatch for each in out]
    missed = np.array([each.squares(each.misses_as(*_poured(own, each.ground))) for each in out])
    missed[_of_other_bases(own)] = _FAR
    from scipy.optimize import linear_sum_assignment  # 0.3 s to import; only a check needs it

    _, among = linear_sum_assignment(np.sqrt(missed))
    for ring in _rings(among):
        of = np.array(ring)
        if len(ring) > 1 and missed[of, among[of]].sum() <= _EXPLAINED * missed[of, of].sum():
            yield [own[at].name for at in ring]


def _slid(own: Sequence[Swatch], all_of: Ground, rest: Ground) -> list[str]:
    """Several castings of which each reads as the next, by what is left without them.

    Where as many are wrong as hold a pigment, each was judged by a palette that the others had spoilt.
    """
    if len(own) < _SLID:
        return []
    from scipy.optimize import linear_sum_assignment

    off = np.array([_off(each, own, all_of, rest) for each in own])
    off[_of_other_bases(own)] = _FAR
    _, taken = linear_sum_assignment(off**2)
    for ring in _rings(taken):
        if len(ring) >= _SLID and all(off[at, taken[at]] <= _NEARER * off[at, at] for at in ring):
            return [own[at].name for at in ring]
    return []


def _off(one: Swatch, others: Sequence[Swatch], all_of: Ground, rest: Ground) -> Array:
    """Root mean square by which the readings of a casting miss what others would read, shape (n,) [reflectance]."""
    problem = all_of.fitted.problem
    own = problem.readings.casting == problem.names.index(one.name)
    rows = np.flatnonzero(own & (problem.readings.backing >= FREE))
    if not rows.size:
        return np.full(len(others), _FAR)
    seen = shown_as(all_of.fitted, rows, *_poured(others, all_of), minimum=rest.fitted.minimum)
    return np.asarray(np.sqrt(np.mean((problem.read[rows] - seen) ** 2, axis=(1, 2))))


def _poured(swatches: Sequence[Swatch], ground: Ground) -> tuple[Array, Array]:
    """Thicknesses, shape (n,) [mm], and loadings, shape (n, n_pigments) [%]."""
    loadings = [[each.loadings.get(name, 0.0) for name in ground.folder.pigments] for each in swatches]
    return np.array([each.thickness_mm for each in swatches]), np.array(loadings).reshape(len(swatches), -1)


def _of_other_bases(swatches: Sequence[Swatch]) -> Mask:
    """Which of them differ in their base, shape (n, n)."""
    bases = np.array([each.base for each in swatches])
    return np.asarray(bases[:, None] != bases)


# A row whose cells stand in other columns than they should.


def _turned(judged: Judged, *, doses: bool) -> tuple[str, float] | None:
    """How the rows of a casting must be read to agree with all others, and what that leaves of the miss; else None."""
    before = judged.mean_square * judged.left.missed.size
    most, ways = _OTHERWISE, [*_ways(judged), *_of_other_seat(judged)]
    if doses:  # what the stated errors leave may be more; of the other ways each bends any smooth curve a little
        most = max(most, min(judged.left.missed.size / before, _OF_LUCK))
        ways = list(_of_other_columns(judged))
    shares = [float(judged.squares(missed[None])[0]) / before for _, missed in ways]
    best = min(zip(shares, (words for words, _ in ways), strict=True), default=None)
    return None if best is None or best[0] > most else (best[1], best[0])


def _ways(judged: Judged) -> Iterator[tuple[str, Array]]:
    """What is missed were the columns in another order; what was lost at an end is as predicted."""
    read = judged.ground.fitted.problem.read[judged.left.rows]
    seen = read - judged.left.missed
    yield "read backwards, from the last wavelength to the first,", read[:, ::-1] - seen
    for by in range(1, _MOST_COLUMNS + 1):
        far = f"{by} column{'s' if by > 1 else ''}"
        for end, shift, lost in (("first", -by, slice(-by, None)), ("last", by, slice(by))):
            moved = np.roll(read, shift, axis=1) - seen
            moved[:, lost] = 0.0
            yield f"moved by {far} towards the {end} wavelength,", moved


def _of_other_seat(judged: Judged) -> Iterator[tuple[str, Array]]:
    """What is missed in the other seat: an air film where contact is stated, or none."""
    problem, own = judged.ground.fitted.problem, judged.left.castings
    (missed,) = judged.misses_as(problem.thickness[own], problem.loadings[own], other_seat=True)
    yield "read in the other seat, wet for air or air for wet,", missed


def _of_other_columns(judged: Judged) -> Iterator[tuple[str, Array]]:
    """What is missed were two doses in each other's columns."""
    problem, casting = judged.ground.fitted.problem, judged.left.castings[0]
    own, names = problem.loadings[casting], tuple(judged.ground.folder.pigments)
    pairs = [(a, b) for a, b in itertools.combinations(range(own.size), 2) if own[a] != own[b]]
    if not pairs:
        return
    swapped = np.tile(own, (len(pairs), 1))
    for row, (a, b) in zip(swapped, pairs, strict=True):
        row[[a, b]] = own[[b, a]]
    misses = judged.misses_as(np.full(len(pairs), problem.thickness[casting]), swapped)
    for (a, b), missed in zip(pairs, misses, strict=True):
        yield f"with its doses of {names[a]} and {names[b]} in each other's columns,", missed


def _of_row(name: str, how: str, share: float) -> Finding:
    return Finding(
        kind="wrong_row",
        where=name,
        about=(name,),
        words=f"{how} its rows agree with the other castings: {100.0 * share:.1f} % of what they miss is left",
        effect="absorption and scattering of what it holds are fitted to what it does not read",
        mend="see its rows in readings.csv and swatches.csv, column by column, the seat too, against what was written "
        "at the bench",
    )


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
    """Castings of which each reads as the next should, and the last as the first."""
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
