"""The rows of a fan as a page of chips."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from tint import colorimetry
from tint.fans.rows import Row
from tint.fans.wish import Common
from tint.palette import Palette
from tint.proofs.printed import Chip, chips_page


def fan_page(rows: Iterable[Row], palette: Palette, common: Common) -> bytes:
    """Chips in order of hue and lightness, as a self-contained page; what cannot be had beside its nearest.

    It goes to customers, and tells no pigment.

    Parameters
    ----------
    rows : iterable of Row
    palette : Palette
    common : Common
        Tells the light that the colours hold for.

    Raises
    ------
    InputError
        If what draws it is not installed.
    """
    view = common.setting().viewing(palette)
    told = list(rows)
    known = [row for row in told if row.target is not None]
    labs = np.array([row.target for row in known]).reshape(-1, 3)
    codes = [colorimetry.hex_code(each) for each in colorimetry.lab_to_srgb(labs, view)[0]]
    chips = [_chip(row, wanted) for row, wanted in zip(known, codes, strict=True)]
    lost = [f"{row.number} {row.name}: {row.reason}" for row in told if row.target is None]
    seen = common.setting()
    return chips_page(chips, title=palette.name, light=f"{seen.light}, {seen.observer}° observer", lost=lost)


def _chip(row: Row, wanted: str) -> Chip:
    assert row.target is not None  # the caller has looked
    return Chip(
        number=row.number,
        name=row.name,
        lab=row.target,
        wanted=wanted,
        had=row.srgb,
        reached=row.reached,
        delta_e=row.delta_e,
        contrast_ratio=row.contrast_ratio,
        reason=row.reason,
    )
