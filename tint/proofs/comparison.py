"""Several recipes for one target side by side, for the maker: what each is worth, and in what it differs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.appearance import Appearance, Setting, predict
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs.facts import Shade, shades_of
from tint.proofs.lights import InLight, in_lights
from tint.proofs.trial import Trial
from tint.recipes.choice import prices_of
from tint.target import Target

Array = NDArray[np.float64]

MOST = 6


@dataclass(frozen=True, kw_only=True, eq=False)
class Candidate:
    """One recipe of a comparison.

    Parameters
    ----------
    rank : int
        As in the answer that it was picked from.
    look : Appearance
        Of the part.
    beside : Appearance
        As the target was measured: it differs where the target's sample has another thickness than the part.
    own, target : Shade
        Over the setting's backing; the second None without a target.
    over : tuple of Shade
        Over the darkest and the lightest backing.
    delta_e : float
        CIEDE2000 to the target [-]; NaN without one.
    tolerance : float
        Within which it counts as reached [-]; NaN without a target.
    opacity_miss : float
        How far its contrast ratio is from what was asked, signed [-]; NaN when nothing was asked.
    lights : tuple of InLight
        The recipe in further lights.
    limits : tuple of str
        What it touches, in words.
    price_per_kg : float, optional
        Of a kilogram of mix, the base included where it has a price; None where one has none.
    """

    rank: int
    look: Appearance
    beside: Appearance
    own: Shade
    over: tuple[Shade, ...]
    delta_e: float
    tolerance: float
    opacity_miss: float
    lights: tuple[InLight, ...]
    limits: tuple[str, ...]
    price_per_kg: float | None

    @property
    def name(self) -> str:
        """Its rank and base."""
        return f"{self.rank}, {self.look.blend.base}"

    @property
    def doses(self) -> list[tuple[str, float]]:
        """Pigments and loadings, most first [%]."""
        return sorted(((n, x) for n, x in self.look.blend.loadings.items() if x > 0.0), key=lambda each: -each[1])

    @property
    def worst_shift(self) -> float:
        """The largest CIEDE2000 of its lights [-]."""
        return max(shift_in(each) for each in self.lights)


def shift_in(light: InLight) -> float:
    """How far a light sets a recipe apart from its target; from itself where the target's spectrum is not known."""
    return light.moved if math.isnan(light.from_target) else light.from_target


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison:
    """Everything on the sheet.

    Parameters
    ----------
    told, conditions : str
        What is wanted, and what the figures hold for.
    wanted : Shade or None
        The target.
    behind : tuple of str
        Darkest and lightest backing, or the setting's own where there are not two.
    bare : tuple of Shade
        Those backings.
    trial : Trial or None
        Of the first recipe.
    """

    title: str
    told: str
    conditions: str
    wanted: Shade | None
    over: str
    behind: tuple[str, ...]
    bare: tuple[Shade, ...]
    own_bare: Shade
    candidates: tuple[Candidate, ...]
    notes: tuple[str, ...]
    trial: Trial | None

    @property
    def has_signs(self) -> bool:
        """Whether anything on it is beyond a screen."""
        shades = [shade for each in self.candidates for shade in (each.own, *each.over)]
        shades += [self.wanted] if self.wanted else []
        shades += [shade for _, _, shade in self.trial.chips] if self.trial else []
        return not all(shade.exact for shade in shades)


