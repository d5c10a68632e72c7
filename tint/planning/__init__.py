"""Which swatch to pour next, because it teaches most; and what to pour first."""

from tint.planning.pouring import MOULDS_MM, Casting, Plan, first_swatches, next_swatches, offers

__all__ = ["MOULDS_MM", "Casting", "Plan", "first_swatches", "next_swatches", "offers"]
