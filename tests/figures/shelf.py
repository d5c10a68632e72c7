"""A fuller shelf than the demo's: its fitted palette with further pigments, hues moved and strengths changed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tint.palette import Palette

Array = NDArray[np.float64]


def shelf(palette: Palette, n_pigments: int, *, seed: int = 7) -> Palette:
    """The palette with `n_pigments` pigments: the first ones its own, the others spectra moved by up to 45 nm.

    Evidence and covariance of a moved pigment are those of the one it was made from.
    """
    rng = np.random.default_rng(seed)
    own, n_bases = list(palette.pigments), len(palette.bases)
    made = [int(rng.integers(1, len(own))) for _ in range(max(n_pigments - len(own), 0))]
    origin = [*range(min(n_pigments, len(own))), *made]
    names = [own[at] if number < len(own) else f"{own[at]} {number}" for number, at in enumerate(origin)]
    k, s = list(palette.k[:n_bases]), list(palette.s[:n_bases])
    for number, at in enumerate(origin):
        shift, strength = (0.0, 1.0) if number < len(own) else (rng.uniform(-45.0, 45.0), rng.uniform(0.6, 1.5))
        moved = palette.wavelengths - shift
        k.append(strength * np.interp(moved, palette.wavelengths, palette.k[n_bases + at]))
        s.append(strength * np.interp(moved, palette.wavelengths, palette.s[n_bases + at]))
    components = [*range(n_bases), *(n_bases + at for at in origin)]
    pick = np.array([block * len(palette.k) + at for block in range(3) for at in components])  # k, s and m
    of_ks = pick[: 2 * len(components)]
    pigments = {
        name: replace(palette.pigments[own[at]], name=name, cures=("addition", "condensation"))
        for name, at in zip(names, origin, strict=True)
    }
    seen = {
        base: replace(
            each,
            max_loading={name: each.max_loading.get(own[at], 0.5) for name, at in zip(names, origin, strict=True)},
            mixed=tuple(names),
        )
        for base, each in palette.seen.items()
    }
    return replace(
        palette,
        pigments=pigments,
        k=np.array(k),
        s=np.array(s),
        g=palette.g[components],
        g_error=palette.g_error[components],
        local=palette.local[:, of_ks[:, None], of_ks],
        modes=palette.modes[:, :, pick],
        seen=seen,
    )
