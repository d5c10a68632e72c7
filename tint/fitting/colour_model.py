"""A folder of colours as arrays: the unknowns that make its coefficients and castings, and the colours they predict.

The unknowns are those of `SpectralPrior`, a few numbers each for the k and the s of a component, then three for the
phase function of each, three for the colour of each backing, and the thickness and the doses of every casting; all in
units of their own prior standard deviation. A backing counts because its bare reading, as noisy as any, is behind every
casting laid on it. Refractive indices are as stated: colours are too few to say more.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.colorimetry import Viewing
from tint.fitting.leaving_out import without
from tint.fitting.priors import BENDS, SpectralPrior
from tint.fitting.problem import Problem, in_order, lay_out
from tint.fitting.spectra import optics_of
from tint.fitting.unknowns import Shown, Unknowns, first_guess, show, start_at
from tint.palette import Evidence
from tint.spectra import Array
from tint.swatches import SPECTRA, SwatchFolder

_DARKEST = 1e-4  # reflectance, so that colours keep a slope
_STEP = 1e-5  # of reflectance, for slopes by what lies behind


@dataclass(frozen=True, eq=False)
class Colours:
    """What was read, and how the unknowns make it."""

    problem: Problem  # with the smoothest spectra of the readings in place of spectra, and those of the backings
    index_sd: float  # standard deviation of the refractive indices, which no colour tells [-]
    view: Viewing
    lab: Array  # shape (n_readings, 3): as read
    centre: Array  # shape (2, n_components, n_wavelengths): logarithm of k and s before any reading
    modes: Array  # shape (2, n_wavelengths, n_modes): what each unknown of a component adds to its k, and to its s
    cards: Array  # shape (n_backings, 3, n_wavelengths): what each unknown of a backing adds to its spectrum

    @property
    def n_spectral(self) -> int:
        """How many of the unknowns shape k and s."""
        return 2 * self.problem.n_components * int(self.modes.shape[2])

    @property
    def n_material(self) -> int:
        """How many of the unknowns are of components: anisotropies follow k and s."""
        return self.n_spectral + BENDS * self.problem.n_components

    @property
    def n_common(self) -> int:
        """How many of the unknowns all castings share; those of each casting follow, casting after casting."""
        return self.n_material + 3 * int(self.cards.shape[0])

    @property
    def n_unknowns(self) -> int:
        return self.n_common + int(np.count_nonzero(self.problem.used))

    def backings(self, unknowns: Array) -> Array:
        """Spectra of the backings, shape (n_backings, n_wavelengths)."""
        change = unknowns[self.n_material : self.n_common].reshape(-1, 3)
        spectra = self.problem.readings.backings + np.einsum("bj,bjw->bw", change, self.cards)
        return np.asarray(np.maximum(spectra, _DARKEST))

    def point(self, unknowns: Array) -> Unknowns:
        """The same point as the fit of spectra has it."""
        z = unknowns[: self.n_spectral].reshape(2, self.problem.n_components, -1)
        ks = np.exp(self.centre + np.einsum("fwr,fpr->fpw", self.modes, z))
        bend = unknowns[self.n_spectral : self.n_material].reshape(-1, BENDS)
        own = np.zeros((self.problem.thickness.size, self.problem.n_slots))
        own[self.problem.used] = unknowns[self.n_common :]
        return replace(start_at(self.problem, ks), bend=bend, own=own)


@dataclass(frozen=True, eq=False)
class Linear:
    """Colours at one point, and their slopes."""

    at: Unknowns
    shown: Shown
    lab: Array  # shape (n_readings, 3)
    by_share: Array  # shape (n_readings, 3, 3): by X, Y and Z, each as a share of the perfect white's
    by_reading: Array  # shape (n_readings, 3, n_wavelengths): by the reflectances
    by_unknown: Array  # shape (n_readings, 3, n_unknowns)


def lay_out_colours(folder: SwatchFolder, prior: SpectralPrior, *, optics: str, g: float | None = None) -> Colours:
    """A folder of colours as arrays; `optics` and `g` as of `tint.fitting.fit_palette`."""
    light, observer = folder.instrument.colours_for
    view = colorimetry.viewing(folder.wavelengths, light=light, observer=observer)
    problem = lay_out(_in_spectra(folder, view), optics_of(folder, optics), g=g)
    guess = np.median(first_guess(problem), axis=2, keepdims=True)
    return Colours(
        problem=replace(problem, index_sd=0.0),
        index_sd=problem.index_sd,
        view=view,
        lab=np.array([reading.values for reading in in_order(folder)]),
        centre=np.log(guess) + prior.shape[:, None],
        modes=prior.modes,
        cards=_of_cards(folder, view),
    )


def _of_cards(folder: SwatchFolder, view: Viewing) -> Array:
    """What one standard deviation of X, Y or Z adds to the spectrum of each backing, spread as thin as it goes."""
    count = np.array([max(len(folder.bare.get(name, ())), 1) for name in folder.backings], dtype=float)
    noise = folder.instrument.noise
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
    at, cards = colours.point(unknowns), colours.backings(unknowns)
    shown = show(over_backings(colours.problem, cards), at)
    lab, by_share, by_reading = colorimetry.lab_share_slopes(shown.values, colours.view)
    above = show(over_backings(colours.problem, cards + _STEP), at).values
    by_card = by_reading * ((above - shown.values) / _STEP)[:, None, :]
    by_unknown = (
        _by_components(colours, shown, by_reading),
        _by_cards(colours, by_card),
        _by_own(colours, shown, by_reading),
    )
    return Linear(at, shown, lab, by_share, by_reading, np.concatenate(by_unknown, axis=-1))


def over_backings(problem: Problem, backings: Array) -> Problem:
    return replace(problem, readings=replace(problem.readings, backings=backings))


def _by_components(colours: Colours, shown: Shown, by_reading: Array) -> Array:
    """Slopes by k, s and anisotropies, shape (n_readings, 3, n_material)."""
    by_k, by_s, by_m, by_q = by_reading * shown.by_mixed[:, :, None, :]
    (k, s, m, q), (of_k, of_s) = shown.coefficients, colours.modes
    by_all_of_s = _along(by_s, s, of_s) + _along(by_m, m, of_s) + _along(by_q, q, of_s)  # m and q go along with s
    by_bend = np.einsum("urcw,bupw->rcpb", np.stack((by_m, by_q)), shown.by_bend, optimize=True)
    share = shown.share[colours.problem.readings.casting][:, None, :, None]
    blocks = (_along(by_k, k, of_k), by_all_of_s, by_bend)
    return np.concatenate([(each * share).reshape(*by_reading.shape[:2], -1) for each in blocks], axis=-1)


def _along(by_mixed: Array, coefficient: Array, modes: Array) -> Array:
    """Slopes by the unknowns of the logarithm of a coefficient, shape (n_readings, 3, n_components, n_modes)."""
    return np.asarray(np.einsum("rcw,pw,wj->rcpj", by_mixed, coefficient, modes, optimize=True))


def _by_cards(colours: Colours, by_card: Array) -> Array:
    """Slopes by the unknowns of the backings, shape (n_readings, 3, 3 n_backings)."""
    behind = colours.problem.readings.backing
    slopes = np.zeros((*by_card.shape[:2], colours.cards.shape[0], 3))
    rows = np.flatnonzero(behind >= 0)
    slopes[rows, :, behind[rows]] = np.einsum("mcw,mjw->mcj", by_card[rows], colours.cards[behind[rows]])
    return slopes.reshape(*by_card.shape[:2], -1)


def _by_own(colours: Colours, shown: Shown, by_reading: Array) -> Array:
    """Slopes by thicknesses and doses, shape (n_readings, 3, n_unknowns - n_common)."""
    used = colours.problem.used
    slopes = np.zeros((*by_reading.shape[:2], *used.shape))
    each = np.arange(len(slopes))
    slopes[each, :, colours.problem.readings.casting] = by_own_slots(shown, by_reading)
    return slopes[:, :, used]


def by_own_slots(shown: Shown, by_reading: Array) -> Array:
    """Slopes of colours by the scores of their own casting, shape (n_readings, 3, n_slots)."""
    return np.asarray(np.einsum("rcw,urw->rcu", by_reading, shown.by_own, optimize=True))


def changes(colours: Colours, shown: Shown, steps: Array) -> Array:
    """Changes of k, s, m and q with steps of what makes components, shape (n_steps, 4, n_components, n_wavelengths).

    Parameters
    ----------
    steps : ndarray, shape (n_material, n_steps)
    """
    n = colours.problem.n_components
    spectral = steps[: colours.n_spectral].reshape(2, n, -1, steps.shape[1])
    of_k, of_s = np.einsum("fwr,fprx->fxpw", colours.modes, spectral, optimize=True)
    bend = steps[colours.n_spectral :].reshape(n, BENDS, -1)
    k, s, m, q = shown.coefficients
    m_of_bend, q_of_bend = np.einsum("bupw,pbx->uxpw", shown.by_bend, bend, optimize=True)
    return np.stack((k * of_k, s * of_s, m * of_s + m_of_bend, q * of_s + q_of_bend), axis=1)


def noise_covariance(colours: Colours, by_share: Array, model_error: float) -> Array:
    """Covariance of each reading, shape (n_readings, 3, 3): noise of X, Y and Z, and the model's own error."""
    noise = colours.problem.instrument.noise
    return np.asarray(noise**2 * by_share @ np.swapaxes(by_share, 1, 2) + model_error**2 * np.eye(3))


