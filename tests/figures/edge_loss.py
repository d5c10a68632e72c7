"""How much light spreads sideways out of a measured spot: photons followed in three dimensions.

A pencil beam enters a slab at 8 degrees from its normal, as instruments look; where its light comes out again is kept,
photon by photon. A spot is then any number of such beams over its disc: by reciprocity the beam stands for what the
detector sees, and what comes out inside the lit disc for what the sphere sends in. Nothing of tint is imported.
`spots.py` compares.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
SLANT = np.radians(8.0)  # of the beam, from the normal, outside


@dataclass(frozen=True, kw_only=True)
class Slab:
    """A casting on a card: coefficients [1/mm], thickness [mm], index, reflectance and seat of the card [-]."""

    absorption: float
    scattering: float
    g: float = 0.0
    thickness: float
    index: float = 1.41
    card: float
    seat: str = "air"


@dataclass(frozen=True, eq=False)
class Exits:
    """Where light leaves through the upper face: distance from the beam [mm] and share of the beam's light [-]."""

    x: Array
    y: Array
    weight: Array
    photons: int

    @property
    def total(self) -> float:
        """All that comes out, the face's own reflection apart [-]."""
        return float(self.weight.sum()) / self.photons

    def read(self, measured_mm: float, lit_mm: float, *, seed: int = 0) -> float:
        """What a spot of one diameter reads where one of another is lit, the face's own reflection apart [-]."""
        rng = np.random.default_rng(seed)
        radius = 0.5 * measured_mm * np.sqrt(rng.random(self.x.size))
        angle = 2.0 * np.pi * rng.random(self.x.size)
        away = np.hypot(self.x + radius * np.cos(angle), self.y + radius * np.sin(angle))
        return float(self.weight[away < 0.5 * lit_mm].sum()) / self.photons


def unpolarised(n_from: float, n_to: float, cosine: Array) -> Array:
    """Reflectance of a face, by the cosine on the side the light comes from; 1 beyond the critical angle."""
    sine2 = (n_from / n_to) ** 2 * (1.0 - cosine**2)
    beyond = sine2 >= 1.0
    other = np.sqrt(np.where(beyond, 1.0, 1.0 - sine2))
    s = (n_from * cosine - n_to * other) / (n_from * cosine + n_to * other)
    p = (n_to * cosine - n_from * other) / (n_to * cosine + n_from * other)
    return np.where(beyond, 1.0, 0.5 * (s * s + p * p))


def lambert(rng: np.random.Generator, count: int) -> Array:
    """Directions upwards, as a matt card sends them, shape (3, count)."""
    cosine = np.sqrt(rng.random(count))
    sine, angle = np.sqrt(1.0 - cosine**2), 2.0 * np.pi * rng.random(count)
    return np.stack((sine * np.cos(angle), sine * np.sin(angle), -cosine))


def turned(along: Array, g: float, rng: np.random.Generator) -> Array:
    """Directions after scattering (Henyey and Greenstein), shape (3, count)."""
    draw = np.asarray(rng.random(along.shape[1]))
    if g == 0.0:
        cosine = 2.0 * draw - 1.0
    else:
        cosine = (1.0 + g * g - ((1.0 - g * g) / (1.0 - g + 2.0 * g * draw)) ** 2) / (2.0 * g)
    sine, angle = np.sqrt(np.maximum(1.0 - cosine**2, 0.0)), 2.0 * np.pi * rng.random(draw.size)
    helper = np.where(np.abs(along[2]) < 0.9, np.array([[0.0], [0.0], [1.0]]), np.array([[1.0], [0.0], [0.0]]))
    first = np.cross(along, helper, axis=0)
    first /= np.linalg.norm(first, axis=0)
    second = np.cross(along, first, axis=0)
    new = cosine * along + sine * (np.cos(angle) * first + np.sin(angle) * second)
    return np.asarray(new / np.linalg.norm(new, axis=0))


def follow(slab: Slab, *, photons: int, seed: int) -> Exits:
    """Follow photons of a pencil beam until all have left, been absorbed or lost a game of chance."""
    rng = np.random.default_rng(seed)
    n = slab.index
    aslant = np.sin(SLANT) / n
    at, along = np.zeros((3, photons)), np.tile([[aslant], [0.0], [np.sqrt(1.0 - aslant**2)]], photons)
    weight = np.full(photons, 1.0 - float(unpolarised(1.0, n, np.cos([SLANT]))[0]))
    out: list[tuple[Array, Array, Array]] = []
    while weight.size:
        free = rng.exponential(size=weight.size) / max(slab.scattering, 1e-9)
        down = along[2] > 0.0
        # A direction level to the last digit never meets a face.
        room = np.where(down, slab.thickness - at[2], at[2]) / np.maximum(np.abs(along[2]), 1e-12)
        meets = room < free
        step = np.minimum(room, free)
        at = at + step * along
        weight = weight * np.exp(-slab.absorption * step)
        upper, lower = np.flatnonzero(meets & ~down), np.flatnonzero(meets & down)
        back = unpolarised(n, 1.0, -along[2, upper])
        out.append((at[0, upper], at[1, upper], weight[upper] * (1.0 - back)))
        weight[upper] *= back
        along[2, upper] *= -1.0
        at[2, upper], at[2, lower] = 0.0, slab.thickness
        _off_the_card(slab, lower, along, weight, rng)
        inside = np.flatnonzero(~meets)
        along[:, inside] = turned(along[:, inside], slab.g, rng)
        faint = weight < 1e-3
        lives = ~faint | (rng.random(weight.size) < 0.1)
        weight = np.where(faint, 10.0 * weight, weight)
        lives &= weight > 1e-9
        at, along, weight = at[:, lives], along[:, lives], weight[lives]
    x, y, w = (np.concatenate(parts) for parts in zip(*out, strict=True))
    return Exits(x, y, w, photons)


def _off_the_card(slab: Slab, lower: NDArray[np.intp], along: Array, weight: Array, rng: np.random.Generator) -> None:
    """What meets the lower face comes back from it, or from the card behind it; changes `along` and `weight`."""
    if slab.seat == "wet":
        weight[lower] *= slab.card
        along[:, lower] = lambert(rng, lower.size)
        return
    back = rng.random(lower.size) < unpolarised(slab.index, 1.0, along[2, lower])
    along[2, lower[back]] *= -1.0
    out = lower[~back]
    while out.size:  # to and fro between card and face until it enters
        weight[out] *= slab.card
        up = lambert(rng, out.size)
        enters = rng.random(out.size) >= unpolarised(1.0, slab.index, -up[2])
        done = out[enters]
        bent = up[:, enters] / slab.index
        bent[2] = -np.sqrt(1.0 - bent[0] ** 2 - bent[1] ** 2)
        along[:, done] = bent
        out = out[~enters]
        gone = weight[out] < 1e-6
        weight[out[gone]] = 0.0
        along[2, out[gone]] = -1.0
        out = out[~gone]


NAMED = {
    "milky base, 5 mm on white": Slab(absorption=0.01, scattering=0.4, thickness=5.0, card=0.88),
    "pale lamp, 3 mm on white": Slab(absorption=0.005, scattering=2.0, thickness=3.0, card=0.88),
}
