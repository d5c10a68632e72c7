"""What a scale weighs well; and premixes, a pigment let down in base so that a dose too small for it can be weighed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from tint.errors import InputError
from tint.materials import Workshop

STEP_G = 0.01  # g: a workshop scale's smallest step; common practice, no source
TOLERANCE_PERCENT = 1.0  # of a dose; common practice, no source
_ALMOST = 1e-6  # of a step: floating-point numbers so near a whole step are that step
_ROUNDING_ALONE = 0.41  # of a step, rounded up: sqrt(2 / 12), of two readings off by up to half a step each


@dataclass(frozen=True, kw_only=True)
class Scale:
    """What a dose is weighed on; InputError if a quantity makes no sense.

    The smallest weighing is ``2 sd / tolerance``, sd not taken below 0.41 steps: the rule of the United States
    Pharmacopeia, general chapter 41 on balances, there with a tolerance of 0.10 % (from memory).
    """

    step_g: float = STEP_G  # its smallest step [g]
    # standard deviation when one thing is weighed again and again [g]; as good as the step allows when not known
    sd_g: float | None = None
    tolerance_percent: float = TOLERANCE_PERCENT  # by which a dose may be off [% of the dose]
    max_g: float | None = None  # the most that it carries [g]

    def __post_init__(self) -> None:
        if not 0.0 < self.step_g <= 100.0:
            raise InputError("scale step", f"{self.step_g:g} g", "more than 0 and at most 100 g")
        if self.sd_g is not None and not 0.0 <= self.sd_g <= 100.0:
            raise InputError("scale sd", f"{self.sd_g:g} g", "0 to 100 g")
        if not 0.01 <= self.tolerance_percent <= 50.0:
            raise InputError("dose tolerance", f"{self.tolerance_percent:g} %", "0.01 to 50 % of the dose")

    @property
    def repeatability_g(self) -> float:
        """The standard deviation that is reckoned with [g]."""
        return max(self.sd_g or 0.0, _ROUNDING_ALONE * self.step_g)

    @property
    def smallest_g(self) -> float:
        """The smallest weighing that keeps the tolerance [g]."""
        return 2.0 * self.repeatability_g / (self.tolerance_percent / 100.0)

    @property
    def least_g(self) -> float:
        """The same, less what floating-point numbers are rounded by [g]."""
        return self.smallest_g * (1.0 - _ALMOST)

    @property
    def decimals(self) -> int:
        """After the point, in what it shows."""
        return max(0, -int(Decimal(str(self.step_g)).normalize().as_tuple().exponent))

    def error_percent(self, grams: float) -> float:
        """Within which a weighing falls 95 times in 100 [% of it]."""
        return 100.0 * 2.0 * self.repeatability_g / grams if grams > 0.0 else math.inf

    def shown(self, grams: float) -> str:
        """Grams as the scale shows them."""
        return f"{grams:.{self.decimals}f} g"

    def nearest(self, grams: float) -> float:
        """The weight next to it that the scale can show [g]."""
        return whole(round(grams / self.step_g) * self.step_g)

    def at_least(self, grams: float) -> float:
        """The next weight up that the scale can show [g]."""
        return whole(math.ceil(grams / self.step_g - _ALMOST) * self.step_g)

    def at_most(self, grams: float) -> float:
        """The next weight down that the scale can show [g]."""
        return whole(math.floor(grams / self.step_g + _ALMOST) * self.step_g)


def whole(grams: float) -> float:
    """A multiple of a step, without what is left over from multiplying [g]."""
    return round(grams, 10)


# Parts of the whole to one part of what goes in, in one step; the whole of two steps is their product. Whole numbers
# that a scale makes easily: common practice, no source.
WHOLES = (2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 14, 15, 16, 18, 20, 22, 25, 28, 30, 35, 40, 45, 50)
_STRONGEST, WEAKEST = 2, 1000
_ONCE_MORE_G = 20.0  # of base that a second step must save, for the work that it makes; common practice, no source
_DIGITS = 2  # of what is weighed into a premix, so that the sheet reads easily and little is made in vain; no source
_NOTHING_G = 1e-9  # g that rounding of floating-point numbers leaves
SPARE = 1.1  # a tenth more than is needed, for what sticks to its cup; common practice, no source


def scale_of(workshop: Workshop, step_g: float | None = None) -> Scale:
    """The scale of a workshop; its step where no other is told [g]."""
    return Scale(
        step_g=(workshop.scale_step_g or STEP_G) if step_g is None else step_g,
        tolerance_percent=workshop.dose_tolerance_percent or TOLERANCE_PERCENT,
        max_g=workshop.scale_max_g,
    )


@dataclass(frozen=True, kw_only=True)
class Letdown:
    """One step of a premix: so much of something into so much base."""

    makes: str  # what it gives
    what: str  # a pigment, or the step before
    part: str  # the part of the base that it goes into
    # grams, base_g: of the two [g]
    grams: float
    base_g: float
    lot: str = ""  # of the pigment, where that is what goes in and its lot is known

    @property
    def made_g(self) -> float:
        """What it gives [g]."""
        return whole(self.grams + self.base_g)


@dataclass(frozen=True, kw_only=True)
class Kept:
    """What is left of a premix, and can be used."""

    name: str
    pigment: str
    base: str  # the base whose part it was let down in
    part: str
    whole: int  # parts of premix that hold one part of pigment [-]
    grams: float  # how much there is of it [g]
    lot: str = ""  # of the pigment, where it is known
    made_on: str = ""  # the day it was made (YYYY-MM-DD); empty where that is today's batch, or not known


@dataclass(frozen=True, kw_only=True)
class Premix:
    """A pigment let down until its dose can be weighed."""

    name: str
    pigment: str
    part: str  # of the base, that it is let down in
    whole: int  # parts of premix that hold one part of pigment [-]
    steps: tuple[Letdown, ...]  # one or two; none where what is kept does as it is
    used_g: float = 0.0  # of it, into the batch [g]
    # within which the pigment's dose falls 95 times in 100, all weighings together [% of the dose]
    dose_error_percent: float = math.inf
    kept: Kept | None = None  # what is used, or let down further, of an earlier one

    @property
    def strength(self) -> str:
        """Pigment to base, by mass."""
        return f"1:{self.whole - 1}"

    @property
    def made_g(self) -> float:
        """What the last step gives; without a step what is kept [g]."""
        return self.steps[-1].made_g if self.steps else self.kept.grams if self.kept else 0.0

    @property
    def left_g(self) -> float:
        """What the batch leaves of it [g]."""
        return whole(self.made_g - self.used_g)

    @property
    def kept_left_g(self) -> float:
        """What the batch leaves of the kept one that it uses; 0 where it uses none [g]."""
        return whole(self.kept.grams - (self.steps[0].grams if self.steps else self.used_g)) if self.kept else 0.0

    @property
    def pigment_g(self) -> float:
        """Pigment in what goes into the batch [g]."""
        return self.used_g / self.whole

    @property
    def base_g(self) -> float:
        """Base in what goes into the batch: it counts as part of its part [g]."""
        return self.used_g - self.pigment_g

    def leftovers(self, base: str) -> tuple[Kept, ...]:
        """What the batch leaves, of every step, weaker ones last; `base` is that whose part it was let down in."""
        lot, made_on = (self.kept.lot, self.kept.made_on) if self.kept else (self.steps[0].lot, "")
        stages = [(self.kept.name, self.kept.whole, self.kept.grams)] if self.kept else []
        strength = self.kept.whole if self.kept else 1
        for step in self.steps:
            strength = round(strength * step.made_g / step.grams)
            stages.append((step.makes, strength, step.made_g))
        taken = [step.grams for step in self.steps[0 if self.kept else 1 :]] + [self.used_g]
        return tuple(
            Kept(
                name=name, pigment=self.pigment, base=base, part=self.part, whole=parts, grams=whole(made - used),
                lot=lot, made_on=made_on,
            )
            for (name, parts, made), used in zip(stages, taken, strict=True)
            if made - used > _NOTHING_G
        )  # fmt: skip


def premixes(
    doses: Mapping[str, float], *, scale: Scale, part: str, base_g: float, lots: Mapping[str, str | None],
    kept: Sequence[Kept] = (),
) -> dict[str, Premix]:  # fmt: skip
    """A premix by pigment for each dose [g] that the scale cannot weigh well, as far as the part has base for them.

    `base_g` is what the batch holds of the part. What is `kept` of earlier ones in it, the oldest first, is used before
    any is made. A dose that is too small and missing in what is returned needs a larger batch.
    """
    room = base_g - scale.smallest_g  # what is left of the part must be weighed well too
    made: dict[str, Premix] = {}
    for pigment, dose in doses.items():
        if not 0.0 < dose < scale.least_g:
            continue
        lot = lots.get(pigment) or ""
        able = [wholes for wholes in _ways(dose, scale) if (math.prod(wholes) - 1) * dose <= room]
        sized = [_sized(pigment, wholes, dose, scale=scale, part=part, lot=lot) for wholes in able]
        mine = [each for each in kept if each.pigment == pigment and lot in ("", each.lot)]
        sized += [found for each in mine if (found := _of_kept(each, dose, scale)) and found.base_g <= room]
        if sized:
            made[pigment] = min(sized, key=_burden)
            room -= (made[pigment].whole - 1) * dose
    return made


def _ways(dose: float, scale: Scale) -> list[tuple[int, ...]]:
    """Strengths, in one step or two, by which a dose becomes large enough to be weighed; no weaker than it takes."""
    least = max(scale.smallest_g * (1.0 - 1e-9) / dose, _STRONGEST)
    if least > WEAKEST:
        return []
    once: list[tuple[int, ...]] = [(min(one for one in WHOLES if one >= least),)] if least <= WHOLES[-1] else []
    twice: list[tuple[int, ...]] = [
        (first, next(two for two in WHOLES if first * two >= least)) for first in WHOLES if first * WHOLES[-1] >= least
    ]
    return once + twice


def _burden(premix: Premix) -> tuple[float, int]:
    """What a premix takes of base, a second step counted as some more [g]; then how weak it is."""
    base_g = sum(step.base_g for step in premix.steps) + _ONCE_MORE_G * max(len(premix.steps) - 1, 0)
    return round(base_g, 6), premix.whole


def _of_kept(kept: Kept, dose: float, scale: Scale) -> Premix | None:
    """A dose from what is kept, as it is or let down once more; None where there is too little or it is too weak."""
    least = scale.smallest_g * (1.0 - 1e-9) / dose
    if kept.whole >= least:
        steps: tuple[Letdown, ...] = ()
        name, parts, needed = premix_name(kept.pigment, kept.whole), kept.whole, dose * kept.whole
    else:
        once = next((one for one in WHOLES if kept.whole * one >= least), None)
        if once is None or kept.whole * once > WEAKEST:
            return None
        parts = kept.whole * once
        name = premix_name(kept.pigment, parts)
        needed = round_up(max(scale.smallest_g, dose * parts * SPARE / once), scale)
        base_g = whole(needed * (once - 1))
        steps = (Letdown(makes=name, what=kept.name, part=kept.part, grams=needed, base_g=base_g),)
    if needed > kept.grams:
        return None
    made = Premix(name=name, pigment=kept.pigment, part=kept.part, whole=parts, steps=steps, kept=kept)
    return weighed_out(made, dose * parts, scale)


def weighed_out(premix: Premix, used_g: float, scale: Scale) -> Premix:
    """The same premix, with what is really weighed into the batch."""
    weights = [*(step.grams for step in premix.steps), used_g]
    # How well a kept one was weighed is not known any more: as well as the scale is asked to.
    earlier = [scale.tolerance_percent] if premix.kept else []
    off = math.hypot(*map(scale.error_percent, weights), *earlier)
    return replace(premix, used_g=used_g, dose_error_percent=off)


def _sized(pigment: str, wholes: tuple[int, ...], dose: float, *, scale: Scale, part: str, lot: str) -> Premix:
    """As much as the batch takes, with something to spare, and nothing in it too small to be weighed."""
    parts, steps = math.prod(wholes), list[Letdown]()
    needed = dose * parts
    for at in reversed(range(len(wholes))):
        needed = round_up(max(scale.smallest_g, needed * SPARE / wholes[at]), scale)
        what, own = (premix_name(pigment, math.prod(wholes[:at])), "") if at else (pigment, lot)
        makes, base_g = premix_name(pigment, math.prod(wholes[: at + 1])), whole(needed * (wholes[at] - 1))
        steps.insert(0, Letdown(makes=makes, what=what, part=part, grams=needed, base_g=base_g, lot=own))
    made = Premix(name=steps[-1].makes, pigment=pigment, part=part, whole=parts, steps=tuple(steps))
    return weighed_out(made, dose * parts, scale)


def premix_name(pigment: str, parts: int) -> str:
    """What a premix is called: the pigment, and its strength as pigment to base."""
    return f"{pigment} premix 1:{parts - 1}"


def round_up(grams: float, scale: Scale) -> float:
    """The next weight of two digits that the scale can show."""
    unit = 10.0 ** (math.floor(math.log10(grams)) + 1 - _DIGITS)
    return scale.at_least(whole(math.ceil(grams / unit - _ALMOST) * unit))
