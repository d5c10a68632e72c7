"""The invented studio's stock: two bases, eight pigment pastes and two cards, as they act on light.

The spectra are made up from edges and bells, in sensible sizes: by a Mie computation 0.1 % of well dispersed
rutile scatters about 2.4/mm, so 1 % of a paste with 40 % rutile, half of it in clumps, scatters about 5/mm.
The coloured pastes scatter less, the blue and the green hardly at all.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from slab import phase_moments

Array = NDArray[np.float64]

WAVELENGTHS: Array = np.arange(400.0, 701.0, 10.0)  # nm


def edge(wavelengths: Array, at: float, width: float) -> Array:
    """One below the wavelength `at`, zero above it, smooth over a few `width` [nm]."""
    return 1 / (1 + np.exp((wavelengths - at) / width))


def band(wavelengths: Array, at: float, width: float) -> Array:
    """Return a bell of height one at the wavelength `at`, with standard deviation `width` [nm]."""
    return np.exp(-0.5 * ((wavelengths - at) / width) ** 2)


@dataclass(frozen=True, kw_only=True)
class Matter:
    """What one percent of a paste, or a whole base, adds to the light's path.

    Attributes
    ----------
    absorb
        Wavelengths [nm] -> absorption coefficient mu_a [1/mm].
    scatter
        Reduced scattering coefficient mu_s' at 550 nm [1/mm].
    slope
        Power by which mu_s' falls with wavelength.
    g
        Mean cosine of its scattering.
    n
        Refractive index; only a base's counts.
    """

    absorb: Callable[[Array], Array]
    scatter: float
    slope: float
    g: float
    n: float = 1.0


BASES = {
    "clear": Matter(absorb=lambda w: 0.002 + 0.004 * edge(w, 430, 15), scatter=0.010, slope=2.0, g=0.70, n=1.41),
    "milky": Matter(absorb=lambda w: 0.004 + 0.030 * edge(w, 435, 25), scatter=0.55, slope=0.9, g=0.75, n=1.42),
}

PIGMENTS = {
    "white": Matter(absorb=lambda w: 0.0015 + 2 * edge(w, 395, 6), scatter=5.0, slope=0.8, g=0.50),
    "yellow": Matter(absorb=lambda w: 0.008 + 13 * edge(w, 489, 8), scatter=1.7, slope=0.5, g=0.55),
    "ochre": Matter(
        absorb=lambda w: 0.02 + 7 * edge(w, 508, 20) + 0.15 * edge(w, 600, 25), scatter=2.2, slope=0.4, g=0.60
    ),
    "red": Matter(
        absorb=lambda w: 0.012 + 12 * edge(w, 583, 7) * (1 - 0.35 * band(w, 430, 30)),
        scatter=1.2,
        slope=0.6,
        g=0.70,
    ),
    "rose": Matter(
        absorb=lambda w: 0.03 + 13 * band(w, 535, 38) + 3 * band(w, 400, 35), scatter=0.40, slope=1.0, g=0.80
    ),
    "blue": Matter(
        absorb=lambda w: 0.06 + 14 * band(w, 620, 45) + 7 * band(w, 695, 40) + 1.2 * band(w, 390, 30),
        scatter=0.30,
        slope=1.2,
        g=0.80,
    ),
    "green": Matter(
        absorb=lambda w: 0.08 + 11 * band(w, 640, 45) + 6 * band(w, 705, 45) + 8 * band(w, 420, 38),
        scatter=0.22,
        slope=1.2,
        g=0.85,
    ),
    "black": Matter(absorb=lambda w: 28 * (550 / w) ** 0.9, scatter=1.2, slope=1.0, g=0.35),
}

BACKINGS: dict[str, Array] = {
    "black": 0.046 - 0.006 * edge(WAVELENGTHS, 450, 40),
    "white": 0.886 - 0.02 * edge(WAVELENGTHS, 470, 30) - 0.25 * edge(WAVELENGTHS, 400, 9),
}


def coefficients(base: str, loadings: Mapping[str, float], *, back_lobe: float = 0.0) -> tuple[Array, Array, Array]:
    """mu_a and mu_s [1/mm] and the phase moments of a blend; each is exactly additive.

    `loadings` are in percent by mass of the mix; the base has the rest of it. Shapes (wavelengths,),
    (wavelengths,) and (wavelengths, QUADRATURE + 1).
    """
    parts = [(BASES[base], 1 - sum(loadings.values()) / 100)]
    parts += [(PIGMENTS[name], loading) for name, loading in loadings.items()]
    mu_a = np.sum([c * part.absorb(WAVELENGTHS) for part, c in parts], axis=0)
    each = np.array([c * part.scatter * (550 / WAVELENGTHS) ** part.slope / (1 - part.g) for part, c in parts])
    moments = np.array([phase_moments(part.g, back_lobe=back_lobe) for part, _ in parts])
    mu_s = each.sum(axis=0)
    return mu_a, mu_s, (each.T @ moments) / mu_s[:, None]
