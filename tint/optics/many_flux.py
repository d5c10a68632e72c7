"""Many-flux layer model: radiative transfer of the slab, looked up in tables that adding-doubling makes.

A table belongs to one refractive index and one anisotropy g, and spans x = K d and y = S d from 0 to hiding.
It is computed once, kept in the cache directory, and read from memory afterwards.

References
----------
Prahl, S. A., van Gemert, M. J. C. and Welch, A. J. (1993), Appl. Opt. 32, 559: adding-doubling.
Gate, L. F. (1974), Appl. Opt. 13, 236: K = 2 mu_a, S = 3/4 mu_s (1 - g) (from memory).
"""

from __future__ import annotations

import functools

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError
from tint.files import cached_arrays
from tint.optics.adding_doubling import NODES, body
from tint.optics.directions import AT_8, directions
from tint.optics.slab import READINGS, check_reading
from tint.optics.table import Axis, Table, tabulate

Array = NDArray[np.float64]

VERSION = 1  # raise it when anything that shapes the stored numbers changes
PER_OCTAVE = 3
X_AXIS = Axis(start=2.0**-12, octaves=18, per_octave=PER_OCTAVE)  # K d up to 64
Y_AXIS = Axis(start=2.0**-12, octaves=26, per_octave=PER_OCTAVE)  # S d up to 16384


def terms(
    x: ArrayLike, y: ArrayLike, *, refractive_index: float, geometry: str, seat: str, g: float
) -> tuple[Array, Array]:
    """The three numbers that say how a layer reads over any Lambertian backing, with their slopes.

    Parameters
    ----------
    x, y : array_like, broadcastable to shape (...)
        K d and S d, not negative [-].
    refractive_index : float
        Of the rubber; 1 means no faces [-].
    geometry, seat : str
        As in `tint.optics.layer`.
    g : float
        Anisotropy of scattering, 0 to 0.95 [-].

    Returns
    -------
    values : ndarray, shape (3, ...)
        front, through, back: over a backing of reflectance Rg the layer reads
        ``front + through Rg / (1 - back Rg)`` [-].
    slopes : ndarray, shape (3, 2, ...)
        Derivatives of each with respect to x and y [-].

    Raises
    ------
    InputError
        For a depth that is negative or not a number, or a geometry, seat, index or g that is out of range.
    """
    check_reading(geometry, seat)
    table = _table(float(refractive_index), float(g), f"{geometry} {seat}")
    return table(*_depths(x, y))


def transmitted(x: ArrayLike, y: ArrayLike, *, refractive_index: float, g: float) -> tuple[Array, Array]:
    """Total transmittance of the free slab lit by a beam at 8 degrees, with its slopes.

    Parameters
    ----------
    x, y, refractive_index, g
        As in `terms`.

    Returns
    -------
    values : ndarray, shape (...)
        Unscattered light included [-].
    slopes : ndarray, shape (2, ...)
        With respect to x and y [-].
    """
    values, slopes = _table(float(refractive_index), float(g), "passed")(*_depths(x, y))
    return values[0], slopes[0]


def _depths(x: ArrayLike, y: ArrayLike) -> tuple[Array, Array]:
    x, y = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
    for name, depth in (("K d", x), ("S d", y)):
        # Written so that a NaN fails too.
        if depth.size and not (depth.min() >= 0.0 and depth.max() < np.inf):
            raise InputError("layer", f"{name} is negative or not a number", "0 or more")
    return x, y


@functools.lru_cache(maxsize=32)  # a table takes 2 MB
def _table(refractive_index: float, g: float, name: str) -> Table:
    return tabulate(_stored(refractive_index, g)[name], x=X_AXIS, y=Y_AXIS)


@functools.lru_cache(maxsize=8)
def _stored(refractive_index: float, g: float) -> dict[str, Array]:
    key = f"many-flux {VERSION} n={refractive_index!r} g={g!r} {NODES} {X_AXIS} {Y_AXIS}"
    return cached_arrays(key, lambda: build(refractive_index, g))


def build(refractive_index: float, g: float) -> dict[str, Array]:
    """Compute the table of one index and one g.

    Returns
    -------
    dict
        `"<geometry> <seat>"` -> front, through, back, shape (3, x nodes, y nodes), and `"passed"` ->
        transmittance, shape (1, x nodes, y nodes) [-].

    Notes
    -----
    On the geometric grid a layer doubled is again a node, so each chain of nodes with one ratio x : y costs
    one doubling a node; the edges x = 0 and y = 0 are chains of their own.
    """
    at = directions(refractive_index, NODES)
    x, y = X_AXIS.nodes, Y_AXIS.nodes
    names = [f"{geometry} {seat}" for geometry, seat in READINGS]
    arrays = {name: np.empty((3, x.size, y.size)) for name in names} | {"passed": np.empty((1, x.size, y.size))}
    column, row = (index.ravel() for index in np.indices((x.size, y.size)))
    # A chain starts in the first octave of either axis; the clear slab is a chain of one.
    starts = ((column > 0) & (column <= PER_OCTAVE)) | ((row > 0) & (row <= PER_OCTAVE)) | (column + row == 0)
    column, row = column[starts], row[starts]
    layers = body(x[column], y[row], at=at, g=g)
    while True:
        slab = layers.slab(at)
        for name, reading in zip(names, READINGS, strict=True):
            arrays[name][:, column, row] = slab.terms(*reading)
        arrays["passed"][0, column, row] = slab.beam_passed[AT_8]
        column, row = np.where(column > 0, column + PER_OCTAVE, 0), np.where(row > 0, row + PER_OCTAVE, 0)
        still = (column < x.size) & (row < y.size) & (column + row > 0)
        if not still.any():
            return arrays
        column, row, layers = column[still], row[still], layers.doubled(still)
