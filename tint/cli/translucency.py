"""A blend against thickness, as a page and as JSON; and what a single thickness tells of hiding and of a lamp."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from tint import jsonable
from tint.appearance import Appearance
from tint.cli.tables import CARE, QUIET, fixed, show_notes, show_table
from tint.palette import Palette
from tint.translucency import (
    HIDING,
    Translucency,
    against_swatches,
    hiding_in_words,
    hiding_thickness,
    lit_from_behind,
)

if TYPE_CHECKING:
    from rich.console import Console

_LAB = "   L*    a*    b*"


def sheet_json(sheet: Translucency) -> dict[str, Any]:
    """The whole of a table against thickness; arrays by thickness."""

    def column(name: str) -> np.ndarray[Any, Any]:
        return np.array([getattr(each, name) for each in sheet.appearances])

    setting = jsonable.setting(sheet.appearances[0])
    del setting["thickness_mm"]
    return {
        "base": sheet.blend.base,
        "loadings": dict(sheet.blend.loadings),
        "thickness_mm": sheet.thickness_mm,
        "lab": column("lab"),
        "lab_black": column("lab_black"),
        "lab_white": column("lab_white"),
        "contrast_ratio": column("contrast_ratio"),
        "contrast_ratio_error": column("contrast_ratio_error"),
        "luminous_transmittance": column("luminous_transmittance"),
        "translucency_parameter": sheet.translucency_parameter,
        "translucency_parameter_ab": sheet.translucency_parameter_ab,
        "expected_error": column("expected_error"),
        "lab_from_behind": sheet.lab_from_behind,
        "srgb_from_behind": list(sheet.srgb_from_behind),
        "hides_at_mm": sheet.hides_at_mm,
        "setting": setting,
        "conditions": sheet.conditions,
        "warnings": list(sheet.warnings),
    }


def show_sheet(out: Console, sheet: Translucency, palette: Palette) -> None:
    """Colour and opacity by thickness, where it hides, and the colour lit from behind."""
    over = sheet.appearances[0].over
    columns = (
        "mm",
        f"over {palette.black}\n{_LAB}",
        f"over {palette.white}\n{_LAB}",
        "contrast",
        "light",
        "TP",
        "error",
    )
    show_table(
        out, columns, [_row(*each) for each in zip(sheet.appearances, sheet.translucency_parameter, strict=True)]
    )
    out.print(
        "contrast: Y over black / Y over white. light: what comes through the free slab, Y. TP: translucency "
        "parameter, CIEDE2000 from over black to over white. 95 of 100 castings read within the error "
        f"({_place(over)}, CIEDE2000), and within ± of the contrast ratio.",
        style=QUIET,
    )
    out.print()
    out.print(f"It {hiding_in_words(palette, sheet.blend.base, sheet.hides_at_mm)}.")
    out.print()
    show_table(out, *_behind(sheet, palette))
    show_notes(out, "Before you trust it", sheet.warnings, style=CARE)


def _row(look: Appearance, parameter: float) -> tuple[str, ...]:
    return (
        f"{look.setting.thickness_mm:g}",
        _lab(look.lab_black),
        _lab(look.lab_white),
        f"{fixed(look.contrast_ratio, 3)} ± {fixed(look.contrast_ratio_error, 3)}",
        f"{fixed(100.0 * look.luminous_transmittance, 1)} %",
        fixed(parameter, 1),
        fixed(look.expected_error, 2),
    )


def _behind(sheet: Translucency, palette: Palette) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Lit from behind; and over the backing that was asked for, where it is neither of the two."""
    over = sheet.appearances[0].over
    columns = ["mm", f"lit from behind\n{_LAB}", "<screen"]
    rows = [
        [f"{depth:g}", _lab(lab), screen]
        for depth, lab, screen in zip(sheet.thickness_mm, sheet.lab_from_behind, sheet.srgb_from_behind, strict=True)
    ]
    if over not in (palette.black, palette.white):
        columns.insert(1, f"{_place(over)}\n{_LAB}")
        for row, look in zip(rows, sheet.appearances, strict=True):
            row.insert(1, _lab(look.lab))
    return tuple(columns), [tuple(row) for row in rows]


def _lab(lab: np.ndarray[Any, Any]) -> str:
    return "".join(f"{fixed(value, 1):>6s}" for value in lab)[1:]


def _place(over: str) -> str:
    return "free slab" if over == "none" else f"over {over}"


def by_light(palette: Palette, look: Appearance) -> dict[str, Any]:
    """What one thickness tells besides: from where the blend hides, and its colour lit from behind."""
    lab, screen = lit_from_behind(look.transmittance[None], look.setting.viewing(palette))
    lit = palette.tells_opacity
    return {
        "hides_at_mm": hiding_thickness(palette, look.blend, setting=look.setting) if palette.pair else None,
        "lab_from_behind": lab[0] if lit else None,
        "srgb_from_behind": screen[0] if lit else None,
    }


def by_light_facts(palette: Palette, base: str, told: dict[str, Any]) -> list[tuple[str, str, str]]:
    """The same as lines of a page."""
    facts = []
    if told["lab_from_behind"] is not None:
        lab = ", ".join(fixed(value, 1) for value in told["lab_from_behind"])
        facts.append(("from behind", told["srgb_from_behind"], f"Lab {lab}; lit from behind, the bare lamp white"))
    if palette.pair:
        depth = told["hides_at_mm"]
        remark = f"contrast ratio {HIDING:g} and more{against_swatches(palette, base, depth)}"
        facts.append(("hides from", "no thickness" if depth is None else f"{depth:.3g} mm", remark))
    return facts
