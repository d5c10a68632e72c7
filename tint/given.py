"""What verbs and commands are given, as the things that the rooms take; a wrong kind is told in one line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from numpy.typing import ArrayLike

from tint import colorimetry, jsonable, kinds
from tint.appearance import Appearance, Setting
from tint.colorimetry import Viewing
from tint.errors import InputError, did_you_mean
from tint.materials import Blend
from tint.palette import Palette
from tint.recipes import Recipe
from tint.swatches.instruments import Given
from tint.swatches.one_reading import read_one
from tint.target import Look as Also
from tint.target import Target, target_from_lab, target_from_srgb

Look = Blend | Mapping[str, float] | Recipe | Appearance | jsonable.Look

SEEN = ("over", "seat", "light", "observer", "geometry", "as_read", "finish")
_BLEND = "loadings by pigment, as in {'white': 0.5}, or a Blend, a Recipe, an Appearance"

# What is expected of the arguments that many verbs have.
_ARGUMENTS = {
    "palette": "a Palette, as tint.fit or tint.load give it",
    "blend": _BLEND,
    "recipe": _BLEND,
    "folder": "the path of a swatch folder",
    "thickness_mm": "the wall thickness of the part in mm",
    "walls_mm": "wall thicknesses in mm, as in walls_mm=(2, 8)",
    "target": "a Target, or lab=(70, -12, 8)",
    "lab": "three numbers L*, a*, b*",
    "srgb": "a screen colour as '#e8701a'",
    "reading": "FILE or FILE:NAME",
    "photo": "FILE:X,Y",
    "tolerance": "CIEDE2000, more than 0",
    "rules": "Rules, as in tint.Rules(most_pigments=3)",
    "answer": "an Answer or a Target",
    "path": "the path of a file or folder",
}
# Has a verb take its arguments only as its annotations say.
verb = kinds.checked(**_ARGUMENTS)


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
        mend = did_you_mean(unknown[0], (*SEEN, *_ARGUMENTS))
        raise InputError(unknown[0], "there is no such argument", "one of " + ", ".join(SEEN), mend)
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


def out_of_reach(given: Look) -> tuple[str, ...]:
    """What must be told before a recipe is weighed that does not reach its target."""
    if not isinstance(given, Recipe | jsonable.Recipe) or given.reached is not False:
        return ()
    return (f"this recipe does not reach its target: {given.reason or 'see tint solve'}",)


# Colours wanted that lie in files, or were read twice.


_NOISE = 0.01  # by which a contrast ratio that was read may pass 1


def target_from_reading(
    where: str,
    view: Viewing,
    *,
    wavelengths: ArrayLike,
    over: str = "",
    seat: str = "",
    geometry: str = "",
    said: Given | None = None,
    **asked: Any,
) -> Target:
    """A target that was measured: a row of a readings table, or a sample of an instrument's file.

    `where`: `FILE` or `FILE:NAME`, as of `read_one`. What tells L*, a*, b* and no spectrum becomes a target of that
        colour.
    `wavelengths` (n_wavelengths,): the palette's [nm]; the reading is brought onto them.
    `over`, `seat`: backing and seat of the reading, where the file tells them.
    `geometry`: that it is seen in: of readings with and without the specular reflection, those of it are taken.
    `said`: what the user says where the file does not.
    Raises InputError if there is no such file or reading, it does not cover the wavelengths, or is a colour in another
        light.
    """
    told = {"backing": over, "seat": seat, "quantity": "reflectance"}
    told = {column: cell for column, cell in told.items() if cell}
    read = read_one(where, onto=wavelengths, told=told, geometry=geometry, said=said)
    source = f"{where} ({'; '.join(read.notes)})" if read.notes else where
    return Target(lab=read.seen(view), spectrum=read.spectrum, **({"source": source} | asked))


def target_from_photo(where: str, view: Viewing, **asked: Any) -> Target:
    """A target that a photograph shows: `FILE:X,Y`, as `mailed_in` reads it; other arguments are those of `Target`.

    Raises InputError if there is no such picture or place in it.
    Raises JobError if it has no chart where one is told, or is not good enough.
    """
    from tint.photographs.mailed import mailed_in, wanted_colour  # pictures are for those who have one

    seen = wanted_colour(mailed_in(where), view)
    told: dict[str, Any] = {"source": seen.words, "known_within": seen.error}
    return Target(lab=seen.lab, **(told | asked))


def with_black(target: Target, black: Target, palette: Palette, *, setting: Setting) -> Target:
    """A target together with what the same sample showed over the darkest backing.

    `target`: as seen over the setting's backing.
    `black`: over the darkest; its own wishes do not count.
    Returns the target with a further look over the darkest backing. Where both were measured, that one over the
        lightest backing, and no opacity was asked for, it also asks for the contrast ratio that the two make; not so
        where the sample is of another thickness than the part, since then it is the sample's alone.
    Raises InputError if there is but one backing, the target is itself over the darkest, or the sample is brighter over
        black.
    """
    over = setting.behind(palette)
    if not palette.pair or over == palette.black:
        seen = "as a free slab" if over == "none" else f"over {over}"
        raise InputError("target over black", f"the target is seen {seen}", "one over another backing")
    also = (*target.also, Also(lab=black.lab, over=palette.black))
    if target.spectrum is None or black.spectrum is None or over != palette.white:
        return replace(target, also=also)
    ratio = float(colorimetry.contrast_ratio(black.spectrum, target.spectrum, setting.viewing(palette)))
    if ratio > 1.0 + _NOISE:
        found = f"it is {ratio:.2f} times as bright as over {palette.white}"
        raise InputError("target over black", found, "a darker reading", "were the two swapped?")
    own = target.thickness_mm is None or target.thickness_mm == setting.thickness_mm
    if not own or target.asks_more:
        return replace(target, also=also)
    return replace(target, also=also, contrast_ratio=min(ratio, 1.0))
