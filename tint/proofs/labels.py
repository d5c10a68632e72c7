"""Labels to stick on premixes, cups and parts, many on a sheet of paper, to be cut or printed on sheets of labels."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from tint.proofs.leaf import FAINT, FORMATS, QUIET, Page, many_pages

# A sheet of 3 by 7 labels as shops sell them, lengths in mm: common practice, no source.
WIDE, HIGH, ACROSS, DOWN, GUTTER = 63.5, 38.1, 3, 7, 2.5
_INSIDE = 2.5  # from a label's edge to its words; chosen by eye


@dataclass(frozen=True, kw_only=True)
class Label:
    """A label."""

    head: str  # what it is, large
    lines: tuple[str, ...] = ()  # more of it
    blanks: tuple[str, ...] = ()  # what is written by hand
    caution: str = ""  # what to know of it


def label_sheets(
    labels: Sequence[Label], *, title: str, paper: str = "a4", made: datetime.datetime | None = None
) -> bytes:  # fmt: skip
    """Labels on as many pages as they take, as the bytes of a PDF.

    Raises
    ------
    InputError
        If there is no such paper.
    JobError
        If fpdf2 is not installed.
    """

    def draw(page: Page) -> None:
        width, height = FORMATS[paper]
        left = 0.5 * (width - ACROSS * WIDE - (ACROSS - 1) * GUTTER)
        top = 0.5 * (height - DOWN * HIGH)
        for at, label in enumerate(labels):
            row, column = divmod(at % (ACROSS * DOWN), ACROSS)
            if at and not (row or column):
                page.turn()
            _label(page, label, left + column * (WIDE + GUTTER), top + row * HIGH)

    return many_pages(draw, paper=paper, title=title, made=made, serif=False)


def _label(page: Page, label: Label, x: float, top: float) -> None:
    page.pdf.set_draw_color(*FAINT)
    page.pdf.set_line_width(0.2)
    page.pdf.rect(x, top, WIDE, HIGH, style="D")
    left, width, foot = x + _INSIDE, WIDE - 2.0 * _INSIDE, top + HIGH - _INSIDE
    y = top + _INSIDE - 0.5
    page.words(label.head, left, y, points=11.5, bold=True, width=width)
    y += page.line_height(11.5) + 0.3
    for line in label.lines:
        y = page.paragraph(line, left, y, width=width, points=8.0)
    share = width / max(len(label.blanks), 1)
    if label.blanks:
        y += 0.8
    for at, name in enumerate(label.blanks):
        page.blank(name, left + at * share, y, to=left + (at + 1) * share - 1.5)
    if label.caution:
        lines = page.wrapped(label.caution, width=width, points=6.6)
        first = foot - len(lines) * page.line_height(6.6)
        for at, line in enumerate(lines):
            page.words(line, left, first + at * page.line_height(6.6), points=6.6, ink=QUIET)
