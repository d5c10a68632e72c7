"""A fan: one recipe for each of many colours. `solve_many` finds them one after another, in order."""

from tint.fans.solving import Solved, solve_many
from tint.fans.targets import read_targets
from tint.fans.wish import Common, Wish, lattice

__all__ = ["Common", "Solved", "Wish", "lattice", "read_targets", "solve_many"]
