"""`tint inspect`: a reading against its approved reference, as pass, fail or too close to call."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click
import numpy as np

from tint import colorimetry
from tint.cli import options, show
from tint.cli.keys import Command
from tint.errors import InputError
from tint.inspection import FAIL, PASS, Inspection, Tolerance, darkest_first, inspect_reading, part_spectrum, read_part
from tint.shift import Shift, learn_shift, read_pairs
from tint.swatches import COLOURS, NO_BACKING, read_folder
from tint.swatches.instruments import Given

_OPENINGS = {
    PASS: "Pass: the difference is inside what was agreed.",
    FAIL: "Fail: the difference is outside what was agreed.",
}
_TOO_CLOSE = "Too close to call: read both again, several times, and give the means with --readings."


def _files(**files: str | None) -> dict[str, str | None]:
    if (files["reading_black"] is None) != (files["reference_black"] is None):
        missing = "--reading-black" if files["reading_black"] is None else "--reference-black"
        raise InputError(missing, "not given", "expected both readings over black, or neither")
    if files["early"] is not None and files["reading_black"] is not None:
        raise InputError("--early", "given together with --reading-black", mend="it says nothing of opacity")
    return files


@click.command("inspect", cls=Command)
@options.folder
@options.grouped(
    "files",
    _files,
    *(
        click.option(f"--{name}", required=not name.endswith("black"), metavar="FILE[:NAME]", help=text)
        for name, text in {
            "reading": "The part: in a table or an instrument's file.",
            "reference": "What was approved.",
            "reading-black": "The part over the darkest backing.",
            "reference-black": "What was approved over the darkest backing.",
        }.items()
    ),
    click.option("--early", metavar="FILE", help="For a part not yet cured: castings read early and cured, in pairs."),
)
@options.grouped(
    "tolerance",
    Tolerance,
    options.number(
        "--tolerance", "The difference that was agreed.", expected="a CIEDE2000", metavar="CIEDE2000", default=1.0,
        to="delta_e",
    ),
    options.number(
        "--tolerance-lightness", "In lightness alone.", expected="a difference in L*", metavar="L*", to="lightness"
    ),
    options.number("--tolerance-contrast", "In contrast ratio.", expected="a difference", to="contrast_ratio"),
)  # fmt: skip
@options.count("--readings", "How many readings the part's is the mean of.", default=1)
@options.count("--reference-readings", "The same for what was approved.", default=1)
@click.option("--over", metavar="BACKING", help="What both lay over, or `none`.  [default: the lightest backing]")
@options.seat(default="air")
@options.grouped("said", options.said_of, options.scale, *options.view(default=False), options.geometry)
@options.as_json
def command(
    folder: Path, files: dict[str, str | None], tolerance: Tolerance, readings: int, reference_readings: int, over:
    str | None, seat: str, said: Given,
) -> None:  # fmt: skip
    """Compare a reading with what was approved: pass or fail.

    Example: tint inspect swatches_demo --reading swatches_demo/readings.csv:peach-lid
    --reference swatches_demo/readings.csv:peach-lid --tolerance 1

    It exits with 0 whatever the verdict.
    """
    swatches = read_folder(folder)
    # What a folder of colours is read with has no other light: a part of it is read so, too.
    light, observer = swatches.instrument.colours_for if swatches.kind == COLOURS else ("D65", 10)
    view = colorimetry.viewing(swatches.wavelengths, light=said.light or light, observer=int(said.observer or observer))
    backings = darkest_first(swatches)
    behind = options.known(over, [*backings, NO_BACKING], "--over") if over else (backings or [NO_BACKING])[-1]
    if files["reading_black"] and (len(backings) < 2 or behind != backings[-1]):
        raise InputError("--reading-black", f"the others lie over {behind}", "expected them over the lightest backing")
    read = [
        read_part(
            str(files[name]), swatches, over=backings[0] if name.endswith("black") else behind, seat=seat, said=said
        )
        for name in ("reading", "reference", "reading_black", "reference_black")
        if files[name]
    ]
    notes = [f"{each.where}: {note}" for each in read for note in each.notes]
    reading, reference, *black = (part_spectrum(each, view) for each in read)
    shift = None
    if files["early"] is not None:
        own, grid = swatches.instrument.geometry, swatches.wavelengths
        shift = learn_shift(*read_pairs(files["early"], view, wavelengths=grid, over=behind, geometry=own, said=said))
    found = inspect_reading(
        reading,
        reference,
        view=view,
        tolerance=tolerance,
        repeatability=swatches.instrument.repeatability,
        of_colours=swatches.kind == COLOURS,
        readings=readings,
        reference_readings=reference_readings,
        over_black=(black[0], black[1]) if black else None,
        moves=np.zeros(3) if shift is None else shift.lab,
        moves_covariance=None if shift is None else shift.covariance,
    )
    conditions = f"over {behind}, {seat} seat, {view.light}, {view.observer}° observer"
    noise = f"{swatches.instrument.repeatability:g} {'of X, Y and Z' if swatches.kind == COLOURS else 'a wavelength'}"
    noise += f" and {show.counted(readings, 'reading')} against {reference_readings}"

    def page(out: show.Page) -> None:
        _show(out, found, shift, conditions, noise)
        out.notes("How the files were read", notes)

    names = ("delta_e", "delta_e_error", "lightness", "chroma", "hue", "redness", "yellowness", "contrast_ratio")
    told = {
        **show.fields(found, "verdict", *names),
        "checks": [asdict(check) | {"guard": check.band, "verdict": check.verdict} for check in found.checks],
        "words": found.words,
        "shift": shift,
        "conditions": conditions,
    }
    show.answer(told, page, notes=notes)


def _show(out: show.Page, found: Inspection, shift: Shift | None, conditions: str, noise: str) -> None:
    out.title(_OPENINGS.get(found.verdict, _TOO_CLOSE), conditions)
    rows = []
    for each in found.checks:
        decimals = 3 if each.what == "contrast ratio" else 2
        rows.append((each.what, *(f"{x:.{decimals}f}" for x in (each.value, each.limit, each.band)), each.verdict))
    out.table(("<what", "differs", "agreed", "guard", "<verdict"), rows)
    out.apart(
        f"colour: CIEDE2000. guard: what the noise of reading may do, at {noise}: a part whose true difference is just "
        "the agreed one gets a wrong verdict 1 time in 20.",
        style=show.QUIET,
    )
    out.notes("The part, beside what was approved, is", found.words)
    out.notes("Not cured yet", [] if shift is None else _shift_words(shift), style=show.CARE)


def _shift_words(shift: Shift) -> list[str]:
    moved = ", ".join(f"{name} {x:+.2f}" for name, x in zip(("L*", "a*", "b*"), shift.lab, strict=True))
    told = [
        f"judged as it will be when cured: {moved}, learned from {shift.pairs} pairs",
        f"95 of 100 castings cure to within {shift.radius:.2f} CIEDE2000 of that; the guard counts it in",
    ]
    if not shift.known:
        told.append("the shift does not stand out from the scatter of the pairs: read more, or wait for the cure")
    return told
