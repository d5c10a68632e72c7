"""Wall thickness as a caster means it: along the wall's normal, at points all over a part.

From each point two rays run along the normal, inwards to where material ends, and outwards, which tells whether the
point lies on the outside at all: faces inside other bodies are left out, so that bodies that overlap count as one. A
sphere that touches the point and fits inside is shrunk until nothing lies in it (Ma, Bae and Choi 2012, Vis. Comput.
28, 7; from memory). Where it touches a face that looks the other way, its diameter is the wall; else the ray is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from tint.errors import InputError
from tint.proofs.rays import Crossings, crossings, grid_of

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

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
_ENDS = (0.02, 0.98)  # shares of the surface that are thinner than the walls a recipe is made for; chosen, no source
_BETWEEN = 4  # points about one whose walls it has a share of, by the inverse square of how far they are
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
    normals, area = _normals(triangles)
    grid, size = grid_of(triangles), float(np.ptp(triangles.reshape(-1, 3), axis=0).max())
    face, share = _spread_over(area, points)
    place = _somewhere(triangles[face], face)
    normal, off = normals[face], _OFF * size
    inwards = crossings(grid, place - off * normal, -normal)
    outwards = crossings(grid, place + off * normal, normal)
    depth, far = _first_end(inwards, face.size)
    outside = (_around(inwards, face.size) >= 1) & (_around(outwards, face.size) == 0) & (far >= 0)
    if not outside.any():
        raise InputError(name, "no wall of it is found", "expected a solid", "recompute its normals and export again")
    place, normal, share = place[outside], normal[outside], share[outside]
    depth, far = depth[outside] + off, far[outside]
    dense, _ = _spread_over(area, _DENSER * points)
    cloud, cloud_normal = _somewhere(triangles[dense], dense), normals[dense]
    if (~outside).mean() > 0.002:  # bodies that overlap: of the inner faces nothing is to be touched
        bare = _around(crossings(grid, cloud + off * cloud_normal, cloud_normal), dense.size) == 0
        cloud, cloud_normal = cloud[bare], cloud_normal[bare]
    wide, touched = _spheres(place, normal, 0.5 * depth, cloud, cloud_normal)
    beyond = np.where(touched[:, None] >= 0, cloud_normal[touched], normals[far])
    turned = np.einsum("ij,ij->i", normal, normals[far])
    across = turned < _FACING
    facing = np.einsum("ij,ij->i", normal, beyond) < _FACING
    # In a cone or a rod a sphere touches all around, and of its facets any may be the first to hold it. Where it is as
    # wide as one that touches the face that the ray meets, that one is the wall.
    by_far = depth * -turned / np.maximum(1.0 - turned, 1.0)
    round_ = across & ~facing & (np.abs(by_far / wide - 1.0) < _ROUND)
    thickness = np.where(facing, 2.0 * wide, np.where(round_, 2.0 * by_far, depth))
    facing |= round_
    known = facing | (across & ~_is_rim(place, depth, thickness, facing))
    if not known.any():
        raise InputError(name, "no wall of it is found", "expected a solid", "recompute its normals and export again")
    return Walls(thickness[known], share[known] / share[known].sum(), place[known], normal[known])


def _is_rim(place: Array, depth: Array, thickness: Array, facing: NDArray[np.bool_]) -> NDArray[np.bool_]:
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


def _spread_over(area: Array, points: int) -> tuple[Ints, Array]:
    """Faces, each as often as it has points, and the share of the surface of each point."""
    many = np.floor(points * area / area.sum()).astype(np.int64)
    if area.size <= points:
        many = np.maximum(many, (area > 0.0).astype(np.int64))
        face = np.repeat(np.arange(area.size), many)
        return face, area[face] / many[face] / area.sum()
    upto = np.cumsum(area) / area.sum()  # even steps along the surface: more faces than points
    face = np.minimum(np.searchsorted(upto, (np.arange(points) + 0.5) / points), area.size - 1)
    return face, np.full(points, 1.0 / points)


def _somewhere(corners: Array, face: Ints) -> Array:
    """A point in each triangle, the same at every call; those of one triangle spread evenly (Roberts' R2 sequence)."""
    _, first = np.unique(face, return_index=True)
    start = np.zeros(face.size, dtype=np.int64)
    start[first] = first
    turn = np.arange(face.size) - np.maximum.accumulate(start) + 0.37 * face
    u, v = (0.5 + turn * 0.7548776662466927) % 1.0, (0.5 + turn * 0.5698402909980532) % 1.0
    over = u + v > 1.0
    u, v = np.where(over, 1.0 - u, u), np.where(over, 1.0 - v, v)
    return np.asarray(
        corners[:, 0] + u[:, None] * (corners[:, 1] - corners[:, 0]) + v[:, None] * (corners[:, 2] - corners[:, 0])
    )


def _around(met: Crossings, rays: int) -> Ints:
    """In how many bodies each ray begins: as often as it leaves more than it enters."""
    return np.asarray(np.rint(-np.bincount(met.ray, weights=met.sign, minlength=rays)).astype(np.int64))


def _first_end(met: Crossings, rays: int) -> tuple[Array, Ints]:
    """How far each ray is in material, and the face where that ends; -1 where it never does."""
    inside = _around(met, rays)[met.ray] + _running(met)
    ends = np.flatnonzero(inside <= 0)
    ray, first = np.unique(met.ray[ends], return_index=True)
    depth, face = np.full(rays, np.inf), np.full(rays, -1, dtype=np.int64)
    depth[ray], face[ray] = met.distance[ends[first]], met.face[ends[first]]
    return depth, face


def _running(met: Crossings) -> Ints:
    """Signs summed along each ray."""
    total = np.cumsum(met.sign)
    _, first, which = np.unique(met.ray, return_index=True, return_inverse=True)
    return np.asarray(total - (total[first] - met.sign[first])[which])


def _spheres(place: Array, normal: Array, radius: Array, cloud: Array, cloud_normal: Array) -> tuple[Array, Ints]:
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


def _in_sphere(tree: cKDTree, place: Array, normal: Array, radius: Array, cloud_normal: Array) -> Ints:
    """What lies in spheres, the nearest to their middle but for the bent face they touch; -1 where nothing does."""
    found: Ints = np.full(radius.size, -1, dtype=np.int64)
    open_: Ints = np.arange(radius.size)
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
