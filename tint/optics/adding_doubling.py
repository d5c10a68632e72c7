"""Radiative transfer of a slab by adding-doubling, solved directly: the judge and the maker of the tables.

A layer is a pair of matrices over the radiances along a set of directions: R sends light back, T passes it
on, unscattered light included. A thin layer is known; two equal layers make one of twice the thickness; the
faces are added at the end. All is batched over layers.

References
----------
van de Hulst, H. C. (1980), Multiple Light Scattering, Academic Press: adding and doubling.
Prahl, S. A., van Gemert, M. J. C. and Welch, A. J. (1993), Appl. Opt. 32, 559: the method with Fresnel faces.
Wiscombe, W. J. (1976), J. Quant. Spectrosc. Radiat. Transfer 16, 637: thin layers to start from.
Nakajima, T. and Tanaka, M. (1988), J. Quant. Spectrosc. Radiat. Transfer 40, 51: single scattering under
delta-M.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError
from tint.optics.slab import AT_45, NORMAL, WATCHED, Directions, Slab, directions, with_faces

Array = NDArray[np.float64]
Index = NDArray[np.int64]

NODES = 24  # directions, as many as iadpython is asked for where tests hold the two together
_THIN = 2.0**-6  # optical thickness where doubling starts: the start errs by 1e-9 there (`started`)
_BATCH = 1024  # layers solved at once


@dataclass(frozen=True, kw_only=True, eq=False)
class Body:
    """Slabs without faces: R and T over the directions, shape (layers, n, n).

    `depth`, shape (layers,), is the true optical thickness, by which unscattered light is dimmed [-].
    """

    R: Array
    T: Array
    depth: Array

    def slab(self, at: Directions) -> Slab:
        """These bodies with their faces."""
        return with_faces(self.R, self.T, depth=self.depth, at=at)

    def doubled(self, which: NDArray[np.bool_]) -> Body:
        """Those of the bodies that are picked, each laid on its like."""
        R, T = doubled(self.R[which], self.T[which])
        return Body(R=R, T=T, depth=2.0 * self.depth[which])


def solve(
    x: ArrayLike, y: ArrayLike, *, refractive_index: float, g: float, lobe: float = 0.0, nodes: int = NODES
) -> Slab:
    """Solve slabs directly, without a table: arrays of the shape of x and y, watched directions before it.

    x = K d and y = S d with K = 2 mu_a and S = 3/4 mu_s (1 - g). The index of the rubber is 1 where it has no
    faces; g is the anisotropy of scattering, 0 to 0.95; `lobe` the share thrown backwards, as of `lobes`; `nodes`
    an even number of directions in a hemisphere. An index or a g out of range is an InputError.
    """
    x, y = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
    at = directions(refractive_index, nodes)
    starts = range(0, max(x.size, 1), _BATCH)
    parts = [
        body(x.ravel()[start : start + _BATCH], y.ravel()[start : start + _BATCH], at=at, g=g, lobe=lobe).slab(at)
        for start in starts
    ]
    return Slab(
        index=at.index,
        **{
            name: _joined([getattr(part, name) for part in parts], x.shape)
            for name in (field.name for field in fields(Slab))
            if name != "index"
        },
    )


def _joined(parts: list[Array], shape: tuple[int, ...]) -> Array:
    whole = np.concatenate(parts, axis=-1)
    return whole.reshape((*whole.shape[:-1], *shape))


def body(x: Array, y: Array, *, at: Directions, g: float, lobe: float = 0.0) -> Body:
    """Slabs without faces, by doubling from thin ones; x and y of shape (layers,), all else as of `solve`."""
    if not 0.0 <= g <= 0.95:
        raise InputError("g", f"{g:g} is outside 0 to 0.95", "the mean cosine of scattering")
    moments = 3 * (at.cosine.size - len(WATCHED)) // 2  # the most that nodes split in two panels resolve
    absorbed, scattered = 0.5 * x, y / (0.75 * (1.0 - g))
    turned_away = scattered * (1.0 - peak(g, moments, lobe))
    R, T = built_up(
        absorbed + turned_away,
        _THIN,
        lambda which, shrunk: _thin(absorbed[which] * shrunk, turned_away[which] * shrunk, at, g, lobe, moments),
    )
    return Body(R=R, T=T, depth=absorbed + scattered)


def built_up(depth: Array, thin: float, start: Callable[[Index, Array], tuple[Array, Array]]) -> tuple[Array, Array]:
    """R and T of layers, shape (layers, n, n) each, by doubling thin ones as often as each needs.

    From an optical thickness of at most `thin`, where `start` gives R and T of the layers picked by number, all
    their depths multiplied by the shares given.
    """
    steps = np.ceil(np.log2(np.maximum(depth / thin, 1.0))).astype(int)
    # The thickest first, so that those still to be doubled are always the first ones.
    order = np.argsort(-steps, kind="stable")
    R, T = start(order, 2.0 ** -steps[order])
    for step in range(steps.max(initial=0), 0, -1):
        still = np.count_nonzero(steps >= step)
        R[:still], T[:still] = doubled(R[:still], T[:still])
    back = np.argsort(order)
    return R[back], T[back]


def doubled(R: Array, T: Array) -> tuple[Array, Array]:
    """Two equal layers, one on the other, with all the light that runs between them."""
    down_between = np.linalg.solve(np.eye(R.shape[-1]) - R @ R, T)
    return R + T @ (R @ down_between), T @ down_between


def _thin(
    absorbed: Array, scattered: Array, at: Directions, g: float, lobe: float, moments: int
) -> tuple[Array, Array]:
    """Thin layers, as of `started`.

    Light that the quadrature sends nowhere, or twice, is put back into its own direction, so that energy is
    conserved to rounding whatever the nodes.
    """
    forward, backward = redistribution(at.cosine, g, moments, lobe)
    onward, turned = 0.5 * forward * at.weight, 0.5 * backward * at.weight
    onward[np.diag_indices_from(onward)] += 1.0 - (onward + turned).sum(axis=1)
    # From the beam at 45 degrees straight into the normal light scatters by the whole phase function, not by
    # its truncated sum, which at high g converges slowly in a single direction (Nakajima and Tanaka 1988).
    whole = 0.5 * at.weight[AT_45] / (1.0 - peak(g, moments, lobe))
    onward[NORMAL, AT_45] = whole * phase_function(at.cosine[AT_45], g, lobe)
    turned[NORMAL, AT_45] = whole * phase_function(-at.cosine[AT_45], g, lobe)
    same, slant = np.eye(at.cosine.size), 1.0 / at.cosine[:, None]
    dimmed = same * slant * absorbed[:, None, None]
    even = dimmed + slant * (same - onward - turned) * scattered[:, None, None]
    odd = dimmed + slant * (same - onward + turned) * scattered[:, None, None]
    return started(even, odd)


def started(even: Array, odd: Array) -> tuple[Array, Array]:
    """R and T of thin layers, shape (layers, n, n), whose fields change by what is given.

    Fields even and odd about the middle of a layer do not mix: down the layer the sum of both streams falls by
    `odd` times their difference, and the difference by `even` times their sum.

    Notes
    -----
    With P = A_o A_e / 4, ``T + R = 2 (1 + A_e / 2 f(P))^-1 - 1``, where f is tanh(x) / x of x^2, and for T - R even and
    odd change places. Here f is ``(1 + P / 15) / (1 + 2 P / 5)``, from the continued fraction of tanh (DLMF 4.39.1,
    from memory): wrong by P^3 / 1575. With f = 1 it would be the diamond start (Wiscombe 1976), wrong by P / 3.
    """
    same = np.eye(even.shape[-1])

    def inner(own: Array, other: Array) -> Array:
        squared = 0.25 * other @ own
        outer = same + 0.4 * squared
        return np.asarray(outer @ np.linalg.inv(outer + 0.5 * own @ (same + squared / 15.0)))

    plus, minus = inner(even, odd), inner(odd, even)
    return plus - minus, plus + minus - same


# How a scattering event turns light. One Henyey-Greenstein lobe has a mean cosine g and a second moment g^2, and a long
# tail of higher moments. Particles as small as pigments throw light more evenly: of the same g, Mie's theory gives them
# a smaller second moment, down to that of a round lobe; the smallest, and those of high index, throw some backwards,
# which makes it larger (tests/figures/mie_stock.py).


BACKWARDS = -0.5  # mean cosine of the lobe that is thrown backwards
_TAPER = 4  # the lobe shrinks with 1 - g^4: the forward lobe that is left can make up for it at any g up to a sixth


def lobes(g: float, lobe: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Share and mean cosine of the forward and the backward lobe, whose mean is the anisotropy g, 0 to below 1 [-].

    `lobe` is the share of the light that is thrown backwards where g is 0; it is less where g is high.
    """
    back = lobe * (1.0 - g**_TAPER)
    return (1.0 - back, (g - back * BACKWARDS) / (1.0 - back)), (back, BACKWARDS)


