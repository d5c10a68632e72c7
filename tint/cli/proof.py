"""`tint proof`: a recipe as a picture for approval."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tint.cli.asked import Doses, blend_of, setting_options
from tint.cli.options import (
    check_picture,
    folder_argument,
    json_option,
    optics_option,
    palette_of,
    replace_option,
)
from tint.cli.recipes import chosen, recipe_options
from tint.cli.tables import page, print_json
from tint.cli.wanted import Wish, target_of, target_options
from tint.files import write_whole
from tint.proof import draw_proof


@click.command("proof")
@folder_argument
@recipe_options
@target_options
@setting_options
@click.option("--out", required=True, metavar="FILE.png", type=click.Path(path_type=Path), help="The picture to write.")
@replace_option
@optics_option
@json_option
def command(
    folder: Path,
    doses: Doses,
    recipe: str | None,
    pick: int | None,
    wish: Wish,
    casting: dict[str, Any],
    out: Path,
    replace: bool,
    optics: str,
    as_json: bool,
) -> None:
    """A recipe: a picture for approval.

    Example: tint proof swatches_demo --base clear --load white=0.5 --thickness 3 --out proof.png

    With a target, the picture shows it beside the recipe.
    """
    check_picture(out, "--out", replace=replace)
    palette = palette_of(folder, optics)
    choice = chosen(doses, recipe, pick)
    blend, setting = blend_of(palette, choice.doses), choice.setting(palette, casting)
    picture = draw_proof(palette, blend, setting=setting, target=target_of(palette, wish, setting))
    write_whole(out, picture)
    if as_json:
        print_json({"written": str(out), "base": blend.base, "loadings": dict(blend.loadings), "optics": optics})
    else:
        with page() as told:
            told.print(f"Written: {out} ({blend}, {setting.thickness_mm:g} mm)")
