"""What pages for a browser share: a template filled, the typeface cut to their letters, pictures inside the file."""

from __future__ import annotations

import base64
import re
from typing import Any

from tint.errors import InputError
from tint.proofs.facts import Shade
from tint.proofs.trial import PHOTO_SIGN, Trial
from tint.proofs.typeface import cut

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
