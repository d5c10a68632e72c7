"""What a patch of pixels says: its mean without specks, its spread, how much of it is clipped."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.photographs.picture import Picture

Array = NDArray[np.float64]

CELLS = 3  # a place is cut into so many by so many cells, to see whether it is even
TOP, BOTTOM = 254, 1  # levels from which on a camera may have cut off what it saw
# A pixel so many robust standard deviations from the middle of its place is a speck: of Gaussian noise 1 in 2 000.
SPECK = 3.5
_MOST_PER_SIDE = 96  # pixels; a place larger than that is sampled, at even distances


@dataclass(frozen=True, eq=False)
class Samples:
    """Means over places.

    Parameters
    ----------
    mean : ndarray, shape (n, 3)
        Pixel values without specks [0 to 1].
    cells : ndarray, shape (n, 9, 3)
        Likewise of each ninth of a place.
    too_high, too_low : ndarray, shape (n,)
        Share of pixels with a channel at the top or the bottom of its range [0 to 1].
    scatter : ndarray, shape (n,)
        Robust standard deviation of single pixels, the largest of the channels [0 to 1].
    """

    mean: Array
    cells: Array
    too_high: Array
    too_low: Array
    scatter: Array


def sample(picture: Picture, quads: Array) -> Samples:
    """Average a picture over quadrilaterals, shape (n, 4, 2) [px]."""
    each = [_sample_one(picture, quad) for quad in quads]
    shapes = ((0, 3), (0, CELLS**2, 3), (0,), (0,), (0,))
    columns = zip(*each, strict=True) if each else ([] for _ in shapes)
    return Samples(*(np.array(column).reshape(-1, *shape[1:]) for column, shape in zip(columns, shapes, strict=True)))


def _sample_one(picture: Picture, quad: Array) -> tuple[Array, Array, float, float, float]:
    pixels = _inside(picture, quad)
    clipped = (np.mean((pixels >= TOP).any(axis=-1)), np.mean((pixels <= BOTTOM).any(axis=-1)))
    values = pixels / 255.0
    middle = np.median(values, axis=(0, 1))
    # 1.4826: from the median of distances to a standard deviation; never below half a level.
    spread = np.maximum(1.4826 * np.median(np.abs(values - middle), axis=(0, 1)), 0.5 / 255.0)
    parts = [part for row in np.array_split(values, CELLS) for part in np.array_split(row, CELLS, axis=1)]
    # A ninth is cleaned about its own middle: where an edge runs through the place, it has to show.
    cells = np.stack([_mean(part, spread) for part in parts])
    return _mean(values, spread), cells, float(clipped[0]), float(clipped[1]), float(spread.max())


def _mean(values: Array, spread: Array) -> Array:
    """Mean without specks, shape (..., 3) to (3,)."""
    flat = values.reshape(-1, 3)
    middle = np.median(flat, axis=0)
    clean = np.all(np.abs(flat - middle) <= SPECK * spread, axis=-1)
    return np.asarray(np.mean(flat[clean], axis=0) if clean.any() else middle)


def _inside(picture: Picture, quad: Array) -> NDArray[np.uint8]:
    """Pixels nearest to an even net over a quadrilateral, shape (n, n, 3)."""
    side = np.linalg.norm(quad - np.roll(quad, 1, axis=0), axis=1).max()
    count = int(np.clip(np.round(side), CELLS, _MOST_PER_SIDE))
    at = (np.arange(count) + 0.5) / count
    down, along = np.meshgrid(at, at, indexing="ij")
    corners = np.stack(((1 - along) * (1 - down), along * (1 - down), along * down, (1 - along) * down), axis=-1)
    places = np.rint(corners @ quad).astype(int)
    found: NDArray[np.uint8] = picture.pixels[places[..., 1], places[..., 0]]
    return found


# How evenly the light falls: from a white card at several places, or, with less right, from the chart alone.


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
