"""The traced part held against the layer model, and what tracing costs. Needs the extra `trace`.

    python tests/figures/traced.py slabs [--paths 64] [--moment 0.1]
    python tests/figures/traced.py spots [--paths 64]
    python tests/figures/traced.py noise
    python tests/figures/traced.py memory

`slabs`: ten blends of the demo folder from clear to opaque, wide and 3 mm thick, in light from all around, at the few
wavelengths of each: reflectance over nothing and transmittance, traced, against many-flux, the second moment of each
component as fitted or so much above that of a Henyey-Greenstein lobe. `spots`: what a port of 8 mm loses, traced with a
black plate that has a hole and looked at from 8 degrees, against what `tint check` counts. `noise`: processor time of a
picture of a lid, and the noise that is left. `memory`: pictures of balls of 5,120 and 327,680 triangles and of a block
of 786,432.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tint import forward
from tint.appearance import Setting
from tint.fitting import fit_palette
from tint.glossary import SCENES
from tint.materials import Blend
from tint.optics import layer
from tint.optics.spot import Spot
from tint.palette import Palette
from tint.proofs.part import part_of
from tint.proofs.traced import paths, scenes
from tint.proofs.traced.picture import Quality, traced
from tint.proofs.traced.rubber import few_wavelengths, rubber_of
from tint.swatches import read_folder

Array = NDArray[np.float64]

ROOT = Path(__file__).resolve().parents[2]
WALL = Setting(thickness_mm=3.0)
BLENDS = [
    Blend("clear", {}), Blend("clear", {"blue": 0.05}), Blend("clear", {"red": 0.1}), Blend("clear", {"white": 0.02}),
    Blend("milky", {}), Blend("clear", {"white": 0.12, "green": 0.05, "ochre": 0.06}), Blend("milky", {"yellow": 0.1}),
    Blend("clear", {"white": 0.5}), Blend("clear", {"white": 0.3, "black": 0.05}), Blend("clear", {"white": 2.0}),
]  # fmt: skip
_FAR = 400.0  # mm
_SLANT = 8.0  # degrees from which an instrument looks
# The tracer starts rays off a face by 9e-5 of how far from the middle it lies (32 bits), and far out would leap over
# what lies nearer than that. A card and a port slope away from the slab by more.
_AWAY = 5e-4


def plate(half: float, z: float, thick: float) -> Array:
    """Where a cube becomes a plate whose upper face is at z, shape (4, 4)."""
    matrix = np.diag([half, half, 0.5 * thick, 1.0])
    matrix[2, 3] = z - 0.5 * thick
    return matrix


def eye(wide_mm: float, pixels: int) -> scenes.Objects:
    """An eye that looks at the middle of z = 0 as instruments do, without perspective."""
    slope = np.radians(_SLANT)
    one = np.array([[[0.0, 0.0, 0.0], [1e-3, 0.0, 0.0], [0.0, 1e-3, 0.0]]])
    towards = np.array([np.sin(slope), 0.0, np.cos(slope)])
    right = np.array([np.cos(slope), 0.0, -np.sin(slope)])
    up = np.array([0.0, 1.0, 0.0])
    placed = scenes.Placed(corners=one, normals=one, right=right, up=up, towards=towards)
    made = scenes.facing(placed, pixels=(pixels, pixels), mm_per_pixel=wide_mm / pixels, margin=0.0)
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2], matrix[:3, 3] = -right, up, -towards, 50.0 * towards
    return made | {"to_world": matrix @ np.diag([0.5 * wide_mm, 0.5 * wide_mm, 1.0, 1.0])}


def under(z: float, *, shines: bool) -> scenes.Objects:
    """What lies below a slab: a black trap, or a lamp."""
    made: dict[str, Any] = {"type": "rectangle", "to_world": plate(5.0 * _FAR, z, 2.0)}
    made["to_world"][2, 3] = z
    made["bsdf"] = {"type": "diffuse", "reflectance": 0.0}
    return made | ({"emitter": {"type": "area", "radiance": 1.0}} if shines else {})


def cone(inner: float, z: float, slope: float) -> scenes.Placed:
    """A nearly flat ring about z, from a radius out to where the slab ends."""
    angle = np.linspace(0.0, 2.0 * np.pi, 721)
    round_ = np.stack((np.cos(angle), np.sin(angle), np.zeros_like(angle)), axis=-1)
    near, far = inner * round_, _FAR * round_
    near[:, 2], far[:, 2] = z, z + slope * (_FAR - inner)
    corners = np.concatenate((
        np.stack((near[:-1], far[:-1], far[1:]), axis=1), np.stack((near[:-1], far[1:], near[1:]), axis=1)
    ))  # fmt: skip
    up = np.tile(np.array([0.0, 0.0, 1.0]), (*corners.shape[:2], 1))
    return scenes.Placed(corners=corners, normals=up, right=up[0, 0], up=up[0, 0], towards=up[0, 0])


def slabs(palette: Palette, each: int) -> None:
    """Print reflectance and transmittance, traced and told."""
    every, depth = [], WALL.thickness_mm
    for blend in BLENDS:
        few = few_wavelengths(palette, blend, setting=WALL, upto_mm=10.0)
        rubber = rubber_of(palette, blend).at(few.which)
        mixed = forward.mix(palette.coefficients, palette.shares(blend.base, palette.loadings(blend)))[:, few.which]
        optics = palette.optics(blend.base, geometry="di:8")
        begun, line = time.process_time(), []
        for through in (False, True):
            objects: scenes.Objects = {"under": under(-depth - 1.0, shines=through)}
            objects |= {} if through else {"air": {"type": "constant", "radiance": 1.0}}
            shape = {"type": "cube", "to_world": plate(_FAR, 0.0, depth)}
            on = paths.stage(rubber, shape, objects, eye(0.5, 24), surfaces={})
            seen = next(paths.follow(on, passes=1, paths=each, seed=11)).reshape(-1, few.which.size)
            error = seen.std(axis=0) / np.sqrt(len(seen))
            told = (
                layer.transmittance(*mixed, thickness=depth, optics=optics)
                if through
                else layer.reflectance(*mixed, thickness=depth, backing=None, optics=optics)
            )
            apart = seen.mean(axis=0) - told
            every.append(np.stack((apart, error)))
            line.append(
                f"{'T' if through else 'R'} {told.min():.3f} to {told.max():.3f}, most apart "
                f"{np.abs(apart).max():.4f}, noise {error.mean():.4f}, worst {np.abs(apart / error).max():.1f} sigma"
            )
        print(
            f"{blend}: {'; '.join(line)} ({few.which.size} wavelengths, {time.process_time() - begun:.0f} s)",
            flush=True,
        )
    apart, error = np.concatenate(every, axis=1)
    sigma = np.abs(apart / error)
    print(
        f"{apart.size} values: mean {apart.mean():+.5f}, rms {np.sqrt((apart**2).mean()):.4f}, noise "
        f"{error.mean():.4f}; worst {sigma.max():.1f} sigma, rms {np.sqrt((sigma**2).mean()):.2f} sigma"
    )


def spots(palette: Palette, each: int) -> None:
    """Print what a port of 8 mm loses, traced and told, at 550 nm over the white card."""
    for blend, depth in (
        (BLENDS[0], 5.0),
        (BLENDS[3], 3.0),
        (BLENDS[4], 3.0),
        (BLENDS[4], 8.0),
        (BLENDS[5], 3.0),
        (BLENDS[7], 3.0),
    ):
        print(spot(palette, blend, depth, each), flush=True)


def spot(palette: Palette, blend: Blend, depth: float, each: int) -> str:
    """What a port of 8 mm loses of one slab, in a line."""
    at = int(np.argmin(np.abs(palette.wavelengths - 550.0)))
    place = (np.arange(48) + 0.5) / 6.0 - 4.0
    aslant = np.cos(np.radians(_SLANT))
    disc = np.hypot(place[:, None], place[None, :] / aslant) < 3.87  # whose pixels lie in the port, corners and all
    seen_mm = 2.0 * float(np.sqrt(disc.sum() / 36.0 / aslant / np.pi))
    rubber = rubber_of(palette, blend).at(np.array([at]))
    mixed = forward.mix(palette.coefficients, palette.shares(blend.base, palette.loadings(blend)))[:, at]
    card = float(palette.backings[palette.white][at])
    wide = palette.optics(blend.base, geometry="di:8")
    small = replace(wide, spot=Spot(seen_mm=seen_mm, lit_mm=8.0))
    told = [float(layer.reflectance(*mixed, thickness=depth, backing=card, optics=port)) for port in (wide, small)]
    seen, errors = [], []
    with tempfile.TemporaryDirectory() as folder:
        for name, ring in (("port", cone(4.0, 0.01, _AWAY)), ("card", cone(0.0, -depth - 0.01, -_AWAY))):
            (Path(folder) / f"{name}.ply").write_bytes(paths.ply(ring))
        port: dict[str, Any] = {"type": "ply", "filename": f"{folder}/port.ply"}
        port |= {"bsdf": {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": 0.0}}}
        lying: dict[str, Any] = {"type": "ply", "filename": f"{folder}/card.ply"}
        lying |= {"bsdf": {"type": "diffuse", "reflectance": scenes.CARD}}
        for masked in (False, True):
            objects: scenes.Objects = {"card": lying, "air": {"type": "constant", "radiance": 1.0}}
            objects |= {"port": port} if masked else {}
            shape = {"type": "cube", "to_world": plate(_FAR, 0.0, depth)}
            on = paths.stage(rubber, shape, objects, eye(8.0, 48), surfaces={scenes.CARD: np.array([card])})
            picture = next(paths.follow(on, passes=1, paths=each, seed=12))[..., 0]
            seen.append(float(picture[disc].mean()))
            errors.append(float(picture[disc].std() / np.sqrt(disc.sum())))
    unsure = np.hypot(errors[0], errors[1])
    return (
        f"{blend}, {depth:g} mm, {seen_mm:.2f} mm seen: loses {seen[0] - seen[1]:.4f} +- "
        f"{unsure:.4f} traced, {told[0] - told[1]:.4f} told; wide {seen[0]:.4f} traced, {told[0]:.4f} told"
    )


def noise(palette: Palette) -> None:
    """Print processor time against what is left of the noise."""
    import trimesh

    outline = [[0.0, 0.0], [40.0, 1.6], [39.0, 2.6], [12.0, 2.6], [9.0, 14.0], [0.0, 14.0]]
    mesh: Any = trimesh.creation.revolve(np.array(outline), sections=240)
    part = part_of(np.asarray(mesh.triangles, dtype=float), name="lid.stl")
    for scene in SCENES:
        for passes, each in ((2, 2), (4, 4), (6, 8)):
            begun = time.process_time()
            try:
                seen = traced(palette, BLENDS[5], part, setting=WALL, scene=scene, quality=Quality(160, passes, each))
            except Exception as error:  # the lid has no room for a lamp
                print(f"{scene}: {error}")
                break
            print(f"{scene}, {passes * each} paths a pixel and wavelength: {time.process_time() - begun:.0f} s of "
                  f"processor for 160 x 120, noise {100.0 * seen.noise:.2f} % of white", flush=True)  # fmt: skip


def memory(palette: Palette) -> None:
    """Print time and memory of a large mesh."""
    import trimesh

    block: Any = trimesh.creation.box((40.0, 30.0, 20.0))
    for _ in range(8):
        block = block.subdivide()
    for ball in (trimesh.creation.icosphere(4, 20.0), trimesh.creation.icosphere(7, 20.0), block):
        part = part_of(np.asarray(ball.triangles, dtype=float), name="ball.stl")
        begun = time.process_time()
        traced(palette, BLENDS[5], part, setting=WALL, scene="window", quality=Quality(160, 2, 2))
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
        print(
            f"{len(part.triangles):,} triangles: {time.process_time() - begun:.0f} s of processor, {most:.0f} MB",
            flush=True,
        )


def main() -> None:
    """Print one of the tables."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("what", choices=("slabs", "spots", "noise", "memory"))
    asked.add_argument("--paths", type=int, default=64)
    asked.add_argument("--moment", type=float)
    given = asked.parse_args()
    palette = fit_palette(read_folder(ROOT / "swatches_demo"))
    if given.moment is not None:
        palette = replace(palette, second_moment=palette.g**2 + given.moment * (1.0 - palette.g**8))
    if given.what in ("slabs", "spots"):
        {"slabs": slabs, "spots": spots}[given.what](palette, given.paths)
    else:
        {"noise": noise, "memory": memory}[given.what](palette)


if __name__ == "__main__":
    main()
