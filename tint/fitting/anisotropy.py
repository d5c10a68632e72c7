"""What is known of the anisotropy g of a component before any casting: by its kind, and as a normal prior.

g at a wavelength is ``MOST_G / (1 + exp(-(a + b log(wavelength / 550 nm))))``, so that it stays between 0 and MOST_G
whatever a and b. Their prior is normal, and the fit's unknowns are their standard scores.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.materials import KINDS, RUBBER, UNKNOWN, Base, Pigment
from tint.optics.many_flux import MOST_G

Array = NDArray[np.float64]

# From 450 to 650 nm g rises by 0.15 for rutile and falls by 0.15 to 0.26 for hematite: as much either way, per log.
_SLOPE = 0.30
_STATED = 0.01  # standard deviation of a g that the maker states
MIDDLE_NM = 550.0


@dataclass(frozen=True, eq=False)
class AnisotropyPrior:
    """Normal priors of a and b of every component."""

    # shape (n_components, 2): of a and b [-]
    mean: Array
    sd: Array
    log_wavelength: Array  # shape (n_wavelengths,): log(wavelength / 550 nm)

    def g(self, scores: Array) -> tuple[Array, Array]:
        """g, shape (n_components, n_wavelengths), from standard scores, and its slopes, shape (2, ...) the same.

        Parameters
        ----------
        scores : ndarray, shape (n_components, 2)
            Of a and b.
        """
        a, b = (self.mean + self.sd * scores).T
        g = MOST_G / (1.0 + np.exp(-np.clip(a[:, None] + b[:, None] * self.log_wavelength, -30.0, 30.0)))
        by_a = g * (1.0 - g / MOST_G)
        sd_a, sd_b = self.sd.T[..., None]
        return g, np.stack((by_a * sd_a, by_a * sd_b * self.log_wavelength))

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
    fixed = np.where(sd <= _STATED, 0.0, 1.0)
    return AnisotropyPrior(
        mean=np.stack((-np.log(MOST_G / mean - 1.0), np.zeros(mean.size)), axis=1),
        sd=np.stack((slope * sd, slope * _SLOPE * fixed), axis=1),
        log_wavelength=np.log(wavelengths / MIDDLE_NM),
    )


def _of(stated: float | None, kind: str | None, otherwise: tuple[float, float]) -> tuple[float, float]:
    if stated is not None:
        return stated, _STATED
    return otherwise if kind is None else KINDS[kind]
