"""An appearance as a page and as JSON: what several commands say of a blend, in the same words and keys."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from tint.appearance import Appearance
from tint.cli.tables import CARE, fixed, show_facts, show_notes, show_table
from tint.palette import Circumstances, Palette
from tint.trials.trial import span

if TYPE_CHECKING:
    from rich.console import Console

_PATCH = " " * 10


def show_appearance(
    out: Console, appearance: Appearance, palette: Palette, *, more: Iterable[tuple[str, str, str]] = ()
) -> None:
    """Colour over each backing, opacity, light let through, error, and what to know before believing them."""
    _show_patch(out, appearance)
    labs = {place(appearance.over): appearance.lab}
    if np.isfinite(appearance.lab_black).all():
        labs.setdefault(place(palette.black), appearance.lab_black)
        labs.setdefault(place(palette.white), appearance.lab_white)
    show_table(out, ("<", "L*", "a*", "b*"), [(place, *(fixed(x, 2) for x in lab)) for place, lab in labs.items()])
    out.print()
    show_facts(out, [*_facts(appearance), *more])
    show_notes(out, "Before you trust it", appearance.warnings, style=CARE)


def _show_patch(out: Console, appearance: Appearance) -> None:
    """The colour itself, on a terminal that can show it."""
    if out.is_terminal and out.color_system == "truecolor":
        for _ in range(2):
            out.print(_PATCH, style=f"on {appearance.srgb}")
        out.print()


def place(over: str) -> str:
    """What a casting is seen over, in words."""
    return "free slab" if over == "none" else f"over {over}"


def _facts(appearance: Appearance) -> list[tuple[str, str, str]]:
    gamut = "a screen can show it" if appearance.in_gamut else "clipped: no screen shows this colour"
    ratio = f"{fixed(appearance.contrast_ratio, 3)} ± {fixed(appearance.contrast_ratio_error, 3)}"
    through = f"{fixed(100.0 * appearance.luminous_transmittance, 1)} %"
    opacity = [
        ("contrast ratio", ratio, "Y over black / Y over white; 95 of 100", appearance.contrast_ratio),
        ("transmittance", through, "total, of the free slab, Y", appearance.luminous_transmittance),
    ]
    told = [(what, said, meaning) if np.isfinite(x) else (what, "not known", "") for what, said, meaning, x in opacity]
    return [
        ("expected error", f"{fixed(appearance.expected_error, 2)} CIEDE2000", "95 of 100 castings read within it"),
        *told,
        ("screen colour", appearance.srgb, f"sRGB; {gamut}"),
    ]


# How the castings of each base were cured and kept, in a line for people and by name for scripts.


def in_words(told: Circumstances) -> str:
    """What was written of them; empty where nothing was."""
    parts = [
        told.cure_c and f"cured at {span(told.cure_c)} °C",
        told.days and f"read {span(told.days)} days after",
        told.moulds and f"mould {', '.join(told.moulds)}",
        told.finishes and f"finish {', '.join(told.finishes)}",
        told.lots and f"lot {', '.join(told.lots)}",
    ]
    return "; ".join(part for part in parts if part)


def circumstances_in_words(by_base: Mapping[str, Circumstances]) -> Iterable[tuple[str, str]]:
    """Base and words, for the bases of which something was written."""
    return [(base, words) for base, told in by_base.items() if (words := in_words(told))]


def circumstances_json(by_base: Mapping[str, Circumstances]) -> dict[str, Any]:
    """By base; null or an empty list for what nobody wrote."""
    return {base: asdict(told) for base, told in by_base.items()}
