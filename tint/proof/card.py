"""The proof laid out on one card: target and recipe edge to edge, the recipe over dark and light, and its wedge."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tint.appearance import Setting
from tint.materials import Blend
from tint.palette import Palette
from tint.proof import words
from tint.proof.facts import Facts, Shade, Step, gather
from tint.proof.picture import DARK, LINE, QUIET, Box, Item, NearSign, Patch, Pointer, paint, paragraph
from tint.target import Target

WIDTH = 1600
_MARGIN = 64
_LEFT, _RIGHT = _MARGIN, WIDTH - _MARGIN
_GUTTER = 64
_COLOUR_WIDTH = 800
_CHIP_HEIGHT = 264
_BORDER = 36  # of bare backing around what lies on it
_BAND_HEIGHT = 88
_GAP = 28
_CHIP_SIGN, _STEP_SIGN = 34, 28
_TITLE, _HEADING, _BODY, _SMALL = 44, 25, 22, 20


@dataclass(frozen=True)
class Layout:
    """Where things stand on a proof [px].

    Parameters
    ----------
    canvas : Box
        The whole picture.
    target : Box, optional
        Shares its right edge with the recipe's left one.
    recipe : Box
        Over the setting's backing.
    bare : tuple of Box
        Each backing, on which `over` leaves a border to be seen.
    over : tuple of Box
        The recipe over each backing, darkest first.
    thicknesses_mm : tuple of float
        Steps of the wedge, thinnest first [mm].
    wedge : tuple of tuple of Box
        By step, then by backing.
    wedge_bare : tuple of Box
        The backings that the wedge lies on.
    own : Box
        The mark at the part's own thickness.
    signs : tuple of Box
        One on each patch that a screen cannot show.
    """

    canvas: Box
    target: Box | None
    recipe: Box
    bare: tuple[Box, ...]
    over: tuple[Box, ...]
    thicknesses_mm: tuple[float, ...]
    wedge: tuple[tuple[Box, ...], ...]
    wedge_bare: tuple[Box, ...]
    own: Box
    signs: tuple[Box, ...]


@dataclass(frozen=True)
class _Part:
    """Some of the card: its items, where it ends [px], and its boxes in the order they were laid."""

    items: list[Item]
    bottom: int
    boxes: tuple[Box, ...] = ()


def draw_proof(
    palette: Palette, blend: Blend, *, setting: Setting, target: Target | None = None, title: str = "",
    show_recipe: bool = False,
) -> bytes:  # fmt: skip
    """A picture of a recipe for approval.

    Parameters
    ----------
    palette : Palette
    blend : Blend
    setting : Setting
        How the part is cast, laid and looked at.
    target : Target, optional
        Set beside the recipe, edge to edge.
    title : str
        For whom or what it is.
    show_recipe : bool
        Whether the card tells the pigments and their loadings.

    Returns
    -------
    bytes
        A PNG tagged sRGB, the same for the same input.

    Raises
    ------
    InputError
        If blend or setting name what the palette does not have.
    """
    facts = gather(palette, blend, setting=setting, target=target, show_recipe=show_recipe)
    items, layout = compose(facts, title or palette.name, show_recipe=show_recipe)
    return paint(layout.canvas, items)


def proof_layout(
    palette: Palette, blend: Blend, *, setting: Setting, target: Target | None = None, title: str = "",
    show_recipe: bool = False,
) -> Layout:  # fmt: skip
    """Where `draw_proof` puts things, for the same arguments."""
    facts = gather(palette, blend, setting=setting, target=target, show_recipe=show_recipe)
    return compose(facts, title or palette.name, show_recipe=show_recipe)[1]


def compose(facts: Facts, title: str, *, show_recipe: bool) -> tuple[list[Item], Layout]:
    """Every item of the card, in the order of painting, and the boxes of what matters."""
    head = _head(facts, title)
    colour = _colour(facts, head.bottom, show_recipe=show_recipe)
    opacity = _opacity(facts, head.bottom)
    wedge = _wedge(facts, max(colour.bottom, opacity.bottom) + 30)
    items = [*head.items, *colour.items, *opacity.items, *wedge.items]
    signs = tuple(item.box for item in items if isinstance(item, NearSign))
    foot = _foot(facts, wedge.bottom + 26, has_signs=bool(signs))
    count = len(facts.behind)
    steps = wedge.boxes[count:]
    layout = Layout(
        canvas=Box(0, 0, WIDTH, foot.bottom + 44),
        target=colour.boxes[0] if facts.target else None,
        recipe=colour.boxes[-1],
        bare=opacity.boxes[:count],
        over=opacity.boxes[count:],
        thicknesses_mm=tuple(step.thickness_mm for step in facts.wedge),
        wedge=tuple(steps[at : at + count] for at in range(0, len(steps), count)),
        wedge_bare=wedge.boxes[:count],
        own=next(item.box for item in wedge.items if isinstance(item, Pointer)),
        signs=signs,
    )
    return [*items, *foot.items], layout


def _head(facts: Facts, title: str) -> _Part:
    width = _RIGHT - _LEFT
    name, top = paragraph(title, left=_LEFT, top=44, width=width, size=_TITLE)
    base = f"Colour proof of a recipe in {facts.appearance.blend.base}. It holds for {facts.appearance.conditions}."
    line, top = paragraph(base, left=_LEFT, top=top + 4, width=width, size=_BODY, ink=QUIET)
    rule = Patch(Box(_LEFT, top + 14, _RIGHT, top + 16), DARK)
    return _Part([*name, *line, rule], top + 34)


def _colour(facts: Facts, top: int, *, show_recipe: bool) -> _Part:
    heading = "Target beside recipe" if facts.target else "Recipe"
    items, top = _heading(heading, _LEFT, top, _COLOUR_WIDTH)
    chip = Box(_LEFT, top, _LEFT + _COLOUR_WIDTH, top + _CHIP_HEIGHT)
    shades = [shade for shade in (facts.wanted, facts.recipe) if shade]
    boxes = chip.columns(len(shades))
    items += _frame(chip)
    for at, (box, shade) in enumerate(zip(boxes, shades, strict=True)):
        items += _patch(box, shade, at_left=at == 0 and len(boxes) > 1)  # clear of the shared edge
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
    more, bottom = _sentences(words.of_colour(facts), _LEFT, max(ends) + 8, _COLOUR_WIDTH)
    return _Part([*items, *more], bottom, boxes)


def _opacity(facts: Facts, top: int) -> _Part:
    left = _LEFT + _COLOUR_WIDTH + _GUTTER
    heading = "Laid over dark and light" if facts.has_pair else "Laid on its backing"
    items, top = _heading(heading, left, top, _RIGHT - left)
    card = Box(left, top, _RIGHT, top + _CHIP_HEIGHT)
    bare = card.columns(len(facts.behind))
    items += _frame(card)
    items += [Patch(box, shade.rgb) for box, shade in zip(bare, facts.bare, strict=True)]
    slab = card.grown(-_BORDER)
    over = tuple(Box(max(box.left, slab.left), slab.top, min(box.right, slab.right), slab.bottom) for box in bare)
    ends = []
    for at, (box, patch, shade, name) in enumerate(zip(bare, over, facts.over, facts.behind, strict=True)):
        items += _patch(patch, shade, at_left=at == 0 and len(over) > 1)
        more, end = _caption([words.behind(name).capitalize()], box, shade)
        items += more
        ends.append(end)
    more, bottom = _sentences(words.of_opacity(facts), left, max(ends) + 8, _RIGHT - left)
    return _Part([*items, *more], bottom, (*bare, *over))


def _wedge(facts: Facts, top: int) -> _Part:
    names = [words.behind(name) for name in facts.behind]
    halves = f"Upper half {names[0]}, lower half {names[1]}." if facts.has_pair else f"{names[0].capitalize()}."
    items, top = _heading(f"From thin to thick. {halves}", _LEFT, top, _RIGHT - _LEFT)
    top += 22  # for the pointer
    count = len(facts.behind)
    strip = Box(_LEFT, top, _RIGHT, top + 2 * _BAND_HEIGHT)
    bare = strip.rows(count)
    items += _frame(strip)
    items += [Patch(box, shade.rgb) for box, shade in zip(bare, facts.bare, strict=True)]
    columns = Box(strip.left + _GAP // 2, strip.top, strip.right - _GAP // 2, strip.bottom).columns(len(facts.wedge))
    boxes: list[Box] = []
    ends = []
    for column, step in zip(columns, facts.wedge, strict=True):
        tile = Box(column.left + _GAP // 2, strip.top + 22, column.right - _GAP // 2, strip.bottom - 22)
        for half, shade in zip(tile.rows(count), step.shades, strict=True):
            items += _patch(half, shade, size=_STEP_SIGN)
            boxes.append(half)
        more, end = _step_label(step, tile, strip)
        items += more
        ends.append(end)
    return _Part(items, max(ends), (*bare, *boxes))


def _step_label(step: Step, tile: Box, strip: Box) -> tuple[list[Item], int]:
    thick = f"{step.thickness_mm:g} mm"
    items: list[Item] = []
    if step.own:
        middle = tile.centre[0]
        items.append(Pointer(Box(middle - 12, strip.top - 23, middle + 12, strip.top - 3)))
        thick += ", this part"
    lines, end = paragraph(thick, left=tile.left, top=strip.bottom + 10, width=tile.width, size=_BODY)
    said = [] if math.isnan(step.contrast_ratio) else [f"contrast {step.contrast_ratio:.2f}"]
    if not step.cast:
        said.append("beyond the swatches")
    items += lines
    for words_ in said:
        lines, end = paragraph(words_, left=tile.left, top=end, width=tile.width, size=_SMALL, ink=QUIET)
        items += lines
    return items, end


def _foot(facts: Facts, top: int, *, has_signs: bool) -> _Part:
    items: list[Item] = [Patch(Box(_LEFT, top, _RIGHT, top + 1), LINE)]
    top += 16
    width = _RIGHT - _LEFT
    if has_signs:
        sign = Box(_LEFT, top + 1, _LEFT + _STEP_SIGN, top + 1 + _STEP_SIGN)
        items.append(NearSign(sign))
        lines, top = paragraph(words.NEAREST_LINE, left=sign.right + 10, top=top, width=width - 38, size=_BODY)
        items += lines
    cautions = [f"Take care: {warning}." for warning in facts.warnings]
    ratio = [words.RATIO_LINE] if facts.has_pair else []
    for line in (*cautions, words.SCREEN_LINE, *ratio):
        ink = QUIET if line == words.RATIO_LINE else DARK
        lines, top = paragraph(line, left=_LEFT, top=top, width=width, size=_BODY, ink=ink)
        items += lines
    return _Part(items, top)


def _heading(said: str, left: int, top: int, width: int) -> tuple[list[Item], int]:
    lines, end = paragraph(said, left=left, top=top, width=width, size=_HEADING)
    return [*lines], end + 10


def _sentences(said: list[str], left: int, top: int, width: int) -> tuple[list[Item], int]:
    items: list[Item] = []
    for sentence in said:
        lines, top = paragraph(sentence, left=left, top=top, width=width, size=_BODY)
        items += lines
        top += 4
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
            size=_SMALL if at else _BODY,
            ink=QUIET if at else DARK,
        )
        items += lines
    return items, top


def _frame(box: Box) -> list[Item]:
    return [Patch(box.grown(1), LINE)]


def _patch(box: Box, shade: Shade, *, at_left: bool = False, size: int = _CHIP_SIGN) -> list[Item]:
    """A colour, with the sign in an upper corner where a screen cannot show it."""
    if shade.exact:
        return [Patch(box, shade.rgb)]
    left = box.left + 8 if at_left else box.right - 8 - size
    return [Patch(box, shade.rgb), NearSign(Box(left, box.top + 8, left + size, box.top + 8 + size))]
