"""Which swatch to pour next, because it teaches most; and what to pour first."""

from tint.planning.first import first_swatches
from tint.planning.offers import offers
from tint.planning.pouring import Casting, Plan, next_swatches

__all__ = ["Casting", "Plan", "first_swatches", "next_swatches", "offers"]
