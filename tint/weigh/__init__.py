"""A recipe and a batch become grams to weigh: premixes for small doses, cups, what the rounded doses look like."""

from tint.weigh.batch import Batch, mix_density
from tint.weigh.booking import Line
from tint.weigh.care import Care
from tint.weigh.cautions import cautions
from tint.weigh.cups import Cups, Split
from tint.weigh.premix import Letdown, Premix
from tint.weigh.rounding import Aim
from tint.weigh.scale import Scale
from tint.weigh.sheet import WeighSheet, weigh
from tint.weigh.table import weigh_table

__all__ = [
    "Aim",
    "Batch",
    "Care",
    "Cups",
    "Letdown",
    "Line",
    "Premix",
    "Scale",
    "Split",
    "WeighSheet",
    "cautions",
    "mix_density",
    "weigh",
    "weigh_table",
]
