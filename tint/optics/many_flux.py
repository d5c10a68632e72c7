"""Many-flux layer model: radiative transfer of the slab, looked up in tables that adding-doubling makes.

A table spans x = K d and y = S d from 0 to hiding and the anisotropy g of the mixture. It is computed at a few
refractive indices and second moments of the phase function, kept in the cache directory, and read from memory
afterwards; between those a polynomial runs. What an instrument excludes as specular is taken off in closed form.

References
----------
Prahl, S. A., van Gemert, M. J. C. and Welch, A. J. (1993), Appl. Opt. 32, 559: adding-doubling.
Gate, L. F. (1974), Appl. Opt. 13, 236: K = 2 mu_a, S = 3/4 mu_s (1 - g) (from memory).
"""

from __future__ import annotations

import functools

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.files import cached_arrays, is_cached
from tint.optics.adding_doubling import Body, body, lobe_at
from tint.optics.axes import Axis, Knots
from tint.optics.slab import AT_8, PASSED, check_reading, directions
from tint.optics.surface import DEGREES_8
from tint.optics.surface import reflected as mirrored
from tint.optics.table import Table, at_nodes, for_each, located, look_up, stacked, tabulate

Array = NDArray[np.float64]

VERSION = 6  # raise it when anything that shapes the stored numbers changes
# The nodes of the depths: between them a spline is within 5e-5 of the layer itself (tests/figures/slabs.py).
PER_OCTAVE = 2
X_AXIS = Axis(start=2.0**-12, octaves=18, per_octave=PER_OCTAVE)  # K d up to 64
Y_AXIS = Axis(start=2.0**-12, octaves=26, per_octave=PER_OCTAVE)  # S d up to 16384
# Closer where the layer bends more: between them the spline is within 9e-5 of the layer itself.
G_AXIS = Knots((0.0, 0.2, 0.4, 0.55, 0.68, 0.8, 0.89, 0.95))
MOST_G = G_AXIS.nodes[-1]
# Directions in a hemisphere: fewer do where scattering is not so forward, for 4e-5 at most.
_FEW, _FEW_UP_TO_G, _MANY = 16, 0.8, 24
# Indices at which tables are computed: 1.41 and multiples of this apart; a parabola between three of them is within
# 7e-5 of the layer itself (tests/figures/slabs.py). Below the least index the faces change too fast for it.
_INDEX, _INDEX_STEP, _LEAST_INDEX = 1.41, 0.06, 1.28
# Lobes of `adding_doubling.moments` at which tables are computed, beside none, and from where to where they are
# followed: through none a parabola runs either way (tests/figures/slabs.py).
_ROUND, _BACK = (-0.4, -0.9), (0.07, 0.16)
LOBE_ENDS = (-1.0, 0.22)
_STORED = tuple(f"{geometry} {seat}" for geometry in ("di:8", "45:0") for seat in ("air", "wet"))
_STEP = 1e-4  # of the index, for the slope of a closed form


def terms(
    x: ArrayLike, y: ArrayLike, z: ArrayLike, q: ArrayLike | None = None, *, refractive_index: float, geometry: str,
    seat: str,
) -> tuple[Array, Array]:  # fmt: skip
    """The three numbers that say how a layer reads over any Lambertian backing, with their slopes.

    For K d, S d, M d = S d / (1 - g) and Q d, which is M d times the second moment of the phase function, of shape
    (...), not negative: front, through, back, shape (3, ...), with which it reads ``front + through Rg / (1 - back
    Rg)`` over a backing of reflectance Rg, and the slopes of each by x, y, z and q, shape (3, 4, ...) [-].

    Without q every scattering event is one Henyey-Greenstein lobe. An index of 1 means no faces; geometry and seat are
    as in `tint.optics.layer`. A depth that is negative or not a number, or anything else that is out of range, is an
    InputError.
    """
    check_reading(geometry, seat)
    n = float(refractive_index)
    values, slopes = _read(n, _stored_as(geometry, seat), x, y, z, q)
    if geometry == "de:8":
        gloss, by_depth = _gloss(n, x, z, seat)
        values[0] -= gloss
        slopes[0, :3] -= by_depth
    return values, slopes


def transmitted(
    x: ArrayLike, y: ArrayLike, z: ArrayLike, q: ArrayLike | None = None, *, refractive_index: float
) -> tuple[Array, Array]:
    """Total transmittance of the free slab lit by a beam at 8 degrees, unscattered light included, with its slopes.

    Arguments are those of `terms`; shapes (...) and (4, ...).
    """
    values, slopes = _read(float(refractive_index), PASSED, x, y, z, q)
    return values[0], slopes[0]


