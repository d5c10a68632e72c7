"""Pigments that are named but were never cast: no reading tells of them, so they take no part in the fit.

They are independent of all else, as readings and priors have it, and so what was cast is found the same without them,
in far less time. The palette has them by their priors alone.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tint.fitting import priors
from tint.palette import Palette
from tint.spectra import Array
from tint.swatches import SwatchFolder


def of_cast(folder: SwatchFolder) -> SwatchFolder:
    """The folder without the pigments of which no casting was read."""
    read = {reading.swatch for reading in folder.readings}
    cast = {name for each in folder.swatches if each.name in read for name, dose in each.loadings.items() if dose > 0.0}
    return replace(folder, pigments={name: each for name, each in folder.pigments.items() if name in cast})


def with_uncast(palette: Palette, folder: SwatchFolder, *, g: float | None = None) -> Palette:
    """The palette of what was cast, with the other pigments of the folder; `g` as of `tint.fitting.fit_palette`."""
    uncast = [name for name in folder.pigments if name not in palette.pigments]
    if not uncast:
        return palette
    wide, n_bases, n = palette.wavelengths.size, len(folder.bases), len(folder.bases) + len(folder.pigments)
    own = [at for at, name in enumerate(folder.pigments, start=n_bases) if name in palette.pigments]
    at = np.array([*range(n_bases), *own])
    prior = priors.anisotropy_prior(folder.bases.values(), folder.pigments.values(), palette.wavelengths, g=g)
    scores = np.zeros((n, priors.BENDS))
    likely, slopes = prior.g(scores)

    def beside(values: Array, otherwise: Array) -> Array:
        """Values of what was cast, its components first, among those of all."""
        whole = otherwise.copy()
        whole[at] = values
        return whole

    pairs = np.concatenate((at, at + n))
    local = np.tile(np.eye(2 * n) * priors.UNKNOWN_SD**2, (wide, 1, 1))
    local[:, pairs[:, None], pairs] = palette.local
    modes = np.zeros((len(palette.modes), wide, 4 * n))
    modes[..., np.concatenate([at + kind * n for kind in range(4)])] = palette.modes
    nothing = (f"pigment {name}: no swatch of it was read, so nothing is known of it" for name in uncast)
    return replace(
        palette,
        pigments=dict(folder.pigments),
        k=beside(palette.k, np.zeros((n, wide))),
        s=beside(palette.s, np.full((n, wide), priors.UNKNOWN_S)),
        g=beside(palette.g, likely),
        g_error=beside(palette.g_error, prior.middle_slope(scores)),
        second_moment=beside(palette.second_moment, prior.second(scores, likely, slopes)[0]),
        local=local,
        modes=modes,
        undetermined=(*nothing, *palette.undetermined),
    )
