"""Pictures of a recipe: a wedge over a checkered card, several lights side by side, a lamp behind, limit samples."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tint import appearance
from tint.appearance import Setting
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import ONE_WAY, Palette
from tint.proofs import words
from tint.proofs.facts import plain_warnings, shade_of
from tint.proofs.parts import LEFT, RIGHT, SMALL, chip_row, finished, framed, headed, titled
from tint.proofs.passing import judged
from tint.proofs.picture import DARK, Box, Item, NearSign, Patch, Picture, Pointer, Raster, paragraph
from tint.proofs.portrait import checkered
from tint.proofs.render import LAMP, ColourTable, Levels, colour_table, levels_at, shows_at
from tint.proofs.samples import in_lights, lights_row, limits_of, limits_row
from tint.target import Target

# Sizes [px], chosen by eye.
_SQUARE, _RAMP = 46, 276
_CHIP, _GAP = 300, 24
_TICK, _APART = 12, 14  # how long, and how far apart its words are at least
_ROUND_MM = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)  # steps of the ticks
_MOST_TICKS = 10  # more would run into one another


def wedge_picture(palette: Palette, blend: Blend, *, setting: Setting, title: str = "") -> Picture:
    """A wedge from nothing to twice the part's thickness, laid on a card checkered dark and light: the box `wedge`."""
    own, upto_mm = setting.thickness_mm, 2.0 * setting.thickness_mm
    behind = palette.pair or (setting.over or next(iter(palette.backings), "none"),)
    tables = [colour_table(palette, blend, setting=setting, upto_mm=upto_mm, over=name) for name in behind]
    names = " and ".join(behind)
    told = f"A wedge of {blend.base} from 0 to {upto_mm:g} mm on squares of {names}, {seen_in(palette, setting)}."
    head, top = headed(title or palette.name, told)
    box = Box(LEFT, top + 40, RIGHT, top + 40 + _RAMP)
    middle = box.left + round(own / upto_mm * box.width)
    pointer = Pointer(Box(middle - 11, box.top - 26, middle + 11, box.top - 4))
    drawn, bottom = wedge_strip(tables, box, upto_mm, own)
    notes = [
        *cautions(palette, blend, setting),
        "Light that spreads sideways in the rubber blurs such squares; that is left out here.",
        words.SCREEN_LINE,
    ]
    return finished([*head, *drawn, pointer], bottom + 26, {"wedge": box}, told=notes)


def wedge_strip(
    tables: Sequence[ColourTable], box: Box, upto_mm: float, own_mm: float = np.nan
) -> tuple[list[Item], int]:
    """A wedge over squares of its backings, with what a screen cannot show of it marked and a scale below."""
    depth = _depths(box, upto_mm)
    rows = [levels_at(table, depth) for table in tables]
    board = checkered((box.height, box.width), _SQUARE)[..., None]
    pixels: Levels = np.ascontiguousarray(np.where(board, rows[0][None], rows[-1][None]))
    below, bottom = _ticks(box, upto_mm, own_mm)
    return [*framed(box), Raster(box, pixels), *_beyond_screen(tables, box, upto_mm), *below], bottom


