"""Many-flux layer model: radiative transfer of the slab, looked up in tables that adding-doubling makes.

A table spans x = K d and y = S d from 0 to hiding and the anisotropy g of the mixture. It is computed at a few
refractive indices and second moments of the phase function, kept in the cache directory, and read from memory
afterwards; between those a polynomial runs. What an instrument excludes as specular is taken off in closed form.

References
----------
Prahl, S. A., van Gemert, M. J. C. and Welch, A. J. (1993), Appl. Opt. 32, 559: adding-doubling.
Gate, L. F. (1974), Appl. Opt. 13, 236: K = 2 mu_a, S = 3/4 mu_s (1 - g) (from memory).
"""

from __future__ import annotations

import functools
import os
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError
from tint.files import cached_arrays, is_cached
from tint.optics.adding_doubling import body, lobe_at
from tint.optics.slab import AT_8, PASSED, check_reading, directions
from tint.optics.surface import DEGREES_8
from tint.optics.surface import reflected as mirrored
from tint.optics.table import Axis, Knots, Table, tabulate

Array = NDArray[np.float64]

VERSION = 5  # raise it when anything that shapes the stored numbers changes
# The nodes of the depths: between them a spline is within 5e-5 of the layer itself (tests/figures/slabs.py).
PER_OCTAVE = 2
X_AXIS = Axis(start=2.0**-12, octaves=18, per_octave=PER_OCTAVE)  # K d up to 64
Y_AXIS = Axis(start=2.0**-12, octaves=26, per_octave=PER_OCTAVE)  # S d up to 16384
# Closer where the layer bends more: between them the spline is within 9e-5 of the layer itself.
G_AXIS = Knots((0.0, 0.2, 0.4, 0.55, 0.68, 0.8, 0.89, 0.95))
MOST_G = G_AXIS.nodes[-1]
# Directions in a hemisphere: fewer do where scattering is not so forward, for 4e-5 at most.
_FEW, _FEW_UP_TO_G, _MANY = 16, 0.8, 24
# Indices at which tables are computed: 1.41 and multiples of this apart; a parabola between three of them is within
# 7e-5 of the layer itself (tests/figures/slabs.py). Below the least index the faces change too fast for it.
_INDEX, _INDEX_STEP, _LEAST_INDEX = 1.41, 0.06, 1.28
# Lobes of `adding_doubling.moments` at which tables are computed, beside none, and from where to where they are
# followed: through none a parabola runs either way (tests/figures/slabs.py).
_ROUND, _BACK = (-0.4, -0.9), (0.07, 0.16)
LOBE_ENDS = (-1.0, 0.22)
_STORED = tuple(f"{geometry} {seat}" for geometry in ("di:8", "45:0") for seat in ("air", "wet"))
_STEP = 1e-4  # of the index, for the slope of a closed form
_BUILDERS = 4  # threads at most that build tables at once; each takes some 100 MB


def terms(
    x: ArrayLike, y: ArrayLike, z: ArrayLike, q: ArrayLike | None = None, *, refractive_index: float, geometry: str,
    seat: str,
) -> tuple[Array, Array]:  # fmt: skip
    """The three numbers that say how a layer reads over any Lambertian backing, with their slopes.

    For K d, S d, M d = S d / (1 - g) and Q d, which is M d times the second moment of the phase function, of shape
    (...), not negative: front, through, back, shape (3, ...), with which it reads ``front + through Rg / (1 - back
    Rg)`` over a backing of reflectance Rg, and the slopes of each by x, y, z and q, shape (3, 4, ...) [-].

    Without q every scattering event is one Henyey-Greenstein lobe. An index of 1 means no faces; geometry and seat are
    as in `tint.optics.layer`. A depth that is negative or not a number, or anything else that is out of range, is an
    InputError.
    """
    check_reading(geometry, seat)
    n = float(refractive_index)
    values, slopes = _read(n, _stored_as(geometry, seat), x, y, z, q)
    if geometry == "de:8":
        gloss, by_depth = _gloss(n, x, z, seat)
        values[0] -= gloss
        slopes[0, :3] -= by_depth
    return values, slopes


