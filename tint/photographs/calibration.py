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


@dataclass(frozen=True, eq=False)
class Seen:
    """What the photograph shows of the chart."""

    values: Array  # shape (24, 3): pixel values of the patches [0 to 1]
    at: Array  # shape (24, 2): their places [half lengths of the chart]
    coding: str  # `coded` or `straight`: what the curve starts from
    card: WhiteCard | None = None  # what tells the light

    def responses(self, unknowns: Array) -> Array:
        """Responses of the patches in proportion to light, shape (..., 24, 3)."""
        return linear(self.values, self.at, seen=self, unknowns=unknowns)


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


def predicted(responses: Array, matrix: Array, degree: int) -> Array:
    """XYZ of responses, shapes (..., n, 3) and (..., terms, 3) to (..., n, 3)."""
    return np.asarray(root_terms(responses, degree) @ matrix)


# Of the root polynomial; the fourth has 22 terms for 24 patches.
DEGREES = (1, 2, 3)
# A higher degree has to bring the patches' misses down to this share; common practice, no source.
EARNED = 0.97
_MOST_STEPS, _GAIN = 30, 1e-6  # share of the cost below which no fit gains any more
_STEP = 1e-4  # of the unknowns, which are of order 0.1, for slopes by central differences


@dataclass(frozen=True, eq=False)
class Calibration:
    """What was learned from the chart."""

    seen: Seen
    unknowns: Array  # shape (8,): curve, flare, fall of light [-]
    covariance: Array  # shape (8, 8): of them [-]
    matrix: Array  # shape (terms, 3): root-polynomial terms to XYZ
    degree: int
    white: Array  # shape (3,): XYZ of the perfect white in the light asked for
    # shape (24, 3): CIELAB of the patches as fitted, and each predicted by the others [-]
    fitted: Array
    left_out: Array
    reference: Array  # shape (24, 3): CIELAB that they are known to have [-]
    use: Array  # shape (24,): 1 for the patches that counted, 0 for those beyond what the picture can hold

    @property
    def missed(self) -> Array:
        """CIEDE2000 of the patches that counted, each predicted by the others, shape (n,)."""
        return difference(self.reference, self.left_out)[self.use > 0]

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
        return np.sqrt(1.0 + self._leverage(linear(values, at, seen=self.seen, unknowns=self.unknowns)))

    @property
    def most_carried(self) -> float:
        """The same of the farthest patch, left out."""
        return float(np.sqrt(1.0 / (1.0 - self._leverage().max())))

    def _leverage(self, responses: Array | None = None) -> Array:
        """Of colours seen, or of the patches that count."""
        chart = self._rows(self.seen.responses(self.unknowns))[self.use > 0]
        inverse = np.linalg.pinv(chart.T @ chart)
        rows = chart if responses is None else self._rows(responses)
        return np.asarray(np.clip(np.einsum("ni,ij,nj->n", rows, inverse, rows), 0.0, None))

    def _rows(self, responses: Array) -> Array:
        lightness = predicted(responses, self.matrix, self.degree)[:, 1:2]
        return root_terms(responses, self.degree) * np.maximum(lightness, 1e-2) ** (-2.0 / 3.0)

    def lab(self, values: Array, at: Array, *, brighter: float | Array = 0.0) -> Array:
        """CIELAB of pixel values at places, shapes (n, 3) and (n, 2); `brighter` is added to the log of the light."""
        lit = linear(values, at, seen=self.seen, unknowns=self.unknowns) * np.exp(np.asarray(brighter)[..., None])
        return xyz_to_lab(np.maximum(predicted(lit, self.matrix, self.degree), 0.0), self.white)


