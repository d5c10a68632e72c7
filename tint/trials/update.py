"""A palette learns from trials: Bayes' rule on its own covariance, and on what may have changed since the swatches.

The unknowns are those of the fit, a deviation of k and s at each wavelength (`own`; m goes along with s) and what
wavelengths share (`shared`): the palette's modes, then the logarithm of each base's absorption and scattering and of
each pigment's strength, then thickness and doses of every trial, each in units of its own prior standard deviation.
The posterior mode is found by least squares. Readings that it leaves more of than their noise are believed less, by the
ratio of the two (Birge 1932, Phys. Rev. 40, 207): what nothing here explains must not bend what does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tint import forward
from tint.fitting.minimise import descend
from tint.optics import layer
from tint.optics.many_flux import MOST_G
from tint.optics.surface import known_word
from tint.palette import Palette, bold, compress, widening
from tint.spectra import Array
from tint.trials.trial import Doubts, Trial

_STEPS, _GAIN = 40, 1e-9  # of the search: most steps, and the share of its cost below which nothing is gained
# Rounds in which noise is raised to what is left, and the ratio of the two at which it has settled; no source.
_ROUNDS, _SETTLED = 5, 1.05
_TINY = 1e-12  # keeps a division from 0; changes nothing that can be told
# Of a thickness as read and of a dose as written, below which no step of the search takes them.
_THINNEST, _LEAST_DOSE = 0.05, 0.05


@dataclass(frozen=True, eq=False)
class Posterior:
    """What trials taught."""

    palette: Palette  # with k, s and their covariance as they are now believed to be
    # factors, factor_errors: shape (2 n_components,): by what k and then s of each component are multiplied, and the
    # standard deviation of their logarithm [-]
    factors: Array
    factor_errors: Array
    # thickness_mm, thickness_errors: shape (n_trials,): shift from each trial's reading, and its standard deviation
    # [mm]
    thickness_mm: Array
    thickness_errors: Array
    # doses, dose_errors: shape (n_doses,): by what share the doses of each trial were off, pigments in the palette's
    # order, and the standard deviation [-]
    doses: tuple[Array, ...]
    dose_errors: tuple[Array, ...]
    misfit: float  # root mean square of what is left of the readings, in standard deviations [-]


@dataclass(frozen=True, eq=False)
class Layout:
    """What may have changed, and where everything stands in `shared`."""

    n_modes: int
    changes: Array  # prior sd of each change's logarithm, shape (n_changes,)
    reach: Array  # which entries of theta each change multiplies, shape (n_changes, 4 n_components)
    doses: tuple[tuple[int, ...], ...]  # pigments dosed in each trial
    dose_sd: tuple[Array, ...]  # their prior sd, a share of each dose
    thickness_mm: float  # prior sd of a trial's thickness reading

    @property
    def first_trial(self) -> int:
        return self.n_modes + self.changes.size

    def thickness(self, trial: int) -> int:
        return self.first_trial + sum(1 + len(doses) for doses in self.doses[:trial])

    def dosed(self, trial: int) -> slice:
        """Where the doses of a trial stand."""
        first = self.thickness(trial) + 1
        return slice(first, first + len(self.doses[trial]))

    @property
    def size(self) -> int:
        return self.thickness(len(self.doses))


def learn(palette: Palette, trials: Sequence[Trial], doubts: Doubts) -> Posterior:
    """Update a palette by trials that share their lots.

    `trials`: at least one, all checked.
    """
    layout = lay_out(palette, trials, doubts)
    return posterior(palette, layout, settled(palette, trials, layout)[0], np.sqrt(surprise(palette, trials)))


def settled(palette: Palette, trials: Sequence[Trial], layout: Layout) -> tuple[Mode, float]:
    """The mode with the readings' noise taken as large as what it leaves of them, and that noise [-]."""
    noise, found = 1.0, mode(palette, trials, layout, 1.0)
    for _ in range(_ROUNDS):
        misfit = float(np.sqrt(np.mean(found.residual**2)))
        if misfit <= noise * _SETTLED:
            break
        noise = misfit
        found = mode(palette, trials, layout, noise)
    return found, noise


