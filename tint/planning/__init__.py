"""Which swatch to pour next, because it teaches most; and what to pour first."""

from tint.planning.pouring import Casting, Plan, first_swatches, next_swatches, offers

__all__ = ["Casting", "Plan", "first_swatches", "next_swatches", "offers"]
