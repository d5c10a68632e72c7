"""The weigh sheet: every weighing of a batch in its order, as the scale can show it, and what that will look like."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tint import colorimetry, jsonable, kinds, notebook
from tint.appearance import Appearance, Setting, predict
from tint.errors import InputError
from tint.files import csv_table
from tint.kinds import checked
from tint.materials import Blend
from tint.palette import Palette
from tint.target import Target
from tint.thickness import Wall, at_walls
from tint.weighing.batch import Batch, Cups, Split, mix_density, plan, waste_of
from tint.weighing.booking import (
    OF_PREMIXES,
    Line,
    booked,
    cautions,
    cups_of,
    in_order,
    lines_of,
    naive_mix_error,
    not_used,
    too_heavy,
    too_much,
    too_small,
)
from tint.weighing.premix import Kept, Premix, Scale, premixes, scale_of, weighed_out, whole
from tint.weighing.rounding import Care, Looser, best_rounding, care, looser


@dataclass(frozen=True, kw_only=True, eq=False)
class WeighSheet:
    """What to weigh, in order, for one batch.

    Parameters
    ----------
    blend, rounded : Blend
        As asked, and as the rounded weights make it.
    predicted : Appearance
        Of the rounded blend.
    delta_e, aim_delta_e : float
        CIEDE2000 of that from the exact blend's prediction, and from the aim; the second is the first without an aim.
    batch_g, total_grams : float
        Asked for with its allowances, and the sum of all weighings [g].
    mix_error_percent : float
        How far the parts as rounded are from the base's mixing ratio: the largest relative error of a part [%].
    naive_mix_error_percent : float
        How far they would be if the pigment were taken for its part: the same, were its mass not booked apart [%].
    naive_part_error_percent : float
        What would then be missing of that part [% of the part].
    premixes : tuple of Premix
        To be made before, or kept from an earlier batch.
    leftovers : tuple of Kept
        What is left of premixes after this batch, with what was kept and is not touched.
    looser : Looser or None
        A dose tolerance that would save half of the base that premixes take.
    cups : Cups
        What the batch is split into, even if that is one.
    care : tuple of Care
        Every weighing, the most delicate first.
    walls : tuple of Wall
        The rounded blend at every wall of the part, the worst first; empty where it has one.
    """

    lines: tuple[Line, ...]
    blend: Blend
    rounded: Blend
    predicted: Appearance
    delta_e: float
    aim_delta_e: float
    batch: Batch
    batch_g: float
    total_grams: float
    volume_cm3: float
    scale: Scale
    split: Split
    mix_error_percent: float
    naive_mix_error_percent: float
    naive_part_error_percent: float
    premixes: tuple[Premix, ...]
    leftovers: tuple[Kept, ...]
    looser: Looser | None
    cups: Cups
    care: tuple[Care, ...]
    cautions: tuple[str, ...]
    warnings: tuple[str, ...]
    walls: tuple[Wall, ...] = ()

    @property
    def scale_step_g(self) -> float:
        """The smallest step of the scale [g]."""
        return self.scale.step_g

    @property
    def premix_changes(self) -> tuple[Kept, ...]:
        """What the batch changes of the premixes that are kept: grams above 0 are left of it, below 0 are taken."""
        taken = [replace(each.kept, grams=-each.kept.grams) for each in self.premixes if each.kept]
        return (*taken, *(left for each in self.premixes for left in each.leftovers(self.blend.base)))

    def to_json(self) -> str:
        """All of it as one JSON object, with the keys that `tint weigh --json` prints."""
        return jsonable.text(jsonable.sheet(self))

    def _repr_html_(self) -> str:
        return notebook.sheet_html(self)


@checked()
def weigh(
    palette: Palette, blend: Blend, *, setting: Setting, batch: Batch | None = None, scale: Scale | None = None,
    split: Split | None = None, premix: bool = False, kept: Sequence[Kept] = (), too_old: Sequence[Kept] = (),
    aim: Target | None = None, batch_g: float | None = None, batch_cm3: float | None = None,
    waste_percent: float | None = None, scale_step_g: float | None = None, walls_mm: Sequence[float] = (),
    warnings: Sequence[str] = (),
) -> WeighSheet:  # fmt: skip
    """Grams for a batch, which may be told by `batch_g` or `batch_cm3` and `waste_percent`, the scale by its step.

    `setting` is for the prediction of the rounded blend, which is told at further `walls_mm` of the part too. With
    `premix` doses that are too small for the scale are weighed as premixes: `kept` ones of earlier batches, the oldest
    first, before any is made; of those `too_old` that would be used it is told. The rounded doses come near the `aim`,
    else near the exact blend's own prediction. `warnings` are what else is to be told before anything is weighed.
    InputError if the batch is not given once, or a quantity makes no sense; JobError if pot life ends before one mould
    is poured.

    The pigment's mass belongs to no part, and the base of a premix belongs to the part it came from: so the base's
    mixing ratio holds. Split into cups, the part with the pigment is made in one and shared out, so that no cup differs
    from another; the other parts are weighed into each.
    """
    palette.loadings(blend)
    base, scale, split = palette.bases[blend.base], scale or scale_of(palette.workshop, scale_step_g), split or Split()
    waste = waste_of(palette.workshop) if waste_percent is None else waste_percent
    batch = batch or Batch(batch_g=batch_g, batch_cm3=batch_cm3, waste_percent=waste)
    density = mix_density(base, palette.pigments, blend)
    planned = plan(batch, split, density=density)
    total, share = planned.total_g, base.mix[base.pigment_in] / sum(base.mix.values())
    doses = {name: total * blend.loadings[name] / 100.0 for name in in_order(blend)}
    tinted = (total - sum(doses.values())) * share
    lots = {name: pigment.lot for name, pigment in palette.pigments.items()}
    part, own = base.pigment_in, [each for each in kept if (each.base, each.part) == (blend.base, base.pigment_in)]
    stock: dict[str, Any] = {"part": part, "base_g": tinted, "lots": lots, "kept": own}
    made = premixes(doses, scale=scale, **stock) if premix else {}
    names, exact = booked(palette, base, doses, made, total_g=total, step_g=scale.step_g, cups=planned.count)
    if not np.any(np.rint(exact.exact / exact.steps) > 0.0):
        raise InputError("weigh", f"nothing of {total:g} g shows on a scale of {scale.step_g:g} g", mend="make more")
    meant = predict(palette, blend, setting=setting)
    towards = aim or Target(lab=meant.lab)
    grams = best_rounding(palette, blend.base, exact, setting=setting, aim=towards)
    lines = lines_of(names, exact, grams, palette)
    used = tuple(weighed_out(made[line.pigment], line.grams, scale) for line in lines if line.pigment in made)
    rounded = palette.blend(blend.base, exact.loadings(grams))
    predicted = predict(palette, rounded, setting=setting)
    cups = cups_of(base, planned, split, exact, lines, density=density, scale=scale)
    return WeighSheet(
        lines=lines,
        blend=blend,
        rounded=rounded,
        predicted=predicted,
        delta_e=float(colorimetry.difference(meant.lab, predicted.lab)),
        aim_delta_e=float(colorimetry.difference(towards.lab, predicted.lab)),
        batch=batch,
        batch_g=total,
        total_grams=whole(float(grams.sum())),
        volume_cm3=float(grams.sum()) / density,
        scale=scale,
        split=split,
        mix_error_percent=float(exact.mix_error(grams)),
        naive_mix_error_percent=naive_mix_error(share, blend.total / 100.0),
        naive_part_error_percent=min(blend.total / share, 100.0),
        premixes=used,
        leftovers=_left(kept, used, blend.base),
        looser=looser(palette, blend, doses, made, setting=setting, scale=scale, **stock),
        cups=cups,
        care=care(
            palette, blend.base, exact, grams, setting=setting, names=[(line.what, line.into) for line in lines],
            premixes=used, step_g=scale.step_g,
        ),
        cautions=(*cautions(base, palette.pigments, blend), *(OF_PREMIXES if made else ())),
        warnings=(
            *warnings,
            *too_small(lines, scale, premix=premix, cups=cups),
            *too_heavy(lines, scale),
            *too_much(made, scale, sum(line.grams for line in lines)),
            *not_used(too_old, made, blend.base, part, scale),
        ),
        walls=at_walls(palette, aim, predicted, walls_mm=walls_mm),
    )  # fmt: skip


def _left(kept: Sequence[Kept], used: Sequence[Premix], base: str) -> tuple[Kept, ...]:
    """What is left of premixes after a batch, what was not touched first."""
    touched = [premix.kept for premix in used]
    return (*(each for each in kept if each not in touched), *(left for each in used for left in each.leftovers(base)))


_NOTHING_G = 1e-9  # g that rounding of floating-point numbers leaves


def kept_words(sheet: WeighSheet) -> list[str]:
    """Kept premixes that a sheet uses: how much there is of each, and what the batch leaves of it."""
    shown = sheet.scale.shown
    return [
        f"{each.kept.name}, {shown(each.kept.grams)} there"
        + (f", of {each.kept.made_on}" if each.kept.made_on else "")
        + (f", {shown(each.kept_left_g)} left" if each.kept_left_g > _NOTHING_G else ", none left")
        for each in sheet.premixes
        if each.kept
    ]


# A weigh sheet as a table of rows: premixes, the batch, each cup; for spreadsheets.

COLUMNS = ("what for", "order", "what", "into", "grams")  # and what a line has cells for


def weigh_table(sheet: WeighSheet) -> bytes:
    """A sheet as comma-separated values, UTF-8, a header first."""
    header = (*COLUMNS, *sheet.lines[0].cells)
    return csv_table([header, *([row.get(column, "") for column in header] for row in _rows(sheet))])


def _rows(sheet: WeighSheet) -> Iterator[dict[str, object]]:
    def row(*cells: object, **more: str) -> dict[str, object]:
        return dict(zip(COLUMNS, cells, strict=True)) | more

    for premix in sheet.premixes:
        for step in premix.steps:
            yield row(step.makes, 1, step.what, step.makes, _weight(step.grams), lot=step.lot)
            yield row(step.makes, 2, f"part {step.part}", step.makes, _weight(step.base_g))
    for at, line in enumerate(sheet.lines, start=1):
        yield row("batch", at, line.what, line.into, _weight(line.grams), **line.cells)
    if sheet.cups.count > 1:
        for cup in range(1, sheet.cups.count + 1):
            yield row(f"cup {cup}", 1, "tinted part", f"cup {cup}", _weight(sheet.cups.tinted_g))
            for at, (part, grams) in enumerate(sheet.cups.rest_g.items(), start=2):
                yield row(f"cup {cup}", at, f"part {part}", f"cup {cup}", _weight(grams))


def _weight(grams: float) -> str:
    return f"{grams:.10g}"


def kept_from_json(data: bytes | str, *, where: str = "weigh sheet") -> tuple[Kept, ...]:
    """What a sheet left of premixes, from its JSON; InputError as of `from_json`."""
    return _kept(from_json(data, where=where).leftovers, f"{where}, key leftovers")


def changes_of(sheet: jsonable.Sheet, *, where: str) -> tuple[Kept, ...]:
    """`WeighSheet.premix_changes` of a sheet in JSON; InputError names `where`."""
    return _kept(sheet.premix_changes, f"{where}, key premix_changes")


def _kept(told: Sequence[object], where: str) -> tuple[Kept, ...]:
    return tuple(kinds.converted(each, Kept, where=where, form=_FORM) for each in told)


_FORM = "what `tint weigh --json` writes"


def from_json(data: bytes | str, *, where: str = "weigh sheet") -> jsonable.Sheet:
    """A sheet as `WeighSheet.to_json` and `tint weigh --json` write it: at least its base and its weighings.

    InputError if it is no such JSON, by its key; `where` names it.
    """
    return kinds.decode(data, jsonable.Sheet, where=where, form=_FORM)
