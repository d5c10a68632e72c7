"""A folder of colours as if of spectra of three values: X, Y and Z, each as a share of those of a perfect white.

Each is a weighted mean of the reflectances, so that what holds for a reflectance at every wavelength holds for them: no
layer reads lower over a lighter backing, below its own face, or above 1. The repeatability of a colorimeter is stated
in them too.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tint import colorimetry
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
