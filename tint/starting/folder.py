"""A swatch folder to begin with: written once, and nothing in it is ever written over."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path

from tint.errors import InputError
from tint.files import write_whole
from tint.proofs.castings import casting_page
from tint.starting.answers import TELEPHONE, Answers
from tint.starting.declared import palette_text
from tint.starting.plan import CastingPlan, plan_castings
from tint.swatches import PALETTE_FILE, READINGS_FILE, SWATCHES_FILE, read_declared
from tint.swatches.records import COLOUR_COLUMNS
from tint.weighing import AREA_CM2

PLAN_FILE = "casting-plan.html"


@dataclass(frozen=True, kw_only=True)
class Started:
    """What was begun.

    Parameters
    ----------
    folder : Path
    plan : CastingPlan
    written, kept : tuple of str
        Files that were written, and those that were there and stay as they were.
    next_steps : tuple of str
        Three lines.
    """

    folder: Path
    plan: CastingPlan
    written: tuple[str, ...]
    kept: tuple[str, ...]
    next_steps: tuple[str, ...]


def start(folder: Path, answers: Answers | None, *, area_cm2: float = AREA_CM2) -> Started:
    """Write what a folder lacks: palette.toml, swatches.csv with the planned castings, and the plan to print.

    Parameters
    ----------
    folder : Path
        Made if need be.
    answers : Answers, optional
        What the workshop has; not needed where palette.toml is there and tells it.
    area_cm2 : float
        Of a swatch [cm2].

    Raises
    ------
    InputError
        If nothing tells what the workshop has, or the folder cannot be written to.
    FolderError
        If palette.toml is there and at fault.
    """
    if folder.exists() and not folder.is_dir():
        raise InputError(str(folder), "is a file", "expected the name of a folder")
    there = [name for name in (PALETTE_FILE, SWATCHES_FILE, READINGS_FILE, PLAN_FILE) if (folder / name).exists()]
    if PALETTE_FILE not in there and answers is None:
        mend = "tell what there is: --base clear=platinum,1:1,3 --pigment white=both ..."
        raise InputError(str(folder), f"holds no {PALETTE_FILE}", mend=mend)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(str(folder), f"cannot be made ({error.strerror})", mend="choose another place") from error
    written = []
    if PALETTE_FILE not in there and answers is not None:
        write_whole(folder / PALETTE_FILE, palette_text(answers).encode())
        written.append(PALETTE_FILE)
    declared = read_declared(folder)
    plan = plan_castings(declared, area_cm2=area_cm2)
    page = casting_page(
        plan.castings, plan.sheet, title=declared.name, area_cm2=area_cm2, cards=plan.cards, colours=plan.colours
    )
    names = [name for name, pigment in declared.pigments.items() if pigment is not None]
    contents = {SWATCHES_FILE: _swatches(plan, names), PLAN_FILE: page}
    if plan.colours:
        header = ["swatch", "backing", "seat", "source", *COLOUR_COLUMNS]
        contents[READINGS_FILE] = (",".join(header) + "\n").encode()
    if SWATCHES_FILE in there:
        del contents[PLAN_FILE]  # its castings are not those that are there
    for name, content in contents.items():
        if name not in there:
            write_whole(folder / name, content)
            written.append(name)
    by_telephone = answers is not None and answers.reads == TELEPHONE
    return Started(
        folder=folder, plan=plan, written=tuple(written), kept=tuple(there),
        next_steps=_next_steps(folder, plan, by_telephone=by_telephone, poured=SWATCHES_FILE in there),
    )  # fmt: skip


def _swatches(plan: CastingPlan, pigments: list[str]) -> bytes:
    """swatches.csv: the planned castings with the loadings that the scale gives, the moulds' depths to be measured."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["swatch", "base", "thickness_mm", *pigments, "note"])
    for casting, cup in zip(plan.castings, plan.sheet.cups, strict=True):
        doses = [f"{cup.blend.loadings[name]:g}" if name in cup.blend.loadings else "" for name in pigments]
        note = f"planned: {casting.reason}"
        writer.writerow([cup.name, cup.blend.base, f"{cup.thickness_mm:g}", *doses, note])
    return out.getvalue().encode()


def _next_steps(folder: Path, plan: CastingPlan, *, by_telephone: bool, poured: bool) -> tuple[str, ...]:
    cards = " and ".join(plan.cards)
    read = f"Read each over {cards}, and the bare cards; then `tint import {folder} FILE` takes the readings over."
    if by_telephone:
        read = f"Photograph them on {cards} with a colour chart; `tint photograph` gives the rows of readings.csv."
    elif plan.colours:
        read = f"Read each over {cards}, and the bare cards; type L, a, b into readings.csv, or `tint import` a file."
    pour = f"Print {folder / PLAN_FILE}, pour what it says, and put measured thicknesses into swatches.csv."
    if poured:
        pour = f"{folder / SWATCHES_FILE} holds castings already: measure their thickness, and pour what is missing."
    return (
        pour,
        read,
        f"Then `tint check {folder}`, `tint fit {folder}`, and `tint plan {folder}` for what teaches most.",
    )
