"""L*, a*, b* of swatches to palette: the forward model in full, a spectral prior where colours say nothing.

The posterior mode of the unknowns (`colour_model`) is found by least squares; the spread of the posterior about it
becomes the covariance of the palette. So a palette learned from colours knows what it does not know: what looks alike
in the light of the readings is wide open in another.
"""

from __future__ import annotations

import numpy as np

from tint import colorimetry
from tint.descent import most_likely
from tint.fitting import hidden, priors, report
from tint.fitting.colour_model import (
    Colours,
    Fitted,
    Linear,
    changes,
    evidence,
    lay_out_colours,
    linear,
    noise_covariance,
    over_backings,
)
from tint.fitting.leaving_out import inside
from tint.fitting.minimise import minimise
from tint.fitting.priors import Prior, SpectralPrior, spectral_prior
from tint.fitting.report import of_cast, with_uncast
from tint.fitting.rounds import Weighting, weights
from tint.fitting.unknowns import first_guess, indices, start_at
from tint.palette import INSIDE, Palette, compress
from tint.spectra import Array
from tint.swatches import PHOTOGRAPH, SwatchFolder

_DOUBT = 0.1  # model error to begin with [CIELAB units]
_LEAST_DOUBT = 0.02  # the same where colours agree: what two printed decimals leave open
_ROUNDS = 4  # of weighing the readings anew
_PASSES = 5  # of telling model error and outliers apart
_OUTLYING = 3.0  # times the median residual, from where a casting loses weight ...
_CROWD = 1.8  # ... unless a tenth of all castings are nearly as far out: then it is the model that misses them
_DETAIL = 0.01  # sd of what the modes leave out of k and s, as a share of them
_MOST_STEPS, _GAIN = 60, 1e-7
_LIGHTNESS = 116.0 / 3.0  # slope of L* by reflectance, times reflectance^(2/3)


def fit_colours(folder: SwatchFolder, *, optics: str, g: float | None) -> Palette:
    """Fit all bases and pigments of a folder of colours; arguments as of `tint.fitting.fit_palette`."""
    spectral, cast = spectral_prior(folder.wavelengths), of_cast(folder)
    colours = lay_out_colours(cast, spectral, optics=optics, g=g)
    problem = colours.problem
    prior = priors.prior(first_guess(problem), problem.largest_depth, len(problem.optics))
    fitted = _search(colours, prior, first_unknowns(colours, prior), _DOUBT, np.ones(problem.thickness.size))
    for _ in range(_ROUNDS):
        model_error, weight = _weigh(colours, fitted)
        fitted = _search(colours, prior, fitted.unknowns, model_error, weight)
    fitted = _beyond_hiding(colours, prior, fitted)
    return with_uncast(_palette(cast, colours, spectral, fitted), folder, g=g)


def _beyond_hiding(colours: Colours, prior: Prior, fitted: Fitted) -> Fitted:
    """With what `tint.fitting.hidden` makes of it, and the spread there."""
    whiten = _whiten(colours, fitted.here, fitted.model_error, fitted.weight)
    more = np.linalg.pinv(colours.modes).sum(axis=-1)  # unknowns of one in the logarithm of k, and of s

    def missed(values: Array) -> Array:
        away = colorimetry.lab(values, colours.view) - colours.lab
        return np.asarray(np.einsum("mcd,md->mc", whiten, away))

    def search(times: Array, held: Prior) -> Fitted:
        start = fitted.unknowns.copy()
        start[: colours.n_spectral] += (np.log(times)[:, None] * more[:, None]).ravel()
        return _search(colours, held, start, fitted.model_error, fitted.weight)

    problem = over_backings(colours.problem, colours.backings(fitted.unknowns))
    found = hidden.beyond_hiding(problem, fitted, prior, missed=missed, search=search)
    if found is fitted:
        return fitted
    return _search(colours, prior, found.unknowns, fitted.model_error, fitted.weight, most_steps=0)


def _whiten(colours: Colours, here: Linear, model_error: float, weight: Array) -> Array:
    """What makes misses of readings standard, shape (n_readings, 3, 3)."""
    covariance = noise_covariance(colours, here.by_share, model_error)
    of_reading = np.sqrt(weight[colours.problem.readings.casting])
    return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)) * of_reading[:, None, None])


def _search(
    colours: Colours, prior: Prior, start: Array, model_error: float, weight: Array, *, most_steps: int = _MOST_STEPS
) -> Fitted:
    """The posterior mode under a given model error and given weights of the castings.

    Of `prior` the level of s is taken: the modes know of all else.
    """
    whiten = _whiten(colours, linear(colours, start), model_error, weight)
    each = np.arange(colours.problem.n_components)

    def residual(unknowns: Array) -> tuple[Array, Array]:
        at = linear(colours, unknowns)
        missed = np.einsum("mcd,md->mc", whiten, at.lab - colours.lab)
        level, by_s = prior.level(at.at.ks[1])
        by_level = np.zeros((each.size, unknowns.size))
        spectral = by_level[:, : colours.n_spectral].reshape(each.size, 2, each.size, -1)
        spectral[each, 1, each] = (by_s[:, None] * at.at.ks[1]) @ colours.modes[1]
        by_level[:, : colours.n_spectral] = spectral.reshape(each.size, -1)
        slopes = np.concatenate(((whiten @ at.by_unknown).reshape(-1, unknowns.size), by_level))
        return np.concatenate((missed.ravel(), level)), slopes

    unknowns, information, cost = most_likely(residual, start, most_steps=most_steps, gain=_GAIN)
    values, vectors = np.linalg.eigh(information)
    return Fitted(unknowns, linear(colours, unknowns), vectors / np.sqrt(values), model_error, weight, cost)


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
    from scipy.optimize import brentq

    def excess(model_error: float) -> float:
        inverse = np.linalg.inv(noise_covariance(colours, by_share, model_error))
        return float(np.einsum("m,mc,mcd,md->", counted, missed, inverse, missed, optimize=True)) - wanted

    low, high = _LEAST_DOUBT, 20.0
    if excess(low) <= 0.0:
        return low
    return float(brentq(excess, low, high, xtol=1e-9)) if excess(high) < 0.0 else high


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


def first_unknowns(colours: Colours, prior: Prior) -> Array:
    """The unknowns to start from, shape (n_unknowns,); castings as they were written down."""
    problem, modes = colours.problem, colours.modes
    roughly = minimise(
        problem,
        start_at(problem, prior.mean),
        prior,
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
