"""A fan for customers: chips by hue and lightness, on a page or on paper, and a table for a web shop."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from tint import colorimetry
from tint.fans.rows import Row
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

    Parameters
    ----------
    common : Common
        Tells the light that the colours hold for.

    Raises
    ------
    InputError
        If what draws it is not installed.
    """
    chips, lost = _chips(rows, palette, common)
    return chips_page(chips, title=palette.name, light=_light(common), lost=lost)


def fan_pdf(rows: Iterable[Row], palette: Palette, common: Common, *, made: datetime.datetime | None = None) -> bytes:
    """The same as a PDF of A4 pages; InputError, JobError if what draws it is not installed."""
    chips, lost = _chips(rows, palette, common)
    return chips_pdf(chips, title=palette.name, light=_light(common), lost=lost, made=made)


def shop_table(rows: Iterable[Row], palette: Palette, common: Common) -> bytes:
    """The same as comma-separated values for a web shop: what a customer may see, in the order of the page.

    The colour is that of the recipe where it can be had, and else what was asked for.
    """
    chips, _ = _chips(rows, palette, common)
    table: list[list[object]] = [["order", "number", "name", "group", "colour", "contrast_ratio", "can_be_had"]]
    held = [(group, chip) for group, members in in_groups(chips) for chip in members]
    for order, (group, chip) in enumerate(held, start=1):
        seen = chip.had if chip.reached else chip.wanted
        opacity = "" if chip.contrast_ratio is None or not chip.reached else f"{chip.contrast_ratio:.3f}"
        table.append([order, chip.number, chip.name, group, seen, opacity, "yes" if chip.reached else "no"])
    return csv_table(table)


def _light(common: Common) -> str:
    seen = common.setting()
    return f"{seen.light}, {seen.observer}° observer"


def _chips(rows: Iterable[Row], palette: Palette, common: Common) -> tuple[list[Chip], list[str]]:
    """Rows as chips, and what is said of those that told no colour."""
    view = common.setting().viewing(palette)
    told = list(rows)
    known = [row for row in told if row.target is not None]
    labs = np.array([row.target for row in known]).reshape(-1, 3)
    codes = [colorimetry.hex_code(each) for each in colorimetry.lab_to_srgb(labs, view)[0]]
    chips = [_chip(row, wanted) for row, wanted in zip(known, codes, strict=True)]
    return chips, [f"{row.number} {row.name}: {row.reason}" for row in told if row.target is None]


def _chip(row: Row, wanted: str) -> Chip:
    assert row.target is not None  # the caller has looked
    return Chip(
        number=row.number,
        name=row.name,
        lab=row.target,
        wanted=wanted,
        had=row.srgb,
        reached=row.reached,
        delta_e=row.delta_e,
        contrast_ratio=row.contrast_ratio,
        reason=row.reason,
    )


# Chips, by hue and lightness, on a page for a browser and on paper.


@dataclass(frozen=True, kw_only=True)
class Chip:
    """A colour of a fan."""

    number: int  # of its recipe
    name: str
    lab: tuple[float, float, float]  # CIELAB that was asked for [-]
    wanted: str  # what was asked for, as `#rrggbb`
    had: str  # what the recipe gives, likewise; empty where there is no recipe
    reached: bool
    delta_e: float | None  # between the two, as the recipe tells it [CIEDE2000]
    contrast_ratio: float | None  # of the recipe [-]
    reason: str  # why it is not reached


def in_groups(chips: Sequence[Chip]) -> list[tuple[str, list[Chip]]]:
    """Chips by hue, the neutral ones first; in each group from light to dark, and of one lightness by chroma."""
    groups: dict[str, list[Chip]] = {name: [] for name in ("neutral", *_HUES)}
    for chip in sorted(chips, key=lambda each: (-round(each.lab[0]), _chroma(each), each.number)):
        groups["neutral" if _chroma(chip) < _NEUTRAL else _hue(chip)].append(chip)
    return [(name, held) for name, held in groups.items() if held]


def _chroma(chip: Chip) -> float:
    return math.hypot(chip.lab[1], chip.lab[2])


def _hue(chip: Chip) -> str:
    angle = math.degrees(math.atan2(chip.lab[2], chip.lab[1]))
    return _HUES[int((angle + 0.5 * _SECTOR) % 360.0 // _SECTOR)]


def chips_page(chips: Sequence[Chip], *, title: str, light: str, lost: Sequence[str] = ()) -> bytes:
    """The fan as HTML, self-contained: chips in any order, and a line for each target that told no colour."""
    groups = [(name, [(chip, _told(chip)) for chip in held]) for name, held in in_groups(chips)]
    return rendered("fan.html.j2", groups=groups, title=title, head=_head(chips, title, light), lost=list(lost))


# Chips on paper: so many side by side, as the page shows them in print; heights of a chip and of all that is a chip's.
_ACROSS, _CHIP_MM, _CELL_MM, _GAP_MM = 5, 16.0, 29.0, 4.0


def chips_pdf(
    chips: Sequence[Chip], *, title: str, light: str, lost: Sequence[str] = (), paper: str = "a4",
    made: datetime.datetime | None = None,
) -> bytes:  # fmt: skip
    """The same on as many pages of a PDF as it takes."""

    def draw(page: Page) -> None:
        top = page.left
        page.words("Fan", page.left, top, points=19)
        top = page.paragraph(_head(chips, title, light), page.left, top + 9.0, width=page.width) + 3.0
        for name, held in in_groups(chips):
            top = _group(page, name, held, top)
        if lost:
            top = _heading(page, "No colour was told", top, 5.0)
        for line in lost:
            top = page.paragraph(line, page.left, _room(page, top, 8.0), width=page.width, points=SMALL)

    return many_pages(draw, paper=paper, title=f"Fan, {title}", made=made)


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
    halves = [code for code in ("" if chip.reached else chip.wanted, chip.had) if code]
    for at, code in enumerate(halves):
        red, green, blue = bytes.fromhex(code.lstrip("#"))
        each = width / len(halves)
        page.chip(Shade((red, green, blue), exact=True), x + at * each, top, each, _CHIP_MM)
    end = top + _CHIP_MM + 0.6
    number = page.words(str(chip.number), x + width, end, points=SMALL, ink=QUIET, right=True)
    page.words(chip.name, x, end, points=SMALL, bold=True, width=width - number - 1.0)
    for line in _told(chip):
        end += page.line_height(SMALL)
        page.words(line, x, end, points=SMALL, ink=QUIET, width=width)


def _head(chips: Sequence[Chip], title: str, light: str) -> str:
    reached = sum(chip.reached for chip in chips)
    return (
        f"{title}. {reached} of {len(chips)} colours can be had; for {light}. A chip in two halves cannot: what was "
        "asked for stands left, the nearest that can be had right. Confirm with a cured swatch."
    )


def _told(chip: Chip) -> list[str]:
    """What is said under a chip, in at most two lines."""
    opacity = [] if chip.contrast_ratio is None else [f"contrast ratio {chip.contrast_ratio:.2f}"]
    if chip.reached:
        return opacity
    if not chip.had:
        return [chip.reason]
    return ["≈ nearest" + ("" if chip.delta_e is None else f", {chip.delta_e:.1f} CIEDE2000 off"), *opacity]
