"""What all readings show for given unknowns, with slopes.

The unknowns are of two kinds. All castings share k and s of every component at every wavelength, a, b and e of its
phase function (`AnisotropyPrior`), the refractive index of every base, and the share of what the spot loses. Each
casting has its own thickness and doses: factors of what was written. All but k and s are standard scores of their own
prior, so that their prior is a unit normal; thickness and doses are exponentials of theirs, and so never negative.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint import forward
from tint.fitting.priors import BENDS
from tint.fitting.problem import SPOT_SD, Problem
from tint.forward import SHAPES, Readings
from tint.optics import two_flux
from tint.optics.layer import Optics
from tint.palette import shares
from tint.spectra import Array

_FARTHEST = 20.0  # standard scores beyond which a thickness or a dose is not moved


@dataclass(frozen=True, eq=False)
class Unknowns:
    """A point of the search."""

    ks: Array  # shape (2, n_components, n_wavelengths): k, then s
    bend: Array  # shape (n_components, BENDS): scores of a, b and e of the phase function
    # shape (n_bases + 1,): scores of the refractive indices, then of the share of the spot's loss
    shape: Array
    own: Array  # shape (n_castings, n_slots): scores of thickness and doses; 0 in empty slots


@dataclass(frozen=True, eq=False)
class Shown:
    """Predicted readings, and their slopes."""

    values: Array  # shape (n_readings, n_wavelengths)
    by_mixed: Array  # shape (4, n_readings, n_wavelengths): by K, S, M and Q of the casting
    # shape (SHAPES, n_readings, n_wavelengths): by the scores of its base's index and of the share of the spot's loss
    by_shape: Array
    by_own: Array  # shape (n_slots, n_readings, n_wavelengths): by the scores of its thickness and doses
    share: Array  # shape (n_castings, n_components): the mixing law's c
    coefficients: Array  # shape (4, n_components, n_wavelengths): k, s, m and q
    by_bend: Array  # shape (BENDS, 2, n_components, n_wavelengths): slopes of m and q by the scores of a, b and e
    by_s: Array  # shape (2, n_components, n_wavelengths): slopes of m and q by s, 1 / (1 - g) and that times q / m


def start_at(problem: Problem, ks: Array) -> Unknowns:
    """Everything as written and as the priors have it, with these k and s."""
    return Unknowns(
        ks=ks,
        bend=np.zeros((problem.n_components, BENDS)),
        shape=np.zeros(len(problem.optics) + SHAPES - 1),
        own=np.zeros((problem.thickness.size, problem.n_slots)),
    )


def indices(problem: Problem, scores: Array) -> Array:
    """Refractive indices of the bases, shape (n_bases,), from their scores."""
    stated = np.array([optics.refractive_index for optics in problem.optics])
    return stated + problem.index_sd * scores[: stated.size]


def spot_share(scores: Array) -> float:
    """Share of the loss computed for the instrument's spot, from the scores; 1 where none is stated."""
    return float(max(1.0 + SPOT_SD * scores[-1], SPOT_SD))


def errors_written(problem: Problem) -> tuple[Array, float]:
    """Standard deviations of the logarithms of every thickness, shape (n_castings,), and of every dose."""
    relative = problem.instrument.thickness_error_mm / problem.thickness
    return np.minimum(relative, 0.5), min(problem.instrument.dose_error_percent / 100.0, 0.5)


@dataclass(frozen=True, eq=False)
class Made:
    """The castings at a point of the search."""

    thickness: Array  # shape (n_castings,) [mm]
    doses: Array  # shape (n_castings, n_slots - 1) [%]
    # as of `Shown`
    share: Array
    coefficients: Array
    by_s: Array
    by_bend: Array

    @property
    def mixed(self) -> Array:
        """K, S, M and Q of every casting, shape (4, n_castings, n_wavelengths) [1/mm]."""
        return forward.mix(self.coefficients, self.share)


def made(problem: Problem, at: Unknowns) -> Made:
    """What was poured, as it is believed at a point of the search."""
    thickness_sd, dose_sd = errors_written(problem)
    score = np.clip(at.own, -_FARTHEST, _FARTHEST)
    doses = problem.dose * np.exp(dose_sd * score[:, 1:])
    loadings = np.zeros_like(problem.loadings)
    np.put_along_axis(loadings, problem.dosed, doses, axis=1)
    g, g_by_bend = problem.anisotropy.g(at.bend)
    second, second_by_bend = problem.anisotropy.second(at.bend, g, g_by_bend)
    m_by_s = 1.0 / (1.0 - g)
    k, s = at.ks
    m = s * m_by_s
    m_by_bend = m * m_by_s * g_by_bend
    return Made(
        thickness=problem.thickness * np.exp(thickness_sd * score[:, 0]),
        doses=doses,
        share=mixing_shares(problem, loadings),
        coefficients=np.stack((k, s, m, m * second)),
        by_s=np.stack((m_by_s, m_by_s * second)),
        by_bend=np.stack((m_by_bend, m_by_bend * second + m * second_by_bend), axis=1),
    )


