"""How well a fit to colours would have foretold each swatch, had that swatch not been there.

As `foresight` does for spectra, but by the exact algebra of the linear model, all wavelengths at once: the readings of
a swatch leave together, and it is foretold from the thickness and doses as written.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.fit.colour_model import Colours, Linear, noise_covariance
from tint.palette import Evidence

Array = NDArray[np.float64]

_LEVERAGE = 0.05  # a reading that alone holds up a coefficient cannot be foretold: its miss is kept from running away


def evidence(colours: Colours, here: Linear, unknowns: Array, *, root: Array, misfit: float, weight: Array) -> Evidence:
    """Set every reading beside what a fit without its swatch says of it.

    Parameters
    ----------
    here : Linear
        The fit's colours and slopes.
    unknowns : ndarray, shape (n_unknowns,)
        Where the fit ended.
    root : ndarray, shape (n_unknowns, n_unknowns)
        A square root of their covariance.
    misfit : float
        Of a colour [CIELAB units].
    weight : ndarray, shape (n_swatches,)

    Notes
    -----
    The spectrum `read` is the one nearest to the fitted that has the colour read.
    """
    problem, view = colours.problem, colours.view
    foretold, variance = _left_out(colours, here, unknowns, root=root, misfit=misfit, weight=weight)
    lab = colorimetry.lab(np.maximum(foretold, 0.0), view)
    _, by_lab = colorimetry.difference_parts_slopes(lab, lab)
    parts = colorimetry.difference_parts(lab, colours.lab)
    return Evidence(
        read=colorimetry.smoothest_spectrum(colours.lab, view, near=here.at.predicted),
        fitted=here.at.predicted,
        foretold=foretold,
        swatch=np.unique(problem.swatch, return_inverse=True)[1],  # the palette lists only swatches that were read
        backing=problem.backing,
        missed=np.sum(parts**2, axis=-1),
        expected=np.einsum("mic,mcd,mid->m", by_lab, variance, by_lab, optimize=True),
    )


def _left_out(
    colours: Colours, here: Linear, unknowns: Array, *, root: Array, misfit: float, weight: Array
) -> tuple[Array, Array]:
    """Spectra foretold, shape (n_readings, n_wavelengths), and the covariance to expect of the misses.

    Notes
    -----
    With V the covariance of a swatch's own readings about the palette (noise, thickness and doses) and H that of the
    fit there, its residual e becomes ``V (V - H)^-1 e`` when it is left out, and the fit's own covariance
    ``V (V - H)^-1 H`` (Cook and Weisberg 1982, Residuals and Influence in Regression, 2.2; from memory).
    """
    problem, n = colours.problem, colours.n_common
    own = np.einsum("mcw,wmu->mcu", here.by_reading, here.at.by_own, optimize=True)
    shift = np.append(unknowns[n:], 0.0)[problem.own][problem.swatch]
    as_written = here.at.predicted - np.einsum("wmu,mu->mw", here.at.by_own, shift)
    missed = colours.lab - here.lab + np.einsum("mcu,mu->mc", own, shift)
    noise = noise_covariance(colours, here.by_share, misfit) / weight[problem.swatch][:, None, None]
    honest = noise_covariance(colours, here.by_share, 0.0)
    common = here.by_unknown[..., :n] @ root[:n]
    foretold, covariance = np.empty_like(as_written), np.empty((*missed.shape, 3))
    for swatch in np.unique(problem.swatch):
        rows = np.flatnonzero(problem.swatch == swatch)
        size = 3 * rows.size
        made = own[rows].reshape(size, -1)
        about = _block_diagonal(noise[rows]) + made @ made.T
        along = common[rows].reshape(size, -1)
        fit = along @ along.T
        lifted = np.linalg.solve(about * (1.0 + _LEVERAGE) - fit, np.column_stack((missed[rows].ravel(), fit)))
        # What the swatch had pulled the fit to is taken back, along the spectra that it had pulled.
        moved = root[:n] @ (along.T @ lifted[:, 0])
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
    """Change of fitted spectra, shape (n_rows, n_wavelengths), for a change of what shapes k and s."""
    spectral = moved[: colours.n_spectral].reshape(colours.modes.shape[0], -1)
    of_log = np.einsum("pwr,pr->wp", colours.modes, spectral)
    return np.asarray(np.einsum("wmp,wp->mw", here.at.by_theta[:, rows], here.theta * of_log))
