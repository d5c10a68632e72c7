"""What a looser dose tolerance would save: the base that premixes take, and the colour that it costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tint import colorimetry
from tint.appearance import Setting
from tint.materials import Blend
from tint.palette import Palette
from tint.weighing.premix import Kept, Premix, Scale, premixes
from tint.weighing.rounding import looks

_TIMES = (1.5, 2.0, 3.0, 5.0)  # the tolerance; of these the tightest that saves enough is told; no source
_SAVES = 0.5  # of the base: less is not worth a worse dose
_WORTH_G = 10.0  # of base: so little is spent anyway; no source


@dataclass(frozen=True, kw_only=True)
class Looser:
    """A tolerance that would save at least half of the base spent on premixes.

    Parameters
    ----------
    tolerance_percent : float
        Of a dose [%].
    base_g, saved_g : float
        What premixes then take, and how much less that is [g].
    delta_e, now_delta_e : float
        Within which the colour comes for the doses' errors, 95 times in 100: then, and as it is [CIEDE2000].
    """

    tolerance_percent: float
    base_g: float
    saved_g: float
    delta_e: float
    now_delta_e: float

    @property
    def words(self) -> str:
        """The same as a sentence."""
        return (
            f"A dose tolerance of {self.tolerance_percent:g} % would take {self.base_g:.3g} g of base for premixes, "
            f"{self.saved_g:.3g} g less; errors of the doses would then move the colour by up to {self.delta_e:.2f} "
            f"CIEDE2000 in place of {self.now_delta_e:.2f} (95 of 100)."
        )


def spent_g(made: Mapping[str, Premix]) -> float:
    """The base that goes into premixes, what is left over included [g]."""
    return sum(step.base_g for each in made.values() for step in each.steps)


def looser(
    palette: Palette, blend: Blend, doses: Mapping[str, float], made: Mapping[str, Premix], *, setting: Setting,
    scale: Scale, part: str, base_g: float, lots: Mapping[str, str | None], kept: Sequence[Kept] = (),
) -> Looser | None:  # fmt: skip
    """The tightest tolerance that saves half of the base spent on premixes; None where none does, or little is spent.

    Parameters
    ----------
    doses : mapping of str to float
        Pigments, and what the batch takes of each [g].
    made : mapping of str to Premix
        The premixes as they are.
    base_g : float
        What the batch holds of the part [g].
    """
    spent = spent_g(made)
    if spent < _WORTH_G:
        return None
    for times in _TIMES:
        coarse = replace(scale, tolerance_percent=min(times * scale.tolerance_percent, 50.0))
        then = premixes(doses, scale=coarse, part=part, base_g=base_g, lots=lots, kept=kept)
        if spent_g(then) <= (1.0 - _SAVES) * spent:
            return Looser(
                tolerance_percent=coarse.tolerance_percent,
                base_g=spent_g(then),
                saved_g=spent - spent_g(then),
                delta_e=_moved(palette, blend, doses, then, scale, setting),
                now_delta_e=_moved(palette, blend, doses, made, scale, setting),
            )
    return None


def _moved(
    palette: Palette, blend: Blend, doses: Mapping[str, float], made: Mapping[str, Premix], scale: Scale,
    setting: Setting,
) -> float:  # fmt: skip
    """The colour moved by errors of all doses, root sum of squares [CIEDE2000]."""
    exact, names = palette.loadings(blend), list(palette.pigments)
    rows = [exact]
    for name, grams in doses.items():
        error = made[name].dose_error_percent if name in made else scale.error_percent(grams)
        row = exact.copy()
        row[names.index(name)] *= 1.0 + min(error, 100.0) / 100.0
        rows.append(row)
    labs, _ = looks(palette, blend.base, np.array(rows), setting=setting)
    return float(np.sqrt(np.sum(colorimetry.difference(labs[0], labs[1:]) ** 2)))
