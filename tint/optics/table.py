"""Smooth tables over two depths x and y from 0 to hiding and over the anisotropy g, looked up with their slopes.

Where there is one they run over a fourth quantity too. A surface is the product of the polynomials of its `axes`:
continuous with its slopes, and its slopes are those of the surface itself. What layers answer at all nodes is computed
in chains of doublings.
"""

from __future__ import annotations

import functools
import math
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Protocol, Self, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError
from tint.optics.axes import Axis, Knots

Array = NDArray[np.float64]
Floats = NDArray[np.float32]

_CHUNK = 4096  # points looked up at once
_CACHE = 1 << 20  # bytes of their coefficients at a time, which a processor's cache holds
_BUILDERS = 4  # threads at most that compute at once; each takes some 100 to 200 MB
_EXPONENTS = np.array([1.0, 2.0, 3.0], dtype=np.float32)[:, None]


@dataclass(frozen=True, kw_only=True, eq=False)
class Table:
    """Several quantities over (x, y, g) or (x, y, g, more); build one with `tabulate`."""

    x: Axis
    y: Axis  # as x, but of another length
    knots: tuple[Knots, ...]  # of g, and of what more there is
    coefficients: Floats  # (cells, powers of the knots, last first, times quantities, powers of x, y)

    def __call__(self, x: Array, y: Array, *others: Array) -> tuple[Array, Array]:
        """Values, shape (quantities, ...), and slopes by x, y, g and what more there is, (quantities, 3 or 4, ...).

        Depths x and y of shape (...) are not negative. Beyond the last nodes both are brought back in
        proportion: there a layer hides, and only their ratio matters. The anisotropy, and what more there is,
        lie between the first and the last of their nodes.
        """
        at = np.stack((x, y, *others))
        values, slopes = self.joined(at, np.ones((1, 1, *x.shape)), np.zeros(x.shape, dtype=np.intp))
        return values[0], slopes

    def joined(self, at: Array, weights: Array, which: NDArray[np.intp]) -> tuple[Array, Array]:
        """As called, of one of several tables and with blocks of its quantities joined by weights of each point.

        `at` (3 or 4, ...): x, y, g and what more there is.
        `weights` (n, blocks, ...): of n sums; the first comes with slopes.
        `which` (...): of the tables that were `stacked`, the one that each point takes.
        Returns shapes (n, quantities of a block, ...) and (quantities of a block, 3 or 4, ...).
        """
        size, shape, (sums, blocks, *_) = which.size, which.shape, weights.shape
        at, weights, which = at.reshape(len(at), size), weights.reshape(sums, blocks, size), which.reshape(size)
        count = self.coefficients.shape[1] // (blocks * self._powers_of_knots)
        values, slopes = np.empty((sums, count, size)), np.empty((count, len(at), size))
        for first in range(0, size, _CHUNK):
            part = slice(first, first + _CHUNK)
            self._look_up(at[:, part], weights[..., part], which[part], values[..., part], slopes[..., part])
        return values.reshape(sums, count, *shape), slopes.reshape(count, len(at), *shape)

    @functools.cached_property
    def _powers_of_knots(self) -> int:
        return math.prod(knots.powers for knots in self.knots)

    @functools.cached_property
    def _cells(self) -> NDArray[np.intp]:
        """Pieces of x and of y, shape (2, 1)."""
        return np.array([[self.x.cells], [self.y.cells]])

    def _look_up(self, at: Array, weights: Array, which: NDArray[np.intp], values: Array, slopes: Array) -> None:
        if at[0].max() > self.x.end or at[1].max() > self.y.end:
            self._look_up_beyond(at, weights, which, values=values, slopes=slopes)
            return
        places, by_place = np.empty_like(at), np.empty_like(at)
        (cells, along_y), places[:2], by_place[:2] = self.x.locate(at[:2], self._cells)
        cells = (which * self.x.cells + cells) * self.y.cells + along_y
        for axis, knots in enumerate(self.knots, start=2):
            cell, places[axis], by_place[axis] = knots.locate(at[axis])
            cells = cells * knots.cells + cell
        powers = _powers(places)
        of_knots = _products(*((powers[:, -at], knots.powers) for at, knots in enumerate(self.knots[::-1], start=1)))
        of_depths = _products((powers[:, 0], self.x.powers), (powers[:, 1], self.y.powers))
        found = self._summed(cells, of_knots, of_depths.transpose(0, 2, 1))
        blocks, count = weights.shape[1], values.shape[1]
        # Planes of the knots come last first; of theirs only the slopes are of use.
        plane = np.array(found[:, 0].T, dtype=float, order="C").reshape(3, blocks, count, -1)
        bends = np.array(found[:, :0:-1, :, 0].T, dtype=float, order="C").reshape(blocks, count, -1, len(found))
        np.einsum("wbn,bqn->wqn", weights, plane[0], out=values)
        np.einsum("bn,dbqn->qdn", weights[0], plane[1:], out=slopes[:, :2])
        np.einsum("bn,bqdn->qdn", weights[0], bends, out=slopes[:, 2:])
        slopes *= by_place

    def _summed(self, cells: NDArray[np.intp], of_knots: Floats, of_depths: Floats) -> Floats:
        """Coefficients of cells times the powers of the knots, then of the depths, shape (n, k + 1, quantities, 3)."""
        size, planes, powers = of_knots.shape
        count, terms = self.coefficients.shape[1] // powers, self.coefficients.shape[2]
        block = min(size, max(1, _CACHE // self.coefficients[0].nbytes))
        picked = np.empty((block, *self.coefficients.shape[1:]), dtype=np.float32)
        found = np.empty((size, planes * count, 3), dtype=np.float32)
        for first in range(0, size, block):
            part = slice(first, first + block)
            here = picked[: cells[part].size]  # one piece of memory for all blocks, which stays in the cache
            self.coefficients.take(cells[part], axis=0, mode="clip", out=here)
            along = np.matmul(of_knots[part], here.reshape(-1, powers, terms * count))
            np.matmul(along.reshape(-1, planes * count, terms), of_depths[part], out=found[part])
        return found.reshape(size, planes, count, 3)

    def _look_up_beyond(
        self, at: Array, weights: Array, which: NDArray[np.intp], *, values: Array, slopes: Array
    ) -> None:
        over_x, over_y = at[0] / self.x.end, at[1] / self.y.end
        over = np.maximum(over_x, over_y)
        some = np.flatnonzero(over > 1.0)
        back, along_x, (x, y) = 1.0 / over[some], over_x[some] >= over_y[some], at[:2, some]
        within = at.copy()
        within[:2, some] = np.minimum(x * back, self.x.end), np.minimum(y * back, self.y.end)
        self._look_up(within, weights, which, values, slopes)
        # A depth that is brought back to the edge moves the other one along with it.
        ratio = np.where(along_x, y / np.where(along_x, x, 1.0), x / np.where(along_x, 1.0, y))
        by_x, by_y = slopes[:, 0, some] * back, slopes[:, 1, some] * back
        slopes[:, 0, some] = np.where(along_x, -by_y * ratio, by_x)
        slopes[:, 1, some] = np.where(along_x, by_y, -by_x * ratio)


def _powers(places: Array) -> Floats:
    """Powers 0 to 3 of places in cells, and their slopes, shape (2, axes, 4, n)."""
    powers = np.empty((2, len(places), 4, places.shape[1]), dtype=np.float32)
    powers[0, :, 0], powers[0, :, 1], powers[1, :, 0] = 1.0, places, 0.0
    np.multiply(powers[0, :, 1], powers[0, :, 1], out=powers[0, :, 2])
    np.multiply(powers[0, :, 2], powers[0, :, 1], out=powers[0, :, 3])
    np.multiply(powers[0, :, :3], _EXPONENTS, out=powers[1, :, 1:])
    return powers


def _products(*of: tuple[Floats, int]) -> Floats:
    """Products of so many powers of 1 or 2 places, the last fastest, and their slopes by each, shape (n, k + 1, m).

    Each of `of` is a place's part of `_powers`, shape (2, 4, n), and how many of its powers count.
    """
    one, *other = (powers[:, :count] for powers, count in of)
    products = one
    for two in other:
        products = np.empty((3, one.shape[1], *two.shape[1:]), dtype=np.float32)
        np.multiply(one[:, :, None], two[0], out=products[:2])
        np.multiply(one[0, :, None], two[1], out=products[2])
    planes, size = len(products), one.shape[-1]
    return np.ascontiguousarray(products.reshape(-1, size).T).reshape(size, planes, -1)


def tabulate(values: Array, *, x: Axis, y: Axis, knots: tuple[Knots, ...]) -> Table:
    """A table from values at all nodes, shape (quantities, [nodes of more,] g nodes, x nodes, y nodes).

    `knots` are those of g, and of what more there is.
    """
    whole, axis = values, values.ndim - 1
    axes: tuple[Axis | Knots, ...] = (y, x, *knots)
    for each in axes:
        # Each pass replaces the nodes of an axis by cells and puts its powers in front, so that the next axis to the
        # left comes to where this one was.
        whole = np.moveaxis(np.tensordot(each.polynomials(), whole, axes=(2, axis)), 1, axis + 1)
    # Now powers of the knots, the last first, of x and of y; quantities; cells of the knots, the last first, of x and
    # of y. All that a point needs is brought side by side.
    n = len(knots)
    of_knots, cells_of_knots = range(n), reversed(range(n + 3, 2 * n + 3))
    whole = whole.transpose(2 * n + 3, 2 * n + 4, *cells_of_knots, *of_knots, n + 2, n, n + 1)
    shape = (-1, math.prod(each.powers for each in knots) * values.shape[0], x.powers * y.powers)
    return Table(x=x, y=y, knots=knots, coefficients=np.ascontiguousarray(whole, dtype=np.float32).reshape(shape))


def stacked(tables: Sequence[Table]) -> Table:
    """Several tables on the same nodes as one; each point is looked up in one of them."""
    return replace(tables[0], coefficients=np.concatenate([each.coefficients for each in tables]))


def look_up(table: Table, x: ArrayLike, y: ArrayLike, z: ArrayLike, *more: Array) -> tuple[Array, Array]:
    """Values, shape (n, ...), and slopes by x, y, z and what more there is, from a table over x, y, g = 1 - y / z ...

    Raises
    ------
    InputError
        For a depth that is negative or not a number.
    """
    most_g = table.knots[0].nodes[-1]
    at, asked, inverse = located(x, y, z, most_g=most_g)
    values, slopes = table(*at, *more)
    by_g = np.where((asked >= 0.0) & (asked <= most_g), slopes[:, 2], 0.0) * inverse
    slopes[:, 1] -= by_g
    slopes[:, 2] = by_g * (at[1] * inverse)
    return values, slopes


def located(x: ArrayLike, y: ArrayLike, z: ArrayLike, *, most_g: float) -> tuple[Array, Array, Array]:
    """Where depths lie in a table, x, y and g, shape (3, ...); 1 - y / z, of which g is what a table holds; and 1 / z.

    Both are 0 where z is.
    """
    at = np.stack(np.broadcast_arrays(x, y, z)).astype(float, copy=False)
    # Written so that a NaN fails too.
    if at.size and not (at.min() >= 0.0 and at.max() < np.inf):
        name = next(
            name
            for name, each in zip(("K d", "S d", "M d"), at, strict=True)
            if not (each.min() >= 0.0 and each.max() < np.inf)
        )
        raise InputError("layer", f"{name} is negative or not a number", "0 or more")
    some = at[2] > 0.0
    inverse = np.divide(1.0, at[2], out=np.zeros_like(at[2]), where=some)
    asked = np.where(some, 1.0 - at[1] * inverse, 0.0)
    at[2] = np.minimum(np.maximum(asked, 0.0), most_g)
    return at, asked, inverse


class Layers(Protocol):
    """Layers of which as many can be laid on each other."""

    def doubled(self, which: NDArray[np.bool_]) -> Self: ...


L = TypeVar("L", bound=Layers)
Answers = dict[str, Array]  # by name, shape (n, ...)


def at_nodes(axes: Sequence[Axis], start: Callable[..., L], answers: Callable[[L], Answers]) -> Answers:
    """What layers answer at every node of several depths, shape (n, nodes of each axis).

    `start`: the layers of depths, one argument an axis, each of shape (layers,).
    `answers`: what they answer, shape (n, layers).

    On geometric nodes a layer doubled is again at a node, so that a chain of nodes of the same proportions costs one
    doubling a node; the edges, where a depth is 0, are chains of their own.
    """
    sizes = tuple(axis.nodes.size for axis in axes)
    node = [index.ravel() for index in np.indices(sizes)]
    # A chain starts in the first octave of any axis; the layer of no depth at all is a chain of one.
    starts = sum(node) == 0
    for index, axis in zip(node, axes, strict=True):
        starts |= (index > 0) & (index <= axis.per_octave)
    node = [index[starts] for index in node]
    layers = start(*(axis.nodes[index] for axis, index in zip(axes, node, strict=True)))
    found: Answers = {}
    while True:
        for name, answer in answers(layers).items():
            found.setdefault(name, np.empty((len(answer), *sizes)))[:, *node] = answer
        node = [np.where(index > 0, index + axis.per_octave, 0) for index, axis in zip(node, axes, strict=True)]
        still = sum(node) > 0
        for index, size in zip(node, sizes, strict=True):
            still &= index < size
        if not still.any():
            return found
        node, layers = [index[still] for index in node], layers.doubled(still)


def for_each(values: Sequence[float], build: Callable[[float], Answers], *, axis: int) -> Answers:
    """What is built of each value, some at a time, side by side along a new axis."""
    # Linear algebra leaves the other threads alone while it runs.
    with ThreadPoolExecutor(min(os.cpu_count() or 1, _BUILDERS)) as threads:
        each = list(threads.map(build, values))
    return {name: np.stack([arrays[name] for arrays in each], axis=axis) for name in each[0]}
