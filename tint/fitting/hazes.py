"""The haze of a casting as evidence: one number of a hazemeter, taken as a beam through the casting.

Haze is of all wavelengths together, and a fit's equations are of each alone. So a reading of regular transmittance
stands for it, of the shape that the fit itself finds and of the height that has the haze. It moves with the fit from
round to round, and each wavelength of it is as uncertain as makes all of them say as much as the one number does.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.fitting.problem import Problem
from tint.fitting.unknowns import Unknowns, made, seen_at
from tint.forward import TRANSMITTANCE
from tint.swatches import Reading, SwatchFolder
from tint.swatches.records import HAZEMETER, NO_BACKING, REGULAR, SPECTRA

Array = NDArray[np.float64]

_FLAT = 0.9  # total transmittance to begin with
_FAINT = 1e-6  # luminous regular transmittance below which its shape says nothing
_SETTLED = 0.2  # standard deviations within which no value moves any more


def as_beams(folder: SwatchFolder) -> SwatchFolder:
    """A folder with a reading for the haze of every casting that was read, but of those whose beam was read itself."""
    read = {each.swatch for each in folder.readings}
    known = {each.swatch for each in folder.readings if each.quantity == REGULAR}
    if folder.kind != SPECTRA:
        return folder
    beams = tuple(
        Reading(
            swatch=each.name,
            backing=NO_BACKING,
            seat="air",
            quantity=REGULAR,
            values=np.full(folder.wavelengths.size, _FLAT * (1.0 - each.haze)),
            source=HAZEMETER,
            row=each.row,
        )
        for each in folder.swatches
        if each.haze is not None and each.name in read - known
    )
    return replace(folder, readings=folder.readings + beams) if beams else folder


def at_height(problem: Problem, at: Unknowns, beams: Array) -> Problem:
    """A problem whose readings for hazes have the shape of `beams`, what is predicted of them, and those hazes."""
    rows = problem.haze_rows
    if not rows.size:
        return problem
    as_made = made(problem, at)
    once = replace(
        problem.readings,
        casting=problem.readings.casting[rows],
        backing=np.full(rows.size, TRANSMITTANCE, dtype=np.int64),
        wet=problem.readings.wet[rows],
        base=problem.readings.base[rows],
        faces=(),
    )
    optics = tuple(replace(each, spot=None) for each in problem.optics)  # a hazemeter's port is wide
    total = seen_at(problem, at, as_made, once, optics).values
    luminance = colorimetry.viewing(problem.wavelengths, light="C", observer=2).weights[:, 1]
    wanted = (1.0 - problem.haze) * (total @ luminance) / luminance.sum()
    now = (beams @ luminance) / luminance.sum()
    shape = np.where(now[:, None] > _FAINT, beams, total)
    height = wanted / np.maximum((shape @ luminance) / luminance.sum(), _FAINT)
    read = problem.read.copy()
    read[rows] = shape * height[:, None]
    return replace(problem, read=read)


def have_settled(before: Problem, after: Problem) -> bool:
    """Whether readings for hazes move no more than their own uncertainty allows."""
    moved = np.abs(after.read - before.read)[after.haze_rows]
    return bool(np.all(moved <= _SETTLED * after.noise[after.haze_rows]))
