"""Spectra of swatches to palette: one least-squares fit of every casting, base, pigment, wavelength and anisotropy.

Each wavelength has its own k and s per component, never negative; each component its anisotropy and each base its
refractive index, near what is known of them; each casting its thickness and doses, near what was written, tied by the
folder's stated errors and shared by all wavelengths. Readings weigh by their stated noise and by the error that the
model itself shows; a casting that the others contradict loses its weight and is named.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from tint import colorimetry
from tint.errors import JobError
from tint.fitting import hidden, priors, report
from tint.fitting.leaving_out import Fitted, gather, surprises
from tint.fitting.minimise import ROUGHLY, Minimum, minimise
from tint.fitting.posterior import MANY, in_modes, posterior, unknowns_spent
from tint.fitting.priors import Prior
from tint.fitting.problem import Problem, lay_out
from tint.fitting.report import of_cast, with_uncast
from tint.fitting.rounds import Weighting, as_beams, at_height, have_settled, standard_deviation, weigh, weights
from tint.fitting.unknowns import Unknowns, first_guess, indices, spot_share, start_at
from tint.optics import many_flux, spot
from tint.optics.layer import Optics
from tint.palette import Palette, spot_of
from tint.spectra import Array
from tint.swatches import SwatchFolder
from tint.swatches.records import REGULAR

# Model error to begin with, so that no thickness is bent to excuse a poor start (tests/figures/judgement.py).
_DOUBT = 0.02
_ROUNDS = 6  # of weighing the readings anew
# Relative change of the model error that ends them, or this much of the instrument's noise
# (tests/figures/judgement.py).
_SETTLED = 0.05
# Few castings leave more than one minimum: of 36 workshops of 12 to 43 castings 5 had a deeper one, by 3 to 140, which
# a search from one of these scores of e finds (tests/figures/random_workshops.py, seeds 522 to 629 and 1000 to 1027);
# of six of 73 castings and more none had.
_FEW, _OTHER_MOMENTS = 60, (2.0, -1.0)
# Of how long a fit takes: steps, and what is counted of each in a second (tests/figures/growth.py, 30 to 150 pigments).
_STEPS, _EACH_SECOND = 50, 6.4e9
_LONG_S, _LARGE_BYTES, _MOST_BYTES = 120.0, 2e9, 8e9  # from where it is told, and refused; common practice, no source


def fit_with_ground(
    folder: SwatchFolder,
    *,
    optics: str = "many-flux",
    g: float | None = None,
    progress: Callable[[str], None] | None = None,
) -> tuple[Palette, Fitted]:
    """As `tint.fitting.fit_palette` of a folder of spectra, with what leaving castings out needs of what was cast."""
    fitted = fit_only(of_cast(folder), optics=optics, g=g, progress=progress)
    return with_uncast(palette_of(fitted), folder, g=g), fitted


def fit_only(
    folder: SwatchFolder,
    *,
    optics: str,
    g: float | None = None,
    progress: Callable[[str], None] | None = None,
    near: Fitted | None = None,
) -> Fitted:
    """As `fit_with_ground`, without the palette, whose covariance takes a third of the time.

    Parameters
    ----------
    near : Fitted, optional
        A fit to these and a few more castings, where the search may begin.
    """
    folder = as_beams(folder)
    if optics == "two-flux":  # it knows nothing of beams
        folder = replace(folder, readings=tuple(each for each in folder.readings if each.quantity != REGULAR))
    problem = lay_out(folder, optics_of(folder, optics), g=g)
    if near is None:
        _tell_size(problem, str(folder.path))
    problem, minimum, prior, weighting = search(problem, progress=progress, near=near)
    shown = minimum.shown
    noise = standard_deviation(problem, shown.values, weighting.model_error)
    noise = noise / np.sqrt(weighting.casting[problem.readings.casting])[:, None]
    return Fitted(folder, problem, minimum, weighting, posterior(problem, minimum, prior), noise)


def size(problem: Problem) -> tuple[float, float]:
    """About what a fit takes: time of a processor of 2024 [s], and memory [bytes]."""
    n, wide = problem.n_components, problem.n_wavelengths
    shared, block = 2 * n * wide, 4 * n
    border = priors.BENDS * n + len(problem.optics) + 1 + int(problem.used.sum())
    steps = _STEPS * shared * (border**2 + 3 * block * (border + block))
    held = 14 * shared * border + 16 * wide * n**2 + 3 * shared * min(shared, max(MANY, shared // 4)) + 3 * border**2
    return steps / _EACH_SECOND, 8.0 * held


def _tell_size(problem: Problem, where: str) -> None:
    """Say what a large fit takes before it begins; refuse one that takes more memory than computers have."""
    seconds, memory = size(problem)
    if seconds < _LONG_S and memory < _LARGE_BYTES:
        return
    told = f"{seconds / 60.0:,.0f} minutes" if seconds < 2 * 3600 else f"{seconds / 3600.0:,.0f} hours"
    of = f"{problem.loadings.shape[1]:,} pigments and {problem.thickness.size:,} castings"
    found = f"the fit of {of} takes about {told} and {memory / 1e9:,.1f} GB"
    mend = "a folder for each group of pigments that are mixed with each other takes far less"
    if memory > _MOST_BYTES:
        raise JobError(where, found, f"at most {_MOST_BYTES / 1e9:g} GB", mend)
    logging.getLogger("tint").warning("%s: %s; %s", where, found, mend)


def optics_of(folder: SwatchFolder, model: str) -> tuple[Optics, ...]:
    """The layer model of each base, in the folder's order."""
    return tuple(
        Optics(
            model=model,
            refractive_index=base.refractive_index,
            geometry=folder.instrument.geometry,
            k1=base.k1,
            k2=base.k2,
            spot=spot_of(folder.instrument),
        )
        for base in folder.bases.values()
    )


