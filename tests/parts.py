"""Parts whose walls and volumes are known exactly."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any

import numpy as np
import trimesh
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Known:
    """Triangles, shape (n, 3, 3) [mm]; thinnest and median wall [mm]; volume of the body without facets [cm3]."""

    triangles: Array
    thinnest_mm: float
    median_mm: float
    volume_cm3: float


def triangles(mesh: Any) -> Array:
    return np.asarray(mesh.triangles, dtype=float)


def revolved(profile: list[tuple[float, float]], sections: int = 240) -> Array:
    """A body turned about z from its outline: radius and height."""
    return triangles(trimesh.creation.revolve(np.asarray(profile), sections=sections))


def box(size: tuple[float, float, float], at: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Array:
    """A box about a point."""
    return np.asarray(triangles(trimesh.creation.box(size)) + np.asarray(at))


def shell(outer: float, inner: float, finer: int = 5) -> Array:
    """A hollow sphere."""
    whole, hollow = (triangles(trimesh.creation.icosphere(finer, radius)) for radius in (outer, inner))
    return np.concatenate((whole, hollow[:, ::-1]))


def tube(outer: float, inner: float, height: float, sections: int = 240) -> Array:
    """A tube about z, from height 0."""
    return revolved([(inner, 0.0), (outer, 0.0), (outer, height), (inner, height), (inner, 0.0)], sections)


def cone() -> Known:
    """A solid cone: a wall s along the slant from its tip is 2 s tan(alpha), as far as the ray crosses."""
    radius, height = 10.0, 60.0
    alpha = np.arctan(radius / height)
    crossed = np.hypot(radius, height) / (1.0 + np.tan(2.0 * alpha) * np.tan(alpha))
    mesh = revolved([(0.0, 0.0), (radius, 0.0), (0.0, height)])
    thinnest, median = (2.0 * np.tan(alpha) * crossed * np.sqrt(share) for share in (0.002, 0.5))
    return Known(mesh, thinnest, median, np.pi * radius**2 * height / 3000.0)


@functools.cache
def ten_parts() -> dict[str, Known]:
    """Ten parts such as are cast."""
    collar = [(18.0, 0.0), (20.0, 0.0), (20.0, 25.0), (25.0, 25.0), (25.0, 35.0), (20.0, 35.0), (20.0, 60.0)]
    collared = revolved([*collar, (18.0, 60.0), (18.0, 0.0)])
    cup = [(0.0, 0.0), (30.0, 0.0), (30.0, 80.0), (27.5, 80.0), (27.5, 4.0), (0.0, 4.0)]
    torus = triangles(trimesh.creation.torus(20.0, 4.0, major_sections=240, minor_sections=96))
    pi = np.pi
    return {
        "tube": Known(tube(20.0, 17.0, 60.0), 3.0, 3.0, pi * (400.0 - 289.0) * 60.0 / 1000.0),
        "tube with a collar": Known(collared, 2.0, 2.0, pi * (76.0 * 60.0 + 225.0 * 10.0) / 1000.0),
        "sphere shell": Known(shell(20.0, 17.0), 3.0, 3.0, 4.0 / 3.0 * pi * (8000.0 - 4913.0) / 1000.0),
        "cone": cone(),
        "box with a rib": Known(
            np.concatenate((box((40.0, 40.0, 3.0)), box((2.0, 40.0, 11.0), (0.0, 0.0, 6.0)))), 2.0, 3.0, 5.6
        ),
        "torus": Known(torus, 8.0, 8.0, 2.0 * pi**2 * 20.0 * 16.0 / 1000.0),
        "two overlapping boxes": Known(
            np.concatenate((box((30.0, 10.0, 4.0)), box((10.0, 30.0, 6.0)))), 4.0, 6.0, 2.6
        ),
        "pad with a step": Known(
            np.concatenate((box((20.0, 40.0, 2.0), (10.0, 0.0, 1.0)), box((40.0, 40.0, 8.0), (40.0, 0.0, 4.0)))),
            2.0, 8.0, 14.4,
        ),
        "cup": Known(revolved(cup), 2.5, 2.5, pi * (900.0 * 80.0 - 27.5**2 * 76.0) / 1000.0),
        "plate with a hole": Known(tube(30.0, 5.0, 3.0), 3.0, 3.0, pi * 875.0 * 3.0 / 1000.0),
    }  # fmt: skip
