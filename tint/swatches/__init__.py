"""The swatch folder: what a maker declares, casts and measures, read from plain files, faults told."""

from tint.swatches.folder import folder_digest, inspect_folder, read_folder, read_shelf
from tint.swatches.records import (
    INPUT_FILES,
    NO_BACKING,
    PALETTE_FILE,
    QUANTITIES,
    READINGS_FILE,
    SWATCHES_FILE,
    Reading,
    Swatch,
    SwatchFolder,
)

__all__ = [
    "INPUT_FILES",
    "NO_BACKING",
    "PALETTE_FILE",
    "QUANTITIES",
    "READINGS_FILE",
    "SWATCHES_FILE",
    "Reading",
    "Swatch",
    "SwatchFolder",
    "folder_digest",
    "inspect_folder",
    "read_folder",
    "read_shelf",
]
