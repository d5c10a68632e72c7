"""A card whose bare reading is not of what lay behind the castings: dirtied since, replaced, or yellowed.

What see-through castings miss over one card, each predicted from the others, is then one and the same difference of the
card, seen through each of them. It is fitted to the misses, a number for each wavelength.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from tint import forward
from tint.checks.finding import Finding
from tint.checks.ground import Ground
from tint.fitting.leaving_out import Fitted
from tint.fitting.unknowns import indices, lobe_of, spot_share
from tint.palette import shares
from tint.spectra import Array

# Of the squared misses over a card that one difference of it explains: in a few clean folders, and with other faults,
# up to 0.04 was seen, with a card 4 to 6 % off from 0.11. Chosen by eye between them.
_EXPLAINED = 0.09
_KEPT = 0.6  # of the difference, whichever casting is left out; chosen by eye
_MUCH, _KEPT_OF_MUCH = 3.0 * _EXPLAINED, 0.45  # the same where it explains much; chosen by eye
_LEAST = 0.004  # of the card's reflectance, mean of its difference without sign; chosen by eye
_SEEN = 0.2  # of a card's difference that a casting must show to count as see-through; chosen by eye
_LEAST_SEEN = 4  # castings that are, from which a card is judged
_STEP = 1e-3  # relative, of a card's reflectance, for the slope by it


def of_cards(ground: Ground) -> Iterator[Finding]:
    """The card that explains best what is missed over it, if one does."""
    problem = ground.fitted.problem
    missed, variance = ground.misses
    weight = 1.0 / np.maximum(variance, ground.folder.instrument.noise**2)
    best, told = _EXPLAINED, None
    for at, name in enumerate(ground.folder.backings):
        rows = np.flatnonzero(problem.readings.backing == at)
        slope = _slope(ground.fitted, at)[rows]
        if np.count_nonzero(slope.mean(axis=1) > _SEEN) < _LEAST_SEEN:
            continue
        w, m = weight[rows], missed[rows]
        difference = _difference(w, slope, m)
        of = problem.readings.casting[rows]
        without = [_difference(w[of != each], slope[of != each], m[of != each]).mean() for each in np.unique(of)]
        explained = 1.0 - np.sum(w * (m - slope * difference) ** 2) / np.sum(w * m**2)
        kept = _KEPT if explained < _MUCH else _KEPT_OF_MUCH
        if min(np.array(without) / difference.mean()) < kept:
            continue  # one casting alone says so
        if explained > best and np.abs(difference).mean() > _LEAST:
            best, told = float(explained), (name, difference)
    if told is not None:
        yield _told(ground, *told, best)


def _difference(weight: Array, slope: Array, missed: Array) -> Array:
    """The difference of a card at each wavelength that explains most of what is missed over it."""
    return np.asarray(np.sum(weight * slope * missed, axis=0) / np.maximum(np.sum(weight * slope**2, axis=0), 1e-12))


def _slope(fitted: Fitted, at: int) -> Array:
    """By how much each reading changes with the reflectance of a card, shape of the readings."""
    cards = fitted.problem.readings.backings
    changed = cards.copy()
    changed[at] *= 1.0 + _STEP
    return np.asarray((_shown(fitted, changed) - _shown(fitted, cards)) / (_STEP * np.maximum(cards[at], 1e-6)))


def _shown(fitted: Fitted, cards: Array) -> Array:
    """The readings as the palette says them, of castings as written, over other cards."""
    problem, minimum = fitted.problem, fitted.minimum
    of = problem.readings
    base = np.zeros(problem.thickness.size, dtype=int)
    base[of.casting] = of.base
    made = [
        shares(int(each), len(problem.optics), row[None])[0] for each, row in zip(base, problem.loadings, strict=True)
    ]
    seen = forward.read(
        replace(of, backings=cards),
        forward.mix(minimum.shown.coefficients, np.maximum(np.array(made), 0.0)),
        problem.thickness,
        optics=problem.optics,
        index=indices(problem, minimum.at.shape) if problem.index_sd else None,
        lobe=lobe_of(problem, minimum.at.shape),
        spot_share=spot_share(minimum.at.shape),
    )
    return seen.values


def _told(ground: Ground, name: str, difference: Array, explained: float) -> Finding:
    mean, at = float(difference.mean()), int(np.argmax(np.abs(difference)))
    how = "lighter" if difference[at] > 0.0 else "darker"
    return Finding(
        kind="other_card",
        where=name,
        words=f"behind the castings the card looks {how} than its bare reading, by {abs(mean):.3f} on average and "
        f"{abs(difference[at]):.3f} at {ground.folder.wavelengths[at]:g} nm, at the least; that explains "
        f"{100.0 * explained:.0f} % of what the castings miss over it",
        effect="see-through castings are fitted over a card that was not there, so absorption and scattering err",
        mend="is the card dirty, yellowed or another one? read bare the card that lay behind them, clean; the pigments "
        "are judged once it agrees",
    )
