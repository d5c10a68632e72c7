"""Nodes of a table along one quantity, and the polynomials that run between them.

Along a depth the nodes are 0 and then a geometric series, so that a table resolves a trace and a thick layer alike and
reaches the exact edge. Between the nodes of the series a cubic spline in the logarithm runs; between 0 and the first of
them a parabola that meets it with equal slope. Along all else a spline runs through a few nodes.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tint.files import cached_arrays

Array = NDArray[np.float64]


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
