"""The proof laid out on one card: target and recipe edge to edge, the recipe over dark and light, and its wedge."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tint.appearance import Setting
from tint.errors import InputError
from tint.files import write_whole
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import parts
from tint.proofs.facts import Facts, gather
from tint.proofs.parts import Part
from tint.proofs.picture import Box, Item, NearSign, Pointer, paint
from tint.proofs.trial import Trial, trial_part
from tint.target import Target


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
    trial : tuple of Box
        Predicted, read and photographed, as far as there is a trial.
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
    trial: tuple[Box, ...] = ()


def draw_proof(
    palette: Palette, blend: Blend, *, setting: Setting, target: Target | None = None, title: str = "",
    show_recipe: bool = False, trial: Trial | None = None,
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
        A casting of the blend, read or photographed, as `tint.proofs.trial.trial_of` gives it.

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
    items, layout = compose(facts, title or palette.name, show_recipe=show_recipe, trial=trial)
    return paint(layout.canvas, items)


def proof_layout(
    palette: Palette, blend: Blend, *, setting: Setting, target: Target | None = None, title: str = "",
    show_recipe: bool = False, trial: Trial | None = None,
) -> Layout:  # fmt: skip
    """Where `draw_proof` puts things, for the same arguments."""
    facts = gather(palette, blend, setting=setting, target=target, show_recipe=show_recipe)
    return compose(facts, title or palette.name, show_recipe=show_recipe, trial=trial)[1]


def compose(facts: Facts, title: str, *, show_recipe: bool, trial: Trial | None = None) -> tuple[list[Item], Layout]:
    """Every item of the card, in the order of painting, and the boxes of what matters."""
    head = parts.head(facts, title)
    colour = parts.colour(facts, head.bottom, show_recipe=show_recipe)
    opacity = parts.opacity(facts, head.bottom)
    top = max(colour.bottom, opacity.bottom) + 30
    poured = trial_part(trial, top) if trial else Part([], top - 30)
    wedge = parts.wedge(facts, poured.bottom + 30)
    items = [*head.items, *colour.items, *opacity.items, *poured.items, *wedge.items]
    signs = tuple(item.box for item in items if isinstance(item, NearSign))
    foot = parts.foot(facts, wedge.bottom + 26, has_signs=bool(signs))
    count = len(facts.behind)
    steps = wedge.boxes[count:]
    layout = Layout(
        canvas=Box(0, 0, parts.WIDTH, foot.bottom + 44),
        target=colour.boxes[0] if facts.target else None,
        recipe=colour.boxes[-1],
        bare=opacity.boxes[:count],
        over=opacity.boxes[count:],
        thicknesses_mm=tuple(step.thickness_mm for step in facts.wedge),
        wedge=tuple(steps[at : at + count] for at in range(0, len(steps), count)),
        wedge_bare=wedge.boxes[:count],
        own=next(item.box for item in wedge.items if isinstance(item, Pointer)),
        signs=signs,
        trial=poured.boxes,
    )
    return [*items, *foot.items], layout


# A picture for approval, as a thing to look at and to save.


@dataclass(frozen=True)
class Proof:
    """A picture for approval: a PNG tagged sRGB."""

    png: bytes

    def save(self, path: str | Path, *, replace: bool = False) -> Path:
        """Write it to a file, whole.

        Raises
        ------
        InputError
            If the file is there already and not to be replaced, or cannot be written.
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
