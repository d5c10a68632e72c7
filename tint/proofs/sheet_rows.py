"""The rows of a weigh sheet on paper: what is weighed, of which lot, into what, how much, and the sum so far."""

from __future__ import annotations

from dataclasses import dataclass

from tint.weighing import WeighSheet

CUP_ROWS = 8  # more cups than that have boxes to tick, but no row each


@dataclass(frozen=True)
class Row:
    """One weighing, or a heading between weighings.

    Parameters
    ----------
    running : str
        What the scale shows after it, were it not set to zero between.
    joined : bool
        Whether the next row belongs to it.
    """

    what: str
    lot: str = ""
    into: str = ""
    grams: str = ""
    running: str = ""
    heading: bool = False
    joined: bool = False


def premix_rows(sheet: WeighSheet) -> list[Row]:
    """Two weighings for every step of every premix."""
    rows, shown = [], sheet.scale.shown
    for premix in sheet.premixes:
        for step in premix.steps:
            into, lot = step.makes, step.lot or ("" if step.what == premix.pigment else "as made")
            base = Row(f"part {step.part}", "", into, shown(step.base_g), shown(step.base_g), joined=True)
            rows += [base, Row(step.what, lot, into, shown(step.grams), shown(step.made_g))]
    return rows


def batch_rows(sheet: WeighSheet) -> list[Row]:
    """Every weighing of the batch; of many cups, only those that are made in one."""
    own, shown = sheet.lines[0].part, sheet.scale.shown
    rows, running, stirred = [], 0.0, False
    for line in sheet.lines:
        part = not line.pigment
        if part and line.part != own:
            if sheet.cups.count > 1:
                continue
            if not stirred:
                rows.append(
                    Row(f"Stir part {own} until no streak is left. The clock starts with the next:", heading=True)
                )
                stirred = True
        running += line.grams
        lot = line.lot if line.what == line.pigment else "as made" if line.pigment else ""
        into = "" if part else f"part {line.part}"
        rows.append(Row(line.what, lot, into, shown(line.grams), shown(running)))
    return rows


def cup_rows(sheet: WeighSheet) -> list[str]:
    """What goes into each cup."""
    shown = sheet.scale.shown
    own = sheet.lines[0].part
    return [f"{shown(sheet.cups.tinted_g)} of the tinted part {own}"] + [
        f"{shown(grams)} of part {part}" for part, grams in sheet.cups.rest_g.items()
    ]
