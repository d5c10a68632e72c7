"""Pages to print that need nothing but their tables: a casting plan with its labels, and a fan of colours.

A casting plan holds premixes, a cup for each casting, labels to stick on, where to read, and cautions. A fan holds a
chip for every colour, by hue and lightness.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tint.planning import First
from tint.proofs.leaf import rendered
from tint.weighing import CastingSheet, Cup, Scale

_LABELS = 2  # of each casting: one for the cup, one for the back of the casting
# Chosen by eye: a chroma below which nobody names a hue, and what the hues of CIELAB are called, by 45 degrees.
_NEUTRAL = 8.0  # C*ab [-]
_HUES = ("rose and red", "orange and brown", "yellow", "green", "turquoise", "sky blue", "blue", "violet and purple")
_SECTOR = 45.0  # degrees


def casting_page(
    castings: Sequence[First], sheet: CastingSheet, *, title: str, area_cm2: float, cards: Sequence[str], colours: bool,
    warnings: Sequence[str],
) -> bytes:  # fmt: skip
    """The plan as HTML, self-contained, for a printer.

    Parameters
    ----------
    castings : sequence of First
        As planned.
    sheet : CastingSheet
        Their grams, a cup each in the same order.
    title : str
        The workshop.
    area_cm2 : float
        Of a swatch [cm2].
    cards : sequence of str
        What they are read over.
    colours : bool
        Whether three numbers are read and no spectrum.
    warnings : sequence of str
        What to know before.

    Raises
    ------
    InputError
        If what draws it is not installed.
    """
    shown = sheet.scale.shown
    return rendered(
        "castings.html.j2",
        title=title,
        premixes=[(step, shown(step.grams), shown(step.base_g)) for step in sheet.premixes],
        cups=[
            (each, cup, _lines(cup, sheet.scale), shown(cup.grams))
            for each, cup in zip(castings, sheet.cups, strict=True)
        ],
        labels=[cup for cup in sheet.cups for _ in range(_LABELS)],
        premix_labels=[step.makes for step in sheet.premixes],
        side_mm=f"{10.0 * area_cm2**0.5:.0f}",
        scale=f"{sheet.scale.step_g:g} g",
        cards=list(cards),
        reads="L*, a*, b*" if colours else "reading",
        warnings=list(warnings),
        cautions=sheet.cautions,
        total=f"{sum(cup.grams for cup in sheet.cups) + sum(step.base_g for step in sheet.premixes):.0f}",
    )


def _lines(cup: Cup, scale: Scale) -> list[tuple[str, str, str]]:
    """What, how much, and what the scale shows then were it not set to zero."""
    rows, running = [], 0.0
    for line in cup.lines:
        running += line.grams
        rows.append((line.what, scale.shown(line.grams), scale.shown(running)))
    return rows


# A fan.


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
