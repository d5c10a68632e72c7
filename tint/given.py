"""What verbs are given, as the things that the rooms take; what is of the wrong kind is told in one line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from tint import jsonable
from tint.appearance import Appearance, Setting
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.recipes import Recipe
from tint.swatches.instruments import Given
from tint.target import Target, target_from_lab, target_from_photo, target_from_reading, target_from_srgb

Look = Blend | Mapping[str, float] | Recipe | Appearance | jsonable.Look

SEEN = ("over", "seat", "light", "observer", "geometry", "as_read", "finish")


def typed(value: Any, kind: Any, where: str, expected: str) -> Any:
    """The value, if it is of that kind."""
    if not isinstance(value, kind) or isinstance(value, bool):
        raise InputError(where, f"a {type(value).__name__}", expected)
    return value


def number(value: Any, where: str, expected: str) -> float:
    """The number that is given."""
    return float(typed(value, int | float | np.number, where, expected))


def palette_of(given: Palette) -> Palette:
    """The palette, if it is one."""
    checked: Palette = typed(given, Palette, "palette", "a Palette, as tint.fit or tint.load give it")
    return checked


def blend_of(palette: Palette, given: Look, base: str | None) -> Blend:
    """The blend that is given, or held by what is given."""
    if isinstance(given, Recipe | Appearance):
        given = given.blend
    if isinstance(given, jsonable.Look):
        given = Blend(given.base, given.loadings)
    if isinstance(given, Blend):
        return given
    typed(given, Mapping, "blend", "loadings by pigment, as in {'white': 0.5}, or a Blend, a Recipe, an Appearance")
    loadings = {str(name): number(x, f"blend, {name}", "a loading in %") for name, x in given.items()}
    if base is None:
        if len(palette.seen) != 1:
            raise InputError("base", "no base is named", "one of " + ", ".join(palette.bases))
        base = next(iter(palette.seen))
    return Blend(base, loadings)


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
        checked: Setting = replace(typed(setting, Setting, "setting", "a Setting"), **given)
        return checked
    if thickness_mm is None:
        raise InputError("thickness", "not given", "the wall thickness of the part in mm", "as in thickness_mm=3")
    wall = number(thickness_mm, "thickness", "the wall thickness of the part in mm")
    return Setting(thickness_mm=wall, **seen)


def walls_of(given: Sequence[float], thickness_mm: float | None, of: object = None) -> tuple[float, ...]:
    """The walls of a part, thinnest first [mm]: those given, else those of a recipe; empty for a part of one wall."""
    typed(given, Sequence | np.ndarray, "walls", "wall thicknesses in mm, as in walls_mm=(2, 8)")
    if len(given) and thickness_mm is not None:
        raise InputError("walls", "given together with a thickness", "one or the other")
    if len(given):
        return tuple(sorted(number(x, "walls", "wall thicknesses in mm") for x in given))
    if thickness_mm is None and isinstance(of, Recipe):
        return tuple(sorted(wall.appearance.setting.thickness_mm for wall in of.walls))
    return ()


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
        checked: Target = typed(target, Target, "target", "a Target, or lab=(70, -12, 8)")
        return checked
    if lab is not None:
        try:
            colour = np.asarray(lab, dtype=float)
        except (TypeError, ValueError):
            raise InputError("lab", f"{lab!r}", "three numbers L*, a*, b*") from None
        return target_from_lab(colour)
    if srgb is not None:
        return target_from_srgb(typed(srgb, str, "srgb", "a screen colour as '#e8701a'"), view)
    if photo is not None:
        return target_from_photo(typed(photo, str, "photo", "FILE:X,Y"), view)
    where = typed(reading, str, "reading", "FILE or FILE:NAME")
    over = setting.behind(palette)
    seat = "air" if over == "none" else setting.seat
    return target_from_reading(
        where, view, wavelengths=palette.wavelengths, over=over, seat=seat,
        geometry=setting.geometry or palette.instrument.geometry, said=said,
    )  # fmt: skip
