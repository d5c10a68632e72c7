"""Which swatch to pour next, because it teaches most."""

from tint.planning.pouring import CASTINGS, MOULDS_MM, Casting, Plan, drawn, next_swatches, offers

__all__ = ["CASTINGS", "MOULDS_MM", "Casting", "Plan", "drawn", "next_swatches", "offers"]
