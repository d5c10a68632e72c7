"""A fan: one recipe for each of many colours.

`solve_many` finds them one after another, in order; `run_fan` writes them into a table, and goes on where a run of the
same was stopped. `reach` tells which of them each base and wall can have at all.
"""

from tint.fans.page import fan_page, fan_pdf, shop_table
from tint.fans.reach import Candidate, Gain, Reach, Reached, reach, read_candidates
from tint.fans.rows import Row, read_rows
from tint.fans.run import Fan, run_fan
from tint.fans.solving import Solved, solve_many
from tint.fans.targets import Common, Wish, lattice, read_targets

__all__ = [
    "Candidate",
    "Common",
    "Fan",
    "Gain",
    "Reach",
    "Reached",
    "Row",
    "Solved",
    "Wish",
    "fan_page",
    "fan_pdf",
    "lattice",
    "reach",
    "read_candidates",
    "read_rows",
    "read_targets",
    "run_fan",
    "shop_table",
    "solve_many",
]