def seen_at(
    problem: Problem,
    at: Unknowns,
    readings: Readings,
    mixed: Array,
    thickness: Array,
    *,
    optics: tuple[Optics, ...] | None = None,
) -> forward.Predicted:
    """What readings of castings of these K, S, M and Q [1/mm] and thicknesses [mm] show at a point of the search.

    `optics`, one a base, stands in place of the problem's own.
    """
    return forward.read(
        readings,
        mixed,
        thickness,
        optics=optics or problem.optics,
        index=indices(problem, at.shape) if problem.index_sd else None,
        spot_share=spot_share(at.shape),
    )


def show(problem: Problem, at: Unknowns) -> Shown:
    """Predict every reading, with slopes."""
    thickness_sd, dose_sd = errors_written(problem)
    castings = made(problem, at)
    doses, share, coefficients = castings.doses, castings.share, castings.coefficients
    seen = seen_at(problem, at, problem.readings, castings.mixed, castings.thickness)
    of = problem.readings.casting
    by_thickness = seen.slopes[4] * (thickness_sd * castings.thickness)[of, None]
    by_dose = [
        sum(
            slope * (each[len(problem.optics) + problem.dosed[:, slot]] - each[problem.base] / 100.0)[of]
            for slope, each in zip(seen.slopes[:4], coefficients, strict=True)
        )
        * (dose_sd * doses[:, slot])[of, None]
        for slot in range(problem.n_slots - 1)
    ]
    return Shown(
        values=seen.values,
        by_mixed=seen.slopes[:4],
        by_shape=seen.by_shape * np.array([problem.index_sd, SPOT_SD])[:, None, None],
        by_own=np.stack([by_thickness, *by_dose]),
        share=share,
        coefficients=coefficients,
        by_bend=castings.by_bend,
        by_s=castings.by_s,
    )


def mixing_shares(problem: Problem, loadings: Array) -> Array:
    """c of the mixing law for every casting, shape (n_castings, n_components)."""
    n_bases = len(problem.optics)
    share = shares(0, n_bases, loadings)
    share[:, :n_bases] = 0.0
    share[np.arange(problem.base.size), problem.base] = np.maximum(1.0 - loadings.sum(axis=1) / 100.0, 0.0)
    return share


# Where a search begins: K and S of each casting read over two backings, shared out by non-negative regression.


_PLAIN_K, _PLAIN_S = 0.05, 0.3  # 1/mm; of a casting that cannot be inverted
_MOST = 200.0  # 1/mm; beyond it the inverse has run away


def first_guess(problem: Problem) -> Array:
    """k and s to start from, shape (2, n_components, n_wavelengths); no entry is zero.

    Notes
    -----
    The closed two-flux inverse ignores noise and mixing, so it only has to be of the right size.
    """
    from scipy.optimize import nnls  # 0.3 s to import; only fitting needs it

    share = mixing_shares(problem, problem.loadings)
    guess = np.empty((2, problem.n_components, problem.n_wavelengths))
    for block, amounts in enumerate(_invert_pairs(problem)):
        for at, amount in enumerate(amounts.T):
            # Relative residuals: a clear casting says as much as a strong one.
            weight = 1.0 / (amount + 0.02)
            guess[block, :, at] = nnls(share * weight[:, None], amount * weight)[0]
    typical = np.maximum(np.median(guess, axis=2, keepdims=True), 1e-4)
    return np.maximum(guess, 0.03 * typical)


def _invert_pairs(problem: Problem) -> tuple[Array, Array]:
    """K and S of every casting, each of shape (n_castings, n_wavelengths)."""
    readings = problem.readings
    shape = (problem.thickness.size, problem.n_wavelengths)
    K, S = np.full(shape, _PLAIN_K), np.full(shape, _PLAIN_S)
    level = readings.backings.mean(axis=1)
    for casting in range(shape[0]):
        rows = np.flatnonzero((readings.casting == casting) & (readings.backing >= 0))
        if rows.size < 2:
            continue
        order = np.argsort(level[readings.backing[rows]])
        dark, light = rows[order[0]], rows[order[-1]]
        if readings.wet[dark] != readings.wet[light] or readings.backing[dark] == readings.backing[light]:
            continue
        optics = problem.optics[problem.base[casting]]
        k, s = two_flux.from_black_and_white(
            problem.read[dark],
            problem.read[light],
            black=readings.backings[readings.backing[dark]],
            white=readings.backings[readings.backing[light]],
            thickness=problem.thickness[casting],
            refractive_index=optics.refractive_index,
            geometry=optics.geometry,
            seat="wet" if readings.wet[dark] else "air",
        )
        good = np.isfinite(k) & np.isfinite(s) & (k >= 0.0) & (s >= 0.0) & (k < _MOST) & (s < _MOST)
        K[casting], S[casting] = np.where(good, k, _PLAIN_K), np.where(good, s, _PLAIN_S)
    return K, S
