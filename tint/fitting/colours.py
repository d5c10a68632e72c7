"""L*, a*, b* of swatches to palette: the forward model in full, a spectral prior where colours say nothing.

The posterior mode of the unknowns (`colour_model`) is found by least squares; the spread of the posterior about it
becomes the covariance of the palette. So a palette learned from colours knows what it does not know: what looks alike
in the light of the readings is wide open in another.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.fitting import priors, report
from tint.fitting.colour_model import (
    Colours,
    Linear,
    SpectralPrior,
    by_own_slots,
    changes,
    lay_out_colours,
    linear,
    noise_covariance,
    spectral_prior,
)
from tint.fitting.first_guess import first_guess
from tint.fitting.leaving_out import inside
from tint.fitting.minimise import descend, minimise
from tint.fitting.rounds import Weighting, weights
from tint.fitting.uncast import of_cast, with_uncast
from tint.fitting.unknowns import indices, start_at
from tint.palette import INSIDE, Evidence, Palette, compress
from tint.spectra import Array
from tint.swatches import PHOTOGRAPH, SwatchFolder

_DOUBT = 0.1  # model error to begin with [CIELAB units]
_LEAST_DOUBT = 0.02  # the same where colours agree: what two printed decimals leave open
_ROUNDS = 4  # of weighing the readings anew
_PASSES = 5  # of telling model error and outliers apart
_OUTLYING = 3.0  # times the median residual, from where a casting loses weight ...
_CROWD = 1.8  # ... unless a tenth of all castings are nearly as far out: then it is the model that misses them
_DETAIL = 0.01  # sd of what the modes leave out of k and s, as a share of them
_LIGHTNESS = 116.0 / 3.0  # slope of L* by reflectance, times reflectance^(2/3)


@dataclass(frozen=True, eq=False)
class Fitted:
    """The posterior about its mode: `root` times its transpose is the covariance of the unknowns."""

    unknowns: Array
    here: Linear
    root: Array
    model_error: float
    weight: Array


def fit_colours(folder: SwatchFolder, *, optics: str, g: float | None) -> Palette:
    """Fit all bases and pigments of a folder of colours; arguments as of `tint.fitting.fit_palette`."""
    prior, cast = spectral_prior(folder.wavelengths), of_cast(folder)
    colours = lay_out_colours(cast, prior, optics=optics, g=g)
    fitted = _search(colours, first_unknowns(colours), _DOUBT, np.ones(colours.problem.thickness.size))
    for _ in range(_ROUNDS):
        model_error, weight = _weigh(colours, fitted)
        fitted = _search(colours, fitted.unknowns, model_error, weight)
    return with_uncast(_palette(cast, colours, prior, fitted), folder, g=g)


def _search(colours: Colours, start: Array, model_error: float, weight: Array) -> Fitted:
    """The posterior mode under a given model error and given weights of the castings."""
    of_reading = np.sqrt(weight[colours.problem.readings.casting])
    covariance = noise_covariance(colours, linear(colours, start).by_share, model_error)
    whiten = np.linalg.inv(np.linalg.cholesky(covariance)) * of_reading[:, None, None]

    def residual(unknowns: Array) -> tuple[Array, Array]:
        at = linear(colours, unknowns)
        missed = np.einsum("mcd,md->mc", whiten, at.lab - colours.lab)
        return missed.ravel(), (whiten @ at.by_unknown).reshape(-1, unknowns.size)

    unknowns, information, _ = most_likely(residual, start)
    values, vectors = np.linalg.eigh(information)
    return Fitted(unknowns, linear(colours, unknowns), vectors / np.sqrt(values), model_error, weight)


def _weigh(colours: Colours, fitted: Fitted) -> tuple[float, Array]:
    """The model error that makes the residuals as large as they are said to be, and what each casting counts."""
    casting, here = colours.problem.readings.casting, fitted.here
    missed = colours.lab - here.lab
    scale = noise_covariance(colours, here.by_share, fitted.model_error)
    spread = here.by_unknown @ fitted.root
    spent = float(np.einsum("mcu,mcd,mdu->", spread, np.linalg.inv(scale), spread, optimize=True))
    wanted = max(missed.size - spent, 0.2 * missed.size)
    weight = np.ones(colours.problem.thickness.size)
    model_error = _LEAST_DOUBT
    # At first all is relative: a casting that is far out makes the model error look large, and so itself look ordinary.
    for least in (0.0, *(_OUTLYING,) * _PASSES):
        model_error = _model_error(colours, missed, here.by_share, weight[casting], wanted)
        covariance = noise_covariance(colours, here.by_share, model_error)
        standard = np.einsum("mc,mcd,md->m", missed, np.linalg.inv(covariance), missed) / 3.0
        size = np.sqrt(np.bincount(casting, standard) / np.bincount(casting))
        far = max(_OUTLYING * float(np.median(size)), _CROWD * float(np.quantile(size, 0.9)), least, 1e-12)
        weight = np.minimum(1.0, (far / np.maximum(size, 1e-12)) ** 2)
    return model_error, weight


def _model_error(colours: Colours, missed: Array, by_share: Array, counted: Array, wanted: float) -> float:
    def sum_of_squares(model_error: float) -> float:
        inverse = np.linalg.inv(noise_covariance(colours, by_share, model_error))
        return float(np.einsum("m,mc,mcd,md->", counted, missed, inverse, missed, optimize=True))

    low, high = _LEAST_DOUBT, 20.0
    if sum_of_squares(low) <= wanted:
        return low
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if sum_of_squares(middle) > wanted else (low, middle)
    return 0.5 * (low + high)


def _palette(folder: SwatchFolder, colours: Colours, prior: SpectralPrior, fitted: Fitted) -> Palette:
    problem, at, shown = colours.problem, fitted.here.at, fitted.here.shown
    local, modes = _covariance(colours, prior, fitted)
    count = local.shape[1]
    spread = np.sqrt(np.einsum("wpp->wp", local) + np.sum(modes[..., :count] ** 2, axis=0))
    of_a = np.linalg.norm(fitted.root[colours.n_spectral : colours.n_material : priors.BENDS], axis=1)
    told = evidence(colours, fitted)
    return Palette(
        name=folder.name,
        read_as="photographs" if any(each.source == PHOTOGRAPH for each in folder.readings) else "colours",
        instrument=folder.instrument,
        bases=dict(folder.bases),
        pigments=dict(folder.pigments),
        backings=dict(zip(folder.backings, colours.backings(fitted.unknowns), strict=True)),
        wavelengths=folder.wavelengths,
        model=problem.optics[0].model,
        k=at.ks[0],
        s=at.ks[1],
        g=1.0 - 1.0 / shown.by_s[0],
        second_moment=shown.by_s[1] / shown.by_s[0],
        g_error=of_a * np.abs(problem.anisotropy.middle_slope(at.bend)),
        index=indices(problem, at.shape),
        index_error=np.full(len(problem.optics), colours.index_sd),
        spot_share=1.0,
        local=local,
        modes=modes,
        model_error=fitted.model_error / _LIGHTNESS,
        evidence=told,
        surprises={INSIDE: inside(told, problem.thickness.size)},
        seen=report.seen(folder),
        swatches=report.swatch_fits(problem, told, at.own, fitted.weight, folder=folder, view=colours.view),
        undetermined=report.undetermined(folder, problem, at.ks, spread.T.reshape(at.ks.shape)),
        digest=folder.digest,
    )


def _covariance(colours: Colours, prior: SpectralPrior, fitted: Fitted) -> tuple[Array, Array]:
    """The palette's covariance: what the modes leave out of k and s at each wavelength, and what wavelengths share."""
    problem, ks, shown = colours.problem, fitted.here.at.ks, fitted.here.shown
    detail = ks * np.sqrt(prior.rest[:, None] + _DETAIL**2)
    # About a guess at what was never cast the prior is no wiser than the guess: nothing is known of it.
    depth = problem.largest_depth
    detail = np.where((depth == 0.0)[:, None], priors.prior(ks, depth, len(problem.optics)).sd, detail)
    detail = np.maximum(detail, 1e-9)  # so that a k or s of nothing still has a variance that can be inverted
    moved = changes(colours, shown, fitted.root[: colours.n_material])
    size = np.sqrt(np.stack((*detail, *(detail[1] * shown.by_s))) ** 2 + np.sum(moved**2, axis=0))
    count, wide = len(moved), ks.shape[-1]
    modes = np.moveaxis(moved, -1, 1).reshape(count, wide, -1)
    alone = detail.reshape(-1, wide).T
    return np.eye(alone.shape[1]) * alone[:, None, :] ** 2, compress(modes, size.reshape(-1, wide).T)


