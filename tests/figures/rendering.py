"""Speed and size of pictures, always as a ratio to a baseline measured in the same run.

    python tests/figures/rendering.py [pixels] [meshes] [sheets]

pixels  a 2000 x 2000 map of thickness to an image, against one numpy.take of the same size; the cost of the table
meshes  triangles to a view of 1000 x 1000 pixels, how it grows with triangles and with pixels
sheets  bytes of the approval page and its PDF, without and with a part
"""

from __future__ import annotations

import functools
import sys
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np

from tint.appearance import Setting
from tint.fitting import fit_palette
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs.approval import Asked, approval
from tint.proofs.approval_page import approval_page, approval_pdf
from tint.proofs.part import Part, part_of
from tint.proofs.part_picture import Shown
from tint.proofs.portrait import View, light_of, portrait_of, view_of
from tint.proofs.render import colour_table, deep_levels, levels_at, light_at, to_levels
from tint.swatches import read_folder

DEMO = Path(__file__).resolve().parents[2] / "swatches_demo"
MIX = Blend("clear", {"white": 0.25, "green": 0.05})
WALL = Setting(thickness_mm=2.6)


def best(call: Callable[[], object], *, times: int = 5) -> float:
    """Shortest of several runs, in time of one processor [s]: the machine may be busy with other things."""
    spent = []
    for _ in range(times):
        start = time.process_time()
        call()
        spent.append(time.process_time() - start)
    return min(spent)


def pixels(palette: Palette) -> None:
    """Thickness to colour."""
    depth = np.random.default_rng(1).uniform(0.0, 6.0, (2000, 2000))
    table = colour_table(palette, MIX, setting=WALL, upto_mm=6.0)
    rows = (depth / 6.0 * (table.levels.shape[0] - 1)).astype(np.intp)
    take = best(lambda: np.take(table.levels, rows, axis=0))
    print(f"\n2000 x 2000 pixels; one numpy.take of three channels: {1e3 * take:.0f} ms")
    ways = {"8 bits": levels_at, "16 bits": lambda table, depth: deep_levels(light_at(table, depth))}
    for name, look_up in ways.items():
        spent = best(functools.partial(look_up, table, depth))
        speed = depth.size / 1e6 / spent
        print(f"  {name}: {1e3 * spent:.0f} ms, {speed:.0f} megapixels a second, {spent / take:.1f} takes")
    spent = best(lambda: colour_table(palette, MIX, setting=WALL, upto_mm=6.0))
    print(f"  the table: {1e3 * spent:.0f} ms, {table.levels.shape[0]} rows")


def meshes(palette: Palette) -> None:
    """Triangles to a picture."""
    import trimesh

    print("\ntriangles  pixels   thickness and normals [s]  coloured picture [s]")
    sphere = np.asarray(trimesh.creation.uv_sphere(radius=20.0, count=[224, 224]).triangles)
    kinds = {
        (224, 1000): sphere,
        (112, 1000): np.asarray(trimesh.creation.uv_sphere(radius=20.0, count=[112, 112]).triangles),
        (56, 1000): np.asarray(trimesh.creation.uv_sphere(radius=20.0, count=[56, 56]).triangles),
        (224, 500): sphere,
        (224, 2000): sphere,
    }
    for (_, size), corners in kinds.items():
        part = part_of(corners)
        view = view_of(part, pixels=size)

        def see(part: Part = part, size: int = size) -> object:
            return view_of(part, pixels=size)

        def colour(view: View = view) -> object:
            portrait = portrait_of(view)
            table = colour_table(palette, MIX, setting=WALL, upto_mm=portrait.upto_mm)
            return to_levels(light_of(portrait, table))

        print(f"{len(corners):9d}  {size:4d}^2  {best(see, times=2):25.2f}  {best(colour, times=2):20.2f}")


def sheets(palette: Palette) -> None:
    """Bytes of what is sent."""
    import trimesh

    part = part_of(np.asarray(trimesh.creation.icosphere(5, 20.0).triangles))
    shown = Shown(view=view_of(part, pixels=1120), named="Ball from the top", volume_cm3=part.volume_cm3)
    asked = Asked(name="Lichen", words="Like the moss on the north wall.", made=date(2026, 3, 2))
    print("\nsheet         page [kB]   PDF [kB]")
    for name, each in {"plain": None, "with a part": shown}.items():
        sheet = approval(palette, MIX, setting=WALL, asked=asked, shown=each)
        print(f"{name:12}  {len(approval_page(sheet)) / 1e3:9.0f}  {len(approval_pdf(sheet)) / 1e3:9.0f}")


if __name__ == "__main__":
    fitted = fit_palette(read_folder(DEMO), optics="many-flux")
    parts = {"pixels": pixels, "meshes": meshes, "sheets": sheets}
    for chosen in sys.argv[1:] or list(parts):
        parts[chosen](fitted)
