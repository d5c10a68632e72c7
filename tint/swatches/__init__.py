"""The swatch folder: what a maker declares, casts and measures, read from plain files, faults told."""

from tint.swatches.folder import folder_digest, inspect_folder, read_declared, read_folder
from tint.swatches.records import (
    COLOURS,
    INPUT_FILES,
    NO_BACKING,
    PALETTE_FILE,
    PHOTOGRAPH,
    QUANTITIES,
    READINGS_FILE,
    SPECTRA,
    SWATCHES_FILE,
    Conditions,
    Reading,
    Swatch,
    SwatchFolder,
)

__all__ = [
    "COLOURS",
    "INPUT_FILES",
    "NO_BACKING",
    "PALETTE_FILE",
    "PHOTOGRAPH",
    "QUANTITIES",
    "READINGS_FILE",
    "SPECTRA",
    "SWATCHES_FILE",
    "Conditions",
    "Reading",
    "Swatch",
    "SwatchFolder",
    "folder_digest",
    "inspect_folder",
    "read_declared",
    "read_folder",
]
