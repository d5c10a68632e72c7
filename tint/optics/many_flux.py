"""Many-flux layer model: radiative transfer of the slab, looked up in tables that adding-doubling makes.

A table spans x = K d and y = S d from 0 to hiding and the anisotropy g of the mixture. It is computed at a few
refractive indices, kept in the cache directory, and read from memory afterwards; between those indices a parabola runs.

References
----------
Prahl, S. A., van Gemert, M. J. C. and Welch, A. J. (1993), Appl. Opt. 32, 559: adding-doubling.
Gate, L. F. (1974), Appl. Opt. 13, 236: K = 2 mu_a, S = 3/4 mu_s (1 - g) (from memory).
"""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError
from tint.files import cached_arrays
from tint.optics.adding_doubling import NODES, body
from tint.optics.directions import AT_8, directions
from tint.optics.slab import READINGS, check_reading
from tint.optics.table import Axis, Knots, Table, tabulate

Array = NDArray[np.float64]

VERSION = 3  # raise it when anything that shapes the stored numbers changes
PER_OCTAVE = 3
X_AXIS = Axis(start=2.0**-12, octaves=18, per_octave=PER_OCTAVE)  # K d up to 64
Y_AXIS = Axis(start=2.0**-12, octaves=26, per_octave=PER_OCTAVE)  # S d up to 16384
# Closer where the layer bends more: between them the spline is within 9e-5 of the layer itself, within 3.3e-4 for the
# specular excluded, whose unscattered light falls off steeply with g (tests/figures/slabs.py).
G_AXIS = Knots((0.0, 0.2, 0.4, 0.55, 0.68, 0.8, 0.89, 0.95))
MOST_G = G_AXIS.nodes[-1]
# Indices at which tables are computed: 1.41 and multiples of this apart; a parabola between three of them is within
# 7e-5 of the layer itself (tests/figures/slabs.py). Below the least index the faces change too fast for it.
_INDEX, _INDEX_STEP, _LEAST_INDEX = 1.41, 0.06, 1.28
# Shares thrown backwards at which tables are computed. A parabola through them and none is within 4e-4 of the layer for
# g up to 0.5, within 2.4e-3 for shares of 0 to 0.12 at any g, and within 6e-3 at the ends of what a fit may take
# (tests/figures/slabs.py).
_LOBES = (0.05, 0.12)


def terms(
    x: ArrayLike, y: ArrayLike, z: ArrayLike, *, refractive_index: float, geometry: str, seat: str, lobe: float = 0.0
) -> tuple[Array, Array]:
    """The three numbers that say how a layer reads over any Lambertian backing, with their slopes.

    Parameters
    ----------
    x, y, z : array_like, broadcastable to shape (...)
        K d, S d and M d, not negative; M = S / (1 - g) [-].
    refractive_index : float
        Of the rubber; 1 means no faces [-].
    geometry, seat : str
        As in `tint.optics.layer`.
    lobe : float
        Share of the scattered light that is thrown backwards, as of `phase.lobes` [-].

    Returns
    -------
    values : ndarray, shape (3, ...)
        front, through, back: over a backing of reflectance Rg the layer reads
        ``front + through Rg / (1 - back Rg)`` [-].
    slopes : ndarray, shape (3, 3, ...)
        Derivatives of each with respect to x, y and z [-].

    Raises
    ------
    InputError
        For a depth that is negative or not a number, or a geometry, seat or index that is out of range.
    """
    check_reading(geometry, seat)
    return _look_up(_table(float(refractive_index), float(lobe), f"{geometry} {seat}"), x, y, z)


def transmitted(
    x: ArrayLike, y: ArrayLike, z: ArrayLike, *, refractive_index: float, lobe: float = 0.0
) -> tuple[Array, Array]:
    """Total transmittance of the free slab lit by a beam at 8 degrees, with its slopes.

    Parameters
    ----------
    x, y, z, refractive_index, lobe
        As in `terms`.

    Returns
    -------
    values : ndarray, shape (...)
        Unscattered light included [-].
    slopes : ndarray, shape (3, ...)
        With respect to x, y and z [-].
    """
    values, slopes = _look_up(_table(float(refractive_index), float(lobe), "passed"), x, y, z)
    return values[0], slopes[0]


def near_index(
    x: ArrayLike,
    y: ArrayLike,
    z: ArrayLike,
    *,
    stated_index: float,
    refractive_index: float,
    lobe: float,
    name: str,
) -> tuple[Array, Array, Array]:
    """As `terms` or `transmitted`, for an index and a lobe that change from call to call, with slopes by them.

    Parameters
    ----------
    stated_index : float
        Near which the index stays: it chooses the tables [-].
    name : str
        `"<geometry> <seat>"` for `terms`, `"passed"` for `transmitted`.

    Returns
    -------
    values, slopes, by_shape : ndarray, shapes (n, ...), (n, 3, ...) and (2, n, ...)
        n is 3 for `terms` and 1 for `transmitted`; the last by the index and by the lobe.
    """
    nodes = shapes(float(stated_index))
    weights, by_shape = shape_weights(nodes, refractive_index, lobe)
    values, slopes = _look_up(_tables(nodes, name), x, y, z)
    values, slopes = (each.reshape(len(nodes), -1, *each.shape[1:]) for each in (values, slopes))
    return (
        np.tensordot(weights, values, axes=1),
        np.tensordot(weights, slopes, axes=1),
        np.tensordot(by_shape, values, axes=1),
    )


