"""A part in light as a photograph would show it: traced, developed and smoothed."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.ndimage import uniform_filter

from tint import colorimetry, forward, glossary
from tint.appearance import Setting
from tint.errors import InputError
from tint.materials import Blend
from tint.optics import layer
from tint.palette import Palette
from tint.proofs.part import Part, corner_normals, enclosed_mm3, part_of
from tint.proofs.portrait import SIDES
from tint.proofs.render import Light
from tint.proofs.traced import paths, scenes
from tint.proofs.traced.rubber import Few, few_wavelengths, rubber_of
from tint.spectra import Array

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Quality:
    """How finely a picture is traced."""

    pixels: int  # width of a picture of 4:3; others have as many in all [px]
    passes: int
    paths: int  # a pixel in each pass


# Half a minute, a few minutes and ten on two free cores (tests/figures/traced.py).
QUALITIES = dict(zip(glossary.QUALITIES, (Quality(240, 3, 5), Quality(640, 4, 5), Quality(880, 4, 6)), strict=True))
_GLOSS = 2  # times the paths of a pass that go to gloss and surroundings, which are short
_TURN, _STEP = 0.3, 0.05  # change of a normal, and of place as a share of the part's size, that is an edge
_PAPER, _INK = 0.85, 0.04  # reflectance where no card was read; assumptions, no source
_SHOWN_AT, _BRIGHTER = 0.75, 95.0  # linear light that a glowing part is shown at, and at which percentile
_COMMON = 1e-3  # of the part, that its bodies may have in common: what counting pixels misses
_MANY = "fit it with --optics many-flux"
_SIDE_OF = {"window": "corner", "inside": "front", "page": "top"}


@dataclass(frozen=True, kw_only=True, eq=False)
class Traced:
    """A traced picture."""

    light: Light  # (height, width, 3): linear sRGB, adapted to the screen's white, not clipped [-]
    scene: str  # a key of `tint.glossary.SCENES`
    noise: float  # median over the picture of what is left of the noise, as a share of white [-]
    few: Few  # the wavelengths that were traced
    exposure: float  # what a white card would show at, where the part lies; 1 where it shows as white [-]
    paths: int  # followed through the rubber, those of gloss and surroundings apart


def traced(
    palette: Palette, blend: Blend, part: Part, *, setting: Setting, scene: str, side: str = "",
    quality: str | Quality = "preview", pixels: int | None = None, seed: int = 0, more_passes: int = 0,
    progress: Progress | None = None,
) -> Traced:  # fmt: skip
    """Trace a part in a scene.

    `setting`: light, observer, finish and the card that the part lies on; its thickness is not used.
    `side`: from which the part is seen; what suits the scene when empty.
    `quality`: `preview`, `sheet`, `print`, or one's own.
    `pixels`: in place of those of the quality [px].
    `more_passes`: that are to follow elsewhere, and count as steps.
    `progress`: told what is done, how many steps are, and of how many.
    Raises InputError if Mitsuba is not installed, the palette is of another layer model, scene, side or quality are
        not known, or the part has no room for a lamp.
    """
    paths.check_installed()
    how = quality if isinstance(quality, Quality) else QUALITIES.get(quality)
    if how is None:
        raise InputError("quality", f"`{quality}` is not known", ", ".join(QUALITIES))
    if scene not in glossary.SCENES:
        raise InputError("--trace", f"`{scene}` is not known", ", ".join(glossary.SCENES))
    if palette.model != "many-flux":
        raise InputError("--trace", f"the palette is fitted by {palette.model}, which follows no paths", mend=_MANY)
    part = united(part)
    side = side or side_of(scene, part)
    body = scenes.placed(part.triangles, corner_normals(part.triangles), SIDES[side], scene=scene)
    few = few_wavelengths(palette, blend, setting=setting, upto_mm=body.size)
    rubber = rubber_of(palette, blend, finish=setting.finish).at(few.which)
    surfaces = surfaces_of(palette, setting, few)
    hollow = scenes.hollow_of(body) if scene == "inside" else None
    objects = scenes.surroundings(scene, body, hollow=hollow, passed=_passed(palette, blend, part, setting))
    wide, high = scenes.sized(body, pixels or how.pixels)
    eye = scenes.camera(body, pixels=(wide, high))
    on = paths.stage(rubber, body, objects, eye, surfaces=surfaces)
    view = setting.viewing(palette)
    count = few.which.size
    steps, step = (3 * how.passes + more_passes) * count, itertools.count(1)

    def followed(*, times: int = 1, seed: int = seed, black: bool = False) -> Iterator[Array]:
        def tell() -> None:
            if progress is not None:
                progress("Following light through the part", next(step), steps)

        return paths.follow(on, passes=how.passes, paths=times * how.paths, seed=seed, black=black, tell=tell)

    # What has been inside the rubber is all, less the gloss that the same paths show.
    inside = halves(few.light(a - b, view) for a, b in zip(followed(), followed(black=True), strict=True))
    bare = followed(times=_GLOSS, seed=seed + 1, black=True)
    gloss = halves(few.light(each, view) for each in bare)
    place, normal = paths.front(on)
    forms = np.concatenate((normal / _TURN, place / (_STEP * body.size)), axis=-1)
    both = [np.stack(smoothed(*each, forms, reach=reach)) for each, reach in ((inside, 8), (gloss, 5))]
    both[0] = np.stack([evenly_coloured(each, forms) for each in both[0]])
    first, second = both[0] + both[1]
    light = 0.5 * (first + second)
    exposure = _exposure(light, place, scene, body, objects)
    return Traced(
        light=(light * exposure).astype(np.float32),
        scene=scene,
        noise=float(np.median(noise(first, second))) * exposure,
        few=few,
        exposure=exposure,
        paths=wide * high * how.passes * how.paths * count,
    )


def side_of(scene: str, part: Part) -> str:
    """From which side a scene shows a part unless told: before a lamp from where most of it is seen."""
    wide, deep, high = part.size_mm
    areas = {"front": wide * high, "right": deep * high, "top": wide * deep}
    return _SIDE_OF.get(scene) or max(areas, key=lambda side: float(areas[side]))


def united(part: Part) -> Part:
    """A part whose bodies do not overlap: light would leave one at its face within the other.

    Raises InputError if they overlap and cannot be united.
    """
    if enclosed_mm3(part.triangles) / 1000.0 - part.volume_cm3 < _COMMON * part.volume_cm3:
        return part
    import trimesh  # every part comes from it

    mesh = trimesh.Trimesh(**trimesh.triangles.to_kwargs(part.triangles))  # type: ignore[no-untyped-call]
    bodies = mesh.split(only_watertight=True)
    try:
        if any(body.volume <= 0.0 for body in bodies):
            raise ValueError("hollow bodies")
        whole = trimesh.boolean.union(bodies, engine="manifold")
    except (ImportError, ValueError) as error:
        mend = "unite them in the program that they were drawn in"
        raise InputError(f"--trace, {part.name}", "its bodies overlap, and could not be united", mend=mend) from error
    return part_of(np.asarray(whole.triangles, dtype=float), name=part.name)


def surfaces_of(palette: Palette, setting: Setting, few: Few) -> dict[str, Array]:
    """Reflectance of what the part lies on, and of ink: those of the workshop's own cards."""
    over = setting.behind(palette)
    card = palette.backings.get(over, np.full_like(palette.wavelengths, _PAPER if over != "none" else 0.0))
    ink = palette.backings[palette.black] if palette.pair else np.full_like(palette.wavelengths, _INK)
    return {scenes.CARD: card[few.which], scenes.INK: ink[few.which]}


