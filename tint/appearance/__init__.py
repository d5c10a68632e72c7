"""The one forward model: a blend of a palette, cast and seen, becomes spectrum, colour and opacity."""

from tint.appearance.appearance import (
    Appearance,
    Rendered,
    clarity_in_words,
    lost_beside,
    predict,
    render,
    transmittance,
)
from tint.appearance.setting import Setting, how_read, outside

__all__ = [
    "Appearance",
    "Rendered",
    "Setting",
    "clarity_in_words",
    "how_read",
    "lost_beside",
    "outside",
    "predict",
    "render",
    "transmittance",
]
