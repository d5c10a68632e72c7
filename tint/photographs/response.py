"""From pixel values to colours: a tone curve, flare, evenness and a root polynomial, all read off the chart.

A camera's picture is no measure of light. Its maker bent the values by a curve, its lens and the air in front of it
added some light everywhere, and its three sensitivities are not those of an eye. With v a pixel's value:

    w = v + v (1 - v) (k1 + k2 u + k3 u^2),  u = 1 - 2 v      the curve, from that of sRGB (or from a straight line) on
    e = decode(w)
    r = (e - flare * e of the white patch) / light there      of each channel
    XYZ = root terms of r, times a matrix

The curve has three numbers common to all channels, the flare one for each, the light two (its fall along and across the
chart) where no white card tells it. The matrix follows from these by least squares.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.colorimetry.chart import COLUMNS, GREYS, ROWS, root_matrix, root_terms
from tint.colorimetry.cielab import decode

Array = NDArray[np.float64]

CODED, STRAIGHT = "coded", "straight"  # as for a screen, or in proportion to light
CURVE, FLARE, FALL = slice(0, 3), slice(3, 6), slice(6, 8)
UNKNOWNS = 8
# How far from their start the numbers may be expected: a camera's own contrast on top of sRGB; veiling light as a
# share of white; light over half a chart. One standard deviation each; common practice, no source.
EXPECTED = np.array([0.15, 0.15, 0.10, 0.015, 0.015, 0.015, 0.05, 0.05])
WHITE_PATCH = GREYS.start

_DARKEST = 2e-4  # of the top: a twentieth of a level of 255, above zero for the roots
LEAST_PLACES = 4  # a plane has three numbers; the fourth place says whether they can be believed
PLACES_FOR_CURVED = 8  # a paraboloid has six
# A white card is white to half a percent from place to place, and no better: common practice, no source.
CARD_EVEN = 0.005  # standard deviation of the logarithm

_CHART_HALF = np.array([1.0, ROWS / COLUMNS])  # half lengths along and across


def terms(at: Array, *, curved: bool) -> Array:
    """What a field is made of at places, shape (..., 2) to (..., 2 or 5) [-]."""
    x, y = at[..., 0], at[..., 1]
    return np.stack((x, y, x * x, x * y, y * y) if curved else (x, y), axis=-1)


@dataclass(frozen=True, eq=False)
class WhiteCard:
    """Where a white card was seen, and where the field is asked for."""

    at: Array  # shape (n, 2): its places [half lengths of the chart]
    values: Array  # shape (n, 3): pixel values there [0 to 1]

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


@dataclass(frozen=True, eq=False)
class Seen:
    """What the photograph shows of the chart."""

    values: Array  # shape (24, 3): pixel values of the patches [0 to 1]
    at: Array  # shape (24, 2): their places [half lengths of the chart]
    coding: str  # `coded` or `straight`: what the curve starts from
    card: WhiteCard | None = None  # what tells the light


def _bent(values: Array, curve: Array, coding: str) -> Array:
    """Values through the curve, shapes (..., n, 3) and (..., 3)."""
    u = 1.0 - 2.0 * values
    powers = np.stack((np.ones_like(u), u, u * u), axis=-1)
    w = values + values * (1.0 - values) * (powers @ curve[..., None, :, None])[..., 0]
    return decode(np.clip(w, 0.0, 1.0)) if coding == CODED else w


def _veiled(values: Array, seen: Seen, unknowns: Array) -> Array:
    """Responses without flare, shape (..., n, 3)."""
    white = _bent(seen.values[WHITE_PATCH : WHITE_PATCH + 1], unknowns[..., CURVE], seen.coding)
    bent = _bent(values, unknowns[..., CURVE], seen.coding)
    return np.asarray(np.maximum(bent - unknowns[..., None, FLARE] * white, _DARKEST))


def fall(seen: Seen, unknowns: Array, at: Array) -> Array:
    """Logarithm of the light at places, shape (n, 2) to (..., n, 3) or (..., n, 1) [log]."""
    if seen.card is None:
        return np.asarray(terms(at, curved=False) @ unknowns[..., FALL, None])
    return seen.card.field(_veiled(seen.card.values, seen, unknowns), at)


def card_linear(seen: Seen, unknowns: Array) -> Array:
    """Responses of the white card at its places, shape (n, 3)."""
    assert seen.card is not None
    return _veiled(seen.card.values, seen, unknowns)


def linear(values: Array, at: Array, *, seen: Seen, unknowns: Array) -> Array:
    """Responses in proportion to what is there, shapes (n, 3), (n, 2) and (..., 8) to (..., n, 3) [-]."""
    return np.asarray(_veiled(values, seen, unknowns) * np.exp(-fall(seen, unknowns, at)))


def matrix_of(seen: Seen, unknowns: Array, xyz: Array, *, degree: int, use: Array) -> Array:
    """The root polynomial's matrix, shape (..., terms, 3), from the patches in `use`, shape (..., 24) of 0 or 1."""
    responses = linear(seen.values, seen.at, seen=seen, unknowns=unknowns)
    return root_matrix(responses, xyz, degree, use=use)


def predicted(responses: Array, matrix: Array, degree: int) -> Array:
    """XYZ of responses, shapes (..., n, 3) and (..., terms, 3) to (..., n, 3)."""
    return np.asarray(root_terms(responses, degree) @ matrix)
