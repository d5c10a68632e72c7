"""What a proof says, in words that a customer understands."""

from __future__ import annotations

import math

from tint.opacity import MET
from tint.proofs.facts import Facts
from tint.target import Target

# CIEDE2000 below which a difference is spoken of so, two flat chips side by side; common practice, no source.
_DIFFERENCES = (
    (0.5, "not seen"),
    (1.0, "hardly seen, even side by side"),
    (2.0, "seen side by side on a careful look"),
    (4.0, "plainly seen side by side"),
)
# Contrast ratio from which a casting is spoken of so; common practice, no source.
_OPACITIES = (
    (0.98, "Opaque: it hides what is behind it"),
    (0.90, "Nearly opaque: a dark edge behind it just shows"),
    (0.60, "Translucent: dark and light behind it can be told apart"),
)
_LEAST_OPAQUE = "Very translucent: what is behind it decides how it looks"

SCREEN_LINE = "A screen cannot show opacity or gloss. Always confirm with a cured swatch."
NEAREST = "nearest a screen can show"
NEAREST_LINE = "This sign: the true colour is beyond a screen; the patch shows the nearest colour that a screen has."
RATIO_LINE = (
    "Contrast ratio: how bright it is over the dark backing, divided by how bright over the light one. "
    "1 hides everything."
)


def difference_in_words(delta_e: float) -> str:
    """How a CIEDE2000 looks [-]."""
    return next((words for bound, words in _DIFFERENCES if delta_e < bound), "seen at once as another colour")


def opacity_in_words(contrast_ratio: float) -> str:
    """How a contrast ratio looks [-]."""
    return next((words for bound, words in _OPACITIES if contrast_ratio >= bound), _LEAST_OPAQUE)


def of_conditions(facts: Facts) -> str:
    """What is shown, and what it holds for."""
    return f"Colour proof, {facts.appearance.blend.base} base. It holds for {facts.appearance.conditions}."


def of_colour(facts: Facts) -> list[tuple[str, str]]:
    """How far the recipe is from the target, and a casting from the prediction: figures and what they mean."""
    told = []
    if facts.target:
        agreed = facts.target.tolerance
        stands = "That is within" if facts.delta_e <= agreed else "That is more than"
        meaning = f"from the target (CIEDE2000): {difference_in_words(facts.delta_e)}. {stands} the agreed {agreed:g}."
        told.append((f"{facts.delta_e:.2f}", meaning))
    error = facts.appearance.expected_error
    meaning = (
        "expected error (CIEDE2000): 95 of 100 cured parts come this close to the prediction. "
        f"A difference of {error:.1f} is {difference_in_words(error)}."
    )
    told.append((f"{error:.1f}", meaning))
    return told


def of_opacity(facts: Facts) -> list[tuple[str, str]]:
    """How well the recipe hides, and whether that is what was asked: figures and what they mean."""
    seen = facts.appearance
    passes = (_percent(seen.luminous_transmittance), "of the light passes through the part.")
    if not facts.has_pair:
        unknown = ("", "The swatches were read over one backing only: how well it hides is not known.")
        return [unknown] if math.isnan(seen.luminous_transmittance) else [passes, unknown]
    ratio, error = seen.contrast_ratio, seen.contrast_ratio_error
    low, high = max(ratio - error, 0.0), min(ratio + error, 1.0)
    meaning = f"contrast ratio. {opacity_in_words(ratio)}. 95 of 100 castings reach {low:.2f} to {high:.2f}."
    if facts.target and facts.target.asks_opacity:
        meaning += " " + _of_asked_opacity(facts.target, ratio)
    return [(f"{ratio:.2f}", meaning), passes]


def _percent(share: float) -> str:
    percent = 100.0 * share
    return "< 0.1 %" if percent < 0.1 else f"{percent:.1f} %" if percent < 9.95 else f"{percent:.0f} %"


def _of_asked_opacity(target: Target, ratio: float) -> str:
    bounds = {
        "": target.contrast_ratio,
        "at least ": target.contrast_ratio_min,
        "at most ": target.contrast_ratio_max,
    }
    asked = " and ".join(f"{word}{bound:g}" for word, bound in bounds.items() if bound is not None)
    miss = float(target.opacity_miss(ratio))
    if abs(miss) <= MET:
        return f"Asked for: {asked}. That is met."
    return f"Asked for: {asked}. This is {abs(miss):.2f} too {'high' if miss > 0 else 'low'}."


def of_blend(facts: Facts) -> str:
    """The formula, for those who may read it."""
    parts = [f"{name} {loading:.3g} %" for name, loading in facts.appearance.blend.loadings.items() if loading > 0.0]
    return (", ".join(parts) or "uncoloured") + ", by mass of the mix"


def behind(name: str) -> str:
    """A backing as words after a colour."""
    return "nothing behind it" if name == "none" else f"over {name}"