def near_index(
    x: ArrayLike,
    y: ArrayLike,
    z: ArrayLike,
    q: ArrayLike,
    *,
    stated_index: float,
    refractive_index: float,
    geometry: str,
    seat: str | None,
) -> tuple[Array, Array, Array]:
    """As `terms` or `transmitted`, for an index that changes from call to call, with slopes by it.

    The index stays near the stated one, which chooses the tables; `seat` is None for the transmittance of the free
    slab. Values, slopes and slopes by the index have the shapes (n, ...), (n, 4, ...) and (n, ...), n being 3 for
    `terms` and 1 for `transmitted`.
    """
    nodes = shapes(float(stated_index))
    table = tables_of(nodes, PASSED if seat is None else _stored_as(geometry, seat))
    (values, of_index), slopes = _at_lobe(table, x, y, z, q, of_index=index_weights(nodes, refractive_index))
    if geometry == "de:8" and seat is not None:
        gloss, by_depth = _gloss(refractive_index, x, z, seat)
        values[0] -= gloss
        slopes[0, :3] -= by_depth
        above, below = (_gloss(refractive_index + step, x, z, seat)[0] for step in (_STEP, -_STEP))
        of_index[0] -= (above - below) / (2.0 * _STEP)
    return values, slopes, of_index


def _stored_as(geometry: str, seat: str) -> str:
    """The table that a reading comes from: with and without the specular reflection it is the same."""
    return f"{'45:0' if geometry == '45:0' else 'di:8'} {seat}"


def _gloss(refractive_index: float, x: ArrayLike, z: ArrayLike, seat: str) -> tuple[Array, Array]:
    """What an instrument that excludes the specular reflection leaves out, and its slopes by x, y and z."""
    x, z = np.asarray(x, dtype=float), np.asarray(z, dtype=float)
    gloss, by_depth = mirrored(refractive_index, 0.5 * x + z / 0.75, cosine=DEGREES_8, seat=seat)
    return gloss, np.stack((0.5 * by_depth, np.zeros_like(by_depth), by_depth / 0.75))


_LOBED = 1 + len(_ROUND + _BACK)  # how many of the tables about an index are of that index


def shapes(refractive_index: float) -> tuple[tuple[float, float], ...]:
    """The indices and lobes whose tables are joined about an index; the middle one first [-]."""
    n = float(refractive_index)
    middle = middle_index(n)
    lobed = tuple((middle, lobe) for lobe in (0.0, *_ROUND, *_BACK))
    if n < _LEAST_INDEX:
        return lobed
    return (*lobed, (round(middle - _INDEX_STEP, 6), 0.0), (round(middle + _INDEX_STEP, 6), 0.0))


def middle_index(refractive_index: float) -> float:
    """The index nearest to one, of those at which tables are computed; below the least of them the index itself [-]."""
    n = float(refractive_index)
    return n if n < _LEAST_INDEX else round(_INDEX + _INDEX_STEP * round((n - _INDEX) / _INDEX_STEP), 6)


def index_weights(nodes: tuple[tuple[float, float], ...], refractive_index: float) -> Array:
    """What an index adds to the middle one: weights of the blocks of `_lobed`, and their derivatives, (2, blocks)."""
    weights = np.zeros((2, len(nodes) - len(_BACK)))
    if len(nodes) > _LOBED:
        t = (refractive_index - nodes[0][0]) / _INDEX_STEP
        weights[0, -2:] = 0.5 * t * (t - 1.0), 0.5 * t * (t + 1.0)
        weights[1, -2:] = np.array([t - 0.5, t + 0.5]) / _INDEX_STEP
    # What the others have is taken from the middle one: a parabola through it.
    weights[:, 0] = -weights.sum(axis=1)
    return weights


def _at_lobe(
    table: Table, x: ArrayLike, y: ArrayLike, z: ArrayLike, q: ArrayLike, *, of_index: Array | None = None
) -> tuple[Array, Array]:
    """Values from a table of `_lobed` at the lobe of each point, and slopes by x, y, z and q, shape (n, 4, ...).

    `of_index`: as of `index_weights`; values are then of shape (2, n, ...), the second their slopes by the index, and
    else (1, n, ...).
    """
    at, asked, inverse = located(x, y, z, most_g=MOST_G)
    g, second = at[2], np.asarray(q, dtype=float) * inverse
    lobe, by_g, by_second = lobe_at(g, second)
    low, high = LOBE_ENDS
    # At no lobe two parabolas meet: there is no slope of theirs.
    inside = (lobe > low) & (lobe < high) & (lobe != 0.0)
    lobe = np.minimum(np.maximum(lobe, low), high)
    backwards = (lobe > 0.0).astype(np.intp)
    weights = _lobe_weights(lobe, backwards)
    if of_index is not None:
        more = np.zeros((3, of_index.shape[1], *g.shape))
        more[:2, : weights.shape[1]] = weights
        more[::2] += of_index.reshape(*of_index.shape, *(1,) * g.ndim)
        weights = more
    (values, along, *by_index), by = table.joined(at, weights, backwards)
    along *= np.where(inside, inverse, 0.0)
    turn = by[:, 2] * np.where((asked >= 0.0) & (asked <= MOST_G), inverse, 0.0)
    turn += along * np.where((asked > 0.0) & (asked < MOST_G), by_g, 0.0)
    along *= by_second
    slopes = np.empty((len(values), 4, *g.shape))
    slopes[:, 0], slopes[:, 1], slopes[:, 3] = by[:, 0], by[:, 1] - turn, along
    slopes[:, 2] = turn * (at[1] * inverse) - along * second
    return np.stack((values, *by_index)), slopes


