"""Which swatch to pour next, because it teaches most; and what to pour first."""

from tint.planning.pouring import CASTINGS, MOULDS_MM, Casting, Plan, first_swatches, next_swatches, offers

__all__ = ["CASTINGS", "MOULDS_MM", "Casting", "Plan", "first_swatches", "next_swatches", "offers"]