# Where the fit to colours begins: a fit to the smoothest spectra of the readings, as near as the prior can come.


_MODEL_ERROR = 0.05  # of the smoothest spectra, which are not the true ones: a share of reflectance^(2/3)
_STEPS = 15  # of a start that only has to be near
_APART = 0.5  # sd of the logarithm by which they miss k and s
_LEAST = 1e-5  # of k and s, so that they have a logarithm


def first_unknowns(colours: Colours) -> Array:
    """The unknowns to start from, shape (n_unknowns,); castings as they were written down."""
    problem, guess, modes = colours.problem, first_guess(colours.problem), colours.modes
    roughly = minimise(
        problem,
        start_at(problem, guess),
        priors.prior(guess, problem.largest_depth, len(problem.optics)),
        weight=weights(problem, problem.read, Weighting(_MODEL_ERROR, np.ones(problem.thickness.size))),
        most_steps=_STEPS,
        bend=False,
        shape=False,
    )
    wanted = np.log(np.maximum(roughly.at.ks, _LEAST)) - colours.centre
    pull = np.einsum("fwr,fpw->frp", modes, wanted) / _APART**2
    stiffness = np.swapaxes(modes, 1, 2) @ modes / _APART**2 + np.eye(modes.shape[2])
    spectral = np.swapaxes(np.linalg.solve(stiffness, pull), 1, 2).ravel()
    return np.concatenate((spectral, np.zeros(colours.n_unknowns - colours.n_spectral)))


