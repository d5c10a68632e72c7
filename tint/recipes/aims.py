"""What is asked of a recipe, as arrays.

An aim is a casting of one thickness and seat, looked at: its colour over a backing, its contrast ratio, the light it
lets through.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace

import numpy as np

from tint.appearance import Setting
from tint.colorimetry import Viewing
from tint.opacity import FAIR, KINDS, at_depth, depth
from tint.optics.layer import Optics
from tint.palette import Palette
from tint.spectra import Array
from tint.target import Target

# The miss in contrast ratio or transmittance that weighs as one CIEDE2000 when it must be met; as a fair trade `FAIR`.
STRICT = 0.002
# Pull towards less pigment, in CIEDE2000 at the largest loadings: it decides only where colour leaves a choice.
_THRIFT = 0.01
# An opacity is sought this far inside its bounds: a search leaves something undone where the colour pulls [-].
GUARD = 0.0005


@dataclass(frozen=True, eq=False)
class Casting:
    """Walls of one seat of which the same is asked, and what."""

    walls_mm: tuple[float, ...]  # computed together [mm]
    seat: str
    # reflectance behind, shape (n_wavelengths,), or None for nothing; the colour wanted, shape (3,) or (n_rows, 3)
    colours: tuple[tuple[Array | None, Array], ...]
    asked: frozenset[str] = frozenset()  # which of `opacity.KINDS`

    @property
    def shown(self) -> int:
        """How many colours are asked for in all."""
        return len(self.walls_mm) * len(self.colours)


@dataclass(frozen=True, eq=False)
class Problem:
    """A target on one base, as arrays."""

    target: Target
    castings: tuple[Casting, ...]
    optics: Optics
    view: Viewing
    wavelengths: Array
    bare: Array  # shape (3, n_wavelengths): k, s and m of the base [1/mm]
    # shape (3, n_pigments + 1, n_wavelengths): what a percent of each pigment adds, less the base that it displaces;
    # last, an empty slot [1/mm per %]
    gain: Array
    # black, white: shape (n_wavelengths,): the pair that contrast ratios are read over [-]
    black: Array
    white: Array
    largest: Array  # shape (n_pigments + 1,): largest loadings; 0 for the empty slot [%]
    opacity_scale: float = FAIR  # the miss in contrast ratio or transmittance that counts as one CIEDE2000 [-]
    # pull towards less pigment, of all or shape (n_rows,): at the largest loadings, or with `worth` of all [CIEDE2000]
    thrift: float | Array = _THRIFT
    # shape (n_pigments + 1,): what a percent of each is worth sparing. The pull is then by the sum of all, not by
    # each one's own square: it spares what is worth most, and ends pigments that do nothing.
    worth: Array | None = None
    # shape (n_rows, 3): by what share of its optical depth each row is to stay off the bounds of `opacity.KINDS` [-]
    room: Array | None = None

    # What every step of a search asks for, worked out once.

    @functools.cached_property
    def within(self) -> dict[str, tuple[Array, Array]]:
        """Least and most of each of `opacity.KINDS` that is sought, with its room, each of shape (n_rows,) or ()."""
        room = np.zeros(len(KINDS)) if self.room is None else self.room
        kinds = [(kind, room[..., at]) for at, kind in enumerate(KINDS) if self.target.asks(kind)]
        return {kind: drawn_in(self.target, kind, own) for kind, own in kinds}

    @functools.cached_property
    def gain_xyz(self) -> Array:
        """`gain` weighted as X, Y and Z, shape (4 n_wavelengths, 3 (n_pigments + 1))."""
        return self._weighted(self.view.weights)

    @functools.cached_property
    def gain_y(self) -> Array:
        """`gain` weighted as Y, shape (4 n_wavelengths, n_pigments + 1)."""
        return self._weighted(self.view.weights[:, 1:2])

    def _weighted(self, weights: Array) -> Array:
        gain = self.gain.transpose(0, 2, 1)[:, :, None, :]
        return (gain * weights[:, :, None]).reshape(gain.shape[0] * gain.shape[1], -1)


def lay_out(
    palette: Palette, target: Target, *, setting: Setting, base: str, largest: Array, walls_mm: tuple[float, ...] = ()
) -> Problem:
    """A target on one base as arrays; `walls_mm` are further thicknesses of the same part [mm]."""
    over = setting.behind(palette)
    nothing = np.zeros(palette.wavelengths.size)
    pair = bool(palette.pair)
    walls = (setting.thickness_mm, *walls_mm)
    seen = ((palette.backing(over), target.lab),)
    told = frozenset(kind for kind in KINDS if target.asks(kind) and (pair or kind != "contrast_ratio"))
    asked = [Casting((wall,), setting.seat, seen, told) for wall in walls]
    if target.thickness_mm is not None:  # the colour is that of the sample, the opacity that of the part
        asked = [replace(each, colours=()) for each in asked]
        asked.append(Casting((target.thickness_mm,), setting.seat, seen))
    for look in target.also:
        wall, seat = look.thickness_mm or target.thickness_mm or setting.thickness_mm, look.seat or setting.seat
        asked.append(Casting((wall,), seat, ((palette.backing(look.over or over), look.lab),)))
    return Problem(
        target=target,
        castings=_together(asked),
        optics=palette.optics(base, geometry=setting.geometry or None, finish=setting.finish),
        view=setting.viewing(palette),
        wavelengths=palette.wavelengths,
        bare=palette.coefficients[:, list(palette.bases).index(base)],
        # The empty slot is a pigment that adds nothing, so that small and large sets share one array.
        gain=np.pad(palette.gains(base), ((0, 0), (0, 1), (0, 0))),
        black=palette.backings[palette.black] if pair else nothing,
        white=palette.backings[palette.white] if pair else nothing,
        largest=np.append(largest, 0.0),
    )


def _together(castings: list[Casting]) -> tuple[Casting, ...]:
    """What is asked of one thickness and seat joined, then walls of which the same is asked."""
    joined: dict[tuple[float, str], Casting] = {}
    for each in castings:
        key = (each.walls_mm[0], each.seat)
        first = joined.get(key, replace(each, colours=()))
        joined[key] = replace(first, colours=first.colours + each.colours, asked=first.asked | each.asked)
    alike: dict[tuple[object, ...], Casting] = {}
    for each in joined.values():
        own = (each.seat, tuple((id(backing), lab.tobytes()) for backing, lab in each.colours), each.asked)
        alike[own] = replace(each, walls_mm=alike[own].walls_mm + each.walls_mm) if own in alike else each
    return tuple(alike.values())


def drawn_in(target: Target, kind: str, room: Array) -> tuple[Array, Array]:
    """The least and the most of one of `KINDS`, drawn in by shares of the optical depth, shape (...); else infinite."""
    _, least, most = target.bounds(kind)
    # More of it is more depth, of a transmittance less.
    low, high = np.full_like(room, -np.inf), np.full_like(room, np.inf)
    up = 1.0 + room if kind != "transmittance" else 1.0 / (1.0 + room)
    if least is not None:
        low = np.maximum(at_depth(kind, up * depth(kind, least)), least + GUARD)
    if most is not None:
        high = np.minimum(at_depth(kind, depth(kind, most) / up), most - GUARD)
    crossed = low > high
    middle = np.where(crossed, 0.5 * (np.where(crossed, low, 0.0) + np.where(crossed, high, 0.0)), 0.0)
    return np.where(crossed, middle, low), np.where(crossed, middle, high)
