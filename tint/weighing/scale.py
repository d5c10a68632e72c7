"""A scale: its step, how well it repeats, and the least that it weighs well enough."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

from tint.errors import InputError

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

    Raises
    ------
    InputError
        If a quantity makes no sense.

    Notes
    -----
    The smallest weighing is ``2 sd / tolerance``, sd not taken below 0.41 steps: the rule of the United States
    Pharmacopeia, general chapter 41 on balances, there with a tolerance of 0.10 % (from memory).
    """

    step_g: float = 0.01
    sd_g: float | None = None
    tolerance_percent: float = 1.0

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
        return whole(math.ceil(grams / self.step_g - 1e-6) * self.step_g)

    def at_most(self, grams: float) -> float:
        """The next weight down that the scale can show [g]."""
        return whole(math.floor(grams / self.step_g + 1e-6) * self.step_g)


def whole(grams: float) -> float:
    """A multiple of a step, without what is left over from multiplying [g]."""
    return round(grams, 10)
