"""A recipe and a batch become grams to weigh: premixes for small doses, cups, what the rounded doses look like."""

from tint.weighing.batch import Batch, mix_density
from tint.weighing.booking import Line
from tint.weighing.cautions import Care, cautions
from tint.weighing.cups import Cups, Split
from tint.weighing.premix import Letdown, Premix
from tint.weighing.rounding import Aim, Scale
from tint.weighing.sheet import WeighSheet, weigh, weigh_table

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
