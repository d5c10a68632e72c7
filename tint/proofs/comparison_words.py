"""What a comparison of recipes says: figures, in what each stands out, what all share."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from tint.opacity import MET
from tint.proofs import words
from tint.proofs.comparison import Candidate, Comparison, shift_in
from tint.proofs.lights import InLight

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
