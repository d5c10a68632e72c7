"""A blend at every wall of a part: what each shows, the worst first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tint import colorimetry
from tint.appearance import Appearance, predict
from tint.opacity import FAIR
from tint.palette import Palette
from tint.target import Target


@dataclass(frozen=True, kw_only=True, eq=False)
class Wall:
    """One wall of a part.

    Parameters
    ----------
    appearance : Appearance
        Of the part there; its setting tells the thickness.
    delta_e : float
        CIEDE2000 to the target; NaN without one [-].
    opacity_miss : float
        Of the contrast ratio asked for, signed; 0 where it is met or none is asked for [-].
    reached : bool
        Whether colour and contrast ratio are met there, as far as they are asked for.
    """

    appearance: Appearance
    delta_e: float
    opacity_miss: float
    reached: bool

    @property
    def words(self) -> str:
        """The same as a clause."""
        ratio = self.appearance.contrast_ratio
        told = [f"{self.delta_e:.2f} away"] if np.isfinite(self.delta_e) else []
        told += [f"contrast ratio {ratio:.3f}"] if np.isfinite(ratio) else []
        short = "" if self.reached else "; not met"
        return f"at {self.appearance.setting.thickness_mm:g} mm {', '.join(told)}{short}"


def at_walls(
    palette: Palette, target: Target | None, look: Appearance, *, walls_mm: Sequence[float]
) -> tuple[Wall, ...]:
    """A blend at the wall it was predicted for and at further ones, the worst first; empty for a part of one wall.

    Parameters
    ----------
    target : Target or None
        What every wall is judged by; without one the most see-through wall is the worst.
    look : Appearance
        At the wall of its setting.
    walls_mm : sequence of float
        Further walls [mm].
    """
    setting = look.setting
    more = sorted({float(wall) for wall in walls_mm} - {setting.thickness_mm})
    if not more or (target is not None and target.thickness_mm is not None):
        return ()
    looks = [look, *(predict(palette, look.blend, setting=replace(setting, thickness_mm=wall)) for wall in more)]
    return tuple(sorted((_wall(target, each) for each in looks), key=_how_bad, reverse=True))


def _wall(target: Target | None, look: Appearance) -> Wall:
    if target is None:
        return Wall(appearance=look, delta_e=np.nan, opacity_miss=0.0, reached=True)
    delta_e = float(colorimetry.difference(target.lab, look.lab))
    asked = target.asks_opacity and bool(np.isfinite(look.contrast_ratio))
    miss = float(target.opacity_miss(look.contrast_ratio)) if asked else 0.0
    reached = bool(target.met(delta_e, contrast_ratio=look.contrast_ratio))
    return Wall(appearance=look, delta_e=delta_e, opacity_miss=miss, reached=reached)


def _how_bad(wall: Wall) -> tuple[float, float]:
    """Colour and opacity together; of equals the more see-through one."""
    missed = float(np.hypot(np.nan_to_num(wall.delta_e), wall.opacity_miss / FAIR))
    return round(missed, 3), -wall.appearance.contrast_ratio
