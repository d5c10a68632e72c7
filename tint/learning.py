"""What castings would teach: the covariance of a palette, as it stands and as it would after pouring them.

All is linear algebra on blocks of unknowns that know nothing of each other. Where spectra are read, a block is the k
and s of one wavelength. Where only colours are, a reading ties all wavelengths together: there is one block, and its
unknowns are the modes of the palette's covariance, which hold nearly all of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tint import colorimetry, forward
from tint.appearance import Setting, render
from tint.materials import Blend
from tint.palette import Palette
from tint.spectra import Array, Index

AT_ONCE = 4_000_000  # numbers in memory together; a test has fewer
_LIGHTNESS = 116.0 / 3.0  # L* by the palette's model error, a share of reflectance^(2/3)


@dataclass(frozen=True, eq=False)
class Lesson:
    """What is known, what is aimed at, and what each casting offered would read."""

    covariance: Array  # shape (n_blocks, n_unknowns, n_unknowns)
    # shape (3 n_blends, n_blocks, n_unknowns): slopes of the colours aimed at, three rows a blend [CIEDE2000]
    aims: Array
    # shape (n_blocks, n_castings, n_readings, n_held): slopes of what would be read, in units of its noise, by the
    # unknowns that a casting tells of
    readings: Array
    # shape (n_castings, n_held): which unknowns those are: of many pigments a casting holds few
    held: Index


def lesson(
    palette: Palette, targets: Sequence[tuple[Blend, Setting]], offered: Sequence[tuple[Blend, float]]
) -> Lesson:
    """Set up what castings, each a blend and a thickness [mm], would teach of the blends aimed at."""
    aims = _slopes_of_aims(palette, targets)
    if palette.read_as == "spectra":
        covariance = _per_wavelength(palette)
        held = _held(palette, [blend for blend, _ in offered])
        each = [_spectra(palette, *casting)[..., own] for casting, own in zip(offered, held, strict=True)]
        return Lesson(covariance, aims, np.moveaxis(np.stack(each), 2, 0), held)
    in_modes = np.einsum("awp,rwp->ar", aims, palette.modes, optimize=True)[:, None]
    colours = np.stack([_colours(palette, *casting) for casting in offered])[None]
    n_modes = palette.modes.shape[0]
    held = np.tile(np.arange(n_modes), (len(offered), 1))
    return Lesson(np.eye(n_modes)[None], in_modes, colours, held)


def _held(palette: Palette, blends: Sequence[Blend]) -> Index:
    """The k, s, m and q of the components of each blend, shape (n_blends, n_held); of fewer components others too."""
    shares = np.stack([palette.shares(blend.base, palette.loadings(blend)) for blend in blends])
    count = int((shares != 0.0).sum(axis=1).max())
    components = np.argsort(shares == 0.0, axis=1, kind="stable")[:, :count]
    return np.concatenate([components + kind * shares.shape[1] for kind in range(4)], axis=1)


def _per_wavelength(palette: Palette) -> Array:
    """Covariance of k, s, m and q at each wavelength, shape (n_wavelengths, 4 n_components, 4 n_components)."""
    n = len(palette.k)
    lift = np.zeros((palette.wavelengths.size, 4 * n, 2 * n))
    each = np.arange(2 * n)
    lift[:, each, each] = 1.0
    for kind, by_s in enumerate(palette.by_s, start=2):
        lift[:, kind * n + each[:n], n + each[:n]] = by_s.T
    alone = lift @ palette.local @ np.swapaxes(lift, 1, 2)
    return np.asarray(alone + np.einsum("rwp,rwq->wpq", palette.modes, palette.modes))


def _slopes_of_aims(palette: Palette, targets: Sequence[tuple[Blend, Setting]]) -> Array:
    """Shape (3 n_blends, n_wavelengths, 4 n_components)."""
    rows = []
    for blend, setting in targets:
        share = palette.shares(blend.base, palette.loadings(blend))
        over = setting.behind(palette)
        seen = render(palette, share, base=blend.base, setting=setting, backings=(over,))
        lab, by_reading = colorimetry.lab_slopes(seen.reflectance[0], setting.viewing(palette))
        _, by_lab = colorimetry.difference_parts_slopes(lab, lab)
        outward = by_lab @ by_reading  # (3, n_wavelengths)
        gradient = np.concatenate([np.outer(slope, share) for slope in seen.slopes[0, :4]], axis=1)
        rows.append(outward[:, :, None] * gradient)
    return np.concatenate(rows)


def _seen(palette: Palette, blend: Blend, depth: float) -> tuple[Array, Array, Array, Array]:
    """Reflectances of a casting over the backings that swatches are read over, shape (n_backings, n_wavelengths).

    And their slopes: by unknowns, shape (n_backings, n_wavelengths, 4 n_components); by thickness; by all doses
    together, as a share of them.
    """
    share = palette.shares(blend.base, palette.loadings(blend))
    over = palette.pair or palette.read_over or ("none",)
    drawn = render(palette, share, base=blend.base, setting=Setting(thickness_mm=depth), backings=over)
    *by_mixed, by_d = np.moveaxis(drawn.slopes, 1, 0)
    by_theta = np.concatenate([slope[..., None] * share for slope in by_mixed], axis=-1)
    by_dose = sum(slope * each for slope, each in zip(by_mixed, forward.mix(palette.coefficients, share), strict=True))
    return drawn.reflectance, by_theta, by_d, by_dose


def _spectra(palette: Palette, blend: Blend, depth: float) -> Array:
    """Slopes of its spectra in units of their noise, shape (n_backings, n_wavelengths, 3 n_components)."""
    reflectance, by_theta, by_thickness, by_dose = _seen(palette, blend, depth)
    model_error = palette.model_error * np.maximum(reflectance, 0.0) ** (2.0 / 3.0)
    # Thickness and doses of the casting itself are not known either; what they blur is not learned.
    blur = (palette.instrument.thickness_error_mm * by_thickness) ** 2
    blur += (palette.instrument.dose_error_percent / 100.0 * by_dose) ** 2
    variance = palette.instrument.noise**2 + model_error**2 + blur
    return np.asarray(by_theta / np.sqrt(variance)[..., None])


def _colours(palette: Palette, blend: Blend, depth: float) -> Array:
    """Slopes of its colours in units of their noise, shape (3 n_backings, n_modes)."""
    reflectance, by_theta, by_thickness, by_dose = _seen(palette, blend, depth)
    instrument = palette.instrument
    light, observer = instrument.colours_for
    view = colorimetry.viewing(palette.wavelengths, light=light, observer=observer)
    _, by_share, by_reading = colorimetry.lab_share_slopes(reflectance, view)
    slopes = np.einsum("bcw,bwp,rwp->bcr", by_reading, by_theta, palette.modes, optimize=True)
    errors = (instrument.thickness_error_mm * by_thickness, instrument.dose_error_percent / 100.0 * by_dose)
    made = np.stack([np.einsum("bcw,bw->bc", by_reading, each).ravel() for each in errors], axis=-1)
    noise = instrument.noise**2 * by_share @ np.swapaxes(by_share, 1, 2)
    covariance = made @ made.T + (_LIGHTNESS * palette.model_error) ** 2 * np.eye(made.shape[0])
    for at, each in enumerate(noise):
        covariance[3 * at : 3 * at + 3, 3 * at : 3 * at + 3] += each
    return np.asarray(np.linalg.solve(np.linalg.cholesky(covariance), slopes.reshape(made.shape[0], -1)))


def error_of(known: Lesson) -> float:
    """Root mean square CIEDE2000 that the palette's own error makes of the blends aimed at [-]."""
    squared = np.einsum("awp,wpq,awq->", known.aims, known.covariance, known.aims, optimize=True)
    return float(np.sqrt(squared / (len(known.aims) / 3)))


