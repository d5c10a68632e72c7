"""Layer over air over layer: a hollow part, its near wall before its far wall.

Light in the air between two walls is taken as Lambertian, as it is under the lower face of a wide layer: the far wall
and what lies behind it then are a backing of the near one, of the reflectance that they have under such light. The
same adding of layers as of a layer and its backing (Kubelka 1954, JOSA 44, 330) serves for both. Through a clear wall
light keeps its direction, so that the edges of what lies behind stay sharp; of colours that changes little.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.optics import layer
from tint.optics.layer import Optics

Array = NDArray[np.float64]


def reflectance(
    mixed: ArrayLike, *, near: ArrayLike, far: ArrayLike, backing: ArrayLike | None, seat: str, optics: Optics
) -> Array:
    """What two walls of one mix read over a backing, with air between them.

    Parameters
    ----------
    mixed : array_like, shape (3, n_wavelengths)
        K, S and M [1/mm].
    near, far : array_like, shape (n,), (m,)
        Thickness of either wall [mm].
    backing : array_like, shape (n_wavelengths,), or None
        Behind the far wall, where that has its seat [-].

    Returns
    -------
    ndarray, shape (n, m, n_wavelengths)
        [-]
    """
    behind = _far(mixed, far, backing, seat=seat, optics=optics)
    front, through, back = _terms(mixed, near, optics, "air")[:, :, None]
    return np.asarray(front + through * behind / (1.0 - back * behind))


def transmittance(mixed: ArrayLike, *, near: ArrayLike, far: ArrayLike, optics: Optics) -> Array:
    """Total transmittance of two free walls with air between them, shape (n, m, n_wavelengths) [-]."""
    own = _transmitted(mixed, near, optics)[:, None]
    back = _terms(mixed, near, optics, "air")[2][:, None]
    other, passed = _diffuse(mixed, far, optics)
    return np.asarray(own * passed / (1.0 - back * other))


def _far(mixed: ArrayLike, far: ArrayLike, backing: ArrayLike | None, *, seat: str, optics: Optics) -> Array:
    """The far wall on its backing, under Lambertian light, shape (m, n_wavelengths)."""
    wide = replace(optics, geometry="di:8")
    if backing is not None and seat == "wet":  # at 8 degrees, which differs from all around by little
        return layer.reflectance(
            *np.asarray(mixed), thickness=np.asarray(far)[:, None], backing=backing, seat=seat, optics=wide
        )
    own, passed = _diffuse(mixed, far, optics)
    behind = np.zeros_like(own) if backing is None else np.asarray(backing, dtype=float)
    return np.asarray(own + passed**2 * behind / (1.0 - own * behind))


def _diffuse(mixed: ArrayLike, depth: ArrayLike, optics: Optics) -> tuple[Array, Array]:
    """Reflectance and transmittance of a free wall under Lambertian light, shape (n, n_wavelengths).

    What an instrument di:8 reads through the wall passed it twice: once from all around, and once along 8 degrees,
    which is the transmittance that is known.
    """
    _, through, back = _terms(mixed, depth, replace(optics, geometry="di:8"), "air")
    beam = _transmitted(mixed, depth, optics)
    return back, np.where(beam > 1e-12, through / np.maximum(beam, 1e-12), 0.0)


def _terms(mixed: ArrayLike, depth: ArrayLike, optics: Optics, seat: str) -> Array:
    x, y, z = (each * np.asarray(depth, dtype=float)[:, None] for each in np.asarray(mixed))
    return optics.terms(x, y, z, seat=seat)[0]


def _transmitted(mixed: ArrayLike, depth: ArrayLike, optics: Optics) -> Array:
    x, y, z = (each * np.asarray(depth, dtype=float)[:, None] for each in np.asarray(mixed))
    return optics.transmitted(x, y, z)[0]
