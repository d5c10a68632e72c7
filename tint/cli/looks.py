"""An appearance as a page and as JSON: what `predict`, `solve` and `weigh` say of a blend, in the same words and keys."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from tint.appearance import Appearance
from tint.cli.tables import CARE, fixed, show_facts, show_notes, show_table

if TYPE_CHECKING:
    from rich.console import Console

_PATCH = " " * 10


def setting_json(appearance: Appearance) -> dict[str, Any]:
    """What the numbers hold for, nothing left to a default."""
    setting = appearance.setting
    return {
        "thickness_mm": setting.thickness_mm,
        "over": appearance.over,
        "seat": setting.seat,
        "light": setting.light,
        "observer": setting.observer,
        "geometry": appearance.geometry,
    }


def summary_json(appearance: Appearance) -> dict[str, Any]:
    """All of an appearance but its spectra and setting."""
    known = np.isfinite(appearance.lab_black).all()
    return {
        "base": appearance.blend.base,
        "loadings": dict(appearance.blend.loadings),
        "lab": appearance.lab,
        "lab_black": appearance.lab_black if known else None,
        "lab_white": appearance.lab_white if known else None,
        "srgb": appearance.srgb,
        "in_gamut": appearance.in_gamut,
        "contrast_ratio": appearance.contrast_ratio,
        "contrast_ratio_error": appearance.contrast_ratio_error,
        "luminous_transmittance": appearance.luminous_transmittance,
        "expected_error": appearance.expected_error,
        "warnings": list(appearance.warnings),
    }


def appearance_json(appearance: Appearance) -> dict[str, Any]:
    """The whole of an appearance."""
    return {
        **summary_json(appearance),
        "wavelengths": appearance.wavelengths,
        "reflectance": appearance.reflectance,
        "transmittance": appearance.transmittance,
        "setting": setting_json(appearance),
        "conditions": appearance.conditions,
    }


def show_appearance(out: Console, appearance: Appearance) -> None:
    """Colour over each backing, opacity, light let through, error, and what to know before believing them."""
    show_patch(out, appearance)
    # Darkest and lightest backing are told of even where the part is judged over neither.
    labs = [("judged, " + _place(appearance), appearance.lab)]
    if np.isfinite(appearance.lab_black).all():
        labs += [("over the darkest backing", appearance.lab_black), ("over the lightest backing", appearance.lab_white)]
    show_table(out, ("<colour", "L*", "a*", "b*"), [(place, *(fixed(x, 2) for x in lab)) for place, lab in labs])
    out.print()
    show_facts(out, _facts(appearance))
    show_notes(out, "Before you trust it", appearance.warnings, style=CARE)


def show_patch(out: Console, appearance: Appearance) -> None:
    """The colour itself, on a terminal that can show it."""
    if out.is_terminal and out.color_system == "truecolor":
        for _ in range(2):
            out.print(_PATCH, style=f"on {appearance.srgb}")
        out.print()


def _place(appearance: Appearance) -> str:
    return "free slab" if appearance.over == "none" else f"over {appearance.over}"


def _facts(appearance: Appearance) -> list[tuple[str, str, str]]:
    gamut = "within what a screen can show" if appearance.in_gamut else "clipped: a screen cannot show this colour"
    ratio = f"{fixed(appearance.contrast_ratio, 3)} ± {fixed(appearance.contrast_ratio_error, 3)}"
    through = f"{fixed(100.0 * appearance.luminous_transmittance, 1)} %"
    return [
        ("expected error", f"{fixed(appearance.expected_error, 2)} CIEDE2000", "95 of 100 readings fall within it"),
        ("contrast ratio", ratio, "Y over black to Y over white; 1 is opaque; 95 of 100"),
        ("transmittance", through, "total, of the free slab, Y in this light"),
        ("screen colour", appearance.srgb, f"sRGB, {gamut}"),
    ]
