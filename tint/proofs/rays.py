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

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tint.spectra import Array, Index, Mask

_GRID = 256  # steps of the fixed grid in a pixel
_HALF = _GRID // 2
_AT_ONCE = 2_000_000  # pixels or rows in memory together
_BAND = 400  # rows of pixels whose lines of sight are put in order together
_SEAM = 1e-6  # of the depth of all: a gap as narrow as that is none
_CELLS_A_TRIANGLE, _FEWEST_CELLS, _MOST_CELLS = 2.0, 30_000, 1_000_000
_MOST_ENTRIES = 8_000_000  # triangles in cells, together: 64 MB


@dataclass(frozen=True, eq=False)
class Scanned:
    """What the lines of sight through the pixel centres meet."""

    material: Array  # (height, width): in all [as the corners]
    first: Array  # (height, width): in the wall next to the eye [as the corners]
    # (height, width): what lies in a second body too, counted once for each body but the first [as the corners]
    twice: Array
    least: Array  # (height, width): less than 0 where faces are inside out [as the corners]
    nearest: Array  # (height, width): depth of the nearest face turned towards the eye; -inf where there is none
    face: Index  # (height, width): which face that is; -1 where there is none


@dataclass(frozen=True, eq=False)
class _Facing:
    """Triangles on the grid, anticlockwise, with the plane of each."""

    which: Index  # (n,) place in what was given
    corners: Index  # (n, 3, 2)
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
    shape = (height, width)
    whole = Scanned(
        material=np.zeros(shape), first=np.zeros(shape), twice=np.zeros(shape), least=np.zeros(shape),
        nearest=np.full(shape, -np.inf), face=np.full(shape, -1, dtype=np.int64),
    )  # fmt: skip
    seam = _SEAM * float(np.ptp(corners[..., 2])) if corners.size else 0.0
    for top in range(0, height, _BAND):
        rows = min(_BAND, height - top)
        found = list(_pixels(facing, width, top, top + rows))
        if found:
            which, pixel, depth, sign = (np.concatenate(each) for each in zip(*found, strict=True))
            _along_each(whole, top, rows, which, pixel - top * width, depth, sign, seam)
    return whole


def _along_each(
    whole: Scanned, top: int, rows: int, face: Index, pixel: Index, depth: Array, sign: Array, seam: float
) -> None:  # fmt: skip
    """Fill a band of rows with what its lines of sight meet, in their order from the eye."""
    order = np.lexsort((-sign, -depth, pixel))
    face, pixel, depth, sign = face[order], pixel[order], depth[order], sign[order]
    begins = np.flatnonzero(np.concatenate(([True], pixel[1:] != pixel[:-1])))
    line = np.repeat(np.arange(begins.size), np.diff(np.append(begins, pixel.size)))
    count = np.cumsum(sign)
    count -= (count[begins] - sign[begins])[line]
    onward = np.zeros_like(depth)  # to the next face along the same line
    same = line[1:] == line[:-1]
    onward[:-1][same] = (depth[:-1] - depth[1:])[same]
    size = rows * whole.material.shape[1]

    def put(name: str, values: Array) -> None:
        getattr(whole, name)[top : top + rows] = np.bincount(pixel, weights=values, minlength=size).reshape(rows, -1)

    put("material", np.where(count > 0, onward, 0.0))
    put("twice", np.where(count > 1, (count - 1) * onward, 0.0))
    put("least", np.where(count < 0, count * onward, 0.0))
    enters = np.flatnonzero((count > 0) & (count - sign <= 0))
    last = np.append(~same, True)
    leaves = np.flatnonzero((count <= 0) & (count - sign > 0) & (last | (onward > seam)))
    near_line, near = np.unique(line[enters], return_index=True)
    far_line, far = np.unique(line[leaves], return_index=True)
    place, near = pixel[begins[near_line]], enters[near]
    for name, values in (("nearest", depth), ("face", face)):
        getattr(whole, name)[top : top + rows].reshape(-1)[place] = values[near]
    ends = np.full(begins.size, np.nan)
    ends[far_line] = depth[leaves[far]]
    first = depth[near] - ends[near_line]
    whole.first[top : top + rows].reshape(-1)[place] = np.where(np.isnan(first), 0.0, first)


