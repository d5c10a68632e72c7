"""What a fit keeps of the swatches it learned from: how each agrees, the ground they cover, what their readings say."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class SwatchFit:
    """How one swatch agrees with the palette.

    Parameters
    ----------
    delta_e : float
        Mean CIEDE2000 of its reflectance readings against the fit (D65, 10 degrees; colours in their own light) [-];
        NaN for transmittance alone.
    residual : float
        Root mean square residual of all its readings [reflectance].
    thickness_mm, fitted_thickness_mm : float
        As written and as the readings would have it [mm].
    weight : float
        1 for a swatch that counts fully; less for one that the others contradict [-].
    suspect : str
        Why it does not fit, in words; empty for a good one.
    """

    name: str
    base: str
    delta_e: float
    residual: float
    thickness_mm: float
    fitted_thickness_mm: float
    weight: float
    suspect: str = ""


@dataclass(frozen=True, kw_only=True)
class Circumstances:
    """How the castings of one base were cured, moulded and kept, as far as anyone wrote it; empty where nobody did.

    Parameters
    ----------
    cure_c : tuple of float, optional
        Coolest and hottest cure [degrees Celsius].
    days : tuple of float, optional
        Youngest and oldest casting when it was read [days after its cure].
    moulds, finishes, lots : tuple of str
        Each once: what moulds were made of, the surfaces read on, the lots of the base.
    """

    cure_c: tuple[float, float] | None = None
    days: tuple[float, float] | None = None
    moulds: tuple[str, ...] = ()
    finishes: tuple[str, ...] = ()
    lots: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Seen:
    """What the swatches of one base covered: the ground that predictions stand on.

    Parameters
    ----------
    thickness_mm : tuple of float
        Thinnest and thickest [mm].
    max_loading : dict of str to float
        Largest loading cast of each pigment; a pigment that was never cast is absent [%].
    max_total : float
        Largest sum of loadings cast [%].
    mixed : tuple of str
        The pigments that were cast together with at least one other.
    pairs : tuple of (str, str)
        The pigments that were cast together, in the palette's order.
    circumstances : Circumstances
        How they were cured and kept.
    """

    thickness_mm: tuple[float, float]
    max_loading: dict[str, float]
    max_total: float
    mixed: tuple[str, ...]
    pairs: tuple[tuple[str, str], ...] = ()
    circumstances: Circumstances = Circumstances()


@dataclass(frozen=True, kw_only=True)
class Surprise:
    """By how much castings that were left out were missed, against what was to be expected.

    Parameters
    ----------
    ratio : float
        Mean of the squared misses, each over the mean square expected of it [-].
    castings : int
        That it was learned from.
    """

    ratio: float
    castings: int


@dataclass(frozen=True, kw_only=True, eq=False)
class Evidence:
    """Every reading beside what the fit says of it; what predictions near it learn their misfit from.

    Parameters
    ----------
    read, fitted : ndarray, shape (n_readings, n_wavelengths)
        [-]
    foretold : ndarray, shape (n_readings, n_wavelengths)
        What a fit without that swatch would have said of it [-].
    swatch : ndarray of int, shape (n_readings,)
        Index into `Palette.swatches`.
    backing : ndarray of int, shape (n_readings,)
        Index into the palette's backings; -1 for a free slab, -2 for a transmittance.
    missed, expected : ndarray, shape (n_readings,)
        Squared CIEDE2000 between foretold and read (D65, 10 degrees; colours in their own light), and the mean square
        that covariance, thickness, doses and noise lead one to expect [-].
    """

    read: Array
    fitted: Array
    foretold: Array
    swatch: NDArray[np.int64]
    backing: NDArray[np.int64]
    missed: Array
    expected: Array
