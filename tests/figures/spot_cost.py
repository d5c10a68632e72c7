"""What the spot costs: reflectance with slopes of a folder's readings, with the spot over without, in one run.

`python tests/figures/spot_cost.py` prints the ratio of processor times; 75 castings over two cards, 31 wavelengths.
"""

from __future__ import annotations

from time import process_time

import numpy as np

from tint import forward
from tint.optics.layer import Optics
from tint.optics.spot import Spot


def main() -> None:
    """Print processor times and their ratio."""
    rng = np.random.default_rng(1)
    castings, wavelengths = 75, 31
    mixed = np.exp(rng.uniform(-4.0, 2.0, size=(4, castings, wavelengths)))
    mixed[2] = mixed[1] / (1.0 - rng.uniform(0.3, 0.85, size=mixed[1].shape))
    mixed[3] = mixed[2] * rng.uniform(0.2, 0.6, size=mixed[1].shape)
    thickness = rng.uniform(1.0, 8.0, castings)
    readings = forward.Readings(
        casting=np.repeat(np.arange(castings), 2),
        backing=np.tile([0, 1], castings),
        wet=np.zeros(2 * castings, bool),
        base=np.zeros(2 * castings, dtype=np.int64),
        backings=np.array([[0.05], [0.88]]) * np.ones(wavelengths),
    )
    both = [Optics(model="many-flux", spot=spot) for spot in (None, Spot(seen_mm=8.0, lit_mm=8.0))]
    times = []
    for _ in range(400):  # in turns, so that another job on the machine slows both alike
        each = []
        for optics in both:
            start = process_time()
            forward.read(readings, mixed, thickness, optics=(optics,), index=np.array([1.412]))
            each.append(process_time() - start)
        times.append(each)
    # What other jobs disturb least, and what they disturb alike.
    (alone, with_spot), by_turns = np.min(times, axis=0), np.median(np.divide(*np.transpose(times)[::-1]))
    best = f"wide {1e3 * alone:.1f} ms, spot {1e3 * with_spot:.1f} ms, ratio {with_spot / alone:.2f}"
    print(f"best of {len(times)}: {best}; median of the ratio in turns {by_turns:.2f}")


if __name__ == "__main__":
    main()
