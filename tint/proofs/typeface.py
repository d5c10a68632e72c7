"""The typeface of approval sheets, Source Serif, from a package of its own: whole for a PDF, cut to size for a page."""

from __future__ import annotations

import functools
import io
import logging
import unicodedata
from pathlib import Path

from tint.errors import InputError

_FILES = {"regular": "SourceSerifPro-Regular.ttf", "strong": "SourceSerifPro-Semibold.ttf"}


def face(name: str) -> Path:
    """The file of a face: `regular` or `strong`.

    Raises
    ------
    InputError
        If the package with the fonts is not there.
    """
    try:
        import font_source_serif_pro
    except ImportError as error:
        raise InputError("sheet", "its typeface is missing", mend="run `pip install 'tint[sheet,pdf]'`") from error
    return Path(font_source_serif_pro.__file__).parent / "files" / _FILES[name]


@functools.lru_cache(maxsize=16)
def cut(name: str, letters: str) -> bytes:
    """A face with no more than some letters, as a WOFF, the same for the same letters."""
    logging.getLogger("fontTools").setLevel(logging.ERROR)
    from fontTools import subset
    from fontTools.ttLib import TTFont

    font = TTFont(io.BytesIO(face(name).read_bytes()), recalcTimestamp=False)
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


@functools.lru_cache(maxsize=2)
def letters_of(name: str) -> frozenset[str]:
    """The letters that a face has."""
    from fontTools.ttLib import TTFont

    return frozenset(chr(code) for code in TTFont(io.BytesIO(face(name).read_bytes()), lazy=True).getBestCmap())


def spelled(words: str, *, name: str = "regular") -> str:
    """Words in letters that a face has; what it has not is taken apart, or becomes `?`."""
    known = letters_of(name)

    def spell(letter: str) -> str:
        if letter in known:
            return letter
        parts = unicodedata.normalize("NFKD", letter)
        plain = "".join(part for part in parts if part in known and not unicodedata.combining(part))
        return plain if parts != letter and plain else "?"

    return " ".join("".join(spell(letter) for letter in unicodedata.normalize("NFC", words).expandtabs(1)).split())


def lost(words: str, *, name: str = "regular") -> str:
    """The letters of words that come out as `?`, each once."""
    composed = dict.fromkeys(unicodedata.normalize("NFC", words))
    return "".join(each for each in composed if each != "?" and "?" in spelled(each, name=name))
