"""Smooth tables over two depths x and y from 0 to hiding and over the anisotropy g, looked up with their slopes.

Along each depth the nodes are 0 and then a geometric series, so that the table resolves a trace and a thick
layer alike and reaches the exact edges x = 0 and y = 0. Between the nodes of the series a cubic spline in the
logarithm runs; between 0 and the first of them a parabola that meets it with equal slope. Along g, and where there is
one along a fourth quantity, a spline runs through a few nodes. The surface is the product of them: continuous
with its slopes, and its slopes are those of the surface itself.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from tint.files import cached_arrays

Array = NDArray[np.float64]
Floats = NDArray[np.float32]

_CHUNK = 4096  # points looked up at once
_CACHE = 1 << 20  # bytes of their coefficients at a time, which a processor's cache holds
_EXPONENTS = np.array([1.0, 2.0, 3.0], dtype=np.float32)[:, None]


@dataclass(frozen=True, kw_only=True)
class Axis:
    """Nodes 0, start, start 2^(1/per_octave), ... of one depth."""

    start: float  # first node above 0 [-]
    # length of the series, and nodes in each doubling [-]
    octaves: int
    per_octave: int
    # 3, or 2 with two pieces between nodes, of the same values and slopes at them: cheaper to look up
    degree: int = field(default=3, repr=False)  # shapes no number at a node, and so no key of what is stored

    @property
    def powers(self) -> int:
        """How many coefficients a piece has."""
        return self.degree + 1

    @property
    def nodes(self) -> Array:
        """All nodes, shape (octaves * per_octave + 2,) [-]."""
        series = 2.0 ** (np.arange(self.octaves * self.per_octave + 1) / self.per_octave)
        return np.concatenate(([0.0], self.start * series))

    @property
    def cells(self) -> int:
        """How many pieces there are."""
        return (self.octaves * self.per_octave + 1) * self._halves

    @property
    def _halves(self) -> int:
        return 1 if self.degree == 3 else 2

    @property
    def end(self) -> float:
        """Last node [-]."""
        return self.start * 2.0**self.octaves

    def locate(self, depth: Array, cells: NDArray[np.intp] | None = None) -> tuple[NDArray[np.intp], Array, Array]:
        """Cell of each depth, place in it from 0 to 1, slope of that place over depth; all of depth's shape.

        `cells`: how many pieces there are, where depths of axes that differ in nothing else are located at once.
        """
        share = depth / self.start
        reach = np.maximum(share, 1.0)
        steps = self.per_octave * self._halves
        place = steps * np.log2(reach) + self._halves * np.minimum(share, 1.0)
        slope = np.where(share < 1.0, self._halves / self.start, (steps / np.log(2.0) / self.start) / reach)
        cell = np.minimum(place.astype(np.intp), (self.cells if cells is None else cells) - 1)
        place -= cell
        return cell, place, slope

    def polynomials(self) -> Array:
        """Operator from node values to coefficients of each cell, shape (powers, cells, nodes)."""
        values, slopes = np.eye(self.nodes.size), self._slopes()
        left, right = slopes[:-1].copy(), slopes[1:].copy()
        right[0] /= np.log(2.0) / self.per_octave  # the first cell counts in start, not in steps of the series
        left[0] = 2.0 * (values[1] - values[0]) - right[0]
        rise = values[1:] - values[:-1]
        if self.degree == 2:
            halfway = 2.0 * rise - 0.5 * (left + right)  # the slope where the two pieces meet
            first = np.stack((values[:-1], 0.5 * left, 0.25 * (halfway - left)))
            second = np.stack((first.sum(axis=0), 0.5 * halfway, 0.25 * (right - halfway)))
            return np.stack((first, second), axis=2).reshape(3, self.cells, -1)
        return np.stack((values[:-1], left, 3.0 * rise - 2.0 * left - right, left + right - 2.0 * rise))

    def _slopes(self) -> Array:
        """Operator from node values to slopes per step of the series; the row of node 0 is unused."""
        size, step = self.nodes.size, np.log(2.0) / self.per_octave
        system, known = np.zeros((size, size)), np.zeros((size, size))
        system[0, 0] = 1.0
        # First node: the slope of the parabola through 0 and the first two nodes.
        ratio = np.exp(step)
        bend = np.zeros(size)
        bend[:3] = np.array([ratio - 1.0, -ratio, 1.0]) / (ratio * (ratio - 1.0))
        system[1, 1] = 1.0
        known[1] = step * bend
        known[1, :2] += step * np.array([-1.0, 1.0])
        inner = np.arange(2, size - 1)
        system[inner, inner - 1] = system[inner, inner + 1] = 1.0
        system[inner, inner] = 4.0
        known[inner, inner - 1], known[inner, inner + 1] = -3.0, 3.0
        system[-1, -1] = 1.0
        known[-1, -4:] = np.array([-2.0, 9.0, -18.0, 11.0]) / 6.0
        return np.asarray(np.linalg.solve(system, known))


@dataclass(frozen=True)
class Knots:
    """Nodes of the anisotropy, or of another quantity, rising, through which a spline runs."""

    nodes: tuple[float, ...]  # [-]
    # 3, or 2 with pieces that meet halfway between the nodes: more of them, each a quarter cheaper to look up
    degree: int = 3

    @property
    def powers(self) -> int:
        """How many coefficients a piece has."""
        return self.degree + 1

    @functools.cached_property
    def ends(self) -> Array:
        """Where the pieces of the spline begin and end, shape (cells + 1,) [-]."""
        nodes = np.array(self.nodes)
        if self.degree == 3:
            return nodes
        halfway = 0.5 * (nodes[1:] + nodes[:-1])
        return np.concatenate((nodes[:1], halfway[1:-1], nodes[-1:]))

    @functools.cached_property
    def _per_width(self) -> Array:
        return 1.0 / np.diff(self.ends)

    @property
    def cells(self) -> int:
        """How many pieces the spline has."""
        return len(self.nodes) - (1 if self.degree == 3 else 2)

    def locate(self, g: Array) -> tuple[NDArray[np.intp], Array, Array]:
        """Cell of each g, place in it from 0 to 1, slope of that place over g; all of g's shape."""
        cell = np.searchsorted(self.ends[1:-1], g, side="right")
        slope = self._per_width[cell]
        return cell, (g - self.ends[cell]) * slope, slope

    def polynomials(self) -> Array:
        """Operator from node values to coefficients of each cell, shape (powers, cells, nodes)."""
        # Kept from one run to the next: SciPy's splines take longer to import than a look-up takes.
        return cached_arrays(f"spline 1 {self}", lambda: {"operator": self._polynomials()})["operator"]

    def _polynomials(self) -> Array:
        from scipy.interpolate import make_interp_spline

        spline, ends = make_interp_spline(self.nodes, np.eye(len(self.nodes)), k=self.degree), self.ends
        width = np.diff(ends)[:, None]
        # Taylor's series at the beginning of each piece.
        return np.stack([spline(ends[:-1], nu=k) * width**k / math.factorial(k) for k in range(self.powers)])


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
