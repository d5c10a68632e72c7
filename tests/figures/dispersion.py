"""What the dispersion of the index does to colours, which tint takes for one and the same at all wavelengths.

`python tests/figures/dispersion.py` prints CIEDE2000 (D65, 10 degrees) between drawn layers, clear to opaque, with and
without it, over a black and a white card. The index runs as that of two-part silicone, moved to 1.41 at 550 nm. What a
fit leaves of it: `python tests/figures/workshops.py SEEDS --dispersion`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from random_workshops import index_away
from random_workshops import wavelengths as of_bench

from tint import colorimetry
from tint.optics.layer import Optics, reflectance

Array = NDArray[np.float64]

WAVELENGTHS = of_bench()
INDEX, COUNT, SEED = 1.41, 200, 1


def main() -> None:
    rng = np.random.default_rng(SEED)
    view = colorimetry.viewing(WAVELENGTHS)
    # Bands of absorption on a level of scattering that falls with wavelength.
    centre, width = rng.uniform(400.0, 700.0, (COUNT, 1)), rng.uniform(30.0, 80.0, (COUNT, 1))
    level = np.exp(rng.uniform(np.log(0.005), np.log(3.0), (COUNT, 1)))
    K = 0.005 + level * np.exp(-0.5 * ((WAVELENGTHS - centre) / width) ** 2)
    K += np.exp(rng.uniform(np.log(0.001), np.log(3.0), (COUNT, 1)))
    S = np.exp(rng.uniform(np.log(0.01), np.log(10.0), (COUNT, 1))) * (550.0 / WAVELENGTHS)
    M, thickness = S / (1.0 - rng.uniform(0.4, 0.8, (COUNT, 1))), rng.uniform(1.0, 6.0, (COUNT, 1))
    for geometry in ("di:8", "de:8"):
        away = []
        for card in (0.05, 0.88):
            plain = _read(K, S, M, thickness, card, np.full(WAVELENGTHS.size, INDEX), geometry)
            real = _read(K, S, M, thickness, card, INDEX + index_away(), geometry)
            away.append(colorimetry.difference(colorimetry.lab(plain, view), colorimetry.lab(real, view)))
        found = np.concatenate(away)
        print(f"{geometry}: mean {found.mean():.3f}, 95 % {np.percentile(found, 95):.3f}, worst {found.max():.3f}")


def _read(K: Array, S: Array, M: Array, thickness: Array, card: float | Array, n: Array, geometry: str) -> Array:
    columns = []
    for at, each in enumerate(n.tolist()):
        optics = Optics(model="many-flux", refractive_index=each, geometry=geometry)
        one = slice(at, at + 1)
        columns.append(
            reflectance(
                K[:, one],
                S[:, one],
                M[:, one],
                thickness=thickness,
                backing=np.broadcast_to(card, n.shape)[one],
                optics=optics,
            )
        )
    return np.concatenate(columns, axis=1)


if __name__ == "__main__":
    main()
