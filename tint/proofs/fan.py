"""A fan as a page for a browser and a printer: a chip for every colour, by hue and lightness."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tint.proofs.leaf import rendered

# Chosen by eye: a chroma below which nobody names a hue, and what the hues of CIELAB are called, by 45 degrees.
_NEUTRAL = 8.0  # C*ab [-]
_HUES = ("rose and red", "orange and brown", "yellow", "green", "turquoise", "sky blue", "blue", "violet and purple")
_SECTOR = 45.0  # degrees


@dataclass(frozen=True, kw_only=True)
class Chip:
    """A colour of a fan.

    Parameters
    ----------
    number : int
        Of its recipe.
    lab : tuple of float
        CIELAB that was asked for [-].
    wanted, had : str
        What was asked for and what the recipe gives, as `#rrggbb`; the second is empty where there is no recipe.
    reached : bool
    delta_e : float, optional
        Between the two, as the recipe tells it [CIEDE2000].
    contrast_ratio : float, optional
        Of the recipe [-].
    reason : str
        Why it is not reached.
    """

    number: int
    name: str
    lab: tuple[float, float, float]
    wanted: str
    had: str
    reached: bool
    delta_e: float | None
    contrast_ratio: float | None
    reason: str


def in_groups(chips: Sequence[Chip]) -> list[tuple[str, list[Chip]]]:
    """Chips by hue, the neutral ones first; in each group from light to dark, and of one lightness by chroma."""
    groups: dict[str, list[Chip]] = {name: [] for name in ("neutral", *_HUES)}
    for chip in sorted(chips, key=lambda each: (-round(each.lab[0]), _chroma(each), each.number)):
        groups["neutral" if _chroma(chip) < _NEUTRAL else _hue(chip)].append(chip)
    return [(name, held) for name, held in groups.items() if held]


def _chroma(chip: Chip) -> float:
    return math.hypot(chip.lab[1], chip.lab[2])


def _hue(chip: Chip) -> str:
    angle = math.degrees(math.atan2(chip.lab[2], chip.lab[1]))
    return _HUES[int((angle + 0.5 * _SECTOR) % 360.0 // _SECTOR)]


def chips_page(chips: Sequence[Chip], *, title: str, light: str, lost: Sequence[str] = ()) -> bytes:
    """The fan as HTML, self-contained.

    Parameters
    ----------
    chips : sequence of Chip
        In any order.
    title : str
        The workshop.
    light : str
        That the colours hold for.
    lost : sequence of str
        Targets that told no colour, with their reasons.

    Raises
    ------
    InputError
        If what draws it is not installed.
    """
    reached = sum(chip.reached for chip in chips)
    return rendered(
        "fan.html.j2", groups=in_groups(chips), title=title, light=light, lost=list(lost), count=len(chips),
        reached=reached,
    )  # fmt: skip
