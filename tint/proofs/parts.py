"""The parts of the card, top to bottom: head, target beside recipe, recipe over its backings, wedge, foot."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tint.proofs import words
from tint.proofs.facts import Facts, Shade, Step
from tint.proofs.lettering import baseline
from tint.proofs.picture import DARK, LINE, QUIET, Box, Item, NearSign, Patch, Pointer, paragraph

WIDTH = 1600
_MARGIN = 64
LEFT, RIGHT = _MARGIN, WIDTH - _MARGIN
_GUTTER = 64
_COLOUR_WIDTH = 800
_CHIP_HEIGHT = 240
_BORDER = 36  # of bare backing around what lies on it
_BAND_HEIGHT = 80
_GAP = 20
_CHIP_SIGN, STEP_SIGN = 34, 28
_TITLE, _FIGURE, _HEADING, BODY, SMALL = 44, 38, 26, 22, 21
_FIGURE_WIDTH = 140


@dataclass(frozen=True)
class Part:
    """Some of the card: its items, where it ends [px], and its boxes in the order they were laid."""

    items: list[Item]
    bottom: int
    boxes: tuple[Box, ...] = ()


def head(facts: Facts, title: str) -> Part:
    return headed(title, words.of_conditions(facts))


def headed(title: str, told: str) -> Part:
    """The top of any picture: its name, what it holds for, a rule."""
    width = RIGHT - LEFT
    name, top = paragraph(title, left=LEFT, top=36, width=width, size=_TITLE)
    line, top = paragraph(told, left=LEFT, top=top + 4, width=width, size=BODY, ink=QUIET)
    rule = Patch(Box(LEFT, top + 14, RIGHT, top + 16), DARK)
    return Part([*name, *line, rule], top + 34)


def colour(facts: Facts, top: int, *, show_recipe: bool) -> Part:
    heading = "Target beside recipe" if facts.target else "Recipe"
    items, top = titled(heading, LEFT, top, _COLOUR_WIDTH)
    chip = Box(LEFT, top, LEFT + _COLOUR_WIDTH, top + _CHIP_HEIGHT)
    shades = [shade for shade in (facts.wanted, facts.recipe) if shade]
    boxes = chip.columns(len(shades))
    items += framed(chip)
    for at, (box, shade) in enumerate(zip(boxes, shades, strict=True)):
        items += coloured(box, shade, at_left=at == 0 and len(boxes) > 1)  # clear of the shared edge
    seen = facts.appearance
    said = [["Recipe, as predicted", words.behind(seen.over)]]
    if show_recipe:
        said[-1].append(words.of_blend(facts))
    if facts.target:
        said.insert(0, ["Target", facts.target.source])
    ends = []
    for box, shade, lines in zip(boxes, shades, said, strict=True):
        more, end = _caption(lines, box, shade)
        items += more
        ends.append(end)
    more, bottom = figures(words.of_colour(facts), LEFT, max(ends) + 10, _COLOUR_WIDTH)
    return Part([*items, *more], bottom, boxes)


def opacity(facts: Facts, top: int) -> Part:
    left = LEFT + _COLOUR_WIDTH + _GUTTER
    heading = "Laid over dark and light" if facts.has_pair else "Laid on its backing"
    items, top = titled(heading, left, top, RIGHT - left)
    card = Box(left, top, RIGHT, top + _CHIP_HEIGHT)
    bare = card.columns(len(facts.behind))
    items += framed(card)
    items += [Patch(box, shade.rgb) for box, shade in zip(bare, facts.bare, strict=True)]
    slab = card.grown(-_BORDER)
    over = tuple(Box(max(box.left, slab.left), slab.top, min(box.right, slab.right), slab.bottom) for box in bare)
    ends = []
    for at, (box, patch, shade, name) in enumerate(zip(bare, over, facts.over, facts.behind, strict=True)):
        items += coloured(patch, shade, at_left=at == 0 and len(over) > 1)
        more, end = _caption([words.behind(name).capitalize()], box, shade)
        items += more
        ends.append(end)
    more, bottom = figures(words.of_opacity(facts), left, max(ends) + 10, RIGHT - left)
    return Part([*items, *more], bottom, (*bare, *over))


def wedge(facts: Facts, top: int) -> Part:
    names = [words.behind(name) for name in facts.behind]
    halves = f"Upper half {names[0]}, lower half {names[1]}." if facts.has_pair else f"{names[0].capitalize()}."
    items, top = titled(f"From thin to thick. {halves}", LEFT, top, RIGHT - LEFT)
    top += 22  # for the pointer
    count = len(facts.behind)
    strip = Box(LEFT, top, RIGHT, top + 2 * _BAND_HEIGHT)
    bare = strip.rows(count)
    items += framed(strip)
    items += [Patch(box, shade.rgb) for box, shade in zip(bare, facts.bare, strict=True)]
    columns = Box(strip.left + _GAP // 2, strip.top, strip.right - _GAP // 2, strip.bottom).columns(len(facts.wedge))
    boxes: list[Box] = []
    ends = []
    for column, step in zip(columns, facts.wedge, strict=True):
        tile = Box(column.left + _GAP // 2, strip.top + 22, column.right - _GAP // 2, strip.bottom - 22)
        for half, shade in zip(tile.rows(count), step.shades, strict=True):
            items += coloured(half, shade, size=STEP_SIGN)
            boxes.append(half)
        more, end = _step_label(step, tile, strip)
        items += more
        ends.append(end)
    return Part(items, max(ends), (*bare, *boxes))


def _step_label(step: Step, tile: Box, strip: Box) -> tuple[list[Item], int]:
    thick = f"{step.thickness_mm:g} mm"
    items: list[Item] = []
    if step.own:
        middle = tile.centre[0]
        items.append(Pointer(Box(middle - 11, strip.top - 25, middle + 11, strip.top - 3)))
        thick += ", this part"
    lines, end = paragraph(thick, left=tile.left, top=strip.bottom + 10, width=tile.width, size=BODY)
    said = [] if math.isnan(step.contrast_ratio) else [f"contrast {step.contrast_ratio:.2f}"]
    if step.beyond:
        said.append(f"no swatch so {step.beyond}")
    items += lines
    for line in said:
        lines, end = paragraph(line, left=tile.left, top=end, width=tile.width, size=SMALL, ink=QUIET)
        items += lines
    return items, end


def foot(facts: Facts, top: int, *, has_signs: bool) -> Part:
    cautions = [f"Take care: {warning}." for warning in facts.warnings]
    ratio = [words.RATIO_LINE] if facts.has_pair else []
    return footed([*cautions, words.SCREEN_LINE], top, quiet=ratio, has_signs=has_signs)


def footed(told: Sequence[str], top: int, *, quiet: Sequence[str] = (), has_signs: bool) -> Part:
    """The end of any picture: a rule, what its signs mean, then lines dark and quiet."""
    items: list[Item] = [Patch(Box(LEFT, top, RIGHT, top + 1), LINE)]
    top += 16
    width = RIGHT - LEFT
    if has_signs:
        sign = Box(LEFT, top + 1, LEFT + STEP_SIGN, top + 1 + STEP_SIGN)
        items.append(NearSign(sign))
        lines, top = paragraph(words.NEAREST_LINE, left=sign.right + 10, top=top, width=width - 38, size=BODY)
        items += lines
    for line, ink in (*((line, DARK) for line in told), *((line, QUIET) for line in quiet)):
        lines, top = paragraph(line, left=LEFT, top=top, width=width, size=BODY, ink=ink)
        items += lines
    return Part(items, top)


def titled(said: str, left: int, top: int, width: int) -> tuple[list[Item], int]:
    lines, end = paragraph(said, left=left, top=top, width=width, size=_HEADING)
    return [*lines], end + 10


def figures(said: list[tuple[str, str]], left: int, top: int, width: int) -> tuple[list[Item], int]:
    """Large figures, each with what it means beside it."""
    items: list[Item] = []
    beside, down = left + _FIGURE_WIDTH, baseline(_FIGURE) - baseline(BODY)
    for figure, meaning in said:
        large, end = paragraph(figure, left=left, top=top, width=_FIGURE_WIDTH, size=_FIGURE)
        lines, bottom = paragraph(meaning, left=beside, top=top + down, width=width - _FIGURE_WIDTH, size=BODY)
        items += [*large, *lines]
        top = max(end, bottom) + 2
    return items, top


def _caption(said: list[str], under: Box, shade: Shade) -> tuple[list[Item], int]:
    """Lines below a patch: the first dark, the others quiet."""
    items: list[Item] = []
    top = under.bottom + 8
    for at, line in enumerate([*said, *([] if shade.exact else [words.NEAREST])]):
        lines, top = paragraph(
            line,
            left=under.left,
            top=top,
            width=under.width - 16,
            size=SMALL if at else BODY,
            ink=QUIET if at else DARK,
        )
        items += lines
    return items, top


def framed(box: Box) -> list[Item]:
    return [Patch(box.grown(1), LINE)]


def coloured(box: Box, shade: Shade, *, at_left: bool = False, size: int = _CHIP_SIGN) -> list[Item]:
    """A colour, with the sign in an upper corner where a screen cannot show it."""
    if shade.exact:
        return [Patch(box, shade.rgb)]
    left = box.left + 8 if at_left else box.right - 8 - size
    return [Patch(box, shade.rgb), NearSign(Box(left, box.top + 8, left + size, box.top + 8 + size))]