def _passed(palette: Palette, blend: Blend, part: Part, setting: Setting) -> float:
    """About how much light a wall of the part lets through: of twice its volume over its surface [-]."""
    import trimesh  # every part comes from it

    wall = 2000.0 * part.volume_cm3 / float(trimesh.triangles.area(part.triangles).sum())  # type: ignore[no-untyped-call]
    mixed = forward.mix(palette.coefficients, palette.shares(blend.base, palette.loadings(blend)))
    spectrum = layer.transmittance(*mixed, thickness=wall, optics=palette.optics(blend.base))
    return float(colorimetry.xyz(spectrum, setting.viewing(palette))[1]) / 100.0


def _exposure(light: Array, place: Array, scene: str, body: scenes.Placed, objects: scenes.Objects) -> float:
    """What to multiply light by: a white card where the part lies shows as white, but for a lamp inside."""
    if scene != "inside":
        return 1.0 / scenes.white_card(scene, body, objects)
    there = place[..., 2] > 1e-3 * body.size
    return _SHOWN_AT / max(float(np.percentile(light[there].mean(axis=-1), _BRIGHTER)), 1e-9)


# The noise, and how it is smoothed where what is alike lies about: non-local means with the variance that the passes
# show (Rousselle, Knaus and Zwicker 2012, Adaptive rendering with non-local means filtering, ACM Trans. Graph. 31, 195;
# from memory). A pixel becomes the mean of those about it whose surroundings differ from its own by no more than noise
# does. The passes fall into two halves; each is smoothed with the weights that the other tells, so that noise does not
# choose what it is averaged with, and what they still differ by is the noise that is left.

