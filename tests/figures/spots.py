"""What a spot loses: the model against photons followed in three dimensions, over layers drawn from clear to hiding.

The photons are those of `edge_loss.py`, which imports nothing of tint. `python tests/figures/spots.py` prints the
error in reflectance for each spot, of the model and of a model that knows of no spot.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from typing import Any

import numpy as np
from edge_loss import SLANT, Slab, follow, unpolarised
from numpy.typing import NDArray

Array = NDArray[np.float64]

SPOTS = ((4.0, 8.0), (8.0, 8.0), (8.0, 14.0), (4.0, 4.0))  # mm seen, mm lit


def drawn(count: int, *, seed: int) -> list[Slab]:
    """Layers from clear to opaque, 1 to 8 mm thick, over a black or a white card, seated either way."""
    rng = np.random.default_rng(seed)
    slabs = []
    for _ in range(count):
        g = float(rng.uniform(0.0, 0.9))
        slabs.append(
            Slab(
                absorption=float(np.exp(rng.uniform(np.log(0.002), np.log(1.0)))),
                scattering=float(np.exp(rng.uniform(np.log(0.01), np.log(30.0)))) / (1.0 - g),
                g=g,
                thickness=float(rng.uniform(1.0, 8.0)),
                card=float(rng.choice([0.05, 0.88])),
                seat=str(rng.choice(["air", "wet"])),
            )
        )
    return slabs


def judged(numbered: tuple[int, Slab], *, photons: int) -> tuple[Array, Array, Array]:
    """For each of SPOTS: read by photons, as modelled, and as modelled without a spot [-]; shape (n_spots,) each."""
    from tint.optics.layer import Optics, reflectance
    from tint.optics.spot import Spot

    number, slab = numbered
    exits = follow(slab, photons=photons, seed=1000 + number)
    layer: dict[str, Any] = {
        "K": np.array([2.0 * slab.absorption]),
        "S": np.array([0.75 * slab.scattering * (1.0 - slab.g)]),
        "M": np.array([0.75 * slab.scattering]),
        "thickness": slab.thickness,
        "backing": np.array([slab.card]),
        "seat": slab.seat,
    }
    gloss = float(unpolarised(1.0, slab.index, np.cos([SLANT]))[0])
    wide = float(reflectance(**layer, optics=Optics(model="many-flux", refractive_index=slab.index))[0])
    modelled = [
        float(
            reflectance(
                **layer,
                optics=Optics(model="many-flux", refractive_index=slab.index, spot=Spot(seen_mm=seen, lit_mm=lit)),
            )[0]
        )
        for seen, lit in SPOTS
    ]
    # Every number of photons errs alike for the spot and for the wide layer, so that their ratio errs less.
    read = [gloss + (wide - gloss) * exits.read(seen, lit) / exits.total for seen, lit in SPOTS]
    return np.array(read), np.array(modelled), np.full(len(SPOTS), wide)


def main() -> None:
    """Print the errors."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--seed", type=int, default=31)
    asked.add_argument("--count", type=int, default=60)
    asked.add_argument("--photons", type=int, default=100_000)
    asked.add_argument("--workers", type=int, default=1)
    given = asked.parse_args()
    slabs = drawn(given.count, seed=given.seed)
    with ProcessPoolExecutor(given.workers) as pool:
        found = np.array(list(pool.map(partial(judged, photons=given.photons), enumerate(slabs))))
    read, modelled, wide = np.moveaxis(found, 1, 0)
    print(f"{given.count} layers, {given.photons} photons each; error in reflectance: median, 95 %, worst")
    for at, (seen, lit) in enumerate(SPOTS):
        loss = np.median((wide - read)[:, at]), (wide - read)[:, at].max()
        print(f"{seen:g} mm seen of {lit:g} mm: lost {loss[0]:.4f}, at most {loss[1]:.4f};"
              f" model {_three((modelled - read)[:, at])}; no spot {_three((wide - read)[:, at])}")  # fmt: skip
    print(f"all: model {_three((modelled - read).ravel())}")
    for at in np.argsort(-np.abs(modelled - read).max(axis=1))[:4]:
        print(f"  {slabs[at]}: {np.round(modelled[at] - read[at], 4)}")


def _three(error: Array) -> str:
    size = np.abs(error)
    return f"{np.median(size):.4f} {np.percentile(size, 95):.4f} {size.max():.4f}"


if __name__ == "__main__":
    main()
