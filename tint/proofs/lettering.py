"""Letters on a picture: which face a line is drawn in, how wide it comes out, where it breaks.

Lines are drawn in the face that comes with pillow, which has little more than the letters of English. A paragraph
that needs others, a customer's name with accents, in Greek or in Cyrillic, is drawn whole in the typeface of the
sheets where that is installed. What neither has is spelled with what they have.
"""

from __future__ import annotations

import functools
import math
import unicodedata

from PIL import ImageFont

from tint.errors import InputError
from tint.proofs import typeface

PLAIN, SERIF = "plain", "serif"

_SIGNS = {
    "×": "x",
    "–": "-",
    "—": "-",
    "−": "-",
    "‐": "-",
    "µ": "u",
    "€": "EUR",
    "≥": ">=",
    "≤": "<=",
    "„": '"',
}
_LETTERS = {
    "ß": "ss",
    "ø": "o",
    "Ø": "O",
    "ł": "l",
    "Ł": "L",
    "æ": "ae",
    "Æ": "AE",
    "œ": "oe",
    "Œ": "OE",
    "đ": "d",
}


@functools.cache
def font(size: int, face: str = PLAIN) -> ImageFont.FreeTypeFont:
    """A face at a size [px]."""
    if face == SERIF:
        return ImageFont.truetype(str(typeface.face("regular")), size=size)
    loaded = ImageFont.load_default(size=size)
    assert isinstance(loaded, ImageFont.FreeTypeFont)  # pillow gives the bitmap font only where no size is asked
    return loaded


@functools.cache
def has_glyph(letter: str, face: str) -> bool:
    """Whether a face draws a letter as itself."""
    drawn = font(32, face)
    return letter == " " or bytes(drawn.getmask(letter)) not in (b"", bytes(drawn.getmask("\uffff")))


def _has_serif() -> bool:
    try:
        typeface.face("regular")
    except InputError:
        return False
    return True


def spelled(words: str) -> str:
    """Words in letters that a face has: others lose their accents, and what cannot be spelled becomes `?`."""
    has_serif = _has_serif()
    composed = unicodedata.normalize("NFC", words.expandtabs(1))
    return " ".join("".join(_spell(letter, has_serif) for letter in composed).split())


def lost(words: str) -> str:
    """The letters of words that come out as `?`, each once."""
    has_serif = _has_serif()
    composed = unicodedata.normalize("NFC", words)
    return "".join(dict.fromkeys(each for each in composed if each != "?" and "?" in _spell(each, has_serif)))


def _spell(letter: str, has_serif: bool) -> str:
    if letter.isspace() or has_glyph(letter, PLAIN):
        return letter
    if letter in _SIGNS:
        return _SIGNS[letter]
    if has_serif and has_glyph(letter, SERIF):
        return letter
    if letter in _LETTERS:
        return _LETTERS[letter]
    if unicodedata.combining(letter):
        return ""
    parts = unicodedata.normalize("NFKD", letter)
    return "?" if parts == letter else "".join(_spell(part, has_serif) for part in parts)


def face_of(words: str) -> str:
    """The face that spelled words are drawn in."""
    return PLAIN if all(letter.isspace() or has_glyph(letter, PLAIN) for letter in words) else SERIF


def text_width(words: str, size: int, face: str = PLAIN) -> int:
    """How wide a line comes out [px]."""
    return math.ceil(font(size, face).getlength(words))


def line_height(size: int) -> int:
    """From one line to the next [px]."""
    return math.ceil(1.36 * size)


def baseline(size: int) -> int:
    """From the top of a line to what its letters stand on, capitals being centred [px]."""
    capital = -math.floor(font(size).getbbox("H", anchor="ls")[1])
    return (line_height(size) + capital) // 2


def wrap(words: str, *, size: int, width: int) -> list[str]:
    """Break words into lines no wider than `width` in their face [px]; a word that is itself too wide is cut."""
    said = spelled(words)
    face, lines = face_of(said), [""]
    for word in said.split(" "):
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
