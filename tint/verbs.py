"""What one does with a palette, a verb each: the commands' twins, which take plain values and hand back things.

A verb builds the things that its room takes from names and numbers, and calls the room; nothing is worked out here. All
raise InputError where something is unknown, missing, given twice or of the wrong kind.
`tint.predict`, `tint.solve` and the rest are these; those of a folder are in `tint.folders`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, overload

from numpy.typing import ArrayLike

from tint.appearance import Appearance, Setting
from tint.errors import InputError
from tint.given import SEEN, Look, blend_of, cast_of, out_of_reach, setting_of, target_of, verb, walls_of
from tint.kinds import taken
from tint.opacity import opacity_of
from tint.palette import Palette
from tint.recipes import Answer, Rules
from tint.swatches.instruments import Given
from tint.target import BOUNDS, Target, solid_unless_told, without_gloss

if TYPE_CHECKING:
    from tint.proofs import Proof
    from tint.trials import Adjustment, Cup, Doubts, Trial
    from tint.weighing import WeighSheet


@overload
def predict(
    palette: Palette, blend: Look, *, base: str | None = None, walls_mm: Sequence[float],
    setting: Setting | None = None, **seen: Any,
) -> tuple[Appearance, ...]: ...  # fmt: skip


@overload
def predict(
    palette: Palette, blend: Look, *, base: str | None = None, thickness_mm: float | None = None,
    setting: Setting | None = None, **seen: Any,
) -> Appearance: ...  # fmt: skip


@verb
def predict(
    palette: Palette, blend: Look, *, base: str | None = None, thickness_mm: float | None = None,
    walls_mm: Sequence[float] = (), setting: Setting | None = None, **seen: Any,
) -> Appearance | tuple[Appearance, ...]:  # fmt: skip
    """What a blend will look like: spectrum, colour and opacity, with its error.

    Parameters
    ----------
    blend : mapping of str to float, Blend, Recipe or Appearance
        Loadings of the pigments [% by mass of the finished mix], or what holds them.
    base : str, optional
        Needed with loadings, where the palette has several bases.
    thickness_mm : float, optional
        Of the part; a recipe's own when absent [mm].
    walls_mm : sequence of float
        In place of it, for a part of several walls: then there is an appearance of each, the thinnest first [mm].
    setting : Setting, optional; or **seen
        In place of `thickness_mm`; or of a setting its `over`, `seat`, `light`, `observer`, `geometry`.

    Examples
    --------
    >>> look = tint.predict(palette, {"white": 0.5, "yellow": 0.3}, base="clear", thickness_mm=3)
    >>> look.srgb
    '#ffcb00'
    """
    from tint.appearance import predict as of

    mixed = blend_of(palette, blend, base)
    depths = walls_of(walls_mm, thickness_mm) or (thickness_mm,)
    looks = tuple(of(palette, mixed, setting=setting_of(setting, depth, seen, of=blend)) for depth in depths)
    return looks if walls_mm else looks[0]


@verb
def solve(
    palette: Palette, target: Target | None = None, *, lab: ArrayLike | None = None, srgb: str | None = None,
    reading: str | None = None, photo: str | None = None, opacity: str | float | Sequence[float] | None = None,
    tolerance: float | None = None, base: str | None = None, thickness_mm: float | None = None,
    walls_mm: Sequence[float] = (), setting: Setting | None = None, rules: Rules | None = None,
    said: Given | None = None, loosen: bool = True,
    best_only: bool = False, progress: Callable[[str, int, int], None] | None = None, **seen: Any,
) -> Answer:  # fmt: skip
    """Recipes for a colour and an opacity, best first.

    Parameters
    ----------
    target : Target, optional
        Or one of the next four.
    lab : array_like, shape (3,), optional
        CIELAB in the light and observer asked for [-].
    srgb : str, optional
        A screen colour `#rrggbb`; it is matched with the specular reflection excluded, for a screen has none.
    reading : str, optional
        A file of readings, `FILE` or `FILE:NAME`.
    photo : str, optional
        A place in a photograph, `FILE:X,Y` in pixels, or `FILE:X,Y:chart` where a 24-patch chart is in it; without one
        the colour is known within some 20 CIEDE2000 only. It is matched as a screen colour is.
    said : Given, optional
        What is true of that file where it does not say so: scale, light, observer, geometry.
    opacity : str, float or pair of floats, optional
        A word (`solid`, `milky`, `see-through`, `glows`, `any`), a contrast ratio, or its least and most; see
        `tint.opacity`. Solid, when absent and no target is given [-].
    tolerance : float, optional
        CIEDE2000 within which the colour counts as reached: the target's own when absent, which is 1 unless told [-].
    base : str, optional
        Only in this one.
    thickness_mm : float, optional; or walls_mm : sequence of float
        Of the part; of several walls the thinnest is judged first, and the worst counts [mm].
    setting : Setting, optional; or **seen
        In place of the thickness; or of a setting its `over`, `seat`, `light`, `observer`, `geometry`.
    rules : Rules, optional
        What a recipe may hold, and how recipes are ranked.
    loosen : bool
        Whether to look for what would have to give where the target is out of reach.
    best_only : bool
        Whether the first recipe alone is worked out, without the words that compare it with others.
    progress : callable, optional
        Told what is being done, how many steps are done, and of how many.

    Raises
    ------
    JobError
        If every pigment asked for is refused.

    Examples
    --------
    >>> answer = tint.solve(palette, lab=(70, -12, 8), opacity="solid", base="clear", thickness_mm=3)
    >>> answer.best.reached
    True
    """
    from tint.recipes import solve as of

    if (srgb is not None or photo is not None) and setting is None:
        seen = without_gloss(palette) | seen
    seen_in, walls = cast_of(setting, thickness_mm, walls_mm, seen)
    rules = rules or Rules()
    rules = replace(rules, walls_mm=(*rules.walls_mm, *walls[1:]))
    wanted = target_of(palette, seen_in, target, lab=lab, srgb=srgb, reading=reading, photo=photo, said=said)
    if opacity is not None:
        own: dict[str, Any] = dict.fromkeys(BOUNDS)
        wanted = replace(wanted, **own | opacity_of(opacity))
    elif target is None:
        wanted = solid_unless_told(wanted, palette)
    if tolerance is not None:
        wanted = replace(wanted, tolerance=tolerance)
    return of(
        palette, wanted, setting=seen_in, base=base, rules=rules, loosen=loosen, best_only=best_only, progress=progress
    )


@verb
def weigh(
    palette: Palette, recipe: Look, *, batch_g: float | None = None, batch_cm3: float | None = None,
    waste_percent: float | None = None, scale_step_g: float | None = None, premix: bool = True, base: str | None = None,
    thickness_mm: float | None = None, walls_mm: Sequence[float] = (), setting: Setting | None = None, **more: Any,
) -> WeighSheet:  # fmt: skip
    """Grams to weigh for a batch, and what the rounded doses will look like.

    Parameters
    ----------
    recipe : Recipe, Blend, Appearance or mapping of str to float
    batch_g, batch_cm3 : float, optional
        What the moulds hold, one of the two [g] or [cm3].
    waste_percent : float, optional
        A margin on it; the workshop's when absent, else 10 [%].
    scale_step_g : float, optional
        Smallest step of the scale; the workshop's when absent, else 0.01 [g].
    premix : bool
        Whether a dose too small for the scale is let down in base first.
    base, thickness_mm, walls_mm, setting
        As in `predict`; a recipe brings its own. Every wall is told, the worst first.
    **more
        `batch`, `scale`, `split`, `aim`, as in `tint.weighing.weigh`; `over`, `seat`, `light`, `observer`,
        `geometry`, as in `Setting`.

    Examples
    --------
    >>> sheet = tint.weigh(palette, answer.best, batch_g=120, scale_step_g=0.1)
    >>> sheet.lines[0].what
    'part A'
    """
    from tint.weighing import weigh as of

    seen = {name: more.pop(name) for name in SEEN if name in more}
    mixed = blend_of(palette, recipe, base)
    plain = {"batch_g": batch_g, "batch_cm3": batch_cm3, "waste_percent": waste_percent, "scale_step_g": scale_step_g}
    more |= {name: value for name, value in plain.items() if value is not None}
    where, walls = cast_of(setting, thickness_mm, walls_mm, seen, of=recipe)
    return of(palette, mixed, setting=where, premix=premix, walls_mm=walls, warnings=out_of_reach(recipe), **more)


@verb
def proof(
    palette: Palette, recipe: Look, *, target: Target | None = None, title: str = "", show_recipe: bool = False,
    base: str | None = None, thickness_mm: float | None = None, walls_mm: Sequence[float] = (),
    setting: Setting | None = None, part: str | Path | None = None, shell_mm: float | None = None, side: str = "",
    trace: str | None = None, quality: str = "preview", seed: int = 0,
    progress: Callable[[str, int, int], None] | None = None, **seen: Any,
) -> Proof:  # fmt: skip
    """A picture of a recipe for the customer to approve.

    Parameters
    ----------
    recipe : Recipe, Blend, Appearance or mapping of str to float
    target : Target, optional
        Set beside the recipe, edge to edge.
    title : str; show_recipe : bool
        For whom or what it is; whether it tells the pigments and their loadings.
    base, thickness_mm, walls_mm, setting, **seen
        As in `predict`; a recipe brings its own. Every wall is told, the worst first.
    part : str or Path, optional
        A mesh, to be shown itself in place of flat chips; where it is only a surface, `shell_mm` is its wall [mm].
    side : str
        From which the part is seen: `top`, `bottom`, `front`, `back`, `left`, `right` or `corner`.
    trace : str, optional
        Light is followed through the part `window`, `behind`, `inside` or `page`, as of `tint proof --trace`.
    quality, seed, progress
        Of the traced picture: `preview`, `sheet` or `print`; its noise; told what is done, how many steps, of how many.

    Examples
    --------
    >>> tint.proof(palette, answer.best, title="lid").png[1:4]
    b'PNG'
    """
    from tint.proofs import Proof, draw_proof
    from tint.thickness import at_walls

    mixed = blend_of(palette, recipe, base)
    where, walls = cast_of(setting, thickness_mm, walls_mm, seen, of=recipe)
    if part is not None:
        from tint.proofs.part import read_part  # a mesh is for those who have one

        mesh = read_part(part, shell_mm=shell_mm)
        if trace is None:
            from tint.proofs.part_picture import draw_part

            return Proof(draw_part(palette, mixed, mesh, setting=where, target=target, title=title, side=side or "top"))
        from tint.proofs.traced.shown import draw_traced

        drawn = draw_traced(
            palette, mixed, mesh, setting=where, scene=trace, side=side, quality=quality, seed=seed, title=title,
            progress=progress,
        )  # fmt: skip
        return Proof(drawn)
    for name, value in (("trace", trace), ("shell_mm", shell_mm)):
        if value is not None:
            raise InputError(name, "there is no part to apply it to", mend='name one, as in part="lid.stl"')
    every = at_walls(palette, target, predict(palette, mixed, setting=where), walls_mm=walls)
    return Proof(
        draw_proof(palette, mixed, setting=where, target=target, title=title, show_recipe=show_recipe, walls=every)
    )


@verb
def adjust(
    palette: Palette, answer: Answer | Target, trials: Trial | Sequence[Trial], *, thickness_mm: float | None = None,
    walls_mm: Sequence[float] = (), setting: Setting | None = None, rules: Rules | None = None,
    doubts: Doubts | None = None, cup: Cup | None = None, **seen: Any,
) -> Adjustment:  # fmt: skip
    """Learn from what was poured and read, and correct the recipe.

    Parameters
    ----------
    answer : Answer or Target
        What was asked for; an answer brings its setting and rules.
    trials : Trial or sequence of Trial
        Oldest first, poured from the same lots.
    walls_mm : sequence of float
        Walls of the part: the correction is judged at all of them, at whichever the trials were read [mm].
    doubts : Doubts, optional; cup : Cup, optional
        How far lots, bases and thicknesses may be off; a tinted part that stands there, to be added to.

    Examples
    --------
    >>> from tint.trials import Trial, TrialReading
    >>> best = answer.best
    >>> read = TrialReading(values=best.appearance.reflectance, over="white")
    >>> trial = Trial(blend=best.blend, thickness_mm=3.0, readings=(read,))
    >>> tint.adjust(palette, answer, trial).leave
    True
    """
    from tint import trials as of

    several = [trials] if isinstance(trials, of.Trial) else trials
    many = taken(several, Sequence[of.Trial], "trials", "a Trial, or several")
    doubts, cup = taken(doubts, of.Doubts | None, "doubts"), taken(cup, of.Cup | None, "cup")
    asked = answer.target if isinstance(answer, Answer) else answer
    if isinstance(answer, Answer):
        setting, rules = setting or answer.setting, rules or answer.rules
    where, walls = cast_of(setting, thickness_mm, walls_mm, seen)
    if walls:
        rules = replace(rules or Rules(), walls_mm=walls[1:])
    return of.adjust(palette, asked, many, setting=where, rules=rules, doubts=doubts, cup=cup)
