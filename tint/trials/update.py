"""A palette learns from trials: Bayes' rule on its own covariance, and on what may have changed since the swatches.

The unknowns are those of the fit, deviations of k and s at each wavelength (`own`; m goes along with s) and what
wavelengths share (`shared`): the palette's modes, then the logarithm of each base's absorption and scattering and of
each pigment's strength, then thickness and doses of every trial; all in units of their prior standard deviations.
The posterior mode is found by least squares. Readings that it leaves more of than their noise are believed less, by the
ratio of the two (Birge 1932, Phys. Rev. 40, 207): what nothing here explains must not bend what does.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tint import forward
from tint.descent import descend
from tint.materials import SEATS
from tint.optics import layer
from tint.optics.many_flux import MOST_G
from tint.optics.surface import known_word
from tint.palette import Palette, bold, compress, widening
from tint.spectra import Array
from tint.trials.trial import Doubts, Trial, TrialReading

_STEPS, _GAIN = 40, 1e-7  # of the search: most steps, and the share of its cost below which nothing is gained
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

    own: Array  # what a unit of each of `own` changes k, s, m and q by, shape (W, 4 n_components, 2 n_components)
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
    """Update a palette by trials that share their lots, at least one, all checked."""
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
class _At:
    """Where the search for the mode stands; `own` and `shared` in their prior standard deviations."""

    own: Array  # shape (W, 2 n)
    shared: Array  # shape (q,)
    theta: Array  # k, s, m and q of all components, shape (W, t)
    factor: Array  # by which the changes multiply them, shape (t,)
    by_shared: Array  # their slopes, shape (W, t, q)
    residual: Array  # of the readings at the noise that is reckoned with, shape (W, m)
    # slopes of what the readings are predicted to be, in the same: shape (W, m, 2 n) and (W, m, q)
    by_own: Array
    slopes: Array
    cost: float


@dataclass(frozen=True, eq=False)
class Mode:
    """The posterior mode, and what is left of the readings there at their own noise."""

    at: _At
    local: Array  # covariance of theta at each wavelength, `shared` given, shape (W, t, t)
    follows: Array  # how theta follows `shared`, shape (W, t, q)
    root: Array  # a square root of the covariance of `shared`, shape (q, q)
    residual: Array  # shape (W, m)
    log_evidence: float  # Laplace's, of the readings, but for a constant that the readings alone decide


def mode(palette: Palette, trials: Sequence[Trial], layout: Layout, noise: float) -> Mode:
    """The mode, with the readings' noise taken `noise` times as large as it is stated."""

    def at(own: Array, shared: Array) -> _At:
        theta, factor, by_shared = _believed(palette, layout, own, shared)
        residual, by_theta, direct = (each / noise for each in _miss(palette, trials, layout, theta, shared))
        by_own, slopes = (by_theta * factor) @ layout.own, by_theta @ by_shared + direct
        return _At(own, shared, theta, factor, by_shared, residual, by_own, slopes, _total(residual, own, shared))

    def step(here: _At, damping: float) -> tuple[_At, float]:
        own, shared, *_ = _solve(here, damping)
        left = here.residual - np.einsum("wmt,wt->wm", here.by_own, own - here.own)
        return at(own, shared), here.cost - _total(left - here.slopes @ (shared - here.shared), own, shared)

    start = at(np.zeros((len(layout.own), layout.own.shape[2])), np.zeros(layout.size))
    found, _, _ = descend(start, step, most_steps=_STEPS, gain=_GAIN)
    _, _, precision, told, root = _solve(found, 0.0)
    reach = layout.own * found.factor[:, None]
    along = reach @ np.swapaxes(found.by_own, 1, 2)
    volume = 0.5 * np.sum(np.linalg.slogdet(precision)[1]) + np.sum(np.log(np.diag(root)))
    return Mode(
        at=found,
        local=reach @ np.swapaxes(reach, 1, 2) - along @ precision @ np.swapaxes(along, 1, 2),
        follows=found.by_shared - along @ told,
        root=root,
        residual=found.residual * noise,
        log_evidence=float(volume) - 0.5 * found.cost,
    )


