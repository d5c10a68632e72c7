"""How far each swatch is from what all the others foretell of it, as the fit left it out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tint.checks.ground import may_be_contradicted
from tint.forward import FREE
from tint.palette import Palette
from tint.swatches import COLOURS, SwatchFolder


@dataclass(frozen=True)
class LeftOut:
    """Root mean square CIEDE2000 of reflectance readings against what the others foretell.

    In D65 for the 10 degree observer; of a folder of colours in its own light and for its own observer.
    """

    swatches: Mapping[str, float]
    pigments: Mapping[str, float]


def left_out(folder: SwatchFolder, palette: Palette) -> LeftOut:
    """Leave-one-out error of every swatch, and of every pigment over the swatches that hold it; worst first.

    Of spectra, swatches that alone show a base or pigment are left out of it: nothing foretells them.
    """
    squared = _from_evidence(palette)
    if folder.kind != COLOURS:
        known = may_be_contradicted(folder, [each.name for each in palette.swatches])
        squared = {name: value for name, value in squared.items() if name in known}
    held = {
        pigment: [squared[s.name] for s in folder.swatches if pigment in s.loadings and s.name in squared]
        for pigment in folder.pigments
    }
    by_pigment = {pigment: float(np.mean(found)) for pigment, found in held.items() if found}
    return LeftOut(_worst_first(squared), _worst_first(by_pigment))


def _from_evidence(palette: Palette) -> dict[str, float]:
    """Mean square miss of every swatch that was read in reflectance, as the fit foretold it from the others."""
    evidence = palette.evidence
    seen = evidence.backing >= FREE
    own = {swatch.name: seen & (evidence.swatch == at) for at, swatch in enumerate(palette.swatches)}
    return {name: float(np.mean(evidence.missed[rows])) for name, rows in own.items() if rows.any()}


def _worst_first(squared: Mapping[str, float]) -> dict[str, float]:
    return {name: value**0.5 for name, value in sorted(squared.items(), key=lambda item: -item[1])}
