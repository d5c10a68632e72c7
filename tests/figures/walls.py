"""Walls and volumes of ten parts against exact geometry, and what many triangles cost.

python tests/figures/walls.py
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path

import numpy as np
import trimesh

from tint.proofs.part import part_of
from tint.proofs.walls import walls_of

sys.path.insert(0, str(Path(__file__).parents[1]))

from parts import revolved, ten_parts


def main() -> None:
    """Print both tables."""
    print(f"{'part':22} {'thinnest':>8} {'exact':>7} {'median':>8} {'exact':>7} {'cm3':>8} {'exact':>8} {'s':>5}")
    for name, known in ten_parts().items():
        start = time.process_time()
        walls, part = walls_of(known.triangles), part_of(known.triangles)
        took = time.process_time() - start
        print(
            f"{name:22} {walls.thinnest_mm:8.3f} {known.thinnest_mm:7.3f} {walls.median_mm:8.3f} "
            f"{known.median_mm:7.3f} {part.volume_cm3:8.3f} {known.volume_cm3:8.3f} {took:5.1f}"
        )
    slant = [(10.0 * share, 60.0 - 60.0 * share) for share in np.linspace(1.0, 0.0, 251)]
    tori = [
        np.asarray(trimesh.creation.torus(30.0, 8.0, major_sections=around, minor_sections=across).triangles)
        for around, across in ((500, 200), (1250, 400))
    ]
    for name, triangles in (*(("torus", each) for each in tori), ("cone", revolved([(0.0, 0.0), *slant], 400))):
        start = time.process_time()
        walls_of(triangles)
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
        took = time.process_time() - start
        print(f"{name} of {len(triangles):,} triangles: {took:.1f} s, {most:.0f} MB of memory at most")


if __name__ == "__main__":
    main()
