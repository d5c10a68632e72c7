"""Swatches to palette: all castings of all bases together, errors in thickness and doses included.

`spectra` fits readings that are spectra, one k and s a wavelength. `colours` fits a colorimeter's L*, a*, b*, where
what colours cannot tell of a spectrum comes from a prior.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from pathlib import Path

from threadpoolctl import threadpool_limits

from tint.errors import InputError
from tint.fitting.spectra import fit_with_ground
from tint.palette import Palette, fit_path, write_palette
from tint.swatches import COLOURS, SwatchFolder, read_folder


def fit_palette(
    folder: SwatchFolder,
    *,
    optics: str = "many-flux",
    g: float | None = None,
    progress: Callable[[str], None] | None = None,
) -> Palette:
    """Fit all bases and pigments of a folder, by the layer model `many-flux` or `two-flux`.

    An anisotropy of scattering g, where it is given, is that of all components and held fixed; else that of every
    component is fitted (many-flux only). `progress` is told in words how far the search is. A folder without
    readings of swatches is an InputError.
    """
    if not folder.readings:
        raise InputError(str(folder.path), "there are no readings of swatches", mend="read at least one casting")
    with threadpool_limits(1):  # the arrays are small: threads of the linear algebra get in each other's way
        if folder.kind == COLOURS:
            from tint.fitting.colours import fit_colours  # few need it, and its prior costs a library

            return fit_colours(folder, optics=optics, g=g)
        return fit_with_ground(folder, optics=optics, g=g, progress=progress)[0]


def refit(folder: Path, *, optics: str, progress: Callable[[str], None] | None = None) -> Palette:
    """Fit a folder and keep the palette in it; one that cannot be written to costs only time.

    Arguments and errors are those of `fit_palette`.
    """
    palette = fit_palette(read_folder(folder), optics=optics, progress=progress)
    with contextlib.suppress(InputError):
        write_palette(palette, fit_path(folder, optics))
    return palette
