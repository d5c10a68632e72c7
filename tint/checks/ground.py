"""What an examination finds, from where a difference is no longer luck, and every casting predicted from all others.

Leaving out is that of `tint.fitting.leaving_out`. Here it is asked whether a casting may be contradicted, and by how
much its readings may be off before they are.
"""

from __future__ import annotations

import functools
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np

from tint.fitting import leaving_out
from tint.fitting.leaving_out import Fitted, one_by_one
from tint.fitting.spectra import fit_only, palette_of
from tint.forward import FREE
from tint.palette import Palette
from tint.spectra import Array
from tint.swatches import COLOURS, Swatch, SwatchFolder

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


# A folder of spectra with the fit to it.


@dataclass(frozen=True, eq=False)
class Ground:
    """A folder of spectra and the fit to it."""

    folder: SwatchFolder
    fitted: Fitted

    @functools.cached_property
    def palette(self) -> Palette:
        """Made when it is asked for, since it takes long and most questions need none."""
        return palette_of(self.fitted)

    @property
    def predicted(self) -> tuple[leaving_out.LeftOut, ...]:
        """Every casting left out that may be contradicted, its covariance that of readings that count fully."""
        return self._told[0]

    @property
    def misses(self) -> tuple[Array, Array]:
        """Of every value, shape of the readings: what all other castings miss, and the variance of that."""
        return self._told[1:]

    @functools.cached_property
    def _told(self) -> tuple[tuple[leaving_out.LeftOut, ...], Array, Array]:
        """`predicted` and `misses`, since leaving out a casting takes long where there are many pigments."""
        known = may_be_contradicted(self.folder, self.fitted.problem.names)
        missed, variance = np.zeros_like(self.fitted.problem.read), np.zeros_like(self.fitted.problem.read)
        predicted = []
        for each in one_by_one(self.fitted):
            missed[each.rows], variance[each.rows] = each.missed, np.diag(each.covariance).reshape(each.missed.shape)
            if self.name(each) in known:
                predicted.append(replace(each, covariance=self._covariance(each)))
        return tuple(predicted), missed, variance

    def name(self, left: leaving_out.LeftOut) -> str:
        """Of the only casting left out."""
        return self.fitted.problem.names[int(left.castings[0])]

    def swatch(self, left: leaving_out.LeftOut) -> Swatch:
        """The only casting left out."""
        return next(swatch for swatch in self.folder.swatches if swatch.name == self.name(left))

    def without(self, name: str) -> Ground:
        """Fitted again, had this casting never been poured; once for the checks that ask one after the other."""
        if name not in self._rests:
            self._rests.clear()  # a fit of many pigments is large
            rest = without(self.folder, [name])
            optics = self.fitted.problem.optics[0].model
            self._rests[name] = Ground(rest, fit_only(rest, optics=optics, near=self.fitted))
        return self._rests[name]

    @functools.cached_property
    def _rests(self) -> dict[str, Ground]:
        return {}

    def _covariance(self, left: leaving_out.LeftOut) -> Array:
        """Of the misses, shape (n_readings n_wavelengths, ) twice.

        That a casting lost weight in the fit does not excuse its misses. And noise, and what the model misses, may run
        through all wavelengths of a reading as well as be each value's own.
        """
        entered = self.fitted.noise[left.rows] ** 2
        own = entered * self.fitted.weighting.casting[left.castings[0]]
        made = left.slopes.reshape(len(left.slopes), -1)
        making = made.T @ made
        # Of the rest of the palette: what rounding leaves of it beside much noise may be less than none.
        values, vectors = np.linalg.eigh(left.covariance - np.diag(entered.ravel()) - making)
        of_rest = (vectors * np.maximum(values, 0.0)) @ vectors.T
        common = np.einsum("ab,aw->abw", np.eye(len(own)), np.sqrt(own)).reshape(len(own), -1)
        return np.asarray(of_rest + making + np.diag(own.ravel()) + common.T @ common)


def fit_ground(folder: SwatchFolder, *, optics: str) -> Ground:
    """Fit a folder of spectra."""
    return Ground(folder, fit_only(folder, optics=optics))


def without(folder: SwatchFolder, names: Collection[str]) -> SwatchFolder:
    """The folder had these swatches never been cast."""
    return replace(
        folder,
        swatches=tuple(swatch for swatch in folder.swatches if swatch.name not in names),
        readings=tuple(reading for reading in folder.readings if reading.swatch not in names),
    )


def may_be_contradicted(folder: SwatchFolder, read: Collection[str]) -> frozenset[str]:
    """Of the swatches that were read those that hold no base or pigment that they alone show."""
    swatches = [swatch for swatch in folder.swatches if swatch.name in read]
    held = Counter(part for swatch in swatches for part in _parts(swatch))
    return frozenset(swatch.name for swatch in swatches if all(held[part] > 1 for part in _parts(swatch)))


def _parts(swatch: Swatch) -> Sequence[tuple[str, str]]:
    return [("base", swatch.base), *(("pigment", name) for name, dose in swatch.loadings.items() if dose > 0.0)]


# How far each swatch is from what all the others predict of it, as the fit left it out.


@dataclass(frozen=True)
class LeftOut:
    """Root mean square CIEDE2000 of reflectance readings against what the others predict.

    In D65 for the 10 degree observer; of a folder of colours in its own light and for its own observer.
    """

    swatches: Mapping[str, float]
    pigments: Mapping[str, float]


def left_out(folder: SwatchFolder, palette: Palette) -> LeftOut:
    """Leave-one-out error of every swatch, and of every pigment over the swatches that hold it; worst first.

    Of spectra, swatches that alone show a base or pigment are left out of it: nothing predicts them.
    """
    squared = _from_evidence(palette)
    if folder.kind != COLOURS:
        known = may_be_contradicted(folder, [each.name for each in palette.swatches])
        squared = {name: value for name, value in squared.items() if name in known}
    held = {
        pigment: [squared[s.name] for s in folder.swatches if pigment in s.loadings and s.name in squared]
        for pigment in folder.pigments
    }
    by_pigment = {pigment: float(np.mean(found)) for pigment, found in held.items() if found}
    return LeftOut(_worst_first(squared), _worst_first(by_pigment))


def _from_evidence(palette: Palette) -> dict[str, float]:
    """Mean square miss of every swatch that was read in reflectance, as the fit predicted it from the others."""
    evidence = palette.evidence
    seen = evidence.backing >= FREE
    own = {swatch.name: seen & (evidence.swatch == at) for at, swatch in enumerate(palette.swatches)}
    return {name: float(np.mean(evidence.missed[rows])) for name, rows in own.items() if rows.any()}


def _worst_first(squared: Mapping[str, float]) -> dict[str, float]:
    return {name: value**0.5 for name, value in sorted(squared.items(), key=lambda item: -item[1])}
