"""The proof laid out on one card: target and recipe edge to edge, the recipe over dark and light, and its wedge."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tint.appearance import Setting
from tint.errors import InputError
from tint.files import write_whole
from tint.kinds import checked
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import words
from tint.proofs.facts import Facts, Shade, Trial, gather
from tint.proofs.picture import LEFT, RIGHT, STEP_SIGN, Box, Layout, Patch, Picture, Pointer, paint
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
    """A picture of a recipe for approval, as a PNG tagged sRGB, the same for the same input.

    `setting`: how the part is cast, laid and looked at.
    `target`: set beside the recipe, edge to edge.
    `title`: for whom or what it is.
    `show_recipe`: whether the card tells the pigments and their loadings.
    `trial`: a casting of the blend, read or photographed, as `tint.proofs.facts.trial_of` gives it.
    `walls`: every wall of a part that has several, the worst first.
    Raises InputError if blend or setting name what the palette does not have.
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
    on = Layout()
    top = on.head(title, words.of_conditions(facts))
    top = max(_colour(on, facts, top, show_recipe=show_recipe), _opacity(on, facts, top))
    if trial:
        top = trial_laid(on, trial, top + 30)
    top = _wedge(on, facts, top + 30)
    ratio = [words.RATIO_LINE] if facts.has_pair else []
    notes = trial.notes if trial else []
    cautions = [f"Take care: {warning}." for warning in facts.warnings]
    return on.finished(top + 26, told=[*words.of_walls(walls), *cautions, *notes, words.SCREEN_LINE], quiet=ratio)


def _colour(on: Layout, facts: Facts, top: int, *, show_recipe: bool) -> int:
    """Target and recipe edge to edge, and how far they are apart; where they end."""
    seen = facts.appearance
    said: list[tuple[str, Shade, list[str]]] = []
    if facts.target and facts.wanted:
        # What was done to read it, which follows in brackets, is for the maker and not for the customer.
        said.append(("Target", facts.wanted, [facts.target.source.partition(" (")[0]]))
    formula = [words.of_blend(facts)] if show_recipe else []
    said.append(("Recipe, as predicted", facts.recipe, [words.behind(seen.over), *formula]))
    top = on.title("Target beside recipe" if facts.target else "Recipe", LEFT, top, _COLOUR_WIDTH)
    chip = Box(LEFT, top, LEFT + _COLOUR_WIDTH, top + _CHIP_HEIGHT)
    on.frame(chip)
    ends = []
    for at, (box, (name, shade, lines)) in enumerate(zip(chip.columns(len(said)), said, strict=True)):
        on.colour(box, shade, at_left=at == 0 and len(said) > 1)  # clear of the shared edge
        ends.append(on.caption(box, name, [*lines, *_nearest(shade)]))
        on.boxes[name.split(",")[0].lower()] = box
    return on.figures(words.of_colour(facts), LEFT, max(ends) + 10, _COLOUR_WIDTH)


def _nearest(shade: Shade) -> list[str]:
    return [] if shade.exact else [words.NEAREST]


def _opacity(on: Layout, facts: Facts, top: int) -> int:
    """The recipe over each backing, which shows around it, and how well it hides; where they end."""
    left = LEFT + _COLOUR_WIDTH + _GUTTER
    heading = "Laid over dark and light" if facts.has_pair else "Laid on its backing"
    top = on.title(heading, left, top, RIGHT - left)
    card = Box(left, top, RIGHT, top + _CHIP_HEIGHT)
    slab, bare = card.grown(-_BORDER), card.columns(len(facts.behind))
    on.frame(card)
    on.items.extend(Patch(box, shade.rgb) for box, shade in zip(bare, facts.bare, strict=True))
    ends = []
    for at, (box, shade, name) in enumerate(zip(bare, facts.over, facts.behind, strict=True)):
        patch = Box(max(box.left, slab.left), slab.top, min(box.right, slab.right), slab.bottom)
        on.colour(patch, shade, at_left=at == 0 and len(bare) > 1)
        ends.append(on.caption(box, words.behind(name).capitalize(), _nearest(shade)))
        on.boxes.update({f"bare {name}": box, f"over {name}": patch})
    return on.figures(words.of_opacity(facts), left, max(ends) + 10, RIGHT - left)


def trial_laid(
    on: Layout, trial: Trial, top: int, *, left: int = LEFT, right: int = RIGHT, named: str = "The trial",
    height: int = _TRIAL,
) -> int:  # fmt: skip
    """The trial in a picture, its colours and its photograph as boxes `trial 0`, `trial 1` ...; where it ends."""
    top = on.title(f"{named} beside its prediction", left, top, right - left)
    end, boxes = on.chips(trial.row.chips, Box(left, top, right, top + height))
    on.boxes.update({f"trial {at}": box for at, (box,) in enumerate(boxes)})
    return on.figures(trial.figures, left, end + 10, right - left)


def _wedge(on: Layout, facts: Facts, top: int) -> int:
    """The recipe from thin to thick over each backing; where it ends."""
    names = [words.behind(name) for name in facts.behind]
    halves = f"Upper half {names[0]}, lower half {names[1]}." if facts.has_pair else f"{names[0].capitalize()}."
    top = on.title(f"From thin to thick. {halves}", LEFT, top, RIGHT - LEFT)
    top += 22  # for the pointer
    strip = Box(LEFT, top, RIGHT, top + 2 * _BAND_HEIGHT)
    on.frame(strip)
    for name, box, shade in zip(facts.behind, strip.rows(len(names)), facts.bare, strict=True):
        on.items.append(Patch(box, shade.rgb))
        on.boxes[f"wedge on {name}"] = box
    columns = Box(strip.left + _GAP // 2, strip.top, strip.right - _GAP // 2, strip.bottom).columns(len(facts.wedge))
    ends = []
    for column, step in zip(columns, facts.wedge, strict=True):
        tile = Box(column.left + _GAP // 2, strip.top + 22, column.right - _GAP // 2, strip.bottom - 22)
        for name, half, shade in zip(facts.behind, tile.rows(len(names)), step.shades, strict=True):
            on.colour(half, shade, size=STEP_SIGN)
            on.boxes[f"{step.thickness_mm:g} mm over {name}"] = half
        if step.own:
            middle = tile.centre[0]
            own = on.boxes["own"] = Box(middle - 11, strip.top - 25, middle + 11, strip.top - 3)
            on.items.append(Pointer(own))
        told = [] if math.isnan(step.contrast_ratio) else [f"contrast {step.contrast_ratio:.2f}"]
        told += [f"no swatch so {step.beyond}"] * bool(step.beyond)
        thick = f"{step.thickness_mm:g} mm" + (", this part" if step.own else "")
        ends.append(on.named(thick, told, tile.left, strip.bottom + 10, tile.width))
    return max(ends)


# A picture for approval, as a thing to look at and to save.


@dataclass(frozen=True)
class Proof:
    """A picture for approval: a PNG tagged sRGB."""

    png: bytes

    @checked(path="the name of a PNG")
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