def moments(g: float, count: int, lobe: float = 0.0) -> Array:
    """Legendre moments 0 to `count` of the phase function, shape (count + 1,) [-].

    `lobe` is the share thrown backwards, as of `lobes`; where it is negative, minus the share that a round lobe
    scatters in the place of the Henyey-Greenstein one of the same g.
    """
    orders = np.arange(count + 1)
    if lobe >= 0.0:
        return np.asarray(sum(share * np.power(cosine, orders) for share, cosine in lobes(g, lobe)))
    power = _roundness(g)
    rounded = np.concatenate(([1.0], np.cumprod((power - orders[:-1]) / (power + 2.0 + orders[:-1]))))
    return np.asarray((1.0 + lobe) * np.power(g, orders) - lobe * rounded)


def phase_function(cosine: ArrayLike, g: float, lobe: float = 0.0) -> Array:
    """Phase function at cosines of the scattering angle, shape (...), with mean 1 over the sphere [-]."""
    cosine = np.asarray(cosine, dtype=float)
    if lobe < 0.0:
        power = _roundness(g)
        rounded = (power + 1.0) * (0.5 * (1.0 + cosine)) ** power
        return np.asarray((1.0 + lobe) * phase_function(cosine, g) - lobe * rounded)
    return np.asarray(
        sum(
            share * (1.0 - mean * mean) / (1.0 + mean * mean - 2.0 * mean * cosine) ** 1.5
            for share, mean in lobes(g, lobe)
        )
    )


