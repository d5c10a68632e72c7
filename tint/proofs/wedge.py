"""A wedge: a blend from thin to thick as a strip with a scale of millimetres below it, and pictures of it.

A picture shows the wedge over a checkered card, or with a lamp behind it. Other pictures have the strip as their scale.
"""

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
from tint.proofs.facts import cautions, seen_in
from tint.proofs.picture import (
    DARK,
    LEFT,
    RIGHT,
    SMALL,
    Box,
    Layout,
    NearSign,
    Patch,
    Picture,
    Pointer,
    Raster,
    paragraph,
)
from tint.proofs.render import LAMP, ColourTable, colour_table, levels_at, shows_at

# Sizes [px], chosen by eye.
_SQUARE, _RAMP = 46, 276
_TICK, _APART = 12, 14  # how long, and how far apart its words are at least
_ROUND_MM = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)  # steps of the ticks
_MOST_TICKS, _PER_TICK = 10, 100  # at most, and room for each [px]: more would run into one another


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
    on.frame(box)
    on.items.append(Raster(box, np.ascontiguousarray(np.where(board, rows[0][None], rows[-1][None]))))
    shown = np.all([shows_at(table, depth) for table in tables], axis=0)
    edges = np.flatnonzero(np.diff(np.concatenate(([True], shown, [True]))))
    for start, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        on.items.append(Patch(Box(box.left + start, box.top - 7, box.left + stop, box.top - 4), DARK))
        if signs:
            left = min(box.left + (start + stop) // 2 - 17, box.right - 42)
            on.items.append(NearSign(Box(left, box.top + 8, left + 34, box.top + 42)))
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