def transmitted(
    x: ArrayLike, y: ArrayLike, z: ArrayLike, q: ArrayLike | None = None, *, refractive_index: float
) -> tuple[Array, Array]:
    """Total transmittance of the free slab lit by a beam at 8 degrees, unscattered light included, with its slopes.

    Arguments are those of `terms`; shapes (...) and (4, ...).
    """
    values, slopes = _read(float(refractive_index), PASSED, x, y, z, q)
    return values[0], slopes[0]


def near_index(
    x: ArrayLike,
    y: ArrayLike,
    z: ArrayLike,
    q: ArrayLike,
    *,
    stated_index: float,
    refractive_index: float,
    geometry: str,
    seat: str | None,
) -> tuple[Array, Array, Array]:
    """As `terms` or `transmitted`, for an index that changes from call to call, with slopes by it.

    The index stays near the stated one, which chooses the tables; `seat` is None for the transmittance of the free
    slab. Values, slopes and slopes by the index have the shapes (n, ...), (n, 4, ...) and (n, ...), n being 3 for
    `terms` and 1 for `transmitted`.
    """
    nodes = shapes(float(stated_index))
    weights, by_index = index_weights(nodes, refractive_index)
    each, each_slopes = look_up(tables_of(nodes, PASSED if seat is None else _stored_as(geometry, seat)), x, y, z)
    each, each_slopes = (part.reshape(len(nodes), -1, *part.shape[1:]) for part in (each, each_slopes))
    values, slopes = _at_lobe(each[:_LOBED], each_slopes[:_LOBED], x, y, z, q)
    values += np.tensordot(weights, each, axes=1)
    slopes[:, :3] += np.tensordot(weights, each_slopes, axes=1)
    of_index = np.tensordot(by_index, each, axes=1)
    if geometry == "de:8" and seat is not None:
        gloss, by_depth = _gloss(refractive_index, x, z, seat)
        values[0] -= gloss
        slopes[0, :3] -= by_depth
        above, below = (_gloss(refractive_index + step, x, z, seat)[0] for step in (_STEP, -_STEP))
        of_index[0] -= (above - below) / (2.0 * _STEP)
    return values, slopes, of_index


def _stored_as(geometry: str, seat: str) -> str:
    """The table that a reading comes from: with and without the specular reflection it is the same."""
    return f"{'45:0' if geometry == '45:0' else 'di:8'} {seat}"


def _gloss(refractive_index: float, x: ArrayLike, z: ArrayLike, seat: str) -> tuple[Array, Array]:
    """What an instrument that excludes the specular reflection leaves out, and its slopes by x, y and z."""
    x, z = np.asarray(x, dtype=float), np.asarray(z, dtype=float)
    gloss, by_depth = mirrored(refractive_index, 0.5 * x + z / 0.75, cosine=DEGREES_8, seat=seat)
    return gloss, np.stack((0.5 * by_depth, np.zeros_like(by_depth), by_depth / 0.75))


_LOBED = 1 + len(_ROUND + _BACK)  # how many of the tables about an index are of that index


def shapes(refractive_index: float) -> tuple[tuple[float, float], ...]:
    """The indices and lobes whose tables are joined about an index; the middle one first [-]."""
    n = float(refractive_index)
    middle = middle_index(n)
    lobed = tuple((middle, lobe) for lobe in (0.0, *_ROUND, *_BACK))
    if n < _LEAST_INDEX:
        return lobed
    return (*lobed, (round(middle - _INDEX_STEP, 6), 0.0), (round(middle + _INDEX_STEP, 6), 0.0))


def middle_index(refractive_index: float) -> float:
    """The index nearest to one, of those at which tables are computed; below the least of them the index itself [-]."""
    n = float(refractive_index)
    return n if n < _LEAST_INDEX else round(_INDEX + _INDEX_STEP * round((n - _INDEX) / _INDEX_STEP), 6)


def index_weights(nodes: tuple[tuple[float, float], ...], refractive_index: float) -> tuple[Array, Array]:
    """What an index adds to the middle one, as weights of the nodes, and their derivatives; shapes (n_nodes,)."""
    weights, slopes = np.zeros((2, len(nodes)))
    if len(nodes) > _LOBED:
        t = (refractive_index - nodes[0][0]) / _INDEX_STEP
        weights[_LOBED:] = 0.5 * t * (t - 1.0), 0.5 * t * (t + 1.0)
        slopes[_LOBED:] = np.array([t - 0.5, t + 0.5]) / _INDEX_STEP
    # What the others have is taken from the middle one: a parabola through it.
    weights[0], slopes[0] = -weights.sum(), -slopes.sum()
    return weights, slopes


