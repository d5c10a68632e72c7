"""Blends to cast and blends to aim at, drawn from all that bases and pigments can do."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tint.appearance import Setting
from tint.materials import Blend
from tint.palette import Palette

_SHARES = (0.02, 0.1, 0.35, 1.0)  # of a pigment's largest loading, on its own
_TINTS = ((0.2, 0.15), (0.5, 0.05), (0.1, 0.4))  # shares of the lightest pigment's and of the other's
_DRAWS = 80  # blends that stand for all that can be made


def drawn(palette: Palette, bases: Sequence[str]) -> list[tuple[Blend, Setting]]:
    """Blends of one to four pigments, even in the logarithm of the loading, 1 to 6 mm thick; always the same."""
    rng = np.random.default_rng(11)
    drawn = []
    for _ in range(_DRAWS):
        base = str(rng.choice(list(bases)))
        names = _usable(palette, base)
        size = int(rng.integers(1, min(4, len(names)) + 1)) if names else 0
        picked = [str(name) for name in rng.choice(names, size, replace=False)] if size else []
        most = palette.bases[base].max_loading
        doses = {name: float(_largest(palette, base, name) * 10 ** rng.uniform(-2.0, 0.0)) for name in picked}
        shrink = min(1.0, most / max(sum(doses.values()), 1e-9))
        blend = Blend(base, {name: dose * shrink for name, dose in doses.items()})
        over = palette.white if rng.random() < 0.5 else palette.black
        drawn.append((blend, Setting(thickness_mm=float(rng.uniform(1.0, 6.0)), over=over)))
    return drawn


def _usable(palette: Palette, base: str) -> list[str]:
    cure = palette.bases[base].cure
    return [name for name, p in palette.pigments.items() if p.cures is None or cure in p.cures]


def _largest(palette: Palette, base: str, name: str) -> float:
    own = palette.pigments[name].max_loading
    return min(palette.bases[base].max_loading, own if own is not None else np.inf)


def offers(palette: Palette, base: str) -> list[Blend]:
    """Castings to choose from: the base alone, ladders of each pigment, tints with the lightest one."""
    names = _usable(palette, base)
    offers = [Blend(base)]
    n_bases = len(palette.bases)
    lightest = max(names, key=lambda n: _whiteness(palette, n_bases + list(palette.pigments).index(n)), default="")
    for name in names:
        largest = _largest(palette, base, name)
        offers += [Blend(base, {name: share * largest}) for share in _SHARES]
        if name != lightest:
            light = _largest(palette, base, lightest)
            offers += [Blend(base, {lightest: a * light, name: b * largest}) for a, b in _TINTS]
    limit = palette.bases[base].max_loading
    return [blend for blend in offers if blend.total <= limit]


def _whiteness(palette: Palette, component: int) -> float:
    """Scattering over absorption: the pigment that tints are made with has most."""
    return float(np.mean(palette.s[component]) / (np.mean(palette.k[component]) + 1e-6))
