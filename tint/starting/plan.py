"""A casting plan: what to pour first, and its grams on the workshop's scale, before there is a palette."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from tint.planning import FIRST, MOULDS_MM, First, first_swatches
from tint.swatches.declaration import Declared
from tint.weighing import AREA_CM2, CastingSheet, Scale, weigh_castings
from tint.weighing.premix import STEP_G, TOLERANCE_PERCENT


@dataclass(frozen=True, kw_only=True)
class CastingPlan:
    """What to pour first, and what to weigh for it.

    Parameters
    ----------
    castings : tuple of First
        As planned.
    sheet : CastingSheet
        A cup each, in the same order, with the loadings that the rounded weights make.
    area_cm2 : float
        Of a swatch [cm2].
    colours : bool
        Whether three numbers are going to be read and no spectrum.
    """

    castings: tuple[First, ...]
    sheet: CastingSheet
    area_cm2: float
    colours: bool
    cards: tuple[str, ...]


def plan_castings(
    declared: Declared,
    *,
    bases: Collection[str] = (),
    moulds_mm: Collection[float] = (),
    count: int = FIRST,
    scale_step_g: float | None = None,
    area_cm2: float = AREA_CM2,
) -> CastingPlan:
    """The first castings of a folder that declares what the workshop has.

    Parameters
    ----------
    declared : Declared
        palette.toml: its bases, pigments, instrument and workshop are honoured.
    bases : collection of str
        Only in these.
    moulds_mm : collection of float
        Depths at hand, in place of the workshop's [mm].
    count : int
        How many castings, where so many leave nothing unknown.
    scale_step_g : float, optional
        In place of the workshop's [g].
    area_cm2 : float
        Of a swatch [cm2].
    """
    shop, instrument = declared.workshop, declared.instrument
    shelf = {name: base for name, base in declared.bases.items() if base is not None}
    pigments = {name: pigment for name, pigment in declared.pigments.items() if pigment is not None}
    colours = instrument is not None and (instrument.light is not None or instrument.observer is not None)
    castings = first_swatches(
        shelf, pigments, only=bases, moulds_mm=list(moulds_mm) or shop.mould_depths_mm or MOULDS_MM, colours=colours,
        count=count,
    )  # fmt: skip
    scale = Scale(
        step_g=scale_step_g or shop.scale_step_g or STEP_G,
        tolerance_percent=shop.dose_tolerance_percent or TOLERANCE_PERCENT,
        max_g=shop.scale_max_g,
    )
    rows = [(each.name, each.blend, each.thickness_mm) for each in castings]
    sheet = weigh_castings(rows, shelf, pigments, scale=scale, area_cm2=area_cm2)
    return CastingPlan(castings=castings, sheet=sheet, area_cm2=area_cm2, colours=colours, cards=declared.backings)
