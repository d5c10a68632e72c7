"""Why one would take a recipe: a sentence for each of those shown, and which of them are truly different choices."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

# What nobody would act on: CIEDE2000 to the target and from light to light, shares of price and pigment, CIEDE2000 by
# weighing, chance of landing. Common practice, no source.
NEARER, STEADIER, LESS, SURER_DOSES, LIKELIER = 0.1, 0.2, 0.05, 0.02, 0.05
UNBEATEN = "no other beats it in everything"
_SAME_DOSES = 0.05  # share of all pigment by which doses of one recipe may differ; no source


@dataclass(frozen=True, kw_only=True)
class Choice:
    """What a recipe is compared by; the less the better, but for `chance`."""

    base: str
    doses: dict[str, float]  # of its pigments [%]
    # delta_e, metamerism, sensitivity: to the target, from light to light, by weighing [CIEDE2000]
    delta_e: float
    opacity: float  # by which the opacity asked for is missed, unsigned [-]
    metamerism: float
    sensitivity: float
    price: float  # of a kilogram; NaN where it is not known
    chance: float  # of landing [-]

    @property
    def total(self) -> float:
        """All pigments together [%]."""
        return sum(self.doses.values())


def same_recipe(one: Choice, two: Choice) -> bool:
    """Whether nobody would tell two recipes apart: in one base, and doses that differ by little of all pigment."""
    names = {*one.doses, *two.doses}
    apart = sum(abs(one.doses.get(name, 0.0) - two.doses.get(name, 0.0)) for name in names)
    return one.base == two.base and apart <= _SAME_DOSES * max(one.total, two.total)


def gains(own: Choice, first: Choice) -> list[str]:
    """In what a recipe is clearly better than the first, in words."""
    told = []
    if own.base != first.base:
        told.append(f"in {own.base}")
    if len(own.doses) < len(first.doses):
        told.append(f"{len(own.doses)} pigment{'s' * (len(own.doses) != 1)} in place of {len(first.doses)}")
    told += _better(own, first)
    missing, instead = sorted(first.doses.keys() - own.doses), sorted(own.doses.keys() - first.doses)
    if missing and own.base == first.base:
        other = f", {' and '.join(instead)} in {'its' if len(missing) == 1 else 'their'} place" if instead else ""
        told.append(f"without {' and '.join(missing)}{other}")
    return told


def prices_paid(own: Choice, first: Choice) -> list[str]:
    """In what a recipe is clearly worse than the first, in words."""
    told = []
    if own.delta_e > first.delta_e + NEARER:
        told.append(f"{own.delta_e - first.delta_e:.1f} CIEDE2000 farther from the target")
    if own.opacity > first.opacity + 0.005:
        told.append("less of the opacity asked for")
    if own.price > first.price * (1.0 + LESS) and first.price > 0.0:
        told.append(f"{_percent(own.price, first.price)} dearer")
    if own.total > first.total * (1.0 + LESS):
        more = _percent(own.total, first.total) if first.total > 0.0 else f"{own.total:.2g} %"
        told.append(f"{more} more pigment")
    if own.metamerism > first.metamerism + STEADIER:
        told.append(f"moves more from light to light ({own.metamerism:.1f} against {first.metamerism:.1f} CIEDE2000)")
    return told


def _better(own: Choice, first: Choice) -> list[str]:
    told = []
    if own.delta_e < first.delta_e - NEARER:
        told.append(f"{first.delta_e - own.delta_e:.1f} CIEDE2000 nearer the target")
    if own.opacity < first.opacity - 0.005:
        told.append("more of the opacity asked for")
    if own.price < first.price * (1.0 - LESS):
        told.append(f"{_percent(own.price, first.price)} cheaper")
    if own.total < first.total * (1.0 - LESS):
        told.append(f"{_percent(own.total, first.total)} less pigment")
    if own.metamerism < first.metamerism - STEADIER:
        lights = f"{own.metamerism:.1f} against {first.metamerism:.1f} CIEDE2000"
        told.append(f"steadier in other lights ({lights})")
    if own.sensitivity < first.sensitivity - SURER_DOSES:
        told.append("less upset by weighing")
    if own.chance > first.chance + LIKELIER:
        told.append(f"likelier to land ({100.0 * own.chance:.0f} % against {100.0 * first.chance:.0f} %)")
    return told


def _percent(own: float, first: float) -> str:
    return f"{100.0 * abs(own / first - 1.0):.0f} %"


def why(own: Choice, first: Choice, merits: Sequence[str], *, pool: str) -> str:
    """A sentence why one would take a recipe.

    `first`: the recipe that is shown first; of itself its merits are told.
    `merits`: what it is the best in.
    `pool`: of what it is the best: "of all found within 1 CIEDE2000".
    """
    if own is first:
        best = listed([words for words in merits if words != UNBEATEN])
        return (
            f"{best[:1].upper()}{best[1:]} {pool}."
            if best
            else "As near as any found; no other beats it in everything."
        )
    better, worse = gains(own, first), prices_paid(own, first)
    words = listed(better[:3]) or "as good in all that counts"
    against = f", but {listed(worse[:2])}" if worse else ""
    return f"{words[:1].upper()}{words[1:]}{against}."


def listed(words: Sequence[str]) -> str:
    """`a, b and c`."""
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)
