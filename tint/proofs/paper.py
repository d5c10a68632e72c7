"""Words, rules and boxes on a page of paper.

Lengths are millimetres from the upper left corner. Everything is drawn a little smaller where `Paper.size` is below 1.
Words in Latin-1 are set in the letters that every reader of PDFs has. Others, a pigment's name in Greek or Cyrillic,
are set in the typeface of the sheets, which then goes into the file. A letter that neither has is refused: no name on a
weigh sheet may be garbled.
"""

from __future__ import annotations

import datetime
import logging
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from tint.errors import InputError, JobError
from tint.proofs import typeface

if TYPE_CHECKING:
    from fpdf import FPDF

FORMATS: dict[str, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; ANSI Y14.1
MARGIN = 15.0
INK, QUIET, RULE, SHADE = (25, 25, 25), (95, 95, 95), (150, 150, 150), (238, 238, 238)
_UNDATED = datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)  # equal sheets are equal files
_POINT = 25.4 / 72.0
_LEADING = 1.32
_SIZES = tuple(1.0 - 0.04 * at for at in range(13))
_SIGNS = {
    "–": "-", "—": "-", "−": "-", "‐": "-", "’": "'", "‘": "'", "“": '"', "”": '"', "„": '"', "…": "...", "€": "EUR",
    "≥": ">=", "≤": "<=", "μ": "µ",
}  # fmt: skip
_LATIN, _SERIF = "helvetica", "Sheet"

Side = Literal["left", "right", "middle"]


@dataclass(frozen=True)
class Paper:
    """A page that is drawn on.

    Parameters
    ----------
    width, height : float
        Of the page [mm].
    size : float
        What all lengths and letters are multiplied by [-].
    """

    pdf: FPDF
    width: float
    height: float
    size: float

    @property
    def left(self) -> float:
        return MARGIN

    @property
    def right(self) -> float:
        return self.width - MARGIN

    @property
    def bottom(self) -> float:
        return self.height - MARGIN

    def line_height(self, points: float) -> float:
        """From one line of words to the next [mm]."""
        return points * self.size * _POINT * _LEADING

    def words(
        self, said: str, x: float, top: float, *, points: float, bold: bool = False,
        ink: tuple[int, int, int] = INK, side: Side = "left", width: float | None = None,
    ) -> float:  # fmt: skip
        """One line of words from, up to or around x; cut to `width`. Returns how wide it is [mm]."""
        plain = plainly(said)
        family = self._family(plain)
        shown = self._fitted(plain, family, points, bold, width)
        wide = self._set(family, points, bold, ink).get_string_width(shown)
        start = x - {"left": 0.0, "right": wide, "middle": wide / 2.0}[side]
        self.pdf.text(start, top + 0.98 * points * self.size * _POINT, shown)
        return wide

    def paragraph(
        self, said: str, x: float, top: float, *, width: float, points: float, bold: bool = False,
        ink: tuple[int, int, int] = INK,
    ) -> float:  # fmt: skip
        """Words wrapped to a width; returns where they end [mm]."""
        for line in self._wrapped(plainly(said), width, points, bold):
            self.words(line, x, top, points=points, bold=bold, ink=ink)
            top += self.line_height(points)
        return top

    def rule(self, x: float, y: float, to: float, *, ink: tuple[int, int, int] = RULE, width: float = 0.2) -> None:
        """A horizontal line."""
        self.pdf.set_draw_color(*ink)
        self.pdf.set_line_width(width)
        self.pdf.line(x, y, to, y)

    def box(
        self, x: float, y: float, width: float, height: float, *, fill: tuple[int, int, int] | None = None,
        line: bool = True,
    ) -> None:  # fmt: skip
        """A rectangle."""
        self.pdf.set_draw_color(*QUIET)
        self.pdf.set_line_width(0.25)
        if fill:
            self.pdf.set_fill_color(*fill)
        self.pdf.rect(x, y, width, height, style="DF" if fill and line else "F" if fill else "D")

    def blank(self, name: str, x: float, top: float, *, to: float, points: float = 8.0) -> None:
        """A name and room to write behind it."""
        wide = self.words(name, x, top, points=points, ink=QUIET)
        self.rule(x + wide + 1.0, top + self.line_height(points) - 0.3, to)

    def _set(self, family: str, points: float, bold: bool, ink: tuple[int, int, int]) -> FPDF:
        self.pdf.set_font(family, "B" if bold else "", points * self.size)
        self.pdf.set_text_color(*ink)
        return self.pdf

    def _family(self, said: str) -> str:
        """The face that has all letters of some words; it is put into the file when first needed."""
        if not beyond_latin(said):
            return _LATIN
        check_letters(said)
        if _SERIF.lower() not in self.pdf.fonts:
            logging.getLogger("fontTools").setLevel(logging.ERROR)
            for style, name in (("", "regular"), ("B", "strong")):
                self.pdf.add_font(_SERIF, style, typeface.face(name))
        return _SERIF

    def _fitted(self, said: str, family: str, points: float, bold: bool, width: float | None) -> str:
        pdf = self._set(family, points, bold, INK)
        if width is None or pdf.get_string_width(said) <= width:
            return said
        while said and pdf.get_string_width(f"{said}..") > width:
            said = said[:-1]
        return f"{said.rstrip()}.."

    def _wrapped(self, said: str, width: float, points: float, bold: bool) -> list[str]:
        """Lines, each measured in the face that it will be set in."""
        lines = [""]
        for word in said.split():
            joined = f"{lines[-1]} {word}".strip()
            family = self._family(joined)
            if self._set(family, points, bold, INK).get_string_width(joined) <= width:
                lines[-1] = joined
            else:
                lines.append(self._fitted(word, self._family(word), points, bold, width))
        return [line for line in lines if line]


