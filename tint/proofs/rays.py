"""Rays through a mesh: where each crosses the surface, and whether it enters or leaves there.

Triangles are sorted into the cells of an even grid, and all rays walk it together, cell by cell (Amanatides and Woo
1987, A Fast Voxel Traversal Algorithm, Eurographics; from memory). A triangle is hit as Möller and Trumbore have it
(1997, J. Graphics Tools 2, 21; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.proofs.scan import spread

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

_CELLS_A_TRIANGLE, _FEWEST_CELLS, _MOST_CELLS = 2.0, 30_000, 1_000_000
_MOST_ENTRIES = 8_000_000  # triangles in cells, together: 64 MB


@dataclass(frozen=True, eq=False)
class Grid:
    """Triangles by the cells that they touch."""

    low: Array  # (3,): corner of the first cell [mm]
    side: float  # of a cell [mm]
    count: Ints  # (3,)
    first: Ints  # (n_cells + 1,): where each cell begins in `face`
    face: Ints  # (n,)
    triangles: Array  # (n_faces, 3, 3) [mm]
    corner: Array  # (n_faces, 3): the first corner of each [mm]
    one: Array  # (n_faces, 3): from it to the second [mm]
    two: Array  # (n_faces, 3): from it to the third [mm]


@dataclass(frozen=True, eq=False)
class Crossings:
    """Where rays cross a surface, ray by ray and near to far; where two coincide, entering comes first."""

    ray: Ints  # (n,)
    face: Ints  # (n,)
    distance: Array  # (n,) [mm]
    sign: Ints  # (n,): 1 where the ray enters, -1 where it leaves


def grid_of(triangles: Array) -> Grid:
    """Sort triangles, shape (n, 3, 3) [mm], into cells."""
    corners = triangles.reshape(-1, 3)
    size = np.ptp(corners, axis=0) + 1e-6 * float(np.ptp(corners, axis=0).max())
    low = corners.min(axis=0) - 0.5e-6 * float(size.max())
    cells = np.clip(_CELLS_A_TRIANGLE * len(triangles), _FEWEST_CELLS, _MOST_CELLS)
    side = max(float(np.prod(size) / cells) ** (1.0 / 3.0), float(size.max()) / 400.0)
    while True:
        count = np.maximum(np.ceil(size / side).astype(np.int64), 1)
        from_ = np.clip(np.floor((triangles.min(axis=1) - low) / side).astype(np.int64), 0, count - 1)
        to = np.clip(np.floor((triangles.max(axis=1) - low) / side).astype(np.int64), 0, count - 1)
        many = np.prod(to - from_ + 1, axis=1)
        if many.sum() <= _MOST_ENTRIES or side > float(size.max()):
            break
        side *= 1.3
    face, step = spread(many)
    across = (to - from_ + 1)[face]
    at = from_[face]
    at[:, 2] += step % across[:, 2]
    at[:, 1] += step // across[:, 2] % across[:, 1]
    at[:, 0] += step // (across[:, 2] * across[:, 1])
    cell = _number(at, count)
    order = np.argsort(cell, kind="stable")
    first = np.concatenate(([0], np.cumsum(np.bincount(cell, minlength=int(np.prod(count))))))
    edges = triangles[:, 1:] - triangles[:, :1]
    return Grid(low, side, count, first, face[order], triangles, triangles[:, 0].copy(), edges[:, 0], edges[:, 1])


def _number(at: Ints, count: Ints) -> Ints:
    return np.asarray((at[:, 0] * count[1] + at[:, 1]) * count[2] + at[:, 2])


def crossings(grid: Grid, start: Array, along: Array) -> Crossings:
    """Follow rays to where they leave the grid.

    Parameters
    ----------
    start, along : ndarray, shape (n, 3)
        Points inside the bounds of the mesh [mm], and directions of length 1.
    """
    forward = along > 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        pace = np.where(along != 0.0, 1.0 / along, np.inf)
    at = np.clip(np.floor((start - grid.low) / grid.side).astype(np.int64), 0, grid.count - 1)
    edge = grid.low + (at + forward) * grid.side
    with np.errstate(invalid="ignore"):
        ahead = np.where(along != 0.0, (edge - start) * pace, np.inf)
    every = np.abs(pace) * grid.side
    live = np.arange(len(start))
    found: list[tuple[Ints, Ints, Array, Ints]] = []
    while live.size:
        cell = _number(at[live], grid.count)
        begin, many = grid.first[cell], grid.first[cell + 1] - grid.first[cell]
        for low in range(0, live.size, 50_000):
            some = slice(low, low + 50_000)
            which, step = spread(many[some])
            found.append(_hit(grid, start, along, live[some][which], grid.face[begin[some][which] + step]))
        axis = np.argmin(ahead[live], axis=1)
        at[live, axis] += np.where(forward[live, axis], 1, -1)
        ahead[live, axis] += every[live, axis]
        inside = (at[live, axis] >= 0) & (at[live, axis] < grid.count[axis])
        live = live[inside]
    ray, face, distance, sign = (np.concatenate(each) for each in zip(*found, strict=True))
    _, once = np.unique(ray * len(grid.triangles) + face, return_index=True)
    ray, face, distance, sign = ray[once], face[once], distance[once], sign[once]
    seam = 1e-7 * float(grid.count.max()) * grid.side
    ordered = np.lexsort((-sign, np.rint(distance / seam), ray))
    ray, face, distance, sign = ray[ordered], face[ordered], distance[ordered], sign[ordered]
    # A ray through an edge meets both of its triangles: one of them is enough.
    twin = np.zeros(ray.size, dtype=bool)
    twin[1:] = (ray[1:] == ray[:-1]) & (sign[1:] == sign[:-1]) & (distance[1:] - distance[:-1] <= seam)
    twin[1:] &= _share_an_edge(grid, face[1:], face[:-1])
    return Crossings(ray[~twin], face[~twin], distance[~twin], sign[~twin])


def _share_an_edge(grid: Grid, one: Ints, other: Ints) -> NDArray[np.bool_]:
    """Whether triangles have two corners in common; bodies that lie on one another need not have."""
    a, b = grid.triangles[one], grid.triangles[other]
    same = np.all(a[:, :, None] == b[:, None], axis=-1)
    return np.asarray(same.any(axis=2).sum(axis=1) >= 2)


def _hit(grid: Grid, start: Array, along: Array, ray: Ints, face: Ints) -> tuple[Ints, Ints, Array, Ints]:
    a, one, two = grid.corner[face], grid.one[face], grid.two[face]
    way, to = along[ray], start[ray] - a
    across, turned = _cross(way, two), _cross(to, one)
    with np.errstate(divide="ignore", invalid="ignore"):
        area = _dot(one, across)
        u, v, distance = _dot(to, across) / area, _dot(way, turned) / area, _dot(two, turned) / area
        good = (area != 0.0) & (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (distance > 0.0)
    return ray[good], face[good], distance[good], np.sign(area[good]).astype(np.int64)


def _dot(a: Array, b: Array) -> Array:
    return np.asarray(a[:, 0] * b[:, 0] + a[:, 1] * b[:, 1] + a[:, 2] * b[:, 2])


def _cross(a: Array, b: Array) -> Array:
    """As numpy.cross of rows."""
    out = np.empty_like(a)
    for at, (one, two) in enumerate(((1, 2), (2, 0), (0, 1))):
        out[:, at] = a[:, one] * b[:, two] - a[:, two] * b[:, one]
    return out