def gains(known: Lesson) -> Array:
    """By how much each casting offered shrinks the sum of squared errors, shape (n_castings,)."""
    toward_all = np.einsum("awp,wpq->wqa", known.aims, known.covariance, optimize=True)
    size = known.covariance.shape[0] * known.held.shape[1] * toward_all.shape[2]
    step = max(AT_ONCE // size, 1)
    parts = [slice(first, first + step) for first in range(0, len(known.held), step)]
    return np.concatenate([_gains(known, toward_all, part) for part in parts])


def _gains(known: Lesson, toward_all: Array, part: slice) -> Array:
    """Of some castings; `toward_all` is what the covariance has of the aims, shape (n_blocks, n_unknowns, n_aims)."""
    held, readings = known.held[part], known.readings[:, part]
    toward = readings @ toward_all[:, held]
    own = known.covariance[:, held[:, :, None], held[:, None, :]]
    inner = readings @ own @ np.swapaxes(readings, -1, -2) + np.eye(readings.shape[2])
    return np.asarray(np.einsum("wnra,wnra->n", toward, np.linalg.solve(inner, toward)))


def after(known: Lesson, chosen: int) -> Lesson:
    """What is known once a casting has been poured and read."""
    slopes, held = known.readings[:, chosen], known.held[chosen]
    learned = known.covariance[:, :, held] @ np.swapaxes(slopes, 1, 2)
    inner = slopes @ learned[:, held] + np.eye(slopes.shape[1])
    return replace(known, covariance=known.covariance - learned @ np.linalg.solve(inner, np.swapaxes(learned, 1, 2)))