# Least squares for a few hundred unknowns with a standard normal prior, by normal equations.


_MOST_STEPS, _GAIN = 60, 1e-7


@dataclass(frozen=True, eq=False)
class _Point:
    """Unknowns with their normal equations, the standard normal prior among them."""

    unknowns: Array
    information: Array
    pull: Array
    cost: float


def most_likely(residual: Callable[[Array], tuple[Array, Array]], start: Array) -> tuple[Array, Array, float]:
    """Where the sum of squares of residuals and of the unknowns themselves is least.

    `residual` gives of n unknowns the residuals in standard deviations, shape (m,), and their slopes, shape (m, n).
    Returns the unknowns, the inverse of their covariance, in which that of the prior is one, and the sum of
    squares.

    The prior keeps the normal equations well conditioned, so they may be solved as they are: ten times as fast as
    by the singular values that libraries use to be safe.
    """

    def at(unknowns: Array) -> _Point:
        missed, slopes = residual(unknowns)
        information = slopes.T @ slopes + np.eye(unknowns.size)
        cost = float(missed @ missed + unknowns @ unknowns)
        return _Point(unknowns, information, -(slopes.T @ missed) - unknowns, cost)

    def step(here: _Point, damping: float) -> tuple[_Point, float]:
        damped = here.information + damping * np.diag(np.diag(here.information))
        by = np.linalg.solve(damped, here.pull)
        return at(here.unknowns + by), float(2.0 * by @ here.pull - by @ here.information @ by)

    found, _, _ = descend(at(start), step, most_steps=_MOST_STEPS, gain=_GAIN)
    return found.unknowns, found.information, found.cost


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
    """Spectra predicted, shape (n_readings, n_wavelengths), and the covariance to expect of the misses.

    By the formulas of `leaving_out.leave_out`.
    """
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
        lifted = np.linalg.solve(about * (1.0 + leverage) - fit, np.column_stack((missed[rows].ravel(), fit)))
        # What the casting had pulled the fit to is taken back, along the spectra that it had pulled.
        moved = root[: colours.n_material] @ (along.T @ lifted[:, 0])
        predicted[rows] = as_written[rows] - _spectra_moved(colours, here, rows, moved)
        without = (about @ lifted[:, 1:]).reshape(rows.size, 3, rows.size, 3)
        each = np.arange(rows.size)
        of_making = own[rows] @ np.swapaxes(own[rows], 1, 2)
        covariance[rows] = without[each, :, each] + honest[rows] + of_making
    return predicted, covariance


def _spectra_moved(colours: Colours, here: Linear, rows: NDArray[np.int64], moved: Array) -> Array:
    """Change of the fitted spectra of a casting, shape (n_rows, n_wavelengths), for a change of components."""
    share = here.shown.share[colours.problem.readings.casting[rows]]
    change = share @ changes(colours, here.shown, moved[:, None])[0]  # of K, S, M and Q
    return np.asarray(np.sum(here.shown.by_mixed[:, rows] * change, axis=0))
