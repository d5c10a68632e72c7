"""A recipe and a batch become grams to weigh: premixes for small doses, cups, what the rounded doses look like."""

from tint.weighing.batch import Batch, Cups, Split, mix_density
from tint.weighing.booking import Line, cautions, of_cure
from tint.weighing.castings import AREA_CM2, CastingSheet, Cup, weigh_castings
from tint.weighing.premix import Kept, Letdown, Premix, Scale
from tint.weighing.rounding import Care, Looser
from tint.weighing.sheet import (
    WeighSheet,
    changes_of,
    from_json,
    kept_from_json,
    kept_words,
    weigh,
    weigh_table,
)

__all__ = [
    "AREA_CM2", "Batch", "Care", "CastingSheet", "Cup", "Cups", "Kept", "Letdown", "Line", "Looser", "Premix",
    "Scale", "Split", "WeighSheet", "cautions", "changes_of", "from_json", "kept_from_json", "kept_words",
    "mix_density", "of_cure", "weigh", "weigh_castings", "weigh_table",
]  # fmt: skip
