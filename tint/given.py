"""What verbs are given, as the things that the rooms take; what is of the wrong kind is told in one line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from numpy.typing import ArrayLike

from tint import jsonable, kinds
from tint.appearance import Appearance, Setting
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.recipes import Recipe
from tint.swatches.instruments import Given
from tint.target import Target, target_from_lab, target_from_photo, target_from_reading, target_from_srgb

Look = Blend | Mapping[str, float] | Recipe | Appearance | jsonable.Look

SEEN = ("over", "seat", "light", "observer", "geometry", "as_read", "finish")
_BLEND = "loadings by pigment, as in {'white': 0.5}, or a Blend, a Recipe, an Appearance"

# Has a verb take its arguments only as its annotations say, and tells what was expected of those that many verbs have.
verb = kinds.checked(
    palette="a Palette, as tint.fit or tint.load give it",
    blend=_BLEND,
    recipe=_BLEND,
    folder="the path of a swatch folder",
    thickness_mm="the wall thickness of the part in mm",
    walls_mm="wall thicknesses in mm, as in walls_mm=(2, 8)",
    target="a Target, or lab=(70, -12, 8)",
    lab="three numbers L*, a*, b*",
    srgb="a screen colour as '#e8701a'",
    reading="FILE or FILE:NAME",
    photo="FILE:X,Y",
    tolerance="CIEDE2000, more than 0",
    rules="Rules, as in tint.Rules(most_pigments=3)",
    answer="an Answer or a Target",
    path="the path of a file or folder",
)


def blend_of(palette: Palette, given: Look, base: str | None) -> Blend:
    """The blend that is given, or held by what is given."""
    if isinstance(given, Recipe | Appearance):
        given = given.blend
    if isinstance(given, jsonable.Look):
        given = Blend(given.base, given.loadings)
    if isinstance(given, Blend):
        return given
    if base is None:
        if len(palette.seen) != 1:
            raise InputError("base", "no base is named", "one of " + ", ".join(palette.bases))
        base = next(iter(palette.seen))
    return Blend(base, given)


def setting_of(
    setting: Setting | None, thickness_mm: float | None, seen: Mapping[str, Any], *, of: object = None
) -> Setting:
    """The setting that is given, or held by `of`, with what else is told; else one of that thickness."""
    unknown = [name for name in seen if name not in SEEN]
    if unknown:
        raise InputError(unknown[0], "there is no such argument", "one of " + ", ".join(SEEN))
    if setting is None and isinstance(of, Recipe | Appearance):
        setting = of.appearance.setting if isinstance(of, Recipe) else of.setting
    if setting is not None:
        given = dict(seen) | ({} if thickness_mm is None else {"thickness_mm": thickness_mm})
        return replace(setting, **given)
    if thickness_mm is None:
        raise InputError("thickness", "not given", "the wall thickness of the part in mm", "as in thickness_mm=3")
    return Setting(thickness_mm=thickness_mm, **seen)


def walls_of(given: Sequence[float], thickness_mm: float | None, of: object = None) -> tuple[float, ...]:
    """The walls of a part, thinnest first [mm]: those given, else those of a recipe; empty for a part of one wall."""
    if given and thickness_mm is not None:
        raise InputError("walls", "given together with a thickness", "one or the other")
    if given:
        return tuple(sorted(given))
    if thickness_mm is None and isinstance(of, Recipe):
        return tuple(sorted(wall.appearance.setting.thickness_mm for wall in of.walls))
    return ()


def cast_of(
    setting: Setting | None, thickness_mm: float | None, walls_mm: Sequence[float], seen: Mapping[str, Any], *,
    of: object = None,
) -> tuple[Setting, tuple[float, ...]]:  # fmt: skip
    """The setting at the thinnest wall, and all walls: both as above."""
    walls = walls_of(walls_mm, thickness_mm, of=of)
    return setting_of(setting, walls[0] if walls else thickness_mm, seen, of=of), walls


def target_of(
    palette: Palette, setting: Setting, target: Target | None, *, lab: ArrayLike | None, srgb: str | None,
    reading: str | None, photo: str | None = None, said: Given | None = None,
) -> Target:  # fmt: skip
    """The target that is given, or told in one of the other ways."""
    ways = {"target": target, "lab": lab, "srgb": srgb, "reading": reading, "photo": photo}
    given = [name for name, x in ways.items() if x is not None]
    if len(given) != 1:
        found = "nothing is asked for" if not given else f"{' and '.join(given)} are given together"
        raise InputError("target", found, "one of " + ", ".join(ways))
    view = setting.viewing(palette)
    if target is not None:
        return target
    if lab is not None:
        return target_from_lab(lab)
    if srgb is not None:
        return target_from_srgb(srgb, view)
    if photo is not None:
        return target_from_photo(photo, view)
    over = setting.behind(palette)
    seat = "air" if over == "none" else setting.seat
    return target_from_reading(
        reading or "", view, wavelengths=palette.wavelengths, over=over, seat=seat,
        geometry=setting.geometry or palette.instrument.geometry, said=said,
    )  # fmt: skip
