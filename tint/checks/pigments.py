"""A pigment at fault rather than its castings: of two strengths, or one that most of its castings speak against."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tint.checks.finding import Finding, limit, listed
from tint.checks.ground import Ground
from tint.checks.out_of_line import spread
from tint.fitting.leaving_out import LeftOut, leave_out
from tint.spectra import Array, Index
from tint.swatches import SwatchFolder

_LEAST = 0.03  # of strength, below which a difference is told of no pigment; chosen by eye
_ANOTHER = 2.0  # times as strong: beyond that it is no lot of the same pigment; chosen by eye
_FEWEST = 2  # castings on either side
_MOST = 10  # castings that leave together: the time it takes grows with the cube of it


@dataclass(frozen=True)
class _Part:
    """Some castings of a pigment, what they have in common, and how much stronger than in all others it is there."""

    pigment: int
    castings: Index
    others: Index
    words: str
    mend: str
    stronger: float = 0.0  # logarithm of the ratio of the two strengths [-]
    sure: float = 0.0  # the same in standard deviations [-]


_ONE = "see whether they are of one lot, one paste and one calibration of the instrument"
_OTHER_PASTE = f"{_ONE}; then pour or read again what is not"
_LUMPS = f"{_ONE}; if so it may form lumps beside others: stir one anew, pour it again"
_OTHER_BASE = f"{_ONE}; if so keep a folder for each base"


def of_two_strengths(ground: Ground) -> Iterator[Finding]:
    """The pigment whose castings are the least of one strength, if no luck explains it.

    A part of them is left out together, and read against what the rest says, all their doses changed by one factor.
    Castings that differ among themselves as much are not two kinds.
    """
    if not ground.fitted.problem.instrument.dose_error_percent:
        return
    parts = [_judged(ground, part) for number in range(len(ground.folder.pigments)) for part in _parts(ground, number)]
    worst = max(parts, key=lambda part: abs(part.sure), default=None)
    if worst is None or not np.log1p(_LEAST) <= abs(worst.stronger) <= np.log(_ANOTHER):
        return
    wide = max(spread(ground), _scatter(ground, worst))
    if abs(worst.sure) > limit(len(parts)) * wide:
        yield _told(ground, worst)


def _parts(ground: Ground, pigment: int) -> Iterator[_Part]:
    problem = ground.fitted.problem
    held = np.flatnonzero(problem.loadings[:, pigment] > 0.0)
    mixed = np.sum(problem.loadings[held] > 0.0, axis=1) > 1
    late = np.arange(held.size) >= held.size // 2
    bases = tuple(ground.folder.bases)
    told = [
        (mixed, "beside other pigments", _LUMPS),
        (late, "in the later rows", _OTHER_PASTE),
        *((problem.base[held] == at, f"in {base}", _OTHER_BASE) for at, base in enumerate(bases[1:], 1)),
    ]
    for at, (which, words, mend) in enumerate(told):
        is_told = any(np.array_equal(which, earlier) for earlier, *_ in told[:at])
        if not is_told and min(which.sum(), (~which).sum()) >= _FEWEST:
            yield _Part(pigment, held[which], held[~which], words, mend)


def _judged(ground: Ground, part: _Part) -> _Part:
    """The smaller side leaves; both say the same."""
    sign, leaving = (1.0, part.castings) if part.castings.size <= part.others.size else (-1.0, part.others)
    left = _left(ground, leaving)
    stronger, known = _strength(ground, part.pigment, left)
    if not left.told or not known:
        return part
    return replace(part, stronger=sign * stronger, sure=sign * stronger * known**0.5)


def _scatter(ground: Ground, part: _Part) -> float:
    """How much the castings of each side differ in strength among themselves, in standard deviations [-]."""
    squared, freedom = 0.0, 0
    for side in (part.castings, part.others):
        left = _left(ground, side)
        told = [_strength(ground, part.pigment, _only(ground, left, casting)) for casting in left.castings]
        told = [each for each in told if each[1]]
        if not left.told or len(told) < _FEWEST:
            continue
        stronger, known = np.array(told).T
        squared += float(known @ (stronger - np.average(stronger, weights=known)) ** 2)
        freedom += len(told) - 1
    return (squared / freedom) ** 0.5 if freedom else 0.0


def _left(ground: Ground, castings: Index) -> LeftOut:
    """Without these castings, or some of them if they are many."""
    return leave_out(ground.fitted, castings[np.unique(np.linspace(0, castings.size - 1, _MOST).round().astype(int))])


def _only(ground: Ground, left: LeftOut, casting: int) -> LeftOut:
    """One of the castings that left together, with what the rest says of it."""
    own = ground.fitted.problem.readings.casting[left.rows] == casting
    values = np.repeat(own, left.missed.shape[1])
    return replace(
        left,
        castings=np.array([casting]),
        rows=left.rows[own],
        missed=left.missed[own],
        covariance=left.covariance[np.ix_(values, values)],
        slopes=left.slopes[:, own],
    )


def _strength(ground: Ground, pigment: int, left: LeftOut) -> tuple[float, float]:
    """By what factor a pigment is stronger in what was left out, its logarithm, and the inverse of its variance."""
    slope = _by_strength(ground, pigment, left.rows, left.slopes)
    weighed = np.linalg.solve(left.covariance, slope)
    known = float(slope @ weighed)
    return (float(weighed @ left.missed.ravel()) / known, known) if known > 0.0 else (0.0, 0.0)


def _by_strength(ground: Ground, pigment: int, rows: Index, slopes: Array) -> Array:
    """Slopes of all values by the logarithm of a pigment's strength, from those by the scores of its doses."""
    problem = ground.fitted.problem
    is_it = problem.dosed[problem.readings.casting[rows]] == pigment
    is_it &= problem.dose[problem.readings.casting[rows]] > 0.0
    by_score = np.einsum("rs,srw->rw", is_it.astype(float), slopes[1:])
    return np.asarray(by_score / (problem.instrument.dose_error_percent / 100.0)).ravel()


