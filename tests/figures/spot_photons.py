"""Photons in three dimensions, compiled: what a spot reads of a casting over a wide one, wavelength by wavelength.

Imports nothing of tint. Needs numba beside the development extra: `pip install numba`. A pencil beam enters at 8
degrees from the normal, as instruments look; every photon that comes out counts by how much of the lit disc lies about
the disc that is seen at its distance (by reciprocity). `python tests/figures/spot_photons.py` compares it with
`edge_loss.py`, which is written otherwise.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]
SLANT = np.radians(8.0)  # of the beam, outside


def overlap(away: Array, seen: float, lit: float) -> Array:
    """Share of a disc of radius `seen` that lies within a disc of radius `lit` whose middle is `away` from its own."""
    r = np.clip(away, 1e-12, None)
    alpha = np.arccos(np.clip((r**2 + seen**2 - lit**2) / (2.0 * r * seen), -1.0, 1.0))
    beta = np.arccos(np.clip((r**2 + lit**2 - seen**2) / (2.0 * r * lit), -1.0, 1.0))
    lens = seen**2 * (alpha - 0.5 * np.sin(2.0 * alpha)) + lit**2 * (beta - 0.5 * np.sin(2.0 * beta))
    whole = np.pi * min(seen, lit) ** 2
    area = np.where(r <= abs(lit - seen), whole, np.where(r >= lit + seen, 0.0, lens))
    return np.asarray(area / (np.pi * seen**2))


@njit(cache=True)
def _fresnel(n1: float, n2: float, cosine: float) -> float:
    sine2 = (n1 / n2) ** 2 * (1.0 - cosine * cosine)
    if sine2 >= 1.0:
        return 1.0
    other = np.sqrt(1.0 - sine2)
    s = (n1 * cosine - n2 * other) / (n1 * cosine + n2 * other)
    p = (n2 * cosine - n1 * other) / (n2 * cosine + n1 * other)
    return 0.5 * (s * s + p * p)


@njit(cache=True)
def _exits(
    mu_a: float, mu_s: float, g: Array, share: Array, d: float, n: float, card: float, wet: bool, edges: Array,
    photons: int, seed: int,
) -> Array:  # fmt: skip
    """Weight that comes out by distance from the beam, a bin between two edges, shape (n_edges,)."""
    np.random.seed(seed)
    out = np.zeros(edges.size)
    for _ in range(photons):
        x = y = z = 0.0
        ux, uy = np.sin(SLANT) / n, 0.0
        uz = np.sqrt(1.0 - ux * ux)
        weight = 1.0 - _fresnel(1.0, n, np.cos(SLANT))
        while weight > 0.0:
            free = -np.log(1.0 - np.random.random()) / max(mu_s, 1e-9)
            room = (d - z) / uz if uz > 0.0 else z / max(-uz, 1e-12)
            step = min(room, free)
            x, y, z = x + step * ux, y + step * uy, z + step * uz
            weight *= np.exp(-mu_a * step)
            if room < free and uz < 0.0:
                z = 0.0
                back = _fresnel(n, 1.0, -uz)
                out[min(np.searchsorted(edges, np.hypot(x, y)), edges.size - 1)] += weight * (1.0 - back)
                weight *= back
                uz = -uz
            elif room < free:
                z = d
                if not wet and np.random.random() < _fresnel(n, 1.0, uz):
                    uz = -uz
                else:
                    while True:
                        weight *= card
                        cosine = np.sqrt(np.random.random())
                        angle = 2.0 * np.pi * np.random.random()
                        if wet:
                            break
                        if weight < 1e-7 or np.random.random() >= _fresnel(1.0, n, cosine):
                            cosine = np.sqrt(1.0 - (1.0 - cosine * cosine) / (n * n))
                            break
                    sine = np.sqrt(1.0 - cosine * cosine)
                    ux, uy, uz = sine * np.cos(angle), sine * np.sin(angle), -max(cosine, 1e-9)
            else:
                pick = np.random.random()
                lobe = 0
                while lobe < g.size - 1 and pick >= share[lobe]:
                    pick -= share[lobe]
                    lobe += 1
                draw, of = np.random.random(), g[lobe]
                if abs(of) < 1e-6:
                    cosine = 2.0 * draw - 1.0
                else:
                    cosine = (1.0 + of * of - ((1.0 - of * of) / (1.0 - of + 2.0 * of * draw)) ** 2) / (2.0 * of)
                sine = np.sqrt(max(1.0 - cosine * cosine, 0.0))
                angle = 2.0 * np.pi * np.random.random()
                a, b = sine * np.cos(angle), sine * np.sin(angle)
                flat = np.sqrt(ux * ux + uy * uy)
                if flat < 1e-6:
                    ux, uy, uz = a, b, cosine * np.sign(uz)
                else:
                    vx = cosine * ux + (a * ux * uz - b * uy) / flat
                    vy = cosine * uy + (a * uy * uz + b * ux) / flat
                    uz = cosine * uz - a * flat
                    ux, uy = vx, vy
                size = np.sqrt(ux * ux + uy * uy + uz * uz)
                ux, uy, uz = ux / size, uy / size, uz / size
                if uz == 0.0:
                    uz = 1e-12
            if weight < 1e-3:
                weight = weight * 10.0 if np.random.random() < 0.1 else 0.0
    return out / photons


EDGES = np.concatenate(([0.0], np.geomspace(1e-3, 200.0, 400)))  # mm


def read_over_wide(
    *, mu_a: float, mu_s: float, g: Array, share: Array, thickness: float, index: float, card: float, seat: str,
    spots: tuple[tuple[float, float], ...], photons: int, seed: int,
) -> Array:  # fmt: skip
    """What comes out as spots (diameters seen, lit) read it, over what comes out in all, shape (n_spots,) [-].

    Parameters
    ----------
    mu_a, mu_s : float
        [1/mm]
    g, share : ndarray, shape (n_lobes,)
        Mean cosine of each Henyey-Greenstein lobe, and the share of scattered light in it [-].
    """
    out = _exits(mu_a, mu_s, g, share, thickness, index, card, seat == "wet", EDGES, photons, seed)
    middle = np.concatenate(([0.0], 0.5 * (EDGES[1:] + EDGES[:-1])))
    total = out.sum()
    return np.array([np.sum(out[: middle.size] * overlap(middle, 0.5 * a, 0.5 * b)) / total for a, b in spots])


def main() -> None:
    """Compare with photons followed by another program."""
    from edge_loss import NAMED, follow

    for name, slab in NAMED.items():
        spots = ((4.0, 8.0), (8.0, 8.0))
        exits = follow(slab, photons=200_000, seed=3)
        here = read_over_wide(
            mu_a=slab.absorption, mu_s=slab.scattering, g=np.array([slab.g]), share=np.ones(1),
            thickness=slab.thickness, index=slab.index, card=slab.card, seat=slab.seat, spots=spots,
            photons=400_000, seed=4,
        )  # fmt: skip
        there = [exits.read(*spot) / exits.total for spot in spots]
        print(f"{name}: {np.round(here, 4)} here, {np.round(there, 4)} by edge_loss.py")


if __name__ == "__main__":
    main()