def _total(residual: Array, own: Array, shared: Array) -> float:
    return float(np.sum(residual**2) + np.sum(own**2) + np.sum(shared**2))


def _solve(here: _At, damping: float) -> tuple[Array, Array, Array, Array, Array]:
    """One damped step, written for the new values themselves: both priors are about zero, the damping about here.

    Returns `own` and `shared` there; the precision of each wavelength's readings, shape (W, m, m), `shared` given; the
    same times their slopes by `shared`, shape (W, m, q); and a square root of the covariance of `shared`.

    Few readings tell of many coefficients: the matrix inversion lemma leaves matrices of as many rows as readings.
    """
    by_own, slopes, held = here.by_own, here.slopes, damping / (1.0 + damping)
    along, flat = np.swapaxes(by_own, 1, 2), slopes.reshape(-1, here.shared.size)
    precision = np.asarray(np.linalg.inv((1.0 + damping) * np.eye(slopes.shape[1]) + by_own @ along))
    aimed = here.residual + (1.0 - held) * np.einsum("wmt,wt->wm", by_own, here.own) + slopes @ here.shared
    told = precision @ slopes
    information = np.eye(here.shared.size) + flat.T @ told.reshape(flat.shape)
    root = np.linalg.inv(np.linalg.cholesky(information)).T  # positive definite: the prior alone is the unit matrix
    shared = root @ (root.T @ (told.reshape(flat.shape).T @ aimed.ravel() + held * here.shared))
    left = np.einsum("wmn,wn->wm", precision, aimed - slopes @ shared)
    return held * here.own + np.einsum("wtm,wm->wt", along, left), shared, precision, told, root


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
    values, vectors = np.linalg.eigh(palette.local)
    k, s = np.split(vectors * np.sqrt(np.maximum(values, 0.0))[:, None], 2, axis=1)
    m, q = s * palette.by_s.swapaxes(1, 2)[..., None]
    doses = tuple(tuple(np.flatnonzero(palette.loadings(trial.blend)).tolist()) for trial in trials)
    sd = palette.instrument.thickness_error_mm if doubts.thickness_mm is None else doubts.thickness_mm
    dose_sd = tuple(np.full(len(each), palette.instrument.dose_error_percent / 100.0) for each in doses)
    own = np.concatenate((k, s, m, q), axis=1)
    return Layout(own, palette.modes.shape[0], np.array(changes), np.array(reach), doses, dose_sd, sd)


def _believed(palette: Palette, layout: Layout, own: Array, shared: Array) -> tuple[Array, Array, Array]:
    """theta now, shape (W, t); its factor, shape (t,); and its slopes by `shared`, shape (W, t, q)."""
    z, u = shared[: layout.n_modes], shared[layout.n_modes : layout.first_trial]
    before = np.concatenate(palette.coefficients).T + np.einsum("wts,ws->wt", layout.own, own)
    before = np.maximum(before + np.einsum("r,rwt->wt", z, palette.modes), 0.0)
    factor = np.exp((u * layout.changes) @ layout.reach)
    theta = before * factor
    slopes = np.zeros((*theta.shape, layout.size))
    slopes[..., : layout.n_modes] = np.moveaxis(palette.modes, 0, -1) * factor[:, None]
    slopes[..., layout.n_modes : layout.first_trial] = theta[..., None] * (layout.reach.T * layout.changes)
    return theta, factor, slopes


