"""How the files of instruments name the columns of a spectrum."""

from __future__ import annotations

import re
from collections.abc import Iterable

_CGATS = re.compile(r"(?:SPECTRAL_NM|SPECTRAL|SPEC|NM)_?(\d{3,4}(?:\.\d{1,4})?)", re.IGNORECASE | re.ASCII)
_PLAIN = re.compile(r"[RT]?[ _]?(\d{3,4}(?:[.,]\d{1,4})?)\s*(?:nm|\(nm\)|\[nm\])?", re.IGNORECASE | re.ASCII)
_SHORTEST, _LONGEST = 200.0, 3000.0


def quantity_in(columns: Iterable[str]) -> str:
    """`transmittance` or `reflectance` where every wavelength's column says so by a T or R before it; else empty."""
    first = {name.strip()[:1].upper() for name in columns}
    return {"T": "transmittance", "R": "reflectance"}.get(first.pop(), "") if len(first) == 1 else ""


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
    match = _CGATS.fullmatch(name) or (_PLAIN.fullmatch(name) if plain else None)
    if match is None:
        return None
    value = float(match[1].replace(",", "."))
    return value if _SHORTEST <= value <= _LONGEST else None
