"""`tint predict`: a blend, cast and seen, as spectrum, colour and opacity, with its error."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tint.appearance import Appearance, predict
from tint.cli.asked import Doses, blend_of, blend_options, setting_of, setting_options
from tint.cli.looks import appearance_json, show_appearance
from tint.cli.options import folder_argument, json_option, optics_option, palette_of
from tint.cli.tables import page, print_json, show_table, show_title

if TYPE_CHECKING:
    from rich.console import Console


@click.command("predict")
@folder_argument
@blend_options
@setting_options
@optics_option
@click.option("--spectrum", is_flag=True, help="Show the spectrum too, wavelength by wavelength.")
@json_option
def command(folder: Path, doses: Doses, casting: dict[str, Any], optics: str, spectrum: bool, as_json: bool) -> None:
    """A blend: its spectrum, colour and opacity, with error.

    Example: tint predict swatches_demo --base clear --load white=0.5 --load yellow=0.3 --thickness 3
    """
    palette = palette_of(folder, optics)
    appearance = predict(palette, blend_of(palette, doses), setting=setting_of(palette, casting))
    if as_json:
        print_json(appearance_json(appearance) | {"optics": optics})
        return
    with page() as out:
        show_title(out, str(appearance.blend), f"{appearance.conditions}; {optics}")
        show_appearance(out, appearance, palette)
        if spectrum:
            _show_spectrum(out, appearance)


def _show_spectrum(out: Console, appearance: Appearance) -> None:
    over = "of the free slab" if appearance.over == "none" else f"over {appearance.over}"
    out.print()
    out.print(f"Reflectance {over}, and total transmittance of the free slab; 0 to 1", style="dim")
    columns = (appearance.wavelengths, appearance.reflectance, appearance.transmittance)
    rows = [(f"{nm:g} nm", f"{read:.4f}", f"{through:.4f}") for nm, read, through in zip(*columns, strict=True)]
    show_table(out, ("wavelength", "reflectance", "transmittance"), rows)
