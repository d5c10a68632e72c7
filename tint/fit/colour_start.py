"""Where the fit to colours begins: a fit to the smoothest spectra of the readings, as near as the prior can come.

From the mean of the prior alone the search may end in a valley where one pigment's spectrum does another's work.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tint.fit.colour_model import Colours
from tint.fit.spectra import fit_roughly
from tint.fit.start import first_guess

Array = NDArray[np.float64]

_MISFIT = 0.05  # of the smoothest spectra, which are not the true ones: a share of reflectance^(2/3)
_APART = 0.5  # sd of the logarithm by which they miss k and s
_LEAST = 1e-5  # of k and s, so that they have a logarithm


def first_unknowns(colours: Colours) -> Array:
    """The unknowns to start from, shape (n_unknowns,); castings as they were written down."""
    theta = fit_roughly(colours.problem, first_guess(colours.problem), misfit=_MISFIT)
    wanted = np.log(np.maximum(theta, _LEAST)) - colours.centre
    modes = colours.modes
    pull = np.einsum("pwr,wp->pr", modes, wanted) / _APART**2
    stiffness = np.swapaxes(modes, 1, 2) @ modes / _APART**2 + np.eye(modes.shape[2])
    spectral = np.linalg.solve(stiffness, pull[..., None]).ravel()
    rest = colours.n_common - colours.n_spectral + colours.problem.n_shared
    return np.concatenate((spectral, np.zeros(rest)))