def search(
    problem: Problem, *, progress: Callable[[str], None] | None = None, near: Fitted | None = None
) -> tuple[Problem, Minimum, Prior, Weighting]:
    """The minimum under the weights that it itself gives the readings, and the problem with what stands for hazes.

    Arguments are those of `fit_only`.
    """

    def told(step: int, cost: float) -> None:
        if progress is not None:
            progress(f"step {step}, cost {cost:.4g}")

    if progress is not None and not all(_is_ready(each) for each in problem.optics):
        progress("computing the tables of the layer model, once for all folders")
    guess = first_guess(problem)
    prior = priors.prior(guess, problem.largest_depth, len(problem.optics))
    if near is not None and problem.thickness.size > _FEW:
        found = _settled(problem, *_from(near, problem, prior, told), told)
        return _ended(*found, told)
    weighting = Weighting(_DOUBT, np.ones(problem.thickness.size))
    minimum = minimise(
        problem,
        start_at(problem, guess),
        prior,
        weight=weights(problem, problem.read, weighting),
        gain=ROUGHLY,
        bend=False,
        shape=False,
        step_taken=told,
    )
    # Faces before the phase functions, which else go to their ends to make up for them.
    held = weights(problem, minimum.shown.values, Weighting(_DOUBT / 4.0, weighting.casting))
    minimum = minimise(problem, minimum.at, prior, weight=held, gain=ROUGHLY, bend=False, step_taken=told)
    found = _settled(problem, minimum, prior, weighting, told)
    if problem.thickness.size <= _FEW:
        problem, minimum, prior, weighting, held = found
        tried = (
            minimise(problem, each, prior, weight=held, gain=ROUGHLY, step_taken=told)
            for each in _elsewhere(minimum.at)
        )
        deepest = min(tried, key=lambda each: each.cost)
        if deepest.cost < minimum.cost * (1.0 - 2.0 * ROUGHLY):
            found = _settled(problem, deepest, prior, weighting, told)
    return _ended(*found, told)


def _ended(
    problem: Problem,
    minimum: Minimum,
    prior: Prior,
    weighting: Weighting,
    held: Array,
    told: Callable[[int, float], None],
) -> tuple[Problem, Minimum, Prior, Weighting]:
    """What `search` returns, of what `_settled` does."""
    deepest = minimise(problem, minimum.at, prior, weight=held, step_taken=told)

    def search_near(times: Array, prior: Prior) -> Minimum:
        ks = deepest.at.ks * times[:, None]
        at = replace(deepest.at, ks=ks)
        return minimise(problem, at, _smooth(problem, prior, ks), weight=held, gain=ROUGHLY, step_taken=told)

    minimum = hidden.beyond_hiding(
        problem, deepest, prior, missed=lambda values: (problem.read - values) * held, search=search_near
    )
    return problem, minimum, prior if minimum is deepest else _smooth(problem, prior, minimum.at.ks), weighting


