"""A stock whose pigments scatter as Mie's theory has it, for the bench of random workshops. Needs miepython.

Nothing here is a Henyey-Greenstein lobe: every particle has the phase function that its size and its complex index
give it, and absorption and scattering come from the same index, so that s runs to and fro about an absorption band.
Spheres of lognormal sizes in rubber of index 1.41, far enough apart to scatter alone.

References
----------
Rutile, ordinary ray: DeVore (1951), J. Opt. Soc. Am. 41, 416, from memory. Carbon black, 1.95 - 0.79i: Bond and
Bergstrom (2006), Aerosol Sci. Technol. 40, 27, from memory. Colours are invented: Lorentz oscillators on a constant,
so that index and absorption belong together. What share of a paste is pigment, and how large its particles are: common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import miepython
import numpy as np
import random_workshops as bench
from numpy.polynomial.legendre import leggauss, legvander
from numpy.typing import NDArray
from slab import QUADRATURE

Array = NDArray[np.float64]

RUBBER, RUBBER_DENSITY = 1.41, 1.08  # index [-] and density [g/cm3]
_SIZES, _DIRECTIONS = 7, 96
UM = 1000.0  # nm in one


def workshop_of(seed: int, *, plan: str | None = None) -> bench.Workshop:
    """The workshop of this seed with the pigments and bases of this stock in the place of its own."""
    drawn = bench.draw(seed, plan=plan)
    rng = np.random.default_rng([seed, 11])
    return replace(
        drawn,
        pigments={name: _pigment(name, rng) for name in drawn.pigments},
        bases={name: _base(each, rng) for name, each in drawn.bases.items()},
        back_lobe=0.0,
        stock="mie",
    )


def _pigment(name: str, rng: np.random.Generator) -> bench.Component:
    w = bench.wavelengths()
    if name == "white":
        square = (w / UM) ** 2
        index = np.sqrt(5.913 + 0.2441 / (square - 0.0803)) - 0.002j * np.exp((400.0 - w) / 12.0)
        return _paste(index, rng.uniform(0.20, 0.30), density=4.2, share=rng.uniform(0.3, 0.5), rng=rng)
    if name == "black":
        index = np.full(w.size, 1.95 - 0.79j)
        return _paste(index, rng.uniform(0.06, 0.20), density=1.8, share=rng.uniform(0.1, 0.25), rng=rng)
    if rng.random() < 0.35:  # an earth: high index, an edge from the ultraviolet on
        index = _lorentz(
            w, rng.uniform(4.2, 5.2), [(rng.uniform(380, 470), rng.uniform(90, 160), rng.uniform(0.3, 0.9))]
        )
        return _paste(index, rng.uniform(0.12, 0.35), density=4.5, share=rng.uniform(0.3, 0.5), rng=rng)
    middle = rng.uniform(400, 650)
    bands = [(middle, rng.uniform(50, 110), rng.uniform(0.2, 0.7))]
    if rng.random() < 0.5:
        bands.append((middle + rng.uniform(-90, 90), rng.uniform(50, 110), rng.uniform(0.05, 0.3)))
    index = _lorentz(w, rng.uniform(2.2, 2.9), bands)
    return _paste(index, rng.uniform(0.05, 0.25), density=1.5, share=rng.uniform(0.15, 0.35), rng=rng)


def _base(drawn: bench.Component, rng: np.random.Generator) -> bench.Component:
    """The haze of silica in rubber, as strong at 550 nm as the bench draws it; it absorbs as drawn."""
    index = np.full(bench.wavelengths().size, rng.uniform(1.44, 1.46) + 0j)
    haze = _paste(index, rng.uniform(0.15, 0.5), density=2.2, share=1.0, rng=rng)
    middle = int(np.argmin(np.abs(bench.wavelengths() - 550.0)))
    return replace(haze, mu_a=drawn.mu_a, mu_s=haze.mu_s * (drawn.mu_s[middle] / haze.mu_s[middle]))


def _lorentz(w: Array, constant: float, bands: Iterable[tuple[float, float, float]]) -> NDArray[np.complex128]:
    """Complex index n - ik of oscillators: of each its middle and width [nm], and about the k that it peaks at."""
    energy = 1.0 / w
    square = np.full(w.size, constant, dtype=complex)
    for middle, width, peak in bands:
        own, damping = 1.0 / middle, width / middle**2
        strength = 2.0 * np.sqrt(constant) * peak * own * damping
        square += strength / (own**2 - energy**2 + 1j * energy * damping)
    root: NDArray[np.complex128] = np.sqrt(square)
    return root


def _paste(
    index: NDArray[np.complex128], diameter: float, *, density: float, share: float, rng: np.random.Generator
) -> bench.Component:
    """What one percent of a paste does, its particles of this median diameter [um] and shares by mass in it."""
    w, spread = bench.wavelengths(), np.log(rng.uniform(1.25, 1.6))
    nodes, weights = np.polynomial.hermite_e.hermegauss(_SIZES)
    weights = weights / weights.sum()
    diameters = diameter * np.exp(spread * nodes)
    cosines, of_cosine = leggauss(_DIRECTIONS)
    polynomials = legvander(cosines, QUADRATURE)
    taken, scattered, moments = np.zeros(w.size), np.zeros(w.size), np.zeros((w.size, QUADRATURE + 1))
    for size, number in zip(diameters, weights, strict=True):
        area = number * np.pi * size**2 / 4.0
        for at, wavelength in enumerate(w):
            relative, x = complex(index[at]) / RUBBER, np.pi * size * RUBBER / (wavelength / UM)
            extinction, scattering, _, _ = miepython.efficiencies_mx(relative, x)
            seen = miepython.i_unpolarized(relative, x, cosines, norm="one") * 2.0 * np.pi
            taken[at] += area * (extinction - scattering)
            scattered[at] += area * scattering
            moments[at] += area * scattering * ((of_cosine * seen) @ polynomials)
    volume = float(weights @ diameters**3) * np.pi / 6.0
    filled = 0.01 * share * RUBBER_DENSITY / density  # of the mix, by volume, for one percent of paste
    per_mm = filled / volume * UM
    moments /= moments[:, :1]
    moments[:, -1] = np.maximum(moments[:, -1], 0.0)  # what delta-M cuts off, and rounding leaves below nothing
    return bench.Component(
        mu_a=np.maximum(taken, 0.0) * per_mm + 1e-3, mu_s=scattered * per_mm, g=moments[:, 1], moments=moments
    )


def main() -> None:
    """What Mie's theory makes of the numbers that a fit has priors of, over the pigments of some workshops."""
    w = bench.wavelengths()
    bends, moments, slopes = [], [], []
    for seed in range(1010, 1022):
        workshop = workshop_of(seed)
        for part in (*workshop.bases.values(), *workshop.pigments.values()):
            assert part.moments is not None
            s = 0.75 * part.mu_s * (1.0 - part.g)
            bends.append(np.diff(np.log(s), 2)[s[1:-1] > 0.05 * s.mean()])
            moments.append((part.moments[:, 2] - part.g**2) / (1.0 - part.g**8))
            slopes.append(np.polyfit(np.log(w / 550.0), part.g, 1)[0])
    every = np.abs(np.concatenate(bends))
    print(f"{len(moments)} components of 12 workshops")
    print(f"second difference of log s over 10 nm: root mean square {np.sqrt(np.mean(every**2)):.3f}, "
          f"{np.quantile(every, 0.9):.3f} in 90 and {np.quantile(every, 0.99):.3f} in 99 of 100 places")  # fmt: skip
    mean = np.array([each.mean() for each in moments])
    print(f"e of the second moment: root mean square {np.sqrt(np.mean(mean**2)):.3f}, from {mean.min():.3f} to "
          f"{mean.max():.3f}; {np.mean([each.std() for each in moments]):.3f} along wavelength")  # fmt: skip
    print(f"slope of g by the logarithm of wavelength: root mean square {np.sqrt(np.mean(np.square(slopes))):.2f}")


if __name__ == "__main__":
    main()
