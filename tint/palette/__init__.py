"""The fitted palette: what each base and pigment adds to absorption and scattering, and how well that is known."""

from tint.palette.boldness import INSIDE, LOADING, PAIR, RUBBER, THICKNESS, bold, widening
from tint.palette.evidence import Circumstances, Evidence, Seen, Surprise, SwatchFit
from tint.palette.file import FORMAT, fit_path, read_palette, write_palette
from tint.palette.modes import compress
from tint.palette.palette import ONE_WAY, Palette, shares

__all__ = [
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
    "bold",
    "compress",
    "fit_path",
    "read_palette",
    "shares",
    "widening",
    "write_palette",
]
