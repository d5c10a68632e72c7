"""Several recipes for one target side by side, for the maker: what each is worth, and in what it differs."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tint import colorimetry
from tint.appearance import Appearance, Setting, predict
from tint.errors import InputError
from tint.materials import Blend
from tint.opacity import KINDS
from tint.palette import Palette
from tint.proofs import words
from tint.proofs.facts import Shade, Trial, gather, shade_of
from tint.proofs.samples import InLight, in_lights, named
from tint.recipes.certainty import predicted
from tint.recipes.choice import prices_of
from tint.target import Target, amount

MOST = 6  # recipes: what two rows of a page hold
NO_CURRENCY = "Prices have no currency: the folder names none (`currency` in [workshop] of palette.toml)."
FOR_MAKER = "For the workshop: it shows the formulas. Not for the customer."


@dataclass(frozen=True, kw_only=True, eq=False)
class Candidate:
    """One recipe of a comparison."""

    rank: int  # as in the answer that it was picked from
    look: Appearance  # of the part
    # as the target was measured: it differs where the target's sample has another thickness than the part
    beside: Appearance
    own: Shade  # over the setting's backing
    over: tuple[Shade, ...]  # over the darkest and the lightest backing
    delta_e: float  # CIEDE2000 to the target [-]; NaN without one
    tolerance: float  # within which it counts as reached [-]; NaN without a target
    asked: dict[str, tuple[float, float]]  # of `KINDS` that were asked for: what it has, and by how much it misses [-]
    lights: tuple[InLight, ...]  # the recipe in further lights
    limits: tuple[str, ...]  # what it touches, in words
    price_per_kg: float | None  # of a kilogram of mix, the base included where it has a price; None where one has none
    cost: str  # the same in a sentence

    @property
    def name(self) -> str:
        """Its rank and base."""
        return f"{self.rank}, {self.look.blend.base}"

    @property
    def doses(self) -> list[tuple[str, str]]:
        """Pigments and their loadings, most first."""
        doses = sorted(self.look.blend.loadings.items(), key=lambda dose: -dose[1])
        return [(name, f"{loading:.3g} %") for name, loading in doses if loading > 0.0]


def shift_in(light: InLight) -> float:
    """How far a light sets a recipe apart from its target; from itself where the target's spectrum is not known."""
    return light.moved if math.isnan(light.from_target) else light.from_target


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison:
    """Everything on the sheet."""

    title: str
    told: str  # what is wanted
    conditions: str  # what the figures hold for
    wanted: Shade | None  # the target
    over: str
    behind: tuple[str, ...]  # darkest and lightest backing, or the setting's own where there are not two
    bare: tuple[Shade, ...]  # those backings
    candidates: tuple[Candidate, ...]
    notes: tuple[str, ...]
    trial: Trial | None  # of the first recipe

    @property
    def closing(self) -> list[str]:
        """What stands at the foot."""
        return [*self.notes, *(self.trial.notes if self.trial else []), words.SCREEN_LINE]

    @property
    def has_signs(self) -> bool:
        """Whether anything on it is beyond a screen."""
        shades = [shade for each in self.candidates for shade in (each.own, *each.over)]
        shades += [self.wanted] if self.wanted else []
        return not (all(shade.exact for shade in shades) and (self.trial is None or self.trial.row.exact))


def compare(
    palette: Palette, blends: Sequence[Blend], *, setting: Setting, target: Target | None = None,
    ranks: Sequence[int] = (), limits: Sequence[Sequence[str]] = (), trial: Trial | None = None, title: str = "",
) -> Comparison:  # fmt: skip
    """Gather what a comparison of recipes shows.

    `blends`: two to six.
    `ranks`: their numbers; counted from 1 when empty.
    `limits`: what each touches, in words.
    `trial`: of the first.
    Raises InputError if there are fewer than two or more than six, or blend or setting name what the palette does not
        have.
    """
    if not 2 <= len(blends) <= MOST:
        raise InputError("comparison", f"{len(blends)} recipes", f"expected 2 to {MOST}", "pick some")
    sample = replace(setting, thickness_mm=(target and target.thickness_mm) or setting.thickness_mm)
    view, many = setting.viewing(palette), []
    for at, blend in enumerate(blends):
        facts = gather(palette, blend, setting=setting, target=target, show_recipe=True)
        look = facts.appearance
        beside = look if sample == setting else predict(palette, blend, setting=sample)
        price = price_per_kg(palette, blend)
        candidate = Candidate(
            rank=ranks[at] if ranks else at + 1,
            look=look,
            beside=beside,
            own=shade_of(beside.lab, view),
            over=facts.over,
            delta_e=float(colorimetry.difference(target.lab, beside.lab)) if target else math.nan,
            tolerance=target.tolerance if target else math.nan,
            asked=_asked(target, look) if target else {},
            lights=in_lights(beside, target=target)[1:],
            limits=tuple(limits[at]) if limits else (),
            price_per_kg=price,
            cost=_cost(palette, blend.base, price),
        )
        many.append(candidate)
    return Comparison(
        title=title or palette.name,
        told=f"Wanted: {target.in_words}." if target else "No target is named.",
        conditions=many[0].look.conditions,
        wanted=facts.wanted,
        over=many[0].look.over,
        behind=facts.behind,
        bare=facts.bare,
        candidates=tuple(many),
        notes=(*_notes(target, setting, sample, many), *([] if palette.workshop.currency else [NO_CURRENCY])),
        trial=trial,
    )


