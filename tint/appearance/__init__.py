"""The one forward model: a blend of a palette, cast and seen, becomes spectrum, colour and opacity."""

from tint.appearance.appearance import Appearance, Rendered, predict, render, transmittance
from tint.appearance.outside import how_read, outside
from tint.appearance.setting import Setting

__all__ = ["Appearance", "Rendered", "Setting", "how_read", "outside", "predict", "render", "transmittance"]