_REACH, _PATCH, _HUE_REACH = 7, 3, 6  # px, each way; chosen by eye as is the next
_STRICT = 0.45  # times the noise by which surroundings may differ
_LOOSE = 0.5  # of an edge, as far as hue is concerned
_BRIGHT = 4.0  # times the brightest of the pixels about, beyond which a single pass is a stray path


@dataclass(frozen=True, eq=False)
class Half:
    """Half of the passes: their mean and the variance of it, shape (height, width, 3)."""

    mean: Array
    variance: Array


def halves(passes: Iterable[Array]) -> tuple[Half, Half]:
    """Gather passes, an even number of them, by turns."""
    sums: list[list[Any]] = [[0.0] * 3, [0.0] * 3]  # of each half: how many, their sum and that of their squares
    for number, seen in enumerate(passes):
        sums[number % 2] = [of + more for of, more in zip(sums[number % 2], (1.0, seen, seen**2), strict=True)]
    first, second = (
        Half(total / count, np.maximum(squares / count - (total / count) ** 2, 0.0) / max(count - 1.0, 1.0))
        for count, total, squares in sums
    )
    if sums[0][0] < 3:  # too few to tell: the halves tell each other
        variance = 0.5 * (first.mean - second.mean) ** 2
        first, second = Half(first.mean, variance), Half(second.mean, variance)
    return first, second


def noise(first: Array, second: Array) -> Array:
    """Standard error of the mean of two halves, shape (height, width, 3)."""
    return np.asarray(np.abs(first - second) / 2.0)


def smoothed(first: Half, second: Half, forms: Array, *, reach: int = _REACH) -> tuple[Array, Array]:
    """Both halves, each smoothed with the other's weights, shape (height, width, 3).

    `forms` (height, width, n): what is known without noise, in units by which neighbours may differ: a step of 1 is an
        edge.
    """
    # Variance averaged about each pixel: of few passes it is itself uncertain.
    spreads = [uniform_filter(each.variance, size=(7, 7, 1), mode="nearest") + 1e-8 for each in (first, second)]
    one, two = _without_strays(first.mean), _without_strays(second.mean)
    return _filtered(one, two, spreads[1], forms, reach), _filtered(two, one, spreads[0], forms, reach)


def _without_strays(mean: Array) -> Array:
    """Pixels far brighter than all about them put back to the brightest of those: paths that met a lamp by chance."""
    bright = mean.sum(axis=-1)
    about = uniform_filter(bright, size=5, mode="nearest") * 25.0 / 24.0 - bright / 24.0
    limit = _BRIGHT * np.maximum(about, 1e-6)
    return np.asarray(mean * np.minimum(1.0, limit / np.maximum(bright, 1e-9))[..., None])


def _filtered(values: Array, guide: Array, variance: Array, forms: Array, reach: int) -> Array:
    total, weights = np.zeros_like(values), np.zeros(values.shape[:2])
    for other, like, spread, form in _about(reach, values, guide, variance, forms):
        apart = (guide - like) ** 2 - (variance + np.minimum(variance, spread))
        apart /= 1e-8 + _STRICT**2 * (variance + spread)
        distance = uniform_filter(apart.mean(axis=-1), size=2 * _PATCH + 1, mode="nearest")
        weight = np.exp(-np.maximum(distance, 0.0) - ((forms - form) ** 2).sum(axis=-1))
        total += weight[..., None] * other
        weights += weight
    return np.asarray(total / weights[..., None])


def _about(reach: int, *values: Array) -> Iterator[list[Array]]:
    """Arrays, shape (height, width, n), moved by every step of up to so many pixels each way, their edges mirrored."""
    rows, columns = values[0].shape[:2]
    padded = [np.pad(each, ((reach, reach), (reach, reach), (0, 0)), mode="reflect") for each in values]
    for down, right in itertools.product(range(2 * reach + 1), repeat=2):
        yield [each[down : down + rows, right : right + columns] for each in padded]


def evenly_coloured(light: Array, forms: Array) -> Array:
    """Light whose brightness stays and whose hue is that of what is about it on the same face, shape (..., 3).

    Colours of rubber run smoothly where brightness does not: of what noise is left, the eye sees that of the hue first.
    """
    bright, total = light.mean(axis=-1), np.zeros_like(light)
    for other, form in _about(_HUE_REACH, light, forms):
        total += np.exp(-((_LOOSE * (forms - form)) ** 2).sum(axis=-1))[..., None] * other
    hue = total / np.maximum(total.mean(axis=-1, keepdims=True), 1e-9)
    return np.asarray(np.where(total.min(axis=-1, keepdims=True) > 0.0, bright[..., None] * hue, light))