def _told(ground: Ground, part: _Part) -> Finding:
    names = [ground.fitted.problem.names[at] for at in part.castings]
    percent = 100.0 * abs(np.expm1(part.stronger))
    than = "stronger" if part.stronger > 0.0 else "weaker"
    return Finding(
        kind="two_strengths",
        where=list(ground.folder.pigments)[part.pigment],
        words=f"{part.words}, in {len(names)} castings ({listed(names)}), it reads {percent:.0f} % {than} than in its "
        f"other {len(part.others)} ({abs(part.sure):.0f} standard deviations)",
        effect="the fit takes a strength between, and mixtures are off by part of that, which no stated error counts",
        mend=part.mend,
    )


# No one absorption and scattering describes it.

_FEWEST_OUT = 4  # castings out of line, from which it is the pigment that is in question; chosen by eye
_SHARE_OUT = 0.5  # of the castings that hold it; chosen by eye


def with_odd_pigment(folder: SwatchFolder, lines: Sequence[Finding]) -> list[Finding]:
    """Findings of single castings; of those that share such a pigment one in their place."""
    out = {name for each in lines for name in each.about}
    held = {p: [swatch.name for swatch in folder.swatches if swatch.loadings.get(p)] for p in folder.pigments}
    accused = {pigment: [name for name in names if name in out] for pigment, names in held.items()}
    shares = {pigment: len(accused[pigment]) / max(len(names), 1) for pigment, names in held.items()}
    odd = max(shares, key=lambda pigment: shares[pigment], default="")
    if not odd or len(accused[odd]) < _FEWEST_OUT or shares[odd] <= _SHARE_OUT:
        return list(lines)
    told = Finding(
        kind="odd_pigment",
        where=odd,
        about=tuple(accused[odd]),
        words=f"{len(accused[odd])} of the {len(held[odd])} castings that hold it contradict the others and each other "
        f"({listed(accused[odd])}): no one absorption and scattering fits them",
        effect="blends with it may be off by several CIEDE2000, far beyond the stated error",
        mend="leave pearl, metal and glowing pigments out of the folder; else see whether two tubs were taken for one",
    )
    return [told, *(each for each in lines if not set(each.about) <= set(accused[odd]))]
