"""`tint predict`: a blend, cast and seen, as spectrum, colour and opacity, with its error; at one thickness or many."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tint import jsonable
from tint.appearance import Appearance, Setting, predict
from tint.cli.asked import Doses, blend_of, blend_options, span_of, span_options
from tint.cli.looks import show_appearance
from tint.cli.options import (
    check_picture,
    folder_argument,
    json_option,
    optics_option,
    palette_of,
    replace_option,
)
from tint.cli.tables import page, print_json, show_table, show_title
from tint.cli.translucency import by_light, by_light_facts, sheet_json, show_sheet
from tint.errors import InputError
from tint.files import write_whole
from tint.materials import Blend
from tint.palette import Palette
from tint.translucency import translucency

if TYPE_CHECKING:
    from rich.console import Console


@click.command("predict")
@folder_argument
@blend_options
@span_options
@optics_option
@click.option("--spectrum", is_flag=True, help="Show the spectrum too, wavelength by wavelength.")
@click.option("--plot", metavar="FILE.png", type=click.Path(path_type=Path), help="Draw it against thickness.")
@replace_option
@json_option
def command(
    folder: Path,
    doses: Doses,
    casting: dict[str, Any],
    optics: str,
    spectrum: bool,
    plot: Path | None,
    replace: bool,
    as_json: bool,
) -> None:
    """A blend: its spectrum, colour and opacity, with error.

    Example: tint predict swatches_demo --base clear --load white=0.5 --load yellow=0.3 --thickness 3

    With several thicknesses, a table against thickness.
    """
    if plot:
        check_picture(plot, "--plot", replace=replace)
    palette = palette_of(folder, optics)
    blend = blend_of(palette, doses)
    setting, depths = span_of(palette, casting)
    if len(depths) > 1:
        if spectrum:
            raise InputError("--spectrum", f"{len(depths)} thicknesses", "expected one", "name one with --thickness")
        _many(palette, blend, setting, depths, optics=optics, plot=plot, as_json=as_json)
    elif plot:
        mend = "name a range, as in --thickness 0.5:6:0.5"
        raise InputError("--plot", "one thickness", "expected several to draw against", mend)
    else:
        _one(palette, blend, setting, optics=optics, spectrum=spectrum, as_json=as_json)


def _one(palette: Palette, blend: Blend, setting: Setting, *, optics: str, spectrum: bool, as_json: bool) -> None:
    appearance = predict(palette, blend, setting=setting)
    told = by_light(palette, appearance)
    if as_json:
        print_json(jsonable.appearance(appearance) | told | {"optics": optics})
        return
    with page() as out:
        show_title(out, str(appearance.blend), f"{appearance.conditions}; {optics}")
        show_appearance(out, appearance, palette, more=by_light_facts(palette, blend.base, told))
        if spectrum:
            _show_spectrum(out, appearance)


def _many(
    palette: Palette, blend: Blend, setting: Setting, depths: tuple[float, ...], *, optics: str, plot: Path | None,
    as_json: bool,
) -> None:  # fmt: skip
    sheet = translucency(palette, blend, setting=setting, thickness_mm=depths)
    if plot:
        from tint.proofs import draw_translucency  # pictures are for those who ask for them

        write_whole(plot, draw_translucency(palette, sheet))
    if as_json:
        print_json(sheet_json(sheet) | {"optics": optics} | ({"written": str(plot)} if plot else {}))
        return
    with page() as out:
        show_title(out, str(blend), f"{sheet.conditions}; {optics}")
        show_sheet(out, sheet, palette)
        if plot:
            out.print()
            out.print(f"Written: {plot}")


def _show_spectrum(out: Console, appearance: Appearance) -> None:
    over = "of the free slab" if appearance.over == "none" else f"over {appearance.over}"
    out.print()
    out.print(f"Reflectance {over}, and total transmittance of the free slab; 0 to 1", style="dim")
    columns = (appearance.wavelengths, appearance.reflectance, appearance.transmittance)
    rows = [(f"{nm:g} nm", f"{read:.4f}", f"{through:.4f}") for nm, read, through in zip(*columns, strict=True)]
    show_table(out, ("wavelength", "reflectance", "transmittance"), rows)
