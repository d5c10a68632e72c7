"""How the files of instruments name the columns of a spectrum."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

_CGATS = re.compile(r"(?:SPECTRAL_NM|SPECTRAL|SPEC|NM)_?(\d{3,4}(?:\.\d{1,12})?)", re.IGNORECASE | re.ASCII)
# What instruments write about a wavelength: R400, %R400, R[400], Refl 400, 400 nm, 400_NM, 400 nm [%], 400nm SCI ...
_PLAIN = re.compile(
    r"(?P<kind>%?\s?[RT]\s?%?|refl(?:ectance)?|trans(?:mittance)?)?[ _]?"
    r"[\[(]?(?P<nm>\d{3,4}(?:[.,]\d{1,12})?)[ _]?(?:\(nm\)|\[nm\]|nm)?[\])]?"
    r"[ _]?(?P<more>%|\[%\]|\(%\)|sci|sce)?",
    re.IGNORECASE | re.ASCII,
)
_SHORTEST, _LONGEST = 200.0, 3000.0


@dataclass(frozen=True)
class Said:
    """What the names of a spectrum's columns say beside the wavelengths; empty where they say nothing, or disagree."""

    quantity: str = ""
    scale: str = ""
    specular: str = ""


def said_by(columns: Iterable[str]) -> Said:
    """What the names of a spectrum's columns say: `T400` transmittance, `%R400` percent, `400 nm SCI` the gloss."""
    found = [match for name in columns if (match := _PLAIN.fullmatch(name.strip())) is not None]
    kinds = {(match["kind"] or "").strip("% ").lower()[:1] for match in found}
    percent = {"%" in (match["kind"] or "") + (match["more"] or "") for match in found}
    gloss = {(match["more"] or "").lower() for match in found}
    return Said(
        quantity={"t": "transmittance", "r": "reflectance"}.get(kinds.pop(), "") if len(kinds) == 1 else "",
        scale="percent" if percent == {True} else "",
        specular={"sci": "included", "sce": "excluded"}.get(gloss.pop(), "") if len(gloss) == 1 else "",
    )


def wavelength_in(column: str, *, plain: bool = False) -> float | None:
    """The wavelength [nm] that a column's name tells; None when it tells none.

    Parameters
    ----------
    column : str
        `SPECTRAL_NM400`, `SPECTRAL_400`, `SPEC_400` or `nm400`.
    plain : bool
        Whether a bare number counts too, as `400`, `400 nm` or `R400`.
    """
    name = column.strip()
    if len(name) > 40:
        return None
    named, bare = _CGATS.fullmatch(name), _PLAIN.fullmatch(name) if plain else None
    if named is None and bare is None:
        return None
    value = float((named[1] if named is not None else bare["nm"] if bare is not None else "").replace(",", "."))
    return value if _SHORTEST <= value <= _LONGEST else None