def one_page(
    draw: Callable[[Paper], float], *, paper: str, title: str, made: datetime.datetime | None = None
) -> bytes:  # fmt: skip
    """What `draw` puts on one page, as the bytes of a PDF; smaller where it would not fit.

    Parameters
    ----------
    draw : callable
        Draws on the page and returns where it ended [mm].
    paper : str
        `a4` or `letter`.
    made : datetime, optional
        Told in the file as the time of its making; a fixed one when absent, so that equal sheets are equal files.

    Raises
    ------
    InputError
        If there is no such paper.
    JobError
        If fpdf2 is not installed, or even the smallest letters do not bring it onto one page.
    """
    if paper not in FORMATS:
        raise InputError("paper", f"`{paper}` is not known", "expected one of " + ", ".join(FORMATS))
    try:
        from fpdf import FPDF
    except ImportError as error:
        mend = "install tint with its extra `pdf`, or `pip install fpdf2`"
        raise JobError("pdf", "fpdf2 is not installed", mend=mend) from error
    for size in _SIZES:
        pdf = FPDF(unit="mm", format=FORMATS[paper])
        pdf.set_auto_page_break(False)
        pdf.set_margin(0.0)
        pdf.set_title(plainly(title))
        pdf.set_creator("tint")
        pdf.set_creation_date(made or _UNDATED)
        pdf.add_page()
        page = Paper(pdf, *FORMATS[paper], size)
        fits = draw(page) <= page.bottom + 1e-6
        data = bytes(pdf.output()) if fits else b""
        for font in pdf.fonts.values():
            if hasattr(font, "close"):
                font.close()  # fpdf2 leaves the files of added ones open
        if fits:
            return data
    raise JobError("pdf", "it does not fit one page", mend="weigh fewer cups or pigments at a time")


def plainly(words: str) -> str:
    """Words on one line, with the signs that every face has."""
    composed = unicodedata.normalize("NFC", words)
    said = "".join(_SIGNS.get(letter, letter if letter.isprintable() else " ") for letter in composed)
    return " ".join(said.split())


def beyond_latin(words: str) -> bool:
    """Whether some letter is not in Latin-1."""
    return any(ord(letter) > 255 for letter in words)


def check_letters(words: str) -> None:
    """Refuse words that no face has all letters of.

    Raises
    ------
    InputError
        Naming the letters, or the package to install.
    """
    lacking = "".join(dict.fromkeys(letter for letter in words if letter not in typeface.letters_of("regular")))
    if lacking:
        found = f"`{lacking}` cannot be set in its typeface"
        raise InputError(f"pdf, `{words[:40]}`", found, "expected Latin, Greek or Cyrillic letters", "name it in those")
