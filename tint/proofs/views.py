"""Pictures of a recipe: a wedge over a checkered card, several lights side by side, a lamp behind, limit samples."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from tint import appearance
from tint.appearance import Appearance, Setting
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import ONE_WAY, Palette
from tint.proofs import parts, words
from tint.proofs.facts import Shade, shades_of
from tint.proofs.lights import InLight, in_lights
from tint.proofs.limits import Limit, limits_of
from tint.proofs.parts import BODY, LEFT, RIGHT, SMALL, WIDTH
from tint.proofs.picture import DARK, QUIET, Box, Item, NearSign, Patch, Pointer, Raster, paint, paragraph
from tint.proofs.portrait import checkered
from tint.proofs.render import LAMP, ColourTable, colour_table, levels_at, shows_at
from tint.target import Target

_SQUARE, _RAMP = 46, 276
_CHIP, _GAP = 300, 24
_TICK = 12
_COMMON_TICKS = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
_MOST_TICKS = 10


@dataclass(frozen=True)
class Picture:
    """A picture, laid out: what is painted, and the boxes of what matters, by name."""

    canvas: Box
    items: list[Item]
    boxes: dict[str, Box] = field(default_factory=dict)


def draw(picture: Picture) -> bytes:
    """The picture as a PNG tagged sRGB."""
    return paint(picture.canvas, picture.items)


def ended(items: list[Item], top: int, boxes: dict[str, Box], *, notes: list[str], has_signs: bool) -> Picture:
    """The picture with its foot."""
    foot = parts.footed([*notes, words.SCREEN_LINE], top + 26, has_signs=has_signs)
    return Picture(Box(0, 0, WIDTH, foot.bottom + 44), [*items, *foot.items], boxes)


def wedge_picture(
    palette: Palette, blend: Blend, *, setting: Setting, upto_mm: float = 0.0, title: str = ""
) -> Picture:  # fmt: skip
    """A wedge from nothing to twice the part's thickness, laid on a card checkered dark and light.

    Parameters
    ----------
    upto_mm : float
        Where it ends; twice the part's own thickness when 0 [mm].
    """
    own = setting.thickness_mm
    upto_mm = upto_mm or 2.0 * own
    behind = _pair(palette, setting)
    tables = [colour_table(palette, blend, setting=setting, upto_mm=upto_mm, over=name) for name in behind]
    names = " and ".join(behind)
    told = f"A wedge of {blend.base} from 0 to {upto_mm:g} mm on squares of {names}, {seen_in(palette, setting)}."
    head = parts.headed(title or palette.name, told)
    box = Box(LEFT, head.bottom + 40, RIGHT, head.bottom + 40 + _RAMP)
    ramp = _ramp(tables, box, upto_mm)
    items = [*head.items, *parts.framed(box), Raster(box, ramp)]
    middle = box.left + round(own / upto_mm * box.width)
    items.append(Pointer(Box(middle - 11, box.top - 26, middle + 11, box.top - 4)))
    below, bottom = ticks(box, upto_mm, own)
    items += below
    marks = stretches_beyond(tables, box, upto_mm)
    items += marks
    notes = ["Light that wanders sideways in the rubber softens such squares; that is left out here."]
    return ended(
        items, bottom, {"wedge": box}, notes=[*cautions(palette, blend, setting), *notes], has_signs=bool(marks)
    )


def _ramp(tables: list[ColourTable], box: Box, upto_mm: float) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    """The wedge over squares of its backings, shape (height, width, 3)."""
    depth = (np.arange(box.width) + 0.5) / box.width * upto_mm
    rows = [levels_at(table, depth) for table in tables]
    board = checkered((box.height, box.width), _SQUARE)[..., None]
    return np.ascontiguousarray(np.where(board, rows[0][None], rows[-1][None]))


def stretches_beyond(tables: list[ColourTable], box: Box, upto_mm: float) -> list[Item]:
    """A line along each stretch of a wedge that a screen cannot show, with the sign on it."""
    depth = (np.arange(box.width) + 0.5) / box.width * upto_mm
    shown = np.all([shows_at(table, depth) for table in tables], axis=0)
    edges = np.flatnonzero(np.diff(np.concatenate(([True], shown, [True]))))
    items: list[Item] = []
    for start, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        items.append(Patch(Box(box.left + start, box.top - 7, box.left + stop, box.top - 4), DARK))
        left = min(box.left + (start + stop) // 2 - 17, box.right - 42)
        items.append(NearSign(Box(left, box.top + 8, left + 34, box.top + 42)))
    return items


def ticks(box: Box, upto_mm: float, own_mm: float = np.nan) -> tuple[list[Item], int]:
    """Millimetres below a strip that runs from 0."""
    step = next((step for step in _COMMON_TICKS if upto_mm / step <= _MOST_TICKS), _COMMON_TICKS[-1])
    at = [step * n for n in range(1, math.floor(upto_mm / step + 1e-9) + 1)]
    items: list[Item] = []
    bottom = box.bottom
    for depth in at:
        x = min(box.left + round(depth / upto_mm * box.width), box.right - 1)
        items.append(Patch(Box(x, box.bottom + 4, x + 1, box.bottom + 4 + _TICK), DARK))
        said = f"{depth:g} mm" + (", this part" if math.isclose(depth, own_mm) else "")
        lines, _ = paragraph(said, left=0, top=box.bottom + 18, width=300, size=SMALL)
        shift = min(x - lines[0].box.width // 2, box.right - lines[0].box.width)
        items += [replace(line, box=_moved(line.box, shift)) for line in lines]
        bottom = max(bottom, lines[-1].box.bottom)
    return items, bottom


def _moved(box: Box, right: int) -> Box:
    return Box(box.left + right, box.top, box.right + right, box.bottom)


def lights_picture(
    palette: Palette, blend: Blend, *, setting: Setting, target: Target | None = None, title: str = ""
) -> Picture:  # fmt: skip
    """The recipe in several lights, its target beneath it where its spectrum is known."""
    seen = appearance.predict(palette, blend, setting=setting)
    lights = in_lights(seen, target=target)
    has_target = lights[0].wanted is not None
    told = f"One recipe in {len(lights)} lights, {seen.conditions.replace(f', {seen.setting.light}', '')}."
    below = " Upper half the recipe, lower half the target." if has_target else ""
    head = parts.headed(title or palette.name, told + below)
    strip = Box(LEFT, head.bottom + 10, RIGHT, head.bottom + 10 + _CHIP)
    items: list[Item] = [*head.items, *parts.framed(strip)]
    boxes: dict[str, Box] = {}
    ends = []
    for column, each in zip(strip.columns(len(lights)), lights, strict=True):
        halves = column.rows(2) if has_target else (column,)
        shades = [each.shade, *([each.wanted] if each.wanted else [])]
        for name, box, shade in zip(("recipe", "target"), halves, shades, strict=False):
            items += parts.coloured(box, shade)
            boxes[f"{name} {each.light}"] = box
        more, end = _said(column, each.named, light_in_words(each, agreed=lights[0].light))
        items += more
        ends.append(end)
    note = "Each is shown as it looks to an eye that is used to that light, not as the lamp colours the room."
    signs = any(isinstance(item, NearSign) for item in items)
    return ended(items, max(ends), boxes, notes=[*cautions(palette, blend, setting), note], has_signs=signs)


def light_in_words(each: InLight, *, agreed: str) -> list[str]:
    """What a light does to the recipe, in numbers."""
    told = []
    if each.light == agreed:
        told.append("the light agreed on")
    else:
        told.append(f"moves by {each.moved:.1f} (CIEDE2000)")
    if not math.isnan(each.from_target):
        told.append(f"{each.from_target:.1f} from the target: {words.difference_in_words(each.from_target)}")
    return told


def lit_picture(palette: Palette, blend: Blend, *, setting: Setting, upto_mm: float = 0.0, title: str = "") -> Picture:
    """The wedge with a lamp behind it, above the same wedge lit from the front."""
    upto_mm = upto_mm or 2.0 * setting.thickness_mm
    seen = appearance.predict(palette, blend, setting=setting)
    if not palette.tells_opacity:
        raise InputError("lit from behind", "the palette cannot tell it", ONE_WAY, "read some over a second backing")
    told = f"Lit from behind, {blend.base} from 0 to {upto_mm:g} mm, {seen_in(palette, setting)}; the lamp shows white."
    head = parts.headed(title or palette.name, told)
    items = list(head.items)
    top, boxes, signs = head.bottom + 6, {}, False
    fronts = {LAMP: "A lamp behind it", seen.over: f"Lit from the front, {words.behind(seen.over)}"}
    for name, said in fronts.items():
        table = colour_table(palette, blend, setting=setting, upto_mm=upto_mm, over=name)
        lines, top = parts.titled(said, LEFT, top, RIGHT - LEFT)
        top += 4
        box = Box(LEFT, top, RIGHT, top + _RAMP // 2)
        items += [*lines, *parts.framed(box), Raster(box, _ramp([table], box, upto_mm))]
        marks = stretches_beyond([table], box, upto_mm)
        items += marks
        signs = signs or bool(marks)
        boxes[name] = box
        below, top = ticks(box, upto_mm, setting.thickness_mm)
        items += below
        top += 22
    through = f"{100 * seen.luminous_transmittance:.2g} % of the light comes through at {setting.thickness_mm:g} mm."
    return ended(items, top - 22, boxes, notes=[*cautions(palette, blend, setting), through], has_signs=signs)


def limits_picture(
    palette: Palette, blend: Blend, *, setting: Setting, tolerance: float = 1.0, title: str = ""
) -> Picture:  # fmt: skip
    """The agreed colour, and what is just within the tolerance, each edge to edge with it."""
    seen = appearance.predict(palette, blend, setting=setting)
    limits = limits_of(palette, seen, tolerance=tolerance)
    told = f"Limit samples at CIEDE2000 {tolerance:g}; it holds for {seen.conditions}. Right halves: as agreed."
    head = parts.headed(title or palette.name, told)
    strip = Box(LEFT, head.bottom + 10, RIGHT, head.bottom + 10 + _CHIP)
    items = list(head.items)
    boxes: dict[str, Box] = {}
    ends = [strip.bottom]
    own = own_shade(seen, palette)
    wider = Box(strip.left, strip.top, strip.right + _GAP, strip.bottom)
    for column, each in zip(wider.columns(max(len(limits), 1)), limits, strict=False):
        pair = Box(column.left, column.top, column.right - _GAP, column.bottom)
        halves = pair.columns(2)
        items += parts.framed(pair)
        items += parts.coloured(halves[0], each.shade, at_left=True) + parts.coloured(halves[1], own)
        boxes |= {each.name: halves[0], f"agreed beside {each.name}": halves[1]}
        more, end = _said(pair, limit_title(each), limit_in_words(each, seen))
        items += more
        ends.append(end)
    signs = any(isinstance(item, NearSign) for item in items)
    notes = cautions(palette, blend, setting)
    if all(each.name != "thinnest" for each in limits):
        notes.append("No thickness leaves the tolerance: it hides what is behind it however thin it is cast.")
    return ended(items, max(ends), boxes, notes=notes, has_signs=signs)


def own_shade(seen: Appearance, palette: Palette) -> Shade:
    """The predicted colour as a screen shows it."""
    return shades_of(seen.lab[None], seen.setting.viewing(palette))[0]


def limit_title(each: Limit) -> str:
    """The name of a limit sample."""
    return f"{each.name.capitalize()} that passes"


def limit_in_words(each: Limit, seen: Appearance) -> list[str]:
    """What a limit sample is, in numbers."""
    if each.name == "thinnest":
        return [f"{each.thickness_mm:.2g} mm, the same mix"]
    return [f"L* {each.lab[0]:.1f}, for {seen.lab[0]:.1f} as agreed"]


def _said(under: Box, title: str, lines: list[str]) -> tuple[list[Item], int]:
    items: list[Item] = []
    more, top = paragraph(title, left=under.left, top=under.bottom + 8, width=under.width - 20, size=BODY)
    items += more
    for line in lines:
        more, top = paragraph(line, left=under.left, top=top, width=under.width - 20, size=SMALL, ink=QUIET)
        items += more
    return items, top


def _pair(palette: Palette, setting: Setting) -> tuple[str, ...]:
    if palette.pair:
        return palette.pair
    return (setting.over or next(iter(palette.backings), "none"),)


def seen_in(palette: Palette, setting: Setting) -> str:
    """All that a colour holds for but for thickness and backing."""
    geometry = setting.geometry or palette.instrument.geometry
    return f"{setting.seat} seat, {geometry}, {setting.viewing(palette).light}, {setting.observer}° observer"


def cautions(palette: Palette, blend: Blend, setting: Setting) -> list[str]:
    """How the swatches were read, and where the prediction leaves their ground, without telling the recipe."""
    over = setting.over or (palette.white if palette.backings else "none")
    light = setting.viewing(palette).light
    plain = [
        *appearance.how_read(palette, over=over, light=light, observer=setting.observer),
        *appearance.outside(palette, Blend(blend.base, {}), setting=setting),
    ]
    return [f"Take care: {each}." for each in plain]
