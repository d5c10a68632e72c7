"""L*, a*, b* of swatches to palette: the forward model in full, a spectral prior where colours say nothing.

The posterior mode of the unknowns (`colour_model`) is found by least squares; the spread of the posterior about it
becomes the covariance of the palette. So a palette learned from colours knows what it does not know: what looks alike
in the light of the readings is wide open in another.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tint.fit import colour_foresight, report
from tint.fit.anisotropy import G_STEP, best_step, with_g
from tint.fit.colour_model import Colours, Linear, lay_out_colours, linear, noise_covariance
from tint.fit.colour_start import first_unknowns
from tint.fit.least_squares import compress
from tint.fit.marquardt import most_likely
from tint.fit.spectral_prior import SpectralPrior, spectral_prior
from tint.palette import Palette
from tint.swatches import PHOTOGRAPH, SwatchFolder

Array = NDArray[np.float64]

_DOUBT = 0.1  # misfit to begin with [CIELAB units]
_LEAST_DOUBT = 0.02
_ROUNDS = 4  # of weighing the readings anew
_PASSES = 5  # of telling misfit and outliers apart
_OUTLYING = 3.0  # times the median residual, from where a swatch loses weight ...
_CROWD = 1.8  # ... unless a tenth of all swatches are nearly as far out: then it is the model that misses them
_DETAIL = 0.01  # sd of what the modes leave out of k and s, as a share of them
_LIGHTNESS = 116.0 / 3.0  # slope of L* by reflectance, times reflectance^(2/3)


@dataclass(frozen=True, eq=False)
class Fitted:
    """The posterior about its mode: `root` times its transpose is the covariance of the unknowns."""

    unknowns: Array
    here: Linear
    root: Array
    misfit: float
    weight: Array
    cost: float


def fit_colours(folder: SwatchFolder, *, optics: str, g: float | None) -> Palette:
    """Fit all bases and pigments of a folder of colours; arguments as of `tint.fit.fit_palette`."""
    prior = spectral_prior(folder.wavelengths)
    colours = lay_out_colours(folder, prior, optics=optics, g=g or 0.0)
    start = first_unknowns(colours)
    everyone = np.ones(colours.problem.thickness.size)
    if optics == "many-flux" and g is None:

        def cost(step: int) -> float:
            nonlocal start
            trial = replace(colours, problem=with_g(colours.problem, step * G_STEP))
            found = _search(trial, start, _DOUBT, everyone)
            start = found.unknowns
            return found.cost

        colours = replace(colours, problem=with_g(colours.problem, best_step(cost) * G_STEP))
    fitted = _search(colours, start, _DOUBT, everyone)
    for _ in range(_ROUNDS):
        misfit, weight = _weigh(colours, fitted)
        fitted = _search(colours, fitted.unknowns, misfit, weight)
    return _palette(folder, colours, prior, fitted)


def _search(colours: Colours, start: Array, misfit: float, weight: Array) -> Fitted:
    """The posterior mode under a given misfit and given weights of the swatches."""
    of_reading = np.sqrt(weight[colours.problem.swatch])
    covariance = noise_covariance(colours, linear(colours, start).by_share, misfit)
    whiten = np.linalg.inv(np.linalg.cholesky(covariance)) * of_reading[:, None, None]

    def residual(unknowns: Array) -> tuple[Array, Array]:
        at = linear(colours, unknowns)
        missed = np.einsum("mcd,md->mc", whiten, at.lab - colours.lab)
        return missed.ravel(), (whiten @ at.by_unknown).reshape(-1, unknowns.size)

    unknowns, information, cost = most_likely(residual, start)
    values, vectors = np.linalg.eigh(information)
    return Fitted(
        unknowns=unknowns,
        here=linear(colours, unknowns),
        root=vectors / np.sqrt(values),
        misfit=misfit,
        weight=weight,
        cost=cost,
    )


def _weigh(colours: Colours, fitted: Fitted) -> tuple[float, Array]:
    """The misfit that makes the residuals as large as they are said to be, and what each swatch counts."""
    problem, here = colours.problem, fitted.here
    missed = colours.lab - here.lab
    scale = noise_covariance(colours, here.by_share, fitted.misfit)
    spread = here.by_unknown @ fitted.root
    spent = float(np.einsum("mcu,mcd,mdu->", spread, np.linalg.inv(scale), spread, optimize=True))
    wanted = max(missed.size - spent, 0.2 * missed.size)
    weight = np.ones(problem.thickness.size)
    misfit = _LEAST_DOUBT
    # At first all is relative: a swatch that is far out makes the misfit look large, and so itself look ordinary.
    for least in (0.0, *(_OUTLYING,) * _PASSES):
        counted = weight[problem.swatch]
        misfit = _misfit(colours, missed, here.by_share, counted, wanted)
        covariance = noise_covariance(colours, here.by_share, misfit)
        standard = np.einsum("mc,mcd,md->m", missed, np.linalg.inv(covariance), missed) / 3.0
        size = np.sqrt(report.mean_by(problem.swatch, standard, weight.size))
        far = max(_OUTLYING * float(np.nanmedian(size)), _CROWD * float(np.nanquantile(size, 0.9)), least, 1e-12)
        weight = np.minimum(1.0, (far / np.maximum(np.nan_to_num(size), 1e-12)) ** 2)
    return misfit, weight


def _misfit(colours: Colours, missed: Array, by_share: Array, counted: Array, wanted: float) -> float:
    def sum_of_squares(misfit: float) -> float:
        inverse = np.linalg.inv(noise_covariance(colours, by_share, misfit))
        return float(np.einsum("m,mc,mcd,md->", counted, missed, inverse, missed, optimize=True))

    low, high = _LEAST_DOUBT, 20.0
    if sum_of_squares(low) <= wanted:
        return low
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if sum_of_squares(middle) > wanted else (low, middle)
    return 0.5 * (low + high)


def _palette(folder: SwatchFolder, colours: Colours, prior: SpectralPrior, fitted: Fitted) -> Palette:
    problem, theta = colours.problem, fitted.here.theta
    n_components = problem.n_components
    kind = np.repeat([0, 1], n_components)
    detail = theta * np.sqrt(prior.rest[kind].T + _DETAIL**2)
    # About a guess at what was never cast the prior is no wiser than the guess: nothing is known of it.
    detail = np.where(report.never_cast(problem), report.prior(theta, problem).sd, detail)
    # So that a k or s of nothing still has a variance that can be inverted.
    local = np.eye(theta.shape[1]) * np.maximum(detail, 1e-9)[..., None, :] ** 2
    root = fitted.root[: colours.n_spectral].reshape(*colours.modes.shape[::2], -1)
    modes = np.einsum("pwr,prm,wp->mwp", colours.modes, root, theta, optimize=True)
    spread = np.sqrt(np.einsum("wpp->wp", local) + np.sum(modes**2, axis=0))
    shared = fitted.unknowns[colours.n_common :]
    evidence = colour_foresight.evidence(
        colours, fitted.here, fitted.unknowns, root=fitted.root, misfit=fitted.misfit, weight=fitted.weight
    )
    return Palette(
        name=folder.name,
        read_as="photographs" if any(each.source == PHOTOGRAPH for each in folder.readings) else "colours",
        instrument=folder.instrument,
        bases=dict(folder.bases),
        pigments=dict(folder.pigments),
        backings=dict(zip(folder.backings, colours.backings(fitted.unknowns), strict=True)),
        wavelengths=folder.wavelengths,
        model=problem.optics[0].model,
        g=problem.optics[0].g,
        k=np.ascontiguousarray(theta[:, :n_components].T),
        s=np.ascontiguousarray(theta[:, n_components:].T),
        local=local,
        modes=compress(modes, spread),
        misfit=fitted.misfit / _LIGHTNESS,
        evidence=evidence,
        seen=report.seen(folder),
        swatches=report.swatch_fits(folder, problem, evidence, shared, fitted.weight, view=colours.view),
        undetermined=report.undetermined(folder, problem, theta, spread),
        digest=folder.digest,
    )
