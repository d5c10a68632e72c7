"""Light that spreads sideways out of a measured spot: an estimate of what a reading loses at the spot's edge.

Light that enters a see-through layer leaves it some way off. Where the lit spot ends, none comes in from beyond, and
the reading is too low: edge loss (Atkins and Billmeyer 1966, Materials Research and Standards 6, 564; from memory).
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.optics.layer import Optics, reflectance

Array = NDArray[np.float64]

_NODES, _FINE = 24, 4000  # ripples at which the layer is computed, and between which it is interpolated
# Of the thickness: what a clear layer does, r^2 = 0.39 d^2 in the mean by refraction at 1.41 of what a matt card sends.
_STRAIGHT = 0.04
_LONGEST, _SHORTEST = 1e-2, 60.0  # ripples, in radians over the larger spot's radius and over the smaller one's


def spot_reflectance(
    K: ArrayLike,
    S: ArrayLike,
    M: ArrayLike | None = None,
    *,
    thickness: ArrayLike,
    backing: ArrayLike | None,
    seat: str = "air",
    optics: Optics,
    measured_mm: float,
    lit_mm: float,
) -> Array:
    """What an instrument reads whose spots are no larger than this, to an order of magnitude.

    Parameters
    ----------
    K, S, M, thickness, backing, seat, optics
        As of `tint.optics.layer.reflectance`.
    measured_mm, lit_mm : float
        Diameters of the spot that is measured, and of the one that is lit about the same middle [mm].

    Returns
    -------
    ndarray, shape (..., n_wavelengths)
        [-]

    Notes
    -----
    A lit disc is a sum of ripples of light across the layer. By diffusion theory a ripple of q radians per mm is dimmed
    as if absorption were larger by ``D q^2``, ``D = 1 / (3 (mu_a + mu_s'))``: light deep inside reaches as far as
    ``1 / sqrt(3 mu_a (mu_a + mu_s'))``. Here ``mu_a = K / 2`` and ``mu_s' = 4 S / 3``. Nothing flies freely for longer
    than the mean chord of the layer, 2 d (Cauchy), which bounds D. Over an air film, light that nothing scatters on
    that chord goes to the card and back, bent towards the normal, and hardly aside. The disc reads the mean of
    ``R(q) 2 (b / a) J1(q a) J1(q b) / q`` over q, for radii a measured and b lit. How near it comes to photons followed
    one by one: `tests/figures/edge_loss.py`.
    """
    K, S, d = (np.asarray(array, dtype=float) for array in (K, S, thickness))
    ripples, shares = _ripples(0.5 * measured_mm, 0.5 * max(lit_mm, measured_mm))
    spread = 1.0 / (3.0 * (0.5 * K + 4.0 / 3.0 * S + 0.5 / d))
    if seat == "air":
        scattered = -np.expm1(-2.0 * d * 4.0 / 3.0 * S)
        spread = scattered * spread + (1.0 - scattered) * _STRAIGHT * d
    dimmed = K + 2.0 * spread * ripples.reshape(-1, *(1,) * np.broadcast(K, S, d).ndim) ** 2
    read = reflectance(dimmed, S, M, thickness=d, backing=backing, seat=seat, optics=optics)
    return np.asarray(np.tensordot(shares, read, axes=1))


@cache
def _ripples(measured: float, lit: float) -> tuple[Array, Array]:
    """Ripples [rad/mm] and the share of each in the reading, by the radii; what lies between is drawn straight."""
    from scipy.special import j1

    ends = np.log(_LONGEST / lit), np.log(_SHORTEST / measured)
    nodes = np.linspace(*ends, _NODES)
    fine = np.linspace(*ends, _FINE * int(np.ceil(lit / measured)))
    q = np.exp(fine)
    density = 2.0 * (lit / measured) * j1(q * measured) * j1(q * lit) * (fine[1] - fine[0])  # dq / q is d log q
    place = np.minimum(((fine - nodes[0]) / (nodes[1] - nodes[0])).astype(int), _NODES - 2)
    along = (fine - nodes[place]) / (nodes[1] - nodes[0])
    shares = np.zeros(_NODES)
    np.add.at(shares, place, density * (1.0 - along))
    np.add.at(shares, place + 1, density * along)
    shares[-1] += 1.0 - shares.sum()  # still shorter ones; there are none longer to speak of
    return np.asarray(np.exp(nodes)), shares
