"""How evenly the light falls: from a white card at several places, or, with less right, from the chart alone.

A field is the logarithm of the light, as a plane over the picture, or with eight places and more as a paraboloid.
Places are counted from the chart's middle in half lengths of the chart, and the field is zero there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LEAST_PLACES = 4  # a plane has three numbers; the fourth place says whether they can be believed
PLACES_FOR_CURVED = 8  # a paraboloid has six
# A white card is white to half a percent from place to place, and no better.
CARD_EVEN = 0.005

_CHART_HALF = np.array([1.0, 4.0 / 6.0])  # half lengths along and across


def terms(at: Array, *, curved: bool) -> Array:
    """What a field is made of at places, shape (..., 2) to (..., 2 or 5) [-]."""
    x, y = at[..., 0], at[..., 1]
    return np.stack((x, y, x * x, x * y, y * y) if curved else (x, y), axis=-1)


@dataclass(frozen=True, eq=False)
class WhiteCard:
    """Where a white card was seen, and where the field is asked for.

    Parameters
    ----------
    at : ndarray, shape (n, 2)
        Its places [half lengths of the chart].
    values : ndarray, shape (n, 3)
        Pixel values there [0 to 1].
    """

    at: Array
    values: Array

    @property
    def curved(self) -> bool:
        return len(self.at) >= PLACES_FOR_CURVED

    def _design(self, at: Array) -> Array:
        return np.concatenate((np.ones((*at.shape[:-1], 1)), terms(at, curved=self.curved)), axis=-1)

    def coefficients(self, linear: Array) -> Array:
        """Field of each channel, shape (..., terms, 3), from responses at the places, shape (..., n, 3)."""
        return np.asarray((np.linalg.pinv(self._design(self.at)) @ np.log(np.maximum(linear, 1e-4)))[..., 1:, :])

    def field(self, linear: Array, at: Array) -> Array:
        """The field at other places, shape (..., m, 3) [log]."""
        return np.asarray(terms(at, curved=self.curved) @ self.coefficients(linear))

    def left_over(self, linear: Array) -> float:
        """What the field leaves at its own places, one standard deviation, for its lost degrees of freedom [log]."""
        design, logs = self._design(self.at), np.log(np.maximum(linear, 1e-4))
        rest = logs - design @ (np.linalg.pinv(design) @ logs)
        free = max(len(self.at) - design.shape[1], 1)
        return float(np.sqrt((rest**2).mean(axis=-1).sum() / free))

    def error(self, linear: Array, at: Array) -> Array:
        """Standard deviation of the field at other places, shape (..., m): large where it is carried on [log]."""
        design = self._design(self.at)
        inverse = np.linalg.pinv(design.T @ design)
        asked = self._design(at) - self._design(np.zeros(2))
        lever = np.einsum("...i,ij,...j->...", asked, inverse, asked)
        return np.asarray(np.hypot(self.left_over(linear), CARD_EVEN) * np.sqrt(lever))


def beside_chart(at: Array) -> Array:
    """Places moved to the nearest point of the chart, shape (..., 2)."""
    return np.clip(at, -_CHART_HALF, _CHART_HALF)
