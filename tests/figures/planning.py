"""Held-out error against the number of castings: planned by tint, by a usual ladder, and at random.

    python tests/figures/planning.py [--count 16]

One workshop, one luck. Every way begins with the same few castings, two of each base and one of each pigment. The
ladder then follows the demo's own plan in the order a studio would pour it (pigment by pigment); random draws from the
same castings that tint may choose from. Held-out castings are those of bench.py; each way is fitted anew at each count.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import bench
import numpy as np
import pour
from held_out import judge
from numpy.typing import NDArray

from tint.fitting import fit_palette
from tint.materials import Blend
from tint.palette import Palette
from tint.planning import next_swatches, offers
from tint.swatches import SwatchFolder, read_folder

Array = NDArray[np.float64]

COUNTS = (12, 16, 20, 26, 32, 40, 50)
MOULDS = (1.0, 2.0, 3.0, 5.0)
Order = pour.Order
Next = Callable[[Palette, list[Order], int], list[Order]]


def poured(orders: list[Order]) -> SwatchFolder:
    """A folder of these castings, poured and read by the demo's studio."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        bench.pour_folder(folder)
        filled = [pour.fill(replace(order, name=f"{at} {order.name}")) for at, order in enumerate(orders)]
        readings = [*pour._backing_rows(seed=pour.SEED, workshop=pour.STUDIO), *(r for _, rows in filled for r in rows)]
        pour._write(folder / "swatches.csv", pour.SWATCH_COLUMNS, [swatch for swatch, _ in filled])
        pour._write(folder / "readings.csv", pour.READING_COLUMNS, readings)
        return read_folder(folder)


def beginning(folder: SwatchFolder) -> list[Order]:
    orders = [
        Order(name=f"{base}-{mm:g}", base=base, mould_mm=mm, loadings={}) for base in folder.bases for mm in (2.0, 5.0)
    ]
    for name, pigment in folder.pigments.items():
        base = "milky" if pigment.cures == ("condensation",) else "clear"
        orders.append(Order(name=name, base=base, mould_mm=2.0, loadings={name: 0.1 * (pigment.max_loading or 1.0)}))
    return orders


def order_of(blend: Blend, mould: float) -> Order:
    return Order(name=str(blend), base=blend.base, mould_mm=mould, loadings=dict(blend.loadings))


def planned(palette: Palette, orders: list[Order], wanted: int) -> list[Order]:
    plan = next_swatches(palette, count=wanted - len(orders), thicknesses_mm=MOULDS)
    return [order_of(casting.blend, casting.thickness_mm) for casting in plan.castings]


def laddered(palette: Palette, orders: list[Order], wanted: int) -> list[Order]:
    rest = [order for order in pour.plan() if order.loadings]
    done = len(orders) - len(beginning_cache)
    return rest[done : done + wanted - len(orders)]


def at_random(palette: Palette, orders: list[Order], wanted: int) -> list[Order]:
    rng = np.random.default_rng(len(orders))
    drawn = []
    for _ in range(wanted - len(orders)):
        base = str(rng.choice(list(palette.bases)))
        choice = offers(palette, base)
        drawn.append(order_of(choice[int(rng.integers(len(choice)))], float(rng.choice(MOULDS))))
    return drawn


beginning_cache: list[Order] = []


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=16)
    args = parser.parse_args()
    demo = read_folder(bench.DEMO)
    samples = [s for kind in bench.KINDS for s in bench.held_out(kind, args.count, 77)]
    beginning_cache.extend(beginning(demo))
    ways: dict[str, Next] = {"planned": planned, "ladder": laddered, "random": at_random}
    print(f"{len(samples)} held-out castings over black and white; CIEDE2000 mean and 95th percentile")
    print("castings" + "".join(f"{name:>16s}" for name in ways))
    state = {name: list(beginning_cache) for name in ways}
    palettes = {name: fit_palette(poured(orders)) for name, orders in state.items()}
    for wanted in COUNTS:
        line = f"{wanted:8d}"
        for name, way in ways.items():
            if wanted > len(state[name]):
                state[name] += way(palettes[name], state[name], wanted)
                palettes[name] = fit_palette(poured(state[name]))
            away, _, _ = judge(palettes[name], samples)
            line += f"     {away.mean():5.2f} {np.quantile(away, 0.95):5.2f}"
        print(line, flush=True)


if __name__ == "__main__":
    main()
