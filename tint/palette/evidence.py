"""What a fit keeps of the swatches it learned from: how each agrees, the ground they cover, what their readings say."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.materials import Blend

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class SwatchFit:
    """How one swatch agrees with the palette."""

    name: str
    base: str
    # mean CIEDE2000 of its reflectance readings against the fit (D65, 10 degrees; colours in their own light) [-];
    # NaN for transmittance alone
    delta_e: float
    residual: float  # root mean square residual of all its readings [reflectance]
    # thickness_mm, fitted_thickness_mm: as written and as the readings would have it [mm]
    thickness_mm: float
    fitted_thickness_mm: float
    weight: float  # 1 for a swatch that counts fully; less for one that the others contradict [-]
    suspect: str = ""  # why it does not fit, in words; empty for a good one


@dataclass(frozen=True, kw_only=True)
class Circumstances:
    """How the castings of one base were cured, moulded and kept, as far as anyone wrote it; empty where nobody did."""

    cure_c: tuple[float, float] | None = None  # coolest and hottest cure [degrees Celsius]
    days: tuple[float, float] | None = None  # youngest and oldest casting when it was read [days after its cure]
    # moulds, finishes, lots: each once: what moulds were made of, the surfaces read on, the lots of the base
    moulds: tuple[str, ...] = ()
    finishes: tuple[str, ...] = ()
    lots: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Seen:
    """What the swatches of one base covered: the ground that predictions stand on."""

    thickness_mm: tuple[float, float]  # thinnest and thickest [mm]
    max_loading: dict[str, float]  # largest loading cast of each pigment; a pigment that was never cast is absent [%]
    max_total: float  # largest sum of loadings cast [%]
    mixed: tuple[str, ...]  # the pigments that were cast together with at least one other
    pairs: tuple[tuple[str, str], ...] = ()  # the pigments that were cast together, in the palette's order
    beams: tuple[str, ...] = ()  # the base and the pigments of castings whose regular transmittance was read
    circumstances: Circumstances = Circumstances()  # how they were cured and kept


@dataclass(frozen=True, kw_only=True)
class Surprise:
    """By how much castings that were left out were missed, against what was to be expected."""

    ratio: float  # mean of the squared misses, each over the mean square expected of it [-]
    castings: int  # that it was learned from


@dataclass(frozen=True, kw_only=True, eq=False)
class Evidence:
    """Every reading beside what the fit says of it; what predictions near it learn their model error from."""

    # read, fitted: shape (n_readings, n_wavelengths) [-]
    read: Array
    fitted: Array
    predicted: Array  # shape (n_readings, n_wavelengths), what a fit without that swatch would have said of it [-]
    swatch: NDArray[np.int64]  # shape (n_readings,), index into `Palette.swatches`
    # shape (n_readings,), index into the palette's backings; -1 for a free slab, -2 for a transmittance, -3 for a
    # regular one
    backing: NDArray[np.int64]
    # missed, expected: shape (n_readings,), squared CIEDE2000 between predicted and read (D65, 10 degrees; colours in
    # their own light), and the mean square that covariance, thickness, doses and noise lead one to expect [-]
    missed: Array
    expected: Array


# How far a blend lies outside what was cast, and by how much that widens its stated error.


INSIDE, PAIR, THICKNESS, LOADING, RUBBER = "inside", "pair", "thickness", "loading", "rubber"

_SLACK = 1.02  # a reading of 2.04 mm stands for 2 mm
# What a folder that says nothing of a kind of question is believed to miss, beyond what is expected, and how many
# castings that belief is worth: as many as it takes to know a variance to a half. Of pairs that is what Mie's pigments
# miss where none were mixed (tests/figures/workshops.py --mie, 1000 to 1089, no mixtures); a few mixtures tell more.
_BELIEVED = {INSIDE: (1.0, 8.0), PAIR: (2.0, 3.0), THICKNESS: (1.25, 8.0), LOADING: (1.25, 8.0), RUBBER: (1.5, 8.0)}


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


def of_pigment(name: str) -> str:
    """What the surprise of a pigment is called: of all castings that hold it, whatever else is bold in them."""
    return f"with {name}"


_FAR = 2.0  # times what was cast, up to which the mixing law is taken to hold as among the castings; no source


def beyond(seen: Mapping[str, Seen], blend: Blend) -> float:
    """By how much the variance of a prediction grows far beyond the loadings that were cast; 1 up to twice them.

    Nothing but the castings says that absorption and scattering go on in proportion to the loading, and pigment that
    crowds does not: the error stated grows in proportion.
    """
    here, held = seen[blend.base], [loading for loading in blend.loadings.values() if loading > 0.0]
    times = [sum(held) / here.max_total] if here.max_total > 0.0 else []
    for name, loading in blend.loadings.items():
        cast = here.max_loading.get(name) or max(each.max_loading.get(name, 0.0) for each in seen.values())
        times += [loading / cast] if cast > 0.0 else []
    return max(1.0, *(each / _FAR for each in times), 1.0) ** 2


def widening(surprises: Mapping[str, Surprise], ways: Iterable[str]) -> float:
    """By how much the variance of a prediction grows: the most that any of its ways asks for.

    Ways are those of `bold`, and its pigments (`of_pigment`). What was missed when castings were left out in the same
    way says it, beside what is believed before any casting. Few castings know a variance badly, which makes the tails
    of a prediction longer: Student's quantile over the normal one, by its expansion (Abramowitz and Stegun 1964,
    26.7.5; from memory).
    """
    most = 1.0
    # Of a pigment nothing is believed but what its castings say.
    for way in (INSIDE, *(each for each in ways if each in surprises or each in _BELIEVED)):
        told = surprises.get(way, Surprise(ratio=1.0, castings=0))
        believed, worth = _BELIEVED.get(way, _BELIEVED[INSIDE])
        count = told.castings + worth
        ratio = (told.ratio * told.castings + believed * worth) / count
        most = max(most, ratio * (1.0 + 1.2 / count) ** 2)
    return most
