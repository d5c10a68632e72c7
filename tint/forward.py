"""The one forward model: castings of known coefficients become readings, with slopes.

A component has four coefficients a wavelength: absorption k, scattering s, all scattering m = s / (1 - g), of which s
is the part that turns light round, and q, which is m times the second Legendre moment of its phase function. All mix by
the same law, ``K = sum c_i k_i`` and so on, as phase functions do, each by how much it scatters: a mixture has the
anisotropy ``g = 1 - S / M`` and the second moment ``Q / M``. `layer` says what such a layer reads; this module says it
for many readings at once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tint.optics import layer
from tint.optics.layer import Optics
from tint.optics.surface import Faces

Array = NDArray[np.float64]
Index = NDArray[np.int64]

REGULAR, TRANSMITTANCE, FREE = -3, -2, -1  # in place of a backing's number
_STEP = 1e-4  # of the index, for the slope of a closed form
SHAPES = 2  # what readings depend on beside coefficients and thickness: the index, the spot


@dataclass(frozen=True, eq=False)
class Readings:
    """What was read, and on what: one row a reading."""

    casting: Index  # what each reading is of; shape (n_readings,)
    # what lay behind; FREE where there was none, TRANSMITTANCE or REGULAR for what came through; shape (n_readings,)
    backing: Index
    wet: NDArray[np.bool_]  # whether the casting was seated wet; shape (n_readings,)
    base: Index  # whose faces each reading was taken through; shape (n_readings,)
    backings: Array  # [-], shape (n_backings, n_wavelengths)
    # which readings were taken of faces that are not smooth, finish by finish
    faces: tuple[tuple[Index, Faces], ...] = ()


@dataclass(frozen=True, eq=False)
class Predicted:
    """Readings and their slopes."""

    values: Array  # [-], shape (n_readings, n_wavelengths)
    slopes: Array  # by K, S, M, Q and thickness; shape (5, n_readings, n_wavelengths)
    # by the refractive index of the base and by the share of the spot's loss; 0 where they are taken as known; shape
    # (SHAPES, n_readings, n_wavelengths)
    by_shape: Array


def mix(coefficients: Array, shares: Array) -> Array:
    """K, S, M and Q of blends, shape (4, ..., n_wavelengths).

    Parameters
    ----------
    coefficients : ndarray, shape (4, n_components, n_wavelengths)
        k, s, m and q.
    shares : ndarray, shape (..., n_components)
        The mixing law's c.
    """
    return np.stack([shares @ each for each in coefficients])


def anisotropy(coefficients: Array) -> Array:
    """The mean cosine of scattering, from K, S, M and Q along the first axis; 0 where nothing scatters."""
    s, m = coefficients[1:3]
    return np.asarray(np.where(m > 0.0, 1.0 - s / np.where(m > 0.0, m, 1.0), 0.0))


def read(
    readings: Readings,
    mixed: Array,
    thickness: Array,
    *,
    optics: tuple[Optics, ...],
    index: Array | None = None,
    spot_share: float = 1.0,
) -> Predicted:
    """What every reading shows.

    Parameters
    ----------
    mixed : ndarray, shape (4, n_castings, n_wavelengths)
        K, S, M and Q of every casting [1/mm].
    thickness : ndarray, shape (n_castings,)
        [mm]
    optics : tuple of Optics
        One a base.
    index : ndarray, shape (n_bases,), optional
        Refractive indices in place of those of `optics`, with slopes by them (many-flux only) [-].
    spot_share : float
        Of the loss of the spot of `optics`, beside `index` [-].
    """
    shape = (readings.casting.size, mixed.shape[-1])
    result = Predicted(np.empty(shape), np.empty((5, *shape)), np.zeros((SHAPES, *shape)))
    kind = np.where(readings.backing < 0, readings.backing, readings.wet.astype(np.int64))
    for number, rubber in enumerate(optics):
        for each in np.unique(kind[readings.base == number]):
            rows = np.flatnonzero((readings.base == number) & (kind == each))
            at = readings.casting[rows]
            behind = readings.backings[readings.backing[rows]] if each >= 0 else None
            if index is None or rubber.model == "two-flux":
                value, slope = _layer(mixed[:, at], thickness[at, None], int(each), behind, rubber)
            else:
                now = (float(index[number]), spot_share)
                value, slope, by_shape = _near_index(mixed, thickness, at, int(each), behind, rubber, now)
                result.by_shape[:, rows] = by_shape
            result.values[rows], result.slopes[:, rows] = value, slope
    for rows, faces in readings.faces:
        _roughen(result, readings, rows, faces, optics, index)
    return result


def _roughen(
    result: Predicted, readings: Readings, rows: Index, faces: Faces, optics: tuple[Optics, ...], index: Array | None
) -> None:
    """Put faces in the place of smooth ones in what some readings show; they are those of the index that is stated."""
    beams, seen = (rows[readings.backing[rows] == REGULAR], rows[readings.backing[rows] > TRANSMITTANCE])
    for each in (result.values, result.slopes, result.by_shape):
        each[..., beams, :] *= faces.kept
    stated = np.array([rubber.refractive_index for rubber in optics])
    off = np.zeros(stated.size) if index is None else index - stated
    result.values[seen] += faces.added + off[readings.base[seen], None] * faces.by_index
    if index is not None:
        result.by_shape[0, seen] += faces.by_index


def _layer(mixed: Array, d: Array, kind: int, behind: Array | None, optics: Optics) -> tuple[Array, Array]:
    if kind == TRANSMITTANCE:
        return layer.transmittance_slopes(*mixed, thickness=d, optics=optics)
    if kind == REGULAR:
        return layer.regular_slopes(*mixed, thickness=d, optics=optics)
    seat = "wet" if kind == 1 else "air"
    return layer.reflectance_slopes(*mixed, thickness=d, backing=behind, seat=seat, optics=optics)


def _near_index(
    mixed: Array, thickness: Array, at: Index, kind: int, behind: Array | None, optics: Optics,
    shape: tuple[float, float],
) -> tuple[Array, Array, Array]:  # fmt: skip
    """As `_layer` for an index and a share of the loss that change from call to call, with slopes by them.

    Each casting (`at` says which one a reading is of) is looked up once, over however many backings it was read.
    """
    from tint.optics.many_flux import near_index  # its tables are for those who use them

    index, spot_share = shape
    if kind == REGULAR:
        return _regular_near(mixed[:, at], thickness[at, None], optics, index)
    seat = None if kind == TRANSMITTANCE else "wet" if kind == 1 else "air"
    once, again = np.unique(at, return_inverse=True)
    d = thickness[once, None]
    depths = tuple(mixed[:, once] * d)
    values, slopes, by_index = near_index(
        *depths,
        stated_index=optics.refractive_index,
        refractive_index=index,
        geometry=optics.geometry,
        seat=seat,
    )
    by_shape = np.stack((by_index, np.zeros_like(by_index)))
    if optics.spot is not None:
        # What the spot loses is taken at the index that is stated: an index off by 0.01 changes it by a hundredth.
        optics = replace(optics, spot=replace(optics.spot, share=spot_share))
        wide = values
        values, slopes = layer.through_spot(wide, slopes, depths, d, optics=optics, seat=seat)
        by_shape[1] = (values - wide) / spot_share
    values, slopes, by_shape = (each[..., again, :] for each in (values, slopes, by_shape))
    mixed, d = mixed[:, at], d[again]
    if kind == TRANSMITTANCE:
        return values[0], layer.by_coefficients(slopes[0], mixed, d), by_shape[:, 0]
    read, by_depth = layer.over_backing(values, slopes, behind)
    return (
        read,
        layer.by_coefficients(by_depth, mixed, d),
        layer.over_backing(values, np.moveaxis(by_shape, 0, 1), behind)[1],
    )


def _regular_near(mixed: Array, d: Array, optics: Optics, index: float) -> tuple[Array, Array, Array]:
    """Regular transmittance, its slopes, and its slope by the index: a spot takes nothing from a beam."""
    here, above, below = (
        layer.regular_slopes(*mixed, thickness=d, optics=replace(optics, refractive_index=index + step))
        for step in (0.0, _STEP, -_STEP)
    )
    by_shape = np.zeros((SHAPES, *here[0].shape))
    by_shape[0] = (above[0] - below[0]) / (2.0 * _STEP)
    return *here, by_shape
