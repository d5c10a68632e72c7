"""`tint predict`: a blend, cast and seen, as spectrum, colour and opacity, with its error; at one thickness or many."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import click
import numpy as np

from tint import jsonable
from tint.appearance import Appearance, Setting, clarity_in_words, predict
from tint.cli import options, show
from tint.cli.asked import Chosen, palette_of, recipe_options, span_of, span_options
from tint.cli.keys import Command
from tint.errors import InputError
from tint.files import write_whole
from tint.materials import Blend
from tint.palette import Palette
from tint.thickness import (
    HIDING,
    Translucency,
    against_swatches,
    hiding_in_words,
    hiding_thickness,
    lit_from_behind,
    translucency,
)

_LAB = "   L*    a*    b*"


@click.command("predict", cls=Command)
@options.folder
@recipe_options
@span_options
@options.walls
@options.flag("--spectrum", "Show the spectrum too, wavelength by wavelength.", heading="Output")
@options.path("--plot", "Draw it against thickness.", "FILE.png", heading="Output")
@options.replace
@options.as_json
@options.optics
def command(
    folder: Path, choice: Chosen, casting: dict[str, Any],
    walls_mm: tuple[float, ...], optics: str, spectrum: bool, plot: Path | None, replace: bool,
) -> None:  # fmt: skip
    """Predict the colour and opacity of a blend, with their errors.

    Example: tint predict swatches_demo --base clear --load white=0.5 --load yellow=0.3 --thickness 3

    With several thicknesses, or with every --wall of a part, a table against thickness.
    """
    options.check_file(plot, "--plot", ".png", replace=replace)
    palette = palette_of(folder, optics)
    (blend,) = choice.blends(palette).values()
    setting, depths = span_of(palette, choice.span | casting)
    if walls_mm:
        depths = tuple(sorted({*depths, *walls_mm}))
        setting = dataclasses.replace(setting, thickness_mm=depths[0])
    if len(depths) > 1:
        if spectrum:
            raise InputError("--spectrum", f"{len(depths)} thicknesses", "expected one", "name one with --thickness")
        _many(palette, blend, setting, depths, plot=plot)
    elif plot:
        mend = "name a range, as in --thickness 0.5:6:0.5"
        raise InputError("--plot", "one thickness", "expected several to draw against", mend)
    else:
        _one(palette, blend, setting, spectrum=spectrum)


def _one(palette: Palette, blend: Blend, setting: Setting, *, spectrum: bool) -> None:
    look = predict(palette, blend, setting=setting)
    told: dict[str, Any] = {"hides_at_mm": None, "lab_from_behind": None, "srgb_from_behind": None}
    facts = []
    if palette.tells_opacity:
        (lab,), (screen,) = lit_from_behind(look.transmittance[None], setting.viewing(palette))
        told |= {"lab_from_behind": lab, "srgb_from_behind": screen}
        numbers = ", ".join(show.fixed(value, 1) for value in lab)
        facts.append(("from behind", screen, f"Lab {numbers}; lit from behind, the bare lamp white"))
    if palette.pair:
        told["hides_at_mm"] = depth = hiding_thickness(palette, blend, setting=setting)
        remark = f"contrast ratio {HIDING:g} and more{against_swatches(palette, blend.base, depth)}"
        facts.append(("hides from", "no thickness" if depth is None else f"{depth:.3g} mm", remark))

    def page(out: show.Page) -> None:
        out.title(str(blend), f"{look.conditions}; {look.optics}")
        show_appearance(out, look, palette, more=facts)
        if spectrum:
            _show_spectrum(out, look)

    show.answer(jsonable.appearance(look), page, **told)


def _many(
    palette: Palette, blend: Blend, setting: Setting, depths: tuple[float, ...], *, plot: Path | None
) -> None:  # fmt: skip
    sheet = translucency(palette, blend, setting=setting, thickness_mm=depths)
    if plot:
        from tint.proofs import draw_translucency  # pictures are for those who ask for them

        write_whole(plot, draw_translucency(palette, sheet))

    def page(out: show.Page) -> None:
        out.title(str(blend), f"{sheet.conditions}; {palette.model}")
        _show_sheet(out, sheet, palette)
        if plot:
            out.apart(f"Written: {plot}")

    show.answer(_sheet_json(sheet), page, optics=palette.model, **({"written": str(plot)} if plot else {}))


def _show_spectrum(out: show.Page, appearance: Appearance) -> None:
    over = "of the free slab" if appearance.over == "none" else f"over {appearance.over}"
    out.apart(f"Reflectance {over}, and total transmittance of the free slab; 0 to 1", style=show.QUIET)
    columns = (appearance.wavelengths, appearance.reflectance, appearance.transmittance)
    rows = [(f"{nm:g} nm", f"{read:.4f}", f"{through:.4f}") for nm, read, through in zip(*columns, strict=True)]
    out.table(("wavelength", "reflectance", "transmittance"), rows)


# Against thickness; and what a single thickness tells of hiding and of a lamp.


def _sheet_json(sheet: Translucency) -> dict[str, Any]:
    """The whole of a table against thickness; arrays by thickness."""
    setting = jsonable.setting(sheet.appearances[0]).told
    del setting["thickness_mm"]
    columns = (
        "lab", "lab_black", "lab_white", "contrast_ratio", "contrast_ratio_error", "luminous_transmittance",
        "expected_error",
    )  # fmt: skip
    return {
        "base": sheet.blend.base,
        "loadings": dict(sheet.blend.loadings),
        "thickness_mm": sheet.thickness_mm,
        **{name: np.array([getattr(each, name) for each in sheet.appearances]) for name in columns},
        **show.fields(sheet, "translucency_parameter", "translucency_parameter_ab", "lab_from_behind"),
        **show.fields(sheet, "srgb_from_behind", "hides_at_mm"),
        "setting": setting,
        **show.fields(sheet, "conditions", "warnings"),
    }


def _show_sheet(out: show.Page, sheet: Translucency, palette: Palette) -> None:
    """Colour and opacity by thickness, where it hides, and the colour lit from behind."""
    looks, over = sheet.appearances, sheet.appearances[0].over
    pair = (f"over {palette.black}\n{_LAB}", f"over {palette.white}\n{_LAB}")
    rows = [
        (
            f"{look.setting.thickness_mm:g}",
            _lab(look.lab_black),
            _lab(look.lab_white),
            show.within(look.contrast_ratio, look.contrast_ratio_error),
            f"{show.fixed(100.0 * look.luminous_transmittance, 1)} %",
            show.fixed(parameter, 1),
            show.fixed(look.expected_error, 2),
        )
        for look, parameter in zip(looks, sheet.translucency_parameter, strict=True)
    ]
    out.table(("mm", *pair, "contrast", "light", "TP", "error"), rows)
    out.print(
        "contrast: Y over black / Y over white. light: what comes through the free slab, Y. TP: translucency "
        "parameter, CIEDE2000 from over black to over white. 95 of 100 castings read within the error "
        f"({place(over)}, CIEDE2000), and within ± of the contrast ratio.",
        style=show.QUIET,
    )
    out.apart(f"It {hiding_in_words(palette, sheet.blend.base, sheet.hides_at_mm)}.\n")
    # Over the backing that was asked for too, where it is neither of the two.
    own = [] if over in (palette.black, palette.white) else [f"{place(over)}\n{_LAB}"]
    lit = [
        (f"{look.setting.thickness_mm:g}", *(_lab(look.lab) for _ in own), _lab(lab), screen)
        for look, lab, screen in zip(looks, sheet.lab_from_behind, sheet.srgb_from_behind, strict=True)
    ]
    out.table(("mm", *own, f"lit from behind\n{_LAB}", "<screen"), lit)
    out.notes("Before you trust it", sheet.warnings, style=show.CARE)


def _lab(lab: np.ndarray[Any, Any]) -> str:
    return "".join(f"{show.fixed(value, 1):>6s}" for value in lab)[1:]


# A blend: what several commands say of it, in the same words and keys.


def show_appearance(
    out: show.Page, look: Appearance, palette: Palette, *, more: Iterable[tuple[str, str, str]] = ()
) -> None:
    """Colour over each backing, opacity, light let through, error, and what to know before believing them."""
    out.patch(look.srgb)
    labs = {place(look.over): look.lab}
    if np.isfinite(look.lab_black).all():
        labs.setdefault(place(palette.black), look.lab_black)
        labs.setdefault(place(palette.white), look.lab_white)
    out.table(("<", "L*", "a*", "b*"), [(place, *(show.fixed(x, 2) for x in lab)) for place, lab in labs.items()])
    out.print()
    out.facts([*_facts(look), *more])
    out.notes("Before you trust it", look.warnings, style=show.CARE)


def place(over: str) -> str:
    return "free slab" if over == "none" else f"over {over}"


def _facts(look: Appearance) -> list[tuple[str, str, str]]:
    ratio = show.within(look.contrast_ratio, look.contrast_ratio_error)
    through, regular, haze = (
        f"{show.within(100.0 * getattr(look, name), 100.0 * getattr(look, f'{name}_error'), 1)} %"
        for name in ("luminous_transmittance", "regular_transmittance", "haze")
    )
    opacity = [
        ("contrast ratio", ratio, "Y over black / Y over white; 95 of 100", look.contrast_ratio),
        ("transmittance", through, "total, of the free slab, Y", look.luminous_transmittance),
    ]
    if np.isfinite(look.haze):
        meaning = "within 2.5° of its way: what one sees through"
        opacity.append(("of it regular", regular, meaning, look.regular_transmittance))
        opacity.append(("haze", haze, f"the rest of it, scattered: {clarity_in_words(look)}", look.haze))
    gamut = "a screen can show it" if look.in_gamut else "clipped: no screen shows this colour"
    return [
        ("expected error", f"{show.fixed(look.expected_error, 2)} CIEDE2000", "95 of 100 castings read within it"),
        *((what, said, meaning) if np.isfinite(x) else (what, "not known", "") for what, said, meaning, x in opacity),
        ("screen colour", look.srgb, f"sRGB; {gamut}"),
    ]
