"""Which recipes of a fan still hold with a palette that has changed: a new lot, further swatches, another fit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import msgspec
import numpy as np

from tint import colorimetry
from tint.appearance import predict
from tint.errors import TintError
from tint.fans.rows import Row
from tint.fans.wish import Common, Wish
from tint.given import setting_of
from tint.materials import Blend
from tint.opacity import opacity_of
from tint.palette import Palette
from tint.target import Target, solid_unless_told, without_gloss


def still_holds(palette: Palette, row: Row, wish: Wish, common: Common) -> bool:
    """Whether a recipe still gives nearly the colour that its row tells, and the opacity where it was met.

    Parameters
    ----------
    palette : Palette
        As it now stands.
    row : Row
        As it was found with another palette.
    wish : Wish
        What the row answers.

    Returns
    -------
    bool
        False where there was no recipe, the palette lacks what it is made of, its colour has moved by more than the
        tolerance (CIEDE2000), or some wall no longer has the opacity that was met.
    """
    if not row.base or row.lab is None or row.target is None:
        return False
    seen = (without_gloss(palette) if wish.srgb is not None else {}) | dict(common.seen)
    first, *walls = sorted(wish.walls_mm or common.walls_mm)
    setting = setting_of(None, first, seen)
    try:
        blend = Blend(row.base, row.loadings)
        looks = [predict(palette, blend, setting=replace(setting, thickness_mm=wall)) for wall in (first, *walls)]
    except TintError:
        return False
    target = _target(palette, row, wish, common)
    moved = float(colorimetry.difference(looks[0].lab, np.array(row.lab)))
    if moved > target.tolerance:
        return False
    met = [
        bool(target.met(0.0, contrast_ratio=x.contrast_ratio, transmittance=x.luminous_transmittance, haze=x.haze))
        for x in looks
    ]
    return all(met) or not row.reached


def _target(palette: Palette, row: Row, wish: Wish, common: Common) -> Target:
    opacity = common.opacity if wish.opacity is None else wish.opacity
    tolerance = common.tolerance if wish.tolerance is None else wish.tolerance
    told: dict[str, Any] = {} if tolerance is None else {"tolerance": tolerance}
    target = Target(lab=np.array(row.target), **told, **({} if opacity is None else opacity_of(opacity)))
    return target if opacity is not None else solid_unless_told(target, palette)


def same_but_for_its_place(one: Row, other: Row) -> bool:
    """Whether two rows tell the same, wherever they stand in their tables."""
    return msgspec.structs.replace(one, number=other.number) == other


def by_what_was_asked(rows: Iterable[Row]) -> dict[str, Row]:
    """Rows by the digest of what they answer; of several that answer the same, the first."""
    found: dict[str, Row] = {}
    for row in rows:
        found.setdefault(row.asked, row)
    return found
