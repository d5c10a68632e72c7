"""Targets that one limit alone puts out of reach, by construction."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from tint.appearance import Setting, predict
from tint.materials import Blend
from tint.palette import Palette
from tint.recipes import solve
from tint.target import Target

BASE = "clear"
_SEED = 31


@dataclass(frozen=True)
class Hampered:
    """A target that one limit alone puts out of reach, and the palette on which it does."""

    limit: str
    palette: Palette
    target: Target
    setting: Setting


def with_total(palette: Palette, total: float) -> Palette:
    return replace(palette, bases=palette.bases | {BASE: replace(palette.bases[BASE], max_loading=total)})


def with_largest(palette: Palette, name: str, loading: float) -> Palette:
    return replace(palette, pigments=palette.pigments | {name: replace(palette.pigments[name], max_loading=loading)})


def out_of_reach(palette: Palette, setting: Setting, target: Target) -> bool:
    return not solve(palette, target, setting=setting, base=BASE).recipes[0].reached


def by_loading(palette: Palette, *, total: bool) -> Iterator[Hampered]:
    """Colour and opacity of a blend in a thin wall, then the total or its first pigment cut to a third of it."""
    rng = np.random.default_rng([_SEED, total])
    names = [name for name, each in palette.pigments.items() if each.cures is None or "addition" in each.cures]
    while True:
        chosen = [str(name) for name in rng.choice(names, 3, replace=False)]
        largest = [palette.pigments[name].max_loading or 1.0 for name in chosen]
        blend = Blend(BASE, {n: float(rng.uniform(0.2, 0.5)) * x for n, x in zip(chosen, largest, strict=True)})
        setting = Setting(thickness_mm=float(rng.uniform(0.6, 1.2)))
        look = predict(palette, blend, setting=setting)
        target = Target(lab=look.lab, contrast_ratio_min=look.contrast_ratio)
        third = blend.total / 3.0 if total else blend.loadings[chosen[0]] / 3.0
        tight = with_total(palette, third) if total else with_largest(palette, chosen[0], third)
        if out_of_reach(tight, setting, target):
            yield Hampered("max_loading:total" if total else f"max_loading:{chosen[0]}", tight, target, setting)


def by_opacity(palette: Palette) -> Iterator[Hampered]:
    """Colour of a see-through blend in a thin wall, asked for at twice the way to hiding."""
    rng = np.random.default_rng([_SEED, 2])
    names = ["yellow", "red", "blue", "ochre"]
    while True:
        chosen = [str(name) for name in rng.choice(names, 2, replace=False)]
        blend = Blend(BASE, {name: float(rng.uniform(0.02, 0.15)) for name in chosen})
        setting = Setting(thickness_mm=float(rng.uniform(0.8, 2.0)))
        look = predict(palette, blend, setting=setting)
        target = Target(lab=look.lab, contrast_ratio_min=0.5 + 0.5 * look.contrast_ratio)
        if out_of_reach(palette, setting, target):
            yield Hampered("contrast_ratio", palette, target, setting)


def by_palette(palette: Palette) -> Iterator[Hampered]:
    """Colours that no loading of these pigments gives, in thick walls where no limit is near."""
    rng = np.random.default_rng([_SEED, 3])
    wide = with_total(palette, 30.0)
    for name, each in palette.pigments.items():
        wide = with_largest(wide, name, 10.0 * (each.max_loading or 1.0))
    while True:
        hue, chroma = rng.uniform(0.0, 2.0 * np.pi), rng.uniform(50.0, 90.0)
        lab = np.array([rng.uniform(35.0, 75.0), chroma * np.cos(hue), chroma * np.sin(hue)])
        setting, target = Setting(thickness_mm=float(rng.uniform(4.0, 6.0))), Target(lab=lab)
        ours = solve(palette, target, setting=setting, base=BASE).recipes[0]
        widest = solve(wide, target, setting=setting, base=BASE).recipes[0]
        if not ours.reached and widest.delta_e > ours.delta_e - 0.1:
            yield Hampered("palette", palette, target, setting)
