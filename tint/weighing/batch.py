"""How much mix is needed, with sprue, cup loss and a margin; and into how many equal cups it is split."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from tint.errors import InputError, JobError
from tint.materials import Base, Blend, Pigment, Workshop

WASTE_PERCENT = 10.0  # of the batch, for what stays in cups and on tools; common practice, no source
HEADROOM = 4.0  # brim of a cup to its mix, which swells under vacuum; 3 to 5 is common practice, no source
_LARGEST = 1e6  # g or cm3: a tonne, a cubic metre; what is more is a slip of the pen
_LONGEST_MIN = 1e5  # minutes, ten weeks; what is more is a slip of the pen
_ROUNDING = 1e-9  # of floating-point numbers: a quotient so near a whole number is that number


def waste_of(workshop: Workshop) -> float:
    """The margin on what is poured, where nothing else is told [%]."""
    return WASTE_PERCENT if workshop.waste_percent is None else workshop.waste_percent


@dataclass(frozen=True, kw_only=True)
class Batch:
    """What is to be poured, named in one of three ways: grams, cm3, or the volume of a part.

    InputError if it is not named once, or a quantity makes no sense.
    """

    # batch_g, batch_cm3: what the moulds hold in all [g] or [cm3]
    batch_g: float | None = None
    batch_cm3: float | None = None
    part_cm3: float | None = None  # volume of one part [cm3], with `count` parts
    count: int = 1
    # how many moulds are poured; one to a part when that is how the batch is named, else not known
    moulds: int | None = None
    sprue_cm3: float = 0.0  # what stays in sprue and flash of each mould [cm3]
    cup_loss_g: float = 0.0  # what stays in each cup [g]
    waste_percent: float = WASTE_PERCENT  # a margin on what is poured [%]

    def __post_init__(self) -> None:
        given = [size for size in (self.batch_g, self.batch_cm3, self.part_cm3) if size is not None]
        if len(given) != 1:
            found = "given twice" if given else "not given"
            raise InputError("batch", found, "grams, cm3 or the volume of a part", "as in --batch-g 120")
        if not given[0] > 0.0 or not math.isfinite(given[0]):
            raise InputError("batch", f"{given[0]:g} {'cm3' if self.batch_g is None else 'g'}", "more than 0")
        if self.count < 1 or (self.moulds is not None and self.moulds < 1):
            raise InputError("batch", "a count below 1", "at least one part and one mould")
        if self.count != 1 and self.part_cm3 is None:
            raise InputError("count", f"{self.count} parts of unknown volume", mend="give the volume of a part too")
        if not 0.0 <= self.waste_percent <= 200.0:
            raise InputError("waste", f"{self.waste_percent:g} %", "0 to 200 % of the batch")
        for name, value, unit in (("sprue", self.sprue_cm3, "cm3"), ("cup loss", self.cup_loss_g, "g")):
            if not 0.0 <= value <= _LARGEST:
                raise InputError(name, f"{value:g} {unit}", f"0 {unit} or more")

    @property
    def pours(self) -> int | None:
        """How many moulds are poured; None when that is not told."""
        if self.moulds is None and self.part_cm3 is not None:
            return self.count
        return self.moulds

    def poured_g(self, density: float) -> float:
        """What goes into the moulds, sprue and margin included, cup loss not [g]; InputError if more than a tonne.

        `density`: of the mix [g/cm3].
        """
        volume = self.part_cm3 * self.count if self.part_cm3 is not None else self.batch_cm3
        net = self.batch_g if volume is None else volume * density
        assert net is not None  # one of the three is given
        grams = (net + self.sprue_cm3 * (self.pours or 1) * density) * (1.0 + self.waste_percent / 100.0)
        if grams > _LARGEST:
            raise InputError("batch", f"{grams:g} g", "more than 0 and at most a tonne")
        return grams


def mix_density(base: Base, pigments: Mapping[str, Pigment], blend: Blend) -> float:
    """Density of the finished mix, volumes adding up; a pigment of unknown density counts as base [g/cm3]."""
    densities = {name: pigments[name].density or base.density for name in blend.loadings}
    rest = 100.0 - blend.total
    return 100.0 / (rest / base.density + sum(x / densities[name] for name, x in blend.loadings.items()))


# Equal cups, as many as headroom under vacuum and pot life make necessary.


@dataclass(frozen=True, kw_only=True)
class Split:
    """What a cup must keep to; InputError if a quantity makes no sense."""

    cup_cm3: float | None = None  # the largest cup, to its brim [cm3]
    headroom: float = HEADROOM  # how many times the mix's volume a cup must hold, since mix swells under vacuum [-]
    pot_life_min: float | None = None  # from the first touch of the parts until the mix no longer pours well [min]
    minutes_to_mix: float = 0.0  # of it, what mixing and degassing take [min]
    minutes_per_mould: float | None = None  # what pouring a mould takes [min]

    def __post_init__(self) -> None:
        if self.cup_cm3 is not None and not 0.0 < self.cup_cm3 <= _LARGEST:
            raise InputError("cup", f"{self.cup_cm3:g} cm3", "more than 0 and at most a cubic metre")
        if not 1.0 <= self.headroom <= 10.0:
            raise InputError("headroom", f"{self.headroom:g} times", "1 to 10 times the mix; 3 to 5 is usual")
        if (self.pot_life_min is None) != (self.minutes_per_mould is None):
            raise InputError("pot life", "only one of pot life and minutes a mould is given", "both, or neither")
        for name, value in (("pot life", self.pot_life_min), ("minutes a mould", self.minutes_per_mould)):
            if value is not None and not 0.0 < value <= _LONGEST_MIN:
                raise InputError(name, f"{value:g} min", "more than 0")
        if not 0.0 <= self.minutes_to_mix <= _LONGEST_MIN:
            raise InputError("minutes to mix", f"{self.minutes_to_mix:g} min", "0 or more")

    @property
    def moulds_in_time(self) -> float:
        """How many moulds one cup pours before its pot life ends [-]."""
        if self.pot_life_min is None or self.minutes_per_mould is None:
            return math.inf
        moulds = math.floor((self.pot_life_min - self.minutes_to_mix) / self.minutes_per_mould + _ROUNDING)
        if moulds < 1:
            found = f"{self.pot_life_min:g} min are over before the first mould is full"
            raise JobError("pot life", found, mend="take a slower base, cool it, or pour faster")
        return moulds

    def minutes(self, moulds: int | None) -> float | None:
        """From the first touch of the parts to the end of pouring so many moulds; None when that is not told [min]."""
        if self.minutes_per_mould is None or moulds is None:
            return None
        return self.minutes_to_mix + moulds * self.minutes_per_mould


@dataclass(frozen=True, kw_only=True)
class Plan:
    """How a batch is split, before anything is weighed."""

    count: int
    moulds_each: int | None  # moulds that a cup fills; None when moulds are not counted
    cups_each: int  # cups that a mould takes [-]
    total_g: float  # in all cups, with what stays in them [g]


@dataclass(frozen=True, kw_only=True)
class Cups:
    """The cups of a sheet, one like the other."""

    count: int  # how many
    grams: float  # mix in each, as weighed [g]
    volume_cm3: float  # of that mix [cm3]
    tinted_g: float  # of the part that holds all pigment, into each [g]
    rest_g: Mapping[str, float]  # of the other parts, into each [g]
    mix_error_percent: float  # how far a cup is from the base's mixing ratio: the largest relative error of a part [%]
    moulds_each: int | None  # moulds that a cup fills; None when moulds are not counted
    cups_each: int  # cups that a mould takes, poured one straight after the other [-]
    minutes: float | None  # from the first touch of the parts to the end of pouring [min]
    least_cup_cm3: float  # what a cup must hold to its brim, with headroom [cm3]


def plan(batch: Batch, split: Split, *, density: float) -> Plan:
    """The fewest equal cups that keep to the rules; of so few, or up to twice as many, those that take least mix.

    A cup fills whole moulds, as many as every other cup; where they do not come out even, mix for the odd ones is made
    too. A mould that is larger than a cup takes several. `density` is that of the mix [g/cm3]. InputError if a cup
    cannot hold even its own loss, or pot life is told but not the number of moulds; JobError if pot life ends before
    one mould is poured.
    """
    poured, moulds, loss = batch.poured_g(density), batch.pours, batch.cup_loss_g
    room = math.inf if split.cup_cm3 is None else split.cup_cm3 / split.headroom * density - loss
    if room <= 0.0:
        raise InputError("cup", f"{split.cup_cm3:g} cm3 holds no more than what stays in it", mend="take a larger cup")
    in_time = split.moulds_in_time
    if moulds is None:
        if math.isfinite(in_time):
            raise InputError("pot life", "the number of moulds is not told", mend="give the moulds too")
        count = _needed(poured / room)
        return Plan(count=count, moulds_each=None, cups_each=1, total_g=poured + count * loss)
    mould = poured / moulds
    if mould > room:
        cups = _needed(mould / room)
        return Plan(count=moulds * cups, moulds_each=1, cups_each=cups, total_g=poured + moulds * cups * loss)
    most = min(in_time, math.floor(room / mould + _ROUNDING) if math.isfinite(room) else moulds)
    least = _needed(moulds / most)

    def total(count: int) -> float:
        return count * (math.ceil(moulds / count) * mould + loss)

    count = min(range(least, min(2 * least, moulds) + 1), key=lambda count: (round(total(count), 6), count))
    return Plan(count=count, moulds_each=math.ceil(moulds / count), cups_each=1, total_g=total(count))


def _needed(share: float) -> int:
    return max(1, math.ceil(share - _ROUNDING))
