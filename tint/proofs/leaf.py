"""What sheets are made with: a page of a PDF that is drawn on, and a page for a browser that is filled in.

On a PDF lengths are millimetres from the upper left corner, less than true ones where all would not fit the page else.
"""

from __future__ import annotations

import base64
import datetime
import io
import logging
import re
import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tint.errors import InputError, JobError
from tint.proofs.facts import Row, Shade
from tint.proofs.lettering import check_letters, cut, face_file, latin, spelled_on_sheet

if TYPE_CHECKING:
    from fpdf import FPDF

Ink = tuple[int, int, int]

FORMATS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # [mm]; ISO 216; ANSI Y14.1
INK, QUIET, LINE, FAINT = (25, 25, 25), (80, 80, 80), (150, 150, 150), (238, 238, 238)
# Chosen by eye on printed sheets: letters [pt] in which a sheet for approval is read at arm's length, and margins [mm].
BODY, SMALL, MARGIN = 8.4, 7.4, 15.0
_LEADING = 1.3  # from one line to the next, in heights of the letters
_SIZES = tuple(1.0 - 0.03 * step for step in range(16))  # tried until all fits the page
_UNDATED = datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)  # equal sheets are equal files
_PIXELS = 12.0  # of a photograph, for each millimetre: 300 to the inch, common practice for print
_POINT = 25.4 / 72.0  # mm
_LATIN, _SHEET = "helvetica", "sheet"


