"""The chart in a photograph, fitted: curve, flare, light and matrix at once, judged by each patch left out in turn.

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

from dataclasses import dataclass, replace

import numpy as np

from tint.colorimetry import difference, difference_parts, lab_to_xyz, xyz_to_lab
from tint.colorimetry.cielab import decode
from tint.colorimetry.spectra import COLUMNS, GREYS, ROWS, root_matrix, root_terms
from tint.descent import most_likely
from tint.spectra import Array
from tint.uncertainty import Z95

CODED, STRAIGHT = "coded", "straight"  # as for a screen, or in proportion to light
CURVE, FLARE, FALL = slice(0, 3), slice(3, 6), slice(6, 8)
UNKNOWNS = 8  # of each photograph, in these three groups
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

    def field(self, linear: Array, at: Array) -> Array:
        """The field at other places, shape (..., m, 3), from responses at the card's own, shape (..., n, 3) [log]."""
        found = np.linalg.pinv(self._design(self.at)) @ np.log(np.maximum(linear, 1e-4))
        return np.asarray(terms(at, curved=self.curved) @ found[..., 1:, :])

    def left_over(self, linear: Array) -> float:
        """What the field leaves at its own places, one standard deviation, for its lost degrees of freedom [log]."""
        design, logs = self._design(self.at), np.log(np.maximum(linear, 1e-4))
        rest = logs - design @ (np.linalg.pinv(design) @ logs)
        return float(np.sqrt((rest**2).mean(axis=-1).sum() / max(len(self.at) - design.shape[1], 1)))

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


def _bent(values: Array, curve: Array, coding: str) -> Array:
    """Values through the curve, shapes (..., n, 3) and (..., 3)."""
    u = 1.0 - 2.0 * values
    powers = np.stack((np.ones_like(u), u, u * u), axis=-1)
    w = values + values * (1.0 - values) * (powers @ curve[..., None, :, None])[..., 0]
    return decode(np.clip(w, 0.0, 1.0)) if coding == CODED else w


def predicted(responses: Array, matrix: Array, degree: int) -> Array:
    """XYZ of responses, shapes (..., n, 3) and (..., terms, 3) to (..., n, 3)."""
    return np.asarray(root_terms(responses, degree) @ matrix)


# Of the root polynomial; the fourth has 22 terms for 24 patches.
DEGREES = (1, 2, 3)
# A higher degree has to bring the patches' misses down to this share; common practice, no source.
EARNED = 0.97
_MOST_STEPS, _GAIN = 30, 1.1e-5  # share of the cost below which no fit gains any more, just above `descent.GAIN`
_STEP = 1e-4  # of the unknowns, which are of order 0.1, for slopes by central differences


@dataclass(frozen=True, eq=False, kw_only=True)
class Chart:
    """What a photograph shows of the chart, what is known of it, and its fit by least squares.

    The fit is over scores, which are the unknowns in standard deviations of what may be expected of them.
    """

    values: Array  # shape (24, 3): pixel values of the patches [0 to 1]
    at: Array  # shape (24, 2): their places [half lengths of the chart]
    reference: Array  # shape (24, 3): CIELAB that they are known to have [-]
    white: Array  # shape (3,): XYZ of the perfect white in the light asked for
    use: Array  # shape (24,): 1 for the patches that count, 0 for those beyond what the picture can hold
    card: WhiteCard | None = None  # what tells the light
    coding: str = CODED  # `coded` or `straight`: what the curve starts from
    degree: int = 1

    def _veiled(self, values: Array, unknowns: Array) -> Array:
        """Responses without flare, shape (..., n, 3)."""
        white = _bent(self.values[WHITE_PATCH : WHITE_PATCH + 1], unknowns[..., CURVE], self.coding)
        bent = _bent(values, unknowns[..., CURVE], self.coding)
        return np.asarray(np.maximum(bent - unknowns[..., None, FLARE] * white, _DARKEST))

    def fall(self, unknowns: Array, at: Array) -> Array:
        """Logarithm of the light at places, shape (n, 2) to (..., n, 3) or (..., n, 1) [log]."""
        if self.card is None:
            return np.asarray(terms(at, curved=False) @ unknowns[..., FALL, None])
        return self.card.field(self._veiled(self.card.values, unknowns), at)

    def card_linear(self, unknowns: Array) -> Array:
        """Responses of the white card at its places, shape (n, 3)."""
        assert self.card is not None
        return self._veiled(self.card.values, unknowns)

    def linear(self, values: Array, at: Array, unknowns: Array) -> Array:
        """Responses in proportion to what is there, shapes (n, 3), (n, 2) and (..., 8) to (..., n, 3) [-]."""
        return np.asarray(self._veiled(values, unknowns) * np.exp(-self.fall(unknowns, at)))

    @property
    def expected(self) -> Array:
        """The unknowns that scores of one stand for, shape (8,); where a card tells the fall, it is held at none."""
        told = (np.arange(UNKNOWNS) >= FALL.start) & (self.card is not None)
        return np.asarray(np.where(told, 1e-3, 1.0) * EXPECTED)

    def matrix(self, responses: Array, use: Array) -> Array:
        """From root-polynomial terms to XYZ, shape (..., terms, 3)."""
        return root_matrix(responses, lab_to_xyz(self.reference, self.white), self.degree, use=use)

    def lab(self, scores: Array, use: Array) -> Array:
        """CIELAB of the patches as a fit to those in use has it, shape (..., 24, 3) [-]."""
        responses = self.linear(self.values, self.at, scores * self.expected)
        xyz = predicted(responses, self.matrix(responses, use), self.degree)
        return xyz_to_lab(np.maximum(xyz, 0.0), self.white)

    def missed(self, scores: Array, use: Array) -> Array:
        """CIEDE2000's parts of the patches in use, shape (..., 72)."""
        parts = difference_parts(self.reference, self.lab(scores, use)) * use[:, None]
        return parts.reshape(*parts.shape[:-2], -1)

    def fitted(self, start: Array, use: Array) -> tuple[Array, Array, float]:
        """Scores of least squares, the inverse of their covariance, and the sum of squares."""
        step = np.diag(_STEP / self.expected)

        def residual(scores: Array) -> tuple[Array, Array]:
            each = self.missed(scores + np.concatenate((0.0 * step[:1], step, -step)), use)
            return each[0], ((each[1 : 1 + UNKNOWNS] - each[1 + UNKNOWNS :]) / (2.0 * np.diag(step)[:, None])).T

        return most_likely(residual, start, most_steps=_MOST_STEPS, gain=_GAIN)


