"""Photons followed one by one through a slab over a backing: a judge that shares no formula with adding-doubling.

Nothing of tint is imported. The photons carry weight, are dimmed by absorption, split at the upper face and
at the lower one, and end by roulette; what an instrument along the normal sees is added up at every event, by
the chance that the event sends light straight there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Pour:
    """A slab and what lies behind it: optical thicknesses, index, reflectance of the backing, seat [-].

    Scattering is a mixture of Henyey-Greenstein lobes: of each its g, and its share of what is scattered [-].
    """

    absorbed: float
    scattered: float
    g: tuple[float, ...]
    share: tuple[float, ...] = (1.0,)
    index: float
    backing: float
    seat: str


def fresnel(index: float, outside: Array) -> Array:
    """Reflectance of a face by the cosine in air."""
    inside = np.sqrt(1.0 - (1.0 - outside**2) / index**2)
    s = (outside - index * inside) / (outside + index * inside)
    p = (index * outside - inside) / (index * outside + inside)
    return np.asarray(0.5 * (s * s + p * p))


def from_inside(index: float, inside: Array) -> Array:
    """Reflectance of a face by the cosine in the rubber; 1 beyond the critical angle."""
    square = 1.0 - index**2 * (1.0 - inside**2)
    outside = np.sqrt(np.clip(square, 0.0, None))
    return np.where(square > 0.0, fresnel(index, np.maximum(outside, 1e-12)), 1.0)


def follow(pour: Pour, cosine: float, *, photons: int, seed: int) -> tuple[float, float, float, float]:
    """Light the slab by a beam.

    Parameters
    ----------
    pour : Pour
    cosine : float
        Of the beam's angle in air [-].
    photons, seed : int

    Returns
    -------
    reflected, its standard error, seen along the normal, its standard error : float
        Total reflectance, specular included; radiance factor along the normal, specular excluded [-].
    """
    rng = np.random.default_rng(seed)
    n, depth = pour.index, pour.absorbed + pour.scattered
    gloss = float(fresnel(n, np.array(cosine)))
    straight_out = 1.0 - float(fresnel(n, np.array(1.0)))
    bounce = (1.0 - straight_out) * (pour.seat == "air")  # of the lower face, along the normal
    through = np.exp(-depth)
    echo = straight_out / n**2 / (1.0 - bounce * (1.0 - straight_out) * through**2)
    escaped, seen = np.full(photons, gloss), np.zeros(photons)
    who = np.arange(photons)
    z, weight = np.zeros(photons), np.full(photons, 1.0 - gloss)
    mu = np.full(photons, np.sqrt(1.0 - (1.0 - cosine**2) / n**2))
    while who.size:
        z = z + mu * rng.exponential(size=who.size) / depth
        up, down = z < 0.0, z > 1.0
        inside = ~(up | down)
        back = from_inside(n, np.abs(mu[up]))
        escaped[who[up]] += weight[up] * (1.0 - back)
        weight[up] *= back
        mu[up], z[up] = -mu[up], 0.0
        weight[down], mu[down], glow = _behind(pour, weight[down], mu[down], rng)
        seen[who[down]] += glow * through * echo * (straight_out * n**2 if pour.seat == "air" else 1.0)
        z[down] = 1.0
        weight[inside] *= pour.scattered / depth
        w, m, level = weight[inside], mu[inside], z[inside]
        straight = _phase(-m, pour) * np.exp(-depth * level)
        bounced = _phase(m, pour) * np.exp(-depth * (2.0 - level)) * bounce
        seen[who[inside]] += 0.25 * w * (straight + bounced) * echo
        mu[inside] = _turned(m, _lobes(m.size, pour, rng), rng)
        # Roulette: of the faint, one in ten goes on, with ten times the weight.
        faint = weight < 1e-3
        lives = ~faint | (rng.random(who.size) < 0.1)
        weight = np.where(faint, 10.0 * weight, weight)
        lives &= weight > 0.0
        who, z, mu, weight = who[lives], z[lives], mu[lives], weight[lives]
    root = np.sqrt(photons)
    return float(escaped.mean()), float(escaped.std() / root), float(seen.mean()), float(seen.std() / root)


def _behind(pour: Pour, weight: Array, mu: Array, rng: np.random.Generator) -> tuple[Array, Array, Array]:
    """What meets the lower end: weight and cosine after it, and the backing's light sent along the normal."""
    glow = np.zeros_like(weight)
    if pour.seat == "wet":
        lit = weight * pour.backing
        return lit, -np.sqrt(rng.random(weight.size)), lit
    back = from_inside(pour.index, mu)
    stays = rng.random(weight.size) < back
    weight, after = weight.copy(), np.where(stays, -mu, 0.0)
    out = np.flatnonzero(~stays)
    while out.size:
        weight[out] *= pour.backing
        glow[out] += weight[out]
        cosine = np.sqrt(rng.random(out.size))
        enters = rng.random(out.size) >= fresnel(pour.index, cosine)
        done = out[enters]
        after[done] = -np.sqrt(1.0 - (1.0 - cosine[enters] ** 2) / pour.index**2)
        out = out[~enters]
        dark = weight[out] < 1e-9
        weight[out[dark]], after[out[dark]] = 0.0, -1.0
        out = out[~dark]
    return weight, after, glow


def gloss(pour: Pour, cosine: float) -> float:
    """What the faces of a slab send straight back of a beam: what a specular port loses [-]."""
    face = float(fresnel(pour.index, np.array(cosine)))
    if pour.seat == "wet":
        return face
    inside = np.sqrt(1.0 - (1.0 - cosine**2) / pour.index**2)
    once = float(np.exp(-(pour.absorbed + pour.scattered) / inside))
    return face + face * ((1.0 - face) * once) ** 2 / (1.0 - (face * once) ** 2)


def _phase(cosine: Array, pour: Pour) -> Array:
    parts = [
        share * (1.0 - g * g) / (1.0 + g * g - 2.0 * g * cosine) ** 1.5
        for g, share in zip(pour.g, pour.share, strict=True)
    ]
    return np.asarray(np.sum(parts, axis=0))


def _lobes(count: int, pour: Pour, rng: np.random.Generator) -> Array:
    """The g of the lobe by which each photon is scattered."""
    if len(pour.g) == 1:
        return np.full(count, pour.g[0])
    return rng.choice(np.array(pour.g), size=count, p=np.array(pour.share))


def _turned(mu: Array, g: Array, rng: np.random.Generator) -> Array:
    draw = rng.random(mu.size)
    sharp = np.maximum(g, 1e-9)  # no division by a g of 0, where it is 2 draw - 1
    lobe = (1.0 + g * g - ((1.0 - g * g) / (1.0 - g + 2.0 * g * draw)) ** 2) / (2.0 * sharp)
    cosine = np.where(g == 0.0, 2.0 * draw - 1.0, lobe)
    around = np.cos(2.0 * np.pi * rng.random(mu.size))
    sines = np.sqrt(np.clip((1.0 - mu * mu) * (1.0 - cosine * cosine), 0.0, None))
    turned = np.clip(mu * cosine + sines * around, -1.0, 1.0)
    return np.where(turned == 0.0, 1e-12, turned)
