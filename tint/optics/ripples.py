"""Radiative transfer of a slab under a ripple of light: what wanders sideways, by adding-doubling.

Light that varies across the slab as cos(q r) drives a field that varies alike. Along a direction of cosine mu and
azimuth phi it runs in and out of step: absorption gains an imaginary part, ``q sqrt(1 - mu^2) cos phi``. Developed in
``(-i)^m cos(m phi)`` all is real again, and the azimuths m are coupled to their neighbours. A ripple of q = 0 is light
that is wide; what an instrument reads of a spot is a sum over ripples (`tint.optics.spot`).

References
----------
Stamnes, K., Tsay, S.-C., Wiscombe, W. and Jayaweera, K. (1988), Appl. Opt. 27, 2502: azimuths and Legendre functions.
Gabriel, P., Lovejoy, S., Davis, A., Schertzer, D. and Austin, G. L. (1990), J. Atmos. Sci. 47, 2436, and the Fourier
treatments before it: radiative transfer for lateral Fourier modes (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.optics import adding_doubling
from tint.optics.slab import AT_8, AT_45, NORMAL, PASSED, Directions, below_a_face, between_faces
from tint.optics.surface import DEGREES_8, external_diffuse, fresnel

Array = NDArray[np.float64]

AZIMUTHS = 4  # m = 0 to 3: within 0.001 of eight of them for what a spot loses (tests/figures/spots.py)
_THIN = 2.0**-5  # optical thickness, the ripple's phase counted in, where doubling starts: it errs by 2e-8
_BATCH = 512  # layers whose start is solved at once


@dataclass(frozen=True, kw_only=True, eq=False)
class Rippled:
    """Slabs without faces under ripples: R and T over azimuths and directions, shape (layers, n, n)."""

    R: Array
    T: Array

    def doubled(self, which: NDArray[np.bool_]) -> Rippled:
        """Those of the slabs that are picked, each laid on its like; q d doubles with the depth."""
        return Rippled(**dict(zip("RT", adding_doubling.doubled(self.R[which], self.T[which]), strict=True)))

    def answers(self, at: Directions) -> dict[str, Array]:
        """What is read of the slabs under the ripple.

        By `"<di:8 or 45:0> <air or wet>"` front, through and back, as of `tint.optics.slab.Slab.terms`, shape
        (3, layers), and by `"passed"` what the free slab passes of a beam at 8 degrees, shape (1, layers). Over all
        ways that a ripple may run a slanting beam is met by the first azimuth alone.
        """
        return _free(self, at) | _wet(self, at)


def rippled(x: Array, y: Array, phase: Array, *, at: Directions, g: float) -> Rippled:
    """Slabs without faces, by doubling from thin ones, of K d, S d and q d of shape (layers,)."""
    starts = range(0, x.size, _BATCH)
    parts = [_rippled(*(each[i : i + _BATCH] for each in (x, y, phase)), at=at, g=g) for i in starts]
    R, T = (np.concatenate(each) for each in zip(*parts, strict=True))
    return Rippled(R=R, T=T)


def _rippled(x: Array, y: Array, phase: Array, *, at: Directions, g: float) -> tuple[Array, Array]:
    count = 3 * (at.cosine.size - 3) // 2
    share = adding_doubling.peak(g, count)
    absorbed, scattered = 0.5 * x, y / (0.75 * (1.0 - g)) * (1.0 - share)
    return adding_doubling.built_up(
        absorbed + scattered + phase,
        _THIN,
        lambda which, shrunk: _thin(
            *(each[which] * shrunk for each in (absorbed, scattered, phase)), at=at, g=g, count=count
        ),
    )


def _thin(
    absorbed: Array, scattered: Array, phase: Array, *, at: Directions, g: float, count: int
) -> tuple[Array, Array]:
    """Thin layers, as of `adding_doubling.started`, the ripple's phase beside absorption."""
    onward, turned = _scattering(at, g, count)
    size = onward.shape[0]
    same, slant = np.eye(size), np.tile(1.0 / at.cosine, AZIMUTHS)[:, None]
    absorbed, scattered, phase = (each[:, None, None] for each in (absorbed, scattered, phase))
    dimmed = slant * (same * absorbed + _coupling(at) * phase)
    even = dimmed + slant * (same - onward - turned) * scattered
    odd = dimmed + slant * (same - onward + turned) * scattered
    return adding_doubling.started(even, odd)


def _coupling(at: Directions) -> Array:
    """What the phase of a ripple does to the azimuths, shape (n, n).

    The last azimuth would hand on to one that is not counted. In a clear slab that one comes out nearly equal to the
    last (an endless chain hands on and nothing returns), so that it acts as a loss: with it four azimuths do what
    nine do without.
    """
    directions = at.cosine.size
    sideways = 0.5 * np.sqrt(1.0 - at.cosine**2)
    size = AZIMUTHS * directions
    coupling, row = np.zeros((size, size)), np.arange(directions)
    for m in range(AZIMUTHS - 1):
        lower, upper = m * directions + row, (m + 1) * directions + row
        coupling[lower, upper] = sideways
        coupling[upper, lower] = -sideways * (2.0 if m == 0 else 1.0)
    last = size - directions + row
    coupling[last, last] = sideways
    return coupling


