"""The lines of a sheet: where mass is booked, which weighings the scale does not do well, what to know before.

Pigment is booked beside the parts, the base of a premix within its part.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tint.materials import Base, Blend, Pigment
from tint.palette import Palette
from tint.spectra import Array
from tint.weighing.batch import Cups, Plan, Split
from tint.weighing.premix import Kept, Premix, Scale, whole
from tint.weighing.rounding import Weighings, spent_g


@dataclass(frozen=True, kw_only=True)
class Line:
    """One weighing."""

    what: str  # a pigment, its premix, or the base's part
    part: str  # the part of the base that it is, or goes into
    # grams, exact_grams: as the scale can show it, and before rounding [g]
    grams: float
    exact_grams: float
    percent: float  # of the finished mix, as rounded [%]
    pigment: str = ""  # the pigment that is in it; empty for a part
    pigment_g: float = 0.0  # of that pigment, as rounded [g]
    lot: str = ""  # of the pigment, where the palette tells it

    @property
    def into(self) -> str:
        """What it goes into, in words; for a part its cup."""
        return f"part {self.part}" if self.pigment else "the cup"

    @property
    def beside(self) -> dict[str, str]:
        """What pages, notebooks and sheets on paper tell beside its weight, by the heading of its column."""
        return {"of the mix": f"{self.percent:.3f} %"}

    @property
    def cells(self) -> dict[str, str]:
        """What a table for spreadsheets tells beside its weight, by column."""
        return {"exact grams": f"{self.exact_grams:.6f}", "percent of mix": f"{self.percent:.5f}", "lot": self.lot}


def in_order(blend: Blend) -> list[str]:
    """Pigments from the largest dose to the smallest, so that a slip is made while little has been spent."""
    return sorted((name for name, x in blend.loadings.items() if x > 0.0), key=lambda name: -blend.loadings[name])


def booked(
    palette: Palette, base: Base, doses: Mapping[str, float], made: Mapping[str, Premix], *, total_g: float,
    step_g: float, cups: int,
) -> tuple[list[tuple[str, str]], Weighings]:  # fmt: skip
    """What each weighing is and the part that it is or goes into, and the exact weights, of pigments in their order.

    Parts that take no pigment are weighed into each of the cups.
    """
    own, parts = base.pigment_in, tuple(base.mix)
    mix = np.array([base.mix[part] for part in parts]) / sum(base.mix.values())
    base_g = dict(zip(parts, mix * (total_g - sum(doses.values())), strict=True))
    base_g[own] -= sum(premix.base_g for premix in made.values())
    # Pigments go into their part before the other parts, so that the clock starts last.
    others = [part for part in parts if part != own]
    names = [(f"part {own}", own), *((made[name].name if name in made else name, own) for name in doses)]
    names += [(f"part {part}", part) for part in others]
    exact = [base_g[own], *(made[name].used_g if name in made else grams for name, grams in doses.items())]
    exact += [base_g[part] for part in others]
    pigment, content = np.zeros((len(names), len(palette.pigments))), np.zeros((len(names), len(parts)))
    for row, name in enumerate(doses, start=1):
        strength = 1.0 / made[name].whole if name in made else 1.0
        pigment[row, list(palette.pigments).index(name)] = strength
        content[row, parts.index(own)] = 1.0 - strength
    is_part = np.array([what == f"part {part}" for what, part in names])
    is_part[1 : 1 + len(doses)] = False  # whatever a pigment is called
    for line in np.flatnonzero(is_part):
        content[line, parts.index(names[line][1])] = 1.0
    steps = np.array(
        [step_g * (cups if each and part != own else 1) for each, (_, part) in zip(is_part, names, strict=True)]
    )
    return names, Weighings(exact=np.array(exact), steps=steps, pigment=pigment, base=content, own=is_part, mix=mix)


def lines_of(
    names: Sequence[tuple[str, str]], weighings: Weighings, grams: Array, palette: Palette
) -> tuple[Line, ...]:
    """The weights as lines of a sheet."""
    poured, pigments = float(grams.sum()), tuple(palette.pigments)
    lines = []
    for at, (what, part) in enumerate(names):
        held = [pigments[each] for each in np.flatnonzero(weighings.pigment[at])]
        lines.append(
            Line(
                what=what,
                part=part,
                grams=whole(float(grams[at])),
                exact_grams=float(weighings.exact[at]),
                percent=100.0 * float(grams[at]) / poured,
                pigment=held[0] if held else "",
                pigment_g=float(grams[at] * weighings.pigment[at].sum()),
                lot=(palette.pigments[held[0]].lot or "") if held else "",
            )
        )
    return tuple(lines)


def cups_of(
    base: Base, planned: Plan, split: Split, weighings: Weighings, lines: Sequence[Line], *, density: float,
    scale: Scale,
) -> Cups:  # fmt: skip
    """What goes into each cup: of the part with the pigment what the scale can share out, of the others their lines."""
    rest = {
        line.part: whole(line.grams / planned.count)
        for line in lines
        if not line.pigment and line.part != base.pigment_in
    }
    tinted = sum(line.grams for line in lines if line.part == base.pigment_in)
    each = scale.at_most(tinted / planned.count) if planned.count > 1 else whole(tinted)
    held = np.array([line.part == base.pigment_in for line in lines])
    grams = np.array([line.grams for line in lines]) / planned.count
    grams[held] *= each * planned.count / tinted if tinted else 1.0
    total = whole(each + sum(rest.values()))
    return Cups(
        count=planned.count,
        grams=total,
        volume_cm3=total / density,
        tinted_g=each,
        rest_g=rest,
        mix_error_percent=float(weighings.mix_error(grams)),
        moulds_each=planned.moulds_each,
        cups_each=planned.cups_each,
        minutes=split.minutes(planned.moulds_each),
        least_cup_cm3=split.headroom * total / density,
    )


def naive_mix_error(share: float, pigment: float) -> float:
    """Were pigment weighed as if it were its part: how far that part's share of the base would be off [%].

    `share` is that part's of the base, `pigment` that of the pigments in the mix [-].
    """
    left = max(share - pigment, 0.0)
    others = 1.0 - share
    true_share = left / (left + others) if left + others else 0.0
    return 100.0 * abs(true_share / share - 1.0)


# Weighings that the scale does not do well.

_MUCH = 3.0  # times the batch: so much base for premixes is told; common practice, no source


def too_small(lines: Sequence[Line], scale: Scale, *, premix: bool, cups: Cups) -> list[str]:
    """Weighings that the scale does not do well; where premixes were looked for, such a dose could not have one."""
    doses = [line for line in lines if line.pigment and line.what == line.pigment]
    told = [words for line in doses if (words := _of_dose(line, scale, premix=premix))]
    weights = {line.part: line.grams for line in lines if not line.pigment} | dict(cups.rest_g)
    each = " a cup" if cups.count > 1 else ""
    told += [
        f"part {part}: {grams:g} g{each} is less than {_trusted(scale)}: the mixing ratio may be off by "
        f"{scale.error_percent(grams):.1f} %; make more at a time, or take a finer scale"
        for part, grams in weights.items()
        if 0.0 < grams < scale.least_g
    ]
    return told


def _of_dose(line: Line, scale: Scale, *, premix: bool) -> str:
    exact, step = line.exact_grams, f"{scale.step_g:g} g"
    if exact >= scale.least_g:
        return ""
    if premix:
        mend = "a premix would take more base than there is; a finer scale or a larger batch would hold it better"
    else:
        mend = "a finer scale, a larger batch or a premix would hold it better"
    if line.grams == 0.0:
        mend = "weigh a larger batch" if premix else "make a premix"
        return f"{line.what}: {exact:.2g} g does not show on a scale of {step}; {mend}"
    off = 100.0 * abs(line.grams - exact) / exact
    found = f"{line.grams:g} g is few steps of {step} (rounded by {off:.1f} %), less than {_trusted(scale)}"
    return f"{line.what}: {found}; {mend}"


def _trusted(scale: Scale) -> str:
    return f"the {scale.smallest_g:.2g} g that it weighs to {scale.tolerance_percent:g} %"


def too_heavy(lines: Sequence[Line], scale: Scale) -> list[str]:
    """What the scale does not carry at once."""
    most = math.inf if scale.max_g is None else scale.max_g
    heavy = "; ".join(f"{line.what}, {scale.shown(line.grams)}" for line in lines if line.grams > most)
    return [f"more than the {most:g} g that the scale carries: {heavy}: weigh it in portions"] if heavy else []


def too_much(made: Mapping[str, Premix], scale: Scale, total_g: float) -> list[str]:
    """Premixes that take several times the batch itself, though what is left of them serves the next."""
    taken = spent_g(made)
    if taken <= _MUCH * total_g:
        return []
    mend = "weigh the smallest doses on a finer scale, or leave them out"
    return [f"the premixes take {scale.shown(taken)} of base, for a batch of {scale.shown(total_g)}: {mend}"]


def not_used(too_old: Sequence[Kept], made: Mapping[str, Premix], base: str, part: str, scale: Scale) -> list[str]:
    """Premixes that are there for what is let down now, and too old."""
    return [
        f"{each.name}, {scale.shown(each.grams)} of {each.made_on}, is not used: it is older than premix_days of "
        "palette.toml allows"
        for each in too_old
        if each.pigment in made and (each.base, each.part) == (base, part)
    ]


# What to know before weighing.


def cautions(base: Base, pigments: Mapping[str, Pigment], blend: Blend) -> tuple[str, ...]:
    """The usual cautions for what is about to be weighed; data sheets, local rules and licensed practice rule."""
    told = of_cure(base, pigments, blend)
    told.append("Cure a small cup of this very mix before you pour the batch.")
    told.append("Powders: weigh without raising dust, with extraction or a respirator. Wear nitrile gloves, not latex.")
    if base.cure == "condensation":
        told.append("Tin catalysts harm health: keep off skin, and not for skin or food contact unless certified.")
    else:
        told.append("Sulphur, tin and amines stop addition cure: keep tools, moulds and gloves free of them.")
    told.append("Vacuum: a cup of 3 to 5 times the volume, a rated chamber, eye protection.")
    told.append("Supplier's data sheets, local rules and licensed practice come before this sheet.")
    return tuple(told)


def of_cure(base: Base, pigments: Mapping[str, Pigment], blend: Blend) -> list[str]:
    """Which pigments may upset the cure, or are not known not to."""
    told = []
    unknown = [name for name in blend.loadings if pigments[name].cures is None]
    unsafe = [n for n in blend.loadings if (cures := pigments[n].cures) is not None and base.cure not in cures]
    if unsafe:
        told.append(f"{' and '.join(unsafe)}: not safe with {base.cure} cure; it may stay soft or tacky")
    if unknown:
        told.append(f"{' and '.join(unknown)}: not known to be safe with {base.cure} cure")
    return told


OF_PREMIXES = (
    "Premixes: label them with lot and date, stir before each use, keep them no longer than their part keeps.",
)
