"""The fitted palette: what each base and pigment adds to absorption and scattering, and how well that is known."""

from tint.palette.evidence import Circumstances, Evidence, Seen, SwatchFit
from tint.palette.file import FORMAT, fit_path, read_palette, write_palette
from tint.palette.palette import ONE_WAY, Palette, shares

__all__ = [
    "FORMAT",
    "ONE_WAY",
    "Circumstances",
    "Evidence",
    "Palette",
    "Seen",
    "SwatchFit",
    "fit_path",
    "read_palette",
    "shares",
    "write_palette",
]
