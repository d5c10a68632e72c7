"""A casting plan to print: premixes, a cup for each casting, labels to stick on, where to read, cautions."""

from __future__ import annotations

from collections.abc import Sequence

from tint.planning import First
from tint.proofs.leaf import rendered
from tint.weighing import CastingSheet, Cup, Scale

_LABELS = 2  # of each casting: one for the cup, one for the back of the casting


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
