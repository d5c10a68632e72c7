"""Wall thickness as a caster means it: along the wall's normal, at points all over a part.

From each point two rays run along the normal, inwards to where material ends, and outwards, which tells whether the
point lies on the outside at all: faces inside other bodies are left out, so that bodies that overlap count as one. A
sphere that touches the point and fits inside is shrunk until nothing lies in it (Ma, Bae and Choi 2012, Vis. Comput.
28, 7; from memory). Where it touches a face that looks the other way, its diameter is the wall; else the ray is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
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

    def quantile(self, share: float) -> float:
        """The thickness that so much of the surface is thinner than [mm]."""
        order = np.argsort(self.thickness_mm)
        at = min(int(np.searchsorted(np.cumsum(self.share[order]), share)), order.size - 1)
        return float(self.thickness_mm[order[at]])

    @property
    def thinnest_mm(self) -> float:
        """But for a five-hundredth of the surface [mm]."""
        return self.quantile(_THINNEST)

    @property
    def median_mm(self) -> float:
        """Of the surface [mm]."""
        return self.quantile(0.5)

    @property
    def thickest_mm(self) -> float:
        """But for a five-hundredth of the surface [mm]."""
        return self.quantile(1.0 - _THINNEST)

    @property
    def thinnest_at(self) -> Array:
        """Where that is, shape (3,) [mm]."""
        return np.asarray(self.place[np.argmin(np.abs(self.thickness_mm - self.thinnest_mm))])

    @property
    def to_solve_for(self) -> tuple[float, ...]:
        """The few walls that a recipe has to serve, thinnest first, to two digits [mm]."""
        told: list[float] = []
        for wall in map(self.quantile, (_ENDS[0], 0.5, _ENDS[1])):
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


class _Body(NamedTuple):
    """Triangles with all that points on them are held against."""

    triangles: Array  # (n_faces, 3, 3) [mm]
    normals: Array  # (n_faces, 3) [-]
    area: Array  # (n_faces,) [mm2]
    grid: Grid
    off: float  # how far off the surface a ray begins [mm]
    cloud: Array  # (n, 3): points all over it, that a sphere may touch [mm]
    cloud_normal: Array  # (n, 3) [-]
    name: str


class _Met(NamedTuple):
    """What lies across from points of the outside."""

    place: Array  # (n, 3) [mm]
    normal: Array  # (n, 3) [-]
    share: Array  # (n,): of all of the surface [-]
    depth: Array  # (n,): along the ray [mm]
    thickness: Array  # (n,) [mm]
    facing: Mask  # (n,): whether the thickness is that of a sphere between two sides of a wall
    across: Mask  # (n,): whether the ray meets the other side of a wall


def walls_of(triangles: Array, *, points: int = _POINTS, name: str = "part") -> Walls:
    """The walls of closed bodies from their triangles, shape (n, 3, 3) [mm], anticlockwise seen from outside.

    Raises InputError if no wall is found.
    """
    across = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    length = np.linalg.norm(across, axis=1)
    normals, area = across / np.maximum(length, 1e-300)[:, None], 0.5 * length
    dense, _ = _spread_over(area, _DENSER * points)
    off = _OFF * float(np.ptp(triangles.reshape(-1, 3), axis=0).max())
    body = _Body(triangles, normals, area, grid_of(triangles), off, _somewhere(triangles[dense]), normals[dense], name)
    face, share = _spread_over(area, points)
    met, known = _finer_where_thin(body, _met(body, face, share, _somewhere(triangles[face])))
    share = met.share[known]
    return Walls(met.thickness[known], share / share.sum(), met.place[known], met.normal[known])


def _met(body: _Body, face: Index, share: Array, place: Array) -> _Met:
    """What lies across from points on faces, of those on the outside."""
    normal, off = body.normals[face], body.off
    inwards = crossings(body.grid, place - off * normal, -normal)
    outwards = crossings(body.grid, place + off * normal, normal)
    depth, far = _first_end(inwards, face.size)
    outside = (_around(inwards, face.size) >= 1) & (_around(outwards, face.size) == 0) & (far >= 0)
    if not outside.any():
        raise InputError(body.name, *_NONE)
    place, normal, share = place[outside], normal[outside], share[outside]
    depth, far = depth[outside] + off, far[outside]
    cloud, cloud_normal = body.cloud, body.cloud_normal
    if (~outside).mean() > 0.002:  # bodies that overlap: of the inner faces nothing is to be touched
        bare = _around(crossings(body.grid, cloud + off * cloud_normal, cloud_normal), len(cloud)) == 0
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
    """Where a ray runs across a wall; along one it is far deeper than the spheres about it are wide."""
    if not met.facing.any():
        return met.across
    _, near = cKDTree(met.place[met.facing]).query(met.place, k=min(_ABOUT, int(met.facing.sum())))
    about = met.thickness[met.facing][near.reshape(met.depth.size, -1)].max(axis=1)
    return np.asarray(met.facing | (met.across & (met.depth <= _ALONG * about)))


def _finer_where_thin(body: _Body, met: _Met) -> tuple[_Met, Mask]:
    """Many more points about those where a wall runs out: of a few the thinnest wall would be a matter of chance.

    Each of the thinnest points is replaced by those of a much denser set that lie nearer to it than to any other.
    Returns all points, and where a wall is known.
    """
    known = _is_known(met)
    if not known.any():
        raise InputError(body.name, *_NONE)
    order = np.flatnonzero(known)[np.argsort(met.thickness[known])]
    upto = np.cumsum(met.share[order]) / met.share[order].sum()
    last = min(int(np.searchsorted(upto, _THIN)), order.size - 1)
    if met.thickness[order[last]] <= met.thickness[order[0]] * (1.0 + _EVEN):
        return met, known
    thin = np.isin(np.arange(known.size), order[: last + 1])
    face, share = _spread_over(body.area, _FINER, most=_POINTS)
    place = _somewhere(body.triangles[face])
    near = thin[cKDTree(met.place).query(place)[1]]
    finer = _met(body, face[near], share[near], place[near])
    whole = _Met(*(np.concatenate((each[~thin], more)) for each, more in zip(met, finer, strict=True)))
    return whole, _is_known(whole)


def _spread_over(area: Array, points: int, *, most: int = TO_DRAW * _DENSER) -> tuple[Index, Array]:
    """Faces, each as often as it has points, and the share of the surface of each; up to `most` faces all have one."""
    if area.size <= min(points, most):
        many = np.maximum(np.floor(points * area / area.sum()).astype(np.int64), area > 0.0)
        face = np.repeat(np.arange(area.size), many)
        return face, area[face] / many[face] / area.sum()
    # One in each even step along the surface, at another place in each (by the golden ratio).
    # Without that a mesh whose faces lie in rows would be met at the same few places of every row.
    upto, step = np.cumsum(area) / area.sum(), np.arange(points)
    face = np.minimum(np.searchsorted(upto, (step + step * 0.6180339887498949 % 1.0) / points), area.size - 1)
    return face, np.full(points, 1.0 / points)


def _somewhere(corners: Array) -> Array:
    """A point in each triangle, the same at every call.

    One sequence runs on from triangle to triangle (Roberts' R2), so that points are even in each of them and in what
    many of them have in common, as slivers about a tip do.
    """
    turn = np.arange(len(corners))
    u, v = (0.5 + turn * 0.7548776662466927) % 1.0, (0.5 + turn * 0.5698402909980532) % 1.0
    over = u + v > 1.0
    u, v = np.where(over, 1.0 - u, u)[:, None], np.where(over, 1.0 - v, v)[:, None]
    return np.asarray(corners[:, 0] + u * (corners[:, 1] - corners[:, 0]) + v * (corners[:, 2] - corners[:, 0]))


def _around(met: Crossings, rays: int) -> Array:
    """In how many bodies each ray begins: as often as it leaves more than it enters."""
    return np.asarray(-np.bincount(met.ray, weights=met.sign, minlength=rays))


def _first_end(met: Crossings, rays: int) -> tuple[Array, Index]:
    """How far each ray is in material, and the face where that ends; -1 where it never does."""
    total, begins = np.cumsum(met.sign), np.searchsorted(met.ray, met.ray)
    inside = _around(met, rays)[met.ray] + total - (total - met.sign)[begins]
    ends = np.flatnonzero(inside <= 0)
    ray, first = np.unique(met.ray[ends], return_index=True)
    depth, face = np.full(rays, np.inf), np.full(rays, -1, dtype=np.int64)
    depth[ray], face[ray] = met.distance[ends[first]], met.face[ends[first]]
    return depth, face


def _spheres(place: Array, normal: Array, radius: Array, cloud: Array, cloud_normal: Array) -> tuple[Array, Index]:
    """Radii of the largest spheres inside at each point, and what each touches besides; -1 for the ray's end."""
    tree = cKDTree(cloud)
    radius, touched, live = radius.copy(), np.full(radius.size, -1, dtype=np.int64), np.arange(radius.size)
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
    for count in (min(most, tree.n) for most in _NEAR):
        middle = place[open_] - radius[open_, None] * normal[open_]
        distance, near = map(np.asarray, tree.query(middle, k=count))
        within = distance < radius[open_, None] * (1.0 - _SHRUNK)
        held = within & (np.einsum("ij,ikj->ik", normal[open_], cloud_normal[near]) < _SMOOTH)
        some, first = held.any(axis=1), held.argmax(axis=1)
        found[open_[some]] = near[some, first[some]]
        open_ = open_[~some & within.all(axis=1)]  # more lies in it, further out
    return found


def _ratio(over: Array, under: Array) -> Array:
    """A ratio; infinite where it is not more than 0."""
    return np.divide(over, under, out=np.full_like(over, np.inf), where=(under > 0.0) & (over > 0.0))


def wall_at(walls: Walls, place: Array, normal: Array, *, reach_mm: float) -> Array:
    """The wall at points of the surface, shape (n,) [mm]: between the nearest points of those that look the same way.

    `reach_mm`: how far a point may be for each unit by which its normal is nearer [mm].
    """
    tree = cKDTree(np.concatenate((walls.place, reach_mm * walls.normal), axis=1))
    apart, near = tree.query(np.concatenate((place, reach_mm * normal), axis=1), k=min(_BETWEEN, tree.n))
    apart, near = np.reshape(apart, (len(place), -1)), np.reshape(near, (len(place), -1))
    weight = 1.0 / (apart + 1e-9 * reach_mm) ** 2
    return np.asarray((weight * walls.thickness_mm[near]).sum(axis=1) / weight.sum(axis=1))
