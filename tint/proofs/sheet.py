"""The weigh sheet on one page of paper: tick boxes, lots, and room for what was really weighed, when and by whom."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass

from tint.palette import Palette
from tint.proofs.leaf import FAINT, INK, LINE, QUIET, Page, one_page
from tint.weighing import WeighSheet, kept_words, of_cure

_NOT_SHOWN = "No screen or printer shows it truly. Always confirm with a cured swatch."
_MOST_CARE = 3  # weighings that are pointed out: what one keeps in mind; common practice, no source
CUP_ROWS = 8  # more cups than that have boxes to tick, but no row each


def draw_weigh_sheet(
    palette: Palette, sheet: WeighSheet, *, title: str = "", paper: str = "a4", made: datetime.datetime | None = None
) -> bytes:
    """A weigh sheet to print and fill in.

    `palette`: that it was weighed with: it knows the lots.
    `title`: for whom or what it is.
    `paper`: `a4` or `letter`.
    `made`: its date, also on the page; without one there is room to write it, and equal sheets are equal files.
    Returns a PDF of one page.
    Raises InputError if there is no such paper.
    Raises JobError if fpdf2 is not installed, or the sheet is too long for one page.
    """

    def draw(page: Page) -> float:
        top = _head(page, palette, sheet, title, made)
        first = of_cure(palette.bases[sheet.blend.base], palette.pigments, sheet.blend)
        doubts = [f"{note[:1].upper()}{note[1:]}." for note in (*first, *sheet.warnings, *sheet.predicted.warnings)]
        top = _notes(page, "Before you weigh", doubts, top + 1.0)
        top = _colour(page, sheet, top + 2.0)
        if kept := kept_words(sheet):
            told = f"Kept premixes, stirred before use: {'; '.join(kept)}."
            top = page.paragraph(told, page.left, top, width=page.width, points=8.5) + 2.0
        if any(premix.steps for premix in sheet.premixes):
            steps = sum(len(premix.steps) for premix in sheet.premixes)
            heading = f"Premix{'es' if steps > 1 else ''}, made and stirred first"
            top = _table(page, heading, premix_rows(sheet), top)
        top = _table(page, "Batch, in this order", batch_rows(sheet), top, counts=True)
        if sheet.cups.count > 1:
            top = _cups(page, sheet, top)
        top = _times(page, sheet, top)
        top = _notes(page, "", _kept_in_mind(sheet), top)
        top = _notes(page, "Take care", [each for each in sheet.cautions if each not in first], top)
        return _foot(page, palette, top)

    return one_page(draw, paper=paper, title=f"Weigh sheet {title}".strip(), made=made, serif=False)


def _head(page: Page, palette: Palette, sheet: WeighSheet, title: str, made: datetime.datetime | None) -> float:
    wide = page.width
    top = 13.0
    shown = page.words("Weigh sheet", page.left, top, points=19, bold=True)
    named = title or palette.name
    page.words(named, page.right, top + 3.0, points=10, ink=QUIET, right=True, width=wide - shown - 8.0)
    top = page.paragraph(str(sheet.blend), page.left, top + 10.0, width=wide, points=11.5, bold=True)
    facts = (
        f"{sheet.batch_g:.5g} g of mix, {sheet.volume_cm3:.4g} cm³. Scale step {sheet.scale.step_g:g} g; it weighs "
        f"{sheet.scale.smallest_g:.2g} g and more to {sheet.scale.tolerance_percent:g} %."
    )
    top = page.paragraph(facts, page.left, top + 0.6, width=wide, points=8.5) + 2.2
    names = ("Date", "Batch no.", "Order", "Workshop °C")
    if made:
        page.words(f"Date {made:%Y-%m-%d}", page.left, top, points=8)
    _blanks(page, ("" if made else names[0], *names[1:]), top)
    return top + page.line_height(8.0) + 1.5


def _blanks(page: Page, names: Sequence[str], top: float) -> None:
    """Names across the page, each with room to write behind it; an empty one leaves its place free."""
    each = page.width / len(names)
    for at, name in enumerate(names):
        if name:
            page.blank(name, page.left + at * each, top, to=page.left + (at + 1) * each - 3.0)


def _colour(page: Page, sheet: WeighSheet, top: float) -> float:
    """The expected colour, and everything it holds for."""
    seen = sheet.predicted
    height, width = 23.0, 36.0
    red, green, blue = bytes.fromhex(seen.srgb.lstrip("#"))
    page.box(page.left, top, width, height, fill=(red, green, blue))
    left, y = page.left + width + 4.0, top
    told = f"Expected colour {seen.srgb} (sRGB)"
    y = page.paragraph(told, left, y, width=page.right - left, points=9.5, bold=True)
    lab = ", ".join(f"{axis}* {x:.1f}" for axis, x in zip("Lab", seen.lab, strict=True))
    error = f"95 of 100 castings read within {seen.expected_error:.2f} CIEDE2000."
    if math.isfinite(seen.contrast_ratio):
        error += f" Contrast ratio {seen.contrast_ratio:.3f} ± {seen.contrast_ratio_error:.3f}."
    lines = [
        f"{'' if seen.in_gamut else 'The chip is the nearest that a screen has. '}{_NOT_SHOWN}",
        f"{lab} at {seen.conditions}.",
        error,
        f"Of the weights as rounded, {sheet.delta_e:.2f} CIEDE2000 from the exact recipe.",
    ]
    y = page.paragraphs(lines, left, y, page.right - left, points=8.5)
    return max(y, top + height) + 3.5


# Lengths below are millimetres, chosen by eye on printed sheets.
# What share of the page's width is left of each column; of `weigh` and `sum`, left of their right edges.
_COLUMNS = (("what", 0.085), ("lot", 0.35), ("into", 0.49), ("weigh", 0.77), ("sum", 0.86), ("really weighed", 0.885))


def _table(page: Page, heading: str, rows: list[Row], top: float, *, counts: bool = False) -> float:
    """Weighings with a box to tick before each and room for the weight behind it."""
    wide = page.width
    x = {name: page.left + share * wide for name, share in _COLUMNS}
    page.words(heading, page.left, top, points=10.5, bold=True)
    for name in ("lot", "into", "weigh", "sum", "really weighed"):
        page.words(name, x[name], top + 0.8, points=7.5, ink=QUIET, right=name in ("weigh", "sum"))
    top += 6.0
    page.rule(page.left, top - 0.4, page.right, ink=INK)
    height, number = 7.6, 0
    for row in rows:
        if row.heading:
            page.words(row.what, page.left, top + 1.4, points=8.5, ink=QUIET)
            top += 6.0
            continue
        number += 1
        page.box(page.left + 1.0, top + 1.7, 4.2, 4.2)
        if counts:
            page.words(str(number), x["what"] - 2.5, top + 2.0, points=9, ink=QUIET, right=True)
        page.words(row.what, x["what"], top + 1.7, points=10, width=x["lot"] - x["what"] - 2.0)
        page.words(row.lot, x["lot"], top + 2.1, points=8.5, width=x["into"] - x["lot"] - 2.0)
        if not row.lot:
            page.rule(x["lot"], top + 6.3, x["into"] - 4.0)
        page.words(row.into, x["into"], top + 2.1, points=8.5, width=0.16 * wide)
        page.words(row.grams, x["weigh"], top + 1.2, points=11.5, bold=True, right=True)
        page.words(row.running, x["sum"], top + 2.1, points=8.5, ink=QUIET, right=True)
        page.rule(x["really weighed"], top + 6.3, page.right)
        top += height
        if not row.joined:
            page.rule(page.left, top, page.right, ink=FAINT)
    return top + 3.5


def _cups(page: Page, sheet: WeighSheet, top: float) -> float:
    """What goes into each cup, and a row for each, or boxes alone when they are many."""
    wide, cups = page.width, sheet.cups
    page.words(f"{cups.count} equal cups, one after the other", page.left, top, points=10.5, bold=True)
    told = " + ".join(cup_rows(sheet)) + f" = {sheet.scale.shown(cups.grams)} in each."
    for at, part in enumerate(cups.rest_g):
        start = page.left + (0.63 - 0.4 * at) * wide
        page.blank(f"lot of part {part}", start, top + 0.6, to=start + 0.37 * wide)
    top = page.paragraph(told, page.left, top + 5.4, width=wide, points=9.5) + 0.8
    if cups.count > CUP_ROWS:
        for at in range(cups.count):
            row, column = divmod(at, 25)
            page.box(page.left + 7.0 * column, top + 6.5 * row, 4.2, 4.2)
        return top + 6.5 * math.ceil(cups.count / 25) + 2.5
    for at in range(cups.count):
        page.box(page.left + 1.0, top + 1.2, 4.2, 4.2)
        page.words(f"cup {at + 1}", page.left + 8.0, top + 1.2, points=9)
        for name, start, end in (("weighed", 0.16, 0.40), ("parts met at", 0.42, 0.69), ("poured at", 0.71, 1.0)):
            page.blank(name, page.left + start * wide, top + 1.4, to=page.left + end * wide)
        top += 6.8
    return top + 2.5


def _times(page: Page, sheet: WeighSheet, top: float) -> float:
    """The clock, and room for what it said."""
    wide, cups = page.width, sheet.cups
    page.words("Clock", page.left, top, points=10.5, bold=True)
    told = f"Cups hold {cups.least_cup_cm3:.4g} cm³ or more: {sheet.split.headroom:g} times the mix, for the vacuum."
    if cups.moulds_each is not None and cups.cups_each == 1:
        told += f" Moulds a cup: {cups.moulds_each}."
    if cups.cups_each > 1:
        told += f" Cups a mould: {cups.cups_each}, one straight after the other."
    if cups.minutes is not None and sheet.split.pot_life_min is not None:
        told += f" Each is poured {cups.minutes:g} min after the parts met; pot life {sheet.split.pot_life_min:g} min."
    top = page.paragraph(told, page.left + 14.0, top + 0.6, width=wide - 14.0, points=8.5)
    top += 1.8
    for names in (
        ("parts met at", "vacuum from", "to", "poured by"),
        ("cure °C", "demoulded at", "cup test", "swatch kept"),
    ):
        _blanks(page, names, top)
        top += 6.6
    return top + 1.0


def _kept_in_mind(sheet: WeighSheet) -> list[str]:
    """What to weigh most carefully, and how pigment counts."""
    care = "; ".join(
        f"{each.what} into {each.into}, {each.delta_e:.2g}" for each in sheet.care[:_MOST_CARE] if each.delta_e >= 0.005
    )
    told = [f"Weigh most carefully (colour change of one scale step, CIEDE2000): {care}."] if care else []
    if sheet.blend.total:
        told.append(
            f"The pigment belongs to no part. Counted as part {sheet.lines[0].part}, it would leave that part "
            f"{sheet.naive_part_error_percent:.2g} % short. As rounded, the ratio is within "
            f"{sheet.mix_error_percent:.2f} %."
        )
    return told


def _notes(page: Page, heading: str, notes: Sequence[str], top: float) -> float:
    """Notes in small print, one under the other."""
    if not notes:
        return top
    if heading:
        page.words(heading, page.left, top, points=9, bold=True)
        top += page.line_height(9.0)
    for note in notes:
        page.words("-", page.left, top, points=7.8, ink=QUIET)
        top = page.paragraph(note, page.left + 2.5, top, width=page.width - 2.5, points=7.8)
    return top + 1.4


def _foot(page: Page, palette: Palette, top: float) -> float:
    """Room for notes down to the signatures, which stand at the foot of the page."""
    needed = 15.5
    foot = max(top + 4.0, page.bottom - needed)
    if foot - top > 14.0:
        page.words("Notes", page.left, top + 1.0, points=9, bold=True)
        line = top + 12.0
        while line < foot - 4.0:
            page.rule(page.left, line, page.right, ink=FAINT)
            line += 7.0
    _blanks(page, ("Weighed by", "Checked by", "Date and signature"), foot + 3.0)
    told = f"tint, {palette.model} palette of swatches {palette.digest[:12]}. Weights in grams. "
    told += "What was really weighed is the recipe of record."
    page.rule(page.left, foot + 11.0, page.right, ink=LINE)
    page.words(told, page.left, foot + 12.5, points=7, ink=QUIET)
    return foot + needed


# The rows of the tables.


@dataclass(frozen=True)
class Row:
    """One weighing, or a heading between weighings."""

    what: str
    lot: str = ""
    into: str = ""
    grams: str = ""
    running: str = ""  # what the scale shows after it, were it not set to zero between
    heading: bool = False
    joined: bool = False  # whether the next row belongs to it


def premix_rows(sheet: WeighSheet) -> list[Row]:
    """Two weighings for every step of every premix."""
    rows, shown = [], sheet.scale.shown
    for premix in sheet.premixes:
        for step in premix.steps:
            into, lot = step.makes, step.lot or ("" if step.what == premix.pigment else "as made")
            base = Row(f"part {step.part}", "", into, shown(step.base_g), shown(step.base_g), joined=True)
            rows += [base, Row(step.what, lot, into, shown(step.grams), shown(step.made_g))]
    return rows


def batch_rows(sheet: WeighSheet) -> list[Row]:
    """Every weighing of the batch; of many cups, only those that are made in one."""
    own, shown = sheet.lines[0].part, sheet.scale.shown
    rows, running = [], 0.0
    stir = Row(f"Stir part {own} until no streak is left. The clock starts with the next:", heading=True)
    for line in sheet.lines:
        part = not line.pigment
        if part and line.part != own:
            if sheet.cups.count > 1:
                continue
            if stir not in rows:
                rows.append(stir)
        running += line.grams
        lot = line.lot if line.what == line.pigment else "as made" if line.pigment else ""
        into = "" if part else f"part {line.part}"
        rows.append(Row(line.what, lot, into, shown(line.grams), shown(running)))
    return rows


def cup_rows(sheet: WeighSheet) -> list[str]:
    """What goes into each cup."""
    shown, cups = sheet.scale.shown, sheet.cups
    rest = [f"{shown(grams)} of part {part}" for part, grams in cups.rest_g.items()]
    return [f"{shown(cups.tinted_g)} of the tinted part {sheet.lines[0].part}", *rest]
