"""`tint weigh`: a recipe and a batch size as grams to weigh, and what the rounded doses will look like."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tint.cli.asked import Doses, blend_of, setting_options
from tint.cli.options import folder_argument, json_option, optics_option, palette_of
from tint.cli.recipes import chosen, recipe_options
from tint.cli.sheets import sheet_told, show_sheet
from tint.cli.tables import page, print_json
from tint.cli.wanted import Wish, target_of, target_options
from tint.cli.weigh_options import Files, batch_options, file_options, scale_options, split_options
from tint.swatches.instruments import Given
from tint.target import Target
from tint.weighing import Aim, Batch, Scale, Split, weigh

if TYPE_CHECKING:
    pass


@click.command("weigh")
@folder_argument
@recipe_options
@target_options
@setting_options
@batch_options
@scale_options
@click.option(
    "--premix/--no-premix", default=True, show_default=True, help="Let pigments down whose dose is too small to weigh."
)
@split_options
@file_options
@optics_option
@json_option
def command(
    folder: Path,
    doses: Doses,
    recipe: str | None,
    pick: int | None,
    wish: Wish,
    casting: dict[str, Any],
    said: Given,
    batch: Batch,
    scale: Scale,
    premix: bool,
    split: Split,
    files: Files,
    optics: str,
    as_json: bool,
) -> None:
    """A recipe and a batch size: grams to weigh.

    Example: tint weigh swatches_demo --base clear --load white=0.5 --thickness 3 --batch-g 120

    Or from a solved recipe: tint solve ... --json | tint weigh swatches_demo --recipe - --batch-g 120

    With a target, doses are rounded to come near it, else near the recipe as it stands.
    """
    files.check()
    palette = palette_of(folder, optics)
    choice = chosen(doses, recipe, pick)
    blend, setting = blend_of(palette, choice.doses), choice.setting(palette, casting)
    target = target_of(palette, wish, setting, said)
    sheet = weigh(
        palette, blend, setting=setting, batch=batch, scale=scale, split=split, premix=premix, aim=_aim(target)
    )
    written = files.write(palette, sheet)
    if as_json:
        print_json(sheet_told(sheet, optics) | ({"written": written} if written else {}))
        return
    with page() as out:
        show_sheet(out, sheet, palette, has_target=target is not None)
        for name in written:
            out.print(f"\nWritten: {name}")


def _aim(target: Target | None) -> Aim | None:
    if target is None:
        return None
    low, high = target.contrast_ratio_min, target.contrast_ratio_max
    if target.contrast_ratio is not None:
        low = high = target.contrast_ratio
    return Aim(lab=target.lab, contrast_ratio_min=low, contrast_ratio_max=high)
