"""What one does with a swatch folder, a verb each: the commands' twins, which take plain values and hand back things.

`tint.fit`, `tint.check` and the rest are these; those that make recipes and use them are in `tint.verbs`.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from tint.errors import InputError
from tint.given import verb
from tint.palette import BROKEN, Palette, fit_path, read_palette
from tint.swatches import SPECTRA, SwatchFolder, folder_digest
from tint.swatches import read_folder as read
from tint.swatches.folder import workshop_of
from tint.swatches.instruments import Given

if TYPE_CHECKING:
    from tint.checks import Finding
    from tint.fitting.leaving_out import Fitted
    from tint.inspection import Inspection
    from tint.planning import Plan
    from tint.starting import Started

Folder = SwatchFolder | str | Path


def folder_of(given: Folder) -> SwatchFolder:
    """A folder, read when only its path is given."""
    return given if isinstance(given, SwatchFolder) else read(given)


@verb
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
    return read(path)


@verb
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


@verb
def load(path: str | Path, *, optics: str = "many-flux", progress: Callable[[str], None] | None = None) -> Palette:
    """The palette that `tint fit` wrote into a folder, if it is of the swatches as they stand; else fit them.

    Nothing is written. Arguments are those of `fit`.

    Examples
    --------
    >>> tint.load("swatches_demo").name
    'Demo studio'
    """
    folder = Path(path)
    digest = folder_digest(folder)
    try:
        return replace(read_palette(fit_path(folder, optics), digest=digest), workshop=workshop_of(folder))
    except InputError as error:
        if progress is not None and error.found == BROKEN:
            progress(f"{error.where} {BROKEN}; it is fitted again")
        return fit(folder, optics=optics, progress=progress)


@verb
def check(folder: Folder, *, quick: bool = False) -> tuple[Finding, ...]:
    """What a metrologist would ask about the readings and castings of a folder.

    Parameters
    ----------
    folder : SwatchFolder, str or Path
    quick : bool
        Whether castings are not held against each other, which takes a fit.

    Examples
    --------
    >>> [finding.kind for finding in tint.check("swatches_demo")]
    []
    """
    from tint.checks import examine

    swatches = folder_of(folder)
    return examine(swatches) if quick or not swatches.readings else examine(swatches, *as_it_stands(swatches))


def as_it_stands(folder: SwatchFolder, *, optics: str = "many-flux") -> tuple[Palette, Fitted | None]:
    """The palette that was fitted to a folder as it is, or one fitted now with what leaving out its castings needs."""
    from tint.fitting import fit_palette
    from tint.fitting.spectra import fit_with_ground

    try:
        return read_palette(fit_path(folder.path, optics), digest=folder.digest), None
    except InputError:
        if folder.kind == SPECTRA:
            return fit_with_ground(folder, optics=optics)
        return fit_palette(folder, optics=optics), None


@verb
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
        name=name or os.path.basename(os.path.abspath(place)), bases=bases, pigments=pigments, white=white, reads=reads,
        geometry=geometry, cards=cards, moulds_mm=moulds_mm, scale_step_g=scale_step_g, scale_max_g=scale_max_g,
    ) if bases or pigments else None  # fmt: skip
    return begin(place, told, area_cm2=area_cm2, workbook=workbook)


@verb
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
    return next_swatches(palette, count=castings, bases=bases, thicknesses_mm=depths)


@verb
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
