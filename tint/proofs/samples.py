"""What a recipe is judged by beside its own chip: other thicknesses, other lights, and the samples that just pass.

Sheets show them as rows of chips, and pictures one kind each: a wedge over a checkered card, several lights side by
side, a lamp behind, limit samples.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tint import appearance, colorimetry
from tint.appearance import Appearance, Setting
from tint.colorimetry import Viewing
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import words
from tint.proofs.facts import Chip, Facts, Row, Shade, cautions, shade_of
from tint.proofs.passing import Held, held, judged
from tint.proofs.picture import (
    LEFT,
    RIGHT,
    Box,
    Layout,
    Picture,
)
from tint.spectra import Array, Mask
from tint.target import Target
from tint.thickness import first_thickness

# CIE illuminants of CIE 15:2018, and what people call them; which four are shown: common practice, no source.
LIGHTS = ("D65", "A", "LED-B3", "FL11")
_NAMES = {
    "D65": "Daylight", "D50": "Warm daylight", "A": "Filament lamp", "LED-B3": "White LED", "FL11": "Shop tube",
    "FL2": "Office tube",
}  # fmt: skip
_THINNEST = 0.02  # of the part's own thickness: how thin a limit sample is looked for


def steps_row(facts: Facts) -> Row:
    """The recipe from thin to thick over each backing."""
    behind = [words.behind(name) for name in facts.behind]
    chips = [
        Chip(
            name=f"{step.thickness_mm:g} mm",
            shades=step.shades,
            labels=tuple(f"{step.thickness_mm:g} mm {name}" for name in behind),
            strong=step.own,
        )
        for step in facts.wedge
    ]
    told = f"Upper row {behind[0]}, lower row {behind[1]}." if len(behind) > 1 else f"{behind[0].capitalize()}."
    return Row(title="Thin to thick", chips=tuple(chips), notes=(told,), layout="stacked")


@dataclass(frozen=True)
class InLight:
    """A recipe in one light."""

    light: str  # a CIE illuminant
    shade: Shade  # adapted to the screen's white: as it looks to an eye that is used to that light
    wanted: Shade | None  # the target, likewise; None when its spectrum is not known
    moved: float  # CIEDE2000 from how it looks in the light it was agreed in, the eye being used to each [-]
    from_target: float  # CIEDE2000 from the target in this light [-]; NaN when the target's spectrum is not known


def named(light: str) -> str:
    """A light in plain words, with its code."""
    return f"{_NAMES[light]} ({light})" if light in _NAMES else light


def in_lights(seen: Appearance, *, target: Target | None = None) -> tuple[InLight, ...]:
    """A predicted recipe in the light it was agreed in, then in others.

    `moved` is a colour inconstancy: XYZ in the other light, adapted to the first one's white by CAT16, against XYZ in
    the first (the idea of the index of Luo, Li, Hunt, Rigg and Smith 2003, Color. Technol. 119, 281, from memory; there
    with CAT02 and the CMC formula). `from_target` under a second light is the special metamerism index for change in
    illuminant of CIE 15:2018, with CIEDE2000 and no correction for a pair that does not match in the first light.
    """
    own, observer = seen.setting.light, seen.setting.observer
    views = [
        colorimetry.viewing(seen.wavelengths, light=light, observer=observer)
        for light in {own: 0, **dict.fromkeys(LIGHTS)}
    ]
    spectrum = None if target is None else target.spectrum
    return tuple(_in(seen, view, agreed=views[0], wanted=spectrum) for view in views)


def _in(seen: Appearance, view: Viewing, *, agreed: Viewing, wanted: Array | None) -> InLight:
    lab = colorimetry.lab(seen.reflectance, view)
    adapted = colorimetry.adapt(colorimetry.xyz(seen.reflectance, view), view.white, to=agreed.white)
    moved = colorimetry.difference(seen.lab, colorimetry.xyz_to_lab(adapted, agreed.white))
    other = None if wanted is None else colorimetry.lab(wanted, view)
    return InLight(
        light=view.light,
        shade=shade_of(lab, view),
        wanted=None if other is None else shade_of(other, view),
        moved=float(moved),
        from_target=np.nan if other is None else float(colorimetry.difference(other, lab)),
    )


def lights_row(lights: Sequence[InLight]) -> Row:
    """The recipe in several lights, its target beside it where its spectrum is known."""
    chips = [
        Chip(
            name=named(each.light),
            shades=(each.shade, each.wanted) if each.wanted else (each.shade,),
            labels=(named(each.light), f"the target, {named(each.light)}"),
            told=tuple(_light_in_words(each, agreed=lights[0].light)),
        )
        for each in lights
    ]
    notes = ("Left halves this recipe, right halves what was asked for.",) if lights[0].wanted else ()
    return Row(title="In other lights", chips=tuple(chips), notes=notes)


def _light_in_words(each: InLight, *, agreed: str) -> list[str]:
    """What a light does to the recipe, in numbers."""
    told = ["the light agreed on" if each.light == agreed else f"changes by {each.moved:.1f} CIEDE2000"]
    if not math.isnan(each.from_target):
        told.append(f"{each.from_target:.1f} CIEDE2000 from the target: {words.difference_in_words(each.from_target)}")
    return told


# Limit samples: the lightest, the darkest and the thinnest part that an agreed tolerance lets pass.


@dataclass(frozen=True, eq=False)
class Limit:
    """A part that is just within the tolerance."""

    name: str  # `lightest`, `darkest` or `thinnest`
    lab: Array  # (3,) [-]
    shade: Shade
    thickness_mm: float  # [mm]


def limits_of(
    palette: Palette, seen: Appearance, *, tolerance: float, target: Target | None = None
) -> tuple[Limit, ...]:  # fmt: skip
    """The limit samples of a prediction; one that does not exist is left out.

    `tolerance`: CIEDE2000 from the colour agreed on, which is the prediction's [-].
    `target`: what was asked: a sample meets its colour and opacity too, so that there is none where the prediction
        misses it.

    Lightest and darkest differ in L* alone, at the same thickness and opacity; the thinnest is the same mix over the
    same backing.
    """
    own, view = seen.setting.thickness_mm, seen.setting.viewing(palette)
    if target is not None and not _passing(palette, seen, target, np.array([own])).met[0]:
        return ()
    found = [
        (name, colour, own)
        for name, way in (("lightest", 1.0), ("darkest", -1.0))
        if (colour := _moved(seen.lab, tolerance, way, target)) is not None
    ]
    thin = _thinnest(palette, seen, tolerance, target)
    if thin is not None:
        found.append(("thinnest", *thin))
    return tuple(Limit(name, lab, shade_of(lab, view), depth) for name, lab, depth in found if 0.0 <= lab[0] <= 100.0)


def _passing(palette: Palette, seen: Appearance, target: Target, depth: Array) -> Held:
    return held(palette, seen.blend, setting=seen.setting, target=target, thickness_mm=depth)


def _moved(lab: Array, tolerance: float, way: float, target: Target | None) -> Array | None:
    """The colour so much lighter or darker that it is just as far as passes; None where that is no way at all."""
    from scipy.optimize import brentq

    held_to = [(lab, tolerance)]
    if target is not None and target.thickness_mm is None:
        held_to.append((target.lab, target.tolerance))

    def over(by: float) -> float:
        there = lab + np.array([way * by, 0.0, 0.0])
        return max(float(colorimetry.difference(each, there)) - most for each, most in held_to)

    if over(0.0) >= 0.0:
        return None
    # At either end of the scale a unit of L* counts for at least 0.57 (weighting of lightness in CIEDE2000).
    return np.asarray(lab + np.array([way * brentq(over, 0.0, 4.0 * tolerance + 1.0), 0.0, 0.0]))


def _thinnest(
    palette: Palette, seen: Appearance, tolerance: float, target: Target | None
) -> tuple[Array, float] | None:
    """The colour and thickness of the thinnest part that still passes; None where any passes."""
    own, view = seen.setting.thickness_mm, seen.setting.viewing(palette)
    agreed = replace(Target(lab=seen.lab) if target is None else target, lab=seen.lab, tolerance=tolerance)
    asked = [agreed] if target is None else [replace(agreed, thickness_mm=None), target]

    def fails(depth: Array) -> Mask:
        return np.asarray(~np.all([_passing(palette, seen, each, depth).met for each in asked], axis=0))

    between = first_thickness(fails, own, _THINNEST * own)
    if between is None:
        return None
    thin = appearance.predict(palette, seen.blend, setting=replace(seen.setting, thickness_mm=between[0]))
    return colorimetry.lab(thin.reflectance, view), between[0]


def limits_row(limits: Sequence[Limit], *, own: Shade, seen: Appearance) -> Row:
    """Each limit sample edge to edge with the colour agreed on."""
    chips = [
        Chip(
            name=f"{each.name.capitalize()} that passes",
            shades=(each.shade, own),
            labels=(f"{each.name} that passes", "as agreed"),
            told=(
                f"{each.thickness_mm:.2g} mm, the same mix"
                if each.name == "thinnest"
                else f"L* {each.lab[0]:.1f}, for {seen.lab[0]:.1f} as agreed",
            ),
        )
        for each in limits
    ]
    return Row(title="How far it may go", chips=tuple(chips), notes=("Right halves as agreed.",), layout="apart")


# As pictures.

_CHIP, _GAP = 300, 24  # sizes [px], chosen by eye


def lights_picture(
    palette: Palette, blend: Blend, *, setting: Setting, target: Target | None = None, title: str = ""
) -> Picture:  # fmt: skip
    """The recipe in several lights, its target beside it where its spectrum is known: boxes `recipe A`, `target A`."""
    seen = appearance.predict(palette, blend, setting=setting)
    lights = in_lights(seen, target=target)
    told = f"One recipe in {len(lights)} lights, {seen.conditions.replace(f', {seen.setting.light}', '')}."
    names = [(f"recipe {each.light}", f"target {each.light}") for each in lights]
    on, bottom = _chips_laid(lights_row(lights), title or palette.name, told, names)
    notes = [
        *cautions(palette, blend, setting),
        "Each is shown as it looks to an eye that is adapted to that light, not as the lamp colours the room.",
        words.SCREEN_LINE,
    ]
    return on.finished(bottom + 26, told=notes)


def _chips_laid(row: Row, title: str, told: str, names: Sequence[tuple[str, str]]) -> tuple[Layout, int]:
    """A row of chips below a head, with the names of each one's boxes; where it ends."""
    on = Layout()
    top = on.head(title, " ".join((told, *row.notes))) + 10
    bottom, parts = on.chips(row.chips, Box(LEFT, top, RIGHT, top + _CHIP), gap=_GAP)
    for both, boxes in zip(names, parts, strict=True):
        on.boxes.update(zip(both, boxes, strict=False))
    return on, bottom


def limits_picture(
    palette: Palette, blend: Blend, *, setting: Setting, tolerance: float = 1.0, target: Target | None = None,
    title: str = "",
) -> Picture:  # fmt: skip
    """The agreed colour, and what is just within the tolerance and the target, each edge to edge with it.

    Its boxes are `lightest`, `darkest`, `thinnest`, and `agreed beside` each.
    """
    seen = appearance.predict(palette, blend, setting=setting)
    limits = limits_of(palette, seen, tolerance=tolerance, target=target)
    row = limits_row(limits, own=shade_of(seen.lab, setting.viewing(palette)), seen=seen)
    told = f"What just passes at a tolerance of {tolerance:g} CIEDE2000. It holds for {seen.conditions}."
    names = [(each.name, f"agreed beside {each.name}") for each in limits]
    on, bottom = _chips_laid(row, title or palette.name, told, names)
    notes = cautions(palette, blend, setting)
    if not limits:
        notes = [*judged(palette, seen, target=target, tolerance=tolerance).lines, "So nothing passes.", *notes]
    elif "thinnest" not in on.boxes:
        notes.append("No thickness leaves the tolerance: it hides what is behind it however thin it is cast.")
    return on.finished(bottom + 26, told=[*notes, words.SCREEN_LINE])
