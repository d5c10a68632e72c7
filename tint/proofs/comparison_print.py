"""A comparison as a PDF of one page, three recipes across: the same words and colours, text that can be selected."""

from __future__ import annotations

from datetime import date
from typing import Any

from tint.proofs import leaf, words
from tint.proofs.comparison import Candidate, Comparison
from tint.proofs.leaf import code, photo_uri, rendered
from tint.proofs.words import FOR_MAKER, closing, common, differences, dose_in_words, figures_of, lines_of

_ACROSS, _GAP = 3, 6.0  # mm
_CHIP, _CARD, _BORDER = 20.0, 11.0, 2.0
_FIGURE = 17.0  # room for a figure before its meaning


def comparison_pdf(sheet: Comparison, *, made: date, paper: str = "a4") -> bytes:
    """The comparison as a PDF.

    Parameters
    ----------
    made : date
        The day of the sheet.
    paper : str
        `a4` or `letter`.

    Raises
    ------
    InputError
        If what draws it is not installed, or the paper is not known.
    """
    title = f"{sheet.title}: recipes compared, for the workshop"
    return leaf.one_page(lambda pdf: _drawn(pdf, sheet), paper=paper, title=title, made=made)


def _drawn(pdf: Any, sheet: Comparison) -> float:
    """Draw the sheet; where it ends."""
    top = _head(pdf, sheet)
    differs = differences(sheet.candidates)
    each = (pdf.epw + _GAP) / _ACROSS - _GAP
    for at in range(0, len(sheet.candidates), _ACROSS):
        ends = [
            _column(pdf, sheet, one, differs[at + n], pdf.l_margin + n * (each + _GAP), top, each)
            for n, one in enumerate(sheet.candidates[at : at + _ACROSS])
        ]
        top = max(ends) + 4.0
    if sheet.trial:
        leaf.rule(pdf, pdf.l_margin, top, pdf.epw)
        said = f"Trial of {sheet.candidates[0].rank} beside its prediction"
        top = leaf.words(pdf, said, pdf.l_margin, top + 1.6, pdf.epw, style="B")
        top = leaf.trial(pdf, sheet.trial, pdf.l_margin, top + 0.6, pdf.epw, height=24.0) + 2.0
    leaf.rule(pdf, pdf.l_margin, top, pdf.epw)
    top += 1.6
    signs = [f"≈ {words.NEAREST_LINE}"] if sheet.has_signs else []
    for line in [*closing(sheet), *(sheet.trial.notes if sheet.trial else []), *signs]:
        top = leaf.words(pdf, line, pdf.l_margin, top, pdf.epw, size=leaf.SMALL) + 0.3
    return top


def _head(pdf: Any, sheet: Comparison) -> float:
    pdf.set_draw_color(leaf.INK)
    pdf.set_line_width(0.4)
    pdf.rect(pdf.l_margin, 12.0, pdf.epw, 6.4)
    leaf.words(pdf, FOR_MAKER, pdf.l_margin + 2.0, 13.2, pdf.epw - 4.0, style="B")
    top = leaf.words(pdf, sheet.title, pdf.l_margin, 20.5, pdf.epw, size=20.0)
    told = f"{sheet.told} It holds for {sheet.conditions}. {common(sheet.candidates)}"
    return leaf.words(pdf, told, pdf.l_margin, top + 0.6, pdf.epw, ink=leaf.QUIET) + 3.0


def _column(
    pdf: Any, sheet: Comparison, each: Candidate, differs: list[str], left: float, top: float, width: float
) -> float:  # fmt: skip
    leaf.rule(pdf, left, top, width)
    top = leaf.words(pdf, each.name, left, top + 1.4, width, size=12.0) + 0.8
    shades = [*([sheet.wanted] if sheet.wanted else []), each.own]
    for at, shade in enumerate(shades):
        leaf.fill(pdf, shade, left + at * width / len(shades), top, width / len(shades), _CHIP)
    over = words.behind(sheet.over)
    said = f"Left the target, right the recipe {over}." if sheet.wanted else f"The recipe {over}."
    top = leaf.words(pdf, said, left, top + _CHIP + 0.6, width, size=leaf.SMALL, ink=leaf.QUIET) + 1.0
    top = _card(pdf, sheet, each, left, top, width)
    for name, loading in each.doses:
        leaf.words(pdf, dose_in_words(loading), left, top, _FIGURE)
        top = leaf.words(pdf, name, left + _FIGURE, top, width - _FIGURE)
    top += 0.8
    for figure, meaning in figures_of(each):
        leaf.words(pdf, figure, left, top, _FIGURE)
        top = leaf.words(pdf, meaning, left + _FIGURE, top + 0.25, width - _FIGURE, size=leaf.SMALL, ink=leaf.QUIET)
    top += 0.8
    for line in lines_of(each, differs):
        top = leaf.words(pdf, line, left, top, width)
    return top


def _card(pdf: Any, sheet: Comparison, each: Candidate, left: float, top: float, width: float) -> float:
    """The recipe over dark and light."""
    half = width / len(sheet.behind)
    for at, bare in enumerate(sheet.bare):
        leaf.fill(pdf, bare, left + at * half, top, half, _CARD)
    slab = (width - 2.0 * _BORDER) / len(sheet.behind)
    for at, shade in enumerate(each.over):
        leaf.fill(pdf, shade, left + _BORDER + at * slab, top + _BORDER, slab, _CARD - 2.0 * _BORDER)
    said = f"{', '.join(map(words.behind, sheet.behind)).capitalize()}."
    return leaf.words(pdf, said, left, top + _CARD + 0.6, width, size=leaf.SMALL, ink=leaf.QUIET) + 1.0


# A comparison as one page for a browser, for the workshop's screen, phone or printer; it needs nothing else.


_ON_PAGE, _CROWDED = 3, 0.8  # on paper; by how much two rows are made smaller so that they stay on one page


def comparison_page(sheet: Comparison) -> bytes:
    """The comparison as HTML, self-contained.

    Raises
    ------
    InputError
        If what draws it is not installed.
    """
    differs = differences(sheet.candidates)
    return rendered(
        "comparison.html.j2",
        sheet=sheet,
        for_maker=FOR_MAKER,
        common=common(sheet.candidates),
        columns=[
            (
                each,
                [(name, dose_in_words(loading)) for name, loading in each.doses],
                figures_of(each),
                lines_of(each, said),
            )
            for each, said in zip(sheet.candidates, differs, strict=True)
        ],
        behind=[words.behind(name) for name in sheet.behind],
        over=words.behind(sheet.over),
        notes=[*closing(sheet), *(sheet.trial.notes if sheet.trial else [])],
        nearest=words.NEAREST_LINE,
        code=code,
        photo=photo_uri(sheet.trial),
        fit=_CROWDED if len(sheet.candidates) > _ON_PAGE else 1.0,
    )
