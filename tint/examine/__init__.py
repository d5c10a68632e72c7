"""What a metrologist would ask about a folder: readings that quarrel, castings out of line, what was not poured.

Every limit comes from the errors that the folder states (repeatability, thickness, doses) and from how much is
compared: each kind of check finds something in about one clean folder in a thousand, were errors normal.
"""

from __future__ import annotations

from collections.abc import Iterator

from tint.examine.finding import Finding
from tint.examine.left_out import LeftOut, left_out
from tint.examine.out_of_line import of_lines
from tint.examine.readings import of_readings
from tint.examine.residuals import of_jumps, of_tails
from tint.examine.swatches import of_swatches
from tint.palette import Palette
from tint.swatches import SwatchFolder

__all__ = ["Finding", "LeftOut", "examine", "left_out"]


def examine(folder: SwatchFolder, palette: Palette | None = None) -> tuple[Finding, ...]:
    """Examine the readings and castings of a folder and, with a palette, how the castings agree with each other.

    Parameters
    ----------
    folder : SwatchFolder
        As `tint.swatches.read_folder` returns it.
    palette : Palette, optional
        Fitted to this very folder; without it, jumps, castings out of line and thicknesses are not looked for.

    Returns
    -------
    tuple of Finding
        Empty for a folder with nothing to ask about.
    """
    return tuple(_found(folder, palette))


def _found(folder: SwatchFolder, palette: Palette | None) -> Iterator[Finding]:
    yield from of_readings(folder)
    yield from of_swatches(folder)
    if palette is None:
        return
    jumps = tuple(of_jumps(folder, palette))
    yield from jumps
    yield from of_tails(folder, palette)
    yield from of_lines(folder, palette, jumped=frozenset(each.where.split(", ")[0] for each in jumps))
