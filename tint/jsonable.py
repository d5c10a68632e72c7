"""What the library answers, as JSON: the structs whose keys scripts may rely on, written and read back in one place.

`--json` of the commands, `to_json` of the things and `tint.kinds` all go by these structs, so that what one command
writes the next one reads. This stands below what it describes, so that an appearance, an answer, a weigh sheet can each
have a `to_json` of one line; what is told is read by the names of its fields.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import msgspec
import numpy as np
from msgspec import Struct

Lab = tuple[float, float, float]


class Setting(Struct, kw_only=True):
    """How a part is cast and seen; lengths in mm."""

    thickness_mm: float | None = None
    over: str | None = None
    seat: str | None = None
    light: str | None = None
    observer: int | None = None
    geometry: str | None = None

    @property
    def told(self) -> dict[str, Any]:
        """What is told of it, by name."""
        return {name: value for name, value in msgspec.structs.asdict(self).items() if value is not None}


class Look(Struct, kw_only=True):
    """A blend and what it looks like, without spectra: loadings in percent, colour differences in CIEDE2000."""

    base: str
    loadings: dict[str, float]
    lab: Lab | None = None
    lab_black: Lab | None = None
    lab_white: Lab | None = None
    srgb: str | None = None
    in_gamut: bool | None = None
    contrast_ratio: float | None = None
    contrast_ratio_error: float | None = None
    luminous_transmittance: float | None = None
    luminous_transmittance_error: float | None = None
    regular_transmittance: float | None = None
    regular_transmittance_error: float | None = None
    haze: float | None = None
    haze_error: float | None = None
    expected_error: float | None = None
    warnings: tuple[str, ...] = ()


class Appearance(Look, kw_only=True):
    """What `tint predict --json` prints; wavelengths in nm."""

    wavelengths: list[float] = []
    reflectance: list[float] = []
    transmittance: list[float] = []
    setting: Setting | None = None
    conditions: str = ""
    optics: str | None = None


class Wall(Struct, kw_only=True):
    """A recipe at one wall of the part."""

    thickness_mm: float
    delta_e: float | None = None
    lab: Lab | None = None
    contrast_ratio: float | None = None
    expected_error: float | None = None
    reached: bool | None = None


class Recipe(Look, kw_only=True):
    """One of the recipes that `tint solve --json` and `tint adjust --json` print."""

    delta_e: float | None = None
    opacity_miss: float | None = None
    limits: tuple[str, ...] = ()
    reached: bool | None = None
    reason: str = ""
    metamerism: float | None = None
    sensitivity: float | None = None
    chance: float | None = None
    price_per_kg: float | None = None
    merits: tuple[str, ...] = ()
    why: str = ""
    premix: tuple[str, ...] = ()
    unweighable: tuple[str, ...] = ()
    opacity_chance: float | None = None
    walls: tuple[Wall, ...] = ()


class Also(Struct, kw_only=True):
    """A further colour of a target."""

    lab: Lab
    over: str | None = None
    seat: str | None = None
    thickness_mm: float | None = None


class Target(Struct, kw_only=True):
    """A target without its spectrum."""

    lab: Lab
    contrast_ratio: float | None = None
    contrast_ratio_min: float | None = None
    contrast_ratio_max: float | None = None
    transmittance: float | None = None
    transmittance_min: float | None = None
    transmittance_max: float | None = None
    haze: float | None = None
    haze_min: float | None = None
    haze_max: float | None = None
    tolerance: float = 1.0
    thickness_mm: float | None = None
    also: tuple[Also, ...] = ()
    known_within: float = 0.0
    source: str = ""


class Loosened(Struct, kw_only=True):
    """What giving way on one point would bring."""

    limit: str
    value: float | None
    delta_e: float
    reached: bool
    words: str


class Answer(Struct, kw_only=True):
    """What `tint solve --json` prints, and `tint adjust --json` with more."""

    recipes: tuple[Recipe, ...]
    target: Target | None = None
    setting: Setting | None = None
    conditions: str = ""
    walls_mm: tuple[float, ...] = ()
    batch_g: float | None = None
    scale_step_g: float | None = None
    loosened: tuple[Loosened, ...] = ()
    refused: dict[str, dict[str, str]] = {}
    warnings: tuple[str, ...] = ()
    sets: int = 0
    optics: str | None = None


class Line(Struct, kw_only=True):
    """One weighing of a sheet."""

    what: str
    grams: float
    part: str | None = None
    exact_grams: float | None = None
    percent: float | None = None
    pigment: str = ""
    pigment_g: float = 0.0
    lot: str = ""
    into: str = ""


class Sheet(Struct, kw_only=True):
    """What `tint weigh --json` prints, and `tint ledger repeat --json` with more."""

    lines: tuple[Line, ...]
    base: str
    total_grams: float | None = None
    predicted: Appearance | None = None
    loadings: dict[str, float] = {}
    rounded: dict[str, float] = {}
    delta_e: float | None = None
    aim_delta_e: float | None = None
    batch_g: float | None = None
    volume_cm3: float | None = None
    batch: dict[str, Any] = {}
    scale_step_g: float | None = None
    smallest_weighing_g: float | None = None
    dose_tolerance_percent: float | None = None
    mix_error_percent: float | None = None
    naive_mix_error_percent: float | None = None
    naive_part_error_percent: float | None = None
    premixes: tuple[dict[str, Any], ...] = ()
    leftovers: tuple[dict[str, Any], ...] = ()
    premix_changes: tuple[dict[str, Any], ...] = ()
    looser: dict[str, Any] | None = None
    cups: dict[str, Any] = {}
    care: tuple[dict[str, Any], ...] = ()
    walls: tuple[Wall, ...] = ()
    cautions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


# From the things to the structs.


def _shared(thing: Any, kind: type[Struct]) -> dict[str, Any]:
    """What a thing holds under the very names of a struct."""
    return {name: _plain(getattr(thing, name)) for name in kind.__struct_fields__ if hasattr(thing, name)}


def _plain(value: Any) -> Any:
    return value.tolist() if isinstance(value, np.ndarray | np.generic) else value


def setting(appearance: Any) -> Setting:
    """What an appearance holds for, nothing left to a default."""
    return Setting(**_shared(appearance.setting, Setting) | {"over": appearance.over, "geometry": appearance.geometry})


def _look(look: Any) -> dict[str, Any]:
    told = _shared(look, Look) | {"base": look.blend.base, "loadings": dict(look.blend.loadings)}
    known = bool(np.isfinite(look.lab_black).all())
    return told if known else told | {"lab_black": None, "lab_white": None}


def look(seen: Any) -> Look:
    """All of an appearance but its spectra and setting."""
    return Look(**_look(seen))


def appearance(seen: Any) -> Appearance:
    """The whole of an appearance."""
    return Appearance(**_shared(seen, Appearance) | _look(seen) | {"setting": setting(seen)})


def target(wanted: Any) -> Target:
    """The whole of a target but its spectrum."""
    also = tuple(
        Also(lab=_plain(each.lab), over=each.over or None, seat=each.seat or None, thickness_mm=each.thickness_mm)
        for each in wanted.also
    )
    return Target(**_shared(wanted, Target) | {"also": also})


def walls(several: Any) -> tuple[Wall, ...]:
    """Every wall of a part."""
    return tuple(
        Wall(**_shared(wall.appearance.setting, Wall) | _shared(wall.appearance, Wall) | _shared(wall, Wall))
        for wall in several
    )


def recipe(each: Any) -> Recipe:
    """The whole of a recipe but the spectra of its appearance."""
    return Recipe(**_shared(each, Recipe) | _look(each.appearance) | {"walls": walls(each.walls)})


def answer(given: Any) -> Answer:
    """The whole of an answer."""
    first = given.recipes[0].appearance
    told = {
        "recipes": tuple(map(recipe, given.recipes)),
        "target": target(given.target),
        "setting": setting(first),
        "conditions": first.conditions,
        "walls_mm": tuple(given.rules.walls_mm),
        "loosened": tuple(Loosened(**_shared(each, Loosened)) for each in given.loosened),
        "optics": first.optics,
    }
    return Answer(**_shared(given, Answer) | _shared(given.rules, Answer) | told)


def sheet(weighed: Any) -> Sheet:
    """The whole of a weigh sheet."""
    worked_out = ("strength", "made_g", "left_g", "pigment_g", "base_g")
    premixes = [asdict(each) | {name: getattr(each, name) for name in worked_out} for each in weighed.premixes]
    told = {
        "base": weighed.blend.base,
        "loadings": dict(weighed.blend.loadings),
        "rounded": dict(weighed.rounded.loadings),
        "lines": tuple(Line(**_shared(line, Line)) for line in weighed.lines),
        "predicted": appearance(weighed.predicted),
        "batch": asdict(weighed.batch),
        "smallest_weighing_g": weighed.scale.smallest_g,
        "dose_tolerance_percent": weighed.scale.tolerance_percent,
        "premixes": tuple(premixes),
        "looser": None if weighed.looser is None else asdict(weighed.looser) | {"words": weighed.looser.words},
        "cups": asdict(weighed.cups),
        "walls": walls(weighed.walls),
    }
    told |= {name: tuple(map(asdict, getattr(weighed, name))) for name in ("leftovers", "premix_changes", "care")}
    return Sheet(**_shared(weighed, Sheet) | told)


# To text.


def text(content: Struct | Mapping[str, Any], **more: Any) -> str:
    """One JSON object: arrays as lists, what is not finite as null; `more` are further keys."""
    told = msgspec.structs.asdict(content) if isinstance(content, Struct) else dict(content)
    return msgspec.json.encode(told | more, enc_hook=_plain).decode()
