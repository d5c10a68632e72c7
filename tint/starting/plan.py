"""A casting plan: the first castings, their grams on the workshop's scale, and the page to print."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from tint.materials import Pigment
from tint.planning import MOULDS_MM
from tint.starting.first import FIRST, First, first_swatches, is_light
from tint.swatches.declaration import Declared
from tint.weighing import AREA_CM2, CastingSheet, Cup, weigh_castings
from tint.weighing.premix import Scale, scale_of

# Scatter of X, Y, Z, as a share of white's, from which two colours in one casting are better cast apart: a telephone's
# 0.004, not a colorimeter's 0.001. Five workshops of colours tell it but roughly.
_ROUGH = 0.003
_COARSE_G = 0.05  # a scale from which a finer one is to be had for little; common practice, no source
_LABELS = 2  # of each casting: one for the cup, one for the back of the casting
# A pigment that hides as weak as it is planned is stronger than any that the shares were chosen on.
_HIDING = ("A casting that is to show the cards, and hides them, is cast again with a quarter of its pigment.",)
_SPARED = 0.7  # of the rubber: what a finer scale must bring it under to be named; no source


@dataclass(frozen=True, kw_only=True)
class CastingPlan:
    """What to pour first, and what to weigh for it."""

    castings: tuple[First, ...]  # as planned
    sheet: CastingSheet  # A cup each, in the same order, with the loadings that the rounded weights make
    area_cm2: float  # of a swatch [cm2]
    colours: bool  # whether three numbers are going to be read and no spectrum
    photographed: bool  # whether they are that rough, as a telephone's are
    cards: tuple[str, ...]
    warnings: tuple[str, ...]  # what the plan leaves out, and weighings that the scale does not do well


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
    rough = colours and instrument is not None and instrument.repeatability >= _ROUGH
    castings = first_swatches(
        shelf, pigments, only=bases, moulds_mm=list(moulds_mm) or shop.mould_depths_mm or MOULDS_MM, apart=rough,
        count=count,
    )  # fmt: skip
    rows = [(each.name, each.blend, each.thickness_mm) for each in castings]

    def weighed(scale: Scale) -> CastingSheet:
        return weigh_castings(rows, shelf, pigments, scale=scale, area_cm2=area_cm2)

    scale = scale_of(shop, scale_step_g)
    sheet = weighed(scale)
    return CastingPlan(
        castings=castings, sheet=sheet, area_cm2=area_cm2, colours=colours, photographed=rough, cards=declared.backings,
        warnings=(*_left_out(castings, pigments, bases or shelf), *sheet.warnings, *_finer(sheet, weighed)),
    )  # fmt: skip


def _finer(sheet: CastingSheet, weighed: Callable[[Scale], CastingSheet]) -> Iterator[str]:
    """What a scale of a tenth of the step would spare, where that is a good part of the rubber."""
    finer = replace(sheet.scale, step_g=0.1 * sheet.scale.step_g, sd_g=None)
    if sheet.scale.step_g < _COARSE_G:
        return
    other = weighed(finer)
    if other.grams < _SPARED * sheet.grams:
        yield (
            f"a scale of {finer.step_g:g} g would do with {len(other.premixes)} premixes in place of "
            f"{len(sheet.premixes)}, and with {other.grams:.0f} g of rubber in place of {sheet.grams:.0f} g"
        )


def _left_out(castings: Sequence[First], pigments: Mapping[str, Pigment], bases: Collection[str]) -> Iterator[str]:
    """What these castings cannot teach."""
    cast = {name for each in castings for name in each.blend.loadings}
    unsafe = [name for name in pigments if name not in cast]
    if unsafe:
        told = f"known to be safe in none of {', '.join(bases)}, and left out"
        yield f"{' and '.join(unsafe)}: {told}"
    if len({each.thickness_mm for each in castings}) == 1:
        yield (
            f"all castings are {castings[0].thickness_mm:g} mm thick: parts of other thickness are unproved; make a "
            "mould of twice or half the depth"
        )
    if len(pigments) > 1 and not any(map(is_light, pigments.values())):
        yield (
            'no pigment is known to be white, so no tints are planned: give the white kind = "titanium dioxide" in '
            "palette.toml"
        )


def plan_page(plan: CastingPlan, *, title: str, squares: dict[str, object] | None = None) -> bytes:
    """The plan as HTML, self-contained, for a printer: premixes, a cup each, labels, where to read, cautions.

    `squares`: the label squares, as `squares_told` tells them; none where absent.
    """
    from tint.proofs.leaf import rendered  # pages are for those who print

    sheet, shown = plan.sheet, plan.sheet.scale.shown
    return rendered(
        "castings.html.j2",
        title=title,
        premixes=[(step, shown(step.grams), shown(step.base_g)) for step in sheet.premixes],
        cups=[(each, cup, _lines(cup, sheet.scale)) for each, cup in zip(plan.castings, sheet.cups, strict=True)],
        labels=[cup for cup in sheet.cups for _ in range(_LABELS)],
        premix_labels=[step.makes for step in sheet.premixes],
        side_mm=f"{10.0 * plan.area_cm2**0.5:.0f}",
        scale=f"{sheet.scale.step_g:g} g",
        cards=list(plan.cards),
        reads="L*, a*, b*" if plan.colours else "reading",
        warnings=list(plan.warnings),
        cautions=(*sheet.cautions, *_HIDING),
        total=f"{sheet.grams:.0f}",
        squares=squares,
    )


def _lines(cup: Cup, scale: Scale) -> list[tuple[str, str, str]]:
    """What, how much, and what the scale shows then were it not set to zero."""
    rows, running = [], 0.0
    for line in cup.lines:
        running += line.grams
        rows.append((line.what, scale.shown(line.grams), scale.shown(running)))
    return rows