@dataclass(frozen=True, eq=False)
class Fitted:
    """The posterior about its mode: `root` times its transpose is the covariance of the unknowns."""

    unknowns: Array
    here: Linear
    root: Array
    model_error: float
    weight: Array  # shape (n_castings,)
    cost: float  # sum of squares of residuals and of all priors

    @property
    def at(self) -> Unknowns:
        return self.here.at

    @property
    def shown(self) -> Shown:
        return self.here.shown


# How well a fit to colours would have predicted each casting, had that casting not been there: as `leaving_out` does
# for spectra, with three numbers a reading.


_LEVERAGE = 0.05  # a reading that alone holds up a coefficient cannot be predicted: its miss is kept from running away


def evidence(colours: Colours, fitted: Fitted, *, leverage: float = _LEVERAGE) -> Evidence:
    """Set every reading beside what a fit without its casting says of it.

    The spectrum `read` is the one nearest to the fitted that has the colour read. A reading's own noise is enlarged by
    `leverage`.
    """
    here = fitted.here
    readings, view = colours.problem.readings, colours.view
    predicted, variance = _left_out(colours, fitted, leverage)
    lab = colorimetry.lab(np.maximum(predicted, 0.0), view)
    _, by_lab = colorimetry.difference_parts_slopes(lab, lab)
    parts = colorimetry.difference_parts(lab, colours.lab)
    return Evidence(
        read=colorimetry.smoothest_spectrum(colours.lab, view, near=here.shown.values),
        fitted=here.shown.values,
        predicted=predicted,
        swatch=readings.casting,
        backing=readings.backing,
        missed=np.sum(parts**2, axis=-1),
        expected=np.einsum("mic,mcd,mid->m", by_lab, variance, by_lab, optimize=True),
    )


