"""A pigment at fault rather than its castings: of two strengths, against most of its castings, or emitting light."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tint.checks.ground import Finding, Ground, limit, listed
from tint.checks.out_of_line import spread
from tint.fitting.leaving_out import LeftOut, leave_out
from tint.forward import FREE
from tint.spectra import Index, Mask
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
    problem, of = ground.fitted.problem, ground.fitted.problem.readings.casting[left.rows]
    is_it = (problem.dosed[of] == pigment) & (problem.dose[of] > 0.0)
    # Of all values, by that logarithm: from the slopes by the scores of the pigment's doses.
    by_score = np.einsum("rs,srw->rw", is_it.astype(float), left.slopes[1:]).ravel()
    slope = by_score / (problem.instrument.dose_error_percent / 100.0)
    weighed = np.linalg.solve(left.covariance, slope)
    known = float(slope @ weighed)
    return (float(weighed @ left.missed.ravel()) / known, known) if known > 0.0 else (0.0, 0.0)


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


# It sends back more light than a layer can: a rising tail of what it emits.


_MODEL_SLACK = 1.5  # what the layer model misses runs on from wavelength to wavelength, as no noise does
_RUN = 3  # neighbouring wavelengths that make a tail
_CLEAR = 0.05  # of a pigment's largest absorption: below it, it takes nothing away that could come back elsewhere


def of_tails(ground: Ground) -> Iterator[Finding]:
    """Pigments whose castings send back more light than the fit can, where the pigment absorbs nothing to speak of.

    Absorption cannot be less than none: light beyond what a clear pigment scatters is left over as a residual.
    """
    folder, problem, minimum = ground.folder, ground.fitted.problem, ground.fitted.minimum
    residual = problem.read - minimum.shown.values
    model_error = ground.fitted.weighting.model_error * np.maximum(minimum.shown.values, 0.0) ** (2.0 / 3.0)
    z = residual / np.hypot(folder.instrument.noise, model_error)
    far = _MODEL_SLACK * limit(len(folder.pigments) * folder.wavelengths.size)
    for number, name in enumerate(folder.pigments):
        k = minimum.at.ks[0, len(folder.bases) + number]
        alone = (problem.loadings[:, number] > 0.0) & (np.count_nonzero(problem.loadings, axis=1) == 1)
        rows = np.flatnonzero(alone[problem.readings.casting] & (problem.readings.backing >= FREE))
        if rows.size < 2:
            continue
        # The median, so that one casting out of line does not speak for its pigment; it errs by sqrt(pi / 2) more.
        size = np.median(z[rows], axis=0) * (rows.size * 2.0 / np.pi) ** 0.5
        at = _longest_run((size > far) & (k < _CLEAR * k.max()))
        if at.size < _RUN:
            continue
        excess = float(np.mean(residual[np.ix_(rows, at)]))
        yield Finding(
            kind="fluorescence",
            about=(name,),
            where=f"{name}, {folder.wavelengths[at[0]]:g} to {folder.wavelengths[at[-1]]:g} nm",
            words=f"its {rows.size} readings send back {excess:+.4f} more than any layer without absorption fits, "
            f"{size[at].max():.0f} standard deviations",
            effect="if it fluoresces, its blends will be wrong, most under other lights",
            mend="hold it under an ultraviolet lamp; if it glows, leave it out of the folder, else calibrate anew",
        )


def _longest_run(chosen: Mask) -> Index:
    at = np.flatnonzero(chosen)
    if not at.size:
        return at
    return max(np.split(at, np.flatnonzero(np.diff(at) > 1) + 1), key=len)
