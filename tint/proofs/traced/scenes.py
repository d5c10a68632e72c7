"""Scenes for a traced part: where it stands, what is about it, which light falls on it, from where it is looked at.

A scene is data, of nested dictionaries as the path tracer takes them, in millimetres, z upwards. The part stands on the
plane z = 0, an air film above what it lies on. Its lamps are large or all around, so that noise falls fast. How a scene
is built is drawing, not prediction: sizes and brightnesses are chosen by eye, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from PIL import Image, ImageDraw

from tint.errors import InputError
from tint.glossary import SCENES
from tint.proofs.lettering import font, line_height, wrap
from tint.proofs.rays import crossings, grid_of
from tint.spectra import Array

Objects = dict[str, Any]

CARD, INK = "card", "ink"  # surfaces whose reflectance changes with the wavelength
_PAINTED, _SHINES = {"type": "diffuse", "reflectance": CARD}, {"type": "area", "radiance": 1.0}

_WAYS_OUT = 40  # along which the walls about a point are looked for
_FILM = 0.002  # of the part's size: the air between it and what it lies on
_FOV = 22.0  # degrees along the picture's longer side, at most
_FORMATS = (0.6, 0.75, 1.0, 4.0 / 3.0)  # of pictures, width over height; a wider one would leave no room for words
_ROOM = 0.88  # of the picture that the part may fill
_RAISED = np.radians(18.0)  # how far from above a part is looked at from its sides, where it stands on a table
_LAMP = 0.45  # radius of the lamp inside, of the room that there is
_ENCLOSED, _ROOMY = 0.6, 0.05  # share of ways out that meet a wall; room for a lamp, of the part's size
PAGE_MM = (210.0, 148.0)  # of the printed page: A5
_DOTS, _LETTERS_MM = 5, 4.2  # of the printed page: dots to a millimetre; its letters are of 12 points
_PRINT = "Light that passes a wall of rubber keeps its way or loses it; what lies behind is read or only guessed."


@dataclass(frozen=True, kw_only=True, eq=False)
class Placed:
    """A part as it stands in a scene."""

    corners: Array  # (n, 3, 3): of its triangles [mm]
    normals: Array  # (n, 3, 3): at them [-]
    right: Array  # (3,): of the eye [-]
    up: Array  # (3,): of the eye [-]
    towards: Array  # (3,): of the eye [-]

    @property
    def points(self) -> Array:
        """Corners, shape (n, 3) [mm]."""
        return self.corners.reshape(-1, 3)

    @property
    def size(self) -> float:
        """Its longest side [mm]."""
        return float(np.ptp(self.points, axis=0).max())

    @property
    def middle(self) -> Array:
        """Of its bounds [mm]."""
        return np.asarray(0.5 * (self.points.min(axis=0) + self.points.max(axis=0)))


def placed(corners: Array, normals: Array, axes: Array, *, scene: str) -> Placed:
    """Stand a part on z = 0 in the middle, looked at along the axes of a side, shape (3, 3)."""
    points = corners.reshape(-1, 3)
    low, high = points.min(axis=0), points.max(axis=0)
    film = _FILM * float((high - low).max())
    moved = corners - np.array([*(0.5 * (low + high))[:2], low[2] - film])
    right, up, towards = axes
    if scene in ("window", "inside") and abs(towards[2]) < 0.1:  # over the edge of the table, not along it
        towards = np.cos(_RAISED) * towards + np.sin(_RAISED) * up
        up = np.cross(towards, right)
    return Placed(corners=moved, normals=normals, right=right, up=up, towards=towards)


def sized(part: Placed, wide: int) -> tuple[int, int]:
    """Width and height of a picture shaped to the part, of as many pixels as one of 4:3 that is so wide [px]."""
    across, over = np.ptp(part.points @ np.stack((part.right, part.up), axis=-1), axis=0)
    shape = min(_FORMATS, key=lambda each: abs(np.log(each * over / max(across, 1e-9 * over))))
    return round(wide * np.sqrt(0.75 * shape)), round(wide * np.sqrt(0.75 / shape))


def camera(part: Placed, *, pixels: tuple[int, int]) -> Objects:
    """The eye, so far off that the part fills the picture."""
    wide, high = pixels
    about = part.points - part.middle
    across, over, near = (np.abs(about @ part.right), np.abs(about @ part.up), about @ part.towards)
    slope = np.tan(np.radians(0.5 * _FOV)) * _ROOM * wide / max(wide, high)
    far = max(float(np.max(near + across / slope)), float(np.max(near + over / (slope * high / wide))))
    far = max(far, 2.0 * part.size)
    # From so far off that depth is not exaggerated, a part that is small across is looked at through a longer lens.
    filled = float(np.max(np.maximum(across, over * wide / high) / (far - near))) / _ROOM
    fov = float(np.degrees(2.0 * np.arctan(filled)))
    eye = looking(part, part.middle + far * part.towards)
    return {"type": "perspective", "fov": fov, "to_world": eye, "near_clip": 0.01} | _film(wide, high)


def facing(part: Placed, *, pixels: tuple[int, int], mm_per_pixel: float, margin: float) -> Objects:
    """An eye without perspective, whose pixels are those of a view of the part from the same side."""
    wide, high = pixels
    left, top = float((part.points @ part.right).min()), float((part.points @ part.up).max())
    across = left + (0.5 * wide - margin) * mm_per_pixel
    over = top - (0.5 * high - margin) * mm_per_pixel
    away = float((part.points @ part.towards).max()) + part.size
    eye = across * part.right + over * part.up + away * part.towards
    half = 0.5 * wide * mm_per_pixel
    to_world = looking(part, eye) @ np.diag([half, half, 1.0, 1.0])
    return {"type": "orthographic", "to_world": to_world} | _film(wide, high)


def _film(wide: int, high: int) -> Objects:
    film = {"type": "hdrfilm", "width": wide, "height": high, "rfilter": {"type": "box"}, "pixel_format": "rgb"}
    return {"film": film | {"component_format": "float32"}, "sampler": {"type": "multijitter"}}


def looking(part: Placed, eye: Array) -> Array:
    """From a point towards where the part looks at it from, shape (4, 4): x to the left, as cameras have it."""
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2], matrix[:3, 3] = -part.right, part.up, -part.towards, eye
    return matrix


def rectangle(centre: Array, normal: Array, half: tuple[float, float], *, up: Array | None = None) -> Array:
    """Where a rectangle of half sides lies that looks along a normal, shape (4, 4)."""
    normal = normal / np.linalg.norm(normal)
    upward = np.array([0.0, 0.0, 1.0] if abs(normal[2]) < 0.9 else [0.0, 1.0, 0.0]) if up is None else up
    across = np.cross(upward, normal)
    across /= np.linalg.norm(across)
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2] = half[0] * across, half[1] * np.cross(normal, across), normal
    matrix[:3, 3] = centre
    return matrix


def surroundings(
    scene: str, part: Placed, *, hollow: tuple[Array, float] | None = None, passed: float = 0.1
) -> Objects:  # fmt: skip
    """Everything of a scene but part and eye.

    `hollow`: where a lamp finds room inside the part, and its radius [mm].
    `passed`: about how much of a lamp's light its walls let through [-].
    Raises InputError if the part has no room for the lamp.
    """
    far = 60.0 * part.size
    table = {"type": "rectangle", "to_world": np.diag([far, far, 1.0, 1.0]), "bsdf": _PAINTED}
    if scene == "window":
        return {"table": table, "air": _by_a_window(part)}
    if scene == "inside":
        if hollow is None:
            found = "a lamp finds no room inside this part"
            raise InputError("--trace inside", found, "expected a hollow part", "use --trace behind")
        centre, radius = hollow
        lamp = {"type": "sphere", "center": centre.tolist(), "radius": radius, "emitter": _SHINES}
        # The room is so dim that what comes through the wall is seen, and so bright that the part's form is.
        return {"table": table, "air": _all_around(0.1 * passed * _LAMP**2), "lamp": lamp}
    if scene == "behind":
        centre = part.middle - 0.75 * part.size * part.towards
        half = 8.0 * part.size
        to_world = rectangle(centre, part.towards, (half, half))
        panel = {"type": "rectangle", "to_world": to_world, "emitter": _SHINES}
        return {"panel": panel | {"bsdf": {"type": "diffuse", "reflectance": 0.5}}, "air": _all_around(0.06)}
    if scene == "page":
        return {"page": _page(part, page_of_print()), "air": _by_a_window(part)}
    raise InputError("--trace", f"`{scene}` is not known", ", ".join(SCENES))


def even(part: Placed) -> Objects:
    """Light from all around, as in an integrating sphere, and a wide card behind the part as the eye sees it."""
    behind = float((part.points @ part.towards).min()) - _FILM * part.size
    middle = part.middle + (behind - float(part.middle @ part.towards)) * part.towards
    to_world = rectangle(middle, part.towards, (60.0 * part.size, 60.0 * part.size), up=part.up)
    return {"card": {"type": "rectangle", "to_world": to_world, "bsdf": _PAINTED}, "air": _all_around(1.0)}


def _all_around(brightness: float) -> Objects:
    return {"type": "constant", "radiance": brightness}


def _by_a_window(part: Placed) -> Objects:
    """A light room with a large window at the left of what is seen and a little behind it, endlessly far."""
    level = part.towards * np.array([1.0, 1.0, 0.0])
    level = np.array([0.0, -1.0, 0.0]) if np.linalg.norm(level) < 0.2 else level / np.linalg.norm(level)
    left = np.cross(level, np.array([0.0, 0.0, 1.0]))
    out = 0.94 * left - 0.34 * level  # from the part to the window
    rows, columns = 256, 512
    down, turn = (np.arange(rows) + 0.5) / rows * np.pi, (np.arange(columns) + 0.5) / columns * 2.0 * np.pi
    away = np.degrees((turn - np.arctan2(out[0], out[1]) + np.pi) % (2.0 * np.pi) - np.pi)[None, :]
    above = 90.0 - np.degrees(down)[:, None]
    panes = _between(away, -42.0, 42.0) * _between(above, 6.0, 66.0)
    bars = np.minimum(_between(away, -1.6, 1.6) + _between(above, 33.0, 36.0), 1.0)
    room = 0.40 + 0.15 * np.sin(np.radians(above))
    bright = room + (2.6 - room) * panes * (1.0 - 0.8 * bars)
    # Its columns run about y in the tracer's way, and are turned so that they run about z.
    upright = np.array([[1.0, 0.0, 0.0, 0.0], [0.0, 0.0, -1.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 0.0, 1.0]])
    return {"type": "envmap", "bitmap": np.repeat(bright[..., None], 3, axis=-1), "to_world": upright}


def _between(angle: Array, low: float, high: float, soft: float = 1.2) -> Array:
    """1 between two angles and 0 outside, with edges that are some degrees wide."""
    return np.asarray(np.clip((angle - low) / soft + 0.5, 0.0, 1.0) * np.clip((high - angle) / soft + 0.5, 0.0, 1.0))


def _page(part: Placed, page: Array) -> Objects:
    """A printed sheet behind the part, seen along the eye's axis, of true size but for large parts."""
    scale = page_scale(part.points @ np.stack((part.right, part.up), axis=-1))
    behind = float((part.points @ part.towards).min()) - 2.0 * _FILM * part.size
    middle = part.middle + (behind - float(part.middle @ part.towards)) * part.towards
    half = (0.5 * scale * PAGE_MM[0], 0.5 * scale * PAGE_MM[1])
    # Paper is 1 and ink 0 until a wavelength tells both.
    texture = {"type": "bitmap", "data": page[::-1], "raw": True, "filter_type": "bilinear", "wrap_mode": "clamp"}
    to_world = rectangle(middle, part.towards, half, up=part.up)
    return {"type": "rectangle", "to_world": to_world, "bsdf": {"type": "diffuse", "reflectance": texture}}


