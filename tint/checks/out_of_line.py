"""Swatches that all others contradict, and what would reconcile them: another dose, another thickness, or neither."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tint import colorimetry, forward
from tint.checks.ground import Finding, Ground, limit, without
from tint.fitting import fit_palette
from tint.fitting.leaving_out import Fitted, LeftOut
from tint.fitting.minimise import Minimum
from tint.fitting.unknowns import seen_at
from tint.forward import Readings
from tint.palette import Palette, shares
from tint.spectra import Array, Index
from tint.swatches import Swatch, SwatchFolder

_TIMES_ORDINARY = 10.0  # of the mean square miss, from where a swatch is out of line whatever the reason
_EXPLAINED = 0.2  # of what was missed may stay for a dose or a thickness to be named as the reason
_AS_GOOD = 25.0  # squared standard deviations by which two reasons must differ to be told apart
_NEARLY = 0.7  # of the limits, from where it is seen whether the swatch widens them itself
_SLIPS = {10.0: "ten times", 0.1: "a tenth of"}
_SLIP = 0.25  # by which a dose that a decimal point moved may be off besides; chosen by eye
_BEYOND = 1.25  # the thickest casting, or below the thinnest: a mould that the folder may have; chosen by eye
_MOST = 6  # swatches named before the folder as a whole is in question


@dataclass(frozen=True, eq=False)
class Judged:
    """A swatch left out, by which fit, and how far out it is: mean square miss, and standard deviations along slots."""

    ground: Ground
    left: LeftOut
    inverse: Array
    mean_square: float
    along: Array

    @property
    def swatch(self) -> Swatch:
        """The swatch itself."""
        return self.ground.swatch(self.left)

    def squares(self, misses: Array) -> Array:
        """The squares of the lengths of such misses, shape (n, n_readings, n_wavelengths), in standard deviations."""
        flat = misses.reshape(len(misses), -1)
        return np.asarray(np.einsum("fi,ij,fj->f", flat, self.inverse, flat, optimize=True))

    def misses_as(self, thickness: Array, loadings: Array, *, other_seat: bool = False) -> Array:
        """What would be missed of it, were it of each of these thicknesses and loadings; as `shown_as`."""
        fitted, rows, own = self.ground.fitted, self.left.rows, self.left.castings
        as_written = shown_as(fitted, rows, fitted.problem.thickness[own], fitted.problem.loadings[own])
        return self.left.missed + as_written - shown_as(fitted, rows, thickness, loadings, other_seat=other_seat)


def of_lines(ground: Ground, *, jumped: frozenset[str]) -> tuple[list[Finding], Ground, list[Judged]]:
    """Swatches out of line, worst first; each leaves the fit before the next is looked for.

    When no dose or thickness reconciles a swatch of `jumped`, it is for its jump alone. Returns the findings, the
    ground without those swatches, and all that left, whether or not there is a finding of each.
    """
    findings: list[Finding] = []
    named: list[Judged] = []
    for _ in range(_MOST):
        judged = [_judge(ground, each) for each in ground.predicted]
        if len(judged) < 3:  # two that differ do not say which is wrong
            break
        far = _limits(judged)
        worst = max(judged, key=lambda each: _ratio(each, far))
        if _ratio(worst, far) <= _NEARLY:
            break
        name = ground.name(worst.left)
        rest = ground.without(name)
        if not _is_out(worst, far, rest):
            break
        finding = _told(worst)
        if finding.kind != "out_of_line" or name not in jumped:
            findings.append(finding)
        named.append(worst)
        ground = rest
    return findings, ground, named


def _is_out(worst: Judged, far: tuple[float, float], rest: Ground) -> bool:
    """Whether a swatch is beyond the limits, or beyond those of a folder without it.

    A wrong casting of a pigment that is in all others throws them all off, and so widens its own limits.
    """
    if _ratio(worst, far) > 1.0:
        return True
    others = [_judge(rest, each) for each in rest.predicted]
    return len(others) > 1 and _ratio(worst, _limits(others)) > 1.0


def _judge(ground: Ground, left: LeftOut) -> Judged:
    inverse = np.asarray(np.linalg.inv(left.covariance), dtype=float)
    miss = left.missed.ravel()
    slopes = left.slopes.reshape(len(left.slopes), -1)
    size = np.sqrt(np.einsum("si,ij,sj->s", slopes, inverse, slopes))
    along = np.abs(slopes @ inverse @ miss) / np.where(size > 0.0, size, np.inf)
    return Judged(ground, left, inverse, float(miss @ inverse @ miss) / miss.size, along)


def _limits(judged: list[Judged]) -> tuple[float, float]:
    """Of the standard deviations along a slot, and of the mean square.

    Where the whole folder misses by more than its stated errors allow, no single swatch is to blame: both grow with
    the median.
    """
    square = max(1.0, float(np.median([each.mean_square for each in judged])))
    slots = sum(int(np.sum(each.along > 0.0)) for each in judged)
    return limit(slots) * _typical(judged), _TIMES_ORDINARY * square


def _typical(judged: list[Judged]) -> float:
    along = np.concatenate([np.empty(0), *(each.along[each.along > 0.0] for each in judged)])
    return max(1.0, float(np.median(along)) / 0.6745) if along.size else 1.0


def spread(ground: Ground) -> float:
    """How many times their stated errors the doses and thicknesses of a folder scatter, at least once [-]."""
    return _typical([_judge(ground, each) for each in ground.predicted])


def _ratio(each: Judged, far: tuple[float, float]) -> float:
    return max(float(each.along.max()) / far[0], float((each.mean_square / far[1]) ** 0.5))


def _told(judged: Judged) -> Finding:
    ground, swatch = judged.ground, judged.swatch
    missed = _colour_missed(ground, judged.left)
    size = judged.left.missed.size
    enough = max(_EXPLAINED * judged.mean_square * size, 3.0 * size)
    found = sorted(_reasons(judged), key=lambda each: each.left)
    # A thickness that no mould of the folder has is no reason where a dose is one.
    likely = [each for each in found if each.pigment or _is_cast(ground, swatch.thickness_mm * each.factor)]
    best, *others = likely if likely and likely[0].left <= enough else found
    effect = (
        f"left out, it is predicted {missed:.2f} CIEDE2000 off; if kept, it biases the coefficients of its pigments"
    )
    if best.left > enough:
        return Finding(
            kind="out_of_line",
            where=swatch.name,
            about=(swatch.name,),
            words="it is off what the other castings predict, far beyond the stated errors (mean square "
            f"{judged.mean_square:.0f} times as large), and no single dose or thickness explains it",
            effect=effect,
            mend="see whether its label, readings or the columns of its doses were mixed up; else pour it again",
        )
    as_good = [each for each in others if each.left < best.left + _AS_GOOD]
    words = _as_if(swatch, best)
    if as_good:
        words += ", or as well " + " or ".join(_as_if(swatch, each) for each in as_good)
    sure = f"{judged.along[best.slot]:.0f} standard deviations"
    thickness = best.slot == 0
    named = sorted((best, *as_good), key=lambda each: each.slot)
    doses = " or ".join(each.pigment for each in named if each.pigment)
    return Finding(
        kind="thickness" if thickness else "strength",
        about=(swatch.name,),
        where=swatch.name if thickness else f"{swatch.name}, {doses}",
        words=f"by all other castings it reads as {words} ({sure})",
        effect=effect,
        mend="measure its thickness again where it was read"
        if thickness
        else "see how it was weighed and stirred, and from which lot; pour it again, and a neighbour in its ladder",
    )


def _as_if(swatch: Swatch, reason: Reason) -> str:
    if not reason.pigment:
        slipped = " (is it in centimetres?)" if abs(reason.factor / 10.0 - 1.0) < _SLIP else ""
        return f"{swatch.thickness_mm * reason.factor:.2f} mm thick in place of {swatch.thickness_mm:.2f} mm{slipped}"
    dose = swatch.loadings[reason.pigment]
    times = next((word for factor, word in _SLIPS.items() if abs(reason.factor / factor - 1.0) < _SLIP), "")
    return (
        f"{dose * reason.factor:.3g} % of {reason.pigment} in place of {dose:.3g} % "
        + (f"({times} what is written: has the decimal point slipped?)" if times else
           f"({100.0 * (reason.factor - 1.0):+.0f} %)")
    )  # fmt: skip


def _is_cast(ground: Ground, thickness_mm: float) -> bool:
    """Whether a thickness lies among those of the folder."""
    depths = [swatch.thickness_mm for swatch in ground.folder.swatches]
    return min(depths) / _BEYOND <= thickness_mm <= max(depths) * _BEYOND


def _colour_missed(ground: Ground, left: LeftOut) -> float:
    read = ground.fitted.problem.read[left.rows]
    view = colorimetry.viewing(ground.folder.wavelengths)
    labs = [colorimetry.lab(np.maximum(values, 0.0), view) for values in (read, read - left.missed)]
    return float(np.max(colorimetry.difference(*labs)))


# What would reconcile a casting with all others: its thickness, or one of its doses, having been another.


_FACTORS = np.geomspace(1.0 / 12.0, 12.0, 433)  # of a thickness or dose that are thought of


@dataclass(frozen=True)
class Reason:
    """What the readings would be those of."""

    slot: int  # 0 for the thickness, then the doses
    pigment: str  # that the dose is of; empty for the thickness
    factor: float  # of what is written [-]
    left: float  # what it leaves of the miss: the square of its length in standard deviations [-]


def _reasons(judged: Judged) -> Iterator[Reason]:
    """One dose or the thickness of a casting at a time, changed until its readings agree best with the others."""
    problem, casting = judged.ground.fitted.problem, judged.left.castings[0]
    pigments = tuple(judged.ground.folder.pigments)
    for slot in np.flatnonzero(problem.used[casting]):
        loadings = np.tile(problem.loadings[casting], (_FACTORS.size, 1))
        depth = np.full(_FACTORS.size, problem.thickness[casting])
        name = ""
        if slot:
            at = problem.dosed[casting, slot - 1]
            loadings[:, at] *= _FACTORS
            name = pigments[at]
        else:
            depth *= _FACTORS
        remains = judged.squares(judged.misses_as(depth, loadings))
        best = int(np.argmin(remains))
        yield Reason(int(slot), name, float(_FACTORS[best]), float(remains[best]))


def shown_as(
    fitted: Fitted,
    rows: Index,
    thickness: Array,
    loadings: Array,
    *,
    other_seat: bool = False,
    minimum: Minimum | None = None,
) -> Array:
    """What the palette says of a casting's readings, were it of each of these thicknesses [mm] and loadings [%].

    For n thicknesses and loadings of shape (n, n_pigments): shape (n, n_readings, n_wavelengths). With `other_seat`
    it is wet where it is stated to be read with an air film, and the reverse. Another fit's `minimum` may stand in
    place of this one's.
    """
    problem, minimum, count = fitted.problem, minimum or fitted.minimum, thickness.size
    of = problem.readings
    again = Readings(
        casting=np.repeat(np.arange(count), rows.size),
        backing=np.tile(of.backing[rows], count),
        wet=np.tile(of.wet[rows] != other_seat, count),
        base=np.tile(of.base[rows], count),
        backings=of.backings,
        faces=tuple((np.flatnonzero(np.tile(np.isin(rows, own), count)), faces) for own, faces in of.faces),
    )
    share = np.maximum(shares(int(of.base[rows[0]]), len(problem.optics), loadings), 0.0)
    seen = seen_at(problem, minimum.at, again, forward.mix(minimum.shown.coefficients, share), thickness)
    return seen.values.reshape(count, rows.size, -1)


# Castings read as colours that all others contradict.


_FEWEST = 4  # swatches, below which it is not seen which is wrong


def of_colour_lines(folder: SwatchFolder, palette: Palette) -> Iterator[Finding]:
    """Swatches out of line, worst first; each leaves the fit before the next is looked for."""
    for _ in range(_MOST):
        evidence, names = palette.evidence, [each.name for each in palette.swatches]
        if len(names) < _FEWEST:
            return
        # Of every swatch the mean square miss when left out [CIEDE2000], and the same in what the stated errors allow.
        count = np.bincount(evidence.swatch, minlength=len(names))
        missed = np.bincount(evidence.swatch, evidence.missed, len(names)) / count
        size = np.sqrt(missed / (np.bincount(evidence.swatch, evidence.expected, len(names)) / count))
        worst = int(np.argmax(size))
        # Where the whole folder misses by more than its stated errors allow, no single swatch is to blame.
        if size[worst] <= limit(len(names)) * max(1.0, float(np.median(size))):
            return
        yield Finding(
            kind="out_of_line",
            where=names[worst],
            about=(names[worst],),
            words=f"the other castings predict {missed[worst] ** 0.5:.2f} CIEDE2000 off, {size[worst]:.1f} times what "
            "the stated errors allow",
            effect="if kept, it biases the coefficients of its pigments, and all errors are stated larger",
            mend="see whether its label, blend, dose, thickness or readings were mixed up; else pour it again",
        )
        folder = without(folder, [names[worst]])
        palette = fit_palette(folder, optics=palette.model)