def _depths(box: Box, upto_mm: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """The thickness in the middle of each column of a strip that runs from 0 [mm]."""
    return (np.arange(box.width) + 0.5) / box.width * upto_mm


def _beyond_screen(tables: Sequence[ColourTable], box: Box, upto_mm: float) -> list[Item]:
    """A line along each stretch of a wedge that a screen cannot show, with the sign on it."""
    shown = np.all([shows_at(table, _depths(box, upto_mm)) for table in tables], axis=0)
    edges = np.flatnonzero(np.diff(np.concatenate(([True], shown, [True]))))
    items: list[Item] = []
    for start, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        items.append(Patch(Box(box.left + start, box.top - 7, box.left + stop, box.top - 4), DARK))
        left = min(box.left + (start + stop) // 2 - 17, box.right - 42)
        items.append(NearSign(Box(left, box.top + 8, left + 34, box.top + 42)))
    return items


def _ticks(box: Box, upto_mm: float, own_mm: float) -> tuple[list[Item], int]:
    """Millimetres below a strip that runs from 0."""
    step = next((step for step in _ROUND_MM if upto_mm / step <= _MOST_TICKS), _ROUND_MM[-1])
    items: list[Item] = []
    bottom = box.bottom
    taken: list[Box] = []
    depths = [step * n for n in range(1, math.floor(upto_mm / step + 1e-9) + 1)]
    for depth in sorted(depths, key=lambda each: not math.isclose(each, own_mm)):  # the part's own has its words first
        x = min(box.left + round(depth / upto_mm * box.width), box.right - 1)
        items.append(Patch(Box(x, box.bottom + 4, x + 1, box.bottom + 4 + _TICK), DARK))
        said = f"{depth:g} mm" + (", this part" if math.isclose(depth, own_mm) else "")
        (line,), bottom = paragraph(said, left=0, top=box.bottom + 18, width=300, size=SMALL)
        left = min(x - line.box.width // 2, box.right - line.box.width)
        place = Box(left, line.box.top, left + line.box.width, line.box.bottom)
        if all(place.left >= each.right + _APART or place.right + _APART <= each.left for each in taken):
            items.append(replace(line, box=place))
            taken.append(place)
    return items, bottom


def lights_picture(
    palette: Palette, blend: Blend, *, setting: Setting, target: Target | None = None, title: str = ""
) -> Picture:  # fmt: skip
    """The recipe in several lights, its target beside it where its spectrum is known: boxes `recipe A`, `target A`."""
    seen = appearance.predict(palette, blend, setting=setting)
    lights = in_lights(seen, target=target)
    row = lights_row(lights)
    told = f"One recipe in {len(lights)} lights, {seen.conditions.replace(f', {seen.setting.light}', '')}."
    head, top = headed(title or palette.name, " ".join((told, *row.notes)))
    items, bottom, parts = chip_row(row.chips, Box(LEFT, top + 10, RIGHT, top + 10 + _CHIP), gap=_GAP)
    boxes = {
        f"{name} {each.light}": box
        for each, halves in zip(lights, parts, strict=True)
        for name, box in zip(("recipe", "target"), halves, strict=False)
    }
    notes = [
        *cautions(palette, blend, setting),
        "Each is shown as it looks to an eye that is adapted to that light, not as the lamp colours the room.",
        words.SCREEN_LINE,
    ]
    return finished([*head, *items], bottom + 26, boxes, told=notes)


def lit_picture(palette: Palette, blend: Blend, *, setting: Setting, title: str = "") -> Picture:
    """The wedge with a lamp behind it, above the same wedge lit from the front: boxes `lamp` and the backing's name."""
    upto_mm = 2.0 * setting.thickness_mm
    seen = appearance.predict(palette, blend, setting=setting)
    if not palette.tells_opacity:
        raise InputError("lit from behind", "the palette cannot tell it", ONE_WAY, "read some over a second backing")
    told = f"Lit from behind, {blend.base} from 0 to {upto_mm:g} mm, {seen_in(palette, setting)}; the lamp shows white."
    items, bottom = headed(title or palette.name, told)
    boxes: dict[str, Box] = {}
    fronts = {LAMP: "A lamp behind it", seen.over: f"Lit from the front, {words.behind(seen.over)}"}
    for name, said in fronts.items():
        table = colour_table(palette, blend, setting=setting, upto_mm=upto_mm, over=name)
        heading, top = titled(said, LEFT, bottom + (22 if boxes else 6), RIGHT - LEFT)
        boxes[name] = Box(LEFT, top + 4, RIGHT, top + 4 + _RAMP // 2)
        drawn, bottom = wedge_strip([table], boxes[name], upto_mm, setting.thickness_mm)
        items += [*heading, *drawn]
    through = f"{100 * seen.luminous_transmittance:.2g} % of the light comes through at {setting.thickness_mm:g} mm."
    notes = [*cautions(palette, blend, setting), through, words.SCREEN_LINE]
    return finished(items, bottom + 26, boxes, told=notes)


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
    told = f"Limit samples at CIEDE2000 {tolerance:g}; it holds for {seen.conditions}."
    head, top = headed(title or palette.name, " ".join((told, *row.notes)))
    items, bottom, parts = chip_row(row.chips, Box(LEFT, top + 10, RIGHT, top + 10 + _CHIP), gap=_GAP)
    boxes: dict[str, Box] = {}
    for each, (limit, agreed) in zip(limits, parts, strict=True):
        boxes |= {each.name: limit, f"agreed beside {each.name}": agreed}
    notes = cautions(palette, blend, setting)
    if not limits:
        notes = [*judged(palette, seen, target=target, tolerance=tolerance).lines, "So nothing passes.", *notes]
    elif "thinnest" not in boxes:
        notes.append("No thickness leaves the tolerance: it hides what is behind it however thin it is cast.")
    return finished([*head, *items], bottom + 26, boxes, told=[*notes, words.SCREEN_LINE])


def seen_in(palette: Palette, setting: Setting) -> str:
    """All that a colour holds for but for thickness and backing."""
    geometry = setting.geometry or palette.instrument.geometry
    return f"{setting.seat} seat, {geometry}, {setting.viewing(palette).light}, {setting.observer}° observer"


def cautions(palette: Palette, blend: Blend, setting: Setting) -> list[str]:
    """How the swatches were read, and where the prediction leaves their ground, without telling the recipe."""
    return [f"Take care: {each}." for each in plain_warnings(palette, blend.base, setting)]
