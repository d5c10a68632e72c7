"""A comparison as a picture, a recipe a row: the target runs down beside all of them, edge to edge.

It is narrow and its letters are large, so that it can be read on a phone, and on a page of A4.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from tint.proofs import parts, words
from tint.proofs.comparison import Candidate, Comparison
from tint.proofs.facts import Shade
from tint.proofs.lettering import line_height
from tint.proofs.picture import DARK, LINE, PAPER, QUIET, Box, Ink, Item, NearSign, Patch, paint, paragraph
from tint.proofs.trial import trial_part
from tint.proofs.words import FOR_MAKER, closing, common, differences, dose_in_words, figures_of, lines_of

WIDTH = 1080
_LEFT, _RIGHT = 40, WIDTH - 40
_TARGET, _OWN, _GAP, _CARD = 120, 150, 16, 130  # widths of what lies side by side
_BORDER = 18  # of bare backing around what lies on it
_TEXT = _LEFT + _TARGET + _OWN + _GAP + _CARD + 28
_TITLE, _NAME, _FIGURE, _BODY, _SMALL = 44, 32, 31, 25, 23
_LEAST, _BETWEEN = 230, 26  # height of a row, and what is left between two
_FIGURES = 3  # in a row of figures


@dataclass(frozen=True)
class Layout:
    """Where things stand on the picture [px].

    Parameters
    ----------
    target : Box or None
        Beside all recipes.
    own : tuple of Box
        Each recipe over the setting's backing; its left edge is the target's right one.
    over : tuple of tuple of Box
        By recipe, then by backing, darkest first.
    trial : tuple of Box
        Predicted, read and photographed, as far as there is a trial.
    """

    canvas: Box
    target: Box | None
    own: tuple[Box, ...]
    over: tuple[tuple[Box, ...], ...]
    trial: tuple[Box, ...]


def draw_comparison(sheet: Comparison) -> bytes:
    """The comparison as a PNG tagged sRGB, the same for the same input."""
    items, layout = compose(sheet)
    return paint(layout.canvas, items)


def compose(sheet: Comparison) -> tuple[list[Item], Layout]:
    """Every item of the picture, in the order of painting, and the boxes of what matters."""
    items, top = _head(sheet)
    first = top
    own, over, more = [], [], []
    for each, differs in zip(sheet.candidates, differences(sheet.candidates), strict=True):
        row, drawn, bottom = _row(sheet, each, differs, top)
        own.append(row[0])
        over.append(row[1:])
        more += drawn
        top = bottom + _BETWEEN
    target = Box(_LEFT, first, _LEFT + _TARGET, own[-1].bottom) if sheet.wanted else None
    items += itertools.chain(*map(parts.framed, own))
    if target and sheet.wanted:
        items += parts.framed(Box(target.left, target.top, target.right - 1, target.bottom))
        items += parts.coloured(target, sheet.wanted, at_left=True)  # over the frames: no line between it and a recipe
    items += more
    boxes: tuple[Box, ...] = ()
    if sheet.trial:
        named = f"Trial of {sheet.candidates[0].rank}"
        trial = trial_part(sheet.trial, top + 8, left=_LEFT, right=_RIGHT, named=named, height=300)
        items, top, boxes = [*items, *trial.items], trial.bottom + 16, trial.boxes
    foot, top = _foot(sheet, top)
    canvas = Box(0, 0, WIDTH, top + 36)
    return [*items, *foot], Layout(canvas, target, tuple(own), tuple(over), boxes)


def _said(said: str, left: int, top: int, right: int, *, size: int = _BODY, ink: Ink = DARK) -> tuple[list[Item], int]:
    lines, bottom = paragraph(said, left=left, top=top, width=right - left, size=size, ink=ink)
    return [*lines], bottom


def _head(sheet: Comparison) -> tuple[list[Item], int]:
    band = Box(0, 0, WIDTH, line_height(_BODY) + 20)
    items: list[Item] = [Patch(band, DARK)]
    more, top = _said(FOR_MAKER, _LEFT, 10, _RIGHT, ink=PAPER)
    items += more
    more, top = _said(sheet.title, _LEFT, band.bottom + 24, _RIGHT, size=_TITLE)
    items += more
    for said, ink in ((f"{sheet.told} It holds for {sheet.conditions}.", QUIET), (common(sheet.candidates), DARK)):
        more, top = _said(said, _LEFT, top + 4, _RIGHT, ink=ink)
        items += more
    items.append(Patch(Box(_LEFT, top + 12, _RIGHT, top + 14), DARK))
    top += 26
    ends = []
    pair = " and ".join(sheet.behind) if len(sheet.behind) > 1 else sheet.behind[0]
    columns = [("Target", _LEFT, _TARGET)] if sheet.wanted else []
    columns += [(f"Recipe {words.behind(sheet.over)}", _LEFT + _TARGET, _OWN)]
    columns += [(f"Over {pair}", _LEFT + _TARGET + _OWN + _GAP, _CARD + 24)]
    for said, left, width in columns:
        more, end = _said(said, left, top, left + width - 6, size=_SMALL, ink=QUIET)
        items += more
        ends.append(end)
    return items, max(ends) + 8


def _row(
    sheet: Comparison, each: Candidate, differs: list[str], top: int
) -> tuple[tuple[Box, ...], list[Item], int]:  # fmt: skip
    """A recipe: its boxes, its own first; its items; and where it ends."""
    items, end = _told(each, differs, top)
    bottom = max(end, top + _LEAST)
    own = Box(_LEFT + _TARGET, top, _LEFT + _TARGET + _OWN, bottom)
    card = Box(own.right + _GAP, top, own.right + _GAP + _CARD, bottom)
    bare = card.rows(len(sheet.behind))
    slab = card.grown(-_BORDER)
    over = tuple(Box(slab.left, max(box.top, slab.top), slab.right, min(box.bottom, slab.bottom)) for box in bare)
    chips = [*parts.coloured(own, each.own), *parts.framed(card)]
    chips += [Patch(box, shade.rgb) for box, shade in zip(bare, sheet.bare, strict=True)]
    chips += list(itertools.chain(*map(_chip, over, each.over)))
    return (own, *over), [*chips, *items], bottom


def _chip(box: Box, shade: Shade) -> list[Item]:
    return parts.coloured(box, shade, size=parts.STEP_SIGN)


def _told(each: Candidate, differs: list[str], top: int) -> tuple[list[Item], int]:
    items, top = _said(each.name, _TEXT, top - 6, _RIGHT, size=_NAME)
    doses = ", ".join(f"{name} {dose_in_words(loading)}" for name, loading in each.doses) or "uncoloured"
    more, top = _said(doses, _TEXT, top, _RIGHT)
    items += more
    told = figures_of(each)
    for at in range(0, len(told), _FIGURES):
        row = told[at : at + _FIGURES]
        columns = Box(_TEXT, top, _RIGHT, top).columns(_FIGURES)
        ends = []
        for column, (figure, meaning) in zip(columns, row, strict=False):
            large, end = _said(figure, column.left, top + 5, column.right, size=_FIGURE)
            small, end = _said(meaning, column.left, end, column.right - 14, size=_SMALL, ink=QUIET)
            items += [*large, *small]
            ends.append(end)
        top = max(ends)
    top += 8
    for line in lines_of(each, differs):
        more, top = _said(line, _TEXT, top, _RIGHT, size=_SMALL)
        items += more
    return items, top


def _foot(sheet: Comparison, top: int) -> tuple[list[Item], int]:
    items: list[Item] = [Patch(Box(_LEFT, top, _RIGHT, top + 1), LINE)]
    top += 14
    if sheet.has_signs:
        sign = Box(_LEFT, top + 2, _LEFT + parts.STEP_SIGN, top + 2 + parts.STEP_SIGN)
        more, top = _said(words.NEAREST_LINE, sign.right + 10, top, _RIGHT, size=_SMALL)
        items += [NearSign(sign), *more]
    for line in closing(sheet):
        more, top = _said(line, _LEFT, top, _RIGHT, size=_SMALL)
        items += more
    return items, top
