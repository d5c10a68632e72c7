"""Letters: which face a line is set in, how its words are spelled with the letters of that face, how wide it comes out.

Pictures are drawn in the face that comes with pillow, which has little more than the letters of English. A paragraph
that needs others, a customer's name with accents, in Greek or in Cyrillic, is drawn whole in the typeface of the
sheets, Source Serif, from a package of its own, where that is installed. What neither has is spelled with what they
have. Pages and PDFs are set in Source Serif.
"""

from __future__ import annotations

import functools
import io
import logging
import math
import re
import unicodedata
from collections.abc import Callable
from pathlib import Path

from PIL import ImageFont

from tint.errors import InputError

PLAIN, SERIF = "plain", "serif"

_FILES = {"regular": "SourceSerifPro-Regular.ttf", "strong": "SourceSerifPro-Semibold.ttf"}
_LINE = 1.36  # from one line to the next, in heights of the letters; chosen by eye
# Signs that a face may lack, with what stands for them there.
_SIGNS = {
    "×": "x", "–": "-", "—": "-", "−": "-", "‐": "-", "µ": "u", "€": "EUR", "≥": ">=", "≤": "<=", "„": '"', "’": "'",
    "‘": "'", "“": '"', "”": '"', "…": "...",
}  # fmt: skip
_LETTERS = {
    "ß": "ss", "ø": "o", "Ø": "O", "ł": "l", "Ł": "L", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE", "đ": "d",
}  # fmt: skip


def face_file(name: str) -> Path:
    """The file of a face of the sheets: `regular` or `strong`.

    Raises InputError if the package with the fonts is not there.
    """
    try:
        import font_source_serif_pro
    except ImportError as error:
        raise InputError("sheet", "its typeface is missing", mend="run `pip install 'tint[sheet,pdf]'`") from error
    return Path(font_source_serif_pro.__file__).parent / "files" / _FILES[name]


@functools.lru_cache(maxsize=2)
def letters_of(name: str) -> frozenset[str]:
    """The letters that a face of the sheets has."""
    logging.getLogger("fontTools").setLevel(logging.ERROR)
    from fontTools.ttLib import TTFont

    return frozenset(chr(code) for code in TTFont(io.BytesIO(face_file(name).read_bytes()), lazy=True).getBestCmap())


@functools.cache
def font(size: int, face: str = PLAIN) -> ImageFont.FreeTypeFont:
    """A face at a size [px]."""
    if face == SERIF:
        return ImageFont.truetype(str(face_file("regular")), size=size)
    loaded = ImageFont.load_default(size=size)
    assert isinstance(loaded, ImageFont.FreeTypeFont)  # pillow gives the bitmap font only where no size is asked
    return loaded


@functools.cache
def _is_plain(letter: str) -> bool:
    drawn = font(32)
    return letter.isspace() or bytes(drawn.getmask(letter)) not in (b"", bytes(drawn.getmask("\uffff")))


def _serif_letters() -> frozenset[str]:
    """The letters of the sheets' face; none where it is not installed."""
    try:
        face_file("regular")
        return letters_of("regular")
    except (InputError, ImportError):
        return frozenset()


def _spell(letter: str, has: Callable[[str], bool]) -> str:
    """A letter with those that there are: others lose their accents, and what cannot be spelled becomes `?`."""
    if has(letter):
        return letter
    if letter in _LETTERS:
        return _LETTERS[letter]
    if unicodedata.combining(letter):
        return ""
    parts = unicodedata.normalize("NFKD", letter)
    return "?" if parts == letter else "".join(_spell(part, has) for part in parts)


def _in_picture(letter: str) -> str:
    if not _is_plain(letter) and letter in _SIGNS:
        return _SIGNS[letter]
    return _spell(letter, lambda each: _is_plain(each) or each in _serif_letters())


def _on_sheet(letter: str) -> str:
    return _spell(letter, lambda each: each.isspace() or each in letters_of("regular"))


