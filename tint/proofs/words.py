"""What a proof says, in words that a customer understands."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from tint.opacity import MET
from tint.proofs import words
from tint.proofs.comparison import Candidate, Comparison, shift_in
from tint.proofs.facts import Facts
from tint.proofs.lights import InLight
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

SCREEN_LINE = "A screen cannot show opacity or gloss; a cured physical swatch decides."
NEAREST = "nearest a screen can show"
NEAREST_LINE = "This sign: the true colour is beyond a screen; the patch shows the nearest a screen can show."
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
        "expected error (CIEDE2000): 95 cured parts in 100 come so near the prediction. "
        f"A miss of {error:.1f} is {difference_in_words(error)}."
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
    meaning = f"contrast ratio. {opacity_in_words(ratio)}. Expect {low:.2f} to {high:.2f}, 95 times in 100."
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


# What a comparison of recipes says: figures, in what each stands out, what all share.


FOR_MAKER = "For the workshop: it tells the formulas. Not for the customer."


def differences(many: Sequence[Candidate]) -> list[list[str]]:
    """In what each stands out, in words; what is the same as shown is not told apart."""
    told: list[list[str]] = [[] for _ in many]
    ranked: list[tuple[str, Callable[[Candidate], float | None], str]] = [
        ("nearest the target", lambda each: each.delta_e, ".2f"),
        ("the surest", lambda each: each.beside.expected_error, ".1f"),
        ("the most opaque", lambda each: -each.look.contrast_ratio, ".2f"),
        ("steadiest in other lights", lambda each: each.worst_shift, ".1f"),
        ("the cheapest", lambda each: each.price_per_kg, ".3g"),
        ("the fewest pigments", lambda each: float(len(each.doses)), ".0f"),
    ]
    for said, value_of, shown in ranked:
        at = _least([value_of(each) for each in many], shown)
        if at is not None:
            told[at].append(said)
    for at, each in enumerate(many):
        others = [{name for name, _ in other.doses} for other in many if other is not each]
        own = {name for name, _ in each.doses}
        alone = sorted(own - set().union(*others))
        without = sorted(set.intersection(*others) - own)
        told[at] += [f"the only one with {' and '.join(alone)}"] * bool(alone)
        told[at] += [f"the only one without {' and '.join(without)}"] * (bool(without) and len(many) > 2)
    return told


def _least(values: Sequence[float | None], shown: str) -> int | None:
    """Where the least stands; None when it is not alone as it is shown, or a value is not known."""
    known = [value for value in values if value is not None and not math.isnan(value)]
    if len(known) < len(values):
        return None
    rounded = [float(format(value, shown)) for value in known]
    least = min(rounded)
    return rounded.index(least) if rounded.count(least) == 1 else None


def common(many: Sequence[Candidate]) -> str:
    """What all recipes share; empty when nothing."""
    bases = {each.look.blend.base for each in many}
    shared = set.intersection(*({name for name, _ in each.doses} for each in many))
    told = [f"are in {next(iter(bases))}"] * (len(bases) == 1)
    told += ["have " + " and ".join(name for name, _ in many[0].doses if name in shared)] * bool(shared)
    return f"All {' and '.join(told)}." if told else ""


def figures_of(each: Candidate) -> list[tuple[str, str]]:
    """Its figures, each with a few words of what it is."""
    told = []
    if not math.isnan(each.delta_e):
        within = "within" if each.delta_e <= each.tolerance else "beyond"
        told.append((f"{each.delta_e:.2f}", f"CIEDE2000 from the target, {within} {each.tolerance:g}"))
    told.append((f"± {each.beside.expected_error:.1f}", "CIEDE2000 expected error, 95 in 100"))
    if math.isnan(each.look.contrast_ratio):
        told.append(("-", "opacity not known: one backing"))
    else:
        ratio = f"{each.look.contrast_ratio:.2f} ± {each.look.contrast_ratio_error:.2f}"
        told.append((ratio, f"contrast ratio{_of_asked(each.opacity_miss)}"))
    told += [(f"{shift_in(light):.1f}", f"shift in {_light_name(light)}") for light in each.lights]
    return told


def _of_asked(miss: float) -> str:
    if math.isnan(miss):
        return ""
    return ", as asked" if abs(miss) <= MET else f", {abs(miss):.2f} too {'high' if miss > 0 else 'low'}"


def _light_name(light: InLight) -> str:
    return light.named[:1].lower() + light.named[1:] if not light.named[:2].isupper() else light.named


def lines_of(each: Candidate, differs: Sequence[str]) -> list[str]:
    """Its further words: what it stands out by, what it touches, what it costs."""
    told = [f"{_capital(', '.join(differs))}."] if differs else []
    told += [f"Touches {' and '.join(each.limits)}."] if each.limits else []
    price = "One of its pigments has no price." if each.price_per_kg is None else _priced(each.price_per_kg)
    return [*told, price]


def _priced(price: float) -> str:
    return f"Pigments cost {f'{price:.2f}' if price >= 0.095 else f'{price:.2g}'} per kg of mix."


def _capital(said: str) -> str:
    return said[:1].upper() + said[1:]


def dose_in_words(loading: float) -> str:
    """A loading [%]."""
    return f"{loading:.3g} %"


def closing(sheet: Comparison) -> list[str]:
    """What stands at the foot."""
    return [*sheet.notes, words.SCREEN_LINE]