@dataclass(frozen=True, eq=False)
class Mode:
    """The posterior mode: what is believed there, and what is left of the readings at their own noise.

    `log_evidence` is Laplace's: of the readings, but for a constant that the readings alone decide.
    """

    at: At
    solved: Solved
    residual: Array
    log_evidence: float


@dataclass(frozen=True, eq=False)
class At:
    """Where the search for the mode stands; residuals at the noise that is reckoned with."""

    own: Array
    shared: Array
    theta: Array
    factor: Array
    by_shared: Array
    residual: Array
    by_own: Array
    slopes: Array
    cost: float


def mode(palette: Palette, trials: Sequence[Trial], layout: Layout, noise: float) -> Mode:
    """The mode, with the readings' noise taken `noise` times as large as it is stated."""
    prior = np.asarray(np.linalg.inv(palette.local))

    def at(own: Array, shared: Array) -> At:
        theta, factor, by_shared = _believed(palette, layout, own, shared)
        residual, by_theta, direct = (each / noise for each in _miss(palette, trials, layout, theta, shared))
        cost = float(np.sum(residual**2) + np.sum(shared**2) + np.einsum("ws,wst,wt->", own, prior, own))
        by_own, slopes = _lowered(palette, by_theta * factor), by_theta @ by_shared + direct
        return At(own, shared, theta, factor, by_shared, residual, by_own, slopes, cost)

    def step(here: At, damping: float) -> tuple[At, float]:
        found = _solve(prior, here, damping)
        own, shared = found.own - here.own, found.shared - here.shared
        left = here.residual - np.einsum("wmt,wt->wm", here.by_own, own) - here.slopes @ shared
        after = float(np.sum(left**2) + np.sum(found.shared**2))
        after += float(np.einsum("ws,wst,wt->", found.own, prior, found.own))
        return at(found.own, found.shared), here.cost - after

    start = at(np.zeros(palette.local.shape[:2]), np.zeros(layout.size))
    found, _, _ = descend(start, step, most_steps=_STEPS, gain=_GAIN)
    solved = _solve(prior, found, 0.0)
    return Mode(found, solved, found.residual * noise, solved.log_volume - 0.5 * found.cost)


def surprise(palette: Palette, trials: Sequence[Trial]) -> float:
    """By how much castings left out in the ways of these trials were missed: a ratio of mean squares."""
    return max(widening(palette.surprises, bold(palette.seen, each.blend, each.thickness_mm)) for each in trials)


def lay_out(palette: Palette, trials: Sequence[Trial], doubts: Doubts) -> Layout:
    n_bases, n = len(palette.bases), len(palette.k)
    # Which of k, s, m and q change together: of a base absorption and scattering each alone, of a pigment all.
    of_base = ((slice(0, 1), doubts.tint_percent), (slice(1, 4), doubts.haze_percent))
    of_pigment = ((slice(0, 4), doubts.strength_percent),)
    changes, reach = [], []
    for at in range(n):
        for which, percent in of_base if at < n_bases else of_pigment:
            together = np.zeros((4, n))
            together[which, at] = 1.0
            changes.append((doubts.only[at] if doubts.only else percent) / 100.0)
            reach.append(together.ravel())
    doses = tuple(tuple(np.flatnonzero(palette.loadings(trial.blend)).tolist()) for trial in trials)
    sd = palette.instrument.thickness_error_mm if doubts.thickness_mm is None else doubts.thickness_mm
    dose_sd = tuple(np.full(len(each), palette.instrument.dose_error_percent / 100.0) for each in doses)
    return Layout(palette.modes.shape[0], np.array(changes), np.array(reach), doses, dose_sd, sd)


