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
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import ONE_WAY, Palette
from tint.proofs import words
from tint.proofs.facts import Chip, Facts, Row, Shade, cautions, seen_in, shade_of
from tint.proofs.passing import Limit, judged, limits_of
from tint.proofs.picture import DARK, LEFT, RIGHT, SMALL, Box, Layout, Patch, Picture, Pointer, paragraph
from tint.proofs.render import LAMP, ColourTable, colour_table, levels_at, shows_at
from tint.target import Target

# CIE illuminants of CIE 15:2018, and what people call them; which four are shown: common practice, no source.
LIGHTS = ("D65", "A", "LED-B3", "FL11")
_NAMES = {
    "D65": "Daylight", "D50": "Warm daylight", "A": "Filament lamp", "LED-B3": "White LED", "FL11": "Shop tube",
    "FL2": "Office tube",
}  # fmt: skip


def steps_row(facts: Facts) -> Row:
    """The recipe from thin to thick over each backing."""
    behind = [words.behind(name) for name in facts.behind]
    chips = [
        Chip(
            name=(thick := f"{step.thickness_mm:g} mm"),
            shades=step.shades,
            labels=tuple(f"{thick} {name}" for name in behind),
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
    wanted = None if target is None else target.spectrum
    agreed, lights = colorimetry.viewing(seen.wavelengths, light=own, observer=observer), []
    for light in {own: 0, **dict.fromkeys(LIGHTS)}:
        view = colorimetry.viewing(seen.wavelengths, light=light, observer=observer)
        lab = colorimetry.lab(seen.reflectance, view)
        other = None if wanted is None else colorimetry.lab(wanted, view)
        adapted = colorimetry.adapt(colorimetry.xyz(seen.reflectance, view), view.white, to=agreed.white)
        moved = colorimetry.difference(seen.lab, colorimetry.xyz_to_lab(adapted, agreed.white))
        apart = np.nan if other is None else float(colorimetry.difference(other, lab))
        beside = None if other is None else shade_of(other, view)
        lights.append(InLight(view.light, shade_of(lab, view), beside, float(moved), apart))
    return tuple(lights)


def lights_row(lights: Sequence[InLight]) -> Row:
    """The recipe in several lights, its target beside it where its spectrum is known."""
    chips = []
    for each in lights:
        name, apart = named(each.light), each.from_target
        shades = (each.shade, each.wanted) if each.wanted else (each.shade,)
        told = "the light agreed on" if each.light == lights[0].light else f"changes by {each.moved:.1f} CIEDE2000"
        beside = f"{apart:.1f} CIEDE2000 from the target: {words.difference_in_words(apart)}"
        every = (told,) if math.isnan(apart) else (told, beside)
        chips.append(Chip(name=name, shades=shades, labels=(name, f"the target, {name}"), told=every))
    notes = ("Left halves this recipe, right halves what was asked for.",) if lights[0].wanted else ()
    return Row(title="In other lights", chips=tuple(chips), notes=notes)


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

# Sizes [px], chosen by eye.
_CHIP, _GAP = 300, 24
_SQUARE, _RAMP = 46, 276
_TICK, _APART = 12, 14  # how long, and how far apart its words are at least
_ROUND_MM = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)  # steps of the ticks
_MOST_TICKS, _PER_TICK = 10, 100  # at most, and room for each [px]: more would run into one another


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


def wedge_picture(palette: Palette, blend: Blend, *, setting: Setting, title: str = "") -> Picture:
    """A wedge from nothing to twice the part's thickness, laid on a card checkered dark and light: the box `wedge`."""
    own, upto_mm = setting.thickness_mm, 2.0 * setting.thickness_mm
    behind = palette.pair or (setting.over or next(iter(palette.backings), "none"),)
    tables = [colour_table(palette, blend, setting=setting, upto_mm=upto_mm, over=name) for name in behind]
    names = " and ".join(behind)
    told = f"A wedge of {blend.base} from 0 to {upto_mm:g} mm on squares of {names}, {seen_in(palette, setting)}."
    on = Layout()
    top = on.head(title or palette.name, told) + 40
    box = on.boxes["wedge"] = Box(LEFT, top, RIGHT, top + _RAMP)
    middle = box.left + round(own / upto_mm * box.width)
    bottom = wedge_strip(on, tables, box, upto_mm, own)
    on.items.append(Pointer(Box(middle - 11, box.top - 26, middle + 11, box.top - 4)))
    notes = [
        *cautions(palette, blend, setting),
        "Light that spreads sideways in the rubber blurs such squares; that is left out here.",
        words.SCREEN_LINE,
    ]
    return on.finished(bottom + 26, told=notes)


def wedge_strip(
    on: Layout, tables: Sequence[ColourTable], box: Box, upto_mm: float, own_mm: float = np.nan, *, signs: bool = True
) -> int:
    """A wedge over squares of its backings and a scale below, with a line along what a screen cannot show of it."""
    depth = (np.arange(box.width) + 0.5) / box.width * upto_mm  # in the middle of each column
    rows = [levels_at(table, depth) for table in tables]
    board = (np.indices((box.height, box.width)) // _SQUARE).sum(axis=0)[..., None] % 2 == 0
    on.raster(box, np.ascontiguousarray(np.where(board, rows[0][None], rows[-1][None])))
    shown = np.all([shows_at(table, depth) for table in tables], axis=0)
    edges = np.flatnonzero(np.diff(np.concatenate(([True], shown, [True]))))
    for start, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        on.items.append(Patch(Box(box.left + start, box.top - 7, box.left + stop, box.top - 4), DARK))
        if signs:
            on.sign(min(box.left + (start + stop) // 2 - 17, box.right - 42), box.top + 8)
    return _ticks(on, box, upto_mm, own_mm)


def _ticks(on: Layout, box: Box, upto_mm: float, own_mm: float) -> int:
    """Millimetres below a strip that runs from 0; where their words end."""
    most = min(_MOST_TICKS, box.width // _PER_TICK)
    step = next((step for step in _ROUND_MM if upto_mm / step <= most), _ROUND_MM[-1])
    bottom = box.bottom
    taken: list[Box] = []
    depths = [step * n for n in range(1, math.floor(upto_mm / step + 1e-9) + 1)]
    for depth in sorted(depths, key=lambda each: not math.isclose(each, own_mm)):  # the part's own has its words first
        x = min(box.left + round(depth / upto_mm * box.width), box.right - 1)
        on.items.append(Patch(Box(x, box.bottom + 4, x + 1, box.bottom + 4 + _TICK), DARK))
        said = f"{depth:g} mm" + (", this part" if math.isclose(depth, own_mm) else "")
        (line,), bottom = paragraph(said, left=0, top=box.bottom + 18, width=300, size=SMALL)
        left = min(x - line.box.width // 2, box.right - line.box.width)
        place = Box(left, line.box.top, left + line.box.width, line.box.bottom)
        if all(place.left >= each.right + _APART or place.right + _APART <= each.left for each in taken):
            on.items.append(replace(line, box=place))
            taken.append(place)
    return bottom


def lit_picture(palette: Palette, blend: Blend, *, setting: Setting, title: str = "") -> Picture:
    """The wedge with a lamp behind it, above the same wedge lit from the front: boxes `lamp` and the backing's name."""
    upto_mm = 2.0 * setting.thickness_mm
    seen = appearance.predict(palette, blend, setting=setting)
    if not palette.tells_opacity:
        raise InputError("lit from behind", "the palette cannot tell it", ONE_WAY, "read some over a second backing")
    told = f"Lit from behind, {blend.base} from 0 to {upto_mm:g} mm, {seen_in(palette, setting)}; the lamp shows white."
    on = Layout()
    bottom = on.head(title or palette.name, told)
    fronts = {LAMP: "A lamp behind it", seen.over: f"Lit from the front, {words.behind(seen.over)}"}
    for name, said in fronts.items():
        table = colour_table(palette, blend, setting=setting, upto_mm=upto_mm, over=name)
        top = on.title(said, LEFT, bottom + (22 if on.boxes else 6), RIGHT - LEFT) + 4
        box = on.boxes[name] = Box(LEFT, top, RIGHT, top + _RAMP // 2)
        bottom = wedge_strip(on, [table], box, upto_mm, setting.thickness_mm)
    through = f"{100 * seen.luminous_transmittance:.2g} % of the light comes through at {setting.thickness_mm:g} mm."
    notes = [*cautions(palette, blend, setting), through, words.SCREEN_LINE]
    return on.finished(bottom + 26, told=notes)
