"""How much mix is needed: grams, cm3, or a part's volume times a count, with sprue, cup loss and a margin."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from tint.errors import InputError
from tint.materials import Base, Blend, Pigment


@dataclass(frozen=True, kw_only=True)
class Batch:
    """What is to be poured, named in one of three ways: grams, cm3, or the volume of a part.

    Parameters
    ----------
    batch_g, batch_cm3 : float
        What the moulds hold in all [g] or [cm3].
    part_cm3 : float
        Volume of one part [cm3], with `count` parts.
    moulds : int, optional
        How many moulds are poured; one to a part when that is how the batch is named, else not known.
    sprue_cm3 : float
        What stays in sprue and flash of each mould [cm3].
    cup_loss_g : float
        What stays in each cup [g].
    waste_percent : float
        A margin on what is poured [%].

    Raises
    ------
    InputError
        If the batch is not named once, or a quantity makes no sense.
    """

    batch_g: float | None = None
    batch_cm3: float | None = None
    part_cm3: float | None = None
    count: int = 1
    moulds: int | None = None
    sprue_cm3: float = 0.0
    cup_loss_g: float = 0.0
    waste_percent: float = 10.0

    def __post_init__(self) -> None:
        given = [size for size in (self.batch_g, self.batch_cm3, self.part_cm3) if size is not None]
        if len(given) != 1:
            found = "given twice" if given else "not given"
            raise InputError("batch", found, "grams, cm3 or the volume of a part, one of them")
        if not given[0] > 0.0 or not math.isfinite(given[0]):
            raise InputError("batch", f"{given[0]:g} {'cm3' if self.batch_g is None else 'g'}", "more than 0")
        if self.count < 1 or (self.moulds is not None and self.moulds < 1):
            raise InputError("batch", "a count below 1", "at least one part and one mould")
        if self.count != 1 and self.part_cm3 is None:
            raise InputError("count", f"{self.count} parts of unknown volume", mend="give the volume of a part too")
        if not 0.0 <= self.waste_percent <= 200.0:
            raise InputError("waste", f"{self.waste_percent:g} %", "0 to 200 % of the batch")
        for name, value, unit in (("sprue", self.sprue_cm3, "cm3"), ("cup loss", self.cup_loss_g, "g")):
            if not 0.0 <= value <= 1e6:
                raise InputError(name, f"{value:g} {unit}", f"0 {unit} or more")

    @property
    def pours(self) -> int | None:
        """How many moulds are poured; None when that is not told."""
        if self.moulds is None and self.part_cm3 is not None:
            return self.count
        return self.moulds

    def poured_g(self, density: float) -> float:
        """What goes into the moulds, sprue and margin included, cup loss not [g].

        Parameters
        ----------
        density : float
            Of the mix [g/cm3].

        Raises
        ------
        InputError
            If that is more than a tonne.
        """
        volume = self.part_cm3 * self.count if self.part_cm3 is not None else self.batch_cm3
        net = self.batch_g if volume is None else volume * density
        assert net is not None  # one of the three is given
        grams = (net + self.sprue_cm3 * (self.pours or 1) * density) * (1.0 + self.waste_percent / 100.0)
        if grams > 1e6:
            raise InputError("batch", f"{grams:g} g", "more than 0 and at most a tonne")
        return grams


def mix_density(base: Base, pigments: Mapping[str, Pigment], blend: Blend) -> float:
    """Density of the finished mix, volumes adding up; a pigment of unknown density counts as base [g/cm3]."""
    densities = {name: pigments[name].density or base.density for name in blend.loadings}
    rest = 100.0 - blend.total
    return 100.0 / (rest / base.density + sum(x / densities[name] for name, x in blend.loadings.items()))