# Of either side: the parabola of one node is l (l - the other) times a scale; others and scales, (2, node, side).
_OTHERS = np.array([_ROUND[::-1], _BACK[::-1]]).T
_PARABOLAS = np.stack((_OTHERS, 1.0 / (_OTHERS[::-1] * (_OTHERS[::-1] - _OTHERS))))


def _lobe_weights(lobe: Array, backwards: NDArray[np.intp]) -> Array:
    """Weights of no lobe and of the two on a lobe's side, and their derivatives, shape (2, 3, ...)."""
    other, scale = _PARABOLAS.take(backwards, axis=2)
    weights = np.empty((2, 3, *lobe.shape))
    weights[0, 1:], weights[1, 1:] = lobe * (lobe - other) * scale, (2.0 * lobe - other) * scale
    weights[0, 0], weights[1, 0] = 1.0 - weights[0, 1] - weights[0, 2], -weights[1, 1] - weights[1, 2]
    return weights


def _read(
    refractive_index: float, name: str, x: ArrayLike, y: ArrayLike, z: ArrayLike, q: ArrayLike | None
) -> tuple[Array, Array]:
    """Values, shape (n, ...), and slopes by x, y, z and q, shape (n, 4, ...), at one index."""
    if q is None:
        values, slopes = look_up(table_of(refractive_index, name, False), x, y, z)
        return values, np.concatenate((slopes, np.zeros_like(slopes[:, :1])), axis=1)
    (values,), slopes = _at_lobe(table_of(refractive_index, name, True), x, y, z, q)
    return values, slopes


@functools.lru_cache(maxsize=9)  # a table takes 11 MB, and 53 MB with all lobes
def table_of(refractive_index: float, name: str, lobed: bool) -> Table:
    """The table of an index: without a lobe, or as `_lobed`."""
    nodes = shapes(refractive_index)
    middle, _, _, *beside = index_weights(nodes, refractive_index)[0].tolist()
    weights = (middle, *(0.0,) * (_LOBED - 1), *beside)
    of_index = sum(weight * stored(*node)[name] for weight, node in zip(weights, nodes, strict=True) if weight)
    each = [stored(*node)[name] + of_index for node in nodes[: _LOBED if lobed else 1]]
    return _lobed(each) if lobed else _joined(each)


# As many as the fit of three bases of different indices asks for in turn, read in air, wet and as transmittance: one
# fewer, and each step would join all of them anew.
@functools.lru_cache(maxsize=9)  # 88 MB each
def tables_of(nodes: tuple[tuple[float, float], ...], name: str) -> Table:
    """The tables of several indices and lobes as one."""
    return _lobed([stored(*node)[name] for node in nodes])


def _lobed(each: list[Array]) -> Table:
    """Two tables as one, of either side; their blocks are no lobe, the two of the side, and neighbours of the index."""
    none, *lobes = each[:_LOBED]
    sides = (lobes[: len(_ROUND)], lobes[len(_ROUND) :])
    return stacked([_joined([none, *side, *each[_LOBED:]]) for side in sides])


def _joined(each: list[Array]) -> Table:
    return tabulate(np.concatenate(each), x=X_AXIS, y=Y_AXIS, knots=(G_AXIS,))


@functools.lru_cache(maxsize=24)
def stored(refractive_index: float, lobe: float) -> dict[str, Array]:
    """What `build` makes, from the cache where it lies there."""
    return cached_arrays(_key(refractive_index, lobe), lambda: build(refractive_index, lobe))


def _key(refractive_index: float, lobe: float) -> str:
    directions_used = f"{_FEW} {_FEW_UP_TO_G} {_MANY}"
    return f"many-flux {VERSION} n={refractive_index!r} lobe={lobe!r} {directions_used} {X_AXIS} {Y_AXIS} {G_AXIS}"


def is_ready(refractive_index: float) -> bool:
    """Whether the tables about an index were computed before; else the first look-up takes some seconds."""
    return all(is_cached(_key(*node)) for node in shapes(refractive_index))


def build(refractive_index: float, lobe: float = 0.0) -> dict[str, Array]:
    """Compute the table of one index and one lobe.

    `"<geometry> <seat>"` holds front, through, back, shape (3, g nodes, x nodes, y nodes), and `"passed"` the
    transmittance, shape (1, g nodes, x nodes, y nodes) [-].
    """

    def of_g(g: float) -> dict[str, Array]:
        at = directions(refractive_index, _FEW if g <= _FEW_UP_TO_G else _MANY)

        def answers(layers: Body) -> dict[str, Array]:
            slab = layers.slab(at)
            return {name: slab.terms(*name.split()) for name in _STORED} | {PASSED: slab.beam_passed[None, AT_8]}

        return at_nodes((X_AXIS, Y_AXIS), lambda x, y: body(x, y, at=at, g=g, lobe=lobe), answers)

    return for_each(G_AXIS.nodes, of_g, axis=1)
