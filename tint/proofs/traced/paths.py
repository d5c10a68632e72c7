"""Paths of light followed through a scene, wavelength by wavelength, by Mitsuba 3: the only module that imports it.

Every wavelength is a picture of its own, in grey. Passes of a few paths a pixel follow one another, all wavelengths in
each; the seed of a pass is that of the picture and the pass's number, so that the same seed gives the same picture.

References
----------
Jakob, W. and others 2022, Mitsuba 3 renderer. Its path tracer for media (`volpath`) follows light that enters through
a face that bends it only from inside out, as it is used here.
"""

from __future__ import annotations

import math
import tempfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tint.errors import InputError
from tint.proofs.traced.rubber import Rubber
from tint.proofs.traced.scenes import CARD, INK, Placed, painted
from tint.spectra import Array

_FAINT, _MOST = 1e-4, 20_000  # of a path's light, below which it is given up; steps after which any is
# Of a path's light, below which chance decides whether it is followed with more or not at all (Russian roulette: no
# mean changes). At 0.1 the same noise costs 0.5 to 0.65 of what following all does; 0.3 serves less (a lid's wall).
_DIM = 0.1
_SWALLOWS = 1e4  # 1/mm, of rubber that lets nothing out again
_VARIANT = "scalar_rgb"  # the one that needs no compiler; its three channels carry the same number here


def check_installed() -> Any:
    """Mitsuba itself; InputError, which says what to install, where there is nothing to trace with."""
    try:
        import mitsuba
    except ImportError as error:
        raise InputError("--trace", "tracing needs Mitsuba", mend="run `pip install 'tint[trace]'`") from error
    if mitsuba.variant() != _VARIANT:
        mitsuba.set_variant(_VARIANT)
    mitsuba.set_log_level(mitsuba.LogLevel.Error)
    return mitsuba


@dataclass(frozen=True, eq=False)
class Stage:
    """A scene that is ready to be traced."""

    scene: Any  # the tracer's own
    parameters: Any  # the tracer's own
    rubber: Rubber  # at the wavelengths that are traced
    painted: dict[str, Array]  # (..., n_wavelengths): as of `tint.proofs.traced.scenes.painted`

    def pictures(self, at: int, *, paths: int, seed: int, black: bool) -> Array:
        """Radiance at one wavelength, shape (height, width)."""
        mi, known = check_installed(), set(map(str, self.parameters.keys()))
        for key, value in _values(self.rubber, at, black=black).items():
            if key in known:
                self.parameters[key] = value
        for key, of in self.painted.items():
            one = of[..., at]
            self.parameters[key] = mi.TensorXf(one[..., None].astype(np.float32)) if one.ndim else float(one)
        self.parameters.update()
        longest, chancy = (16, 16) if black else (_turns(self.rubber, at, *of) for of in ((_FAINT, 64), (_DIM, 5)))
        way = mi.load_dict({"type": "volpath", "max_depth": longest, "rr_depth": chancy})
        drawn = mi.render(self.scene, integrator=way, spp=paths, seed=seed)
        return np.array(drawn, dtype=np.float64)[..., 0]


def stage(
    rubber: Rubber, part: Mapping[str, Any] | Placed | None, objects: Mapping[str, Any], eye: Mapping[str, Any], *,
    surfaces: Mapping[str, Array],
) -> Stage:  # fmt: skip
    """Build a scene.

    `part`: the part, or another shape that the rubber fills.
    `objects`, `eye`: the rest of the scene, as of `tint.proofs.traced.scenes`.
    `surfaces` (n_wavelengths,): reflectance of what the scene calls `card` and `ink` [-].
    Raises InputError if Mitsuba is not installed.
    """
    mi = check_installed()
    with tempfile.TemporaryDirectory() as folder:
        if isinstance(part, Placed):
            file = Path(folder) / "part.ply"
            file.write_bytes(ply(part))
            part = {"type": "ply", "filename": str(file)}
        whole = {"type": "scene", "sensor": dict(eye), **objects, **_body(part, rubber)}
        scene = mi.load_dict(_loaded(mi, whole))
    return Stage(scene, mi.traverse(scene), rubber, painted(objects, surfaces))


def follow(
    on: Stage, *, passes: int, paths: int, seed: int, black: bool = False, tell: Callable[[], None] | None = None
) -> Iterator[Array]:
    """One picture a pass, shape (height, width, n_wavelengths), of radiance.

    `passes`, `paths`: how many passes, and paths a pixel in each.
    `black`: as if the rubber swallowed all light that enters it: its gloss, and what is about it.
    `tell`: called after each wavelength of each pass.
    """
    each = _bare if black else _whole
    for number in range(passes):
        seen = []
        # One seed for all wavelengths: their noise is then alike, and hardly coloured.
        for picture in each(on, paths, (seed * 1_000_003 + number) % 2**31):
            seen.append(picture)
            if tell is not None:
                tell()
        yield np.stack(seen, axis=-1)