def _at_lobe(
    each: Array, each_slopes: Array, x: ArrayLike, y: ArrayLike, z: ArrayLike, q: ArrayLike
) -> tuple[Array, Array]:
    """Values of tables of several lobes at that of each point, shape (n, ...), and slopes by x, y, z, q, (n, 4, ...).

    Shapes of `each` and `each_slopes` are (n_lobes, n, ...) and (n_lobes, n, 3, ...).
    """
    x, y, z, q = np.broadcast_arrays(*(np.asarray(depth, dtype=float) for depth in (x, y, z, q)))
    some = z > 0.0
    inverse = 1.0 / np.where(some, z, 1.0)
    g, second = np.clip(1.0 - y * inverse, 0.0, MOST_G), q * inverse
    lobe, by_g, by_second = lobe_at(g, second)
    low, high = LOBE_ENDS
    inside = some & (lobe > low) & (lobe < high)
    lobe = np.where(some, np.clip(lobe, low, high), 0.0)
    weights, by_lobe = _lobe_weights(lobe)
    values = np.einsum("l...,ln...->n...", weights, each)
    slopes = np.zeros((each.shape[1], 4, *x.shape))
    slopes[:, :3] = np.einsum("l...,lnd...->nd...", weights, each_slopes)
    along = np.einsum("l...,ln...->n...", by_lobe, each) * np.where(inside, inverse, 0.0)
    free = (g > 0.0) & (g < MOST_G)
    by_g = np.where(free, by_g, 0.0)
    slopes[:, 1] -= along * by_g
    slopes[:, 2] += along * (by_g * y - by_second * q) * inverse
    slopes[:, 3] += along * by_second
    return values, slopes


def _lobe_weights(lobe: Array) -> tuple[Array, Array]:
    """Weights of no lobe, the round ones and those backwards at a lobe, and their derivatives; shape (n_lobes, ...)."""
    weights, slopes = np.zeros((2, _LOBED, *lobe.shape))
    for at, side, (one, other) in ((1, lobe < 0.0, _ROUND), (3, lobe > 0.0, _BACK)):
        for row, here, there in ((at, one, other), (at + 1, other, one)):
            scale = side / (here * (here - there))
            weights[row], slopes[row] = lobe * (lobe - there) * scale, (2.0 * lobe - there) * scale
    weights[0], slopes[0] = 1.0 - weights[1:].sum(axis=0), -slopes[1:].sum(axis=0)
    return weights, slopes


def look_up(table: Table, x: ArrayLike, y: ArrayLike, z: ArrayLike, *more: Array) -> tuple[Array, Array]:
    """Values, shape (n, ...), and slopes by x, y, z and what more there is, from a table over x, y, g = 1 - y / z ...

    Raises
    ------
    InputError
        For a depth that is negative or not a number.
    """
    x, y, z = np.broadcast_arrays(*(np.asarray(depth, dtype=float) for depth in (x, y, z)))
    for name, depth in (("K d", x), ("S d", y), ("M d", z)):
        # Written so that a NaN fails too.
        if depth.size and not (depth.min() >= 0.0 and depth.max() < np.inf):
            raise InputError("layer", f"{name} is negative or not a number", "0 or more")
    some = z > 0.0
    inverse = 1.0 / np.where(some, z, 1.0)
    g = np.where(some, 1.0 - y * inverse, 0.0)
    within = (g >= 0.0) & (g <= MOST_G) & some
    values, slopes = table(x, y, np.clip(g, 0.0, MOST_G), *more)
    by_g = np.where(within, slopes[:, 2], 0.0) * inverse
    slopes[:, 1] -= by_g
    slopes[:, 2] = by_g * (y * inverse)
    return values, slopes


def _read(
    refractive_index: float, name: str, x: ArrayLike, y: ArrayLike, z: ArrayLike, q: ArrayLike | None
) -> tuple[Array, Array]:
    """Values, shape (n, ...), and slopes by x, y, z and q, shape (n, 4, ...), at one index."""
    if q is None:
        values, slopes = look_up(table_of(refractive_index, name, False), x, y, z)
        return values, np.concatenate((slopes, np.zeros_like(slopes[:, :1])), axis=1)
    each, each_slopes = look_up(table_of(refractive_index, name, True), x, y, z)
    each, each_slopes = (part.reshape(_LOBED, -1, *part.shape[1:]) for part in (each, each_slopes))
    return _at_lobe(each, each_slopes, x, y, z, q)