@dataclass(frozen=True, eq=False)
class Calibration:
    """What was learned from the chart."""

    chart: Chart
    unknowns: Array  # shape (8,): curve, flare, fall of light [-]
    covariance: Array  # shape (8, 8): of them [-]
    matrix: Array  # shape (terms, 3): root-polynomial terms to XYZ
    left_out: Array  # shape (24, 3): CIELAB of the patches, each predicted by the others [-]

    @property
    def degree(self) -> int:
        return self.chart.degree

    @property
    def missed(self) -> Array:
        """CIEDE2000 of the patches that counted, each predicted by the others, shape (n,)."""
        return difference(self.chart.reference, self.left_out)[self.chart.use > 0]

    @property
    def spread(self) -> float:
        """CIEDE2000 that 95 of 100 colours are missed by at most, were all else known: see `carried` [-].

        From the root mean square of the patches left out, as of a bell curve: the 95 % quantile of 24 numbers hangs on
        two of them.
        """
        each = self.missed * np.sqrt(1.0 - self._leverage())
        return Z95 * float(np.sqrt(np.mean(each**2)))

    def carried(self, values: Array, at: Array) -> Array:
        """How much more a colour may be missed by for lying away from the patches, shape (n,): from 1 on [-].

        With h = t (T' T)^-1 t' of a colour's terms t and those T of the chart, each weighted as the fit weights them,
        a new colour's error has sqrt(1 + h) times the spread of one where all is known, and that of a patch left out
        1 / sqrt(1 - h).
        """
        return np.sqrt(1.0 + self._leverage(self.chart.linear(values, at, self.unknowns)))

    @property
    def most_carried(self) -> float:
        """The same of the farthest patch, left out."""
        return float(np.sqrt(1.0 / (1.0 - self._leverage().max())))

    def _leverage(self, responses: Array | None = None) -> Array:
        """Of colours seen, or of the patches that count."""
        chart = self._rows(self.chart.linear(self.chart.values, self.chart.at, self.unknowns))[self.chart.use > 0]
        inverse = np.linalg.pinv(chart.T @ chart)
        rows = chart if responses is None else self._rows(responses)
        return np.asarray(np.clip(np.einsum("ni,ij,nj->n", rows, inverse, rows), 0.0, None))

    def _rows(self, responses: Array) -> Array:
        lightness = predicted(responses, self.matrix, self.degree)[:, 1:2]
        return root_terms(responses, self.degree) * np.maximum(lightness, 1e-2) ** (-2.0 / 3.0)

    def lab(self, values: Array, at: Array, *, brighter: float | Array = 0.0) -> Array:
        """CIELAB of pixel values at places, shapes (n, 3) and (n, 2); `brighter` is added to the log of the light."""
        lit = self.chart.linear(values, at, self.unknowns) * np.exp(np.asarray(brighter)[..., None])
        return xyz_to_lab(np.maximum(predicted(lit, self.matrix, self.degree), 0.0), self.chart.white)


def calibrate(chart: Chart) -> Calibration:
    """Fit the chart, its coding and degree as they are found.

    Least squares over CIEDE2000's three parts, the unknowns tied to their start by `EXPECTED`. The degree is the one
    whose patches, each left out and all else fitted again, are predicted best.
    """
    charts = [replace(chart, coding=coding) for coding in (CODED, STRAIGHT)]
    fits = [each.fitted(np.zeros(UNKNOWNS), chart.use) for each in charts]
    best = int(np.argmin([cost for _, _, cost in fits]))
    found, *higher = (_calibration(replace(charts[best], degree=degree), fits[best][0]) for degree in DEGREES)
    for this in higher:
        if np.linalg.norm(this.missed) < EARNED * np.linalg.norm(found.missed):
            found = this
    return found


def _calibration(chart: Chart, start: Array) -> Calibration:
    scores, information, cost = chart.fitted(start, chart.use)
    unknowns = scores * chart.expected
    matrix = chart.matrix(chart.linear(chart.values, chart.at, unknowns), chart.use)
    spread = cost / (3.0 * (chart.use.sum() - len(matrix)) - UNKNOWNS)
    covariance = spread * np.linalg.inv(information) * np.outer(chart.expected, chart.expected)
    others = chart.use * (1.0 - np.eye(24))
    left_out = np.array([chart.lab(chart.fitted(scores, use)[0], use)[at] for at, use in enumerate(others)])
    return Calibration(chart, unknowns, covariance, matrix, left_out)
