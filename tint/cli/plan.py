"""`tint plan`: which swatch to pour next, because it teaches most."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tint.appearance import how_read
from tint.cli import options, show
from tint.cli.asked import palette_of
from tint.cli.keys import Command
from tint.materials import Blend
from tint.planning import CASTINGS, MOULDS_MM, Plan, next_swatches
from tint.starting import CastingPlan, plan_castings
from tint.starting.plan import FIRST
from tint.swatches import read_declared


@click.command("plan", cls=Command)
@options.folder
@options.several("--base", "Only in this base.", "NAME", default="every base", to="bases")
@options.several(
    "--mould", "A mould depth at hand, in mm.", "MM", default=", ".join(f"{mm:g}" for mm in MOULDS_MM), to="moulds"
)
@options.count("--castings", f"How many to propose.  [default: {CASTINGS}; with --first {FIRST}]")
@options.flag("--first", "A first plan, for a workshop that has no swatches yet.")
@options.optics
@options.as_json
def command(
    folder: Path, bases: tuple[str, ...], moulds: tuple[str, ...], castings: int | None, first: bool, optics: str,
) -> None:  # fmt: skip
    """Propose the castings that would teach most.

    Example: tint plan swatches_demo --castings 3

    The best casting is the one that makes predictions most certain, over all that bases and pigments can make. The
    command also says when more casting is not worth it. With --first it needs only palette.toml, and gives the grams
    of every casting.
    """
    depths = [options.number_in(text, "--mould", "millimetres") for text in moulds]
    if first:
        begun = plan_castings(read_declared(folder), bases=bases, moulds_mm=depths, count=castings or FIRST)
        show.answer(castings_json(begun), lambda out: _show_first(out, begun))
        return
    palette = palette_of(folder, optics)
    for name in bases:
        options.known(name, palette.bases, "--base")
    plan = next_swatches(palette, count=castings or CASTINGS, bases=bases, thicknesses_mm=depths or MOULDS_MM)
    doubts = how_read(palette, over=palette.white if palette.backings else "none")

    def page(out: show.Page) -> None:
        over = " and ".join(palette.pair or palette.read_over) or "nothing"
        what = "readings" if palette.read_as == "spectra" else "colours"
        out.title("Pour next", f"{palette.model}; each as its {what} over {over} would teach")
        _show(out, plan)
        out.notes("Before you pour", doubts, style=show.CARE)

    names = ("thickness_mm", "error_before", "error_after", "missed_after", "reason")
    castings_told = [
        {"base": each.blend.base, "loadings": each.blend.loadings} | show.fields(each, *names) for each in plan.castings
    ]
    more = show.fields(plan, "enough", "missed_now", "words") | {"optics": optics, "warnings": doubts}
    show.answer({"castings": castings_told} | more, page)


def _show(out: show.Page, plan: Plan) -> None:
    rows = [
        (str(rank), _doses(each.blend), f"{each.thickness_mm:g} mm", show.fixed(each.error_after, 2),
         show.fixed(each.missed_after, 2), each.reason)
        for rank, each in enumerate(plan.castings, start=1)
    ]  # fmt: skip
    out.table(("", "<casting", "wall", "error", "missed", "<why"), rows)
    out.print(
        "error: root mean square CIEDE2000 that the palette's own uncertainty makes over all that can be made, once "
        "this and those above are cast. missed: by how much parts would then miss their predictions, with the errors "
        "of model, thickness, doses and reading.",
        style=show.QUIET,
    )
    out.apart(plan.words[0].upper() + plan.words[1:] + ".")


def _doses(blend: Blend) -> str:
    doses = " + ".join(f"{loading:.3g} % {name}" for name, loading in blend.loadings.items())
    return f"{blend.base}: {doses or 'uncoloured'}"


def _show_first(out: show.Page, plan: CastingPlan) -> None:
    out.title("Pour first", f"each read over {' and over '.join(plan.cards) or 'a black and a white card'}")
    show_castings(out, plan)
    out.apart("Then run `tint fit` and `tint plan`: from here on they know better than any rule.")


# A first plan, before anything is fitted: what to pour, why, and its grams.


def show_castings(out: show.Page, plan: CastingPlan) -> None:
    """Premixes, then castings, then what to know."""
    sheet, shown = plan.sheet, plan.sheet.scale.shown
    if sheet.premixes:
        out.print("Premixes, made and stirred first", style=show.HEAD)
        steps = [(s.makes, shown(s.grams), s.what, shown(s.base_g), f"part {s.part}") for s in sheet.premixes]
        out.table(("<", "", "<", "into", "<"), steps)
        out.print()
    out.print("Castings, a cup each", style=show.HEAD)
    rows = [
        (cup.name, f"{cup.thickness_mm:g} mm", cup.blend.base,
         ", ".join(f"{shown(line.grams)} {line.what}" for line in cup.lines), casting.reason)
        for casting, cup in zip(plan.castings, sheet.cups, strict=True)
    ]  # fmt: skip
    out.table(("<", "mould", "<base", "~weigh", "~why"), rows)
    out.notes("Before you weigh", plan.warnings, style=show.CARE)


def castings_json(plan: CastingPlan) -> dict[str, Any]:
    sheet = plan.sheet
    return {
        "castings": [
            {
                "swatch": cup.name,
                "base": cup.blend.base,
                "loadings": dict(cup.blend.loadings),
                "thickness_mm": cup.thickness_mm,
                "reason": casting.reason,
                "lines": [show.fields(line, "what", "grams") for line in cup.lines],
                "total_grams": cup.grams,
            }
            for casting, cup in zip(plan.castings, sheet.cups, strict=True)
        ],
        "premixes": [
            show.fields(step, "makes", "what", "grams", "part") | {"base_grams": step.base_g} for step in sheet.premixes
        ],
        "scale_step_g": sheet.scale.step_g,
        "warnings": plan.warnings,
        "cautions": sheet.cautions,
    }
