"""How well a fit to colours would have foretold each casting, had that casting not been there.

As `leaving_out` does for spectra, with three numbers a reading: the readings of a casting leave together, and it is
foretold from the thickness and doses as written.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.fitting.colour_model import Colours, Linear, by_own_slots, changes, noise_covariance
from tint.palette import Evidence, Surprise

Array = NDArray[np.float64]

LEVERAGE = 0.05  # a reading that alone holds up a coefficient cannot be foretold: its miss is kept from running away
_FARTHEST = 25.0  # squared miss over what was expected, beyond which a casting is wrong rather than surprising


def evidence(
    colours: Colours, here: Linear, *, root: Array, misfit: float, weight: Array, leverage: float = LEVERAGE
) -> Evidence:
    """Set every reading beside what a fit without its casting says of it.

    Parameters
    ----------
    here : Linear
        The colours and slopes where the fit ended.
    root : ndarray, shape (n_unknowns, n_unknowns)
        A square root of the unknowns' covariance.
    misfit : float
        Of a colour [CIELAB units].
    weight : ndarray, shape (n_castings,)
    leverage : float
        Share by which a reading's own noise is enlarged: see `LEVERAGE` [-].

    Notes
    -----
    The spectrum `read` is the one nearest to the fitted that has the colour read.
    """
    readings, view = colours.problem.readings, colours.view
    foretold, variance = _left_out(colours, here, root=root, misfit=misfit, weight=weight, leverage=leverage)
    lab = colorimetry.lab(np.maximum(foretold, 0.0), view)
    _, by_lab = colorimetry.difference_parts_slopes(lab, lab)
    parts = colorimetry.difference_parts(lab, colours.lab)
    return Evidence(
        read=colorimetry.smoothest_spectrum(colours.lab, view, near=here.shown.values),
        fitted=here.shown.values,
        foretold=foretold,
        swatch=readings.casting,
        backing=readings.backing,
        missed=np.sum(parts**2, axis=-1),
        expected=np.einsum("mic,mcd,mid->m", by_lab, variance, by_lab, optimize=True),
    )


def surprise(evidence: Evidence) -> Surprise:
    """By how much castings were missed against what was expected of them, each casting counted once."""
    ratio = np.bincount(evidence.swatch, evidence.missed / evidence.expected) / np.bincount(evidence.swatch)
    return Surprise(ratio=float(np.minimum(ratio, _FARTHEST).mean()), castings=ratio.size)


def _left_out(
    colours: Colours, here: Linear, *, root: Array, misfit: float, weight: Array, leverage: float
) -> tuple[Array, Array]:
    """Spectra foretold, shape (n_readings, n_wavelengths), and the covariance to expect of the misses.

    Notes
    -----
    With V the covariance of a casting's own readings about the palette (noise, thickness and doses) and H that of the
    fit there, its residual e becomes ``V (V - H)^-1 e`` when it is left out, and the fit's own covariance
    ``V (V - H)^-1 H`` (Cook and Weisberg 1982, Residuals and Influence in Regression, 2.2; from memory).
    """
    casting, n = colours.problem.readings.casting, colours.n_common
    own = by_own_slots(here.shown, here.by_reading)
    score = here.at.own[casting]
    as_written = here.shown.values - np.einsum("umw,mu->mw", here.shown.by_own, score)
    missed = colours.lab - here.lab + np.einsum("mcu,mu->mc", own, score)
    noise = noise_covariance(colours, here.by_share, misfit) / weight[casting][:, None, None]
    honest = noise_covariance(colours, here.by_share, 0.0)
    common = here.by_unknown[..., :n] @ root[:n]
    foretold, covariance = np.empty_like(as_written), np.empty((*missed.shape, 3))
    for number in range(weight.size):
        rows = np.flatnonzero(casting == number)
        size = 3 * rows.size
        made = own[rows].reshape(size, -1)
        about = _block_diagonal(noise[rows]) + made @ made.T
        along = common[rows].reshape(size, -1)
        fit = along @ along.T
        lifted = np.linalg.solve(about * (1.0 + leverage) - fit, np.column_stack((missed[rows].ravel(), fit)))
        # What the casting had pulled the fit to is taken back, along the spectra that it had pulled.
        moved = root[: colours.n_material] @ (along.T @ lifted[:, 0])
        foretold[rows] = as_written[rows] - _spectra_moved(colours, here, rows, moved)
        without = (about @ lifted[:, 1:]).reshape(rows.size, 3, rows.size, 3)
        each = np.arange(rows.size)
        of_making = own[rows] @ np.swapaxes(own[rows], 1, 2)
        covariance[rows] = without[each, :, each] + honest[rows] + of_making
    return foretold, covariance


def _block_diagonal(blocks: Array) -> Array:
    count, size = blocks.shape[:2]
    whole = np.zeros((count, size, count, size))
    each = np.arange(count)
    whole[each, :, each] = blocks
    return whole.reshape(count * size, count * size)


def _spectra_moved(colours: Colours, here: Linear, rows: NDArray[np.int64], moved: Array) -> Array:
    """Change of the fitted spectra of a casting, shape (n_rows, n_wavelengths), for a change of components."""
    share = here.shown.share[colours.problem.readings.casting[rows]]
    change = share @ changes(colours, here.shown, moved[:, None])[0]  # of K, S and M
    return np.asarray(np.sum(here.shown.by_mixed[:, rows] * change, axis=0))
