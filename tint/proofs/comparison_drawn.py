"""A comparison drawn: as a picture, as a page for a browser, and as a PDF of one page, with the same words and colours.

The picture has a recipe a row: the target runs down beside all of them, edge to edge. It is narrow and its letters are
large, so that it can be read on a phone. Page and PDF have three recipes across.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from tint.proofs import words
from tint.proofs.card import trial_laid
from tint.proofs.comparison import FOR_MAKER, Candidate, Comparison, common, differences, figures_of, lines_of
from tint.proofs.facts import Chip, Row
from tint.proofs.leaf import QUIET as GREY
from tint.proofs.leaf import SMALL, Page, one_page, rendered
from tint.proofs.lettering import line_height
from tint.proofs.picture import DARK, PAPER, QUIET, STEP_SIGN, Box, Layout, Line, Patch, Picture, paint

# Sizes [px], chosen by eye; letters of 23 px on 1080 px are 8 px high and more on a phone.
WIDTH, _MARGIN = 1080, 40
_LEFT, _RIGHT = _MARGIN, WIDTH - _MARGIN
_TARGET, _OWN, _GAP, _CARD = 120, 150, 16, 130  # widths of what lies side by side
_BORDER = 18  # of bare backing around what lies on it
_TEXT = _LEFT + _TARGET + _OWN + _GAP + _CARD + 28
_TITLE, _NAME, _FIGURE, _BODY, _SMALL = 44, 32, 31, 25, 23
_LEAST, _BETWEEN = 230, 26  # height of a row, and what is left between two
_FIGURES = 3  # in a row of figures
_TRIAL = 300


def draw_comparison(sheet: Comparison) -> bytes:
    """The comparison as a PNG tagged sRGB, the same for the same input."""
    return paint(comparison_picture(sheet))


def comparison_picture(sheet: Comparison) -> Picture:
    """The picture laid out.

    Its boxes are `target` beside all recipes, where there is one; for the first, second ... recipe `recipe 0`, whose
    left edge is the target's right one, and for each backing `recipe 0 over NAME`; and `trial 0`, `trial 1` ...
    """
    on = Layout()
    top = _head(on, sheet)
    first, last = top, top
    rows = Layout()
    for at, (each, differs) in enumerate(zip(sheet.candidates, differences(sheet.candidates), strict=True)):
        last = _row(rows, sheet, each, differs, top, f"recipe {at}")
        on.frame(rows.boxes[f"recipe {at}"])
        top = last + _BETWEEN
    if sheet.wanted:
        target = on.boxes["target"] = Box(_LEFT, first, _LEFT + _TARGET, last)
        on.frame(Box(target.left, target.top, target.right - 1, target.bottom))
        on.colour(target, sheet.wanted, at_left=True)  # over the frames: no line between it and a recipe
    on.items.extend(rows.items)
    on.boxes.update(rows.boxes)
    if sheet.trial:
        named = f"Trial of {sheet.candidates[0].rank}"
        top = trial_laid(on, sheet.trial, top + 8, left=_LEFT, right=_RIGHT, named=named, height=_TRIAL) + 16
    return on.finished(top, told=sheet.closing, width=WIDTH, margin=_MARGIN, size=_SMALL)


def _head(on: Layout, sheet: Comparison) -> int:
    band = Box(0, 0, WIDTH, line_height(_BODY) + 20)
    on.items.append(Patch(band, DARK))
    on.lines([(FOR_MAKER, _BODY, PAPER)], _LEFT, 10, _RIGHT - _LEFT)
    told = f"{sheet.told} It holds for {sheet.conditions}."
    lines: list[Line] = [(sheet.title, _TITLE, DARK), (told, _BODY, QUIET), (common(sheet.candidates), _BODY, DARK)]
    top = on.lines(lines, _LEFT, band.bottom + 24, _RIGHT - _LEFT)
    on.items.append(Patch(Box(_LEFT, top + 12, _RIGHT, top + 14), DARK))
    columns = [("Target", _LEFT, _TARGET)] if sheet.wanted else []
    columns += [(f"Recipe {words.behind(sheet.over)}", _LEFT + _TARGET, _OWN)]
    columns += [(f"Over {' and '.join(sheet.behind)}", _LEFT + _TARGET + _OWN + _GAP, _CARD + 24)]
    return max(on.lines([(said, _SMALL, QUIET)], left, top + 26, width - 6) for said, left, width in columns) + 8


def _row(on: Layout, sheet: Comparison, each: Candidate, differs: Sequence[str], top: int, name: str) -> int:
    """A recipe: its colours and its words; where it ends."""
    bottom = max(_told(on, each, differs, top), top + _LEAST)
    own = on.boxes[name] = Box(_LEFT + _TARGET, top, _LEFT + _TARGET + _OWN, bottom)
    card = Box(own.right + _GAP, top, own.right + _GAP + _CARD, bottom)
    slab, bare = card.grown(-_BORDER), card.rows(len(sheet.behind))
    on.colour(own, each.own)
    on.frame(card)
    on.items.extend(Patch(box, shade.rgb) for box, shade in zip(bare, sheet.bare, strict=True))
    for backing, box, shade in zip(sheet.behind, bare, each.over, strict=True):
        over = Box(slab.left, max(box.top, slab.top), slab.right, min(box.bottom, slab.bottom))
        on.boxes[f"{name} over {backing}"] = over
        on.colour(over, shade, size=STEP_SIGN)
    return bottom


def _told(on: Layout, each: Candidate, differs: Sequence[str], top: int) -> int:
    doses = ", ".join(f"{name} {loading}" for name, loading in each.doses) or "uncoloured"
    top = on.lines([(each.name, _NAME, DARK), (doses, _BODY, DARK)], _TEXT, top - 6, _RIGHT - _TEXT)
    columns = Box(_TEXT, top, _RIGHT, top).columns(_FIGURES)
    told = figures_of(each)
    for at in range(0, len(told), _FIGURES):
        top = max(
            on.lines([(figure, _FIGURE, DARK), (meaning, _SMALL, QUIET)], column.left, top + 5, column.width - 14)
            for column, (figure, meaning) in zip(columns, told[at : at + _FIGURES], strict=False)
        )
    return on.lines([(line, _SMALL, DARK) for line in lines_of(each, differs)], _TEXT, top + 8, _RIGHT - _TEXT)


# Page and PDF.

_ACROSS = 3  # recipes; chosen by eye
_CROWDED = 0.8  # by how much a browser prints two rows smaller, so that they stay on one page; measured on it
_APART, _CHIP_MM, _CARD_MM, _EDGE, _TRIAL_MM = 6.0, 20.0, 11.0, 2.0, 24.0  # lengths on the PDF, chosen by eye [mm]
_FIGURE_MM = 17.0  # room for a figure before its meaning [mm]


def comparison_page(sheet: Comparison) -> bytes:
    """The comparison as HTML, self-contained.

    Raises InputError if what draws it is not installed.
    """
    differs = differences(sheet.candidates)
    return rendered(
        "comparison.html.j2",
        sheet=sheet,
        for_maker=FOR_MAKER,
        common=common(sheet.candidates),
        columns=[
            (each, each.doses, figures_of(each), lines_of(each, said))
            for each, said in zip(sheet.candidates, differs, strict=True)
        ],
        behind=[words.behind(name) for name in sheet.behind],
        over=words.behind(sheet.over),
        notes=_notes(sheet),
        fit=_CROWDED if len(sheet.candidates) > _ACROSS else 1.0,
    )


def _notes(sheet: Comparison) -> list[str]:
    return [*sheet.closing, *([f"≈ {words.NEAREST_LINE}"] if sheet.has_signs else [])]


def comparison_pdf(sheet: Comparison, *, made: date, paper: str = "a4") -> bytes:
    """The comparison as a PDF.

    `made`: the day of the sheet.
    `paper`: `a4` or `letter`.
    Raises InputError if the typeface is not installed, or the paper is not known.
    Raises JobError if fpdf2 is not installed.
    """
    title = f"{sheet.title}: recipes compared, for the workshop"
    return one_page(lambda page: _on_paper(page, sheet), paper=paper, title=title, made=made)


def _on_paper(page: Page, sheet: Comparison) -> float:
    """Draw the sheet; where it ends."""
    page.box(page.left, 12.0, page.width, 6.4)
    page.words(FOR_MAKER, page.left + 2.0, 13.2, bold=True)
    top = page.paragraph(sheet.title, page.left, 20.5, width=page.width, points=20.0)
    told = f"{sheet.told} It holds for {sheet.conditions}. {common(sheet.candidates)}"
    top = page.paragraph(told, page.left, top + 0.6, width=page.width, ink=GREY) + 3.0
    each = (page.width + _APART) / _ACROSS - _APART
    many = list(zip(sheet.candidates, differences(sheet.candidates), strict=True))
    for at in range(0, len(many), _ACROSS):
        ends = [
            _column(page, sheet, one, differs, page.left + n * (each + _APART), top, each)
            for n, (one, differs) in enumerate(many[at : at + _ACROSS])
        ]
        top = max(ends) + 4.0
    if sheet.trial:
        page.rule(page.left, top, page.right)
        said = f"Trial of {sheet.candidates[0].rank} beside its prediction"
        top = page.paragraph(said, page.left, top + 1.6, width=page.width, bold=True) + 0.6
        top = page.row(sheet.trial.row, page.left, top, page.width, height=_TRIAL_MM) + 2.0
    page.rule(page.left, top, page.right)
    return page.paragraphs(_notes(sheet), page.left, top + 1.6, page.width, points=SMALL)


def _column(
    page: Page, sheet: Comparison, each: Candidate, differs: Sequence[str], left: float, top: float, width: float
) -> float:  # fmt: skip
    page.rule(left, top, left + width)
    top = page.paragraph(each.name, left, top + 1.4, width=width, points=12.0) + 0.8
    shades = (*([sheet.wanted] if sheet.wanted else []), each.own)
    over = words.behind(sheet.over)
    said = f"Left the target, right the recipe {over}." if sheet.wanted else f"The recipe {over}."
    beside = Row(title="", chips=(Chip(name="", shades=shades),), notes=(said,))
    top = page.row(beside, left, top, width, height=_CHIP_MM) + 1.0
    top = _card_on_paper(page, sheet, each, left, top, width)
    for name, loading in each.doses:
        page.words(loading, left, top)
        top = page.paragraph(name, left + _FIGURE_MM, top, width=width - _FIGURE_MM)
    top += 0.8
    for figure, meaning in figures_of(each):
        page.words(figure, left, top)
        top = page.paragraph(meaning, left + _FIGURE_MM, top + 0.25, width=width - _FIGURE_MM, points=SMALL, ink=GREY)
    return page.paragraphs(lines_of(each, differs), left, top + 0.8, width)


def _card_on_paper(page: Page, sheet: Comparison, each: Candidate, left: float, top: float, width: float) -> float:
    """The recipe over dark and light."""
    half, slab = width / len(sheet.behind), (width - 2.0 * _EDGE) / len(sheet.behind)
    for at, (bare, shade) in enumerate(zip(sheet.bare, each.over, strict=True)):
        page.chip(bare, left + at * half, top, half, _CARD_MM)
        page.chip(shade, left + _EDGE + at * slab, top + _EDGE, slab, _CARD_MM - 2.0 * _EDGE)
    said = f"{', '.join(map(words.behind, sheet.behind)).capitalize()}."
    return page.paragraph(said, left, top + _CARD_MM + 0.6, width=width, points=SMALL, ink=GREY) + 1.0
