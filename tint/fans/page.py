"""A fan for customers: chips by hue and lightness, on a page or on paper, and a table for a web shop."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from tint import colorimetry
from tint.fans.rows import Lab, Row
from tint.fans.targets import Common
from tint.files import csv_table
from tint.palette import Palette
from tint.proofs.facts import Shade
from tint.proofs.leaf import QUIET, SMALL, Page, many_pages, rendered

# Chosen by eye: a chroma below which nobody names a hue, and what the hues of CIELAB are called, by 45 degrees.
_NEUTRAL = 8.0  # C*ab [-]
_HUES = ("rose and red", "orange and brown", "yellow", "green", "turquoise", "sky blue", "blue", "violet and purple")
_SECTOR = 45.0  # degrees


def fan_page(rows: Iterable[Row], palette: Palette, common: Common) -> bytes:
    """Chips in order of hue and lightness, as a self-contained page; what cannot be had beside its nearest.

    It goes to customers, and tells no pigment.

    `common` tells the light that the colours hold for. InputError if what draws it is not installed.
    """
    chips, lost = _chips(rows, palette, common)
    return rendered(
        "fan.html.j2", groups=in_groups(chips), title=palette.name, head=_head(chips, palette, common), lost=lost
    )


def shop_table(rows: Iterable[Row], palette: Palette, common: Common) -> bytes:
    """The same as comma-separated values for a web shop: what a customer may see, in the order of the page.

    The colour is that of the recipe where it can be had, and else what was asked for.
    """
    chips, _ = _chips(rows, palette, common)
    table: list[list[object]] = [["order", "number", "name", "group", "colour", "contrast_ratio", "can_be_had"]]
    held = [(group, chip.wanted, chip.row) for group, members in in_groups(chips) for chip in members]
    for order, (group, wanted, row) in enumerate(held, start=1):
        seen = row.srgb if row.reached else wanted
        opacity = "" if row.contrast_ratio is None or not row.reached else f"{row.contrast_ratio:.3f}"
        table.append([order, row.number, row.name, group, seen, opacity, "yes" if row.reached else "no"])
    return csv_table(table)


class Chip(NamedTuple):
    """A colour of a fan."""

    row: Row
    lab: Lab  # CIELAB that was asked for [-]
    wanted: str  # the same as `#rrggbb`
    told: list[str]  # what stands under it


def _chips(rows: Iterable[Row], palette: Palette, common: Common) -> tuple[list[Chip], list[str]]:
    """Rows as chips, and what is said of those that told no colour."""
    view = common.setting().viewing(palette)
    told = list(rows)
    known = [(row, row.target) for row in told if row.target is not None]
    shown = colorimetry.lab_to_srgb(np.array([lab for _, lab in known]).reshape(-1, 3), view)[0]
    chips = [
        Chip(row, lab, colorimetry.hex_code(each), _told(row, common))
        for (row, lab), each in zip(known, shown, strict=True)
    ]
    return chips, [f"{row.number} {row.name}: {row.reason}" for row in told if row.target is None]


def in_groups(chips: Sequence[Chip]) -> list[tuple[str, list[Chip]]]:
    """Chips by hue, the neutral ones first; in each group from light to dark, and of one lightness by chroma."""
    groups: dict[str, list[Chip]] = {name: [] for name in ("neutral", *_HUES)}
    for chip in sorted(chips, key=lambda each: (-round(each.lab[0]), _chroma(each), each.row.number)):
        groups["neutral" if _chroma(chip) < _NEUTRAL else _hue(chip)].append(chip)
    return [(name, held) for name, held in groups.items() if held]


def _chroma(chip: Chip) -> float:
    return math.hypot(chip.lab[1], chip.lab[2])


def _hue(chip: Chip) -> str:
    angle = math.degrees(math.atan2(chip.lab[2], chip.lab[1]))
    return _HUES[int((angle + 0.5 * _SECTOR) % 360.0 // _SECTOR)]


# Chips on paper: so many side by side, as the page shows them in print; heights of a chip and of all that is a chip's.
_ACROSS, _CHIP_MM, _CELL_MM, _GAP_MM = 5, 16.0, 29.0, 4.0


def fan_pdf(rows: Iterable[Row], palette: Palette, common: Common) -> bytes:
    """The page on as many A4 pages of a PDF as it takes; InputError, JobError if what draws it is not installed."""
    chips, lost = _chips(rows, palette, common)

    def draw(page: Page) -> None:
        top = page.left
        page.words("Fan", page.left, top, points=19)
        top = page.paragraph(_head(chips, palette, common), page.left, top + 9.0, width=page.width) + 3.0
        for name, held in in_groups(chips):
            top = _group(page, name, held, top)
        if lost:
            top = _heading(page, "No colour was told", top, 5.0)
        for line in lost:
            top = page.paragraph(line, page.left, _room(page, top, 8.0), width=page.width, points=SMALL)

    return many_pages(draw, paper="a4", title=f"Fan, {palette.name}")


def _group(page: Page, name: str, chips: Sequence[Chip], top: float) -> float:
    """Chips of one hue; returns where they end [mm]."""
    top = _heading(page, f"{name[:1].upper()}{name[1:]}", top, _CELL_MM)
    wide = (page.width + _GAP_MM) / _ACROSS
    for first in range(0, len(chips), _ACROSS):
        top = _room(page, top, _CELL_MM)
        for at, chip in enumerate(chips[first : first + _ACROSS]):
            _cell(page, chip, page.left + at * wide, top, wide - _GAP_MM)
        top += _CELL_MM
    return top + 1.0


def _heading(page: Page, words: str, top: float, below: float) -> float:
    top = _room(page, top, 7.0 + below)
    page.words(words, page.left, top, points=11, bold=True)
    return top + 6.5


def _room(page: Page, top: float, height: float) -> float:
    """Where to go on: here, or at the head of a new page."""
    if top + height <= page.bottom:
        return top
    page.turn()
    return page.left


def _cell(page: Page, chip: Chip, x: float, top: float, width: float) -> None:
    row = chip.row
    halves = [code for code in ("" if row.reached else chip.wanted, row.srgb) if code]
    for at, code in enumerate(halves):
        red, green, blue = bytes.fromhex(code.lstrip("#"))
        each = width / len(halves)
        page.chip(Shade((red, green, blue), exact=True), x + at * each, top, each, _CHIP_MM)
    end = top + _CHIP_MM + 0.6
    number = page.words(str(row.number), x + width, end, points=SMALL, ink=QUIET, right=True)
    page.words(row.name, x, end, points=SMALL, bold=True, width=width - number - 1.0)
    for line in chip.told:
        end += page.line_height(SMALL)
        page.words(line, x, end, points=SMALL, ink=QUIET, width=width)


def _head(chips: Sequence[Chip], palette: Palette, common: Common) -> str:
    seen, reached = common.setting(), sum(chip.row.reached for chip in chips)
    walls = f"{' and '.join(f'{wall:g}' for wall in common.walls_mm)} mm thick, " if common.walls_mm else ""
    return (
        f"{palette.name}. {reached} of {len(chips)} colours can be had; for {seen.light}, {seen.observer}° observer, "
        f"{walls}over {seen.behind(palette)}, where the table names no other. A chip in two halves cannot: what "
        "was asked for stands left, the nearest that can be had right. Contrast ratio: how bright a part is over "
        "black, divided by over white; 1 hides all that lies behind. Confirm with a cured swatch."
    )


def _told(row: Row, common: Common) -> list[str]:
    """What is said under a chip, in at most two lines."""
    others = row.walls_mm if row.walls_mm != tuple(sorted(common.walls_mm)) else ()
    walls = f"{' and '.join(f'{wall:g}' for wall in others)} mm, " if others else ""
    opacity = [] if row.contrast_ratio is None else [f"{walls}contrast ratio {row.contrast_ratio:.2f}"]
    if row.reached:
        return opacity
    if not row.srgb:
        return [row.reason]
    return ["≈ nearest" + ("" if row.delta_e is None else f", {row.delta_e:.1f} CIEDE2000"), *opacity]