def _facing(corners: Array) -> _Facing:
    grid = np.rint(corners[..., :2] * _GRID).astype(np.int64)
    depth = corners[..., 2]
    one, two = grid[:, 1] - grid[:, 0], grid[:, 2] - grid[:, 0]
    area = one[:, 1] * two[:, 0] - one[:, 0] * two[:, 1]  # rows run down: turned towards the eye when positive
    kept = np.flatnonzero(area)
    sign = np.sign(area[kept]).astype(float)
    order = np.where(sign[:, None] > 0, [0, 2, 1], [0, 1, 2])
    grid = np.take_along_axis(grid[kept], order[..., None], axis=1)
    depth = np.take_along_axis(depth[kept], order, axis=1)
    one, two = (grid[:, 1] - grid[:, 0]).astype(float), (grid[:, 2] - grid[:, 0]).astype(float)
    up, on = depth[:, 1] - depth[:, 0], depth[:, 2] - depth[:, 0]
    whole = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    slope = np.stack((up * two[:, 1] - on * one[:, 1], on * one[:, 0] - up * two[:, 0]), axis=-1) / whole[:, None]
    bounds = np.stack((depth.min(axis=1, initial=np.inf), depth.max(axis=1, initial=-np.inf)), axis=-1)
    return _Facing(kept, grid, sign, slope, depth[:, 0], bounds)


def _pixels(facing: _Facing, width: int, top: int, bottom: int) -> Iterator[tuple[Index, Index, Array, Array]]:
    """Every pixel centre in every triangle, of rows from top to bottom, some at a time: face, pixel, depth, sign."""
    first = np.maximum(_up(facing.corners[..., 1].min(axis=1, initial=2**60) - _HALF), top)
    last = np.minimum((facing.corners[..., 1].max(axis=1, initial=-(2**60)) - _HALF) // _GRID, bottom - 1)
    rows = np.maximum(last - first + 1, 0)
    for some in _batches(rows):
        which, step = spread(rows[some])
        which += some.start
        row = first[which] + step
        low, high = _span(facing, which, row, width)
        for part in _batches(np.maximum(high - low + 1, 0)):
            inner, along = spread(np.maximum(high[part] - low[part] + 1, 0))
            inner += part.start
            mine, column, line = which[inner], low[inner] + along, row[inner]
            across = column * _GRID + _HALF - facing.corners[mine, 0, 0]
            down = line * _GRID + _HALF - facing.corners[mine, 0, 1]
            slope, bounds = facing.slope[mine], facing.bounds[mine]
            depth = facing.start[mine] + slope[:, 0] * across + slope[:, 1] * down
            depth = np.clip(depth, bounds[:, 0], bounds[:, 1])  # a sliver's slope may be steep beyond all rounding
            yield facing.which[mine], line * width + column, depth, facing.sign[mine]


def _span(facing: _Facing, which: Index, row: Index, width: int) -> tuple[Index, Index]:
    """First and last column whose centre is in a triangle, a row at a time; the last is less than the first in none."""
    low, high = np.zeros(which.size, dtype=np.int64), np.full(which.size, width - 1, dtype=np.int64)
    line = row * _GRID + _HALF
    for begin, end in ((0, 1), (1, 2), (2, 0)):
        a = facing.corners[:, begin]
        run = facing.corners[:, end] - a
        across, down = run[which, 0], run[which, 1]
        owned = (down > 0) | ((down == 0) & (across < 0))  # of two triangles that share an edge, one owns it
        inside = across * (line - a[which, 1]) + down * a[which, 0] - ~owned  # less down * x, not negative inside
        to_left = np.where(down < 0, _up(-(inside - down * _HALF), np.maximum(-down, 1) * _GRID), 0)
        to_right = np.where(down > 0, (inside - down * _HALF) // (np.maximum(down, 1) * _GRID), width)
        low, high = np.maximum(low, to_left), np.minimum(high, to_right)
        high = np.where((down == 0) & (inside < 0), -1, high)
    return low, high


def _up(value: Index, by: Index | int = _GRID) -> Index:
    """Divided and rounded up."""
    return np.asarray(-(-value // by))


def _batches(counts: Index) -> Iterator[slice]:
    """Runs of entries that together count no more than is to be in memory, or a single one that does."""
    total = np.cumsum(counts)
    start = 0
    while start < counts.size:
        before = int(total[start - 1]) if start else 0
        stop = max(int(np.searchsorted(total, before + _AT_ONCE, side="right")), start + 1)
        yield slice(start, stop)
        start = stop


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
    corner: Array  # (n_faces, 3): the first corner of each [mm]
    one: Array  # (n_faces, 3): from it to the second [mm]
    two: Array  # (n_faces, 3): from it to the third [mm]


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
    edges = triangles[:, 1:] - triangles[:, :1]
    return Grid(low, side, count, first, face[order], triangles, triangles[:, 0].copy(), edges[:, 0], edges[:, 1])


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