def _believed(palette: Palette, layout: Layout, own: Array, shared: Array) -> tuple[Array, Array, Array]:
    """theta now, shape (W, t); its factor, shape (t,); and its slopes by `shared`, shape (W, t, q)."""
    z, u = shared[: layout.n_modes], shared[layout.n_modes : layout.first_trial]
    before = np.concatenate(palette.coefficients).T + _lifted(palette, own)
    before += np.einsum("r,rwt->wt", z, palette.modes)
    before = np.maximum(before, 0.0)
    factor = np.exp((u * layout.changes) @ layout.reach)
    theta = before * factor
    slopes = np.zeros((*theta.shape, layout.size))
    slopes[..., : layout.n_modes] = np.moveaxis(palette.modes, 0, -1) * factor[:, None]
    slopes[..., layout.n_modes : layout.first_trial] = theta[..., None] * (layout.reach.T * layout.changes)
    return theta, factor, slopes


def _lifted(palette: Palette, own: Array) -> Array:
    """Changes of k and s, shape (W, 2 n, ...), with those of m and q that go along with s, shape (W, 4 n, ...)."""
    s, by_s = own[:, len(palette.k) :], palette.by_s.swapaxes(1, 2)
    m, q = s * by_s.reshape(*by_s.shape, *(1,) * (s.ndim - 2))
    return np.concatenate((own, m, q), axis=1)


def _lowered(palette: Palette, by_theta: Array) -> Array:
    """Slopes by k and s, shape (W, m, 2 n), from those by k, s, m and q, shape (W, m, 4 n)."""
    by_k, by_s, *by_mq = np.split(by_theta, 4, axis=-1)
    along = palette.by_s.swapaxes(1, 2)[:, :, None]
    return np.concatenate((by_k, by_s + np.sum(along * np.stack(by_mq), axis=0)), axis=-1)


def _miss(
    palette: Palette, trials: Sequence[Trial], layout: Layout, theta: Array, shared: Array
) -> tuple[Array, Array, Array]:
    """Residuals in standard deviations, shape (W, m); slopes by theta, (W, m, t), and by what is the trials' own."""
    n = len(palette.k)
    coefficients = theta.T.reshape(4, n, -1)
    instrument = palette.instrument
    residuals, by_theta, direct = [], [], []
    for number, trial in enumerate(trials):
        at = layout.thickness(number)
        d = max(trial.thickness_mm + layout.thickness_mm * shared[at], _THINNEST * trial.thickness_mm)
        dosed = list(layout.doses[number])
        loadings = palette.loadings(trial.blend)
        off = layout.dose_sd[number] * shared[layout.dosed(number)]
        exact = loadings[dosed]
        loadings[dosed] = exact * np.maximum(1.0 + off, _LEAST_DOSE)
        share = palette.shares(trial.blend.base, loadings)
        optics = palette.optics(trial.blend.base, as_read=True, finish=known_word(trial.finish))
        base = list(palette.bases).index(trial.blend.base)
        for reading in trial.readings:
            read, (*by_mixed, by_d) = layer.reflectance_slopes(
                *forward.mix(coefficients, share),
                thickness=d,
                backing=palette.backing(reading.over),
                seat=reading.seat,
                optics=optics,
            )
            noise = reading.noise * instrument.noise
            sd = np.hypot(noise, palette.model_error * np.maximum(reading.values, 0.0) ** (2 / 3))
            residuals.append((reading.values - read) / sd)
            by_theta.append(np.concatenate([np.outer(slope / sd, share) for slope in by_mixed], axis=1))
            own = np.zeros((read.size, layout.size))
            own[:, at] = layout.thickness_mm * by_d / sd
            for slot, pigment in enumerate(dosed):
                number_of = len(palette.bases) + pigment
                gain = sum(
                    slope * (each[number_of] - each[base] / 100.0)
                    for slope, each in zip(by_mixed, coefficients, strict=True)
                )
                own[:, at + 1 + slot] = layout.dose_sd[number][slot] * exact[slot] * gain / sd
            direct.append(own)
    return np.stack(residuals, axis=1), np.stack(by_theta, axis=1), np.stack(direct, axis=1)


