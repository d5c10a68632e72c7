"""What an instrument's spot loses: light that leaves the layer beside it, as a change of the layer's three numbers.

An instrument lights a disc and sees a disc about the same middle. Light that enters a see-through layer leaves it some
way off; beyond the lit disc none comes in, and the reading is too low (edge loss: Atkins and Billmeyer 1966,
Materials Research and Standards 6, 564; from memory). A lit disc is a sum of ripples of light, and the layer answers
each ripple of q radians per mm by its own three numbers (`tint.optics.ripples`). Discs of radius a seen and b lit read

    integral of  (2 b / a) J1(q a) J1(q b) / q  R(q)  over q,

which is R for a layer that answers all ripples alike. Tables over x = K d, y = S d, g and q d are computed once for an
index, and kept in the cache; for given discs they become tables of what is lost over x, y, g and d / a.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError
from tint.files import cached_arrays, is_cached
from tint.optics.axes import Axis, Knots
from tint.optics.slab import directions
from tint.optics.table import Table, at_nodes, for_each, look_up, tabulate

Array = NDArray[np.float64]

VERSION = 3  # raise it when anything that shapes the stored numbers changes
# Nodes of the depths, the anisotropy and the ripples q d. What is lost bends less than what is read, so they lie
# farther apart than those of the layer itself; what that costs: tests/figures/spots.py.
X_AXIS = Axis(start=2.0**-8, octaves=13, per_octave=1)
Y_AXIS = Axis(start=2.0**-8, octaves=19, per_octave=1)
G_AXIS = Knots((0.0, 0.45, 0.75, 0.95))
Q_AXIS = Axis(start=2.0**-5, octaves=12, per_octave=2)
# What is looked up lies on the same nodes of the depths and on more of g, with parabolas in place of cubics: half the
# cost, and as near to what closer nodes give (within 4e-4 in 95 layers of 100).
_X_PIECES, _Y_PIECES = replace(X_AXIS, degree=2), replace(Y_AXIS, degree=2)
_G_PIECES = Knots((0.0, 0.3, 0.6, 0.8, 0.95), degree=2)
_NODES = 8  # directions in a hemisphere: only differences from the wide layer are kept
D_AXIS = Knots(tuple(np.arange(-4.0, 4.1, 0.5).tolist()), degree=2)  # of log2(d / a); constant beyond
_CARD = 0.9  # over a backing of 0 and of this what the spot loses is exact, between them within 1e-4


@dataclass(frozen=True, kw_only=True)
class Spot:
    """The discs of an instrument, about the same middle."""

    # diameters of what it sees and of what it lights, the second no smaller [mm]
    seen_mm: float
    lit_mm: float
    # of the loss computed for sharp discs of these sizes, how much there is, as far as it is known [-]
    share: float = 1.0

    def __post_init__(self) -> None:
        if not 0.0 < self.seen_mm <= self.lit_mm < np.inf:
            found = f"{self.seen_mm:g} mm seen and {self.lit_mm:g} mm lit"
            raise InputError("spot", found, "more than 0, and lit no smaller than seen")


def change(
    x: Array, y: Array, z: Array, thickness_mm: ArrayLike, *, refractive_index: float, name: str, spot: Spot
) -> tuple[Array, Array]:
    """What the spot changes in a layer's numbers, shape (n, ...), with slopes by x, y, z and thickness, (n, 4, ...).

    x, y and z are K d, S d and M d; the tables are those of the nearest index computed. `name` is `"<di:8 or 45:0>
    <air or wet>"` for front, through and back, n being 3, and `passed` for transmittance, n being 1.
    """
    from tint.optics.many_flux import middle_index

    table = _table(middle_index(refractive_index), round(spot.lit_mm / spot.seen_mm, 4), name)
    d = np.asarray(thickness_mm, dtype=float)
    place = np.clip(np.log2(d / (0.5 * spot.seen_mm)), D_AXIS.nodes[0], D_AXIS.nodes[-1])
    # Darker layers lose no more than that: to bring both depths back in proportion, as a table does, costs time.
    values, slopes = look_up(table, np.minimum(x, X_AXIS.end), y, z, np.broadcast_to(place, x.shape))
    slopes[:, 0] *= x <= X_AXIS.end
    within = (place > D_AXIS.nodes[0]) & (place < D_AXIS.nodes[-1])
    slopes[:, 3] *= np.where(within, 1.0 / (d * np.log(2.0)), 0.0)
    return values, slopes


@functools.lru_cache(maxsize=9)  # a table takes 20 MB
def _table(index: float, lit_over_seen: float, name: str) -> Table:
    """What the spot changes at every node of d / a, as one table."""
    from scipy.interpolate import make_interp_spline  # only needed where a table is laid out

    stored = cached_arrays(_key(index), lambda: build(index))[name]
    wide = stored[:, :1]
    each = [_through_the_spot(stored, ripple_weights(2.0**place, lit_over_seen)) for place in D_AXIS.nodes]
    lost = make_interp_spline(G_AXIS.nodes, np.stack(each, axis=1) - wide, k=3, axis=2)(_G_PIECES.nodes)
    return tabulate(lost, x=_X_PIECES, y=_Y_PIECES, knots=(_G_PIECES, D_AXIS))


def _through_the_spot(stored: Array, weights: Array) -> Array:
    """The three numbers, or the one, of the layer that the spot reads, shape (n, g, x, y).

    Over a backing the layer answers each ripple by ``front + through Rg / (1 - back Rg)``, and the sum over ripples is
    no longer of that form; front and through are those of the sum, and back such that it holds over a light card.
    """
    summed = np.tensordot(weights, stored, axes=(0, 1))
    if stored.shape[0] == 1:
        return summed
    _, through, back = stored
    over_card = np.tensordot(weights, through * _CARD / (1.0 - back * _CARD), axes=1)
    known = np.maximum(summed[1], 1e-6 * through[0])
    closed = (1.0 - _CARD * known / np.maximum(over_card, known * _CARD)) / _CARD
    hidden = through[0] < 1e-9
    return np.stack((summed[0], np.where(hidden, through[0], known), np.where(hidden, back[0], closed)))


def ripple_weights(depth: float, lit_over_seen: float) -> Array:
    """Share of each stored ripple in what the discs read, shape (ripples,), by thickness over the radius seen [-]."""
    from scipy.special import j1

    # u = q a; fine enough for the lit disc's own oscillation, and to where its share is below 1e-3.
    u = np.exp(np.linspace(np.log(1e-3 / lit_over_seen), np.log(300.0), 20_000 * int(np.ceil(lit_over_seen))))
    share = 2.0 * lit_over_seen * j1(u) * j1(u * lit_over_seen) * np.log(u[1] / u[0])  # dq / q is d log q
    phase = np.minimum(u * depth, Q_AXIS.end)
    cell, place, _ = Q_AXIS.locate(phase)
    by_power = np.stack([np.bincount(cell, share * place**power, minlength=Q_AXIS.cells) for power in range(4)])
    weights = np.tensordot(by_power, Q_AXIS.polynomials(), axes=2)
    weights[-1] += 1.0 - weights.sum()  # shorter ripples still
    return np.asarray(weights)


def _key(index: float) -> str:
    return f"spot {VERSION} n={index!r} {_NODES} {X_AXIS} {Y_AXIS} {G_AXIS} {Q_AXIS}"


def is_ready(refractive_index: float) -> bool:
    """Whether the tables about an index were computed before; else the first look-up takes some seconds."""
    from tint.optics.many_flux import middle_index

    return is_cached(_key(middle_index(refractive_index)))


def build(refractive_index: float) -> dict[str, Array]:
    """Compute what layers answer to ripples.

    `"<geometry> <seat>"` holds front, through, back, shape (3, ripples, g, x and y nodes), and `"passed"` the
    transmittance, shape (1, ripples, g, x and y nodes) [-].
    """
    from tint.optics.ripples import Rippled, rippled

    at = directions(refractive_index, _NODES)

    def of_g(g: float) -> dict[str, Array]:
        def start(q: Array, x: Array, y: Array) -> Rippled:
            return rippled(x, y, q, at=at, g=g)

        return at_nodes((Q_AXIS, X_AXIS, Y_AXIS), start, lambda layers: layers.answers(at))

    return for_each(G_AXIS.nodes, of_g, axis=2)
