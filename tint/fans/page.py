"""The rows of a fan for customers: chips on a page or on paper, and a table for a web shop."""

from __future__ import annotations

import datetime
from collections.abc import Iterable

import numpy as np

from tint import colorimetry
from tint.fans.rows import Row
from tint.fans.wish import Common
from tint.files import csv_table
from tint.palette import Palette
from tint.proofs.printed import Chip, chips_page, chips_pdf, in_groups


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
    chips, lost = _chips(rows, palette, common)
    return chips_page(chips, title=palette.name, light=_light(common), lost=lost)


def fan_pdf(rows: Iterable[Row], palette: Palette, common: Common, *, made: datetime.datetime | None = None) -> bytes:
    """The same as a PDF of A4 pages.

    Raises
    ------
    InputError, JobError
        If what draws it is not installed.
    """
    chips, lost = _chips(rows, palette, common)
    return chips_pdf(chips, title=palette.name, light=_light(common), lost=lost, made=made)


def shop_table(rows: Iterable[Row], palette: Palette, common: Common) -> bytes:
    """The same as comma-separated values for a web shop: what a customer may see, in the order of the page.

    The colour is that of the recipe where it can be had, and else what was asked for.
    """
    chips, _ = _chips(rows, palette, common)
    table: list[list[object]] = [["order", "number", "name", "group", "colour", "contrast_ratio", "can_be_had"]]
    held = [(group, chip) for group, members in in_groups(chips) for chip in members]
    for order, (group, chip) in enumerate(held, start=1):
        seen = chip.had if chip.reached else chip.wanted
        opacity = "" if chip.contrast_ratio is None or not chip.reached else f"{chip.contrast_ratio:.3f}"
        table.append([order, chip.number, chip.name, group, seen, opacity, "yes" if chip.reached else "no"])
    return csv_table(table)


def _light(common: Common) -> str:
    seen = common.setting()
    return f"{seen.light}, {seen.observer}° observer"


def _chips(rows: Iterable[Row], palette: Palette, common: Common) -> tuple[list[Chip], list[str]]:
    """Rows as chips, and what is said of those that told no colour."""
    view = common.setting().viewing(palette)
    told = list(rows)
    known = [row for row in told if row.target is not None]
    labs = np.array([row.target for row in known]).reshape(-1, 3)
    codes = [colorimetry.hex_code(each) for each in colorimetry.lab_to_srgb(labs, view)[0]]
    chips = [_chip(row, wanted) for row, wanted in zip(known, codes, strict=True)]
    return chips, [f"{row.number} {row.name}: {row.reason}" for row in told if row.target is None]


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