@functools.lru_cache(maxsize=6)  # a table takes 11 MB, and 44 MB with all lobes
def table_of(refractive_index: float, name: str, lobed: bool) -> Table:
    """The table of an index: without a lobe, or with each lobe as one, so that a point is located but once."""
    nodes = shapes(refractive_index)
    weights, _ = index_weights(nodes, refractive_index)
    of_index = sum(weight * stored(*node)[name] for weight, node in zip(weights.tolist(), nodes, strict=True) if weight)
    return _joined([stored(*node)[name] + of_index for node in nodes[: _LOBED if lobed else 1]])


@functools.lru_cache(maxsize=3)  # 65 MB
def tables_of(nodes: tuple[tuple[float, float], ...], name: str) -> Table:
    """The tables of several indices and lobes as one."""
    return _joined([stored(*node)[name] for node in nodes])


def _joined(each: list[Array]) -> Table:
    return tabulate(np.concatenate(each), x=X_AXIS, y=Y_AXIS, knots=(G_AXIS,))


@functools.lru_cache(maxsize=12)
def stored(refractive_index: float, lobe: float) -> dict[str, Array]:
    """What `build` makes, from the cache where it lies there."""
    return cached_arrays(_key(refractive_index, lobe), lambda: build(refractive_index, lobe))


def _key(refractive_index: float, lobe: float) -> str:
    directions_used = f"{_FEW} {_FEW_UP_TO_G} {_MANY}"
    return f"many-flux {VERSION} n={refractive_index!r} lobe={lobe!r} {directions_used} {X_AXIS} {Y_AXIS} {G_AXIS}"


def is_ready(refractive_index: float) -> bool:
    """Whether the tables about an index were computed before; else the first look-up takes some seconds."""
    return all(is_cached(_key(*node)) for node in shapes(refractive_index))


def build(refractive_index: float, lobe: float = 0.0) -> dict[str, Array]:
    """Compute the table of one index and one lobe.

    `"<geometry> <seat>"` holds front, through, back, shape (3, g nodes, x nodes, y nodes), and `"passed"` the
    transmittance, shape (1, g nodes, x nodes, y nodes) [-].
    """
    # Linear algebra leaves the other threads alone while it runs.
    with ThreadPoolExecutor(min(os.cpu_count() or 1, _BUILDERS)) as threads:
        each = list(threads.map(lambda g: _build(refractive_index, g, lobe), G_AXIS.nodes))
    return {name: np.stack([arrays[name] for arrays in each], axis=1) for name in each[0]}


def _build(refractive_index: float, g: float, lobe: float) -> dict[str, Array]:
    """As `build`, for one g and without its axis.

    Notes
    -----
    On the geometric grid a layer doubled is again a node, so each chain of nodes with one ratio x : y costs
    one doubling a node; the edges x = 0 and y = 0 are chains of their own.
    """
    at = directions(refractive_index, _FEW if g <= _FEW_UP_TO_G else _MANY)
    x, y = X_AXIS.nodes, Y_AXIS.nodes
    arrays = {name: np.empty((3, x.size, y.size)) for name in _STORED} | {PASSED: np.empty((1, x.size, y.size))}
    column, row = (index.ravel() for index in np.indices((x.size, y.size)))
    # A chain starts in the first octave of either axis; the clear slab is a chain of one.
    starts = ((column > 0) & (column <= PER_OCTAVE)) | ((row > 0) & (row <= PER_OCTAVE)) | (column + row == 0)
    column, row = column[starts], row[starts]
    layers = body(x[column], y[row], at=at, g=g, lobe=lobe)
    while True:
        slab = layers.slab(at)
        for name in _STORED:
            arrays[name][:, column, row] = slab.terms(*name.split())
        arrays[PASSED][0, column, row] = slab.beam_passed[AT_8]
        column, row = np.where(column > 0, column + PER_OCTAVE, 0), np.where(row > 0, row + PER_OCTAVE, 0)
        still = (column < x.size) & (row < y.size) & (column + row > 0)
        if not still.any():
            return arrays
        column, row, layers = column[still], row[still], layers.doubled(still)
