"""A folder of colours as if of spectra of three values: X, Y and Z, each as a share of those of a perfect white.

Each is a weighted mean of the reflectances, so that what holds for a reflectance at every wavelength holds for them: no
layer reads lower over a lighter backing, below its own face, or above 1. The repeatability of a colorimeter is stated
in them too.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from tint import colorimetry
from tint.checks.finding import Finding, limit
from tint.checks.ground import without
from tint.fitting import fit_palette
from tint.palette import Palette
from tint.spectra import Array
from tint.swatches import COLOURS, Reading, SwatchFolder

_NAMES = ("X", "Y", "Z")


def as_shares(folder: SwatchFolder) -> SwatchFolder:
    """The folder with its colours as shares of X, Y, Z; one of spectra as it is."""
    if folder.kind != COLOURS:
        return folder
    return replace(
        folder,
        readings=tuple(map(_shares_of, folder.readings)),
        backings={name: _shares(values) for name, values in folder.backings.items()},
        bare={name: tuple(map(_shares_of, read)) for name, read in folder.bare.items()},
    )


def values_of(folder: SwatchFolder) -> int:
    """How many values a reading has."""
    return len(_NAMES) if folder.kind == COLOURS else folder.wavelengths.size


def place(folder: SwatchFolder, at: int) -> str:
    """`540 nm`, or `Y` of a colour."""
    return _NAMES[at] if folder.kind == COLOURS else f"{folder.wavelengths[at]:g} nm"


def lab_of(folder: SwatchFolder, values: Array) -> Array:
    """CIELAB of spectra (D65, 10 degrees), or of shares in the light and for the observer of the folder."""
    if folder.kind == COLOURS:
        return colorimetry.xyz_to_lab(values, np.ones(len(_NAMES)))
    return colorimetry.lab(np.maximum(values, 0.0), colorimetry.viewing(folder.wavelengths))


def _shares_of(reading: Reading) -> Reading:
    return replace(reading, values=_shares(reading.values))


def _shares(lab: Array) -> Array:
    return colorimetry.lab_to_xyz(lab, np.ones(len(_NAMES)))


# Castings read as colours that all others contradict.


_MOST = 6  # swatches named before the folder as a whole is in question
_FEWEST = 4  # swatches, below which it is not seen which is wrong


def of_colour_lines(folder: SwatchFolder, palette: Palette) -> Iterator[Finding]:
    """Swatches out of line, worst first; each leaves the fit before the next is looked for."""
    for _ in range(_MOST):
        judged = _judged(palette)
        if len(judged) < _FEWEST:
            return
        name = max(judged, key=lambda each: judged[each][0])
        size, missed = judged[name]
        # Where the whole folder misses by more than its stated errors allow, no single swatch is to blame.
        typical = max(1.0, float(np.median([each for each, _ in judged.values()])))
        if size <= limit(len(judged)) * typical:
            return
        yield _told(name, size, missed)
        folder = without(folder, [name])
        palette = fit_palette(folder, optics=palette.model)


def _judged(palette: Palette) -> dict[str, tuple[float, float]]:
    """Of every swatch the miss when left out: in what the stated errors allow, and in CIEDE2000; root mean squares."""
    evidence, result = palette.evidence, {}
    for at, swatch in enumerate(palette.swatches):
        own = evidence.swatch == at
        missed, expected = float(np.mean(evidence.missed[own])), float(np.mean(evidence.expected[own]))
        result[swatch.name] = ((missed / expected) ** 0.5, missed**0.5)
    return result


def _told(name: str, size: float, missed: float) -> Finding:
    return Finding(
        kind="out_of_line",
        where=name,
        about=(name,),
        words=f"the other castings foretell {missed:.2f} CIEDE2000 off, {size:.1f} times what the stated errors allow",
        effect="kept, it pulls what it holds towards itself, and all errors are stated larger",
        mend="see whether its label, blend, dose, thickness or readings were mixed up; else pour it again",
    )
