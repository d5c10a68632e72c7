"""What a proof says, in words that a customer understands."""

from __future__ import annotations

from tint.proof.facts import Facts
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
    (0.98, "it hides what is behind it"),
    (0.90, "it nearly hides what is behind it; a dark edge just shows"),
    (0.60, "translucent: dark and light behind it can be told apart"),
)
_SEE_THROUGH = "see-through: what is behind it decides how it looks"

SCREEN_LINE = "A screen cannot show opacity or gloss; a cured physical swatch decides."
NEAREST = "nearest a screen can show"
NEAREST_LINE = "This sign: the true colour is beyond a screen; the patch shows the nearest a screen can show."
RATIO_LINE = (
    "Contrast ratio: how bright it is over the dark backing, divided by how bright over the light one. "
    "1 hides everything."
)


def difference_in_words(delta_e: float) -> str:
    """How a CIEDE2000 looks [-]."""
    return next((words for bound, words in _DIFFERENCES if delta_e < bound), "a different colour")


def opacity_in_words(contrast_ratio: float) -> str:
    """How a contrast ratio looks [-]."""
    return next((words for bound, words in _OPACITIES if contrast_ratio >= bound), _SEE_THROUGH)


def of_colour(facts: Facts) -> list[str]:
    """How far the recipe is from the target, and a casting from the prediction."""
    told = []
    if facts.target:
        agreed = facts.target.tolerance
        stands = "within" if facts.delta_e <= agreed else "more than"
        told.append(
            f"From the target: {facts.delta_e:.2f} (CIEDE2000), {difference_in_words(facts.delta_e)}; "
            f"{stands} the agreed {agreed:g}."
        )
    error = facts.appearance.expected_error
    told.append(
        f"The cured part: 95 times in 100 within {error:.1f} of the predicted colour. "
        f"That much is {difference_in_words(error)}."
    )
    return told


def of_opacity(facts: Facts) -> list[str]:
    """How well the recipe hides, and whether that is what was asked."""
    seen = facts.appearance
    passes = f"It lets {100.0 * seen.luminous_transmittance:.2g} % of the light through."
    if not facts.has_pair:
        return ["The swatches were read over one backing only, so how well it hides is not known.", passes]
    ratio, error = seen.contrast_ratio, seen.contrast_ratio_error
    low, high = max(ratio - error, 0.0), min(ratio + error, 1.0)
    told = [
        f"Contrast ratio {ratio:.2f} ({low:.2f} to {high:.2f}, 95 times in 100): {opacity_in_words(ratio)}. {passes}"
    ]
    if facts.target and facts.target.asks_opacity:
        told.append(_of_asked_opacity(facts.target, ratio))
    return told


def _of_asked_opacity(target: Target, ratio: float) -> str:
    bounds = {"": target.contrast_ratio, "at least ": target.contrast_ratio_min, "at most ": target.contrast_ratio_max}
    asked = " and ".join(f"{word}{bound:g}" for word, bound in bounds.items() if bound is not None)
    miss = float(target.opacity_miss(ratio))
    if abs(miss) < 0.005:
        return f"Asked for: {asked}. That is met."
    return f"Asked for: {asked}. This is {abs(miss):.2f} too {'high' if miss > 0 else 'low'}."


def of_blend(facts: Facts) -> str:
    """The formula, for those who may read it."""
    parts = [f"{name} {loading:.3g} %" for name, loading in facts.appearance.blend.loadings.items() if loading > 0.0]
    return (", ".join(parts) or "uncoloured") + ", by mass of the mix"


def behind(name: str) -> str:
    """A backing as words after a colour."""
    return "nothing behind it" if name == "none" else f"over {name}"
