"""What a scale weighs well; and premixes, a pigment let down in base so that a dose too small for it can be weighed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from tint.errors import InputError

STEP_G = 0.01  # g: a workshop scale's smallest step; common practice, no source
TOLERANCE_PERCENT = 1.0  # of a dose; common practice, no source
_ALMOST = 1e-6  # of a step: floating-point numbers so near a whole step are that step
# Two readings, empty and loaded, each off by up to half a step: sqrt(2 / 12) of a step, rounded up.
_ROUNDING_ALONE = 0.41


@dataclass(frozen=True, kw_only=True)
class Scale:
    """What a dose is weighed on.

    Parameters
    ----------
    step_g : float
        Its smallest step [g].
    sd_g : float, optional
        Standard deviation when one thing is weighed again and again [g]; as good as the step allows when not known.
    tolerance_percent : float
        By which a dose may be off [% of the dose].
    max_g : float, optional
        The most that it carries [g].

    Raises
    ------
    InputError
        If a quantity makes no sense.

    Notes
    -----
    The smallest weighing is ``2 sd / tolerance``, sd not taken below 0.41 steps: the rule of the United States
    Pharmacopeia, general chapter 41 on balances, there with a tolerance of 0.10 % (from memory).
    """

    step_g: float = STEP_G
    sd_g: float | None = None
    tolerance_percent: float = TOLERANCE_PERCENT
    max_g: float | None = None

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

    def at_least(self, grams: float) -> float:
        """The next weight up that the scale can show [g]."""
        return whole(math.ceil(grams / self.step_g - _ALMOST) * self.step_g)

    def at_most(self, grams: float) -> float:
        """The next weight down that the scale can show [g]."""
        return whole(math.floor(grams / self.step_g + _ALMOST) * self.step_g)


def whole(grams: float) -> float:
    """A multiple of a step, without what is left over from multiplying [g]."""
    return round(grams, 10)


# Premixes.


# Parts of the whole to one part of what goes in, in one step; the whole of two steps is their product. Whole numbers
# that a scale makes easily: common practice, no source.
_WHOLES = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50)
_STRONGEST, _WEAKEST = 2, 1000
_ONCE_MORE_G = 20.0  # of base that a second step must save, for the work that it makes; common practice, no source
# What is weighed out is a round number [of a decade], so that the sheet reads easily and comes out even; no source.
_ROUND = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
_SPARE = 1.1  # a tenth more than is needed, for what sticks to its cup; common practice, no source


@dataclass(frozen=True, kw_only=True)
class Letdown:
    """One step of a premix: so much of something into so much base.

    Parameters
    ----------
    makes : str
        What it gives.
    what : str
        A pigment, or the step before.
    part : str
        The part of the base that it goes into.
    grams, base_g : float
        Of the two [g].
    lot : str
        Of the pigment, where that is what goes in and its lot is known.
    """

    makes: str
    what: str
    part: str
    grams: float
    base_g: float
    lot: str = ""

    @property
    def made_g(self) -> float:
        """What it gives [g]."""
        return whole(self.grams + self.base_g)


@dataclass(frozen=True, kw_only=True)
class Premix:
    """A pigment let down until its dose can be weighed.

    Parameters
    ----------
    name, pigment, part : str
        What it is called, what is in it, and which part of the base it is let down in.
    whole : int
        Parts of premix that hold one part of pigment [-].
    steps : tuple of Letdown
        One or two.
    used_g : float
        Of it, into the batch [g].
    dose_error_percent : float
        Within which the pigment's dose falls 95 times in 100, all weighings together [% of the dose].
    """

    name: str
    pigment: str
    part: str
    whole: int
    steps: tuple[Letdown, ...]
    used_g: float
    dose_error_percent: float

    @property
    def strength(self) -> str:
        """Pigment to base, by mass."""
        return f"1:{self.whole - 1}"

    @property
    def made_g(self) -> float:
        """What the last step gives [g]."""
        return self.steps[-1].made_g

    @property
    def left_g(self) -> float:
        """What the batch leaves of it [g]."""
        return whole(self.made_g - self.used_g)

    @property
    def pigment_g(self) -> float:
        """Pigment in what goes into the batch [g]."""
        return self.used_g / self.whole

    @property
    def base_g(self) -> float:
        """Base in what goes into the batch: it counts as part of its part [g]."""
        return self.used_g - self.pigment_g


def premixes(
    doses: Mapping[str, float], *, scale: Scale, part: str, base_g: float, lots: Mapping[str, str | None]
) -> dict[str, Premix]:
    """A premix for each dose that the scale cannot weigh well, as far as the part has base for them.

    Parameters
    ----------
    doses : mapping of str to float
        Pigments, and what the batch takes of each [g].
    scale : Scale
    part : str
        The part that takes the pigment.
    base_g : float
        What the batch holds of it [g].
    lots : mapping of str to str or None
        Of the pigments.

    Returns
    -------
    dict of str to Premix
        By pigment. A dose that is missing here though it is too small needs a larger batch.
    """
    room = base_g - scale.smallest_g  # what is left of the part must be weighed well too
    made: dict[str, Premix] = {}
    for pigment, dose in doses.items():
        if not 0.0 < dose < scale.least_g:
            continue
        lot = lots.get(pigment) or ""
        able = [wholes for wholes in _ways(dose, scale) if (math.prod(wholes) - 1) * dose <= room]
        if not able:
            continue
        sized = [_sized(pigment, wholes, dose, scale=scale, part=part, lot=lot) for wholes in able]
        made[pigment] = min(sized, key=_burden)
        room -= (made[pigment].whole - 1) * dose
    return made


def _ways(dose: float, scale: Scale) -> list[tuple[int, ...]]:
    """Strengths, in one step or two, by which a dose becomes large enough to be weighed; no weaker than it takes."""
    least = max(scale.smallest_g * (1.0 - 1e-9) / dose, _STRONGEST)
    if least > _WEAKEST:
        return []
    once: list[tuple[int, ...]] = [(min(one for one in _WHOLES if one >= least),)] if least <= _WHOLES[-1] else []
    twice: list[tuple[int, ...]] = [
        (first, next(two for two in _WHOLES if first * two >= least))
        for first in _WHOLES
        if first * _WHOLES[-1] >= least
    ]
    return once + twice


def _burden(premix: Premix) -> tuple[float, int]:
    """What a premix takes of base, a second step counted as some more [g]; then how weak it is."""
    base_g = sum(step.base_g for step in premix.steps) + _ONCE_MORE_G * (len(premix.steps) - 1)
    return round(base_g, 6), premix.whole


def weighed_out(premix: Premix, used_g: float, scale: Scale) -> Premix:
    """The same premix, with what is really weighed into the batch."""
    weights = [*(step.grams for step in premix.steps), used_g]
    return replace(premix, used_g=used_g, dose_error_percent=math.hypot(*map(scale.error_percent, weights)))


def _sized(pigment: str, wholes: tuple[int, ...], dose: float, *, scale: Scale, part: str, lot: str) -> Premix:
    """As much as the batch takes, with something to spare, and nothing in it too small to be weighed."""
    parts = math.prod(wholes)
    used_g = dose * parts
    taken: list[float] = []
    needed = used_g
    for one in reversed(wholes):
        taken.insert(0, _round_up(max(scale.smallest_g, needed * _SPARE / one), scale))
        needed = taken[0]
    steps: list[Letdown] = []
    for at, (one, grams) in enumerate(zip(wholes, taken, strict=True)):
        what = steps[-1].makes if steps else pigment
        makes = premix_name(pigment, math.prod(wholes[: at + 1]))
        base_g = whole(grams * (one - 1))
        steps.append(Letdown(makes=makes, what=what, part=part, grams=grams, base_g=base_g, lot="" if at else lot))
    name = premix_name(pigment, parts)
    empty = Premix(
        name=name, pigment=pigment, part=part, whole=parts, steps=tuple(steps), used_g=0.0, dose_error_percent=math.inf
    )
    return weighed_out(empty, used_g, scale)


def premix_name(pigment: str, parts: int) -> str:
    """What a premix is called: the pigment, and its strength as pigment to base."""
    return f"{pigment} premix 1:{parts - 1}"


def _round_up(grams: float, scale: Scale) -> float:
    """The next round number of grams that the scale can show."""
    decade = 10.0 ** math.floor(math.log10(grams))
    return scale.at_least(next(each * decade for each in _ROUND if each * decade >= grams * (1.0 - _ALMOST)))
