"""Where the fit to colours begins: a fit to the smoothest spectra of the readings, as near as the prior can come.

From the mean of the prior alone the search may end in a valley where one pigment's spectrum does another's work.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tint.fitting import report
from tint.fitting.colour_model import Colours
from tint.fitting.minimise import minimise
from tint.fitting.problem import start_at
from tint.fitting.start import first_guess
from tint.fitting.weighing import Weighting, weights

Array = NDArray[np.float64]

_MISFIT = 0.05  # of the smoothest spectra, which are not the true ones: a share of reflectance^(2/3)
_STEPS = 15
_APART = 0.5  # sd of the logarithm by which they miss k and s
_LEAST = 1e-5  # of k and s, so that they have a logarithm


def first_unknowns(colours: Colours) -> Array:
    """The unknowns to start from, shape (n_unknowns,); castings as they were written down."""
    problem, guess, modes = colours.problem, first_guess(colours.problem), colours.modes
    roughly = minimise(
        problem,
        start_at(problem, guess),
        report.prior(guess, problem),
        weight=weights(problem, problem.read, Weighting(_MISFIT, np.ones(problem.thickness.size))),
        most_steps=_STEPS,
        bend=False,
        shape=False,
    )
    wanted = np.log(np.maximum(roughly.at.ks, _LEAST)) - colours.centre
    pull = np.einsum("fwr,fpw->frp", modes, wanted) / _APART**2
    stiffness = np.swapaxes(modes, 1, 2) @ modes / _APART**2 + np.eye(modes.shape[2])
    spectral = np.swapaxes(np.linalg.solve(stiffness, pull), 1, 2).ravel()
    return np.concatenate((spectral, np.zeros(colours.n_unknowns - colours.n_spectral)))
