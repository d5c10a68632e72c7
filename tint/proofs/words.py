"""What a proof says, in words that a customer understands."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from tint.appearance import Appearance, clarity_in_words
from tint.target import Target, amount
from tint.thickness import Wall

if TYPE_CHECKING:
    from tint.proofs.facts import Facts

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

DELTA_E = "CIEDE2000, the usual measure of how far apart two colours look: 1 is seen side by side on a careful look"
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
        stands = "That is within" if facts.target.met(facts.delta_e) else "That is more than"
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
    through = _of_asked(facts.target, "transmittance", seen.luminous_transmittance)
    passes = (_percent(seen.luminous_transmittance), f"of the light passes through the part.{through}")
    blurred = _of_asked(facts.target, "haze", seen.haze)
    haze = [(f"{seen.haze:.2f}", f"haze, the share of that light which is scattered.{blurred}")] if blurred else []
    if not facts.has_pair:
        unknown = ("", "The swatches were read over one backing only: how well it hides is not known.")
        return [unknown] if math.isnan(seen.luminous_transmittance) else [passes, *haze, unknown]
    ratio, error = seen.contrast_ratio, seen.contrast_ratio_error
    low, high = max(ratio - error, 0.0), min(ratio + error, 1.0)
    # To two digits both ends may read as the bound that was asked for, of which one keeps it and one does not.
    digits = 2 if f"{low:.2f}" != f"{high:.2f}" else 3
    ends = dict.fromkeys((f"{low:.{digits}f}", f"{high:.{digits}f}"))
    meaning = f"contrast ratio. {opacity_in_words(ratio)}. 95 of 100 castings have {' to '.join(ends)}."
    meaning += _of_asked(facts.target, "contrast_ratio", ratio)
    return [(f"{ratio:.2f}", meaning), passes, *haze]


def _percent(share: float) -> str:
    percent = 100.0 * share
    return "< 0.1 %" if percent < 0.1 else f"{percent:.1f} %" if percent < 9.95 else f"{percent:.0f} %"


def of_clarity(seen: Appearance) -> str:
    """How print is seen through the part, in a sentence; empty where nobody can tell or hardly any light passes."""
    told = clarity_in_words(seen)
    if not told or seen.luminous_transmittance < 0.005:
        return ""
    return (
        f"Held against a printed page at {seen.setting.thickness_mm:g} mm: {told} "
        f"({_percent(seen.regular_transmittance)} of the light goes straight on; of all that passes, "
        f"{_percent(seen.haze)} is scattered, its haze)."
    )


def _of_asked(target: Target | None, kind: str, value: float) -> str:
    """Whether what was asked of one kind is met, to stand behind another sentence; empty where nothing was asked."""
    if target is None or not target.asks(kind) or math.isnan(value):
        return ""
    met = target.met(0.0, **{kind: value})
    seen = "That is met" if met else f"This is {missed(kind, float(target.miss(kind, value)))}"
    return f" Asked for: {target.bounds_in_words(kind)}. {seen}."


def missed(kind: str, miss: float) -> str:
    """By how much, and which way, what was asked of one kind is missed."""
    return f"{amount(kind, abs(miss), '.2g')} too {'high' if miss > 0 else 'low'}"


def of_walls(walls: Sequence[Wall]) -> list[str]:
    """Every wall of the part in a line, the worst first; none of a part of one."""
    return [f"Every wall, the worst first: {'; '.join(wall.words for wall in walls)}."] if walls else []


def of_blend(facts: Facts) -> str:
    """The formula, for those who may read it."""
    parts = [f"{name} {loading:.3g} %" for name, loading in facts.appearance.blend.loadings.items() if loading > 0.0]
    return (", ".join(parts) or "uncoloured") + ", by mass of the mix"


def two_digits(value: float) -> str:
    """A number in two digits, or in all of those before the point."""
    return f"{value:.2g}" if abs(value) < 99.5 else f"{value:.0f}"


_GLOSS = {"di:8": "measured with gloss included", "de:8": "measured without gloss", "45:0": "seen past its gloss"}


def of_geometry(geometry: str) -> str:
    """How a colour was measured, for those who do not measure."""
    return _GLOSS[geometry]


def lying(over: str, seat: str) -> str:
    """How a casting meets what is behind it, likewise."""
    if over == "none":
        return "with nothing behind it"
    return f"lying on {over} card" if seat == "air" else f"stuck to {over} card"


def behind(name: str) -> str:
    """A backing as words after a colour."""
    return "nothing behind it" if name == "none" else f"over {name}"
