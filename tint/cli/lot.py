"""`tint lot`: a new lot of a pigment or base, judged by one letdown; old recipes brought to it."""

from __future__ import annotations

import shlex
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tint.cli import options, show
from tint.cli.asked import palette_of, setting_options
from tint.cli.keys import Command
from tint.cli.trials import Poured, cautions, trial_options, trials_of
from tint.errors import InputError
from tint.materials import USE, Blend
from tint.palette import Palette
from tint.swatches.instruments import Given
from tint.trials.lots import LotCheck, check_lot, rescale
from tint.uncertainty import Z95

if TYPE_CHECKING:
    from rich.console import Console


@click.command("lot", cls=Command)
@options.folder
@click.argument("what", metavar="PIGMENT_OR_BASE")
@trial_options
@setting_options
@options.amounts(
    "--rescale", "A dose of an old recipe, to be brought to the new lot.", options.PERCENT, heading="The recipe"
)
@options.as_json
@options.optics
def command(
    folder: Path, what: str, poured: Poured, casting: dict[str, Any], said: Given, rescale: dict[str, float],
    optics: str, as_json: bool,
) -> None:  # fmt: skip
    """A new lot of a pigment or base: how strong, what hue.

    Example: tint lot swatches_demo red --base clear --load red=0.05 --load white=0.5 --thickness 3
    --read swatches_demo/readings.csv:red-tint-1

    All else in the letdown is to be of the lots of the swatches.
    """
    palette = palette_of(folder, optics)
    options.known(what, [*palette.pigments, *palette.bases], "lot")
    recipe = options.all_known(rescale, palette.pigments, "--rescale")
    _check_recipe(palette, what, recipe)
    trials = trials_of(palette, poured, casting, said)
    if len(trials) > 1:
        raise InputError("--trial", f"{len(trials)} letdowns", "expected one")
    found = check_lot(palette, what, trials[0])
    # That a new lot of the base is another one goes without saying.
    told = cautions(palette, (replace(trials[0], lot="") if what in palette.bases else trials[0],))
    base = trials[0].blend.base
    new = _rescaled(found, Blend(base, recipe)) if recipe else None
    record = _record(folder, found)
    if as_json:
        more = {"recipe": None if new is None else {"base": base, "loadings": dict(new.loadings)}, "record": record}
        show.json(asdict(found) | more, cautions=told, optics=optics)
    else:
        with show.page() as out:
            _show(out, found, str(trials[0].blend), optics)
            if new is not None:
                _show_recipe(out, recipe, new)
            show.notes(out, "Before you trust it", told, style=show.CARE)
            show.notes(out, "To keep it in the ledger", [record])


def _check_recipe(palette: Palette, what: str, recipe: dict[str, float]) -> None:
    if recipe and what in palette.bases:
        raise InputError("--rescale", f"{what} is a base", "expected a pigment's lot", "solve again after tint fit")
    if recipe and what not in recipe:
        raise InputError("--rescale", f"the recipe holds no {what}", mend=f"name its dose, as in {what}=0.5")


def _rescaled(found: LotCheck, recipe: Blend) -> Blend:
    """The recipe for the new lot; as it is, where the lot is used as the old one."""
    return rescale(recipe, {found.what: found.strength}) if found.verdict != USE else recipe


def _show(out: Console, found: LotCheck, letdown: str, optics: str) -> None:
    show.title(out, f"{found.words[:1].upper()}{found.words[1:]}.", f"by {letdown}; {optics}")
    strength = f"{found.strength:.3f} ± {found.strength_error:.3f}"
    show.facts(
        out,
        [
            ("strength", strength, "against the lot of the swatches; one standard deviation"),
            ("hue left", f"{found.hue_left:.2f} CIEDE2000", f"at equal strength; {found.hue_error:.2f} may be chance"),
        ],
    )


def _show_recipe(out: Console, old: dict[str, float], new: Blend) -> None:
    out.print()
    out.print("The recipe with this lot", style=show.HEAD)
    show.table(out, ("<pigment", "was %", "now %"), [(n, f"{x:.4f}", f"{new.loadings[n]:.4f}") for n, x in old.items()])
    out.print()
    out.print("%: by mass of the finished mix.", style=show.QUIET)


def _record(folder: Path, found: LotCheck) -> str:
    """The command that writes it down; the ledger keeps half widths that hold 95 of 100."""
    told = ["tint", "ledger", "add", "lot", str(folder), "--material", found.what, "--lot", "LOT"]
    told += ["--strength", f"{found.strength:.4f}", "--strength-error", f"{Z95 * found.strength_error:.4f}"]
    told += ["--hue-left-over", f"{found.hue_left:.2f}", "--verdict", found.verdict]
    return shlex.join(told)