def _roundness(g: float) -> float:
    """The power of (1 + cosine) whose mean cosine is g."""
    return 2.0 * g / (1.0 - g)


def lobe_at(g: Array, second: Array) -> tuple[Array, Array, Array]:
    """The lobe of `moments` at which the second moment is as given, and its slopes by g and by the second moment.

    Parameters
    ----------
    g, second : ndarray, shape (...)
        Mean cosine, 0 to below 1, and second Legendre moment [-].

    Notes
    -----
    With e = second - g^2 the share thrown backwards is ``e / (g + 1/4 + second) / (1 - g^4)``; that of a round lobe,
    whose second moment is ``g (3 g - 1) / (3 - g)``, is ``-e (3 - g) / (g (1 - g^2))``.
    """
    square, open_ = g * g, 3.0 - g
    more, shrunk = second - square, 1.0 - square * square  # by `_TAPER`
    reach = g + second + BACKWARDS**2
    sum_of = reach * shrunk
    behind = more / sum_of
    room = np.maximum(g - g * square, 1e-9)
    round_ = more * open_ / room
    less = more < 0.0
    by_g = np.where(
        less,
        (-2.0 * g * open_ - more - round_ * (1.0 - 3.0 * square)) / room,
        (-2.0 * g - behind * (shrunk - _TAPER * reach * square * g)) / sum_of,
    )
    by_second = np.where(less, open_ / room, (1.0 - behind * shrunk) / sum_of)
    return np.where(less, round_, behind), by_g, by_second


def peak(g: float, count: int, lobe: float = 0.0) -> float:
    """Share of the scattered light that delta-M counts as not scattered: the first moment left out [-]."""
    return max(float(moments(g, count, lobe)[-1]), 0.0)


def redistribution(cosines: Array, g: float, count: int, lobe: float = 0.0) -> tuple[Array, Array]:
    """Azimuth-averaged phase function between directions, its delta-M peak taken out, from `count` Legendre moments.

    Within a hemisphere and into the other one, both of shape (n, n) for n cosines in the rubber; their mean over
    both hemispheres is 1 up to the quadrature [-].
    """
    orders = np.arange(count)
    share = peak(g, count, lobe)
    strength = (2 * orders + 1) * (moments(g, count, lobe)[:-1] - share) / (1.0 - share)
    legendre = np.polynomial.legendre.legvander(cosines, count - 1)
    forward = (legendre * strength) @ legendre.T
    backward = (legendre * strength * np.where(orders % 2, -1.0, 1.0)) @ legendre.T
    return forward, backward
