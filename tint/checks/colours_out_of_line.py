"""Castings read as colours that all others contradict.

A fit to few colours bends to a wrong casting, whose residuals then look like those of others. Left out, it is foretold
by the rest, and stands alone. What would reconcile it three numbers a reading do not tell.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from tint.checks.finding import Finding, limit
from tint.checks.ground import without
from tint.fitting import fit_palette
from tint.palette import Palette
from tint.swatches import SwatchFolder

_MOST = 6  # swatches named before the folder as a whole is in question
_FEWEST = 4  # swatches, below which it is not seen which is wrong


def of_colour_lines(folder: SwatchFolder, palette: Palette) -> Iterator[Finding]:
    """Swatches out of line, worst first; each leaves the fit before the next is looked for."""
    for _ in range(_MOST):
        judged = _judged(palette)
        if len(judged) < _FEWEST:
            return
        name = max(judged, key=lambda each: judged[each][0])
        size, missed = judged[name]
        # Where the whole folder misses by more than its stated errors allow, no single swatch is to blame.
        typical = max(1.0, float(np.median([each for each, _ in judged.values()])))
        if size <= limit(len(judged)) * typical:
            return
        yield _told(name, size, missed)
        folder = without(folder, [name])
        palette = fit_palette(folder, optics=palette.model)


def _judged(palette: Palette) -> dict[str, tuple[float, float]]:
    """Of every swatch the miss when left out: in what the stated errors allow, and in CIEDE2000; root mean squares."""
    evidence, result = palette.evidence, {}
    for at, swatch in enumerate(palette.swatches):
        own = evidence.swatch == at
        missed, expected = float(np.mean(evidence.missed[own])), float(np.mean(evidence.expected[own]))
        result[swatch.name] = ((missed / expected) ** 0.5, missed**0.5)
    return result


def _told(name: str, size: float, missed: float) -> Finding:
    return Finding(
        kind="out_of_line",
        where=name,
        about=(name,),
        words=f"the other castings foretell {missed:.2f} CIEDE2000 off, {size:.1f} times what the stated errors allow",
        effect="kept, it pulls what it holds towards itself, and all errors are stated larger",
        mend="see whether its label, blend, dose, thickness or readings were mixed up; else pour it again",
    )
