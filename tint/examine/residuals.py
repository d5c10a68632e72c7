"""What single readings do that no casting can: a jump at one wavelength, a rising tail of emitted light."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tint.examine.finding import Finding, Index, Mask, limit, noise
from tint.examine.left_out import Foretold, foretell
from tint.palette import Palette
from tint.spectra import Array
from tint.swatches import Swatch, SwatchFolder

_MODEL_SLACK = 1.5  # what the layer model misses runs on from wavelength to wavelength, as no noise does
_STANDS_OUT = 6.0  # times the reading's own median: one that is off everywhere has another fault
_SIDE = 3  # wavelengths on either side of a step
_RUN = 3  # neighbouring wavelengths that make a tail
_CLEAR = 0.05  # of a pigment's largest absorption: below it, it takes nothing away that could come back elsewhere


def standard(palette: Palette) -> Array:
    """Residual of every reading over its noise and the fit's misfit, shape (n_readings, n_wavelengths) [-]."""
    evidence = palette.evidence
    misfit = palette.misfit * np.maximum(evidence.fitted, 0.0) ** (2.0 / 3.0)
    return np.asarray((evidence.read - evidence.fitted) / np.hypot(noise(palette.instrument), misfit))


def _contrasts(n_wavelengths: int) -> dict[str, Array]:
    """What makes a jump of a spectrum: a value less its neighbours' mean, three values less the three before.

    Each of shape (n_places, n_wavelengths).
    """
    peaks = np.zeros((n_wavelengths - 2, n_wavelengths))
    steps = np.zeros((n_wavelengths - 2 * _SIDE + 1, n_wavelengths))
    for at, row in enumerate(peaks):
        row[at : at + 3] = (-0.5, 1.0, -0.5)
    for at, row in enumerate(steps):
        row[at : at + 2 * _SIDE] = np.repeat((-1.0 / _SIDE, 1.0 / _SIDE), _SIDE)
    return {"peak": peaks, "step": steps}


_FIRST = {"peak": 1, "step": _SIDE}  # the wavelength that the first place of each is about


@dataclass(frozen=True)
class _Jump:
    """A reading's row in the palette's evidence, the wavelength's number, what it looks like, and how large it is."""

    row: int
    at: int
    word: str
    height: float
    size: float


def of_jumps(folder: SwatchFolder, palette: Palette) -> Iterator[Finding]:
    """Readings that jump between neighbouring wavelengths where the swatch's other readings do not."""
    n_wavelengths = folder.wavelengths.size
    if n_wavelengths < 3 * _SIDE:
        return
    contrasts = _contrasts(n_wavelengths)
    far = _MODEL_SLACK * limit(2 * palette.evidence.read.size)
    rows = _rows(folder)
    for swatch in foretell(folder, palette):
        found = [each for word, by in contrasts.items() for each in _jumps(swatch, word, by, far)]
        largest = {each.row: each for each in sorted(found, key=lambda each: each.size)}
        for each in largest.values():
            grid = folder.wavelengths
            place = f"{grid[each.at]:g} nm" if each.word == "peak" else f"{grid[each.at - 1]:g} to {grid[each.at]:g} nm"
            yield Finding(
                kind="jump",
                where=f"{folder.swatches[swatch.at].name}, {place}",
                about=(folder.swatches[swatch.at].name,),
                words=f"row {rows[each.row]} shows a {each.word} of {each.height:+.4f} against its neighbours there, "
                f"{each.size:.0f} standard deviations from what the other castings foretell",
                effect="absorption and scattering of what it holds are pulled off at these wavelengths",
                mend="see the cell for a slip of the pen, else read the casting again",
            )


def _jumps(swatch: Foretold, word: str, by: Array, far: float) -> Iterator[_Jump]:
    """Jumps of one kind: beyond the errors, alone in the reading, and larger than those of the other readings."""
    n_readings, n_wavelengths = swatch.missed.shape
    blocks = swatch.covariance.reshape(n_readings, n_wavelengths, n_readings, n_wavelengths)
    own = blocks[np.arange(n_readings), :, np.arange(n_readings)]
    height = swatch.missed @ by.T
    size = np.abs(height) / np.sqrt(np.einsum("pw,awv,pv->ap", by, own, by, optimize=True))
    for number in range(n_readings):
        at = int(np.argmax(size[number]))
        rest = np.delete(size[number], slice(max(at - _SIDE, 0), at + _SIDE + 1))
        others = np.delete(size, number, axis=0)[:, at]
        alone = not others.size or size[number, at] > 2.0 * others.max()
        if size[number, at] > far and alone and size[number, at] > _STANDS_OUT * np.median(rest):
            yield _Jump(
                row=int(swatch.rows[number]),
                at=at + _FIRST[word],
                word=word,
                height=float(height[number, at]),
                size=float(size[number, at]),
            )


def _rows(folder: SwatchFolder) -> list[int]:
    """Rows of readings.csv in the palette's order: swatch after swatch."""
    number = {swatch.name: at for at, swatch in enumerate(folder.swatches)}
    return [each.row for each in sorted(folder.readings, key=lambda reading: number[reading.swatch])]


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
