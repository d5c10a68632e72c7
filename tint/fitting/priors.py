"""What is known of components before any casting: of k and s by the first guess, of the anisotropy g by their kind.

g at a wavelength is ``MOST_G / (1 + exp(-(a + b log(wavelength / 550 nm))))``, so that it stays between 0 and MOST_G
whatever a and b. The second moment of the phase function is ``g^2 + e (1 - g^8)``: that of one Henyey-Greenstein lobe
where e is 0. The prior of a, b and e is normal, and the fit's unknowns are their standard scores.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from tint import colorimetry
from tint.materials import KINDS, RUBBER, UNKNOWN, Base, Pigment
from tint.optics.many_flux import MOST_G
from tint.spectra import Array

# From 450 to 650 nm g rises by 0.15 for rutile and falls by 0.15 to 0.26 for hematite: as much either way, per log.
_SLOPE = 0.30
_STATED = 0.01  # standard deviation of a g that the maker states
MIDDLE_NM = 550.0  # where the eye sees most; g is told there
# Standard deviation of e. By Mie's theory it runs from -0.06 (organic pigments of 0.2 micrometres) over 0 to 0.09 (the
# smallest particles) and 0.17 (rutile at 400 nm), 0.064 in the root mean square: tests/figures/mie_stock.py.
_SECOND = 0.06
_TAPER = 8  # of 1 - g^8: what scatters straight on has no room for another second moment
BENDS = 3  # a, b and e


@dataclass(frozen=True, eq=False)
class AnisotropyPrior:
    """Normal priors of a, b and e of every component."""

    # shape (n_components, BENDS): of a, b and e [-]
    mean: Array
    sd: Array
    log_wavelength: Array  # shape (n_wavelengths,): log(wavelength / 550 nm)

    def g(self, scores: Array) -> tuple[Array, Array]:
        """g, shape (n_components, n_wavelengths), from standard scores, and its slopes, shape (BENDS, ...) the same.

        Parameters
        ----------
        scores : ndarray, shape (n_components, BENDS)
            Of a, b and e.
        """
        a, b, _ = (self.mean + self.sd * scores).T
        g = MOST_G / (1.0 + np.exp(-np.clip(a[:, None] + b[:, None] * self.log_wavelength, -30.0, 30.0)))
        by_a = g * (1.0 - g / MOST_G)
        sd_a, sd_b, _ = self.sd.T[..., None]
        return g, np.stack((by_a * sd_a, by_a * sd_b * self.log_wavelength, np.zeros_like(g)))

    def second(self, scores: Array, g: Array, by_score: Array) -> tuple[Array, Array]:
        """The second moment of the phase function and its slopes, beside g and its slopes; all shapes as of `g`."""
        e = (self.mean[:, 2] + self.sd[:, 2] * scores[:, 2])[:, None]
        room = 1.0 - g**_TAPER
        slopes = (2.0 * g - _TAPER * e * g ** (_TAPER - 1)) * by_score
        slopes[2] = room * self.sd[:, 2, None]
        return g * g + e * room, slopes

    def middle_slope(self, scores: Array) -> Array:
        """Slope of g at 550 nm by the score of a, shape (n_components,)."""
        a = self.mean[:, 0] + self.sd[:, 0] * scores[:, 0]
        g = MOST_G / (1.0 + np.exp(-np.clip(a, -30.0, 30.0)))
        return np.asarray(g * (1.0 - g / MOST_G) * self.sd[:, 0])


def anisotropy_prior(
    bases: Iterable[Base], pigments: Iterable[Pigment], wavelengths: Array, *, g: float | None = None
) -> AnisotropyPrior:
    """The prior of a folder's components, bases first.

    Parameters
    ----------
    g : float, optional
        One anisotropy for all, held fixed [-].
    """
    told = [_of(base.g, base.kind, RUBBER) for base in bases] + [_of(each.g, each.kind, UNKNOWN) for each in pigments]
    if g is not None:
        told = [(g, 0.0)] * len(told)
    mean, sd = np.array(told, dtype=float).reshape(-1, 2).T
    mean = np.clip(mean, 1e-6, MOST_G - 1e-6)
    slope = 1.0 / (mean * (1.0 - mean / MOST_G))  # of the logit by g
    fixed, none = np.where(sd <= _STATED, 0.0, 1.0), np.zeros(mean.size)
    return AnisotropyPrior(
        mean=np.stack((-np.log(MOST_G / mean - 1.0), none, none), axis=1),
        sd=np.stack((slope * sd, slope * _SLOPE * fixed, none + (_SECOND if g is None else 0.0)), axis=1),
        log_wavelength=np.log(wavelengths / MIDDLE_NM),
    )


def _of(stated: float | None, kind: str | None, otherwise: tuple[float, float]) -> tuple[float, float]:
    if stated is not None:
        return stated, _STATED
    return otherwise if kind is None else KINDS[kind]


# Of k and s.


_WIDE = 100.0  # times the first guess: too wide to be felt (tests/figures/judgement.py)
# Standard deviation of the second difference of log s over steps of 10 nm. Scattering follows a power of wavelength,
# which hardly bends, with waves near an absorption band, where the index of a pigment runs to and fro: by Mie's theory
# 0.058 in the root mean square, most of it about the bands (tests/figures/mie_stock.py).
_WAVE = 0.06
# Standard deviation of the logarithm of a pigment's s about 1/mm per percent: by Mie's theory and a quarter to half of
# pigment in a paste, from 0.02 (ultramarine) over 1 (organic pigments, carbon black) and 4 (iron oxides) to 10
# (rutile).
_STRENGTH = 1.7
# Of a pigment that was never cast: its s, and the standard deviation of its k and s, too wide to be felt [1/mm per %].
UNKNOWN_S, UNKNOWN_SD = 1.0, _WIDE
# Share of its mean, and optical depth, below which s may bend as it likes (tests/figures/judgement.py).
_LEAST_SHARE, _FAINT = 0.05, 0.01


@dataclass(frozen=True, eq=False)
class Prior:
    """Of k and s before any reading."""

    # shape (2, n_components, n_wavelengths): so wide that it only speaks where no reading does, and keeps what nothing
    # pins down from running away
    mean: Array
    sd: Array
    # shape (n_components, n_wavelengths - 2): one over the standard deviation of the second difference of s from
    # wavelength to wavelength
    stiffness: Array
    # shape (n_components,): one over the standard deviation of the logarithm of the mean of s; 0 where nothing is known
    # of it
    strength: Array
    faint: float = 0.02  # added to that mean, so that a dye costs no more than it should [1/mm per %]
    expected: Array | float = 0.0  # that logarithm; shape (n_components,)

    def bent(self, s: Array) -> Array:
        """Second differences of s in their standard deviations, shape of `stiffness`."""
        return np.asarray(np.diff(s, 2, axis=-1) * self.stiffness)

    def level(self, s: Array) -> tuple[Array, Array]:
        """Logarithm of the mean of s in its standard deviations, and its slope by each s; both (n_components,)."""
        mean = s.mean(axis=-1) + self.faint
        return (np.log(mean) - self.expected) * self.strength, self.strength / (mean * s.shape[-1])


def prior(guess: Array, depth: Array, n_bases: int) -> Prior:
    """About the first guess, shape (2, n_components, n_wavelengths), so wide that it only speaks where no reading does.

    A hundred times what was guessed, and as much again as a hundred optical depths in the strongest casting: enough to
    keep what no reading pins down from running away, too little to be felt by anything that one does. A rough guess
    says nothing of how s runs with wavelength: `smooth` adds that. `depth` is `Problem.largest_depth`.
    """
    sd = _WIDE * (guess + 1.0 / np.where(depth > 0.0, depth, 1.0)[:, None])
    strength = np.where(np.arange(depth.size) < n_bases, 0.0, 1.0 / _STRENGTH)
    return Prior(guess, sd, np.zeros_like(guess[0, :, 2:]), strength)


def smooth(prior: Prior, ks: Array, depth: Array, log_wavelength: Array) -> Prior:
    """The prior with s smooth about what is now thought of it: a power of wavelength with gentle waves."""
    depth = depth[:, None]
    size = _running_mean(ks[1])[:, 1:-1]
    level = ks[1].mean(axis=1, keepdims=True)
    size = np.maximum(size, np.maximum(_LEAST_SHARE * level, _FAINT / np.where(depth > 0.0, depth, 1.0)))
    step = float(np.mean(np.diff(log_wavelength))) * MIDDLE_NM
    return replace(prior, stiffness=1.0 / (_WAVE * (step / 10.0) ** 2 * size))


def _running_mean(s: Array) -> Array:
    """Over five neighbours, shape as s."""
    padded = np.pad(s, ((0, 0), (2, 2)), mode="edge")
    return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, 5, axis=1).mean(axis=-1))


# Of a colorimeter's castings. Three numbers a reading cannot say how k and s run over wavelength. Their logarithms are
# taken as normal: a level that is left open, and a shape. Absorption takes its shapes from real objects, scattering
# from the power laws of small particles. Both are written as a mean and a few modes, in whose coordinates the prior is
# standard normal.


_LEVEL = 3.0  # sd of the logarithm of a level: a factor of 20 either way about the first guess
_DETAIL, _DETAIL_NM = 0.15, 15.0  # sd and reach of narrow features that the objects may lack
_POWER, _POWER_SD = -1.0, 1.0  # of wavelength: 0 for large particles, -4 for the smallest (Rayleigh)
_BAND, _BAND_NM = 0.1, 60.0  # of scattering about its power law, as near an absorption band
_BLACKEST, _LIGHTEST = 0.01, 0.99  # where K/S of a reading means nothing any more
_LEAST_MODE = 1e-3  # variance below which a mode is left out


@dataclass(frozen=True, eq=False)
class SpectralPrior:
    """Logarithms of k and of s are a free level plus `shape` plus `modes` times standard normal numbers."""

    shape: Array  # shape (2, n_wavelengths): of k and of s [-]
    modes: Array  # shape (2, n_wavelengths, n_modes) [-]
    rest: Array  # shape (2, n_wavelengths): variance that the modes leave out [-]


def spectral_prior(wavelengths: Array) -> SpectralPrior:
    """The prior on a wavelength grid [nm].

    Notes
    -----
    The shapes of absorption are those of K/S = (1 - R)^2 / 2 R of the objects of CIE 224:2017: their mean, and their
    covariance over wavelength. Scattering falls as a power of wavelength between those of Rayleigh's law and of large
    particles (Bohren and Huffman 1983, Absorption and Scattering of Light by Small Particles; from memory).
    """
    reflectance = np.clip(colorimetry.object_spectra(wavelengths), _BLACKEST, _LIGHTEST)
    logarithm = np.log((1.0 - reflectance) ** 2 / (2.0 * reflectance))
    shapes = logarithm - logarithm.mean(axis=1, keepdims=True)
    apart = wavelengths[:, None] - wavelengths
    level = np.full(apart.shape, _LEVEL**2)
    power = np.log(wavelengths / 550.0)
    absorption = level + np.cov(shapes.T) + _bell(apart, _DETAIL, _DETAIL_NM)
    scattering = level + np.outer(power, power) * _POWER_SD**2 + _bell(apart, _BAND, _BAND_NM)
    bases = [_modes_of(each) for each in (absorption, scattering)]
    count = max(each.shape[1] for each in bases)
    # As many for scattering as for absorption: what is missing is left at zero and does nothing.
    modes = np.stack([np.pad(each, ((0, 0), (0, count - each.shape[1]))) for each in bases])
    whole = np.stack((np.diag(absorption), np.diag(scattering)))
    return SpectralPrior(
        shape=np.stack((shapes.mean(axis=0), _POWER * power)),
        modes=modes,
        rest=np.maximum(whole - np.sum(modes**2, axis=-1), 0.0),
    )


def _bell(apart: Array, sd: float, reach: float) -> Array:
    return np.asarray(sd**2 * np.exp(-0.5 * (apart / reach) ** 2))


def _modes_of(covariance: Array) -> Array:
    values, vectors = np.linalg.eigh(covariance)
    kept = values > _LEAST_MODE
    return np.asarray(vectors[:, kept] * np.sqrt(values[kept]))
