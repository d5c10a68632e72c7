"""The chart in a photograph, fitted: curve, flare, light and matrix at once, judged by each patch left out in turn."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tint.colorimetry import difference, difference_parts, lab_to_xyz, root_terms, xyz_to_lab
from tint.photographs.response import (
    CODED,
    EXPECTED,
    FALL,
    STRAIGHT,
    UNKNOWNS,
    Seen,
    WhiteCard,
    linear,
    matrix_of,
    predicted,
)

Array = NDArray[np.float64]

# Of the root polynomial; the fourth has 22 terms for 24 patches.
DEGREES = (1, 2, 3)
# A higher degree has to bring the patches' misses down to this share; common practice, no source.
EARNED = 0.97
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
    # shape (24, 3): CIELAB of the patches as fitted, and each foretold by the others [-]
    fitted: Array
    left_out: Array
    reference: Array  # shape (24, 3): CIELAB that they are known to have [-]
    use: Array  # shape (24,): 1 for the patches that counted, 0 for those beyond what the picture can hold

    @property
    def missed(self) -> Array:
        """CIEDE2000 of the patches that counted, each foretold by the others, shape (n,)."""
        return difference(self.reference, self.left_out)[self.use > 0]

    @property
    def spread(self) -> float:
        """CIEDE2000 that 95 of 100 colours are missed by at most, were all else known: see `carried` [-].

        From the root mean square of the patches left out, as of a bell curve: the 95 % quantile of 24 numbers hangs on
        two of them.
        """
        each = self.missed * np.sqrt(1.0 - self._leverage(self.chart_responses)[self.use > 0])
        return 1.96 * float(np.sqrt(np.mean(each**2)))

    def carried(self, values: Array, at: Array) -> Array:
        """How much more a colour may be missed by for lying away from the patches, shape (n,): from 1 on [-].

        Notes
        -----
        With h = t (T' T)^-1 t' of a colour's terms t and those T of the chart, each weighted as the fit weights them,
        a new colour's error has sqrt(1 + h) times the spread of one where all is known, and that of a patch left out
        1 / sqrt(1 - h).
        """
        responses = linear(values, at, seen=self.seen, unknowns=self.unknowns)
        return np.sqrt(1.0 + self._leverage(responses))

    @property
    def most_carried(self) -> float:
        """The same of the farthest patch, left out."""
        leverage = self._leverage(self.chart_responses)[self.use > 0]
        return float(np.sqrt(1.0 / (1.0 - leverage.max())))

    @property
    def chart_responses(self) -> Array:
        """Responses of the patches in proportion to light, shape (24, 3)."""
        return linear(self.seen.values, self.seen.at, seen=self.seen, unknowns=self.unknowns)

    def _leverage(self, responses: Array) -> Array:
        chart = self._rows(self.chart_responses)[self.use > 0]
        inverse = np.linalg.pinv(chart.T @ chart)
        rows = self._rows(responses)
        return np.asarray(np.clip(np.einsum("ni,ij,nj->n", rows, inverse, rows), 0.0, None))

    def _rows(self, responses: Array) -> Array:
        lightness = predicted(responses, self.matrix, self.degree)[:, 1:2]
        return root_terms(responses, self.degree) * np.maximum(lightness, 1e-2) ** (-2.0 / 3.0)

    def lab(self, values: Array, at: Array, *, brighter: float | Array = 0.0) -> Array:
        """CIELAB of pixel values at places, shapes (n, 3) and (n, 2); `brighter` is added to the log of the light."""
        responses = linear(values, at, seen=self.seen, unknowns=self.unknowns)
        lit = responses * np.exp(np.asarray(brighter)[..., None])
        return xyz_to_lab(np.maximum(predicted(lit, self.matrix, self.degree), 0.0), self.white)


def calibrate(
    values: Array, at: Array, reference: Array, *, white: Array, use: Array, card: WhiteCard | None = None
) -> Calibration:
    """Fit the chart.

    Parameters
    ----------
    values, at : ndarray, shapes (24, 3) and (24, 2)
        Pixel values of the patches [0 to 1] and their places [half lengths of the chart].
    reference : ndarray, shape (24, 3)
        CIELAB of the patches in the light asked for [-].
    white : ndarray, shape (3,)
        XYZ of the perfect white in that light.
    use : ndarray, shape (24,)
        1 for patches that count, 0 for others.
    card : WhiteCard, optional
        Where a white card shows how the light falls.

    Notes
    -----
    Least squares over CIEDE2000's three parts, the unknowns tied to their start by `EXPECTED`. The degree is the one
    whose patches, each left out and all else fitted again, are foretold best.
    """
    xyz = lab_to_xyz(reference, white)
    starts = [Seen(values, at, coding, card) for coding in (CODED, STRAIGHT)]
    jobs = [_Job(seen, reference, xyz, white, 1, use) for seen in starts]
    first = [job.fitted(np.zeros(UNKNOWNS), use) for job in jobs]
    costs = [float(np.sum(job.residuals(at, use) ** 2)) for job, at in zip(jobs, first, strict=True)]
    best = int(np.argmin(costs))
    found: Calibration | None = None
    for degree in DEGREES:
        this = _calibration(replace(jobs[best], degree=degree), first[best])
        if found is None or _size(this) < EARNED * _size(found):
            found = this
    assert found is not None
    return found


def _size(calibration: Calibration) -> float:
    return float(np.sqrt(np.mean(calibration.missed**2)))


def _calibration(job: _Job, start: Array) -> Calibration:
    unknowns = job.fitted(start, job.use)
    matrix = matrix_of(job.seen, unknowns, job.xyz, degree=job.degree, use=job.use)
    residuals, slopes = job.residuals(unknowns, job.use), job.slopes(unknowns, job.use)
    spread = float((residuals**2).sum()) / (3.0 * (job.use.sum() - len(matrix)) - UNKNOWNS)
    covariance = spread * np.linalg.inv(slopes.T @ slopes)
    each = job.use * (1.0 - np.eye(24))
    again = np.stack([job.fitted(unknowns, use) for use in each])
    left_out = job.lab(again, each)[np.arange(24), np.arange(24)]
    fitted = job.lab(unknowns, job.use)
    return Calibration(
        job.seen, unknowns, covariance, matrix, job.degree, job.white, fitted, left_out, job.reference, job.use
    )


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
        matrix = matrix_of(self.seen, unknowns, self.xyz, degree=self.degree, use=use)
        responses = linear(self.seen.values, self.seen.at, seen=self.seen, unknowns=unknowns)
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
        """Unknowns of least squares, shape (8,)."""
        from scipy.optimize import least_squares  # 0.3 s to import; only a photograph needs it here

        def residuals(at: Array) -> Array:
            return self.residuals(at, use)

        def slopes(at: Array) -> Array:
            return self.slopes(at, use)

        return np.asarray(least_squares(residuals, start, slopes, ftol=1e-6).x)
