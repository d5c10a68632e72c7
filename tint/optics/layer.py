"""One interface to the layer models: what a casting of given K, S and thickness reads over a backing.

Whatever the model, a layer over a Lambertian backing of reflectance Rg reads
``front + through Rg / (1 - back Rg)``: light that the layer itself returns, and light that reaches the backing, goes
to and fro, and comes out (Kubelka 1954, JOSA 44, 330). A model supplies the three numbers and their slopes over
(K d, S d, M d, Q d); all the rest is here, once. M = S / (1 - g) is all the scattering, S the part that turns light
round, Q is M times the second Legendre moment of the phase function; two-flux theory knows nothing of M and Q.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError
from tint.optics import two_flux

if TYPE_CHECKING:
    from tint.optics.spot import Spot
    from tint.optics.surface import Faces

Array = NDArray[np.float64]

MODELS = ("many-flux", "two-flux")


@dataclass(frozen=True, kw_only=True)
class Optics:
    """A layer model and the constants it needs."""

    model: str = "two-flux"  # `two-flux` or `many-flux`
    refractive_index: float = 1.41  # of the rubber [-]; 1 means no faces
    geometry: str = "di:8"  # `di:8`, `de:8` or `45:0`
    # measured Saunderson constants (two-flux only) [-]
    k1: float | None = None
    k2: float | None = None
    spot: Spot | None = None  # the discs that an instrument lights and sees; a wide layer in wide light when absent
    faces: Faces | None = None  # of a finish; smooth ones when absent

    def __post_init__(self) -> None:
        if self.model not in MODELS:
            raise InputError("optics", f"`{self.model}` is not known", " or ".join(MODELS))

    def terms(self, x: ArrayLike, y: ArrayLike, z: ArrayLike, q: ArrayLike, *, seat: str) -> tuple[Array, Array]:
        """front, through, back, shape (3, ...), and their slopes over (x, y, z, q), shape (3, 4, ...)."""
        values, slopes = self._smooth_terms(x, y, z, q, seat=seat)
        if self.faces is not None:
            values[0] += self.faces.added
        return values, slopes

    def _smooth_terms(
        self, x: ArrayLike, y: ArrayLike, z: ArrayLike, q: ArrayLike, *, seat: str
    ) -> tuple[Array, Array]:
        if seat not in ("air", "wet"):
            raise InputError("seat", f"`{seat}` is not known", "air or wet")
        if self.model == "two-flux":
            values, slopes = two_flux.terms(
                x, y, refractive_index=self.refractive_index, geometry=self.geometry, seat=seat,
                k1=self.k1, k2=self.k2,
            )  # fmt: skip
            return values, _no_slope(slopes, 2)
        from tint.optics import many_flux  # its tables are for those who use them

        return many_flux.terms(x, y, z, q, refractive_index=self.refractive_index, geometry=self.geometry, seat=seat)

    def transmitted(self, x: ArrayLike, y: ArrayLike, z: ArrayLike, q: ArrayLike) -> tuple[Array, Array]:
        """Total transmittance of the free slab, shape (...), and its slopes over (x, y, z, q), shape (4, ...)."""
        if self.model == "two-flux":
            values, slopes = two_flux.transmitted(x, y, refractive_index=self.refractive_index, k1=self.k1, k2=self.k2)
            return values, _no_slope(slopes[None], 2)[0]
        from tint.optics import many_flux

        return many_flux.transmitted(x, y, z, q, refractive_index=self.refractive_index)


def _no_slope(slopes: Array, count: int) -> Array:
    """Slopes by some of (x, y, z, q), shape (n, m, ...), with so many more that are 0, shape (n, m + count, ...)."""
    return np.concatenate((slopes, np.zeros((len(slopes), count, *slopes.shape[2:]))), axis=1)


def reflectance(
    K: ArrayLike,
    S: ArrayLike,
    M: ArrayLike | None = None,
    Q: ArrayLike | None = None,
    *,
    thickness: ArrayLike,
    backing: ArrayLike | None,
    seat: str = "air",
    optics: Optics,
) -> Array:
    """Reflectance factor of a layer over a backing, shape (..., n_wavelengths) [-].

    All are broadcastable to that shape: K, S and M, absorption, scattering and all scattering, S / (1 - g) [1/mm],
    M being S (isotropic) when absent; Q, M times the second moment of the phase function [1/mm], that of a
    Henyey-Greenstein lobe when absent; the thickness [mm]; the reflectance of the backing, None for a free slab. The
    seat is `air`, an air film between rubber and backing, or `wet`, optical contact.
    """
    return reflectance_slopes(K, S, M, Q, thickness=thickness, backing=backing, seat=seat, optics=optics)[0]


def reflectance_slopes(
    K: ArrayLike,
    S: ArrayLike,
    M: ArrayLike | None = None,
    Q: ArrayLike | None = None,
    *,
    thickness: ArrayLike,
    backing: ArrayLike | None,
    seat: str = "air",
    optics: Optics,
) -> tuple[Array, Array]:
    """As `reflectance`, with the derivatives by K, S, M, Q and thickness, shape (5, ..., n_wavelengths)."""
    coefficients, d = _arrays(K, S, M, Q, thickness)
    values, slopes = terms(coefficients, d, optics=optics, seat="air" if backing is None else seat)
    read, by_depth = over_backing(values, slopes, None if backing is None else np.asarray(backing, dtype=float))
    return read, by_coefficients(by_depth, coefficients, d)


def terms(coefficients: Iterable[Array], thickness: Array, *, optics: Optics, seat: str) -> tuple[Array, Array]:
    """A layer's three numbers as `optics` reads them, shape (3, ...), and their slopes, shape (3, 4 or 5, ...).

    Parameters
    ----------
    coefficients : iterable of ndarray
        K, S, M and Q [1/mm].
    thickness : ndarray, broadcastable with them
        [mm]
    """
    depths = tuple(each * thickness for each in coefficients)
    return through_spot(*optics.terms(*depths, seat=seat), depths, thickness, optics=optics, seat=seat)


def over_backing(values: Array, slopes: Array, backing: Array | None) -> tuple[Array, Array]:
    """Read a layer's three numbers, as `Optics.terms` returns them, over a backing of reflectance (...); None for none.

    Returns the reading, shape (...), and its slopes by K d, S d, M d and Q d; as many as came.
    """
    front, through, back = values
    if backing is None:
        return front, slopes[0]
    returned = backing / (1.0 - back * backing)
    # A backing with more axes than the layer must not meet the axis of the slopes.
    slopes = slopes.reshape(3, slopes.shape[1], *(1,) * (returned.ndim - front.ndim), *front.shape)
    return front + through * returned, slopes[0] + returned * (slopes[1] + through * returned * slopes[2])


def transmittance(
    K: ArrayLike, S: ArrayLike, M: ArrayLike | None = None, Q: ArrayLike | None = None, *, thickness: ArrayLike,
    optics: Optics,
) -> Array:  # fmt: skip
    """Total transmittance of the free slab, lit by a beam at 8 degrees [-]; shapes as `reflectance`."""
    return transmittance_slopes(K, S, M, Q, thickness=thickness, optics=optics)[0]


def transmittance_slopes(
    K: ArrayLike, S: ArrayLike, M: ArrayLike | None = None, Q: ArrayLike | None = None, *, thickness: ArrayLike,
    optics: Optics,
) -> tuple[Array, Array]:  # fmt: skip
    """As `transmittance`, with the derivatives by K, S, M, Q and thickness, shape (5, ...)."""
    coefficients, d = _arrays(K, S, M, Q, thickness)
    depths = tuple(each * d for each in coefficients)
    passed, by_depth = optics.transmitted(*depths)
    values, slopes = through_spot(passed[None], by_depth[None], depths, d, optics=optics, seat=None)
    return values[0], by_coefficients(slopes[0], coefficients, d)


def through_spot(
    values: Array, slopes: Array, depths: tuple[Array, ...], thickness: Array, *, optics: Optics, seat: str | None
) -> tuple[Array, Array]:
    """A wide layer's numbers as the spot of `optics` reads them; as they are where it has none.

    Values of shape (n, ...) and slopes of shape (n, 4, ...) come with the depths K d, S d, M d and Q d and the
    thickness [mm]; `seat` is None for transmittance. A fifth slope is added: by the thickness, at constant depths.
    """
    if optics.spot is None:
        return values, slopes
    from tint.optics import slab, spot  # its tables are for those who use them

    name = slab.PASSED if seat is None else f"{'45:0' if optics.geometry == '45:0' else 'di:8'} {seat}"
    x, y, z, _ = np.broadcast_arrays(*depths)
    changed, by_spot = spot.change(
        x, y, z, thickness, refractive_index=optics.refractive_index, name=name, spot=optics.spot
    )
    changed *= optics.spot.share
    changed += values
    by_spot *= optics.spot.share
    by = np.concatenate((slopes, by_spot[:, 3:]), axis=1)
    by[:, :3] += by_spot[:, :3]
    return changed, by


def regular_slopes(
    K: ArrayLike, S: ArrayLike, M: ArrayLike | None = None, Q: ArrayLike | None = None, *, thickness: ArrayLike,
    optics: Optics,
) -> tuple[Array, Array]:  # fmt: skip
    """Regular transmittance of the free slab, as of `tint.optics.surface`, and its slopes as `transmittance_slopes`."""
    from tint.optics import surface

    coefficients, d = _arrays(K, S, M, Q, thickness)
    depths = (each * d for each in coefficients[:3])
    passed, by_depth = surface.regular(*depths, refractive_index=optics.refractive_index)
    if optics.faces is not None:
        passed, by_depth = passed * optics.faces.kept, by_depth * optics.faces.kept
    return passed, by_coefficients(_no_slope(by_depth[None], 1)[0], coefficients, d)


def _arrays(
    K: ArrayLike, S: ArrayLike, M: ArrayLike | None, Q: ArrayLike | None, d: ArrayLike
) -> tuple[tuple[Array, ...], Array]:
    K, S, M = (np.asarray(each, dtype=float) for each in (K, S, S if M is None else M))
    if Q is None:
        Q = (M - S) ** 2 / np.where(M > 0.0, M, 1.0)
    return (K, S, M, np.asarray(Q, dtype=float)), np.asarray(d, dtype=float)


def by_coefficients(by_depth: Array, coefficients: Iterable[Array], d: Array) -> Array:
    """Slopes by K, S, M, Q and thickness, shape (5, ...), from those by K d, S d, M d and Q d, shape (4, ...).

    A fifth of `by_depth` is what the thickness does beside, to a spot of given size.
    """
    along = sum(slope * each for slope, each in zip(by_depth[:4], coefficients, strict=True))
    if len(by_depth) == 5:
        along = along + by_depth[4]
    return np.stack(np.broadcast_arrays(*(slope * d for slope in by_depth[:4]), along))


# Layer over air over layer: a hollow part, its near wall before its far wall.
#
# Light in the air between two walls is taken as Lambertian, as it is under the lower face of a wide layer: the far wall
# and what lies behind it then are a backing of the near one, of the reflectance that they have under such light. The
# same adding of layers as of a layer and its backing serves for both. Through a clear wall light keeps its direction,
# so that the edges of what lies behind stay sharp; of colours that changes little.


def reflectance_of_walls(
    mixed: ArrayLike, *, near: ArrayLike, far: ArrayLike, backing: ArrayLike | None, seat: str, optics: Optics
) -> Array:
    """What two walls of one mix read over a backing, with air between them, shape (n, m, n_wavelengths) [-].

    `mixed` holds K, S, M and Q, shape (4, n_wavelengths) [1/mm]; `near` and `far` the thicknesses of either wall, n
    and m of them [mm]. The backing has its seat behind the far wall; None for none.
    """
    behind = _far(mixed, far, backing, seat=seat, optics=optics)
    front, through, back = _terms(mixed, near, optics, "air")[:, :, None]
    return np.asarray(front + through * behind / (1.0 - back * behind))


def transmittance_of_walls(mixed: ArrayLike, *, near: ArrayLike, far: ArrayLike, optics: Optics) -> Array:
    """Total transmittance of two free walls with air between them, shape (n, m, n_wavelengths) [-]."""
    own = _transmitted(mixed, near, optics)[:, None]
    back = _terms(mixed, near, optics, "air")[2][:, None]
    other, passed = _diffuse(mixed, far, optics)
    return np.asarray(own * passed / (1.0 - back * other))


def _far(mixed: ArrayLike, far: ArrayLike, backing: ArrayLike | None, *, seat: str, optics: Optics) -> Array:
    """The far wall on its backing, under Lambertian light, shape (m, n_wavelengths)."""
    wide = replace(optics, geometry="di:8")
    if backing is not None and seat == "wet":  # at 8 degrees, which differs from all around by little
        return reflectance(
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
    x, y, z, q = (each * np.asarray(depth, dtype=float)[:, None] for each in np.asarray(mixed))
    return optics.terms(x, y, z, q, seat=seat)[0]


def _transmitted(mixed: ArrayLike, depth: ArrayLike, optics: Optics) -> Array:
    x, y, z, q = (each * np.asarray(depth, dtype=float)[:, None] for each in np.asarray(mixed))
    return optics.transmitted(x, y, z, q)[0]
