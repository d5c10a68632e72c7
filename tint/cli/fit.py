"""`tint fit`: swatches to palette, and what the fit says of every swatch."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import click
import numpy as np

from tint.cli import options, show
from tint.cli.keys import Command
from tint.errors import InputError
from tint.fitting import fit_palette
from tint.fitting.priors import MIDDLE_NM
from tint.materials import Instrument
from tint.palette import Circumstances, Palette, SwatchFit, fit_path, write_palette
from tint.swatches import SPECTRA, read_folder
from tint.trials.trial import span

_WORST = 8  # swatches, which a terminal shows without scrolling; no source
# CIE 15: L* = 116 f - 16 with f = Y^(1/3), so that a model error of reflectance^(2/3) is 116 / 3 of it in L*, at any Y.
_LIGHTNESS = 116.0 / 3.0


@click.command("fit", cls=Command)
@options.folder
@options.optics
@options.flag("--all", "Show every swatch, not only the worst.", to="every")
@options.as_json
def command(folder: Path, optics: str, every: bool) -> None:
    """Fit the palette to the swatches.

    Example: tint fit swatches_demo

    Writes FOLDER/palette.MODEL.fit, whole, over an older one.
    """
    read = read_folder(folder)
    with show.waiting(f"fitting {show.counted(len(read.swatches), 'swatch', 'swatches')}") as told:
        palette = fit_palette(read, optics=optics, progress=told)
    path, not_written = fit_path(folder, optics), None
    try:
        write_palette(palette, path)
    except InputError as error:  # told below what the fit says, which took long
        not_written = error

    def page(out: show.Page) -> None:
        _show(out, palette, path, written=not_written is None, every=every)
        if read.warnings:
            warnings = show.counted(len(read.warnings), "warning")
            out.print(f"{warnings} on the folder: run `tint check {folder}`.", style=show.CARE)

    show.answer(_as_json(palette, path), page)
    if not_written is not None:
        raise not_written


def _residuals(swatches: Sequence[SwatchFit]) -> dict[str, float]:
    """Mean, 95th percentile and largest CIEDE2000 of the swatches; NaN when none has one."""
    known = [swatch.delta_e for swatch in swatches if np.isfinite(swatch.delta_e)] or [np.nan]
    return {"mean": float(np.mean(known)), "p95": float(np.percentile(known, 95.0)), "max": float(np.max(known))}


def _show(out: show.Page, palette: Palette, path: Path, *, written: bool, every: bool) -> None:
    count = show.counted(len(palette.swatches), "swatch", "swatches")
    bases, pigments = show.counted(len(palette.bases), "base"), show.counted(len(palette.pigments), "pigment")
    seen = f"CIEDE2000 of readings against the fit, {seen_in(palette.instrument, palette.read_as)}"
    conditions = f"{palette.model}, {palette.instrument.geometry}; {seen}"
    out.title(f"{palette.name}: {count}, {bases}, {pigments}", conditions)
    size = _residuals(palette.swatches)
    each = "wavelength" if palette.read_as == "spectra" else "colour"
    facts = [
        ("mean", f"{show.fixed(size['mean'], 2)} CIEDE2000", "of the swatches"),
        ("95 % below", f"{show.fixed(size['p95'], 2)} CIEDE2000", ""),
        ("largest", f"{show.fixed(size['max'], 2)} CIEDE2000", ""),
        (
            "model error",
            f"{show.fixed(_LIGHTNESS * palette.model_error, 2)} L*",
            f"per {each}, after subtracting the noise",
        ),
    ]
    if palette.read_as != "spectra":
        facts.insert(0, ("read as", palette.read_as, "L*, a*, b*; the spectra that go with them are estimated"))
    out.facts(facts)
    for base, words in circumstances_in_words(_circumstances(palette)):
        out.print(f"{base}: {words}")
    out.print()
    if palette.model == "many-flux":
        _show_learned(out, palette)
    _show_swatches(out, palette.swatches, every=every)
    suspects = [f"{swatch.name} ({swatch.base}): {swatch.suspect}" for swatch in palette.swatches if swatch.suspect]
    out.notes("Suspect swatches", suspects, style=show.CARE)
    out.notes("What the swatches leave open", palette.undetermined)
    if palette.undetermined:
        out.print(f"`tint plan {path.parent}` names the castings that would tell most.", style=show.QUIET)
    if written:
        out.apart(f"Written: {path}")


def seen_in(own: Instrument, read_as: str) -> str:
    """The light and observer that errors hold for: of colours, their own."""
    return "D65, 10° observer" if read_as == SPECTRA else f"{own.light}, {own.observer}° observer"


def _circumstances(palette: Palette) -> dict[str, Circumstances]:
    return {base: seen.circumstances for base, seen in palette.seen.items()}


def _anisotropies(palette: Palette) -> dict[str, tuple[float, float]]:
    """g at 550 nm and its standard deviation, by base and pigment; none of a model that knows no g."""
    if palette.model != "many-flux":
        return {}
    middle = [float(np.interp(MIDDLE_NM, palette.wavelengths, g)) for g in palette.g]
    told = zip(middle, palette.g_error.tolist(), strict=True)
    return dict(zip([*palette.bases, *palette.pigments], told, strict=True))


def _indices(palette: Palette) -> dict[str, tuple[float, float, float]]:
    """Refractive index of each base: as stated, as fitted, and the standard deviation of the latter."""
    stated = [base.refractive_index for base in palette.bases.values()]
    told = zip(stated, palette.index.tolist(), palette.index_error.tolist(), strict=True)
    return dict(zip(palette.bases, told, strict=True))


def _show_learned(out: show.Page, palette: Palette) -> None:
    out.print("How each scatters light, as fitted", style=show.HEAD)
    indices = _indices(palette)
    rows = []
    for name, (g, error) in _anisotropies(palette).items():
        stated, fitted, off = indices.get(name, (np.nan, np.nan, np.nan))
        index = (f"{fitted:.4f} ± {off:.4f}", f"{stated:.4f}") if name in indices else ("", "")
        rows.append((name, f"{g:.2f} ± {error:.2f}", *index))
    out.table(("<base or pigment", "g at 550 nm", "refractive index", "as stated"), rows)
    out.print(
        "g, anisotropy: 1 is light that scatters straight on, 0 is light that scatters equally in all directions.\n"
        "±: one standard deviation.\n",
        style=show.QUIET,
    )


def _show_swatches(out: show.Page, swatches: Sequence[SwatchFit], *, every: bool) -> None:
    ranked = sorted(swatches, key=lambda swatch: -np.nan_to_num(swatch.delta_e))
    shown = swatches if every else ranked[:_WORST]
    out.print("Every swatch" if every else f"The {len(shown)} worst (--all shows every one)", style=show.HEAD)
    rows = [
        (each.name, each.base, show.fixed(each.delta_e, 2), f"{show.fixed(100.0 * each.residual, 2)} %",
         f"{each.thickness_mm:.2f} mm", f"{each.fitted_thickness_mm:.2f} mm", show.fixed(each.weight, 2))
        for each in shown
    ]  # fmt: skip
    out.table(("<swatch", "<base", "CIEDE2000", "residual", "thickness", "as fitted", "weight"), rows)
    out.print("Residual: root mean square, in % reflectance. Weight: 1 counts fully.", style=show.QUIET)


def _as_json(palette: Palette, path: Path) -> dict[str, Any]:
    names = ("name", "base", "delta_e", "residual", "thickness_mm", "fitted_thickness_mm", "weight", "suspect")
    return {
        "palette": str(path),
        **show.fields(palette, "name", "read_as"),
        "optics": palette.model,
        "g": {name: {"value": g, "error": error} for name, (g, error) in _anisotropies(palette).items()},
        "refractive_index": {
            name: {"stated": stated, "value": fitted, "error": error}
            for name, (stated, fitted, error) in _indices(palette).items()
        },
        "delta_e": _residuals(palette.swatches),
        "model_error": palette.model_error,
        "swatches": [show.fields(swatch, *names) for swatch in palette.swatches],
        "suspects": {swatch.name: swatch.suspect for swatch in palette.swatches if swatch.suspect},
        "undetermined": list(palette.undetermined),
        "circumstances": _circumstances(palette),
        "conditions": f"{palette.instrument.geometry}, {seen_in(palette.instrument, palette.read_as)}",
    }


def circumstances_in_words(by_base: Mapping[str, Circumstances]) -> Sequence[tuple[str, str]]:
    """How the castings of each base were cured and kept, for the bases of which something was written."""
    lines = []
    for base, told in by_base.items():
        parts = [
            told.cure_c and f"cured at {span(told.cure_c)} °C",
            told.days and f"read {span(told.days)} days after",
            told.moulds and f"mould {', '.join(told.moulds)}",
            told.finishes and f"finish {', '.join(told.finishes)}",
            told.lots and f"lot {', '.join(told.lots)}",
        ]
        if words := "; ".join(part for part in parts if part):
            lines.append((base, words))
    return lines