def shapes(refractive_index: float) -> tuple[tuple[float, float], ...]:
    """The indices and lobes whose tables are joined about an index; the middle one first [-]."""
    n = float(refractive_index)
    if n < _LEAST_INDEX:
        return ((n, 0.0), *((n, lobe) for lobe in _LOBES))
    middle = round(_INDEX + _INDEX_STEP * round((n - _INDEX) / _INDEX_STEP), 6)
    beside = (round(middle - _INDEX_STEP, 6), round(middle + _INDEX_STEP, 6))
    return ((middle, 0.0), *((middle, lobe) for lobe in _LOBES), *((each, 0.0) for each in beside))


def shape_weights(nodes: tuple[tuple[float, float], ...], refractive_index: float, lobe: float) -> tuple[Array, Array]:
    """Weights of the nodes at an index and a lobe, and their derivatives by both; shapes (n_nodes,), (2, n_nodes)."""
    weights, slopes = np.zeros(len(nodes)), np.zeros((2, len(nodes)))
    weights[0] = 1.0
    a, b = _LOBES
    of_lobe = np.array([lobe * (lobe - b) / (a * (a - b)), lobe * (lobe - a) / (b * (b - a))])
    by_lobe = np.array([(2.0 * lobe - b) / (a * (a - b)), (2.0 * lobe - a) / (b * (b - a))])
    weights[1:3], slopes[1, 1:3] = of_lobe, by_lobe
    if len(nodes) > 3:
        t = (refractive_index - nodes[0][0]) / _INDEX_STEP
        weights[3:] = 0.5 * t * (t - 1.0), 0.5 * t * (t + 1.0)
        slopes[0, 3:] = np.array([t - 0.5, t + 0.5]) / _INDEX_STEP
    # What the others have is taken from the middle one: a parabola through it along either way.
    weights[0] -= weights[1:].sum()
    slopes[:, 0] = -slopes[:, 1:].sum(axis=1)
    return weights, slopes


def _look_up(table: Table, x: ArrayLike, y: ArrayLike, z: ArrayLike) -> tuple[Array, Array]:
    """Values and slopes by x, y and z, from the table over x, y and g = 1 - y / z."""
    x, y, z = np.broadcast_arrays(*(np.asarray(depth, dtype=float) for depth in (x, y, z)))
    for name, depth in (("K d", x), ("S d", y), ("M d", z)):
        # Written so that a NaN fails too.
        if depth.size and not (depth.min() >= 0.0 and depth.max() < np.inf):
            raise InputError("layer", f"{name} is negative or not a number", "0 or more")
    some = z > 0.0
    inverse = 1.0 / np.where(some, z, 1.0)
    g = np.where(some, 1.0 - y * inverse, 0.0)
    within = (g >= 0.0) & (g <= MOST_G) & some
    values, slopes = table(x, y, np.clip(g, 0.0, MOST_G))
    by_g = np.where(within, slopes[:, 2], 0.0) * inverse
    slopes[:, 1] -= by_g
    slopes[:, 2] = by_g * (y * inverse)
    return values, slopes


@functools.lru_cache(maxsize=6)  # a table takes 24 MB
def _table(refractive_index: float, lobe: float, name: str) -> Table:
    nodes = shapes(refractive_index)
    weights, _ = shape_weights(nodes, refractive_index, lobe)
    used = [(weight, node) for weight, node in zip(weights.tolist(), nodes, strict=True) if weight != 0.0]
    values = sum(weight * _stored(*node)[name] for weight, node in used)
    return tabulate(np.asarray(values), x=X_AXIS, y=Y_AXIS, g=G_AXIS)


@functools.lru_cache(maxsize=3)  # 120 MB
def _tables(nodes: tuple[tuple[float, float], ...], name: str) -> Table:
    """The tables of several indices and lobes as one, so that a point is located but once."""
    each = [tabulate(_stored(*node)[name], x=X_AXIS, y=Y_AXIS, g=G_AXIS) for node in nodes]
    powers = each[0].coefficients.shape[1] // 4
    by_power = [table.coefficients.reshape(-1, 4, powers, 16) for table in each]
    return replace(each[0], coefficients=np.concatenate(by_power, axis=2).reshape(len(by_power[0]), -1, 16))


@functools.lru_cache(maxsize=10)
def _stored(refractive_index: float, lobe: float) -> dict[str, Array]:
    key = f"many-flux {VERSION} n={refractive_index!r} lobe={lobe!r} {NODES} {X_AXIS} {Y_AXIS} {G_AXIS}"
    return cached_arrays(key, lambda: build(refractive_index, lobe))


def build(refractive_index: float, lobe: float = 0.0) -> dict[str, Array]:
    """Compute the table of one index and one lobe.

    Returns
    -------
    dict
        `"<geometry> <seat>"` -> front, through, back, shape (3, g nodes, x nodes, y nodes), and `"passed"` ->
        transmittance, shape (1, g nodes, x nodes, y nodes) [-].
    """
    each = [_build(refractive_index, g, lobe) for g in G_AXIS.nodes]
    return {name: np.stack([arrays[name] for arrays in each], axis=1) for name in each[0]}


def _build(refractive_index: float, g: float, lobe: float) -> dict[str, Array]:
    """As `build`, for one g and without its axis.

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
    layers = body(x[column], y[row], at=at, g=g, lobe=lobe)
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
