"""`tint weigh`: a recipe and a batch size as grams to weigh, and what the rounded doses will look like."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tint.cli.asked import Doses, blend_of, setting_options
from tint.cli.looks import appearance_json, show_appearance
from tint.cli.options import folder_argument, grouped, json_option, number_option, optics_option, palette_of
from tint.cli.recipes import chosen, recipe_options
from tint.cli.tables import CARE, HEAD, QUIET, page, print_json, show_notes, show_table, show_title
from tint.palette import Palette
from tint.weigh import WeighSheet, weigh

if TYPE_CHECKING:
    from rich.console import Console


def _batch(batch_g: float | None, batch_cm3: float | None, waste: float, scale_step: float) -> dict[str, float | None]:
    return {"batch_g": batch_g, "batch_cm3": batch_cm3, "waste_percent": waste, "scale_step_g": scale_step}


@click.command("weigh")
@folder_argument
@recipe_options
@setting_options
@grouped(
    "batch",
    _batch,
    number_option("--batch-g", "Mix that the moulds hold, in grams; or", expected="grams of mix", metavar="G"),
    number_option("--batch-cm3", "in cubic centimetres.", expected="cm3 of mix", metavar="V"),
    number_option("--waste", "For what stays in the cup.", expected="% of the batch", metavar="PERCENT", default=10.0),
    number_option("--scale-step", "Smallest step of the scale.", expected="grams", metavar="G", default=0.01),
)
@optics_option
@json_option
def command(
    folder: Path,
    doses: Doses,
    recipe: str | None,
    pick: int | None,
    casting: dict[str, Any],
    batch: dict[str, Any],
    optics: str,
    as_json: bool,
) -> None:
    """A recipe and a batch size: grams to weigh.

    Example: tint weigh swatches_demo --base clear --load white=0.5 --thickness 3 --batch-g 120

    Or from a solved recipe: tint solve ... --json | tint weigh swatches_demo --recipe - --batch-g 120
    """
    palette = palette_of(folder, optics)
    choice = chosen(doses, recipe, pick)
    blend, setting = blend_of(palette, choice.doses), choice.setting(palette, casting)
    sheet = weigh(palette, blend, setting=setting, **batch)
    if as_json:
        print_json(_as_json(sheet, optics))
    else:
        with page() as out:
            _show(out, sheet, palette, batch["waste_percent"])


def _show(out: Console, sheet: WeighSheet, palette: Palette, waste: float) -> None:
    step = sheet.scale_step_g
    show_title(
        out,
        f"Weigh: {sheet.blend}",
        f"{sheet.batch_g:.4g} g of mix, {waste:g} % for waste included; scale step {step:g} g; "
        f"{sheet.volume_cm3:.4g} cm3",
    )
    decimals = max(0, -int(Decimal(str(step)).normalize().as_tuple().exponent))
    rows = [
        (str(at), line.what, _into(line.what, line.part), f"{line.grams:.{decimals}f} g", f"{line.percent:.3f} %")
        for at, line in enumerate(sheet.lines, start=1)
    ]
    rows.append(("", "total", "", f"{sheet.total_grams:.{decimals}f} g", "100.000 %"))
    show_table(out, ("", "<what", "<", "weigh", "of the mix"), rows)
    out.print()
    out.print(
        f"The parts keep their mixing ratio within {sheet.mix_error_percent:.2f} % as rounded. Pigment counted "
        f"as part of its part would put it off by {sheet.naive_mix_error_percent:.2f} %.",
        style=QUIET,
    )
    show_notes(out, "Before you weigh", sheet.warnings, style=CARE)
    out.print()
    out.print("As rounded, it will look like this", style=HEAD)
    out.print(f"{sheet.predicted.conditions}; {palette.model}", style=QUIET)
    out.print()
    show_appearance(out, sheet.predicted, palette)
    show_notes(out, "Take care", sheet.cautions)


def _into(what: str, part: str) -> str:
    return "" if what == f"part {part}" else f"into part {part}"


def _as_json(sheet: WeighSheet, optics: str) -> dict[str, Any]:
    names = ("what", "part", "grams", "exact_grams", "percent")
    return {
        "lines": [{name: getattr(line, name) for name in names} for line in sheet.lines],
        "total_grams": sheet.total_grams,
        "predicted": appearance_json(sheet.predicted) | {"optics": optics},
        "base": sheet.blend.base,
        "loadings": dict(sheet.blend.loadings),
        "rounded": dict(sheet.rounded.loadings),
        "batch_g": sheet.batch_g,
        "volume_cm3": sheet.volume_cm3,
        "scale_step_g": sheet.scale_step_g,
        "mix_error_percent": sheet.mix_error_percent,
        "naive_mix_error_percent": sheet.naive_mix_error_percent,
        "cautions": list(sheet.cautions),
        "warnings": list(sheet.warnings),
    }