@dataclass(frozen=True)
class Page:
    """A page of a PDF that is drawn on."""

    pdf: FPDF
    # whether all is set in the typeface of the sheets. Otherwise words in Latin-1 are set in the letters that every
    # reader of PDFs has, and only others, a pigment's name in Greek or Cyrillic, in that typeface.
    serif: bool

    @property
    def left(self) -> float:
        return float(self.pdf.l_margin)

    @property
    def right(self) -> float:
        return float(self.pdf.w) - self.left

    @property
    def width(self) -> float:
        """Between the margins [mm]."""
        return self.right - self.left

    @property
    def bottom(self) -> float:
        return float(self.pdf.h) - self.left

    def turn(self) -> None:
        """On to a new page."""
        self.pdf.add_page()

    @staticmethod
    def line_height(points: float) -> float:
        """From one line of words to the next [mm]."""
        return points * _POINT * _LEADING

    def words(
        self, said: str, x: float, top: float, *, points: float = BODY, bold: bool = False, ink: Ink = INK,
        right: bool = False, width: float | None = None,
    ) -> float:  # fmt: skip
        """One line of words from x, or up to it; cut to `width`. Returns how wide it is [mm]."""
        shown = self._set(said, points, bold, ink)
        if width is not None and self.pdf.get_string_width(shown) > width:
            while shown and self.pdf.get_string_width(f"{shown}..") > width:
                shown = shown[:-1]
            shown = f"{shown.rstrip()}.."
        wide = float(self.pdf.get_string_width(shown))
        self.pdf.set_xy(x - wide if right else x, top)
        self.pdf.cell(wide, self.line_height(points), shown)
        return wide

    def paragraph(
        self, said: str, x: float, top: float, *, width: float, points: float = BODY, bold: bool = False,
        ink: Ink = INK,
    ) -> float:  # fmt: skip
        """Words wrapped to a width; returns where they end [mm]."""
        from fpdf.enums import WrapMode

        shown = self._set(said, points, bold, ink)
        self.pdf.set_xy(x, top)
        long = max(map(self.pdf.get_string_width, shown.split()), default=0.0) > width
        self.pdf.multi_cell(
            width, self.line_height(points), shown, align="L", padding=0, new_x="LEFT", new_y="NEXT",
            wrapmode=WrapMode.CHAR if long else WrapMode.WORD,
        )  # fmt: skip
        return float(self.pdf.get_y())

    def rule(self, x: float, y: float, to: float, *, ink: Ink = LINE) -> None:
        """A thin horizontal line."""
        self.pdf.set_draw_color(*ink)
        self.pdf.set_line_width(0.2)
        self.pdf.line(x, y, to, y)

    def box(self, x: float, y: float, width: float, height: float, *, fill: Ink | None = None) -> None:
        """A rectangle."""
        self.pdf.set_draw_color(*QUIET)
        self.pdf.set_line_width(0.25)
        if fill:
            self.pdf.set_fill_color(*fill)
        self.pdf.rect(x, y, width, height, style="DF" if fill else "D")

    def blank(self, name: str, x: float, top: float, *, to: float, points: float = 8.0) -> None:
        """A name and room to write behind it."""
        wide = self.words(name, x, top, points=points, ink=QUIET)
        self.rule(x + wide + 1.0, top + self.line_height(points) - 0.3, to)

    def chip(self, shade: Shade, x: float, y: float, width: float, height: float) -> None:
        """A colour, with the sign where a screen cannot show it."""
        self.pdf.set_fill_color(*shade.rgb)
        self.pdf.rect(x, y, width, height, style="F")
        if not shade.exact:
            self.pdf.set_fill_color(255)
            self.pdf.set_draw_color(*INK)
            self.pdf.set_line_width(0.2)
            self.pdf.ellipse(x + width - 4.2, y + 0.7, 3.5, 3.5, style="DF")
            self.words("≈", x + width - 3.3, y + 0.55, points=8.0)

    def row(
        self, row: Row, x: float, top: float, width: float, *, height: float = 10.0, gap: float = 3.0
    ) -> float:  # fmt: skip
        """Chips side by side with what is said of them; returns where they end [mm]."""
        gap = gap if row.layout == "apart" else 0.0
        each = (width + gap) / max(len(row.chips), 1) - gap
        ends = [top + height]
        for at, chip in enumerate(row.chips):
            start, count = x + at * (each + gap), len(chip.shades)
            for part, shade in enumerate(chip.shades):
                if row.layout == "stacked":
                    self.chip(shade, start, top + part * height / count, each, height / count)
                else:
                    self.chip(shade, start + part * each / count, top, each / count, height)
            if chip.photo is not None:
                picture = io.BytesIO(chip.photo.jpeg(round(_PIXELS * each), round(_PIXELS * height)))
                self.pdf.image(picture, x=start, y=top, w=each, h=height, alt_text="A photograph of the trial")
            ends.append(top + height + 0.6)
            for said, strong in ((chip.name, chip.strong), ("; ".join(chip.told), False)):
                if said:
                    how: dict[str, Any] = {"points": SMALL, "bold": strong, "ink": INK if strong else QUIET}
                    ends.append(self.paragraph(said, start, ends[-1], width=each - 1.0, **how))
        return self.paragraphs(row.notes, x, max(ends), width, points=SMALL, ink=QUIET)

    def wrapped(self, said: str, *, width: float, points: float = BODY) -> list[str]:
        """The lines that words take at a width."""
        shown = self._set(said, points, bold=False, ink=INK)
        lines = self.pdf.multi_cell(width, self.line_height(points), shown, padding=0, dry_run=True, output="LINES")
        return list(map(str, lines)) if isinstance(lines, list) else []

    def paragraphs(self, lines: Sequence[str], x: float, top: float, width: float, **how: Any) -> float:
        """Paragraphs one below the other; returns where they end [mm]."""
        for line in lines:
            top = self.paragraph(line, x, top, width=width, **how) + 0.3
        return top

    def _set(self, said: str, points: float, bold: bool, ink: Ink) -> str:
        """Choose face, size and colour; the words as they are spelled in that face."""
        plain = spelled_on_sheet(said) if self.serif else latin(said)
        family = _SHEET if self.serif or any(ord(letter) > 255 for letter in plain) else _LATIN
        if family == _SHEET and not self.serif:
            check_letters(plain)
        if family == _SHEET and _SHEET not in self.pdf.fonts:  # put into the file when first needed
            logging.getLogger("fontTools").setLevel(logging.ERROR)
            for style, name in (("", "regular"), ("B", "strong")):
                self.pdf.add_font(_SHEET, style, face_file(name))
        self.pdf.set_font(family, "B" if bold else "", points * float(self.pdf.k) * _POINT)
        self.pdf.set_text_color(*ink)
        return plain


