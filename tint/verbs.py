"""What one does with tint, a verb each: the commands' twins, which take plain values and hand back things.

A verb builds the things that its room takes from names and numbers, and calls the room; nothing is worked out here.
`tint.fit`, `tint.predict` and the rest are these.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, overload

from numpy.typing import ArrayLike

from tint.appearance import Appearance, Setting
from tint.errors import InputError
from tint.given import SEEN, Folder, Look, blend_of, folder_of, palette_of, setting_of, target_of, typed, walls_of
from tint.opacity import opacity_of
from tint.palette import BROKEN, Palette, fit_path, read_palette
from tint.recipes import Answer, Rules
from tint.swatches import SwatchFolder, folder_digest
from tint.swatches.folder import workshop_of
from tint.swatches.instruments import Given
from tint.target import BOUNDS, Target, solid_unless_told, without_gloss

if TYPE_CHECKING:
    from tint.checks import Finding
    from tint.inspection import Inspection
    from tint.planning import Plan
    from tint.proofs import Proof
    from tint.starting import Started
    from tint.trials import Adjustment, Trial
    from tint.weighing import WeighSheet


def read_folder(path: str | Path) -> SwatchFolder:
    """A swatch folder: what a maker declared, cast and read.

    Raises
    ------
    FolderError
        If it has faults; the error holds every one of them.

    Examples
    --------
    >>> len(tint.read_folder("swatches_demo").swatches)
    75
    """
    from tint.swatches import read_folder as read

    return read(typed(path, str | Path, "folder", "the path of a swatch folder"))


def fit(folder: Folder, *, optics: str = "many-flux", progress: Callable[[str], None] | None = None) -> Palette:
    """Learn from the swatches of a folder how each base and pigment absorbs and scatters.

    Parameters
    ----------
    folder : SwatchFolder, str or Path
    optics : str
        Layer model: `many-flux` or `two-flux`.
    progress : callable, optional
        Told in words how far the search is.

    Raises
    ------
    InputError
        If the folder has faults, or holds no readings of swatches.

    Examples
    --------
    >>> palette = tint.fit("swatches_demo")
    >>> list(palette.bases)
    ['clear', 'milky']
    """
    from tint.fitting import fit_palette

    swatches = folder_of(folder)
    palette = fit_palette(swatches, optics=optics, progress=progress)
    return replace(palette, workshop=workshop_of(swatches.path))


def load(path: str | Path, *, optics: str = "many-flux", progress: Callable[[str], None] | None = None) -> Palette:
    """The palette that `tint fit` wrote into a folder, if it is of the swatches as they stand; else fit them.

    Nothing is written. Arguments are those of `fit`.

    Examples
    --------
    >>> tint.load("swatches_demo").name
    'Demo studio'
    """
    folder = Path(typed(path, str | Path, "folder", "the path of a swatch folder"))
    digest = folder_digest(folder)
    try:
        return replace(read_palette(fit_path(folder, optics), digest=digest), workshop=workshop_of(folder))
    except InputError as error:
        if progress is not None and error.found == BROKEN:
            progress(f"{error.where} {BROKEN}; it is fitted again")
        return fit(folder, optics=optics, progress=progress)


def check(folder: Folder, *, palette: Palette | None = None) -> tuple[Finding, ...]:
    """What a metrologist would ask about the readings and castings of a folder.

    Parameters
    ----------
    folder : SwatchFolder, str or Path
    palette : Palette, optional
        Fitted to this very folder; with it, castings are held against each other too.

    Examples
    --------
    >>> [finding.kind for finding in tint.check("swatches_demo")]
    []
    """
    from tint.checks import examine

    return examine(folder_of(folder), palette)


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


def predict(
    palette: Palette, blend: Look, *, base: str | None = None, thickness_mm: float | None = None,
    walls_mm: Sequence[float] = (), setting: Setting | None = None, **seen: Any,
) -> Appearance | tuple[Appearance, ...]:  # fmt: skip
    """What a blend will look like: spectrum, colour and opacity, with its error.

    Parameters
    ----------
    palette : Palette
    blend : mapping of str to float, Blend, Recipe or Appearance
        Loadings of the pigments [% by mass of the finished mix], or what holds them.
    base : str, optional
        Needed with loadings, where the palette has several bases.
    thickness_mm : float, optional
        Of the part; a recipe's own when absent [mm].
    walls_mm : sequence of float
        In place of it, for a part of several walls: then there is an appearance of each, the thinnest first [mm].
    setting : Setting, optional
        In place of `thickness_mm` and what follows.
    **seen
        `over`, `seat`, `light`, `observer`, `geometry`, as in `Setting`.

    Raises
    ------
    InputError
        If something is unknown, missing, or of the wrong kind.

    Examples
    --------
    >>> look = tint.predict(palette, {"white": 0.5, "yellow": 0.3}, base="clear", thickness_mm=3)
    >>> look.srgb
    '#ffcb00'
    """
    from tint.appearance import predict as of

    mixed = blend_of(palette_of(palette), blend, base)
    if len(walls_mm):
        walls = walls_of(walls_mm, thickness_mm)
        return tuple(of(palette, mixed, setting=setting_of(setting, wall, seen, of=blend)) for wall in walls)
    return of(palette, mixed, setting=setting_of(setting, thickness_mm, seen, of=blend))


def solve(
    palette: Palette, target: Target | None = None, *, lab: ArrayLike | None = None, srgb: str | None = None,
    reading: str | None = None, photo: str | None = None, opacity: str | float | Sequence[float] | None = None,
    tolerance: float | None = None,
    base: str | None = None, thickness_mm: float | None = None, walls_mm: Sequence[float] = (),
    setting: Setting | None = None, rules: Rules | None = None, said: Given | None = None, loosen: bool = True,
    progress: Callable[[str, int, int], None] | None = None, **seen: Any,
) -> Answer:  # fmt: skip
    """Recipes for a colour and an opacity, best first.

    Parameters
    ----------
    palette : Palette
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
    thickness_mm : float, optional
        Of the part [mm]; or
    walls_mm : sequence of float
        its several walls: the thinnest is judged first, and the worst counts [mm].
    setting : Setting, optional
        In place of the thickness and what follows.
    rules : Rules, optional
        What a recipe may hold, and how recipes are ranked.
    loosen : bool
        Whether to look for what would have to give where the target is out of reach.
    progress : callable, optional
        Told what is being done, how many steps are done, and of how many.
    **seen
        `over`, `seat`, `light`, `observer`, `geometry`, as in `Setting`.

    Raises
    ------
    InputError
        If something is unknown, missing, given twice, or of the wrong kind.
    JobError
        If every pigment asked for is refused.

    Examples
    --------
    >>> answer = tint.solve(palette, lab=(70, -12, 8), opacity="solid", base="clear", thickness_mm=3)
    >>> answer.best.reached
    True
    """
    from tint.recipes import solve as of

    palette_of(palette)
    walls = walls_of(walls_mm, thickness_mm)
    if (srgb is not None or photo is not None) and setting is None:
        seen = without_gloss(palette) | seen
    seen_in = setting_of(setting, walls[0] if walls else thickness_mm, seen)
    rules = rules or Rules()
    if walls[1:]:
        rules = replace(rules, walls_mm=(*rules.walls_mm, *walls[1:]))
    wanted = target_of(palette, seen_in, target, lab=lab, srgb=srgb, reading=reading, photo=photo, said=said)
    if opacity is not None:
        own: dict[str, Any] = dict.fromkeys(BOUNDS)
        wanted = replace(wanted, **own | opacity_of(opacity))
    elif target is None:
        wanted = solid_unless_told(wanted, palette)
    if tolerance is not None:
        wanted = replace(wanted, tolerance=tolerance)
    return of(palette, wanted, setting=seen_in, base=base, rules=rules, loosen=loosen, progress=progress)


def weigh(
    palette: Palette, recipe: Look, *, batch_g: float | None = None, batch_cm3: float | None = None,
    waste_percent: float | None = None, scale_step_g: float | None = None, premix: bool = True, base: str | None = None,
    thickness_mm: float | None = None, walls_mm: Sequence[float] = (), setting: Setting | None = None, **more: Any,
) -> WeighSheet:  # fmt: skip
    """Grams to weigh for a batch, and what the rounded doses will look like.

    Parameters
    ----------
    palette : Palette
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

    Raises
    ------
    InputError
        If the batch is not given once, or a quantity makes no sense.

    Examples
    --------
    >>> sheet = tint.weigh(palette, answer.best, batch_g=120, scale_step_g=0.1)
    >>> sheet.lines[0].what
    'part A'
    """
    from tint.weighing import weigh as of

    seen = {name: more.pop(name) for name in SEEN if name in more}
    mixed = blend_of(palette_of(palette), recipe, base)
    plain = {"batch_g": batch_g, "batch_cm3": batch_cm3, "waste_percent": waste_percent, "scale_step_g": scale_step_g}
    more |= {name: value for name, value in plain.items() if value is not None}
    walls = walls_of(walls_mm, thickness_mm, of=recipe)
    where = setting_of(setting, walls[0] if walls else thickness_mm, seen, of=recipe)
    return of(palette, mixed, setting=where, premix=premix, walls_mm=walls, **more)


def proof(
    palette: Palette, recipe: Look, *, target: Target | None = None, title: str = "", show_recipe: bool = False,
    base: str | None = None, thickness_mm: float | None = None, walls_mm: Sequence[float] = (),
    setting: Setting | None = None, **seen: Any,
) -> Proof:  # fmt: skip
    """A picture of a recipe for the customer to approve.

    Parameters
    ----------
    palette : Palette
    recipe : Recipe, Blend, Appearance or mapping of str to float
    target : Target, optional
        Set beside the recipe, edge to edge.
    title : str
        For whom or what it is.
    show_recipe : bool
        Whether it tells the pigments and their loadings.
    base, thickness_mm, walls_mm, setting, **seen
        As in `predict`; a recipe brings its own. Every wall is told, the worst first.

    Examples
    --------
    >>> tint.proof(palette, answer.best, title="lid").png[1:4]
    b'PNG'
    """
    from tint.proofs import Proof, draw_proof
    from tint.walls import at_walls

    mixed = blend_of(palette_of(palette), recipe, base)
    walls = walls_of(walls_mm, thickness_mm, of=recipe)
    where = setting_of(setting, walls[0] if walls else thickness_mm, seen, of=recipe)
    every = at_walls(palette, target, predict(palette, mixed, setting=where), walls_mm=walls)
    return Proof(
        draw_proof(palette, mixed, setting=where, target=target, title=title, show_recipe=show_recipe, walls=every)
    )


def adjust(
    palette: Palette, answer: Answer | Target, trials: Trial | Sequence[Trial], *, thickness_mm: float | None = None,
    walls_mm: Sequence[float] = (), setting: Setting | None = None, rules: Rules | None = None, **seen: Any,
) -> Adjustment:  # fmt: skip
    """Learn from what was poured and read, and correct the recipe.

    Parameters
    ----------
    palette : Palette
    answer : Answer or Target
        What was asked for; an answer brings its setting and rules.
    trials : Trial or sequence of Trial
        Oldest first, poured from the same lots.
    walls_mm : sequence of float
        Walls of the part: the correction is judged at all of them, at whichever the trials were read [mm].

    Examples
    --------
    >>> from tint.trials import Trial, TrialReading
    >>> best = answer.best
    >>> read = TrialReading(values=best.appearance.reflectance, over="white")
    >>> trial = Trial(blend=best.blend, thickness_mm=3.0, readings=(read,))
    >>> tint.adjust(palette, answer, trial).leave
    True
    """
    from tint.trials import Trial as One
    from tint.trials import adjust as of

    palette_of(palette)
    many = [trials] if isinstance(trials, One) else list(trials)
    asked = answer.target if isinstance(answer, Answer) else typed(answer, Target, "adjust", "an Answer or a Target")
    if isinstance(answer, Answer):
        setting, rules = setting or answer.setting, rules or answer.rules
    walls = walls_of(walls_mm, thickness_mm)
    if walls:
        thickness_mm, rules = walls[0], replace(rules or Rules(), walls_mm=walls[1:])
    return of(palette, asked, many, setting=setting_of(setting, thickness_mm, seen), rules=rules)


def start(
    folder: str | Path, *, bases: Sequence[str] = (), pigments: Sequence[str] = (), name: str = "", white: str = "",
    reads: str = "nothing", geometry: str = "", cards: Sequence[str] = (), moulds_mm: Sequence[float] = (),
    scale_step_g: float | None = None, scale_max_g: float | None = None, area_cm2: float = 25.0,
    workbook: bool = False,
) -> Started:  # fmt: skip
    """A folder to begin with: palette.toml, swatches.csv with what to pour first, and a plan to print, in grams.

    Parameters
    ----------
    folder : str or Path
        Made if need be. Files that are there stay as they are; where palette.toml is one of them, it tells the rest.
    bases : sequence of str
        `NAME=CURE,MIX,BEARS`, as in `clear=platinum,1:1,3`: parts by mass, and percent of pigment that it bears.
    pigments : sequence of str
        `NAME=CURES,MOST`, as in `rose=tin,1`: the cures it is safe with (platinum, tin, both, unknown), and percent.
    white : str
        The pigment that tints are made with, where no name tells it.
    reads : str
        `spectrophotometer`, `colorimeter`, `telephone` or `nothing` yet.
    moulds_mm : sequence of float
        Depths at hand; 1, 2, 3 and 5 when empty [mm].
    scale_step_g, scale_max_g : float, optional
        Of the scale [g].
    area_cm2 : float
        Of a swatch [cm2].
    workbook : bool
        Whether all tables go into one swatches.xlsx.

    Examples
    --------
    >>> import tempfile
    >>> begun = tint.start(tempfile.mkdtemp(), bases=["clear=platinum"], pigments=["white=both", "blue=both"])
    >>> len(begun.plan.castings), begun.plan.sheet.cups[1].lines[0].grams
    (7, 9.19)
    """
    from tint.starting import answers_of
    from tint.starting import start as begin

    place = Path(folder)
    told = answers_of(
        name=name or place.resolve().name, bases=bases, pigments=pigments, white=white, reads=reads, geometry=geometry,
        cards=cards, moulds_mm=moulds_mm, scale_step_g=scale_step_g, scale_max_g=scale_max_g,
    ) if bases or pigments else None  # fmt: skip
    return begin(place, told, area_cm2=area_cm2, workbook=workbook)


def plan(palette: Palette, *, castings: int = 5, bases: Sequence[str] = (), moulds_mm: Sequence[float] = ()) -> Plan:
    """Which swatches to pour next, because they teach most.

    Parameters
    ----------
    palette : Palette
    castings : int
        How many to propose.
    bases : sequence of str
        Only in these.
    moulds_mm : sequence of float
        Depths at hand; 1, 2, 3 and 5 when empty [mm].

    Examples
    --------
    >>> len(tint.plan(palette, castings=2).castings)
    2
    """
    from tint.planning import MOULDS_MM, next_swatches

    depths = [float(depth) for depth in moulds_mm or MOULDS_MM]
    return next_swatches(palette_of(palette), count=castings, bases=bases, thicknesses_mm=depths)


def inspect(
    folder: Folder, reading: str, reference: str, *, tolerance: float = 1.0, over: str = "", seat: str = "air",
    light: str = "D65", observer: int = 10, said: Given | None = None,
) -> Inspection:  # fmt: skip
    """A reading against what was approved: pass, fail, or too close to call.

    Parameters
    ----------
    folder : SwatchFolder, str or Path
        Whose instrument read both.
    reading, reference : str
        `FILE` or `FILE:NAME`.
    tolerance : float
        What was agreed [CIEDE2000].
    over : str
        What both lay over; the lightest backing when empty.
    said : Given, optional
        What is true of the files where they do not say so: scale, light, observer, geometry.

    Examples
    --------
    >>> lid = "swatches_demo/readings.csv:peach-lid"
    >>> tint.inspect("swatches_demo", lid, lid).verdict
    'pass'
    """
    from tint import colorimetry
    from tint.inspection import Tolerance, darkest_first, inspect_reading, part_spectrum, read_part
    from tint.swatches import COLOURS, NO_BACKING

    of = folder_of(folder)
    view = colorimetry.viewing(of.wavelengths, light=light, observer=observer)
    behind = over or (darkest_first(of) or [NO_BACKING])[-1]
    both = [read_part(each, of, over=behind, seat=seat, said=said) for each in (reading, reference)]
    spectra = [part_spectrum(each, view) for each in both]
    return inspect_reading(
        *spectra,
        view=view,
        tolerance=Tolerance(delta_e=tolerance),
        repeatability=of.instrument.repeatability,
        of_colours=of.kind == COLOURS,
    )