def _asked(target: Target, look: Appearance) -> dict[str, tuple[float, float]]:
    values = {kind: predicted(look, kind)[0] for kind in KINDS if target.asks(kind)}
    return {kind: (value, float(target.miss(kind, value))) for kind, value in values.items()}


def price_per_kg(palette: Palette, blend: Blend) -> float | None:
    """Of a kilogram of mix, the base included where it has a price; None where one of them has none."""
    prices, of_base = prices_of(palette, blend.base)
    loadings = palette.loadings(blend)
    price = of_base + float(np.sum(np.where(loadings > 0.0, (prices[:-1] - of_base) * loadings / 100.0, 0.0)))
    return None if np.isnan(price) else price


def _cost(palette: Palette, base: str, price: float | None) -> str:
    if price is None:
        return "What it costs is not known: a pigment or its base has no price."
    shown = f"{price:.2f}" if price >= 0.095 else f"{price:.2g}"
    unit = f" {palette.workshop.currency}".rstrip()
    return f"{'Pigments cost' if palette.bases[base].price is None else 'It costs'} {shown}{unit} per kg of mix."


def _notes(target: Target | None, setting: Setting, sample: Setting, many: Sequence[Candidate]) -> list[str]:
    told = []
    if sample != setting:
        depth = f"{sample.thickness_mm:g} mm"
        told.append(f"Colours are compared on {depth}, the target's own; opacity is that of the part.")
    if target is not None and target.also:
        told.append("The target shows further colours; only the first is judged here.")
    apart = target is not None and target.spectrum is not None
    told.append(
        "Shift: CIEDE2000 from the target in that light." if apart else
        "Shift: CIEDE2000 between the recipe in that light and in the agreed light, each to an adapted eye. "
        "The target's spectrum is not known, so how far it is from the target in that light is not known either."
    )  # fmt: skip
    doubts: dict[str, list[str]] = {}
    for each in many:
        for warning in each.look.warnings:
            doubts.setdefault(warning, []).append(str(each.rank))
    return told + [f"Take care, {', '.join(ranks)}: {said}." for said, ranks in doubts.items()]


# What it says: figures, in what each stands out, what all share.


def differences(many: Sequence[Candidate]) -> list[list[str]]:
    """In what each stands out, in words; what is the same as shown is not told apart."""
    told: list[list[str]] = [[] for _ in many]
    ranked: list[tuple[str, Callable[[Candidate], float | None], str]] = [
        ("nearest the target", lambda each: each.delta_e, ".2f"),
        ("the smallest expected error", lambda each: each.beside.expected_error, ".1f"),
        ("the most opaque", lambda each: -each.look.contrast_ratio, ".2f"),
        ("the most stable across lights", lambda each: max(map(shift_in, each.lights)), ".1f"),
        ("the cheapest", lambda each: each.price_per_kg, ".3g"),
        ("the fewest pigments", lambda each: float(len(each.doses)), ".0f"),
    ]
    for said, value_of, shown in ranked:
        at = _least([value_of(each) for each in many], shown)
        if at is not None:
            told[at].append(said)
    for at, each in enumerate(many):
        others = [set(dict(other.doses)) for other in many if other is not each]
        alone = sorted(set(dict(each.doses)) - set().union(*others))
        without = sorted(set.intersection(*others) - set(dict(each.doses)))
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
    shared = set.intersection(*(set(dict(each.doses)) for each in many))
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
        error = f"contrast ratio ± {each.look.contrast_ratio_error:.3f}"
        told.append((f"{each.look.contrast_ratio:.3f}", f"{error}{_of_asked('contrast_ratio', each)}"))
    told += [
        (amount(kind, value, ".2f"), f"{kind}{_of_asked(kind, each)}")
        for kind, (value, _) in each.asked.items()
        if kind != "contrast_ratio" and not math.isnan(value)
    ]
    for light in each.lights:
        said = named(light.light)
        said = said if said[:2].isupper() else said[:1].lower() + said[1:]  # as in the middle of a sentence
        told.append((f"{shift_in(light):.1f}", f"shift in {said}"))
    return told


def _of_asked(kind: str, each: Candidate) -> str:
    _, miss = each.asked.get(kind, (math.nan, math.nan))
    if math.isnan(miss):
        return ""
    return f", {words.missed(kind, miss)}" if miss else ", as asked"


def lines_of(each: Candidate, differs: Sequence[str]) -> list[str]:
    """Its further words: what it stands out by, what it touches, what it costs."""
    stands_out = ", ".join(differs)
    told = [f"{stands_out[:1].upper()}{stands_out[1:]}."] if differs else []
    told += [f"At a limit: {' and '.join(each.limits)}."] if each.limits else []
    return [*told, each.cost]
