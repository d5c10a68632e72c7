"""Which swatch to pour next, because it teaches most; and what to pour first."""

from tint.planning.first import FIRST, First, first_swatches, is_light
from tint.planning.pouring import CASTINGS, MOULDS_MM, Casting, Plan, drawn, next_swatches, offers

__all__ = [
    "CASTINGS", "FIRST", "MOULDS_MM", "Casting", "First", "Plan", "drawn", "first_swatches", "is_light",
    "next_swatches", "offers",
]  # fmt: skip
