"""An answer as a picture: target and recipes as chips over dark and light, and their spectra below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tint.palette import Palette
from tint.proofs import words
from tint.proofs.facts import Shade
from tint.proofs.parts import BODY, LEFT, RIGHT, SMALL, STEP_SIGN, WIDTH, coloured, footed, framed, headed, titled
from tint.proofs.picture import QUIET, Box, Item, NearSign, Patch, paint, paragraph
from tint.proofs.shown import Chip, Shown, gather
from tint.proofs.spectra import MOST, draw_spectra
from tint.recipes import Answer

_PER_ROW = 6
_HALF = 104  # height of a chip over one backing
_BARE, _GAP = 20, 20  # backing that shows above and below chips, and between two
_TARGET_SHARE = 0.3  # of a recipe's chip, where the target lies against it
_PLOT_HEIGHT = 420


@dataclass(frozen=True)
class Layout:
    """Where things stand on the picture [px].

    Parameters
    ----------
    target : tuple of Box or None
        By backing; None where the target's colour over it is not known.
    recipes : tuple of tuple of Box
        By recipe, then by backing.
    beside : tuple of tuple of Box or None
        The target against each recipe, likewise; it shares its right edge with the recipe.
    bare : tuple of Box
        The backings of the first row.
    plot : Box
        Of the spectra, from the first to the last wavelength and from 0 to `top`.
    top : float
        Reflectance at the upper edge [-].
    signs : tuple of Box
        One on each patch that a screen cannot show.
    """

    canvas: Box
    target: tuple[Box | None, ...]
    recipes: tuple[tuple[Box, ...], ...]
    beside: tuple[tuple[Box | None, ...], ...]
    bare: tuple[Box, ...]
    plot: Box
    top: float
    signs: tuple[Box, ...]


def draw_answer(palette: Palette, answer: Answer) -> bytes:
    """A picture of an answer: chips of target and recipes over dark and light, and spectra.

    Parameters
    ----------
    palette : Palette
    answer : Answer
        As `tint.recipes.solve` gives it for that palette.

    Returns
    -------
    bytes
        A PNG tagged sRGB, the same for the same input.

    Raises
    ------
    JobError
        If matplotlib is not installed.
    """
    items, layout = compose(gather(palette, answer))
    return paint(layout.canvas, items)


def answer_layout(palette: Palette, answer: Answer) -> Layout:
    """Where `draw_answer` puts things, for the same arguments."""
    return compose(gather(palette, answer))[1]


def compose(shown: Shown) -> tuple[list[Item], Layout]:
    """Every item of the picture, in the order of painting, and the boxes of what matters."""
    head = headed("Recipes beside their target", f"{shown.told} They hold for {shown.conditions}.")
    heading, top = titled(_heading(shown), LEFT, head.bottom, RIGHT - LEFT)
    items = [*head.items, *heading]
    boxes: list[tuple[Box, ...]] = []
    beside: list[tuple[Box | None, ...]] = []
    bare: tuple[Box, ...] = ()
    for at in range(0, len(shown.chips), _PER_ROW):
        row = _row(shown, shown.chips[at : at + _PER_ROW], top)
        items += row.items
        boxes += row.chips
        beside += row.beside
        bare = bare or row.bare
        top = row.bottom + 20
    some = f", the first {MOST} recipes" if len(shown.chips) > MOST + 1 else ""
    heading, top = titled(f"Reflectance {words.behind(shown.over)}{some}", LEFT, top + 4, RIGHT - LEFT)
    more, plot = draw_spectra(shown, Box(LEFT, top, RIGHT, top + _PLOT_HEIGHT))
    items += [*heading, *more]
    signs = tuple(item.box for item in items if isinstance(item, NearSign))
    ratio = [words.RATIO_LINE] if len(shown.behind) > 1 else []
    foot = footed([*shown.notes, words.SCREEN_LINE], plot.box.bottom + 66, quiet=ratio, has_signs=bool(signs))
    first = tuple(box if shade else None for box, shade in zip(boxes[0], shown.chips[0].shades, strict=True))
    layout = Layout(
        canvas=Box(0, 0, WIDTH, foot.bottom + 44),
        target=first,
        recipes=tuple(boxes[1:]),
        beside=tuple(beside[1:]),
        bare=bare,
        plot=plot.box,
        top=plot.top,
        signs=signs,
    )
    return [*items, *foot.items], layout


def _heading(shown: Shown) -> str:
    halves = ", ".join(words.behind(name) for name in shown.behind)
    beside = "" if len(shown.chips) < 2 else " At the left edge of each recipe lies the target, where it is known."
    return f"From top to bottom {halves}.{beside}"


@dataclass(frozen=True)
class _Row:
    """Chips side by side, each with its words below."""

    items: list[Item]
    chips: list[tuple[Box, ...]]
    beside: list[tuple[Box | None, ...]]
    bare: tuple[Box, ...]
    bottom: int


def _row(shown: Shown, chips: Sequence[Chip], top: int) -> _Row:
    count = len(shown.behind)
    strip = Box(LEFT, top, RIGHT, top + 2 * _BARE + count * _HALF)
    columns = Box(strip.left + _GAP // 2, top, strip.right - _GAP // 2, strip.bottom).columns(_columns(shown))
    inner = Box(strip.left, strip.top + _BARE, strip.right, strip.bottom - _BARE).rows(count)
    bare = tuple(
        Box(strip.left, strip.top if at == 0 else row.top, strip.right, strip.bottom if at == count - 1 else row.bottom)
        for at, row in enumerate(inner)
    )
    items = framed(strip)
    items += [Patch(box, shade.rgb) for box, shade in zip(bare, shown.bare, strict=True)]
    own: list[tuple[Box, ...]] = []
    beside: list[tuple[Box | None, ...]] = []
    ends = []
    target = shown.chips[0]
    for column, chip in zip(columns, chips, strict=False):
        tile = Box(column.left + _GAP // 2, 0, column.right - _GAP // 2, 0)
        halves = [
            _half(tile, row, chip is not target and target.shades[at] is not None) for at, row in enumerate(inner)
        ]
        own.append(tuple(recipe for _, recipe in halves))
        beside.append(tuple(wanted for wanted, _ in halves))
        for at, (wanted, recipe) in enumerate(halves):
            items += _chip(wanted, target.shades[at], recipe, chip.shades[at])
        more, end = _words(chip, Box(tile.left, strip.top, tile.right, strip.bottom))
        items += more
        ends.append(end)
    return _Row(items, own, beside, bare, max(ends))


def _columns(shown: Shown) -> int:
    """As many in each row, so that chips are of one size; four at least, lest two become billboards."""
    return max(4, min(_PER_ROW, len(shown.chips)))


def _half(tile: Box, row: Box, has_target: bool) -> tuple[Box | None, Box]:
    """The target's and the recipe's part of a chip over one backing."""
    edge = tile.left + round(_TARGET_SHARE * tile.width) if has_target else tile.left
    own = Box(edge, row.top, tile.right, row.bottom)
    return (Box(tile.left, row.top, edge, row.bottom) if has_target else None), own


def _chip(wanted: Box | None, target: Shade | None, own: Box, shade: Shade | None) -> list[Item]:
    """Nothing is drawn where a colour is not known: the bare backing shows."""
    items: list[Item] = []
    if shade is not None:
        items += coloured(own, shade, size=STEP_SIGN)
    if wanted is not None and target is not None:
        items += coloured(wanted, target, at_left=True, size=STEP_SIGN)
    return items


def _words(chip: Chip, under: Box) -> tuple[list[Item], int]:
    lines, top = paragraph(chip.name, left=under.left, top=under.bottom + 10, width=under.width, size=BODY)
    items: list[Item] = [*lines]
    for line in chip.lines:
        lines, top = paragraph(line, left=under.left, top=top, width=under.width, size=SMALL, ink=QUIET)
        items += lines
    return items, top
