"""A page of a PDF set in the typeface of the sheets: words in columns, rules and chips; lengths are millimetres."""

from __future__ import annotations

import base64
import io
import logging
import re
from collections.abc import Callable
from datetime import UTC, date, datetime, time
from typing import Any

from tint.errors import InputError
from tint.proofs.facts import Shade
from tint.proofs.trial import PHOTO_SIGN, Trial
from tint.proofs.typeface import cut, face, spelled

PAPERS = {"a4": "A4", "letter": "Letter"}
INK, QUIET, LINE = 17, 64, 150
BODY, SMALL = 8.4, 7.4  # pt
LEADING = 0.46  # mm a pt of type

_MARGIN, _FOOT = 14.0, 14.0  # mm
_PHOTO, _DENSE = 30.0, 12.0  # mm; pixels a mm
_SIZES = tuple(1.0 - 0.03 * step for step in range(16))  # tried until all fits the page


def one_page(draw: Callable[[Any], float], *, paper: str, title: str, made: date) -> bytes:
    """What `draw` puts on a page, as the bytes of a PDF; smaller where it would not fit.

    Parameters
    ----------
    draw : callable
        Draws on the page and returns where it ended [mm].
    paper : str
        `a4` or `letter`.
    made : date
        Told in the file as the day of its making.

    Raises
    ------
    InputError
        If what draws it is not installed, or the paper is not known.
    """
    if paper not in PAPERS:
        raise InputError("paper", f"`{paper}` is not known", " or ".join(PAPERS))
    for size in _SIZES:
        pdf = _begun(PAPERS[paper], size, title=title, made=made)
        fits = draw(pdf) <= pdf.h - _FOOT or size == _SIZES[-1]
        data = bytes(pdf.output()) if fits else b""
        for font in pdf.fonts.values():
            font.close()  # fpdf2 leaves their files open
        if fits:
            break
    return data


def _begun(paper: str, size: float, *, title: str, made: date) -> Any:
    """A page whose millimetres are `size` as long as true ones, so that everything on it is."""
    try:
        import fpdf
    except ImportError as error:
        raise InputError("sheet", "drawing the PDF needs fpdf2", mend="run `pip install 'tint[sheet,pdf]'`") from error
    logging.getLogger("fontTools").setLevel(logging.ERROR)
    pdf = fpdf.FPDF(unit=size * 72.0 / 25.4, format=paper)
    pdf.set_auto_page_break(False)
    pdf.set_margin(_MARGIN)
    pdf.c_margin = 0.0  # words stand flush with rules and chips
    pdf.set_lang("en")
    pdf.set_title(title)
    pdf.set_creator("tint")
    pdf.set_creation_date(datetime.combine(made, time(12), tzinfo=UTC))
    for style, name in (("", "regular"), ("B", "strong")):
        pdf.add_font("Sheet", style, face(name))
    pdf.add_page()
    return pdf


def _true(pdf: Any) -> float:
    """By what the page's millimetres, and so its letters, are smaller than true."""
    return float(pdf.k) * 25.4 / 72.0


def words(
    pdf: Any, said: str, left: float, top: float, width: float, *, size: float = BODY, style: str = "",
    ink: int = INK,
) -> float:  # fmt: skip
    """Words wrapped into a column; where they end."""
    pdf.set_font("Sheet", style, size * _true(pdf))
    pdf.set_text_color(ink)
    pdf.set_xy(left, top)
    text = spelled(said, name="strong" if style else "regular")
    pdf.multi_cell(width, size * LEADING, text, align="L", padding=0, new_x="LEFT", new_y="NEXT", wrapmode=_wrap(text))
    return float(pdf.get_y())


def _wrap(text: str) -> str:
    """By words, unless one would not fit a line."""
    return "CHAR" if max(map(len, text.split()), default=0) > 60 else "WORD"


def rule(pdf: Any, left: float, top: float, width: float, *, ink: int = LINE) -> None:
    """A thin line across."""
    pdf.set_draw_color(ink)
    pdf.set_line_width(0.2)
    pdf.line(left, top, left + width, top)


def fill(pdf: Any, shade: Shade, left: float, top: float, width: float, height: float) -> None:
    """A chip, with the sign where a screen cannot show its colour."""
    pdf.set_fill_color(*shade.rgb)
    pdf.rect(left, top, width, height, style="F")
    if not shade.exact:
        pdf.set_fill_color(255)
        pdf.set_draw_color(INK)
        pdf.ellipse(left + width - 4.2, top + 0.7, 3.5, 3.5, style="DF")
        pdf.set_font("Sheet", "", 8.0 * _true(pdf))
        pdf.set_text_color(INK)
        pdf.text(left + width - 4.2 + 0.9, top + 3.4, "≈")


def trial(pdf: Any, shown: Trial, left: float, top: float, width: float, *, height: float = _PHOTO) -> float:
    """A trial as predicted, read and photographed, edge to edge, with its figures; where it ends."""
    each = width / (len(shown.chips) + (shown.photo is not None))
    ends = [top + height]
    for at, (name, lines, shade) in enumerate(shown.chips):
        fill(pdf, shade, left + at * each, top, each, height)
        ends.append(_named(pdf, name, ", ".join(lines), left + at * each, top + height, each))
    if shown.photo is not None:
        start = left + width - each
        picture = io.BytesIO(shown.photo.jpeg(round(_DENSE * each), round(_DENSE * height)))
        pdf.image(picture, x=start, y=top, w=each, h=height, alt_text="A photograph of the trial")
        ends.append(_named(pdf, PHOTO_SIGN, shown.photo.named, start, top + height, each))
    top = max(ends)
    for figure, meaning in shown.figures:
        top = words(pdf, f"{figure} {meaning}", left, top + 0.4, width)
    return top


def _named(pdf: Any, name: str, told: str, left: float, top: float, width: float) -> float:
    end = words(pdf, name, left, top + 0.6, width - 1.0, size=SMALL, style="B")
    return words(pdf, told, left, end, width - 1.0, size=SMALL, ink=QUIET)


# What pages for a browser share: a template filled, the typeface cut to their letters, pictures inside the file.


PHOTO_SIZE = (1200, 800)  # [px]

_USUAL = frozenset(map(chr, range(32, 127))) | frozenset("°–−“”’≈·×±³ßäöüÄÖÜàâçèéêëîïôùûñóíáåøæ\u00a0")


def rendered(template: str, **told: Any) -> bytes:
    """A page made of a template beside this module, in UTF-8, self-contained.

    Raises
    ------
    InputError
        If what draws it is not installed.
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
    page = environment.get_template(template).render(photo_sign=PHOTO_SIGN, **told)
    return page.replace("/* faces */", _faces(page)).encode("utf-8")


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
    return "#" + "".join(f"{level:02x}" for level in shade.rgb)


def photo_uri(trial: Trial | None) -> str:
    """The photograph of a trial, likewise; empty without one."""
    if trial is None or trial.photo is None:
        return ""
    return uri("image/jpeg", trial.photo.jpeg(*PHOTO_SIZE))
