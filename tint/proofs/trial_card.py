"""The trial on a card: predicted, read and photographed, edge to edge."""

from __future__ import annotations

from tint.proofs import parts
from tint.proofs.parts import BODY, LEFT, RIGHT, SMALL, Part
from tint.proofs.picture import DARK, QUIET, Box, Item, Raster, paragraph
from tint.proofs.trial import Trial

_HEIGHT = 320


def trial_part(
    trial: Trial, top: int, *, left: int = LEFT, right: int = RIGHT, named: str = "The trial", height: int = _HEIGHT
) -> Part:  # fmt: skip
    """Its boxes are those of the flat colours, then that of the photograph where there is one."""
    items, top = parts.titled(f"{named} beside its prediction", left, top, right - left)
    strip = Box(left, top, right, top + height)
    columns = strip.columns(len(trial.chips) + (trial.photo is not None))
    items += parts.framed(strip)
    ends = [strip.bottom]
    for at, (box, (name, lines, shade)) in enumerate(zip(columns, trial.chips, strict=False)):
        items += parts.coloured(box, shade, at_left=at == 0)
        more, end = _said(box, name, lines)
        items += more
        ends.append(end)
    if trial.photo is not None:
        box = columns[-1]
        items.append(Raster(box, trial.photo.fitted(box.width, box.height)))
        more, end = _said(box, trial.caption, trial.notes)
        items += more
        ends.append(end)
    more, bottom = parts.figures(trial.figures, left, max(ends) + 10, right - left)
    return Part([*items, *more], bottom, columns)


def _said(under: Box, name: str, lines: list[str]) -> tuple[list[Item], int]:
    items: list[Item] = []
    top = under.bottom + 8
    for at, line in enumerate([name, *lines]):
        size, ink = (SMALL, QUIET) if at else (BODY, DARK)
        more, top = paragraph(line, left=under.left, top=top, width=under.width - 16, size=size, ink=ink)
        items += more
    return items, top