def _settled(
    problem: Problem, minimum: Minimum, prior: Prior, weighting: Weighting, told: Callable[[int, float], None]
) -> tuple[Problem, Minimum, Prior, Weighting, Array]:
    """The minimum with weights, and with what stands for hazes, that go with it; last the weight of each value."""
    for _ in range(_ROUNDS):
        last, problem = problem, at_height(problem, minimum.at, minimum.shown.values[problem.haze_rows])
        spent = unknowns_spent(problem, minimum, prior)
        before, weighting = weighting, weigh(problem, minimum.shown.values, spent)
        held = weights(problem, minimum.shown.values, weighting)
        prior = _smooth(problem, prior, minimum.at.ks)
        minimum = minimise(problem, minimum.at, prior, weight=held, gain=ROUGHLY, step_taken=told)
        small = _SETTLED * max(weighting.model_error, problem.instrument.repeatability)
        alike = np.allclose(weighting.casting, before.casting, atol=0.05) and have_settled(last, problem)
        if abs(weighting.model_error - before.model_error) < small and alike:
            break
    return problem, minimum, prior, weighting, held


def _smooth(problem: Problem, prior: Prior, ks: Array) -> Prior:
    return priors.smooth(prior, ks, problem.largest_depth, problem.anisotropy.log_wavelength)


def _from(
    near: Fitted, problem: Problem, prior: Prior, told: Callable[[int, float], None]
) -> tuple[Minimum, Prior, Weighting]:
    """The minimum of fewer castings from that of more, under the weights that they had there."""
    number = {name: at for at, name in enumerate(near.problem.names)}
    of = [number[name] for name in problem.names]
    at = near.minimum.at
    own = at.own[of, : problem.n_slots]  # the most doses of a casting may be fewer now
    weighting = Weighting(near.weighting.model_error, near.weighting.casting[of])
    held = weights(problem, near.minimum.shown.values[np.isin(near.problem.readings.casting, of)], weighting)
    prior = _smooth(problem, prior, at.ks)
    start = replace(at, own=np.where(problem.used, own, 0.0))
    return minimise(problem, start, prior, weight=held, gain=ROUGHLY, step_taken=told), prior, weighting


def _elsewhere(at: Unknowns) -> Iterator[Unknowns]:
    """Where a deeper minimum may be reached from: with other phase functions, the same for all."""
    for score in _OTHER_MOMENTS:
        bend = np.zeros_like(at.bend)
        bend[:, 2] = score
        yield replace(at, bend=bend)


def _is_ready(optics: Optics) -> bool:
    """Whether the tables that a base needs were computed before."""
    layer = optics.model != "many-flux" or many_flux.is_ready(optics.refractive_index)
    return layer and (optics.spot is None or spot.is_ready(optics.refractive_index))


def palette_of(fitted: Fitted) -> Palette:
    """The palette at a minimum, with its covariance and what leaving castings out says of it."""
    folder, problem, minimum, weighting = fitted.folder, fitted.problem, fitted.minimum, fitted.weighting
    known = fitted.posterior
    shown = minimum.shown
    view = colorimetry.viewing(folder.wavelengths)
    told = gather(fitted, view)
    surprised = surprises(fitted, told, view)
    k, s = minimum.at.ks
    local, modes = in_modes(problem, minimum, known)
    variance = np.einsum("wpp->pw", local) + np.sum(modes[:, :, : local.shape[1]] ** 2, axis=0).T
    spread = np.sqrt(variance).reshape(minimum.at.ks.shape)
    return Palette(
        name=folder.name,
        read_as="spectra",
        instrument=folder.instrument,
        bases=dict(folder.bases),
        pigments=dict(folder.pigments),
        backings=dict(folder.backings),
        wavelengths=folder.wavelengths,
        model=problem.optics[0].model,
        k=np.ascontiguousarray(k),
        s=np.ascontiguousarray(s),
        g=1.0 - 1.0 / shown.by_s[0],
        second_moment=shown.by_s[1] / shown.by_s[0],
        g_error=known.g_error,
        index=indices(problem, minimum.at.shape),
        spot_share=spot_share(minimum.at.shape),
        index_error=known.index_error,
        local=local,
        modes=modes,
        model_error=weighting.model_error,
        evidence=told,
        surprises=surprised,
        seen=report.seen(folder),
        swatches=report.swatch_fits(problem, told, minimum.at.own, weighting.casting, folder=folder, view=view),
        undetermined=report.undetermined(
            folder, problem, minimum.at.ks, spread, known.g_error if problem.optics[0].model == "many-flux" else None
        ),
        digest=folder.digest,
    )
