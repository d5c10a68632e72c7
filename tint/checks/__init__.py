"""What a metrologist would ask about a folder: readings that quarrel, castings out of line, what was not poured.

Every limit comes from the errors that the folder states (repeatability, thickness, doses) and from how much is
compared: each kind of check finds something in about one clean folder in a thousand, were errors normal.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from tint.checks.castings import of_conditions, of_swatches
from tint.checks.ground import Finding, Ground, LeftOut, fit_ground, left_out, without
from tint.checks.jumps import of_jumps
from tint.checks.mixed_up import of_mixed_up
from tint.checks.out_of_line import of_colour_lines, of_lines
from tint.checks.pigments import of_tails, of_two_strengths, with_odd_pigment
from tint.checks.readings import as_shares, of_readings
from tint.checks.surroundings import of_cards, of_edges, of_faces, unstated_spot
from tint.fitting.leaving_out import Fitted
from tint.fitting.report import of_cast
from tint.palette import Palette
from tint.swatches import COLOURS, SwatchFolder

_MOST_ACCUSED = 0.25  # of all swatches: beyond it the instrument is at fault, not the castings

__all__ = ["Finding", "LeftOut", "examine", "left_out", "unstated_spot"]


def examine(folder: SwatchFolder, palette: Palette | None = None, fitted: Fitted | None = None) -> tuple[Finding, ...]:
    """Examine the readings and castings of a folder and, with a palette, how the castings agree with each other.

    Without a palette, fitted to this very folder, jumps, castings out of line, thicknesses and light lost at the
    edge of the measured spot are not looked for. Of colours only castings out of line and lost light are told. The
    fit that the palette is of, as `tint.fitting.spectra.fit_with_ground` returns it, spares fitting a folder of
    spectra again.
    """
    return tuple(_found(folder, palette, fitted))


def _found(folder: SwatchFolder, palette: Palette | None, fitted: Fitted | None) -> Iterator[Finding]:
    shares = as_shares(folder)
    read = tuple(of_readings(shares))
    yield from read
    yield from of_swatches(shares)
    yield from of_conditions(folder)
    if palette is None:
        return
    yield from of_edges(folder, palette)
    if folder.kind == COLOURS:
        yield from of_colour_lines(folder, palette)
        return
    # What its own readings give away is told once: it leaves before castings are held against each other.
    accused = _swatches(folder, (each.about for each in read))
    if len(accused) > _MOST_ACCUSED * len(folder.swatches):
        return  # a fit to readings that are wrong throughout contradicts the right ones
    rest = of_cast(without(folder, accused))
    if not rest.readings:
        return
    known = None if accused else fitted
    ground = fit_ground(rest, optics=palette.model) if known is None else Ground(rest, known)
    tails = tuple(of_tails(ground))
    yield from tails
    # Nothing more is told of castings that hold a pigment already told to emit light.
    glowing = {name for each in tails for name in each.about} | _in_all_that_glow(folder, read)
    lit = {swatch.name for swatch in rest.swatches if glowing & set(swatch.loadings)}
    yield from (each for each in _of_castings(ground) if lit.isdisjoint(each.about))


def _in_all_that_glow(folder: SwatchFolder, found: Iterable[Finding]) -> frozenset[str]:
    """The one pigment that all castings hold that send back more light than fell on them, if there is one."""
    glow = _swatches(folder, (each.about for each in found if each.kind == "fluorescence"))
    held = [frozenset(swatch.loadings) for swatch in folder.swatches if swatch.name in glow]
    common = frozenset.intersection(*held) if held else frozenset()
    return common if len(common) == 1 else frozenset()


def _of_castings(ground: Ground) -> Iterator[Finding]:
    """Faces or cards that were others, else castings out of line, then the jumps that those do not explain."""
    faces = tuple(of_faces(ground))
    if any(each.about for each in faces):
        yield from faces
        return  # of another seat or geometry throughout all else is a consequence
    cards = tuple(of_cards(ground))
    if cards:
        yield from cards
        return  # over a card that was not there, no casting can be judged
    yield from faces
    folder = ground.folder
    jumps = tuple(of_jumps(ground))
    jumped = _swatches(folder, (each.about for each in jumps))
    lines, rest, out = of_lines(ground, jumped=jumped)
    mixed, swapped = of_mixed_up(out, rest)
    lines = [*mixed, *(each for each in lines if not swapped & set(each.about))]
    uneven = tuple(of_two_strengths(ground))
    yield from uneven
    # Where a pigment is of two strengths, single castings that hold it are not to blame.
    lines = [
        each for each in lines if not uneven or _holds(folder, each.about).isdisjoint(each.where for each in uneven)
    ]
    yield from with_odd_pigment(folder, lines)
    if rest is ground:
        yield from jumps
        return
    named = _swatches(folder, (each.about for each in lines))
    gone = {swatch.name for swatch in folder.swatches} - {swatch.name for swatch in rest.folder.swatches} - named
    yield from (each for each in jumps if gone & set(each.about))
    yield from of_jumps(rest)


def _holds(folder: SwatchFolder, names: Iterable[str]) -> frozenset[str]:
    return frozenset(pigment for swatch in folder.swatches if swatch.name in set(names) for pigment in swatch.loadings)


def _swatches(folder: SwatchFolder, about: Iterable[tuple[str, ...]]) -> frozenset[str]:
    return frozenset(swatch.name for swatch in folder.swatches) & {name for names in about for name in names}
