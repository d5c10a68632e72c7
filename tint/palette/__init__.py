"""The fitted palette: what each base and pigment adds to absorption and scattering, and how well that is known."""

from tint.palette.evidence import (
    INSIDE,
    LOADING,
    PAIR,
    RUBBER,
    THICKNESS,
    Circumstances,
    Evidence,
    Seen,
    Surprise,
    SwatchFit,
    beyond,
    bold,
    of_pigment,
    widening,
)
from tint.palette.file import BROKEN, FORMAT, compress, fit_path, read_palette, write_palette
from tint.palette.palette import ONE_WAY, Palette, shares, spot_of

__all__ = [
    "BROKEN",
    "FORMAT",
    "INSIDE",
    "LOADING",
    "ONE_WAY",
    "PAIR",
    "RUBBER",
    "THICKNESS",
    "Circumstances",
    "Evidence",
    "Palette",
    "Seen",
    "Surprise",
    "SwatchFit",
    "beyond",
    "bold",
    "compress",
    "fit_path",
    "of_pigment",
    "read_palette",
    "shares",
    "spot_of",
    "widening",
    "write_palette",
]
