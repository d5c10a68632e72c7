"""What absorption and scattering spectra look like before anything is read.

Three numbers a reading cannot say how k and s run over wavelength. Their logarithms are taken as normal: a level that
is left open, and a shape. Absorption takes its shapes from real objects, scattering from the power laws of small
particles. Both are written as a mean and a few modes, in whose coordinates the prior is standard normal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint import colorimetry
from tint.spectra import Array

_LEVEL = 3.0  # sd of the logarithm of a level: a factor of 20 either way about the first guess
_DETAIL, _DETAIL_NM = 0.15, 15.0  # sd and reach of narrow features that the objects may lack
_POWER, _POWER_SD = -1.0, 1.0  # of wavelength: 0 for large particles, -4 for the smallest (Rayleigh)
_WAVE, _WAVE_NM = 0.1, 60.0  # of scattering about its power law, as near an absorption band
_BLACKEST, _LIGHTEST = 0.01, 0.99  # where K/S of a reading means nothing any more
_KEPT = 1e-3  # variance below which a mode is left out


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
    scattering = level + np.outer(power, power) * _POWER_SD**2 + _bell(apart, _WAVE, _WAVE_NM)
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
    kept = values > _KEPT
    return np.asarray(vectors[:, kept] * np.sqrt(values[kept]))
