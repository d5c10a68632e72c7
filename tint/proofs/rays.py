"""Lines through a mesh: where each enters material and where it leaves.

Lines of sight along one axis, one for each pixel, are found by scan conversion. On a closed surface each leaves as
often as it enters: from the eye on, faces turned towards it count up and faces turned away count down, and there is
material wherever the count is above 0, so that bodies that overlap are one, and of a hollow body its near wall is told
from what lies behind it. Corners are put on a fixed grid and edges decided in whole numbers, each pixel on a shared
edge going to one side only (the top-left rule of raster graphics, common practice): no pixel is counted twice or left
out, however thin the triangles.

For rays in other directions triangles are sorted into the cells of an even grid, and all rays walk it together, cell by
cell (Amanatides and Woo 1987, A Fast Voxel Traversal Algorithm, Eurographics; from memory). A triangle is hit as Möller
and Trumbore have it (1997, J. Graphics Tools 2, 21; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.spectra import Array, Index, Mask

_GRID = 256  # steps of the fixed grid in a pixel
_HALF = _GRID // 2
_BAND = 64  # rows of pixels whose lines of sight are in memory together
_SEAM = 1e-6  # of the depth of all: a gap as narrow as that is none
_CELLS_A_TRIANGLE, _FEWEST_CELLS, _MOST_CELLS = 2.0, 30_000, 1_000_000
_MOST_ENTRIES = 8_000_000  # triangles in cells, together: 64 MB


@dataclass(frozen=True, eq=False)
class Scanned:
    """What the lines of sight through the pixel centres meet; all of shape (height, width), in units of the corners."""

    material: Array  # in all
    first: Array  # in the wall next to the eye
    twice: Array  # what lies in a second body too, counted once for each body but the first
    least: Array  # less than 0 where faces are inside out
    nearest: Array  # depth of the nearest face turned towards the eye; -inf where there is none
    face: Index  # which face that is; -1 where there is none


@dataclass(frozen=True, eq=False)
class _Facing:
    """Triangles on the grid, anticlockwise, with the plane of each."""

    which: Index  # (n,) place in what was given
    corners: Index  # (n, 3, 2)
    rows: Index  # (n, 2) first and last row of pixels whose centres it may hold
    sign: Array  # (n,) 1 towards the eye, -1 away
    slope: Array  # (n, 2) depth a step of the grid
    start: Array  # (n,) depth at the first corner
    bounds: Array  # (n, 2) least and most depth


def scan(corners: Array, *, width: int, height: int) -> Scanned:
    """Look at triangles along the third axis, from its far end.

    `corners` (n, 3, 3): column and row [px], rows counted downwards, and depth towards the eye; faces anticlockwise
        seen from outside.
    `width`, `height`: of the picture [px].
    """
    facing = _facing(corners)
    seam = _SEAM * float(np.ptp(corners[..., 2])) if corners.size else 0.0
    bands = [
        _along_each(*_pixels(facing, width, top, min(top + _BAND, height)), (min(_BAND, height - top), width), seam)
        for top in range(0, height, _BAND)
    ]
    return Scanned(*map(np.concatenate, zip(*bands, strict=True)))


def _facing(corners: Array) -> _Facing:
    grid = np.rint(corners[..., :2] * _GRID).astype(np.int64)
    one, two = grid[:, 1] - grid[:, 0], grid[:, 2] - grid[:, 0]
    area = one[:, 1] * two[:, 0] - one[:, 0] * two[:, 1]  # rows run down: turned towards the eye when positive
    kept = np.flatnonzero(area)
    order = np.where(area[kept, None] > 0, [0, 2, 1], [0, 1, 2])
    grid, depth = grid[kept[:, None], order], corners[kept[:, None], order, 2]
    one, two = (grid[:, 1] - grid[:, 0]).astype(float), (grid[:, 2] - grid[:, 0]).astype(float)
    up, on = depth[:, 1] - depth[:, 0], depth[:, 2] - depth[:, 0]
    slope = np.stack((up * two[:, 1] - on * one[:, 1], on * one[:, 0] - up * two[:, 0]), axis=-1)
    low, high = grid[..., 1].min(axis=1, initial=2**60), grid[..., 1].max(axis=1, initial=-(2**60))
    rows = np.stack((-((_HALF - low) // _GRID), (high - _HALF) // _GRID), axis=-1)
    slope /= np.abs(area[kept, None])
    bounds = np.stack((depth.min(axis=1, initial=np.inf), depth.max(axis=1, initial=-np.inf)), axis=-1)
    return _Facing(kept, grid, rows, np.sign(area[kept]).astype(float), slope, depth[:, 0], bounds)


def _pixels(facing: _Facing, width: int, top: int, bottom: int) -> tuple[Index, Index, Array, Array]:
    """Every pixel centre in every triangle, of rows from top to bottom: face, pixel among them, depth, sign."""
    some = np.flatnonzero((facing.rows[:, 0] < bottom) & (facing.rows[:, 1] >= top))
    first, last = np.maximum(facing.rows[some, 0], top), np.minimum(facing.rows[some, 1], bottom - 1)
    which, step = spread(np.maximum(last - first + 1, 0))
    which, row = some[which], first[which] + step
    low, high = _span(facing, which, row * _GRID + _HALF, width)
    inner, along = spread(np.maximum(high - low + 1, 0))
    face, column, row = which[inner], low[inner] + along, row[inner]
    across = column * _GRID + _HALF - facing.corners[face, 0, 0]
    down = row * _GRID + _HALF - facing.corners[face, 0, 1]
    slope, bounds = facing.slope[face], facing.bounds[face]
    depth = facing.start[face] + slope[:, 0] * across + slope[:, 1] * down
    depth = np.clip(depth, bounds[:, 0], bounds[:, 1])  # a sliver's slope may be steep beyond all rounding
    return facing.which[face], (row - top) * width + column, depth, facing.sign[face]


def _span(facing: _Facing, which: Index, line: Index, width: int) -> tuple[Index, Index]:
    """First and last column whose centre is in a triangle, a row at a time; the last is less than the first in none."""
    low, high = np.zeros(which.size, dtype=np.int64), np.full(which.size, width - 1, dtype=np.int64)
    for begin, end in ((0, 1), (1, 2), (2, 0)):
        a = facing.corners[which, begin]
        across, down = (facing.corners[which, end] - a).T
        owned = (down > 0) | ((down == 0) & (across < 0))  # of two triangles that share an edge, one owns it
        inside = across * (line - a[:, 1]) + down * (a[:, 0] - _HALF) - ~owned  # less down * x, not negative inside
        place = inside // (np.maximum(np.abs(down), 1) * _GRID)
        low = np.where(down < 0, np.maximum(low, -place), low)
        high = np.where(down > 0, np.minimum(high, place), np.where((down == 0) & (inside < 0), -1, high))
    return low, high


def _along_each(
    face: Index, pixel: Index, depth: Array, sign: Array, shape: tuple[int, int], seam: float
) -> tuple[Array | Index, ...]:
    """What the lines of sight of a band of rows meet, in the order of `Scanned`."""
    order = np.lexsort((-sign, -depth, pixel))
    face, pixel, depth, sign = face[order], pixel[order], depth[order], sign[order]
    begins = np.diff(pixel, prepend=-1) > 0
    count = np.cumsum(sign)
    count -= (count - sign)[begins][np.cumsum(begins) - 1]  # each line counts for itself
    last = np.roll(begins, -1)
    onward = np.where(last, 0.0, depth - np.roll(depth, -1))  # to the next face along the same line
    enters = np.flatnonzero((count > 0) & (count - sign <= 0))
    leaves = np.flatnonzero((count <= 0) & (count - sign > 0) & (last | (onward > seam)))
    size = shape[0] * shape[1]
    bodies = (np.clip(count, 0, 1), np.maximum(count - 1, 0), np.minimum(count, 0))
    material, twice, least = (np.bincount(pixel, onward * times, size) for times in bodies)
    nearest, end, seen = np.full(size, -np.inf), np.full(size, np.nan), np.full(size, -1, dtype=np.int64)
    for place, which in ((end, leaves), (nearest, enters)):
        at, first = np.unique(pixel[which], return_index=True)
        place[at] = depth[which[first]]
    seen[at] = face[enters[first]]  # the last of both: where a line first enters
    wall = np.where(np.isnan(end) | (seen < 0), 0.0, nearest - end)
    return tuple(each.reshape(shape) for each in (material, wall, twice, least, nearest, seen))


def spread(counts: Index) -> tuple[Index, Index]:
    """Each entry as often as it counts, and 0, 1, 2 ... within it."""
    which = np.repeat(np.arange(counts.size), counts)
    return which, np.arange(which.size) - np.repeat(np.cumsum(counts) - counts, counts)


# Rays in any direction, some thousands at a time.


@dataclass(frozen=True, eq=False)
class Grid:
    """Triangles by the cells that they touch."""

    low: Array  # (3,): corner of the first cell [mm]
    side: float  # of a cell [mm]
    count: Index  # (3,)
    first: Index  # (n_cells + 1,): where each cell begins in `face`
    face: Index  # (n,)
    triangles: Array  # (n_faces, 3, 3) [mm]
    sides: Array  # (3, n_faces, 3): the first corner of each, and from it to the two others [mm]


@dataclass(frozen=True, eq=False)
class Crossings:
    """Where rays cross a surface, ray by ray and near to far; where two coincide, entering comes first."""

    ray: Index  # (n,)
    face: Index  # (n,)
    distance: Array  # (n,) [mm]
    sign: Index  # (n,): 1 where the ray enters, -1 where it leaves


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
    corner, *others = triangles.swapaxes(0, 1)
    sides = np.stack((corner, *(each - corner for each in others)))
    return Grid(low, side, count, first, face[order], triangles, sides)


def _number(at: Index, count: Index) -> Index:
    return np.asarray((at[:, 0] * count[1] + at[:, 1]) * count[2] + at[:, 2])


def crossings(grid: Grid, start: Array, along: Array) -> Crossings:
    """Follow rays to where they leave the grid.

    `start`, `along` (n, 3): points inside the bounds of the mesh [mm], and directions of length 1.
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
    found: list[tuple[Index, Index, Array, Index]] = []
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


def _share_an_edge(grid: Grid, one: Index, other: Index) -> Mask:
    """Whether triangles have two corners in common; bodies that lie on one another need not have."""
    a, b = grid.triangles[one], grid.triangles[other]
    same = np.all(a[:, :, None] == b[:, None], axis=-1)
    return np.asarray(same.any(axis=2).sum(axis=1) >= 2)


def _hit(grid: Grid, start: Array, along: Array, ray: Index, face: Index) -> tuple[Index, Index, Array, Index]:
    (corner, one, two), way = (each[face] for each in grid.sides), along[ray]
    to = start[ray] - corner
    across, turned = np.cross(way, two), np.cross(to, one)
    with np.errstate(divide="ignore", invalid="ignore"):
        area = _dot(one, across)
        u, v, distance = _dot(to, across) / area, _dot(way, turned) / area, _dot(two, turned) / area
        good = (area != 0.0) & (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (distance > 0.0)
    return ray[good], face[good], distance[good], np.sign(area[good]).astype(np.int64)


def _dot(a: Array, b: Array) -> Array:
    return np.asarray(a[:, 0] * b[:, 0] + a[:, 1] * b[:, 1] + a[:, 2] * b[:, 2])
