"""Smooth tables over two depths x and y from 0 to hiding, looked up with their slopes.

Along each axis the nodes are 0 and then a geometric series, so that the table resolves a trace and a thick
layer alike and reaches the exact edges x = 0 and y = 0. Between the nodes of the series a cubic spline in the
logarithm runs; between 0 and the first of them a parabola that meets it with equal slope. The surface is the
product of the two: continuous with its slopes, and its slopes are those of the surface itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_CHUNK = 4096  # points looked up at once: about what fits a processor's second cache


@dataclass(frozen=True, kw_only=True)
class Axis:
    """Nodes 0, start, start 2^(1/per_octave), ... of one depth.

    Parameters
    ----------
    start : float
        First node above 0 [-].
    octaves, per_octave : int
        Length of the series, and nodes in each doubling [-].
    """

    start: float
    octaves: int
    per_octave: int

    @property
    def nodes(self) -> Array:
        """All nodes, shape (octaves * per_octave + 2,) [-]."""
        series = 2.0 ** (np.arange(self.octaves * self.per_octave + 1) / self.per_octave)
        return np.concatenate(([0.0], self.start * series))

    @property
    def end(self) -> float:
        """Last node [-]."""
        return self.start * 2.0**self.octaves

    def locate(self, depth: Array) -> tuple[NDArray[np.intp], Array, Array]:
        """Cell of each depth, place in it from 0 to 1, slope of that place over depth; all of depth's shape."""
        reach = np.maximum(depth, self.start)
        place = self.per_octave * np.log2(reach / self.start) + np.minimum(depth / self.start, 1.0)
        cell = np.minimum(place.astype(np.intp), self.octaves * self.per_octave)
        slope = np.where(depth < self.start, 1.0 / self.start, (self.per_octave / np.log(2.0)) / reach)
        return cell, place - cell, slope

    def polynomials(self) -> Array:
        """Operator from node values to cubic coefficients of each cell, shape (4, cells, nodes)."""
        values, slopes = np.eye(self.nodes.size), self._slopes()
        left, right = slopes[:-1].copy(), slopes[1:].copy()
        right[0] /= np.log(2.0) / self.per_octave  # the first cell counts in start, not in steps of the series
        left[0] = 2.0 * (values[1] - values[0]) - right[0]
        rise = values[1:] - values[:-1]
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


@dataclass(frozen=True, kw_only=True, eq=False)
class Table:
    """Several quantities over (x, y); build one with `tabulate`."""

    x: Axis
    y: Axis
    coefficients: Array  # shape (4, 4, quantities, cells)

    def __call__(self, x: Array, y: Array) -> tuple[Array, Array]:
        """Values and slopes.

        Parameters
        ----------
        x, y : ndarray, both of shape (...)
            Not negative [-]. Beyond the last nodes both are brought back in proportion: there a layer hides,
            and only their ratio matters.

        Returns
        -------
        values : ndarray, shape (quantities, ...)
        slopes : ndarray, shape (quantities, 2, ...)
            Derivatives of the values with respect to x and y.
        """
        count = self.coefficients.shape[2]
        flat_x, flat_y = x.ravel(), y.ravel()
        values, slopes = np.empty((count, x.size)), np.empty((count, 2, x.size))
        for first in range(0, x.size, _CHUNK):
            part = slice(first, first + _CHUNK)
            self._look_up(flat_x[part], flat_y[part], values[:, part], slopes[:, :, part])
        return values.reshape(count, *x.shape), slopes.reshape(count, 2, *x.shape)

    def _look_up(self, x: Array, y: Array, values: Array, slopes: Array) -> None:
        if x.max() > self.x.end or y.max() > self.y.end:
            self._look_up_beyond(x, y, values, slopes)
            return
        column, s, s_by_x = self.x.locate(x)
        row, t, t_by_y = self.y.locate(y)
        cells = column * (self.y.octaves * self.y.per_octave + 1) + row
        c = self.coefficients.take(cells, axis=-1)
        # Horner in t for all powers of s at once, the slope carried along; then Horner in s.
        slope = c[:, 3].copy()
        value = slope * t
        value += c[:, 2]
        for power in (1, 0):
            slope *= t
            slope += value
            value *= t
            value += c[:, power]
        by_s = value[3].copy()
        value[3] *= s
        value[3] += value[2]
        for power in (1, 0):
            by_s *= s
            by_s += value[3]
            value[3] *= s
            value[3] += value[power]
        for power in (2, 1, 0):
            slope[3] *= s
            slope[3] += slope[power]
        values[...] = value[3]
        np.multiply(by_s, s_by_x, out=slopes[:, 0])
        np.multiply(slope[3], t_by_y, out=slopes[:, 1])

    def _look_up_beyond(self, x: Array, y: Array, values: Array, slopes: Array) -> None:
        over_x, over_y = np.maximum(x / self.x.end, 1.0), np.maximum(y / self.y.end, 1.0)
        back = 1.0 / np.maximum(over_x, over_y)
        self._look_up(np.minimum(x * back, self.x.end), np.minimum(y * back, self.y.end), values, slopes)
        by_x, by_y = slopes[:, 0] * back, slopes[:, 1] * back
        beyond_x, beyond_y = (over_x > 1.0) & (over_x >= over_y), (over_y > 1.0) & (over_y > over_x)
        # A depth that is brought back to the edge moves the other one along with it.
        slopes[:, 0] = np.where(beyond_x, -by_y * y / np.where(beyond_x, x, 1.0), by_x)
        slopes[:, 1] = np.where(beyond_y, -by_x * x / np.where(beyond_y, y, 1.0), by_y)


def tabulate(values: Array, *, x: Axis, y: Axis) -> Table:
    """A table from values at all nodes.

    Parameters
    ----------
    values : ndarray, shape (quantities, x nodes, y nodes)
    x, y : Axis
    """
    along_y = np.einsum("bjl,qkl->bqkj", y.polynomials(), values, optimize=True)
    coefficients = np.einsum("aik,bqkj->abqij", x.polynomials(), along_y, optimize=True)
    shape = coefficients.shape
    return Table(x=x, y=y, coefficients=np.ascontiguousarray(coefficients).reshape(*shape[:3], -1))