def compare(
    palette: Palette, blends: Sequence[Blend], *, setting: Setting, target: Target | None = None,
    ranks: Sequence[int] = (), limits: Sequence[Sequence[str]] = (), trial: Trial | None = None, title: str = "",
) -> Comparison:  # fmt: skip
    """Gather what a comparison of recipes shows.

    Parameters
    ----------
    blends : sequence of Blend
        Two to six.
    ranks : sequence of int
        Their numbers; counted from 1 when empty.
    limits : sequence of sequence of str
        What each touches, in words.
    trial : Trial, optional
        Of the first.

    Raises
    ------
    InputError
        If there are fewer than two or more than six, or blend or setting name what the palette does not have.
    """
    if not 2 <= len(blends) <= MOST:
        raise InputError("comparison", f"{len(blends)} recipes", f"expected 2 to {MOST}", "pick some")
    sample = replace(setting, thickness_mm=(target and target.thickness_mm) or setting.thickness_mm)
    many = [
        _candidate(
            palette, blend, setting=setting, sample=sample, target=target,
            rank=ranks[at] if ranks else at + 1, limits=tuple(limits[at]) if limits else (),
        )
        for at, blend in enumerate(blends)
    ]  # fmt: skip
    first, view = many[0], setting.viewing(palette)
    behind = palette.pair or (first.look.over,)
    return Comparison(
        title=title or palette.name,
        told=f"Wanted: {target.in_words}." if target else "No target is named.",
        conditions=first.look.conditions,
        wanted=shades_of(target.lab[None], view)[0] if target else None,
        over=first.look.over,
        behind=behind,
        bare=tuple(_bare(palette, name, setting) for name in behind),
        own_bare=_bare(palette, first.look.over, setting),
        candidates=tuple(many),
        notes=tuple(_notes(target, setting, sample, many)),
        trial=trial,
    )


def _candidate(
    palette: Palette, blend: Blend, *, setting: Setting, sample: Setting, target: Target | None, rank: int,
    limits: tuple[str, ...],
) -> Candidate:  # fmt: skip
    look = predict(palette, blend, setting=setting)
    beside = look if sample == setting else predict(palette, blend, setting=sample)
    view = setting.viewing(palette)
    over = (look.lab_black, look.lab_white) if palette.pair else (look.lab,)
    return Candidate(
        rank=rank,
        look=look,
        beside=beside,
        own=shades_of(beside.lab[None], view)[0],
        over=shades_of(np.stack(over), view),
        delta_e=float(colorimetry.difference(target.lab, beside.lab)) if target else math.nan,
        tolerance=target.tolerance if target else math.nan,
        opacity_miss=float(target.opacity_miss(look.contrast_ratio)) if target and target.asks_opacity else math.nan,
        lights=in_lights(beside, target=target)[1:],
        limits=limits,
        price_per_kg=price_per_kg(palette, blend),
    )


def _bare(palette: Palette, name: str, setting: Setting) -> Shade:
    card, view = palette.backing(name), setting.viewing(palette)
    spectrum = np.zeros_like(palette.wavelengths) if card is None else card
    return shades_of(colorimetry.lab(spectrum[None], view), view)[0]


def price_per_kg(palette: Palette, blend: Blend) -> float | None:
    """Of a kilogram of mix, the base included where it has a price; None where one of them has none."""
    prices, of_base = prices_of(palette, blend.base)
    loadings = palette.loadings(blend)
    price = of_base + float(np.sum(np.where(loadings > 0.0, (prices[:-1] - of_base) * loadings / 100.0, 0.0)))
    return None if np.isnan(price) else price


def _notes(target: Target | None, setting: Setting, sample: Setting, many: Sequence[Candidate]) -> list[str]:
    told = []
    if sample != setting:
        told.append(
            f"Colours are compared on {sample.thickness_mm:g} mm, the target's own; opacity is that of the part."
        )
    if target is not None and target.also:
        told.append("The target shows further colours; only the first is judged here.")
    apart = target is not None and target.spectrum is not None
    told.append(
        "Shift: CIEDE2000 from the target in that light." if apart else
        "Shift: CIEDE2000 by which the recipe moves from how it looks in the light agreed on, to an eye that "
        "is used to each. The target's spectrum is not known, so how far they part from it is not."
    )  # fmt: skip
    doubts: dict[str, list[str]] = {}
    for each in many:
        for warning in each.look.warnings:
            doubts.setdefault(warning, []).append(str(each.rank))
    return told + [f"Take care, {', '.join(ranks)}: {said}." for said, ranks in doubts.items()]
