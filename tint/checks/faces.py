"""What the faces of all castings say: an index far from what is stated betrays another seat or geometry throughout.

How a face reflects hangs on the index, on whether an air film lies below, and on what the instrument takes in. Where
one of the last two is stated wrongly of all readings, the fit bends the index to make up for it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from tint.checks.finding import Finding
from tint.checks.ground import Ground, fit_ground
from tint.fitting.problem import INDEX_SD
from tint.fitting.unknowns import indices
from tint.materials import GEOMETRIES
from tint.spectra import Array
from tint.swatches import NO_BACKING, SwatchFolder

# From where an index is another one: 0.036. In 14 random workshops (seeds 860 to 873) it was found within 0.021 of what
# is stated; of 44 folders with seat or geometry wrong throughout it lay farther in 39.
_FAR = 3.0 * INDEX_SD
_LEFT = 0.5  # of the model error: what another seat or geometry may leave of it at most; chosen by eye


def of_faces(ground: Ground) -> Iterator[Finding]:
    """The seat or geometry that all readings seem to have, else the base of which the index is far from as stated."""
    if ground.fitted.problem.index_sd == 0.0 or not _is_far(ground):
        return
    found, stated = _indices(ground), _stated(ground)
    at = int(np.argmax(np.abs(found - stated)))
    error = ground.fitted.weighting.model_error
    tried = [(said, fit_ground(other, optics=ground.fitted.problem.optics[0].model)) for said, other in _others(ground)]
    said, other = min(tried, key=lambda each: each[1].fitted.weighting.model_error)
    if other.fitted.weighting.model_error <= _LEFT * error and not _is_far(other):
        where, about = "all castings", tuple(swatch.name for swatch in ground.folder.swatches)
        words = (
            f"their faces read as if {said}: the refractive index then is {_indices(other)[at]:.2f}, as stated the "
            f"readings make it {found[at]:.2f}"
        )
        mend = (
            "see how they were read, and correct readings.csv or palette.toml; the pigments are judged once they agree"
        )
    else:
        where, about = tuple(ground.folder.bases)[at], ()
        words = f"its faces read like those of a refractive index of {found[at]:.2f}; stated is {stated[at]:.2f}"
        mend = "see its data sheet, the seats in readings.csv, and the geometry in palette.toml"
    effect = "absorption and scattering are bent to make up for faces that are not those of the castings"
    yield Finding(kind="faces", where=where, words=words, effect=effect, mend=mend, about=about)


def _others(ground: Ground) -> Iterator[tuple[str, SwatchFolder]]:
    """The folder had all been read in the other seat, or in another geometry, and in words what that says."""
    folder = ground.folder
    laid = [each for each in folder.readings if each.backing != NO_BACKING]
    if len({each.seat for each in laid}) == 1:
        seat = {"air": "wet", "wet": "air"}[laid[0].seat]
        turned = tuple(replace(each, seat=seat) if each.backing != NO_BACKING else each for each in folder.readings)
        yield f'seat = "{seat}" were true of all', replace(folder, readings=turned)
    for geometry in GEOMETRIES:
        if geometry != folder.instrument.geometry:
            instrument = replace(folder.instrument, geometry=geometry)
            yield f'geometry = "{geometry}" were true', replace(folder, instrument=instrument)


def _indices(ground: Ground) -> Array:
    return indices(ground.fitted.problem, ground.fitted.minimum.at.shape)


def _stated(ground: Ground) -> Array:
    return np.array([base.refractive_index for base in ground.folder.bases.values()])


def _is_far(ground: Ground) -> bool:
    """Whether a base has an index that is not the one stated."""
    return bool(np.any(np.abs(_indices(ground) - _stated(ground)) > _FAR))