def _whole(on: Stage, paths: int, seed: int, *, black: bool = False) -> Iterator[Array]:
    """A picture at each wavelength."""
    for at in range(on.rubber.absorption.size):
        yield on.pictures(at, paths=paths, seed=seed, black=black)


def _bare(on: Stage, paths: int, seed: int) -> Iterator[Array]:
    """A picture at each wavelength as if the rubber were black.

    Only what is painted differs then between wavelengths. Where that is one card, two pictures tell all: light that
    meets it once grows in proportion to its reflectance, and hardly any meets it again without passing the rubber.
    """
    count, painted = on.rubber.absorption.size, list(on.painted.values())
    if len(painted) > 1 or any(of.ndim > 1 for of in painted):
        yield from _whole(on, paths, seed, black=True)
        return
    level = painted[0] if painted else np.zeros(count)
    low, high = int(level.argmin()), int(level.argmax())
    least = most = on.pictures(low, paths=paths, seed=seed, black=True)
    if level[high] > level[low]:
        most = on.pictures(high, paths=paths, seed=seed, black=True)
    for share in (level - level[low]) / max(float(level[high] - level[low]), 1e-12):
        yield least + share * (most - least)


def front(on: Stage) -> tuple[Array, Array]:
    """What lies foremost at each pixel: its place, shape (height, width, 3) [mm], and its normal, likewise [-]."""
    mi = check_installed()
    way = mi.load_dict({"type": "aov", "aovs": "place:position,normal:sh_normal"})
    told = np.array(mi.render(on.scene, integrator=way, spp=16, seed=1), dtype=np.float64)[..., -6:]
    return told[..., :3], told[..., 3:]


def _turns(rubber: Rubber, at: int, share: float, least: int) -> int:
    """After how many turns no more than a share is left of a path's light, but no fewer than the least."""
    kept = rubber.scattering[at] / (rubber.scattering[at] + rubber.absorption[at])
    if kept <= 0.0:
        return least
    return int(min(max(math.log(share) / math.log(min(kept, 1.0 - 1e-12)), least), _MOST))


def _values(rubber: Rubber, at: int, *, black: bool) -> dict[str, Any]:
    """What of the scene changes with the wavelength."""
    scattering = 0.0 if black else float(rubber.scattering[at])
    whole = _SWALLOWS if black else float(rubber.absorption[at]) + scattering
    inside, turned = "part.interior_medium", "part.interior_medium.phase_function"
    return {
        f"{inside}.sigma_t.value.value": whole,
        f"{inside}.albedo.value.value": scattering / whole,
        f"{turned}.weight.value.value": float(rubber.apart[at]),
        f"{turned}.phase_0.g": float(rubber.forward_cosine[at]),
        f"{turned}.phase_1.values": rubber.lobe[at].astype(np.float32),
    }


def _body(part: Mapping[str, Any] | None, rubber: Rubber) -> dict[str, Any]:
    if part is None:
        return {}
    other = {"type": "tabphase", "values": ", ".join(map(str, rubber.lobe[0]))}
    phase = {"type": "blendphase", "weight": 0.5, "ahead": {"type": "hg", "g": 0.5}, "other": other}
    face: dict[str, Any] = {"type": "dielectric"}
    if rubber.slope > 0.0:
        face = {"type": "roughdielectric", "distribution": "ggx", "alpha": rubber.slope}
    filled = {
        "bsdf": face | {"int_ior": rubber.index, "ext_ior": 1.0},
        # Lamps are not looked for from inside: a face that bends light hides them all.
        "interior": {"type": "homogeneous", "sigma_t": 1.0, "albedo": 0.5, "sample_emitters": False, "phase": phase},
    }
    return {"part": dict(part) | filled}


def ply(part: Placed) -> bytes:
    """The part as a PLY whose corners are its own, so that sharp edges stay sharp."""
    import trimesh  # every part comes from it

    both = np.concatenate((part.points, part.normals.reshape(-1, 3)), axis=1).astype(np.float32)
    corners, which = np.unique(both, axis=0, return_inverse=True)
    mesh = trimesh.Trimesh(corners[:, :3], which.reshape(-1, 3), vertex_normals=corners[:, 3:], process=False)
    written = mesh.export(file_type="ply", vertex_normal=True)
    assert isinstance(written, bytes)  # it returns text or keys of other kinds of file
    return written


def _loaded(mi: Any, value: Any) -> Any:
    """A scene's data in the tracer's own kinds."""
    if isinstance(value, Mapping):  # a page's own levels serve until a wavelength is chosen
        made = {key: _loaded(mi, each) for key, each in value.items()}
        if made.get("type") == "bitmap":
            made["data"] = mi.TensorXf(np.asarray(value["data"], dtype=np.float32)[..., None])
        if made.get("type") == "envmap":
            made["bitmap"] = mi.Bitmap(np.asarray(value["bitmap"], dtype=np.float32))
        return made
    if isinstance(value, np.ndarray) and value.shape == (4, 4):
        return mi.ScalarTransform4f(value.tolist())
    if isinstance(value, str) and value in (CARD, INK):
        return 0.5  # until a wavelength is chosen
    return value
