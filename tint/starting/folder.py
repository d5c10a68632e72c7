"""A swatch folder to begin with, and what to do next; nothing is written over."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path

from tint.errors import FolderError, Gathered, InputError
from tint.files import write_whole
from tint.photographs.squares import SQUARES_FILE
from tint.starting.answers import Answers
from tint.starting.declaring import instrument_keys, palette_text
from tint.starting.plan import CastingPlan, plan_castings, plan_page
from tint.starting.squares import Labels, check_area, labels_for
from tint.swatches import PALETTE_FILE, READINGS_FILE, SWATCHES_FILE, read_declared
from tint.swatches.blank_workbook import blank_workbook
from tint.swatches.declaration import Declared, read_declaration
from tint.swatches.records import COLOUR_COLUMNS
from tint.weighing import AREA_CM2

PLAN_FILE, BOOK_FILE = "casting-plan.html", "swatches.xlsx"
_TABLES = (PALETTE_FILE, SWATCHES_FILE, READINGS_FILE, BOOK_FILE)


@dataclass(frozen=True, kw_only=True)
class Started:
    """What was begun."""

    folder: Path
    plan: CastingPlan
    # files that were written, and those that were there and stay as they were
    written: tuple[str, ...]
    kept: tuple[str, ...]
    next_steps: tuple[str, ...]  # three lines


def start(
    folder: Path, answers: Answers | None, *, area_cm2: float = AREA_CM2, workbook: bool = False, squares: bool = False
) -> Started:
    """Write what a folder lacks: palette.toml, swatches.csv with the planned castings, and the plan to print.

    Parameters
    ----------
    folder : Path
        Made if need be.
    answers : Answers, optional
        What the workshop has; not needed where the folder tells it.
    area_cm2 : float
        Of a swatch [cm2].
    workbook : bool
        Whether all tables go into one swatches.xlsx.
    squares : bool
        Whether the plan has label squares even where castings are not read by a telephone.

    Raises
    ------
    InputError
        If nothing tells what the workshop has, or the folder cannot be written to.
    FolderError
        If the folder tells what there is, and is at fault.
    """
    check_area(area_cm2)
    try:
        str(folder).encode()
    except UnicodeEncodeError as error:
        raise InputError(ascii(str(folder)), "the name holds what is no letter", mend="name it in letters") from error
    if folder.exists() and not folder.is_dir():
        raise InputError(str(folder), "is a file", "expected the name of a folder")
    there = tuple(name for name in (*_TABLES, PLAN_FILE) if (folder / name).exists())
    if tells_what_there_is(folder):
        answers, declared = None, read_declared(folder)
    elif answers is None:
        mend = "tell what there is: --base clear=platinum,1:1,3 --pigment white=both ..."
        raise InputError(str(folder), f"holds no {PALETTE_FILE}", mend=mend)
    else:
        declared = _as_declared(answers)
    plan = plan_castings(declared, area_cm2=area_cm2)
    labels = _squares(folder, declared, plan, asked=squares) if squares or plan.photographed else None
    contents = _contents(declared, answers, plan, workbook=workbook, there=there, labels=labels)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(str(folder), f"cannot be made ({error.strerror})", mend="choose another place") from error
    for name, content in contents.items():
        write_whole(folder / name, content)
    book = BOOK_FILE in (*there, *contents)
    steps = _next_steps(folder, plan, printed=PLAN_FILE in contents, book=book, squares=labels is not None)
    return Started(folder=folder, plan=plan, written=tuple(contents), kept=there, next_steps=steps)


def tells_what_there_is(folder: Path) -> bool:
    """Whether a folder declares bases and pigments already."""
    return any((folder / name).exists() for name in (PALETTE_FILE, BOOK_FILE))


def holds_castings(folder: Path) -> bool:
    """Whether a folder tells castings already."""
    return any((folder / name).exists() for name in (SWATCHES_FILE, BOOK_FILE))


def _as_declared(answers: Answers) -> Declared:
    faults = Gathered(PALETTE_FILE)
    declared = read_declaration(palette_text(answers), faults, folder_name=answers.name)
    grave = [fault for fault in faults.faults if fault.grave]
    if declared is None or grave:
        raise FolderError(PALETTE_FILE, grave)
    return declared


def _squares(folder: Path, declared: Declared, plan: CastingPlan, *, asked: bool) -> Labels | None:
    """The label squares of the planned castings; None where nobody asked for them and nothing draws them."""
    try:
        castings = [cup.name for cup in plan.sheet.cups]
        return labels_for(folder, castings, plan.cards, name=declared.name, area_cm2=plan.area_cm2)
    except InputError:
        if asked:
            raise
        return None


def _contents(
    declared: Declared, answers: Answers | None, plan: CastingPlan, *, workbook: bool, there: tuple[str, ...],
    labels: Labels | None,
) -> dict[str, bytes]:  # fmt: skip
    """The files that are to be written, all of them made before the first is."""
    contents: dict[str, bytes] = {}
    cast = BOOK_FILE in there or SWATCHES_FILE in there
    if answers is not None and workbook and not cast:
        contents[BOOK_FILE] = _begun_workbook(answers, plan)
    elif answers is not None:
        contents[PALETTE_FILE] = palette_text(answers).encode()
    if not cast and BOOK_FILE not in contents:
        contents[SWATCHES_FILE] = _swatches(plan, list(declared.pigments))
        if plan.colours and READINGS_FILE not in there:
            header = ["swatch", "backing", "seat", "source", *COLOUR_COLUMNS]
            contents[READINGS_FILE] = (",".join(header) + "\n").encode()
    if not cast and PLAN_FILE not in there:  # castings that are there are not those of a new plan
        contents[PLAN_FILE] = plan_page(plan, title=declared.name, squares=None if labels is None else labels.told)
        if labels is not None:
            contents[SQUARES_FILE] = labels.table
    return contents


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


def _begun_workbook(answers: Answers, plan: CastingPlan) -> bytes:
    """What the workshop has and what it pours first, as the bytes of swatches.xlsx.

    InputError if openpyxl is missing.
    """
    shop = answers.workshop
    keys = {"name": answers.name, **instrument_keys(answers), "scale_step_g": shop.scale_step_g}
    keys["mould_depths_mm"] = ", ".join(f"{depth:g}" for depth in shop.mould_depths_mm)
    if shop.scale_max_g:
        keys["scale_max_g"] = shop.scale_max_g
    bases = {
        name: {
            "cure": base.cure, "density": base.density, "refractive_index": base.refractive_index,
            "max_loading": base.max_loading, "pigment_in": base.pigment_in,
            **{f"mix_{part}": share for part, share in base.mix.items()},
        }
        for name, base in answers.bases.items()
    }  # fmt: skip
    pigments = {
        name: {
            "cures": None if each.cures is None else ", ".join(each.cures),
            "max_loading": each.max_loading,
            "kind": each.kind,
        }
        for name, each in answers.pigments.items()
    }
    castings = [
        {
            "swatch": cup.name, "base": cup.blend.base, "thickness_mm": cup.thickness_mm, **cup.blend.loadings,
            "note": f"planned: {casting.reason}",
        }
        for casting, cup in zip(plan.castings, plan.sheet.cups, strict=True)
    ]  # fmt: skip
    return blank_workbook(
        keys=keys, bases=bases, pigments=pigments, backings=answers.cards, castings=castings, colours=plan.colours
    )


def _next_steps(folder: Path, plan: CastingPlan, *, printed: bool, book: bool, squares: bool) -> tuple[str, ...]:
    cards = " and ".join(plan.cards)
    table, readings = (f"sheet {name} of {BOOK_FILE}" if book else f"{name}.csv" for name in ("swatches", "readings"))
    pour = f"Print {folder / PLAN_FILE}, pour what it says, and put measured thicknesses into {table}."
    if not printed:
        pour = f"{folder} holds castings or a plan already: pour what is missing, and measure its thickness."
    into = " --into-workbook" if book else ""
    read = (
        f"Read each over {cards}, named as in c01 {plan.cards[0]}, and each bare card three times, named as in "
        f"{plan.cards[0]}; then `tint import {folder} FILE --pattern '{{swatch}} {{backing}}' --seat air --add{into}`."
    )
    if plan.photographed:
        read = f"Photograph them on {cards} with a colour chart; `tint photograph` gives the rows of {readings}."
        if squares:
            read = (
                f"Photograph them on {cards} beside their label squares, with a colour chart; then `tint photograph "
                f"PICTURE {folder} --out colours.csv`, and `tint import {folder} colours.csv{into}`."
            )
    elif plan.colours:
        read = f"Read each over {cards}, and the bare cards; type L, a, b into {readings}, or `tint import` a file."
    return (
        pour,
        read,
        f"Then `tint check {folder}`, `tint fit {folder}`, and `tint plan {folder}` for what teaches most.",
    )