def one_page(
    draw: Callable[[Page], float], *, paper: str, title: str, made: datetime.date | None = None, serif: bool = True
) -> bytes:  # fmt: skip
    """What `draw` puts on one page, as the bytes of a PDF; smaller where it would not fit.

    `draw`: draws on the page and returns where it ended [mm].
    `paper`: `a4` or `letter`.
    `made`: told in the file as the time of its making, a day as its noon; a fixed one when absent, so that equal sheets
        are equal files.
    `serif`: as in `Page`.
    Raises InputError if there is no such paper, or the typeface is not installed.
    Raises JobError if fpdf2 is not installed, or even the smallest letters do not bring it onto one page.
    """
    for size in _SIZES:
        page = _page(paper, size, title, made, serif)
        fits = draw(page) <= page.bottom + 1e-6
        data = _closed(page)
        if fits:
            return data
    raise JobError("pdf", "it does not fit one page", mend="leave some of it out")


def many_pages(
    draw: Callable[[Page], object], *, paper: str, title: str, made: datetime.date | None = None, serif: bool = True
) -> bytes:  # fmt: skip
    """What `draw` puts on as many pages as it turns to, in its true size; as `one_page` otherwise."""
    page = _page(paper, 1.0, title, made, serif)
    draw(page)
    return _closed(page)


def _page(paper: str, size: float, title: str, made: datetime.date | None, serif: bool) -> Page:
    """The first page of a new PDF; its millimetres are so much of true ones, and so is all that is on it."""
    if paper not in FORMATS:
        raise InputError("paper", f"`{paper}` is not known", " or ".join(FORMATS))
    try:
        from fpdf import FPDF
    except ImportError as error:
        raise JobError("pdf", "fpdf2 is not installed", mend="run `pip install 'tint[sheet,pdf]'`") from error
    pdf = FPDF(unit=size / _POINT, format=tuple(mm / size for mm in FORMATS[paper]))  # type: ignore[arg-type]
    pdf.set_auto_page_break(False)
    pdf.set_margin(MARGIN / size)
    pdf.c_margin = 0.0  # words stand flush with rules and chips
    pdf.set_lang("en")
    pdf.set_title(title)
    pdf.set_creator("tint")
    made = made or _UNDATED
    if not isinstance(made, datetime.datetime):
        made = datetime.datetime.combine(made, datetime.time(12), tzinfo=datetime.UTC)
    pdf.set_creation_date(made)
    pdf.add_page()
    return Page(pdf, serif)


def _closed(page: Page) -> bytes:
    data = bytes(page.pdf.output())
    for font in page.pdf.fonts.values():
        if hasattr(font, "close"):
            font.close()  # fpdf2 leaves the files of added ones open
    return data


# Pages for a browser: a template filled in, the typeface cut to its letters, pictures inside the file.

PHOTO_SIZE = (1200, 800)  # [px]; twice what a page shows, for screens of fine pixels

_USUAL = frozenset(map(chr, range(32, 127))) | frozenset("°–−“”’≈·×±³ßäöüÄÖÜàâçèéêëîïôùûñóíáåøæ\u00a0")


def rendered(template: str, **told: Any) -> bytes:
    """A page made of a template beside this module, in UTF-8, self-contained.

    Raises InputError if what draws it is not installed.
    """
    try:
        import jinja2
    except ImportError as error:
        raise InputError("sheet", "drawing the page needs jinja2", mend="run `pip install 'tint[sheet]'`") from error
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("tint.proofs", package_path="."),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    # The typeface is cut to the letters of the page, so it comes last, where no words of a customer can call for it.
    mark = secrets.token_hex(16)
    helps = {"code": code, "photo_uri": lambda photo: uri("image/jpeg", photo.jpeg(*PHOTO_SIZE))}
    page = environment.get_template(template).render(faces=mark, **helps, **told)
    return page.replace(mark, _faces(page.replace(mark, ""))).encode("utf-8")


def _faces(page: str) -> str:
    """Rules for the typeface, each cut to the letters of the page and the usual ones."""
    used = set(re.sub(r"data:[^\"')]*", "", page)) - {"\n"}
    letters = "".join(sorted(used | _USUAL))  # mostly the usual ones alone, which are cut but once
    weights = {"regular": 400, "strong": 600}
    return "\n".join(
        f"@font-face{{font-family:Sheet;font-weight:{weight};src:url({uri('font/woff', cut(name, letters))})}}"
        for name, weight in weights.items()
    )


def uri(kind: str, data: bytes) -> str:
    """Data as an address that stands in the page itself."""
    return f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"


def code(shade: Shade) -> str:
    """A colour as `#rrggbb`."""
    return "#" + bytes(shade.rgb).hex()