@dataclass(frozen=True, eq=False)
class Solved:
    own: Array
    shared: Array
    local: Array  # covariance of `own` at each wavelength, given `shared`
    lean: Array  # how `own` follows `shared`, shape (W, t, q)
    root: Array  # a square root of the covariance of `shared`, shape (q, q)
    log_volume: float  # logarithm of what the readings leave of the prior's volume


def _solve(prior: Array, here: At, damping: float) -> Solved:
    """One damped step, written for the new values themselves: both priors are about zero, the damping about here."""
    own, shared, by_own, slopes = here.own, here.shared, here.by_own, here.slopes
    aimed = here.residual + np.einsum("wmt,wt->wm", by_own, own) + slopes @ shared
    transposed, held = np.swapaxes(by_own, 1, 2), damping * np.einsum("wst,wt->ws", prior, own)
    local = np.asarray(np.linalg.inv((1.0 + damping) * prior + transposed @ by_own))
    cross = transposed @ slopes
    lean = -local @ cross
    alone = np.einsum("wst,wt->ws", local, np.einsum("wtm,wm->wt", transposed, aimed) + held)
    flat_slopes, flat_cross = slopes.reshape(-1, shared.size), cross.reshape(-1, shared.size)  # (W m, q) and (W t, q)
    information = (1.0 + damping) * np.eye(shared.size) + flat_slopes.T @ flat_slopes
    information += flat_cross.T @ lean.reshape(-1, shared.size)
    pull = flat_slopes.T @ aimed.ravel() - flat_cross.T @ alone.ravel() + damping * shared
    lower = np.linalg.cholesky(information)  # the prior alone is the unit matrix: it is positive definite
    root = np.linalg.inv(lower).T
    new_shared = root @ (root.T @ pull)
    log_volume = 0.5 * float(np.sum(np.linalg.slogdet(local)[1]) + np.sum(np.linalg.slogdet(prior)[1]))
    log_volume -= float(np.sum(np.log(np.diag(lower))))
    return Solved(alone + lean @ new_shared, new_shared, local, lean, root, log_volume)


def posterior(palette: Palette, layout: Layout, found: Mode, widening: float) -> Posterior:
    """What the mode says; standard deviations widened by what the palette's own swatches were missed by."""
    shared, theta, factor, solved = found.at.shared, found.at.theta, found.at.factor, found.solved
    n = len(palette.k)
    follows = found.at.by_shared + _lifted(palette, solved.lean) * factor[:, None]
    errors = np.minimum(widening * np.sqrt(np.sum(solved.root**2, axis=1)), 1.0)  # no more than before the trials
    changes = slice(layout.n_modes, layout.first_trial)
    believed = shared[changes] * layout.changes
    places = np.array([layout.thickness(number) for number in range(len(layout.doses))])
    of_own = factor[: 2 * n]
    local = solved.local * of_own[:, None] * of_own
    scale = _lifted(palette, np.sqrt(np.einsum("wtt->wt", local))) + _TINY
    mixed = np.ascontiguousarray(theta.T).reshape(4, n, -1)
    k, s, m, q = mixed
    new = replace(
        palette,
        k=k,
        s=s,
        g=np.clip(forward.anisotropy(mixed), 0.0, MOST_G),
        second_moment=np.clip(np.where(m > 0.0, q / np.where(m > 0.0, m, 1.0), palette.second_moment), -1.0, 1.0),
        local=local,
        modes=compress(np.moveaxis(follows @ solved.root, -1, 0), scale),
    )
    return Posterior(
        palette=new,
        factors=np.exp(believed @ layout.reach)[: 2 * n],
        factor_errors=((errors[changes] * layout.changes) @ layout.reach)[: 2 * n],
        thickness_mm=layout.thickness_mm * shared[places],
        thickness_errors=layout.thickness_mm * errors[places],
        doses=tuple(sd * shared[layout.dosed(at)] for at, sd in enumerate(layout.dose_sd)),
        dose_errors=tuple(sd * errors[layout.dosed(at)] for at, sd in enumerate(layout.dose_sd)),
        misfit=float(np.sqrt(np.mean(found.residual**2))),
    )