def page_of_print() -> Array:
    """A printed page, 1 for paper and 0 for ink, shape (rows, columns)."""
    wide, high = (round(_DOTS * side) for side in PAGE_MM)
    image = Image.new("L", (wide, high), 255)
    draw = ImageDraw.Draw(image)
    size = round(_DOTS * _LETTERS_MM)
    text = " ".join([_PRINT] * 40)
    lines = wrap(text, size=size, width=wide - 2 * size)
    for number, line in enumerate(lines[: (high - 2 * size) // line_height(size)]):
        draw.text((size, size + number * line_height(size)), line, fill=0, font=font(size), anchor="lt")
    return np.asarray(image, dtype=float) / 255.0


def page_scale(across: Array) -> float:
    """How many times its true size the page is, behind a part whose points lie so across the eye, shape (n, 2) [mm]."""
    return max(float(np.ptp(across, axis=0).max()) * 2.2 / PAGE_MM[0], 1.0)


def hollow_of(part: Placed) -> tuple[Array, float] | None:
    """Where a lamp finds most room among the part's walls, and its radius [mm]; None where it finds none."""
    low, high = part.points.min(axis=0), part.points.max(axis=0)
    steps = [low[at] + (np.arange(n) + 0.5) / n * (high - low)[at] for at, n in enumerate((11, 11, 15))]
    points = np.stack(np.meshgrid(*steps, indexing="ij"), axis=-1).reshape(-1, 3)
    turn = np.arange(_WAYS_OUT)
    height = 1.0 - 2.0 * (turn + 0.5) / _WAYS_OUT  # a Fibonacci sphere: even all around (common practice)
    angle, around = turn * np.pi * (3.0 - np.sqrt(5.0)), np.sqrt(1.0 - height**2)
    ways = np.stack((around * np.cos(angle), around * np.sin(angle), height), axis=-1)
    start, along = np.repeat(points, len(ways), axis=0), np.tile(ways, (len(points), 1))
    met = crossings(grid_of(part.corners), start, along)
    ray, first = np.unique(met.ray, return_index=True)
    distance, enters = np.full(len(start), np.inf), np.ones(len(start), dtype=bool)
    distance[ray], enters[ray] = met.distance[first], met.sign[first] > 0
    out, in_air = distance.reshape(len(points), -1), enters.reshape(len(points), -1).all(axis=1)
    free = in_air & (np.isfinite(out).mean(axis=1) >= _ENCLOSED)
    room = np.where(free, np.minimum(out.min(axis=1), points[:, 2]), 0.0)
    best = int(room.argmax())
    return (points[best], _LAMP * float(room[best])) if room[best] >= _ROOMY * part.size else None


def white_card(scene: str, part: Placed, objects: Mapping[str, Any]) -> float:
    """How bright a white card is that lies where the part does, before anything is cast on it [-]."""
    if "bitmap" not in objects.get("air", {}):
        return 1.0
    bright = objects["air"]["bitmap"][..., 0]
    rows, columns = bright.shape
    down, turn = (np.arange(rows)[:, None] + 0.5) / rows * np.pi, (np.arange(columns) + 0.5) / columns * 2.0 * np.pi
    ways = np.stack((np.sin(turn) * np.sin(down), np.cos(turn) * np.sin(down), np.cos(down) + 0.0 * turn), axis=-1)
    facing = ways @ (part.towards if scene == "page" else np.array([0.0, 0.0, 1.0]))
    patch = np.sin(down) * (np.pi / rows) * (2.0 * np.pi / columns)
    return float((bright * np.maximum(facing, 0.0) * patch).sum() / np.pi)


def painted(objects: Mapping[str, Any], surfaces: Mapping[str, Array]) -> dict[str, Array]:
    """What changes with the wavelength about the part, by its place in the scene; the wavelength is the last axis.

    `surfaces` (n_wavelengths,): reflectance of what the scene calls `card` and `ink` [-].
    """
    found: dict[str, Array] = {}
    for name, each in objects.items():
        seen = each.get("bsdf", {}).get("reflectance")
        if isinstance(seen, str):
            found[f"{name}.bsdf.reflectance.value"] = surfaces[seen]
        elif isinstance(seen, Mapping):
            page = seen["data"][..., None]
            found[f"{name}.bsdf.reflectance.data"] = surfaces[INK] + page * (surfaces[CARD] - surfaces[INK])
    return found
