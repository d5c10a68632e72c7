"""The proof laid out on one card: target and recipe edge to edge, the recipe over dark and light, and its wedge."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tint.appearance import Setting
from tint.errors import InputError
from tint.files import write_whole
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import words
from tint.proofs.facts import Facts, Shade, Step, Trial, gather
from tint.proofs.picture import (
    BODY,
    DARK,
    LEFT,
    QUIET,
    RIGHT,
    SMALL,
    STEP_SIGN,
    Box,
    Item,
    Laid,
    Patch,
    Picture,
    Pointer,
    captioned,
    chip_row,
    coloured,
    figures,
    finished,
    framed,
    headed,
    paint,
    stacked,
    titled,
)
from tint.target import Target
from tint.thickness import Wall

# Sizes [px], chosen by eye.
_COLOUR_WIDTH, _GUTTER = 800, 64
_CHIP_HEIGHT, _BAND_HEIGHT = 240, 80
_TRIAL = 320  # height of its colours
_BORDER = 36  # of bare backing around what lies on it
_GAP = 20  # between two steps of the wedge


def draw_proof(
    palette: Palette, blend: Blend, *, setting: Setting, target: Target | None = None, title: str = "",
    show_recipe: bool = False, trial: Trial | None = None, walls: Sequence[Wall] = (),
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
    trial : Trial, optional
        A casting of the blend, read or photographed, as `tint.proofs.facts.trial_of` gives it.
    walls : sequence of Wall
        Every wall of a part that has several, the worst first.

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
    return paint(proof_picture(facts, title or palette.name, show_recipe=show_recipe, trial=trial, walls=walls))


def proof_picture(
    facts: Facts, title: str, *, show_recipe: bool = False, trial: Trial | None = None, walls: Sequence[Wall] = ()
) -> Picture:
    """The card laid out.

    Its boxes are `target` and `recipe`; for each backing `bare NAME`, `over NAME`, `wedge on NAME`, and for each step
    of the wedge `2.6 mm over NAME`; `own`, the mark at the part's own thickness; and `trial 0`, `trial 1` ...
    """
    head, top = headed(title, words.of_conditions(facts))
    boxes: dict[str, Box] = {}
    colour, left_end = _colour(facts, top, boxes, show_recipe=show_recipe)
    opacity, right_end = _opacity(facts, top, boxes)
    items, top = [*head, *colour, *opacity], max(left_end, right_end)
    if trial:
        more, top, cast = trial_laid(trial, top + 30)
        items += more
        boxes |= {f"trial {at}": box for at, box in enumerate(cast)}
    more, top = _wedge(facts, top + 30, boxes)
    ratio = [words.RATIO_LINE] if facts.has_pair else []
    notes = trial.notes if trial else []
    cautions = [f"Take care: {warning}." for warning in facts.warnings]
    return finished(
        [*items, *more],
        top + 26,
        boxes,
        told=[*words.of_walls(walls), *cautions, *notes, words.SCREEN_LINE],
        quiet=ratio,
    )


def _colour(facts: Facts, top: int, boxes: dict[str, Box], *, show_recipe: bool) -> Laid:
    """Target and recipe edge to edge, and how far they are apart; adds to the boxes."""
    seen = facts.appearance
    said: list[tuple[str, Shade, list[str]]] = []
    if facts.target and facts.wanted:
        # What was done to read it, which follows in brackets, is for the maker and not for the customer.
        said.append(("Target", facts.wanted, [facts.target.source.partition(" (")[0]]))
    formula = [words.of_blend(facts)] if show_recipe else []
    said.append(("Recipe, as predicted", facts.recipe, [words.behind(seen.over), *formula]))
    items, top = titled("Target beside recipe" if facts.target else "Recipe", LEFT, top, _COLOUR_WIDTH)
    chip = Box(LEFT, top, LEFT + _COLOUR_WIDTH, top + _CHIP_HEIGHT)
    items += framed(chip)
    ends = []
    for at, (box, (name, shade, lines)) in enumerate(zip(chip.columns(len(said)), said, strict=True)):
        items += coloured(box, shade, at_left=at == 0 and len(said) > 1)  # clear of the shared edge
        more, end = captioned(box, name, _with_nearest(lines, [shade]))
        items += more
        ends.append(end)
        boxes[name.split(",")[0].lower()] = box
    more, bottom = figures(words.of_colour(facts), LEFT, max(ends) + 10, _COLOUR_WIDTH)
    return [*items, *more], bottom


def _with_nearest(lines: Sequence[str], shades: Sequence[Shade]) -> list[str]:
    return [*lines, *([] if all(shade.exact for shade in shades) else [words.NEAREST])]


def _opacity(facts: Facts, top: int, boxes: dict[str, Box]) -> Laid:
    """The recipe over each backing, which shows around it, and how well it hides; adds to the boxes."""
    left = LEFT + _COLOUR_WIDTH + _GUTTER
    heading = "Laid over dark and light" if facts.has_pair else "Laid on its backing"
    items, top = titled(heading, left, top, RIGHT - left)
    card = Box(left, top, RIGHT, top + _CHIP_HEIGHT)
    slab, bare = card.grown(-_BORDER), card.columns(len(facts.behind))
    items += [*framed(card), *(Patch(box, shade.rgb) for box, shade in zip(bare, facts.bare, strict=True))]
    ends = []
    for at, (box, shade, name) in enumerate(zip(bare, facts.over, facts.behind, strict=True)):
        patch = Box(max(box.left, slab.left), slab.top, min(box.right, slab.right), slab.bottom)
        items += coloured(patch, shade, at_left=at == 0 and len(bare) > 1)
        more, end = captioned(box, words.behind(name).capitalize(), _with_nearest([], [shade]))
        items += more
        ends.append(end)
        boxes |= {f"bare {name}": box, f"over {name}": patch}
    more, bottom = figures(words.of_opacity(facts), left, max(ends) + 10, RIGHT - left)
    return [*items, *more], bottom


def trial_laid(
    trial: Trial, top: int, *, left: int = LEFT, right: int = RIGHT, named: str = "The trial", height: int = _TRIAL
) -> tuple[list[Item], int, list[Box]]:  # fmt: skip
    """The trial in a picture: its items, where they end, and the boxes of its colours and its photograph."""
    items, top = titled(f"{named} beside its prediction", left, top, right - left)
    row, end, boxes = chip_row(trial.row.chips, Box(left, top, right, top + height))
    more, bottom = figures(trial.figures, left, end + 10, right - left)
    return [*items, *row, *more], bottom, [box for (box,) in boxes]


def _wedge(facts: Facts, top: int, boxes: dict[str, Box]) -> Laid:
    """The recipe from thin to thick over each backing; adds to the boxes."""
    names = [words.behind(name) for name in facts.behind]
    halves = f"Upper half {names[0]}, lower half {names[1]}." if facts.has_pair else f"{names[0].capitalize()}."
    items, top = titled(f"From thin to thick. {halves}", LEFT, top, RIGHT - LEFT)
    top += 22  # for the pointer
    strip = Box(LEFT, top, RIGHT, top + 2 * _BAND_HEIGHT)
    items += framed(strip)
    for name, box, shade in zip(facts.behind, strip.rows(len(names)), facts.bare, strict=True):
        items.append(Patch(box, shade.rgb))
        boxes[f"wedge on {name}"] = box
    columns = Box(strip.left + _GAP // 2, strip.top, strip.right - _GAP // 2, strip.bottom).columns(len(facts.wedge))
    ends = []
    for column, step in zip(columns, facts.wedge, strict=True):
        tile = Box(column.left + _GAP // 2, strip.top + 22, column.right - _GAP // 2, strip.bottom - 22)
        for name, half, shade in zip(facts.behind, tile.rows(len(names)), step.shades, strict=True):
            items += coloured(half, shade, size=STEP_SIGN)
            boxes[f"{step.thickness_mm:g} mm over {name}"] = half
        if step.own:
            middle = tile.centre[0]
            boxes["own"] = Box(middle - 11, strip.top - 25, middle + 11, strip.top - 3)
            items.append(Pointer(boxes["own"]))
        more, end = _step_label(step, tile, strip.bottom + 10)
        items += more
        ends.append(end)
    return items, max(ends)


def _step_label(step: Step, tile: Box, top: int) -> Laid:
    said = [] if math.isnan(step.contrast_ratio) else [f"contrast {step.contrast_ratio:.2f}"]
    if step.beyond:
        said.append(f"no swatch so {step.beyond}")
    thick = f"{step.thickness_mm:g} mm" + (", this part" if step.own else "")
    return stacked([(thick, BODY, DARK), *((line, SMALL, QUIET) for line in said)], tile.left, top, tile.width)


# A picture for approval, as a thing to look at and to save.


@dataclass(frozen=True)
class Proof:
    """A picture for approval: a PNG tagged sRGB."""

    png: bytes

    def save(self, path: str | Path, *, replace: bool = False) -> Path:
        """Write it to a file, whole.

        Raises InputError if the file is there already and not to be replaced, or cannot be written.
        """
        at = Path(path)
        if at.suffix.lower() != ".png":
            raise InputError(str(at), "is not the name of a PNG", "a name that ends in .png")
        if at.exists() and not replace:
            raise InputError(str(at), "is there already", mend="choose another name, or say replace=True")
        write_whole(at, self.png)
        return at

    def _repr_png_(self) -> bytes:
        return self.png