def _spelled(words: str, spell: Callable[[str], str]) -> str:
    return " ".join("".join(map(spell, unicodedata.normalize("NFC", words).expandtabs(1))).split())


def spelled(words: str) -> str:
    """Words in letters that a picture has."""
    return _spelled(words, _in_picture)


def spelled_on_sheet(words: str) -> str:
    """Words in letters that the typeface of the sheets has."""
    return _spelled(words, _on_sheet)


def lost(words: str, *, sheet: bool = False) -> str:
    """The letters of words that come out as `?` in a picture, or on a sheet, each once."""
    spell = _on_sheet if sheet else _in_picture
    composed = dict.fromkeys(unicodedata.normalize("NFC", words))
    return "".join(each for each in composed if each != "?" and "?" in spell(each))


def latin(words: str) -> str:
    """Words on one line, their signs as far as may be in Latin-1."""

    def plainly(letter: str) -> str:
        return letter if ord(letter) < 256 and letter.isprintable() else _SIGNS.get(letter, letter)

    spaced = (letter if letter.isprintable() else " " for letter in unicodedata.normalize("NFC", words))
    return " ".join("".join(map(plainly, spaced)).split())


def check_letters(words: str) -> None:
    """Refuse words that no face has all letters of: no name on a weigh sheet may be garbled."""
    lacking = "".join(dict.fromkeys(letter for letter in words if letter not in letters_of("regular")))
    if lacking:
        found = f"`{lacking}` cannot be set in its typeface"
        raise InputError(f"pdf, `{words[:40]}`", found, "expected Latin, Greek or Cyrillic letters", "name it in those")


@functools.lru_cache(maxsize=16)
def cut(name: str, letters: str) -> bytes:
    """A face with no more than some letters, as a WOFF, the same for the same letters."""
    logging.getLogger("fontTools").setLevel(logging.ERROR)
    from fontTools import subset
    from fontTools.ttLib import TTFont

    font = TTFont(io.BytesIO(face_file(name).read_bytes()), recalcTimestamp=False)
    options = subset.Options(
        layout_features=["kern", "liga", "tnum", "lnum"], name_IDs=[0, 1, 2, 13, 14], hinting=False, notdef_outline=True
    )
    cutter = subset.Subsetter(options)
    cutter.populate(text=letters)
    cutter.subset(font)
    font.flavor = "woff"
    out = io.BytesIO()
    font.save(out)
    return out.getvalue()


# Lines in a picture.


def face_of(words: str) -> str:
    """The face that spelled words are drawn in."""
    return PLAIN if all(map(_is_plain, words)) else SERIF


def text_width(words: str, size: int, face: str = PLAIN) -> int:
    """How wide a line comes out [px]."""
    return math.ceil(font(size, face).getlength(words))


def line_height(size: int) -> int:
    """From one line to the next [px]."""
    return math.ceil(_LINE * size)


def baseline(size: int) -> int:
    """From the top of a line to what its letters stand on, capitals being centred [px]."""
    capital = -math.floor(font(size).getbbox("H", anchor="ls")[1])
    return (line_height(size) + capital) // 2


def wrap(words: str, *, size: int, width: int) -> list[str]:
    """Break words into lines no wider than `width` in their face [px]; a word that is itself too wide is cut."""
    said = spelled(words)
    face, lines = face_of(said), [""]
    for word in re.split(r" (?!(?:mm|cm3|nm|%|CIEDE2000)(?:\W|$))", said):  # a number stays beside its unit
        joined = f"{lines[-1]} {word}".strip()
        if text_width(joined, size, face) <= width:
            lines[-1] = joined
            continue
        *full, last = _cut(word, size, width, face)
        lines += [*full, last]
    return [line for line in lines if line]


def _cut(word: str, size: int, width: int, face: str) -> list[str]:
    pieces = [""]
    for letter in word:
        if pieces[-1] and text_width(pieces[-1] + letter, size, face) > width:
            pieces.append("")
        pieces[-1] += letter
    return pieces
