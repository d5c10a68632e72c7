"""A batch in equal cups: as many as headroom under vacuum and pot life make necessary."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from tint.errors import InputError, JobError
from tint.weighing.batch import Batch


@dataclass(frozen=True, kw_only=True)
class Split:
    """What a cup must keep to.

    Parameters
    ----------
    cup_cm3 : float, optional
        The largest cup, to its brim [cm3].
    headroom : float
        How many times the mix's volume a cup must hold, since mix swells under vacuum [-]; 3 to 5 is usual (trade
        pages).
    pot_life_min : float, optional
        From the first touch of the parts until the mix no longer pours well [min].
    minutes_to_mix : float
        Of it, what mixing and degassing take [min].
    minutes_per_mould : float, optional
        What pouring a mould takes [min].

    Raises
    ------
    InputError
        If a quantity makes no sense.
    """

    cup_cm3: float | None = None
    headroom: float = 4.0
    pot_life_min: float | None = None
    minutes_to_mix: float = 0.0
    minutes_per_mould: float | None = None

    def __post_init__(self) -> None:
        if self.cup_cm3 is not None and not 0.0 < self.cup_cm3 <= 1e6:
            raise InputError("cup", f"{self.cup_cm3:g} cm3", "more than 0 and at most a cubic metre")
        if not 1.0 <= self.headroom <= 10.0:
            raise InputError("headroom", f"{self.headroom:g} times", "1 to 10 times the mix; 3 to 5 is usual")
        if (self.pot_life_min is None) != (self.minutes_per_mould is None):
            raise InputError("pot life", "only one of pot life and minutes a mould is given", "both, or neither")
        for name, value in (("pot life", self.pot_life_min), ("minutes a mould", self.minutes_per_mould)):
            if value is not None and not 0.0 < value <= 1e5:
                raise InputError(name, f"{value:g} min", "more than 0")
        if not 0.0 <= self.minutes_to_mix <= 1e5:
            raise InputError("minutes to mix", f"{self.minutes_to_mix:g} min", "0 or more")

    @property
    def moulds_in_time(self) -> float:
        """How many moulds one cup pours before its pot life ends [-]."""
        if self.pot_life_min is None or self.minutes_per_mould is None:
            return math.inf
        moulds = math.floor((self.pot_life_min - self.minutes_to_mix) / self.minutes_per_mould + 1e-9)
        if moulds < 1:
            found = f"{self.pot_life_min:g} min are over before the first mould is full"
            raise JobError("pot life", found, mend="take a slower base, cool it, or pour faster")
        return moulds


@dataclass(frozen=True, kw_only=True)
class Plan:
    """How a batch is split, before anything is weighed.

    Parameters
    ----------
    moulds_each : int or None
        Moulds that a cup fills; None when moulds are not counted.
    cups_each : int
        Cups that a mould takes [-].
    total_g : float
        In all cups, with what stays in them [g].
    """

    count: int
    moulds_each: int | None
    cups_each: int
    total_g: float


@dataclass(frozen=True, kw_only=True)
class Cups:
    """The cups of a sheet, one like the other.

    Parameters
    ----------
    count : int
        How many.
    grams : float
        Mix in each, as weighed [g].
    volume_cm3 : float
        Of that mix [cm3].
    tinted_g : float
        Of the part that holds all pigment, into each [g].
    rest_g : mapping of str to float
        Of the other parts, into each [g].
    mix_error_percent : float
        How far a cup is from the base's mixing ratio: the largest relative error of a part [%].
    moulds_each : int or None
        Moulds that a cup fills; None when moulds are not counted.
    cups_each : int
        Cups that a mould takes, poured one straight after the other [-].
    minutes : float or None
        From the first touch of the parts to the end of pouring [min].
    least_cup_cm3 : float
        What a cup must hold to its brim, with headroom [cm3].
    """

    count: int
    grams: float
    volume_cm3: float
    tinted_g: float
    rest_g: Mapping[str, float]
    mix_error_percent: float
    moulds_each: int | None
    cups_each: int
    minutes: float | None
    least_cup_cm3: float


def plan(batch: Batch, split: Split, *, density: float) -> Plan:
    """The fewest equal cups that keep to the rules; of so few, or up to twice as many, those that take least mix.

    Parameters
    ----------
    batch : Batch
    split : Split
    density : float
        Of the mix [g/cm3].

    Raises
    ------
    InputError
        If a cup cannot hold even its own loss, or pot life is told but not the number of moulds.
    JobError
        If pot life ends before one mould is poured.

    Notes
    -----
    A cup fills whole moulds, as many as every other cup; where they do not come out even, mix for the odd ones is made
    too. A mould that is larger than a cup takes several.
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
    most = min(in_time, math.floor(room / mould + 1e-9) if math.isfinite(room) else moulds)
    least = _needed(moulds / most)

    def total(count: int) -> float:
        return count * (math.ceil(moulds / count) * mould + loss)

    count = min(range(least, min(2 * least, moulds) + 1), key=lambda count: (round(total(count), 6), count))
    return Plan(count=count, moulds_each=math.ceil(moulds / count), cups_each=1, total_g=total(count))


def _needed(share: float) -> int:
    return max(1, math.ceil(share - 1e-9))


def minutes_of(split: Split, moulds_each: int | None) -> float | None:
    """From the first touch of the parts to the end of pouring a cup; None when that is not told [min]."""
    if split.minutes_per_mould is None or moulds_each is None:
        return None
    return split.minutes_to_mix + moulds_each * split.minutes_per_mould
