"""What would reconcile a casting with all others: its thickness, or one of its doses, having been another."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tint import forward
from tint.checks.finding import Index
from tint.checks.ground import Ground
from tint.fitting.leaving_out import Fitted, LeftOut
from tint.fitting.problem import indices, lobe_of
from tint.forward import Readings
from tint.palette import shares
from tint.spectra import Array

_FACTORS = np.geomspace(0.1, 10.0, 401)  # of a thickness or dose that are thought of


@dataclass(frozen=True)
class Reason:
    """What the readings would be those of.

    Parameters
    ----------
    slot : int
        0 for the thickness, then the doses.
    pigment : str
        That the dose is of; empty for the thickness.
    factor : float
        Of what is written [-].
    left : float
        What it leaves of the miss: the square of its length in standard deviations [-].
    """

    slot: int
    pigment: str
    factor: float
    left: float


def reasons(ground: Ground, left: LeftOut, inverse: Array) -> Iterator[Reason]:
    """One dose or the thickness of a casting at a time, changed until its readings agree best with the others.

    Parameters
    ----------
    left : LeftOut
        The casting left out.
    inverse : ndarray, shape (n_readings n_wavelengths, ) twice
        Inverse covariance of its misses.
    """
    problem, casting = ground.fitted.problem, left.castings[0]
    pigments = tuple(ground.folder.pigments)
    for slot in np.flatnonzero(problem.used[casting]):
        changed = np.tile(problem.loadings[casting], (_FACTORS.size + 1, 1))
        depth = np.full(_FACTORS.size + 1, problem.thickness[casting])
        name = pigments[problem.dosed[casting, slot - 1]] if slot else ""
        if slot:
            changed[1:, problem.dosed[casting, slot - 1]] *= _FACTORS
        else:
            depth[1:] *= _FACTORS
        as_written, *shown = _shown(ground.fitted, left.rows, depth, changed)
        miss = (left.missed + as_written - np.array(shown)).reshape(_FACTORS.size, -1)
        remains = np.einsum("fi,ij,fj->f", miss, inverse, miss, optimize=True)
        best = int(np.argmin(remains))
        yield Reason(int(slot), name, float(_FACTORS[best]), float(remains[best]))


def _shown(fitted: Fitted, rows: Index, thickness: Array, loadings: Array) -> Array:
    """What the palette says of a casting's readings, were it of each of these thicknesses and loadings.

    Parameters
    ----------
    rows : ndarray of int, shape (n_readings,)
        The casting's readings.
    thickness, loadings : ndarray, shapes (n,) and (n, n_pigments)
        [mm, %]

    Returns
    -------
    ndarray, shape (n, n_readings, n_wavelengths)
    """
    problem, minimum, count = fitted.problem, fitted.minimum, thickness.size
    of = problem.readings
    again = Readings(
        casting=np.repeat(np.arange(count), rows.size),
        backing=np.tile(of.backing[rows], count),
        wet=np.tile(of.wet[rows], count),
        base=np.tile(of.base[rows], count),
        backings=of.backings,
    )
    share = np.maximum(shares(int(of.base[rows[0]]), len(problem.optics), loadings), 0.0)
    seen = forward.read(
        again,
        forward.mix(minimum.shown.coefficients, share),
        thickness,
        optics=problem.optics,
        index=indices(problem, minimum.at.shape) if problem.index_sd else None,
        lobe=lobe_of(problem, minimum.at.shape),
    )
    return seen.values.reshape(count, rows.size, -1)