def calibrate(
    values: Array, at: Array, reference: Array, *, white: Array, use: Array, card: WhiteCard | None = None
) -> Calibration:
    """Fit the chart.

    `values`, `at` (24, 3) and (24, 2): pixel values of the patches [0 to 1], and their places [half lengths].
    `reference` (24, 3): CIELAB of the patches in the light asked for [-].
    `white` (3,): XYZ of the perfect white in that light.
    `use` (24,): 1 for patches that count, 0 for others.
    `card`: where a white card shows how the light falls.

    Least squares over CIEDE2000's three parts, the unknowns tied to their start by `EXPECTED`. The degree is the one
    whose patches, each left out and all else fitted again, are predicted best.
    """
    xyz = lab_to_xyz(reference, white)
    jobs = [_Job(Seen(values, at, coding, card), reference, xyz, white, 1, use) for coding in (CODED, STRAIGHT)]
    first = [job.fitted(np.zeros(UNKNOWNS), use) for job in jobs]
    costs = [float(np.sum(job.residuals(at, use) ** 2)) for job, at in zip(jobs, first, strict=True)]
    best = int(np.argmin(costs))
    found, *higher = (_calibration(replace(jobs[best], degree=degree), first[best]) for degree in DEGREES)
    for this in higher:
        if np.linalg.norm(this.missed) < EARNED * np.linalg.norm(found.missed):
            found = this
    return found


def _calibration(job: _Job, start: Array) -> Calibration:
    unknowns = job.fitted(start, job.use)
    matrix = root_matrix(job.seen.responses(unknowns), job.xyz, job.degree, use=job.use)
    residuals, slopes = job.residuals(unknowns, job.use), job.slopes(unknowns, job.use)
    spread = float((residuals**2).sum()) / (3.0 * (job.use.sum() - len(matrix)) - UNKNOWNS)
    covariance = spread * np.linalg.inv(slopes.T @ slopes)
    each = job.use * (1.0 - np.eye(24))
    left_out = job.lab(job.fitted(unknowns, each), each)[np.arange(24), np.arange(24)]
    return Calibration(
        job.seen, unknowns, covariance, matrix, job.degree, job.white, job.lab(unknowns, job.use), left_out,
        job.reference, job.use,
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Job:
    """Least squares of one degree; unknowns and patches in use may have leading axes, each a fit of its own."""

    seen: Seen
    reference: Array
    xyz: Array
    white: Array
    degree: int
    use: Array

    def lab(self, unknowns: Array, use: Array) -> Array:
        responses = self.seen.responses(unknowns)
        matrix = root_matrix(responses, self.xyz, self.degree, use=use)
        return xyz_to_lab(np.maximum(predicted(responses, matrix, self.degree), 0.0), self.white)

    def residuals(self, unknowns: Array, use: Array) -> Array:
        """Shape (..., 72 + 8): what patches are missed by, and how far the unknowns are from their start."""
        parts = difference_parts(self.reference, self.lab(unknowns, use)) * use[..., None]
        tied = unknowns / EXPECTED
        if self.seen.card is not None:
            tied = tied * np.where(np.arange(UNKNOWNS) < FALL.start, 1.0, 1e3)  # the card tells the fall
        return np.concatenate((parts.reshape(*parts.shape[:-2], -1), tied), axis=-1)

    def slopes(self, unknowns: Array, use: Array) -> Array:
        """Shape (..., 80, 8), by central differences."""
        step = _STEP * np.eye(UNKNOWNS)
        beside = unknowns[..., None, None, :] + np.stack((step, -step), axis=-2)
        at = self.residuals(beside, np.broadcast_to(use[..., None, None, :], (*beside.shape[:-1], 24)))
        return np.asarray(np.swapaxes((at[..., 0, :] - at[..., 1, :]) / (2.0 * _STEP), -1, -2))

    def fitted(self, start: Array, use: Array) -> Array:
        """Unknowns of least squares, shape (..., 8), by Levenberg-Marquardt, all fits at once."""
        at = np.broadcast_to(start, (*use.shape[:-1], UNKNOWNS))
        missed, damping = self.residuals(at, use), np.full(use.shape[:-1], 1e-3)
        for _ in range(_MOST_STEPS):
            slopes = self.slopes(at, use)
            across = np.swapaxes(slopes, -1, -2)
            stiff = across @ slopes * (1.0 + damping[..., None, None] * np.eye(UNKNOWNS))
            there = at - np.linalg.solve(stiff, across @ missed[..., None])[..., 0]
            found = self.residuals(there, use)
            cost = np.sum(missed**2, axis=-1)
            gained = cost - np.sum(found**2, axis=-1)
            better = gained > 0.0
            at = np.where(better[..., None], there, at)
            missed = np.where(better[..., None], found, missed)
            damping = np.where(better, 0.1, 10.0) * damping
            if np.all(np.abs(gained) < _GAIN * cost):
                break
        return at