def _miss(
    palette: Palette, trials: Sequence[Trial], layout: Layout, theta: Array, shared: Array
) -> tuple[Array, Array, Array]:
    """Residuals in standard deviations, shape (W, m); slopes by theta, (W, m, t), and by what is the trials' own."""
    wide, n = palette.wavelengths.size, len(palette.k)
    coefficients = theta.T.reshape(4, n, wide)
    residuals, by_theta, direct = [], [], []
    for number, trial in enumerate(trials):
        at, dosed = layout.thickness(number), list(layout.doses[number])
        d = max(trial.thickness_mm + layout.thickness_mm * shared[at], _THINNEST * trial.thickness_mm)
        loadings = palette.loadings(trial.blend)
        exact = loadings[dosed]
        loadings[dosed] *= np.maximum(1.0 + layout.dose_sd[number] * shared[layout.dosed(number)], _LEAST_DOSE)
        share = palette.shares(trial.blend.base, loadings)
        base = coefficients[:, [list(palette.bases).index(trial.blend.base)]]
        by_dose = coefficients[:, [len(palette.bases) + each for each in dosed]] - base / 100.0
        for seat, backing, several in _by_seat(palette, trial):
            read, slopes = layer.reflectance_slopes(
                *forward.mix(coefficients, share),
                thickness=d,
                backing=backing,
                seat=seat,
                optics=palette.optics(trial.blend.base, as_read=True, finish=known_word(trial.finish)),
            )
            values = np.stack([each.values for each in several])
            noise = np.array([[each.noise * palette.instrument.noise] for each in several])
            sd = np.hypot(noise, palette.model_error * np.maximum(values, 0.0) ** (2 / 3))
            *by_mixed, by_d = slopes.reshape(5, -1, wide) / sd
            residuals.append(((values - read) / sd).T)
            by_theta.append(np.einsum("cmw,p->wmcp", by_mixed, share).reshape(wide, len(several), -1))
            own = np.zeros((wide, len(several), layout.size))
            own[..., at] = layout.thickness_mm * by_d.T
            own[..., layout.dosed(number)] = np.einsum("cmw,cdw->wmd", by_mixed, by_dose)
            own[..., layout.dosed(number)] *= layout.dose_sd[number] * exact
            direct.append(own)
    return np.concatenate(residuals, axis=1), np.concatenate(by_theta, axis=1), np.concatenate(direct, axis=1)


def _by_seat(palette: Palette, trial: Trial) -> Iterator[tuple[str, Array | None, list[TrialReading]]]:
    """Readings with their backings, None for none: those of one seat are looked up once, over however many backings."""
    for seat in ("", *SEATS):
        several = [each for each in trial.readings if seat == ("" if each.over == "none" else each.seat)]
        if several:
            backings = None if not seat else np.stack([palette.backings[each.over] for each in several])
            yield seat or "air", backings, several


def posterior(palette: Palette, layout: Layout, found: Mode, widening: float) -> Posterior:
    """What the mode says; standard deviations widened by what the palette's own swatches were missed by."""
    shared, n = found.at.shared, len(palette.k)
    errors = np.minimum(widening * np.sqrt(np.sum(found.root**2, axis=1)), 1.0)  # no more than before the trials
    changes = slice(layout.n_modes, layout.first_trial)
    places = np.array([layout.thickness(number) for number in range(len(layout.doses))])
    scale = np.sqrt(np.maximum(np.einsum("wtt->wt", found.local), 0.0)) + _TINY
    k, s, m, q = mixed = np.ascontiguousarray(found.at.theta.T).reshape(4, n, -1)
    new = replace(
        palette,
        k=k,
        s=s,
        g=np.clip(forward.anisotropy(mixed), 0.0, MOST_G),
        second_moment=np.clip(np.where(m > 0.0, q / np.where(m > 0.0, m, 1.0), palette.second_moment), -1.0, 1.0),
        local=found.local[:, : 2 * n, : 2 * n],
        modes=compress(np.moveaxis(found.follows @ found.root, -1, 0), scale),
    )
    return Posterior(
        palette=new,
        factors=found.at.factor[: 2 * n],
        factor_errors=((errors[changes] * layout.changes) @ layout.reach)[: 2 * n],
        thickness_mm=layout.thickness_mm * shared[places],
        thickness_errors=layout.thickness_mm * errors[places],
        doses=tuple(sd * shared[layout.dosed(at)] for at, sd in enumerate(layout.dose_sd)),
        dose_errors=tuple(sd * errors[layout.dosed(at)] for at, sd in enumerate(layout.dose_sd)),
        misfit=float(np.sqrt(np.mean(found.residual**2))),
    )
