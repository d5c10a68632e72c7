"""Swatches that all others contradict, and what would reconcile them: another dose, another thickness, or neither."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

import numpy as np

from tint import colorimetry
from tint.examine.finding import Finding, limit
from tint.examine.left_out import Foretold, foretell
from tint.fit import fit_palette
from tint.fit.problem import forward, lay_out
from tint.palette import Palette
from tint.spectra import Array
from tint.swatches import Swatch, SwatchFolder

_TIMES_ORDINARY = 10.0  # of the mean square miss, from where a swatch is out of line whatever the reason
_EXPLAINED = 0.2  # of what was missed may stay for a dose or a thickness to be named as the reason
_AS_GOOD = 25.0  # squared standard deviations by which two reasons must differ to be told apart
_NEARLY = 0.7  # of the limits, from where it is seen whether the swatch widens them itself
_MOST = 6  # swatches named before the folder as a whole is in question
_FACTOR = (0.1, 10.0)  # of a dose or thickness that is thought of


@dataclass(frozen=True, eq=False)
class _Judged:
    """A swatch left out: how far out it is, a ratio to the limit, and the standard deviations along the worst slot."""

    swatch: Foretold
    inverse: Array
    mean_square: float
    along: Array


@dataclass(frozen=True)
class _Reason:
    """What the readings would be those of: the slot (0 the thickness, then the doses), its factor, what it leaves."""

    slot: int
    factor: float
    left: float


def of_lines(
    folder: SwatchFolder, palette: Palette, *, jumped: frozenset[str]
) -> tuple[list[Finding], SwatchFolder, Palette]:
    """Swatches out of line, worst first; each leaves the fit before the next is looked for.

    Parameters
    ----------
    jumped : frozenset of str
        Swatches whose readings jump: when no dose or thickness reconciles them, it is for that alone.

    Returns
    -------
    findings : list of Finding
    folder, palette
        Without those swatches.
    """
    findings: list[Finding] = []
    for _ in range(_MOST):
        judged = [_judge(each) for each in foretell(folder, palette)]
        if len(judged) < 3:  # two that differ do not say which is wrong
            break
        far = _limits(judged)
        worst = max(judged, key=lambda each: _ratio(each, far))
        if _ratio(worst, far) <= _NEARLY:
            break
        swatch = folder.swatches[worst.swatch.at]
        rest = without(folder, [swatch.name])
        palette_of_rest = fit_palette(rest, optics=palette.model)
        if not _is_out(worst, far, rest, palette_of_rest):
            break
        finding = _told(folder, palette, worst, swatch)
        if finding.kind != "out_of_line" or swatch.name not in jumped:
            findings.append(finding)
        folder, palette = rest, palette_of_rest
    return findings, folder, palette


def _is_out(worst: _Judged, far: tuple[float, float], rest: SwatchFolder, palette: Palette) -> bool:
    """Whether a swatch is beyond the limits, or beyond those of a folder without it.

    A wrong casting of a pigment that is in all others throws them all off, and so widens its own limits.
    """
    if _ratio(worst, far) > 1.0:
        return True
    others = [_judge(each) for each in foretell(rest, palette)]
    return len(others) > 1 and _ratio(worst, _limits(others)) > 1.0


def without(folder: SwatchFolder, names: Collection[str]) -> SwatchFolder:
    """The folder had these swatches never been cast."""
    return replace(
        folder,
        swatches=tuple(swatch for swatch in folder.swatches if swatch.name not in names),
        readings=tuple(reading for reading in folder.readings if reading.swatch not in names),
    )


def _judge(swatch: Foretold) -> _Judged:
    inverse = np.asarray(np.linalg.inv(swatch.covariance), dtype=float)
    miss = swatch.missed.ravel()
    slopes = swatch.slopes.reshape(len(swatch.slopes), -1)
    size = np.sqrt(np.einsum("si,ij,sj->s", slopes, inverse, slopes))
    along = np.abs(slopes @ inverse @ miss) / np.where(size > 0.0, size, np.inf)
    return _Judged(swatch, inverse, float(miss @ inverse @ miss) / miss.size, along)


def _limits(judged: list[_Judged]) -> tuple[float, float]:
    """Of the standard deviations along a slot, and of the mean square.

    Where the whole folder misses by more than its stated errors allow, no single swatch is to blame: both grow with
    the median.
    """
    square = max(1.0, float(np.median([each.mean_square for each in judged])))
    along = np.concatenate([each.along[each.along > 0.0] for each in judged])
    typical = max(1.0, float(np.median(along)) / 0.6745) if along.size else 1.0
    return limit(along.size) * typical, _TIMES_ORDINARY * square


def _ratio(each: _Judged, far: tuple[float, float]) -> float:
    return max(float(each.along.max()) / far[0], float((each.mean_square / far[1]) ** 0.5))


def _told(folder: SwatchFolder, palette: Palette, judged: _Judged, swatch: Swatch) -> Finding:
    missed = _colour_missed(folder, palette, judged.swatch)
    reasons = sorted(_reasons(folder, palette, judged, swatch), key=lambda each: each.left)
    total = judged.mean_square * judged.swatch.missed.size
    effect = f"left out, it is foretold {missed:.2f} CIEDE2000 off; kept, it pulls what it holds towards itself"
    if not reasons or reasons[0].left > max(_EXPLAINED * total, 3.0 * judged.swatch.missed.size):
        return Finding(
            kind="out_of_line",
            where=swatch.name,
            about=(swatch.name,),
            words=f"the other castings foretell {missed:.2f} CIEDE2000 off; its mean square miss is "
            f"{judged.mean_square:.0f} times what the stated errors allow, and no single dose or thickness explains it",
            effect=effect,
            mend="see whether its label, blend or readings were mixed up; else pour it again",
        )
    best, *others = reasons
    as_good = [each for each in others if each.left < best.left + _AS_GOOD]
    words = _as_if(swatch, best)
    if as_good:
        words += ", or as well " + " or ".join(_as_if(swatch, each) for each in as_good)
    sure = f"{judged.along[best.slot]:.0f} standard deviations"
    thickness = best.slot == 0
    doses = " or ".join(_held(swatch)[slot - 1] for slot in sorted(each.slot for each in (best, *as_good)) if slot > 0)
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


def _held(swatch: Swatch) -> list[str]:
    return [name for name, dose in swatch.loadings.items() if dose > 0.0]


def _as_if(swatch: Swatch, reason: _Reason) -> str:
    if reason.slot == 0:
        return f"{swatch.thickness_mm * reason.factor:.2f} mm thick in place of {swatch.thickness_mm:.2f} mm"
    name = _held(swatch)[reason.slot - 1]
    dose = swatch.loadings[name]
    return f"{dose * reason.factor:.3g} % of {name} in place of {dose:.3g} % ({100.0 * (reason.factor - 1.0):+.0f} %)"


def _colour_missed(folder: SwatchFolder, palette: Palette, each: Foretold) -> float:
    read = palette.evidence.read[each.rows]
    view = colorimetry.viewing(folder.wavelengths)
    labs = [colorimetry.lab(np.maximum(values, 0.0), view) for values in (read, read - each.missed)]
    return float(np.max(colorimetry.difference(*labs)))


def _reasons(folder: SwatchFolder, palette: Palette, judged: _Judged, swatch: Swatch) -> Iterator[_Reason]:
    """One dose or the thickness at a time, changed until the readings agree best."""
    alone = replace(
        folder,
        swatches=(swatch,),
        readings=tuple(reading for reading in folder.readings if reading.swatch == swatch.name),
    )
    problem = lay_out(alone, tuple(palette.optics(base) for base in palette.bases))
    theta = np.concatenate((palette.k, palette.s)).T
    at_rest = forward(problem, theta, np.zeros(problem.n_shared))
    # What the others foretell differs from what the palette says by what the swatch itself taught it.
    taught = judged.swatch.missed - (problem.read - at_rest.predicted)
    held = [name for name in folder.pigments if swatch.loadings.get(name, 0.0) > 0.0]
    names = ["", *held]
    place = {0: 0} | {1 + names[1:].index(name): 1 + _held(swatch).index(name) for name in held}
    factors = np.geomspace(*_FACTOR, 401)
    for slot in range(len(names)):
        changed = _at_factors(alone, palette, names[slot], factors)
        miss = (problem.read + taught - changed).reshape(factors.size, -1)
        left = np.einsum("fi,ij,fj->f", miss, judged.inverse, miss, optimize=True)
        best = int(np.argmin(left))
        yield _Reason(place[slot], float(factors[best]), float(left[best]))


def _at_factors(alone: SwatchFolder, palette: Palette, pigment: str, factors: Array) -> Array:
    """Readings of the only swatch, its thickness or one dose times each factor; (n_factors, n_readings, n)."""
    (swatch,) = alone.swatches
    copies = tuple(
        replace(
            swatch,
            name=str(number),
            thickness_mm=swatch.thickness_mm * (1.0 if pigment else factor),
            loadings={name: dose * (factor if name == pigment else 1.0) for name, dose in swatch.loadings.items()},
        )
        for number, factor in enumerate(factors)
    )
    readings = tuple(replace(each, swatch=copy.name) for copy in copies for each in alone.readings)
    problem = lay_out(
        replace(alone, swatches=copies, readings=readings), tuple(palette.optics(base) for base in palette.bases)
    )
    theta = np.concatenate((palette.k, palette.s)).T
    predicted = forward(problem, theta, np.zeros(problem.n_shared)).predicted
    return predicted.reshape(factors.size, len(alone.readings), -1)
