"""Wall thickness as a caster means it: along the wall's normal, at points all over a part.

From each point two rays run along the normal, inwards to where material ends, and outwards, which tells whether the
point lies on the outside at all: faces inside other bodies are left out, so that bodies that overlap count as one. A
sphere that touches the point and fits inside is shrunk until nothing lies in it (Ma, Bae and Choi 2012, Vis. Comput.
28, 7; from memory). Where it touches a face that looks the other way, its diameter is the wall; else the ray is.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from tint.errors import InputError
from tint.proofs.rays import Crossings, Grid, crossings, grid_of
from tint.spectra import Array, Index, Mask

_POINTS = 3000  # at which walls are told; one more for each smaller face, up to as many again
TO_DRAW = 12_000  # the same for a picture, on which they are told from pixel to pixel
_DENSER = 8  # points among which a sphere finds what it touches, for each of those
_FACING = -0.5  # cosine between normals beyond which two faces are the two sides of a wall: within 60 degrees
_OFF = 1e-5  # of the part's size, by which rays begin off the surface
_SHRUNK = 1e-3  # of its radius, by which a sphere may hold something
_STEPS = 40
_NEAR, _SMOOTH = (8, 64), 0.8  # what a sphere may touch first; of it, what looks the same way is the same bent face
_ROUND = 0.05  # of its radius, by which facets of a round body may hold a sphere too soon
_ABOUT, _ALONG = 12, 1.5  # spheres about a point, and how many times deeper than the widest of them is no wall
_THINNEST = 0.002  # share of the surface that may be thinner than what is told as thinnest: edges and sampling
_THIN, _EVEN = 0.01, 0.01  # share of the surface that is looked at again where a wall runs out, and what is none
_FINER = 200_000  # points all over the part, of which that share is taken: some hundreds are thinner than the thinnest
_ENDS = (0.02, 0.98)  # shares of the surface that are thinner than the walls a recipe is made for; chosen, no source
_BETWEEN = 4  # points about one whose walls it has a share of, by the inverse square of how far they are
_NONE = ("no wall of it is found", "expected a solid", "recompute its normals and export again")
_ALIKE = 0.1  # walls nearer to one another than that share are one


@dataclass(frozen=True, eq=False)
class Walls:
    """The walls of a part, point by point of its outside."""

    thickness_mm: Array  # (n,) [mm]
    share: Array  # (n,): of the surface that each stands for, 1 in all [-]
    place: Array  # (n, 3) [mm]
    normal: Array  # (n, 3) [-]

    def quantile(self, shares: ArrayLike) -> Array:
        """The thickness that so much of the surface is thinner than [mm]."""
        order = np.argsort(self.thickness_mm)
        upto = np.cumsum(self.share[order])
        at = np.minimum(np.searchsorted(upto, np.asarray(shares, dtype=float)), order.size - 1)
        return np.asarray(self.thickness_mm[order][at])

    @property
    def thinnest_mm(self) -> float:
        """But for a five-hundredth of the surface [mm]."""
        return float(self.quantile(_THINNEST))

    @property
    def median_mm(self) -> float:
        """Of the surface [mm]."""
        return float(self.quantile(0.5))

    @property
    def thickest_mm(self) -> float:
        """But for a five-hundredth of the surface [mm]."""
        return float(self.quantile(1.0 - _THINNEST))

    @property
    def thinnest_at(self) -> Array:
        """Where that is, shape (3,) [mm]."""
        return np.asarray(self.place[np.argmin(np.abs(self.thickness_mm - self.thinnest_mm))])

    def histogram(self, edges_mm: ArrayLike) -> Array:
        """The share of the surface between edges, shape (n,) to (n - 1,) [-]."""
        return np.asarray(np.histogram(self.thickness_mm, np.asarray(edges_mm, dtype=float), weights=self.share)[0])

    @property
    def to_solve_for(self) -> tuple[float, ...]:
        """The few walls that a recipe has to serve, thinnest first, to two digits [mm]."""
        told: list[float] = []
        for wall in self.quantile((_ENDS[0], 0.5, _ENDS[1])):
            wall = min(float(f"{wall:.2g}"), 100.0)
            if not told or wall > told[-1] * (1.0 + _ALIKE):
                told.append(wall)
        return tuple(told)

    @property
    def told(self) -> dict[str, Any]:
        """The same as keys [mm]."""
        return {
            "thinnest_mm": self.thinnest_mm,
            "thinnest_at_mm": self.thinnest_at.tolist(),
            "median_mm": self.median_mm,
            "thickest_mm": self.thickest_mm,
            "walls_mm": list(self.to_solve_for),
        }

    @property
    def words(self) -> str:
        """In one sentence."""
        x, y, z = self.thinnest_at
        return (
            f"Walls: median {self.median_mm:.2g} mm, thinnest {self.thinnest_mm:.2g} mm at x {x:.3g}, y {y:.3g}, "
            f"z {z:.3g} mm, thickest {self.thickest_mm:.2g} mm."
        )


def walls_of(triangles: Array, *, points: int = _POINTS, name: str = "part") -> Walls:
    """The walls of closed bodies from their triangles, shape (n, 3, 3) [mm], anticlockwise seen from outside.

    Raises InputError if no wall is found.
    """
    body = _body_of(triangles, points)
    met = _met(body, *_spread_over(body.area, points), name=name)
    known = _is_known(met)
    if not known.any():
        raise InputError(name, *_NONE)
    met, known = _finer_where_thin(body, met, known, name)
    share = met.share[known]
    return Walls(met.thickness[known], share / share.sum(), met.place[known], met.normal[known])


@dataclass(frozen=True, eq=False)
class _Body:
    """Triangles with all that points on them are held against."""

    triangles: Array  # (n_faces, 3, 3) [mm]
    normals: Array  # (n_faces, 3) [-]
    area: Array  # (n_faces,) [mm2]
    grid: Grid
    off: float  # how far off the surface a ray begins [mm]
    cloud: Array  # (n, 3): points all over it, that a sphere may touch [mm]
    cloud_normal: Array  # (n, 3) [-]


@dataclass(frozen=True, eq=False)
class _Met:
    """What lies across from points of the outside."""

    place: Array  # (n, 3) [mm]
    normal: Array  # (n, 3) [-]
    share: Array  # (n,): of all of the surface [-]
    depth: Array  # (n,): along the ray [mm]
    thickness: Array  # (n,) [mm]
    facing: Mask  # (n,): whether the thickness is that of a sphere between two sides of a wall
    across: Mask  # (n,): whether the ray meets the other side of a wall

    def at(self, which: Mask) -> _Met:
        """Some of the points."""
        return _Met(*(getattr(self, each.name)[which] for each in fields(self)))

    def and_(self, other: _Met) -> _Met:
        """These points and others."""
        return _Met(*(np.concatenate((getattr(self, each.name), getattr(other, each.name))) for each in fields(self)))


def _body_of(triangles: Array, points: int) -> _Body:
    normals, area = _normals(triangles)
    dense, _ = _spread_over(area, _DENSER * points)
    off = _OFF * float(np.ptp(triangles.reshape(-1, 3), axis=0).max())
    return _Body(triangles, normals, area, grid_of(triangles), off, _somewhere(triangles[dense], dense), normals[dense])


def _met(body: _Body, face: Index, share: Array, *, name: str, place: Array | None = None) -> _Met:
    """What lies across from points of faces, of those on the outside.

    `place` (n, 3): the points; somewhere on their faces when absent [mm].
    """
    place = _somewhere(body.triangles[face], face) if place is None else place
    normal, off, grid = body.normals[face], body.off, body.grid
    inwards = crossings(grid, place - off * normal, -normal)
    outwards = crossings(grid, place + off * normal, normal)
    depth, far = _first_end(inwards, face.size)
    outside = (_around(inwards, face.size) >= 1) & (_around(outwards, face.size) == 0) & (far >= 0)
    if not outside.any():
        raise InputError(name, *_NONE)
    place, normal, share = place[outside], normal[outside], share[outside]
    depth, far = depth[outside] + off, far[outside]
    cloud, cloud_normal = body.cloud, body.cloud_normal
    if (~outside).mean() > 0.002:  # bodies that overlap: of the inner faces nothing is to be touched
        bare = _around(crossings(grid, cloud + off * cloud_normal, cloud_normal), len(cloud)) == 0
        cloud, cloud_normal = cloud[bare], cloud_normal[bare]
    wide, touched = _spheres(place, normal, 0.5 * depth, cloud, cloud_normal)
    beyond = np.where(touched[:, None] >= 0, cloud_normal[touched], body.normals[far])
    turned = np.einsum("ij,ij->i", normal, body.normals[far])
    across = turned < _FACING
    facing = np.einsum("ij,ij->i", normal, beyond) < _FACING
    # In a cone or a rod a sphere touches all around, and of its facets any may be the first to hold it. Where it is as
    # wide as one that touches the face that the ray meets, that one is the wall.
    by_far = depth * -turned / np.maximum(1.0 - turned, 1.0)
    round_ = across & ~facing & (np.abs(by_far / wide - 1.0) < _ROUND)
    thickness = np.where(facing, 2.0 * wide, np.where(round_, 2.0 * by_far, depth))
    return _Met(place, normal, share, depth, thickness, facing | round_, across)


def _is_known(met: _Met) -> Mask:
    return met.facing | (met.across & ~_is_rim(met.place, met.depth, met.thickness, met.facing))


def _finer_where_thin(body: _Body, met: _Met, known: Mask, name: str) -> tuple[_Met, Mask]:
    """Many more points about those where a wall runs out: of a few the thinnest wall would be a matter of chance.

    Each of the thinnest points is replaced by those of a much denser set that lie nearer to it than to any other.
    """
    walls = met.at(known)
    order = np.argsort(walls.thickness)
    upto = np.cumsum(walls.share[order]) / walls.share.sum()
    last = min(int(np.searchsorted(upto, _THIN)), order.size - 1)
    if walls.thickness[order[last]] <= walls.thickness[order[0]] * (1.0 + _EVEN):
        return met, known
    thin = np.zeros(known.size, dtype=bool)
    thin[np.flatnonzero(known)[order[: last + 1]]] = True
    face, share = (_spread_over if body.area.size <= _POINTS else _evenly_over)(body.area, _FINER)
    place = _somewhere(body.triangles[face], face)
    _, nearest = cKDTree(met.place).query(place)
    near = thin[nearest]
    finer = _met(body, face[near], share[near], name=name, place=place[near])
    whole = met.at(~thin).and_(finer)
    return whole, _is_known(whole)


def _is_rim(place: Array, depth: Array, thickness: Array, facing: Mask) -> Mask:
    """Where a ray runs along a wall and not across it: far deeper than the spheres about it are wide."""
    if not facing.any():
        return np.zeros(depth.size, dtype=bool)
    _, near = cKDTree(place[facing]).query(place, k=min(_ABOUT, int(facing.sum())))
    about = thickness[facing][near.reshape(depth.size, -1)].max(axis=1)
    return np.asarray(depth > _ALONG * about)


def _normals(triangles: Array) -> tuple[Array, Array]:
    across = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    length = np.linalg.norm(across, axis=1)
    return across / np.maximum(length, 1e-300)[:, None], 0.5 * length


def _spread_over(area: Array, points: int) -> tuple[Index, Array]:
    """Faces, each as often as it has points, and the share of the surface of each point."""
    many = np.floor(points * area / area.sum()).astype(np.int64)
    if area.size <= points:
        many = np.maximum(many, (area > 0.0).astype(np.int64))
        face = np.repeat(np.arange(area.size), many)
        return face, area[face] / many[face] / area.sum()
    return _evenly_over(area, points)


def _evenly_over(area: Array, points: int) -> tuple[Index, Array]:
    """The same where small faces may have no point."""
    # One in each even step along the surface, at another place in each (by the golden ratio).
    # Without that a mesh whose faces lie in rows would be met at the same few places of every row.
    upto = np.cumsum(area) / area.sum()
    step = np.arange(points)
    face = np.minimum(np.searchsorted(upto, (step + step * 0.6180339887498949 % 1.0) / points), area.size - 1)
    return face, np.full(points, 1.0 / points)


def _somewhere(corners: Array, face: Index) -> Array:
    """A point in each triangle, the same at every call.

    One sequence runs on from triangle to triangle (Roberts' R2), so that points are even in each of them and in what
    many of them have in common, as slivers about a tip do.
    """
    turn = np.arange(face.size)
    u, v = (0.5 + turn * 0.7548776662466927) % 1.0, (0.5 + turn * 0.5698402909980532) % 1.0
    over = u + v > 1.0
    u, v = np.where(over, 1.0 - u, u), np.where(over, 1.0 - v, v)
    return np.asarray(
        corners[:, 0] + u[:, None] * (corners[:, 1] - corners[:, 0]) + v[:, None] * (corners[:, 2] - corners[:, 0])
    )


def _around(met: Crossings, rays: int) -> Index:
    """In how many bodies each ray begins: as often as it leaves more than it enters."""
    return np.asarray(np.rint(-np.bincount(met.ray, weights=met.sign, minlength=rays)).astype(np.int64))


def _first_end(met: Crossings, rays: int) -> tuple[Array, Index]:
    """How far each ray is in material, and the face where that ends; -1 where it never does."""
    inside = _around(met, rays)[met.ray] + _running(met)
    ends = np.flatnonzero(inside <= 0)
    ray, first = np.unique(met.ray[ends], return_index=True)
    depth, face = np.full(rays, np.inf), np.full(rays, -1, dtype=np.int64)
    depth[ray], face[ray] = met.distance[ends[first]], met.face[ends[first]]
    return depth, face


def _running(met: Crossings) -> Index:
    """Signs summed along each ray."""
    total = np.cumsum(met.sign)
    _, first, which = np.unique(met.ray, return_index=True, return_inverse=True)
    return np.asarray(total - (total[first] - met.sign[first])[which])


def _spheres(place: Array, normal: Array, radius: Array, cloud: Array, cloud_normal: Array) -> tuple[Array, Index]:
    """Radii of the largest spheres inside at each point, and what each touches besides; -1 for the ray's end."""
    tree = cKDTree(cloud)
    radius, touched = radius.copy(), np.full(radius.size, -1, dtype=np.int64)
    live = np.arange(radius.size)
    for _ in range(_STEPS):
        near = _in_sphere(tree, place[live], normal[live], radius[live], cloud_normal)
        live, near = live[near >= 0], near[near >= 0]
        if not live.size:
            break
        to, facing = cloud[near] - place[live], cloud_normal[near]
        by_point = _ratio(np.einsum("ij,ij->i", to, to), -2.0 * np.einsum("ij,ij->i", normal[live], to))
        # The cloud is not dense: between its points the surface goes on as their planes do.
        by_plane = _ratio(np.einsum("ij,ij->i", facing, to), 1.0 - np.einsum("ij,ij->i", facing, normal[live]))
        smaller = np.minimum(by_point, np.where(by_plane > 0.5 * by_point, by_plane, np.inf))
        shrinks = smaller < radius[live] * (1.0 - 1e-6)
        live, near, smaller = live[shrinks], near[shrinks], smaller[shrinks]
        radius[live], touched[live] = smaller, near
    return radius, touched


def _in_sphere(tree: cKDTree, place: Array, normal: Array, radius: Array, cloud_normal: Array) -> Index:
    """What lies in spheres, the nearest to their middle but for the bent face they touch; -1 where nothing does."""
    found: Index = np.full(radius.size, -1, dtype=np.int64)
    open_: Index = np.arange(radius.size)
    for count in _NEAR:
        count = min(count, tree.n)
        sought = tree.query(place[open_] - radius[open_, None] * normal[open_], k=count)
        distance, near = (np.asarray(each) for each in sought)
        within = distance < radius[open_, None] * (1.0 - _SHRUNK)
        near = np.asarray(near)
        held = within & (np.einsum("ij,ikj->ik", normal[open_], cloud_normal[near]) < _SMOOTH)
        some, first = held.any(axis=1), held.argmax(axis=1)
        found[open_[some]] = near[some, first[some]]
        open_ = open_[~some & within.all(axis=1)]  # more lies in it, further out
        if not open_.size:
            break
    return found


def _ratio(over: Array, under: Array) -> Array:
    """A ratio; infinite where it is not more than 0."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = over / under
    return np.asarray(np.where((under > 0.0) & (ratio > 0.0), ratio, np.inf))


def wall_at(walls: Walls, place: Array, normal: Array, *, reach_mm: float) -> Array:
    """The wall at points of the surface, shape (n,) [mm]: between the nearest points of those that look the same way.

    `place`, `normal` (n, 3) [mm], [-]
    `reach_mm`: how far a point may be for each unit by which its normal is nearer [mm].
    """
    tree = cKDTree(np.concatenate((walls.place, reach_mm * walls.normal), axis=1))
    apart, near = tree.query(np.concatenate((place, reach_mm * normal), axis=1), k=min(_BETWEEN, tree.n))
    apart, near = np.reshape(apart, (len(place), -1)), np.reshape(near, (len(place), -1))
    weight = 1.0 / (apart + 1e-9 * reach_mm) ** 2
    return np.asarray((weight * walls.thickness_mm[near]).sum(axis=1) / weight.sum(axis=1))
