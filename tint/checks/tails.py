"""What single castings do that no layer can: a rising tail of emitted light."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from tint.checks.finding import Finding, Index, Mask, limit, noise
from tint.palette import Palette
from tint.spectra import Array
from tint.swatches import Swatch, SwatchFolder

_MODEL_SLACK = 1.5  # what the layer model misses runs on from wavelength to wavelength, as no noise does
_RUN = 3  # neighbouring wavelengths that make a tail
_CLEAR = 0.05  # of a pigment's largest absorption: below it, it takes nothing away that could come back elsewhere


def standard(palette: Palette) -> Array:
    """Residual of every reading over its noise and the fit's misfit, shape (n_readings, n_wavelengths) [-]."""
    evidence = palette.evidence
    misfit = palette.misfit * np.maximum(evidence.fitted, 0.0) ** (2.0 / 3.0)
    return np.asarray((evidence.read - evidence.fitted) / np.hypot(noise(palette.instrument), misfit))


def of_tails(folder: SwatchFolder, palette: Palette) -> Iterator[Finding]:
    """Pigments whose castings send back more light than the fit can, where the pigment absorbs nothing to speak of.

    Absorption cannot be less than none: light beyond what a clear pigment scatters is left over as a residual.
    """
    z = standard(palette)
    far = _MODEL_SLACK * limit(len(palette.pigments) * folder.wavelengths.size)
    n_bases = len(palette.bases)
    by_name = {swatch.name: swatch for swatch in folder.swatches}
    for number, name in enumerate(palette.pigments):
        k = palette.k[n_bases + number]
        rows = _alone(palette, by_name, name)
        if rows.size < 2:
            continue
        # The median, so that one casting out of line does not speak for its pigment; it errs by sqrt(pi / 2) more.
        size = np.median(z[rows], axis=0) * (rows.size * 2.0 / np.pi) ** 0.5
        at = _longest_run((size > far) & (k < _CLEAR * k.max()))
        if at.size < _RUN:
            continue
        excess = float(np.mean((palette.evidence.read - palette.evidence.fitted)[np.ix_(rows, at)]))
        yield Finding(
            kind="fluorescence",
            about=(name,),
            where=f"{name}, {folder.wavelengths[at[0]]:g} to {folder.wavelengths[at[-1]]:g} nm",
            words=f"its {rows.size} readings send back {excess:+.4f} more than any layer without absorption fits, "
            f"{size[at].max():.0f} standard deviations",
            effect="if it fluoresces, its blends will be wrong, most under other lights",
            mend="hold it under an ultraviolet lamp; if it glows, leave it out of the folder, else calibrate anew",
        )


def _alone(palette: Palette, swatches: dict[str, Swatch], pigment: str) -> Index:
    """Reflectance readings of the castings that hold this pigment and no other."""
    holds = np.array([list(swatches[each.name].loadings) == [pigment] for each in palette.swatches])
    return np.flatnonzero(holds[palette.evidence.swatch] & (palette.evidence.backing >= -1))


def _longest_run(chosen: Mask) -> Index:
    at = np.flatnonzero(chosen)
    if not at.size:
        return at
    return max(np.split(at, np.flatnonzero(np.diff(at) > 1) + 1), key=len)