def _left_out(colours: Colours, fitted: Fitted, leverage: float) -> tuple[Array, Array]:
    """Spectra predicted, shape (n_readings, n_wavelengths), and the covariance to expect of the misses."""
    from scipy.linalg import block_diag  # only fitting needs it

    here, root, weight = fitted.here, fitted.root, fitted.weight
    casting, n = colours.problem.readings.casting, colours.n_common
    own = by_own_slots(here.shown, here.by_reading)
    score = here.at.own[casting]
    as_written = here.shown.values - np.einsum("umw,mu->mw", here.shown.by_own, score)
    missed = colours.lab - here.lab + np.einsum("mcu,mu->mc", own, score)
    noise = noise_covariance(colours, here.by_share, fitted.model_error) / weight[casting][:, None, None]
    honest = noise_covariance(colours, here.by_share, 0.0)
    common = here.by_unknown[..., :n] @ root[:n]
    predicted, covariance = np.empty_like(as_written), np.empty((*missed.shape, 3))
    for number in range(weight.size):
        rows = np.flatnonzero(casting == number)
        size = 3 * rows.size
        made = own[rows].reshape(size, -1)
        about = block_diag(*noise[rows]) + made @ made.T
        along = common[rows].reshape(size, -1)
        fit = along @ along.T
        lifted, of_fit = without(about, fit, missed[rows].ravel(), alone=leverage)
        # What the casting had pulled the fit to is taken back, along the spectra that it had pulled.
        moved = root[: colours.n_material] @ (along.T @ lifted)
        predicted[rows] = as_written[rows] - _spectra_moved(colours, here, rows, moved)
        of_fit, each = of_fit.reshape(rows.size, 3, rows.size, 3), np.arange(rows.size)
        of_making = own[rows] @ np.swapaxes(own[rows], 1, 2)
        covariance[rows] = of_fit[each, :, each] + honest[rows] + of_making
    return predicted, covariance


def _spectra_moved(colours: Colours, here: Linear, rows: NDArray[np.int64], moved: Array) -> Array:
    """Change of the fitted spectra of a casting, shape (n_rows, n_wavelengths), for a change of components."""
    share = here.shown.share[colours.problem.readings.casting[rows]]
    change = share @ changes(colours, here.shown, moved[:, None])[0]  # of K, S, M and Q
    return np.asarray(np.sum(here.shown.by_mixed[:, rows] * change, axis=0))
