"""A casting plan on the terminal: what to pour, why, and its grams."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from tint.cli import show
from tint.starting import CastingPlan

if TYPE_CHECKING:
    from rich.console import Console


def show_castings(out: Console, plan: CastingPlan) -> None:
    """Premixes, then castings, then what to know."""
    sheet, shown = plan.sheet, plan.sheet.scale.shown
    if sheet.premixes:
        out.print("Premixes, made and stirred first", style=show.HEAD)
        steps = [(s.makes, shown(s.grams), s.what, shown(s.base_g), f"part {s.part}") for s in sheet.premixes]
        show.table(out, ("<", "", "<", "into", "<"), steps)
        out.print()
    out.print("Castings, a cup each", style=show.HEAD)
    rows = [
        (cup.name, f"{cup.thickness_mm:g} mm", cup.blend.base, _weights(plan, at), casting.reason)
        for at, (casting, cup) in enumerate(zip(plan.castings, sheet.cups, strict=True))
    ]
    show.table(out, ("<", "mould", "<base", "~weigh", "~why"), rows)
    show.notes(out, "Before you weigh", plan.warnings, style=show.CARE)


def _weights(plan: CastingPlan, at: int) -> str:
    shown = plan.sheet.scale.shown
    return ", ".join(f"{shown(line.grams)} {line.what}" for line in plan.sheet.cups[at].lines)


def castings_json(plan: CastingPlan) -> dict[str, Any]:
    """The same for scripts."""
    sheet = plan.sheet
    return {
        "castings": [
            {
                "swatch": cup.name,
                "base": cup.blend.base,
                "loadings": dict(cup.blend.loadings),
                "thickness_mm": cup.thickness_mm,
                "reason": casting.reason,
                "lines": [{"what": line.what, "grams": line.grams} for line in cup.lines],
                "total_grams": cup.grams,
            }
            for casting, cup in zip(plan.castings, sheet.cups, strict=True)
        ],
        "premixes": [
            {"makes": s.makes, "what": s.what, "grams": s.grams, "part": s.part, "base_grams": s.base_g}
            for s in sheet.premixes
        ],
        "scale_step_g": sheet.scale.step_g,
        "warnings": list(plan.warnings),
        "cautions": list(sheet.cautions),
    }