def _scattering(at: Directions, g: float, count: int) -> tuple[Array, Array]:
    """Light scattered onward and back from each direction into each, azimuth by azimuth, shape (n, n)."""
    directions = at.cosine.size
    share = adding_doubling.peak(g, count)
    orders = np.arange(count)
    strength = (2 * orders + 1) * (adding_doubling.moments(g, count)[:-1] - share) / (1.0 - share)
    onward, turned = np.zeros((2, AZIMUTHS * directions, AZIMUTHS * directions))
    for m in range(AZIMUTHS):
        legendre = _legendre(at.cosine, count, m)
        block = slice(m * directions, (m + 1) * directions)
        onward[block, block] = 0.5 * (legendre * strength) @ legendre.T * at.weight
        turned[block, block] = 0.5 * (legendre * strength * (1.0 - 2.0 * ((orders + m) % 2))) @ legendre.T * at.weight
    # What the quadrature of m = 0 sends nowhere, or twice, is put back into its own direction, for every azimuth.
    first = slice(0, directions)
    own = np.tile(1.0 - (onward[first, first] + turned[first, first]).sum(axis=1), AZIMUTHS)
    onward[np.diag_indices_from(onward)] += own
    return onward, turned


def _legendre(cosine: Array, count: int, m: int) -> Array:
    """Legendre functions P_l^m sqrt((l - m)! / (l + m)!) for l = 0 to count - 1, shape (n, count)."""
    values = np.zeros((cosine.size, count))
    if m >= count:
        return values
    sine = np.sqrt(1.0 - cosine**2)
    values[:, m] = np.prod([sine * np.sqrt((2 * k - 1) / (2 * k)) for k in range(1, m + 1)], axis=0)
    if m + 1 < count:
        values[:, m + 1] = cosine * np.sqrt(2 * m + 1) * values[:, m]
    for order in range(m + 2, count):
        before = np.sqrt((order - 1) ** 2 - m * m) * values[:, order - 2]
        values[:, order] = ((2 * order - 1) * cosine * values[:, order - 1] - before) / np.sqrt(order**2 - m * m)
    return values


def _free(slab: Rippled, at: Directions) -> dict[str, Array]:
    """Answers of the slab with both faces."""
    directions, leave, escaping = at.cosine.size, at.leave, at.escaping
    sources = np.zeros((AZIMUTHS * directions, 2))
    sources[:directions, 0] = at.enter
    sources[AT_45 + directions, 1] = at.beam_45
    both = between_faces(slab.R, slab.T, reflected=np.tile(at.reflected, AZIMUTHS), sources=sources)
    up_top, down_bottom = (each[:, :directions] for each in both)
    seen_8, seen_0 = (leave[eye] * down_bottom[:, eye, 0] for eye in (AT_8, NORMAL))
    back = external_diffuse(at.index) + up_top[..., 0] @ escaping
    front = float(fresnel(at.index, DEGREES_8)) + leave[AT_8] * up_top[:, AT_8, 0]
    diffuse, from_45 = np.einsum("lnb,n->bl", down_bottom, escaping)
    return {
        "di:8 air": np.stack((front, diffuse * seen_8, back)),
        "45:0 air": np.stack((leave[NORMAL] * up_top[:, NORMAL, 1], from_45 * seen_0, back)),
        PASSED: seen_8[None],
    }


def _wet(slab: Rippled, at: Directions) -> dict[str, Array]:
    """Answers of the slab with its upper face only."""
    R, T, directions = slab.R, slab.T, at.cosine.size
    face = np.tile(at.reflected, AZIMUTHS)
    lambertian = np.zeros(AZIMUTHS * directions)
    lambertian[:directions] = 1.0
    rising = T @ lambertian
    sources = np.zeros((R.shape[0], AZIMUTHS * directions, 3))
    sources[..., 0] = face * rising
    sources[:, :directions, 1] = at.enter
    sources[:, AT_45 + directions, 2] = at.beam_45
    up, on = (each[:, :directions] for each in below_a_face(R, T, reflected=face, sources=sources))
    from_below = up[..., 0] + rising[:, :directions]
    seen_8, seen_0 = (at.leave[eye] * from_below[:, eye] for eye in (AT_8, NORMAL))
    back = ((R @ lambertian)[:, :directions] + on[..., 0]) @ at.flux
    front = float(fresnel(at.index, DEGREES_8)) + at.leave[AT_8] * up[:, AT_8, 1]
    diffuse, from_45 = np.einsum("lnb,n->bl", on[..., 1:], at.flux)
    return {
        "di:8 wet": np.stack((front, diffuse * seen_8, back)),
        "45:0 wet": np.stack((at.leave[NORMAL] * up[:, NORMAL, 2], from_45 * seen_0, back)),
    }
