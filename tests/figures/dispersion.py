"""What the dispersion of the index does to colours, which tint takes for one and the same at all wavelengths.

`python tests/figures/dispersion.py` prints CIEDE2000 (D65, 10 degrees) between drawn layers, clear to opaque, with and
without it, over a black and a white card; and how far blends of the studio of `tests/synthetic.py` are foretold wrongly
once a fit without it has learnt from castings with it. The index runs as that of two-part silicone (Schneider et al.
2009, Sens. Actuators A 151, 95), moved to 1.41 at 550 nm.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.fitting import fit_palette
from tint.materials import Blend
from tint.optics.layer import Optics, reflectance

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import synthetic

Array = NDArray[np.float64]

WAVELENGTHS = np.arange(400.0, 701.0, 10.0)
INDEX, COUNT, SEED = 1.41, 200, 1


FRESH = (
    synthetic.Cast("cream", "clear", 2.5, {"white": 0.3, "yellow": 0.15}),
    synthetic.Cast("sky", "clear", 3.0, {"white": 0.4, "blue": 0.08}),
    synthetic.Cast("bottle", "clear", 2.0, {"yellow": 0.2, "blue": 0.1}),
    synthetic.Cast("ink", "clear", 3.0, {"blue": 0.45}),
    synthetic.Cast("glass", "clear", 1.5, {"blue": 0.02}),
    synthetic.Cast("moss", "milky", 3.0, {"yellow": 0.2, "blue": 0.05}),
)


def _index(wavelengths: Array) -> Array:
    """n(L) with n^2 = 1 + 1.0093 L^2 / (L^2 - 0.013185), L in um, moved to INDEX at 550 nm."""
    square = (wavelengths / 1000.0) ** 2
    run = np.sqrt(1.0 + 1.0093 * square / (square - 0.013185))
    return np.asarray(INDEX + run - run[np.argmin(np.abs(wavelengths - 550.0))])


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
            real = _read(K, S, M, thickness, card, _index(WAVELENGTHS), geometry)
            away.append(colorimetry.difference(colorimetry.lab(plain, view), colorimetry.lab(real, view)))
        found = np.concatenate(away)
        print(f"{geometry}: mean {found.mean():.3f}, 95 % {np.percentile(found, 95):.3f}, worst {found.max():.3f}")
    fitted()


def fitted() -> None:
    """Print what is left of it in blends that a fit has not seen."""
    wavelengths, cards = synthetic.WAVELENGTHS, synthetic.BACKINGS
    view = colorimetry.viewing(wavelengths)

    def read(cast: synthetic.Cast, card: str, n: Array) -> Array:
        amounts = synthetic.mixture(cast.base, cast.loadings)
        M = (amounts / (1.0 - synthetic.TRUE_G)) @ synthetic.TRUE_S
        layer = (amounts @ synthetic.TRUE_K)[None], (amounts @ synthetic.TRUE_S)[None], M[None]
        return np.asarray(_read(*layer, np.array([[cast.thickness_mm]]), cards[card], n, "di:8")[0])

    studio = synthetic.studio(backings=("black", "white"))
    casts = {cast.name: cast for cast in synthetic.CASTS}
    for name, run in (("with", 1.0), ("without", 0.0)):
        n = {base: each.refractive_index + run * (_index(wavelengths) - INDEX) for base, each in studio.bases.items()}
        learnt = replace(
            studio,
            readings=tuple(
                replace(each, values=read(casts[each.swatch], each.backing, n[casts[each.swatch].base]))
                for each in studio.readings
            ),
        )
        palette = fit_palette(learnt)
        away = []
        for cast in FRESH:
            for card in cards:
                said = predict(
                    palette, Blend(cast.base, cast.loadings), setting=Setting(thickness_mm=cast.thickness_mm, over=card)
                )
                true = colorimetry.lab(read(cast, card, n[cast.base]), view)
                away.append(float(colorimetry.difference(said.lab, true)))
        print(f"fitted to castings {name} it: new blends are off by {np.mean(away):.3f}, {np.max(away):.3f} at most")


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
