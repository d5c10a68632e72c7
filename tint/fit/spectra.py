"""Swatches to palette: all castings of all bases together, errors in thickness and doses included.

Each wavelength has its own k and s per component, never negative; the thickness of each casting and each dose are
unknowns near what was written, tied by the folder's stated errors and shared by all wavelengths. Readings weigh by
their stated noise and by the misfit that the swatches themselves show; a swatch that the others contradict loses
its weight and is named.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.fit import foresight, report
from tint.fit.anisotropy import G_STEP, best_step, optics_of, with_g
from tint.fit.least_squares import (
    Normal,
    Prior,
    Solution,
    covariance,
    minimise,
    normal_equations,
    with_prior,
)
from tint.fit.problem import Problem, forward, lay_out
from tint.fit.start import first_guess
from tint.palette import Palette
from tint.swatches import SwatchFolder

Array = NDArray[np.float64]

_DOUBT = 0.02  # misfit to begin with, so that no thickness is bent to excuse the model
_ROUGHLY = 15  # steps
_ROUNDS = 5  # of weighing the readings anew
_OUTLYING = 2.5  # times the median residual, from where a swatch loses weight ...
_CROWD = 1.8  # ... unless a tenth of all swatches are nearly as far out: then it is the model that misses them


@dataclass(frozen=True, eq=False)
class Weighting:
    """What a residual counts: the model's misfit, a share of reflectance^(2/3), and each swatch's weight."""

    misfit: float
    swatch: Array


def fit_spectra(folder: SwatchFolder, *, optics: str, g: float | None) -> Palette:
    """Fit all bases and pigments of a folder of spectra; arguments as of `tint.fit.fit_palette`."""
    problem = lay_out(folder, optics_of(folder, optics, g or 0.0))
    start = first_guess(problem)
    if optics == "many-flux" and g is None:
        problem = with_g(problem, _choose_g(problem, start))
    solution, weighting = _fit(problem, start)
    return _palette(folder, problem, start, solution, weighting)


def fit_roughly(problem: Problem, start: Array, *, misfit: float) -> Array:
    """k and s after a few steps under a misfit taken on trust, shape (n_wavelengths, 2 n_components)."""
    scale = _standard_deviation(problem, problem.read, misfit)
    everyone = Weighting(misfit, np.ones(problem.thickness.size))
    shared, prior = np.zeros(problem.n_shared), report.prior(start, problem)
    return minimise(
        lambda t, u: _equations(problem, everyone, scale, prior, t, u), start, shared, most_steps=_ROUGHLY
    ).theta


def _choose_g(problem: Problem, start: Array) -> float:
    """The anisotropy under which the swatches agree best; each trial begins where the last one ended."""
    scale = _standard_deviation(problem, problem.read, _DOUBT)
    everyone = Weighting(_DOUBT, np.ones(problem.thickness.size))
    theta, shared, prior = start, np.zeros(problem.n_shared), report.prior(start, problem)

    def cost(step: int) -> float:
        nonlocal theta, shared
        trial = with_g(problem, step * G_STEP)
        found = minimise(lambda t, u: _equations(trial, everyone, scale, prior, t, u), theta, shared, most_steps=25)
        theta, shared = found.theta, found.shared
        return found.cost

    return best_step(cost) * G_STEP


def _standard_deviation(problem: Problem, predicted: Array, misfit: float) -> Array:
    """Of each reading against the fit, shape (n_readings, n_wavelengths).

    A misfit in proportion to reflectance^(2/3) is even in lightness, which goes as the cube root.
    """
    noise = max(problem.instrument.repeatability, 1e-4)  # no instrument repeats better
    return np.asarray(np.sqrt(noise**2 + misfit**2 * np.maximum(predicted, 0.0) ** (4.0 / 3.0)))


def _equations(
    problem: Problem, weighting: Weighting, scale: Array, prior: Prior, theta: Array, shared: Array
) -> Normal:
    """Normal equations at a point; `scale` is the standard deviation of each reading, held while searching."""
    at = forward(problem, theta, shared)
    weight = (np.sqrt(weighting.swatch[problem.swatch])[:, None] / scale).T
    residual = (problem.read - at.predicted).T * weight
    normal = normal_equations(
        residual,
        at.by_theta * weight[..., None],
        at.by_own * weight[..., None],
        own=problem.own,
        group=problem.swatch,
        shared=shared,
    )
    return with_prior(normal, theta, prior)


def _fit(problem: Problem, theta: Array) -> tuple[Solution, Weighting]:
    prior = report.prior(theta, problem)
    shared = np.zeros(problem.n_shared)
    weighting = Weighting(_DOUBT, np.ones(problem.thickness.size))
    scale = _standard_deviation(problem, problem.read, weighting.misfit)
    solution = Solution(theta, shared, np.inf, 0)
    for _ in range(_ROUNDS):
        held_weighting, held_scale = weighting, scale
        solution = minimise(
            lambda t, u, w=held_weighting, s=held_scale: _equations(problem, w, s, prior, t, u),  # type: ignore[misc]
            solution.theta,
            solution.shared,
        )
        predicted = forward(problem, solution.theta, solution.shared).predicted
        weighting = _weigh(problem, predicted)
        scale = _standard_deviation(problem, predicted, weighting.misfit)
    return solution, weighting


def _weigh(problem: Problem, predicted: Array) -> Weighting:
    """The misfit that makes the residuals as large as they are said to be, and the swatches that stand out."""
    squared = (problem.read - predicted) ** 2
    weight = np.ones(problem.thickness.size)
    misfit = 0.0
    for _ in range(3):
        misfit = _misfit(problem, squared * weight[problem.swatch][:, None], predicted, weight)
        standard = squared / _standard_deviation(problem, predicted, misfit) ** 2
        per_swatch = report.mean_by(problem.swatch, standard.mean(axis=1), problem.thickness.size)
        size = np.sqrt(per_swatch)
        far = max(_OUTLYING * float(np.nanmedian(size)), _CROWD * float(np.nanquantile(size, 0.9)), 1e-12)
        weight = np.minimum(1.0, (far / np.maximum(np.nan_to_num(size), 1e-12)) ** 2)
    return Weighting(misfit, weight)


def _degrees_of_freedom(problem: Problem, weight: Array) -> float:
    """Readings less unknowns, per wavelength; never less than a fifth of the readings."""
    count = float(weight[problem.swatch].sum())
    # Thickness and doses are shared by all wavelengths, so each costs a share of one.
    spent = 2.0 * problem.n_components + problem.n_shared / problem.read.shape[1]
    return float(max(count - spent, 0.2 * count))


def _misfit(problem: Problem, squared: Array, predicted: Array, weight: Array) -> float:
    wanted = _degrees_of_freedom(problem, weight) * float(problem.read.shape[1])

    def excess(misfit: float) -> float:
        return float(np.sum(squared / _standard_deviation(problem, predicted, misfit) ** 2)) - wanted

    if excess(0.0) <= 0.0:
        return 0.0
    low, high = 0.0, 1.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if excess(middle) > 0.0 else (low, middle)
    return 0.5 * (low + high)


def _palette(folder: SwatchFolder, problem: Problem, start: Array, solution: Solution, weighting: Weighting) -> Palette:
    at = forward(problem, solution.theta, solution.shared)
    predicted = at.predicted
    scale = _standard_deviation(problem, predicted, weighting.misfit)
    prior = report.prior(start, problem)
    local, modes = covariance(_equations(problem, weighting, scale, prior, solution.theta, solution.shared), prior)
    n_components = problem.n_components
    view = colorimetry.viewing(folder.wavelengths)
    evidence = foresight.evidence(
        problem,
        view,
        at=at,
        shared=solution.shared,
        scale=scale,
        weight=weighting.swatch,
        local=local,
        modes=modes,
    )
    spread = np.sqrt(np.einsum("wpp->wp", local) + np.sum(modes**2, axis=0))
    return Palette(
        name=folder.name,
        read_as="spectra",
        instrument=folder.instrument,
        bases=dict(folder.bases),
        pigments=dict(folder.pigments),
        backings=dict(folder.backings),
        wavelengths=folder.wavelengths,
        model=problem.optics[0].model,
        g=problem.optics[0].g,
        k=np.ascontiguousarray(solution.theta[:, :n_components].T),
        s=np.ascontiguousarray(solution.theta[:, n_components:].T),
        local=local,
        modes=modes,
        misfit=weighting.misfit,
        evidence=evidence,
        seen=report.seen(folder),
        swatches=report.swatch_fits(folder, problem, evidence, solution.shared, weighting.swatch, view=view),
        undetermined=report.undetermined(folder, problem, solution.theta, spread),
        digest=folder.digest,
    )
