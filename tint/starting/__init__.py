"""A workshop's first folder: what it has, told once; palette.toml with every key explained; castings to pour."""

from tint.starting.answers import READERS, Answers, answers_of, base_in, cures_in, pigment_in
from tint.starting.folder import PLAN_FILE, Started, start, tells_what_there_is
from tint.starting.plan import CastingPlan, plan_castings

__all__ = [
    "PLAN_FILE", "READERS", "Answers", "CastingPlan", "Started", "answers_of", "base_in", "cures_in", "pigment_in",
    "plan_castings", "start", "tells_what_there_is",
]  # fmt: skip
