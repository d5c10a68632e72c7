"""The noise of a traced picture, and how it is smoothed where what is alike lies about.

Non-local means with the variance that the passes show (Rousselle, Knaus and Zwicker 2012, Adaptive rendering with
non-local means filtering, ACM Trans. Graph. 31, 195; from memory): a pixel becomes the mean of those about it whose
surroundings differ from its own by no more than noise does. The passes fall into two halves; each is smoothed with the
weights that the other tells, so that noise does not choose what it is averaged with, and what they still differ by is
the noise that is left.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter

Array = NDArray[np.float64]

_REACH, _PATCH = 7, 3  # px, each way; chosen by eye as is the next
_STRICT = 0.45  # times the noise by which surroundings may differ
_LOOSE = 0.5  # of an edge, as far as hue is concerned
_BRIGHT = 4.0  # times the brightest of the pixels about, beyond which a single pass is a stray path


@dataclass(frozen=True, eq=False)
class Half:
    """Half of the passes: their mean and the variance of it, shape (height, width, 3)."""

    mean: Array
    variance: Array


def halves(passes: Iterable[Array]) -> tuple[Half, Half]:
    """Gather passes, an even number of them, by turns."""
    total: list[Array] = []
    squares: list[Array] = []
    counts = [0, 0]
    for number, seen in enumerate(passes):
        side = number % 2
        if number < 2:
            total.append(seen.copy())
            squares.append(seen**2)
        else:
            total[side] += seen
            squares[side] += seen**2
        counts[side] += 1
    made = []
    for count, one, two in zip(counts, total, squares, strict=True):
        mean = one / count
        variance = np.maximum(two / count - mean**2, 0.0) / max(count - 1, 1)
        made.append(Half(mean, variance))
    first, second = made
    if counts[0] < 3:  # too few to tell: the halves tell each other
        variance = 0.5 * (first.mean - second.mean) ** 2
        first, second = Half(first.mean, variance), Half(second.mean, variance)
    return first, second


def noise(first: Array, second: Array) -> Array:
    """Standard error of the mean of two halves, shape (height, width, 3)."""
    return np.asarray(np.abs(first - second) / 2.0)


def smoothed(first: Half, second: Half, forms: Array, *, reach: int = _REACH) -> tuple[Array, Array]:
    """Both halves, each smoothed with the other's weights, shape (height, width, 3).

    Parameters
    ----------
    forms : ndarray, shape (height, width, n)
        What is known without noise, in units by which neighbours may differ: a step of 1 is an edge.
    """
    variances = [_spread(each.variance) for each in (first, second)]
    pairs = ((first.mean, second.mean, variances[1]), (second.mean, first.mean, variances[0]))
    one, two = (
        _filtered(_without_strays(values), _without_strays(guide), spread, forms, reach)
        for values, guide, spread in pairs
    )
    return one, two


def _spread(variance: Array) -> Array:
    """Variance averaged about each pixel: of few passes it is itself uncertain."""
    return np.asarray(uniform_filter(variance, size=(7, 7, 1), mode="nearest") + 1e-8)


def _without_strays(mean: Array) -> Array:
    """Pixels far brighter than all about them put back to the brightest of those: paths that met a lamp by chance."""
    bright = mean.sum(axis=-1)
    about = uniform_filter(bright, size=5, mode="nearest") * 25.0 / 24.0 - bright / 24.0
    limit = _BRIGHT * np.maximum(about, 1e-6)
    return np.asarray(mean * np.minimum(1.0, limit / np.maximum(bright, 1e-9))[..., None])


def _filtered(values: Array, guide: Array, variance: Array, forms: Array, reach: int) -> Array:
    total, weights = np.zeros_like(values), np.zeros(values.shape[:2])
    around = ((reach, reach), (reach, reach), (0, 0))
    padded = [np.pad(each, around, mode="reflect") for each in (values, guide, variance, forms)]
    rows, columns = values.shape[:2]
    for down in range(2 * reach + 1):
        for right in range(2 * reach + 1):
            some = (slice(down, down + rows), slice(right, right + columns))
            other, like, spread, form = (each[some] for each in padded)
            apart = (guide - like) ** 2 - (variance + np.minimum(variance, spread))
            apart /= 1e-8 + _STRICT**2 * (variance + spread)
            distance = uniform_filter(apart.mean(axis=-1), size=2 * _PATCH + 1, mode="nearest")
            weight = np.exp(-np.maximum(distance, 0.0) - ((forms - form) ** 2).sum(axis=-1))
            total += weight[..., None] * other
            weights += weight
    return np.asarray(total / weights[..., None])


def evenly_coloured(light: Array, forms: Array, *, reach: int = 6) -> Array:
    """Light whose brightness stays and whose hue is that of what is about it on the same face, shape (..., 3).

    Colours of rubber run smoothly where brightness does not: of what noise is left, the eye sees that of the hue first.
    """
    bright = light.mean(axis=-1)
    around = ((reach, reach), (reach, reach), (0, 0))
    padded = [np.pad(each, around, mode="reflect") for each in (light, forms)]
    rows, columns = bright.shape
    total = np.zeros_like(light)
    for down in range(2 * reach + 1):
        for right in range(2 * reach + 1):
            other, form = (each[down : down + rows, right : right + columns] for each in padded)
            weight = np.exp(-((_LOOSE * (forms - form)) ** 2).sum(axis=-1))
            total += weight[..., None] * other
    hue = total / np.maximum(total.mean(axis=-1, keepdims=True), 1e-9)
    return np.asarray(np.where(total.min(axis=-1, keepdims=True) > 0.0, bright[..., None] * hue, light))
