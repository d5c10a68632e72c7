"""A pigment that most of its own castings speak against: no one absorption and scattering describes it."""

from __future__ import annotations

from collections.abc import Sequence

from tint.checks.finding import Finding, listed
from tint.swatches import SwatchFolder

_FEWEST = 4  # castings out of line, from which it is the pigment that is in question; chosen by eye
_SHARE = 0.5  # of the castings that hold it; chosen by eye


def with_odd_pigment(folder: SwatchFolder, lines: Sequence[Finding]) -> list[Finding]:
    """Findings of single castings; of those that share such a pigment one in their place."""
    out = {name for each in lines for name in each.about}
    held = {p: [swatch.name for swatch in folder.swatches if swatch.loadings.get(p)] for p in folder.pigments}
    accused = {pigment: [name for name in names if name in out] for pigment, names in held.items()}
    shares = {pigment: len(accused[pigment]) / max(len(names), 1) for pigment, names in held.items()}
    odd = max(shares, key=lambda pigment: shares[pigment], default="")
    if not odd or len(accused[odd]) < _FEWEST or shares[odd] <= _SHARE:
        return list(lines)
    told = Finding(
        kind="odd_pigment",
        where=odd,
        about=tuple(accused[odd]),
        words=f"{len(accused[odd])} of the {len(held[odd])} castings that hold it contradict the others and each other "
        f"({listed(accused[odd])}): no one absorption and scattering fits them",
        effect="blends with it may be off by several CIEDE2000, far beyond the stated error",
        mend="leave pearl, metal and glowing pigments out of the folder; else see whether two tubs were taken for one",
    )
    return [told, *(each for each in lines if not set(each.about) <= set(accused[odd]))]
