"""The geometry words of instruments' files, brought to those of the swatch folder.

References
----------
ANSI/IES TM-27-14: the words `di:8`, `de:8`, `45a:0` and their like. CIE 15:2018: the geometries themselves; a reading
with light and view exchanged is the same (Helmholtz), so `8:di` counts as `di:8`.
"""

from __future__ import annotations

import re

SPECULAR = {"di:8": "included", "de:8": "excluded", "45:0": "excluded"}
OF_SPHERE = {"included": "di:8", "excluded": "de:8"}  # the geometry that a sphere has by its specular component
TOTAL, PARTIAL = ("di:0", "0:di", "d:0", "0:d", "di:8", "8:di", "d:d"), ("0:0", "de:0", "0:de", "de:8", "8:de")

_SPHERE = re.compile(r"(?<![\w.])(?:(d[ie]?)\s*[:/]\s*8|8\s*[:/]\s*(d[ie]?))(?![\w.])")
_RING = re.compile(r"(?<![\w.])(?:45\s*[acx]?\s*[:/]\s*0|0\s*[:/]\s*45\s*[acx]?)(?![\w.])")
_INCLUDED = re.compile(r"\bsci\b|\bspecular[\s_-]*(?:component[\s_-]*)?includ")
_EXCLUDED = re.compile(r"\bsce\b|\bspecular[\s_-]*(?:component[\s_-]*)?exclud")


def geometry_in(text: str) -> str:
    """The geometry that a text names, in the folder's words; `d:8` when the mirror reflection is left open; else empty.

    `d/8 SCI`, `di:8` and `8:di` are one, and so are `45/0`, `45a:0` and `0:45x`.
    """
    words = text.lower()[:500].replace("°", "")
    sphere = _SPHERE.search(words)
    if sphere is None:
        return "45:0" if _RING.search(words) else ""
    kind = sphere[1] or sphere[2]
    told = {"di": "included", "de": "excluded"}.get(kind) or specular_in(words)
    return OF_SPHERE.get(told, "d:8")


def specular_in(text: str) -> str:
    """Whether a text says that the mirror reflection was `included` or `excluded`; empty when neither, or both."""
    words = text.lower()[:500]
    included, excluded = _INCLUDED.search(words), _EXCLUDED.search(words)
    if bool(included) == bool(excluded):
        return ""
    return "included" if included else "excluded"


def disagrees(geometry: str, own: str, quantity: str) -> bool:
    """Whether a geometry that a file tells cannot be that of the folder, `own`.

    What a file leaves open does not disagree. Of a transmittance only a part may have been caught, which is not what
    the folder means by it; how its reflectances are read does not matter then.
    """
    if quantity == "transmittance":
        return geometry in PARTIAL
    return bool(geometry) and geometry != own and not (geometry == "d:8" and own in ("di:8", "de:8"))
