"""Lights and observers as weights on a wavelength grid: a spectrum becomes XYZ by one matrix product.

Observers, lights and the matrices of sRGB come from colour-science. They are kept in the cache directory, because
importing that library costs ten times what all else here does.

References
----------
CIE 15:2018, Colorimetry. ASTM E308, Computing the colors of objects by using the CIE system. ASTM E2022, Calculation of
weighting factors for tristimulus integration.
"""

from __future__ import annotations

import functools
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version

import numpy as np
from numpy.typing import ArrayLike

from tint.errors import InputError, did_you_mean
from tint.files import Array, cached_arrays

CIE_RANGE_NM = np.arange(360.0, 781.0)
OBSERVERS = (2, 10)


@dataclass(frozen=True, eq=False)
class Viewing:
    """A light and an observer, held as weights on one wavelength grid."""

    light: str  # a CIE illuminant
    observer: int  # field size: 2 or 10 [degrees]
    weights: Array  # shape (n_wavelengths, 3), a spectrum times these is XYZ, Y of the perfect white being 100 [-]
    white: Array  # shape (3,), XYZ of the perfect white by the same weights [-]

    def __str__(self) -> str:
        return f"{self.light}, {self.observer}° observer"


def from_colour_science(key: str, build: Callable[[], dict[str, Array]]) -> dict[str, Array]:
    """Arrays that `build` makes with colour-science, kept: importing that takes a second, once for each version."""

    def quietly() -> dict[str, Array]:
        # It tells of optional packages that tint does not use, and changes how NumPy prints for everyone.
        with warnings.catch_warnings(), np.printoptions():
            warnings.simplefilter("ignore")
            return build()

    return cached_arrays(f"{key}, colour-science {version('colour-science')}", quietly)


def _build_tables() -> dict[str, Array]:
    import colour

    observers = {
        "observer 2": "CIE 1931 2 Degree Standard Observer",
        "observer 10": "CIE 1964 10 Degree Standard Observer",
    }
    arrays: dict[str, Array] = {}
    for name, key in observers.items():
        cmfs = colour.MSDS_CMFS[key]
        inside = np.isin(cmfs.wavelengths, CIE_RANGE_NM)
        arrays[name] = np.asarray(cmfs.values[inside], dtype=float)
    for name, light in colour.SDS_ILLUMINANTS.items():
        if " " not in name:
            # CIE 15 interpolates tabulated lights linearly; line spectra would ring under anything smoother.
            arrays[f"light {name}"] = np.interp(CIE_RANGE_NM, light.wavelengths, light.values)
    srgb = colour.RGB_COLOURSPACES["sRGB"]
    arrays["rgb from xyz"] = np.asarray(srgb.matrix_XYZ_to_RGB, dtype=float)
    arrays["xyz from rgb"] = np.asarray(srgb.matrix_RGB_to_XYZ, dtype=float)
    arrays["adaptation"] = np.asarray(colour.CHROMATIC_ADAPTATION_TRANSFORMS["CAT16"], dtype=float)
    return arrays


@functools.lru_cache(maxsize=1)
def tables() -> dict[str, Array]:
    """What comes from colour-science: `light NAME` and `observer N` at 1 nm, and the matrices of sRGB and CAT16."""
    return from_colour_science("colorimetry 1", _build_tables)


def lights() -> tuple[str, ...]:
    """Names of the CIE lights that `viewing` takes."""
    return tuple(name.removeprefix("light ") for name in tables() if name.startswith("light "))


def viewing(wavelengths: ArrayLike, *, light: str = "D65", observer: int = 10) -> Viewing:
    """The weights of a light and an observer on a grid.

    `wavelengths` (n_wavelengths,): regular grid [nm].
    `light`: a CIE illuminant: `D65`, `D50`, `A`, `FL2` (or `F2`), `LED-B3` ...
    `observer`: 2 or 10 [degrees].
    Raises InputError for an unknown light or observer.

    ASTM E2022: the spectrum between readings is the cubic (at the ends quadratic) Lagrange polynomial through them, at
    1 nm. ASTM E308: what lies past the first and last reading takes that reading's value.
    """
    if observer not in OBSERVERS:
        raise InputError("observer", f"{observer} is not known", "2 or 10 (degrees)")
    grid = tuple(np.asarray(wavelengths, dtype=float).tolist())
    return _viewing(grid, light_name(light), observer)


def light_name(light: str) -> str:
    """What tint calls a CIE light, `F2` being `FL2`; an InputError if there is no such light."""
    name = light.strip().upper()
    known = {known.upper(): known for known in lights()}
    if name not in known and name.startswith("F") and name[1:2].isdigit():
        name = "FL" + name[1:]
    if name not in known:
        expected = "D65, D50, A, FL2, FL11, LED-B3 or another CIE light"
        raise InputError("light", f"`{light}` is not known", expected, did_you_mean(name, known.values()))
    return known[name]


@functools.lru_cache(maxsize=64)
def _viewing(grid: tuple[float, ...], light: str, observer: int) -> Viewing:
    known = tables()
    power = known[f"light {light}"][:, None] * known[f"observer {observer}"]
    weights = _interpolation(np.asarray(grid)).T @ power
    weights *= 100.0 / weights[:, 1].sum()
    return Viewing(light, observer, weights, weights.sum(axis=0))


def _interpolation(grid: Array) -> Array:
    """Matrix, shape (421, n), from readings on a regular grid to 1 nm from 360 to 780 nm (ASTM E2022, E308)."""
    step = grid[1] - grid[0]
    # The grid carried on to the ends of the CIE range.
    before, after = (max(int(room // step), 0) for room in (grid[0] - 360.0, 780.0 - grid[-1]))
    last = grid.size + before + after - 1
    place = np.clip((CIE_RANGE_NM - grid[0]) / step + before, 0.0, last)
    # Cubic through four readings; quadratic through three in the first and last interval.
    four = np.arange(-1, 3)
    nodes = np.clip(np.floor(place).astype(int), 0, last - 1)[:, None] + four
    held, own = (nodes >= 0) & (nodes <= last), np.eye(4, dtype=bool)
    steps = (place[:, None] - nodes)[:, None, :] / np.where(own, 1, four[:, None] - four)
    shares = np.where(held, np.where(held[:, None, :] & ~own, steps, 1.0).prod(axis=2), 0.0)
    matrix = np.zeros((CIE_RANGE_NM.size, grid.size))
    np.add.at(matrix, (np.arange(len(place))[:, None], np.clip(nodes - before, 0, grid.size - 1)), shares)
    return matrix


def xyz(spectra: ArrayLike, view: Viewing) -> Array:
    """XYZ of spectra, shape (..., n_wavelengths) to (..., 3); Y of the perfect white is 100 [-]."""
    return np.asarray(np.asarray(spectra, dtype=float) @ view.weights)


def contrast_ratio(over_black: ArrayLike, over_white: ArrayLike, view: Viewing) -> Array:
    """Luminance factor over the black backing divided by that over the white one, shape (...) [-]."""
    luminance = view.weights[:, 1]
    return np.asarray((np.asarray(over_black) @ luminance) / (np.asarray(over_white) @ luminance))
