"""What a photograph gives to a swatch folder: one colour for each name, and the repeatability to state of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.colorimetry import difference, lab_to_xyz, xyz_to_lab
from tint.photographs.colours import Photographed, SpotColour

Array = NDArray[np.float64]

_STEP = 1e-4  # of X, Y or Z, a perfect white being 1
_OF_95 = 1.96  # standard deviations that 95 of 100 lie within, as of a bell curve


@dataclass(frozen=True, kw_only=True, eq=False)
class PhotoReading:
    """The colour of a swatch or a bare card over all its places in one photograph.

    Parameters
    ----------
    name, backing, seat : str
        As readings are named.
    lab : ndarray, shape (3,)
        Mean of its places [-].
    error : float
        CIEDE2000 that holds 95 times in 100: the mean of theirs, for what a photograph misses it misses at each [-].
    """

    name: str
    backing: str
    seat: str
    lab: Array
    error: float


def photo_readings(told: Photographed) -> tuple[PhotoReading, ...]:
    """One reading for each name, backing and seat, in the order of the spots."""
    places: dict[tuple[str, str, str], list[SpotColour]] = {}
    for each in told.spots:
        places.setdefault((each.spot.name, each.spot.backing, each.spot.seat), []).append(each)
    return tuple(
        PhotoReading(
            name=name,
            backing=backing,
            seat=seat,
            lab=np.mean([each.lab for each in held], axis=0),
            error=float(np.mean([each.error for each in held])),
        )
        for (name, backing, seat), held in places.items()
    )


def repeatability(told: Photographed) -> float:
    """The `repeatability` that a folder of such photographs should state.

    Returns
    -------
    float
        Standard deviation of X, Y and Z, each as a share of the perfect white's [-].

    Notes
    -----
    Errors of X, Y and Z of one size and independent make, in a colour, the CIEDE2000 of the root of the sum of squares
    of what each alone makes. The figure is the size that makes what the photograph states of each of its readings, the
    root mean square of them. A photograph's errors are neither independent nor of one size; `tint fit` finds what
    this leaves out from the castings, and calls it misfit.
    """
    readings = photo_readings(told)
    lab = np.array([each.lab for each in readings])
    errors = np.array([each.error for each in readings])
    share = lab_to_xyz(lab, np.ones(3))
    beside = xyz_to_lab(share[:, None, :] + _STEP * np.eye(3), np.ones(3))
    slopes = difference(lab[:, None, :], beside) / _STEP
    sizes = errors / _OF_95 / np.sqrt(np.sum(slopes**2, axis=-1))
    return float(np.sqrt(np.mean(sizes**2)))
