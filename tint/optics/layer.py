"""One interface to the layer models: what a casting of given K, S and thickness reads over a backing.

Whatever the model, a layer over a Lambertian backing of reflectance Rg reads
``front + through Rg / (1 - back Rg)``: light that the layer itself returns, and light that reaches the backing, goes
to and fro, and comes out (Kubelka 1954, JOSA 44, 330). A model supplies the three numbers and their slopes over
(K d, S d); all the rest is here, once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError
from tint.optics import two_flux

Array = NDArray[np.float64]

MODELS = ("many-flux", "two-flux")


@dataclass(frozen=True, kw_only=True)
class Optics:
    """A layer model and the constants it needs.

    Parameters
    ----------
    model : str
        `two-flux` or `many-flux`.
    refractive_index : float
        Of the rubber [-]; 1 means no faces.
    geometry : str
        `di:8`, `de:8` or `45:0`.
    g : float
        Anisotropy of scattering, 0 to 0.95 (many-flux only) [-].
    k1, k2 : float, optional
        Measured Saunderson constants (two-flux only) [-].
    """

    model: str = "two-flux"
    refractive_index: float = 1.41
    geometry: str = "di:8"
    g: float = 0.0
    k1: float | None = None
    k2: float | None = None

    def __post_init__(self) -> None:
        if self.model not in MODELS:
            raise InputError("optics", f"`{self.model}` is not known", " or ".join(MODELS))

    def terms(self, x: ArrayLike, y: ArrayLike, *, seat: str) -> tuple[Array, Array]:
        """front, through, back, shape (3, ...), and their slopes over (x, y), shape (3, 2, ...)."""
        if seat not in ("air", "wet"):
            raise InputError("seat", f"`{seat}` is not known", "air or wet")
        if self.model == "two-flux":
            return two_flux.terms(
                x, y, refractive_index=self.refractive_index, geometry=self.geometry, seat=seat,
                k1=self.k1, k2=self.k2,
            )  # fmt: skip
        from tint.optics import many_flux  # its tables are for those who use them

        return many_flux.terms(
            x, y, refractive_index=self.refractive_index, geometry=self.geometry, seat=seat, g=self.g
        )

    def transmitted(self, x: ArrayLike, y: ArrayLike) -> tuple[Array, Array]:
        """Total transmittance of the free slab, shape (...), and its slopes over (x, y), shape (2, ...)."""
        if self.model == "two-flux":
            return two_flux.transmitted(x, y, refractive_index=self.refractive_index, k1=self.k1, k2=self.k2)
        from tint.optics import many_flux

        return many_flux.transmitted(x, y, refractive_index=self.refractive_index, g=self.g)


def reflectance(
    K: ArrayLike,
    S: ArrayLike,
    *,
    thickness: ArrayLike,
    backing: ArrayLike | None,
    seat: str = "air",
    optics: Optics,
) -> Array:
    """Reflectance factor of a layer over a backing.

    Parameters
    ----------
    K, S : array_like, broadcastable to shape (..., n_wavelengths)
        Absorption and scattering coefficients [1/mm].
    thickness : array_like, broadcastable with K
        [mm]
    backing : array_like or None
        Reflectance of the backing, broadcastable with K [-]; None for a free slab.
    seat : str
        `air`: an air film between rubber and backing; `wet`: optical contact.

    Returns
    -------
    ndarray, shape (..., n_wavelengths)
        [-]
    """
    return reflectance_slopes(K, S, thickness=thickness, backing=backing, seat=seat, optics=optics)[0]


def reflectance_slopes(
    K: ArrayLike,
    S: ArrayLike,
    *,
    thickness: ArrayLike,
    backing: ArrayLike | None,
    seat: str = "air",
    optics: Optics,
) -> tuple[Array, Array]:
    """As `reflectance`, with the derivatives with respect to K, S and thickness, shape (3, ..., n_wavelengths)."""
    K, S, d = (np.asarray(array, dtype=float) for array in (K, S, thickness))
    values, slopes = optics.terms(K * d, S * d, seat="air" if backing is None else seat)
    read, by_depth = over_backing(values, slopes, None if backing is None else np.asarray(backing, dtype=float))
    return read, _by_k_s_d(by_depth, K, S, d)


def over_backing(values: Array, slopes: Array, backing: Array | None) -> tuple[Array, Array]:
    """Read a layer's three numbers over a backing.

    Parameters
    ----------
    values, slopes : ndarray, shapes (3, ...) and (3, 2, ...)
        As `Optics.terms` returns them.
    backing : ndarray or None, broadcastable with (...)
        [-]; None for nothing behind.

    Returns
    -------
    read : ndarray, shape (...)
    slopes : ndarray, shape (2, ...)
        With respect to K d and S d.
    """
    front, through, back = values
    if backing is None:
        return front, slopes[0]
    returned = backing / (1.0 - back * backing)
    # A backing with more axes than the layer must not meet the axis of the slopes.
    slopes = slopes.reshape(3, 2, *(1,) * (returned.ndim - front.ndim), *front.shape)
    return front + through * returned, slopes[0] + returned * (slopes[1] + through * returned * slopes[2])


def transmittance(K: ArrayLike, S: ArrayLike, *, thickness: ArrayLike, optics: Optics) -> Array:
    """Total transmittance of the free slab, lit by a beam at 8 degrees [-]; shapes as `reflectance`."""
    return transmittance_slopes(K, S, thickness=thickness, optics=optics)[0]


def transmittance_slopes(K: ArrayLike, S: ArrayLike, *, thickness: ArrayLike, optics: Optics) -> tuple[Array, Array]:
    """As `transmittance`, with the derivatives with respect to K, S and thickness, shape (3, ...)."""
    K, S, d = (np.asarray(array, dtype=float) for array in (K, S, thickness))
    passed, by_depth = optics.transmitted(K * d, S * d)
    return passed, _by_k_s_d(by_depth, K, S, d)


def _by_k_s_d(by_depth: Array, K: Array, S: Array, d: Array) -> Array:
    return np.stack(np.broadcast_arrays(by_depth[0] * d, by_depth[1] * d, by_depth[0] * K + by_depth[1] * S))
