"""An approval sheet as a PDF of one page: the same words and colours, text that can be selected, fonts inside."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from tint.proofs import leaf, words
from tint.proofs.approval import Approval
from tint.proofs.approval_page import chips_of, has_signs, part_png
from tint.proofs.facts import Shade
from tint.proofs.views import light_in_words, limit_in_words, limit_title

_LABEL, _GUTTER = 28.0, 7.0  # mm
_PICTURE = 50.0


def approval_pdf(sheet: Approval, *, paper: str = "a4") -> bytes:
    """The sheet as a PDF.

    Parameters
    ----------
    paper : str
        `a4` or `letter`.

    Raises
    ------
    InputError
        If what draws it is not installed, or the paper is not known.
    """
    title = f"{sheet.asked.name}: colour and opacity, for approval"
    return leaf.one_page(lambda pdf: _drawn(pdf, sheet), paper=paper, title=title, made=sheet.asked.made)


def _drawn(pdf: Any, sheet: Approval) -> float:
    """Draw the sheet; where it ends."""
    top = _head(pdf, sheet)
    if sheet.asked.words:
        top = _section(pdf, "You asked for", top)
        top = leaf.words(pdf, f"“{sheet.asked.words}”", _text_left(pdf), top, _text_width(pdf), size=11.0)
    top = _answer(pdf, sheet, top)
    top = _terms(pdf, sheet, top)
    if sheet.trial:
        top = leaf.trial(pdf, sheet.trial, _text_left(pdf), _section(pdf, "The trial", top) + 0.6, _text_width(pdf))
    top = _colours(pdf, sheet, top)
    top = _section(pdf, "Beyond a screen", top)
    lines = [*sheet.caveats, *([f"≈ {words.NEAREST_LINE}"] if has_signs(sheet) else [])]
    for line in [*lines, *(f"Take care: {care}." for care in sheet.cares)]:
        top = leaf.words(pdf, line, _text_left(pdf), top, _text_width(pdf)) + 0.4
    return _signed(pdf, sheet, top)


def _text_left(pdf: Any) -> float:
    return float(pdf.l_margin) + _LABEL


def _text_width(pdf: Any) -> float:
    return float(pdf.epw) - _LABEL


def _section(pdf: Any, title: str, top: float) -> float:
    """A rule and a label at its left; where the text beside it begins."""
    leaf.rule(pdf, pdf.l_margin, top + 2.0, pdf.epw)
    leaf.words(pdf, title, pdf.l_margin, top + 3.8, _LABEL - 2.0, style="B")
    return top + 3.8


def _head(pdf: Any, sheet: Approval) -> float:
    top = leaf.words(pdf, sheet.asked.name, pdf.l_margin, 12.0, pdf.epw, size=24.0)
    return leaf.words(
        pdf, f"Colour and opacity, for approval. {sheet.dated}.", pdf.l_margin, top + 1.0, pdf.epw, ink=leaf.QUIET
    )


def _answer(pdf: Any, sheet: Approval, top: float) -> float:
    top = _section(pdf, "Our answer", top) + 0.6
    left, width, seen = _text_left(pdf), _text_width(pdf), sheet.facts.appearance
    height, ends = 38.0, [top]
    if sheet.shown is not None:
        rows, columns = sheet.shown.portrait.cover.shape
        scale = _PICTURE / max(rows, columns)
        height = rows * scale
        picture = io.BytesIO(part_png(sheet))
        pdf.image(picture, x=left, y=top, w=columns * scale, h=height, alt_text=sheet.shown.named)
        ends.append(
            leaf.words(
                pdf, f"{sheet.shown.named}.", left, top + height + 1.0, _PICTURE, size=leaf.SMALL, ink=leaf.QUIET
            )
        )
        left, width = left + _PICTURE + 5.0, width - _PICTURE - 5.0
    height = max(height, 30.0)
    leaf.fill(pdf, _bare(sheet), left, top, width, height)
    leaf.fill(pdf, sheet.facts.recipe, left + 5.0, top + 5.0, width - 10.0, height - 10.0)
    thick = f"{seen.setting.thickness_mm:g} mm"
    said = f"A flat piece, {thick}, {words.behind(seen.over)}. Light: {sheet.lights[0].named}."
    ends.append(leaf.words(pdf, said, left, top + height + 1.0, width, size=leaf.SMALL, ink=leaf.QUIET))
    return max(ends)


def _bare(sheet: Approval) -> Shade:
    over = sheet.facts.appearance.over
    return sheet.facts.bare[sheet.facts.behind.index(over)] if over in sheet.facts.behind else Shade((0, 0, 0), True)


def _terms(pdf: Any, sheet: Approval, top: float) -> float:
    top = _section(pdf, "What it means", top)
    for term, meaning in sheet.terms:
        leaf.words(pdf, term, _text_left(pdf), top, _LABEL, ink=leaf.QUIET)
        top = leaf.words(pdf, meaning, _text_left(pdf) + _LABEL, top, _text_width(pdf) - _LABEL) + 0.2
    return top


def _colours(pdf: Any, sheet: Approval, top: float) -> float:
    """Four groups, two in a row."""
    half = (pdf.epw - _GUTTER) / 2.0
    right = pdf.l_margin + half + _GUTTER
    has_pair = len(chips_of(sheet)) > 1
    ends = [_steps(pdf, sheet, right if has_pair else pdf.l_margin, top, half if has_pair else pdf.epw)]
    if has_pair:
        ends.append(_beside(pdf, sheet, pdf.l_margin, top, half))
    top = max(ends)
    ends = [_lights(pdf, sheet, pdf.l_margin, top, half if sheet.limits else pdf.epw)]
    if sheet.limits:
        ends.append(_limits(pdf, sheet, right, top, half))
    return max(ends)


def _titled(pdf: Any, title: str, left: float, top: float, width: float) -> float:
    leaf.rule(pdf, left, top + 2.0, width)
    return leaf.words(pdf, title, left, top + 3.6, width, style="B") + 0.8


def _row(
    pdf: Any, groups: Sequence[tuple[Sequence[Shade], str, str]], *, left: float, top: float, width: float,
    gap: float = 0.0,
) -> float:  # fmt: skip
    """Chips side by side, each one or two shades, a strong word, and what is told; where they end."""
    each = (width + gap) / len(groups) - gap
    ends = [top]
    for at, (shades, name, told) in enumerate(groups):
        start = left + at * (each + gap)
        for part, shade in enumerate(shades):
            leaf.fill(pdf, shade, start + part * each / len(shades), top, each / len(shades), 10.0)
        end = leaf.words(pdf, name, start, top + 10.6, each - 1.0, size=leaf.SMALL, style="B")
        ends.append(leaf.words(pdf, told, start, end, each - 1.0, size=leaf.SMALL, ink=leaf.QUIET))
    return max(ends)


def _beside(pdf: Any, sheet: Approval, left: float, top: float, width: float) -> float:
    top = _titled(pdf, "Side by side", left, top, width)
    chips = chips_of(sheet)
    for at, (_, shade) in enumerate(chips):
        leaf.fill(pdf, shade, left + at * width / len(chips), top, width / len(chips), 10.0)
    said = f"Left {chips[0][0]}, right {chips[1][0]}."
    return leaf.words(pdf, said, left, top + 10.6, width, size=leaf.SMALL, ink=leaf.QUIET)


def _steps(pdf: Any, sheet: Approval, left: float, top: float, width: float) -> float:
    top = _titled(pdf, "Thin to thick", left, top, width)
    steps, behind = sheet.facts.wedge, [words.behind(name) for name in sheet.facts.behind]
    each, height = width / len(steps), 10.0 / len(behind)
    for at, step in enumerate(steps):
        for row, shade in enumerate(step.shades):
            leaf.fill(pdf, shade, left + at * each, top + row * height, each, height)
        style, ink = ("B", leaf.INK) if step.own else ("", leaf.QUIET)
        leaf.words(
            pdf, f"{step.thickness_mm:g} mm", left + at * each, top + 10.6, each, size=leaf.SMALL, style=style, ink=ink
        )
    rows = f"Upper row {behind[0]}, lower row {behind[1]}." if len(behind) > 1 else f"{behind[0].capitalize()}."
    return leaf.words(pdf, rows, left, top + 10.6 + leaf.SMALL * leaf.LEADING, width, size=leaf.SMALL, ink=leaf.QUIET)


def _lights(pdf: Any, sheet: Approval, left: float, top: float, width: float) -> float:
    top = _titled(pdf, "In other lights", left, top, width)
    agreed = sheet.lights[0].light
    groups = [
        (
            [each.shade, *([each.wanted] if each.wanted else [])],
            each.named,
            "; ".join(light_in_words(each, agreed=agreed)),
        )
        for each in sheet.lights
    ]
    end = _row(pdf, groups, left=left, top=top, width=width)
    if sheet.lights[0].wanted is None:
        return end
    said = "Left halves this recipe, right halves what was asked for."
    return leaf.words(pdf, said, left, end, width, size=leaf.SMALL, ink=leaf.QUIET)


def _limits(pdf: Any, sheet: Approval, left: float, top: float, width: float) -> float:
    top = _titled(pdf, "How far it may go", left, top, width)
    own, seen = sheet.facts.recipe, sheet.facts.appearance
    groups = [([each.shade, own], limit_title(each), "; ".join(limit_in_words(each, seen))) for each in sheet.limits]
    end = _row(pdf, groups, left=left, top=top, width=width, gap=3.0)
    return leaf.words(pdf, "Right halves as agreed.", left, end, width, size=leaf.SMALL, ink=leaf.QUIET)


def _signed(pdf: Any, sheet: Approval, top: float) -> float:
    top = leaf.words(pdf, sheet.promise, _text_left(pdf), _section(pdf, "Approved", top), _text_width(pdf))
    left, width, top = _text_left(pdf), _text_width(pdf), top + 14.0
    for name, start, share in (("Name", 0.0, 0.36), ("Signature", 0.39, 0.36), ("Date", 0.78, 0.22)):
        leaf.rule(pdf, left + start * width, top, share * width, ink=leaf.INK)
        leaf.words(pdf, name, left + start * width, top + 0.8, share * width, size=leaf.SMALL, ink=leaf.QUIET)
    return top + 0.8 + leaf.SMALL * leaf.LEADING
