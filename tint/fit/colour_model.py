"""A folder of colours as arrays: the unknowns that make its k, s, thicknesses and doses, and the colours they foretell.

The unknowns are those of `spectral_prior`, a few numbers each for the k and the s of a component, then three for the
colour of each backing, then the thickness and the doses of every casting; all in units of their own prior standard
deviation. A backing counts because its bare reading, as noisy as any, is behind every casting laid on it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.colorimetry import Viewing
from tint.fit.anisotropy import optics_of
from tint.fit.problem import Forward, Problem, forward, in_order, lay_out
from tint.fit.spectral_prior import SpectralPrior
from tint.fit.start import first_guess
from tint.swatches import SPECTRA, SwatchFolder

Array = NDArray[np.float64]

_DARKEST = 1e-4  # reflectance, so that colours keep a slope
_LEAST_NOISE = 1e-4  # no instrument repeats better
_STEP = 1e-5  # of reflectance, for slopes by what lies behind


@dataclass(frozen=True, eq=False)
class Colours:
    """What was read, and how the unknowns make it.

    Parameters
    ----------
    problem : Problem
        With the smoothest spectra of the readings in place of spectra, and those of the backings.
    lab : ndarray, shape (n_readings, 3)
        As read.
    centre : ndarray, shape (n_wavelengths, 2 n_components)
        Logarithm of k and s before any reading.
    modes : ndarray, shape (2 n_components, n_wavelengths, n_modes)
        What each unknown adds to it.
    cards : ndarray, shape (n_backings, 3, n_wavelengths)
        What each unknown of a backing adds to its spectrum.
    """

    problem: Problem
    view: Viewing
    lab: Array
    centre: Array
    modes: Array
    cards: Array

    @property
    def n_spectral(self) -> int:
        """How many of the unknowns shape k and s."""
        return int(self.modes.shape[0] * self.modes.shape[2])

    @property
    def n_common(self) -> int:
        """How many of the unknowns all castings share; those of each casting follow."""
        return self.n_spectral + 3 * int(self.cards.shape[0])

    def backings(self, unknowns: Array) -> Array:
        """Spectra of the backings, shape (n_backings, n_wavelengths)."""
        change = unknowns[self.n_spectral : self.n_common].reshape(-1, 3)
        spectra = self.problem.backings + np.einsum("bj,bjw->bw", change, self.cards)
        return np.asarray(np.maximum(spectra, _DARKEST))

    def theta(self, unknowns: Array) -> Array:
        """k and s, shape (n_wavelengths, 2 n_components)."""
        z = unknowns[: self.n_spectral].reshape(self.modes.shape[0], -1)
        return np.asarray(np.exp(self.centre + np.einsum("pwr,pr->wp", self.modes, z)))


@dataclass(frozen=True, eq=False)
class Linear:
    """Colours at one point, and their slopes.

    Parameters
    ----------
    lab : ndarray, shape (n_readings, 3)
    by_share : ndarray, shape (n_readings, 3, 3)
        By X, Y and Z, each as a share of the perfect white's.
    by_reading : ndarray, shape (n_readings, 3, n_wavelengths)
        By the reflectances.
    by_unknown : ndarray, shape (n_readings, 3, n_unknowns)
    """

    at: Forward
    theta: Array
    lab: Array
    by_share: Array
    by_reading: Array
    by_unknown: Array


def lay_out_colours(folder: SwatchFolder, prior: SpectralPrior, *, optics: str, g: float) -> Colours:
    """A folder of colours as arrays."""
    instrument = folder.instrument
    light, observer = instrument.colours_for
    view = colorimetry.viewing(folder.wavelengths, light=light, observer=observer)
    lab = np.array([reading.values for reading in in_order(folder)])
    problem = lay_out(_in_spectra(folder, view), optics_of(folder, optics, g))
    guess = np.median(first_guess(problem), axis=0)
    kind = np.repeat([0, 1], problem.n_components)
    return Colours(
        problem=problem,
        view=view,
        lab=lab,
        centre=np.log(guess) + prior.shape[kind].T,
        modes=prior.modes[kind],
        cards=_of_cards(folder, view),
    )


def _of_cards(folder: SwatchFolder, view: Viewing) -> Array:
    """What one standard deviation of X, Y or Z adds to the spectrum of each backing, spread as thin as it goes."""
    count = np.array([max(len(folder.bare.get(name, ())), 1) for name in folder.backings], dtype=float)
    noise = max(folder.instrument.repeatability, _LEAST_NOISE)
    return np.asarray((noise / np.sqrt(count))[:, None, None] * np.linalg.pinv((view.weights / view.white).T).T)


def _in_spectra(folder: SwatchFolder, view: Viewing) -> SwatchFolder:
    """The same folder with the smoothest spectrum of every colour."""
    cards = np.array(list(folder.backings.values())).reshape(-1, 3)
    spectra = colorimetry.smoothest_spectrum(cards, view)
    read = colorimetry.smoothest_spectrum(np.array([each.values for each in folder.readings]), view)
    return replace(
        folder,
        kind=SPECTRA,
        backings=dict(zip(folder.backings, spectra, strict=True)),
        readings=tuple(replace(each, values=values) for each, values in zip(folder.readings, read, strict=True)),
    )


def linear(colours: Colours, unknowns: Array) -> Linear:
    """The colours that the unknowns make, with slopes."""
    view, theta = colours.view, colours.theta(unknowns)
    problem = replace(colours.problem, backings=colours.backings(unknowns))
    own = unknowns[colours.n_common :]
    at = forward(problem, theta, own)
    lab, by_share, by_reading = colorimetry.lab_share_slopes(at.predicted, view)
    by_log = np.einsum("mcw,wmp,wp->mcpw", by_reading, at.by_theta, theta, optimize=True)
    spectral = np.einsum("mcpw,pwr->mcpr", by_log, colours.modes, optimize=True).reshape(*lab.shape, -1)
    above = forward(replace(problem, backings=problem.backings + _STEP), theta, own).predicted
    by_card = by_reading * ((above - at.predicted) / _STEP)[:, None, :]
    by_unknown = (spectral, _by_cards(colours, by_card), _by_own(problem, at, by_reading))
    return Linear(at, theta, lab, by_share, by_reading, np.concatenate(by_unknown, axis=-1))


def _by_cards(colours: Colours, by_card: Array) -> Array:
    """Slopes by the unknowns of the backings, shape (n_readings, 3, 3 n_backings)."""
    behind = colours.problem.backing
    n_backings = colours.cards.shape[0]
    slopes = np.zeros((*by_card.shape[:2], n_backings, 3))
    rows = np.flatnonzero(behind >= 0)
    slopes[rows, :, behind[rows]] = np.einsum("mcw,mjw->mcj", by_card[rows], colours.cards[behind[rows]])
    return slopes.reshape(*by_card.shape[:2], -1)


def _by_own(problem: Problem, at: Forward, by_reading: Array) -> Array:
    """Slopes by thicknesses and doses, shape (n_readings, 3, n_shared)."""
    slopes = np.zeros((*by_reading.shape[:2], problem.n_shared + 1))
    places = problem.own[problem.swatch][:, None, :]
    by_slot = np.einsum("mcw,wmu->mcu", by_reading, at.by_own, optimize=True)
    np.put_along_axis(slopes, np.broadcast_to(places, by_slot.shape), by_slot, axis=2)
    return slopes[..., :-1]


def noise_covariance(colours: Colours, by_share: Array, misfit: float) -> Array:
    """Covariance of each reading, shape (n_readings, 3, 3): noise of X, Y and Z, and the model's misfit."""
    noise = max(colours.problem.instrument.repeatability, _LEAST_NOISE)
    return np.asarray(noise**2 * by_share @ np.swapaxes(by_share, 1, 2) + misfit**2 * np.eye(3))
