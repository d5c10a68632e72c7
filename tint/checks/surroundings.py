"""What is about castings: a card that was another one, light that leaves beside the measured spot, other faces.

A card may have been dirtied, replaced, or yellowed since it was read bare. What see-through castings miss over it, each
predicted from the others, is then one and the same difference of the card, seen through each of them. It is fitted to
the misses, a number for each wavelength.

How a face reflects hangs on the index, on whether an air film lies below, and on what the instrument takes in. Where
one of the last two is stated wrongly of all readings, the fit bends the index to make up for it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from tint import colorimetry, forward
from tint.checks.ground import Finding, Ground, fit_ground, listed
from tint.fitting.leaving_out import Fitted
from tint.fitting.problem import INDEX_SD, SPOT_SD
from tint.fitting.unknowns import indices, mixing_shares, seen_at
from tint.materials import GEOMETRIES
from tint.optics.layer import reflectance
from tint.optics.spot import Spot
from tint.palette import Palette, spot_of
from tint.spectra import Array
from tint.swatches import NO_BACKING, Swatch, SwatchFolder
from tint.swatches.records import PHOTOGRAPH

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
    mixed = forward.mix(minimum.shown.coefficients, mixing_shares(problem, problem.loadings))
    return seen_at(problem, minimum.at, replace(problem.readings, backings=cards), mixed, problem.thickness).values


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


# Castings whose light leaves beside the measured spot: how much it matters, counted or not.


_TOLD = 0.5  # CIEDE2000: a colour is matched to about one (common practice, no source)
_USUAL = Spot(seen_mm=8.0, lit_mm=8.0)  # the usual small port of a bench instrument (common practice, no source)


@dataclass(frozen=True, eq=False)
class _Way:
    """A casting as it was read: reflectance of the wide casting and through the spot, each shape (n_wavelengths,)."""

    swatch: Swatch
    backing: str
    whole: Array
    spot: Array
    away: float

    @property
    def share(self) -> str:
        """Of the light that comes back, what is lost, in words."""
        return f"{100.0 * float(1.0 - self.spot.mean() / self.whole.mean()):.2g} %"


def of_edges(folder: SwatchFolder, palette: Palette) -> Iterator[Finding]:
    """One finding for all castings that lose so much at the edge of the stated spot that counting it may be off."""
    spot = spot_of(palette.instrument)
    if spot is None:
        return
    unsure = sorted(
        (each for each in _ways(folder, palette, spot) if SPOT_SD * each.away > _TOLD), key=lambda each: -each.away
    )
    if not unsure:
        return
    worst, names = unsure[0], list(dict.fromkeys(each.swatch.name for each in unsure))
    wider = replace(spot, lit_mm=2.0 * spot.lit_mm)
    same = (worst.swatch.name, worst.backing)
    less = next(each for each in _ways(folder, palette, wider) if (each.swatch.name, each.backing) == same)
    yield Finding(
        kind="edge_loss",
        where=listed(names),
        words=f"with {spot.seen_mm:g} mm measured and {spot.lit_mm:g} mm lit, {worst.share} of the light that "
        f"{worst.swatch.name} ({worst.swatch.thickness_mm:g} mm, over {worst.backing}) sends back leaves beside what "
        f"is lit: {worst.away:.2g} CIEDE2000",
        effect=f"the fit counts what is lost, but knows it to about a tenth: {SPOT_SD * worst.away:.2g} CIEDE2000 here",
        mend=f"measure a smaller spot or light a larger one ({wider.lit_mm:g} mm lit: {less.share} lost), or pour "
        "these thinner",
    )


def unstated_spot(folder: SwatchFolder, palette: Palette) -> str:
    """What the spot could matter in a folder that does not state it, in words; empty where it would not."""
    if spot_of(palette.instrument) is not None or all(each.source == PHOTOGRAPH for each in folder.readings):
        return ""  # for a photograph all of a casting is lit, and it loses nothing beside a spot
    losing = sorted((each for each in _ways(folder, palette, _USUAL) if each.away > _TOLD), key=lambda each: -each.away)
    if not losing:
        return ""
    count = len({each.swatch.name for each in losing})
    return (
        f"palette.toml does not say how large a spot the instrument measures. If it is {_USUAL.seen_mm:g} mm, light "
        f"that leaves beside the spot makes {count} of {len(folder.swatches)} castings read more than {_TOLD:g} "
        f"CIEDE2000 too dark, {losing[0].swatch.name} by {losing[0].away:.2g}. State aperture_mm and lit_mm "
        "under [instrument], and the fit counts it."
    )


def _ways(folder: SwatchFolder, palette: Palette, spot: Spot) -> Iterator[_Way]:
    """Every way that each casting was read in, as the palette has it."""
    view = colorimetry.viewing(palette.wavelengths)
    by_name = {swatch.name: swatch for swatch in folder.swatches}
    seen = {(r.swatch, r.backing, r.seat) for r in folder.readings if r.quantity == "reflectance"}
    for name, backing, seat in sorted(seen):
        swatch = by_name[name]
        share = palette.shares(swatch.base, palette.loadings(swatch.blend))
        wide = palette.optics(swatch.base)
        whole, through = (
            reflectance(
                *forward.mix(palette.coefficients, share),
                thickness=swatch.thickness_mm,
                backing=palette.backing(backing),
                seat=seat,
                optics=optics,
            )
            for optics in (wide, replace(wide, spot=replace(spot, share=palette.spot_share)))
        )
        away = float(colorimetry.difference(colorimetry.lab(whole, view), colorimetry.lab(through, view)))
        yield _Way(swatch, backing, whole, through, away)


# Faces: an index far from what is stated betrays another seat or geometry throughout.

# From where an index is another one: 0.036. In 14 random workshops (seeds 860 to 873) it was found within 0.021 of what
# is stated; of 44 folders with seat or geometry wrong throughout it lay farther in 39.
_FAR = 3.0 * INDEX_SD
_LEFT = 0.5  # of the model error: what another seat or geometry may leave of it at most; chosen by eye


def of_faces(ground: Ground) -> Iterator[Finding]:
    """The seat or geometry that all readings seem to have, else the base of which the index is far from as stated."""
    if ground.fitted.problem.index_sd == 0.0 or not _is_far(ground):
        return
    found, stated = _indices(ground), _stated(ground)
    at = int(np.argmax(np.abs(found - stated)))
    error = ground.fitted.weighting.model_error
    tried = [(said, fit_ground(other, optics=ground.fitted.problem.optics[0].model)) for said, other in _others(ground)]
    said, other = min(tried, key=lambda each: each[1].fitted.weighting.model_error)
    if other.fitted.weighting.model_error <= _LEFT * error and not _is_far(other):
        where, about = "all castings", tuple(swatch.name for swatch in ground.folder.swatches)
        words = (
            f"their faces read as if {said}: the refractive index then is {_indices(other)[at]:.2f}, as stated the "
            f"readings make it {found[at]:.2f}"
        )
        mend = (
            "see how they were read, and correct readings.csv or palette.toml; the pigments are judged once they agree"
        )
    else:
        where, about = tuple(ground.folder.bases)[at], ()
        words = f"its faces read like those of a refractive index of {found[at]:.2f}; stated is {stated[at]:.2f}"
        mend = "see its data sheet, the seats in readings.csv, and the geometry in palette.toml"
    effect = "absorption and scattering are bent to make up for faces that are not those of the castings"
    yield Finding(kind="faces", where=where, words=words, effect=effect, mend=mend, about=about)


def _others(ground: Ground) -> Iterator[tuple[str, SwatchFolder]]:
    """The folder had all been read in the other seat, or in another geometry, and in words what that says."""
    folder = ground.folder
    laid = [each for each in folder.readings if each.backing != NO_BACKING]
    if len({each.seat for each in laid}) == 1:
        seat = {"air": "wet", "wet": "air"}[laid[0].seat]
        turned = tuple(replace(each, seat=seat) if each.backing != NO_BACKING else each for each in folder.readings)
        yield f'seat = "{seat}" were true of all', replace(folder, readings=turned)
    for geometry in GEOMETRIES:
        if geometry != folder.instrument.geometry:
            instrument = replace(folder.instrument, geometry=geometry)
            yield f'geometry = "{geometry}" were true', replace(folder, instrument=instrument)


def _indices(ground: Ground) -> Array:
    return indices(ground.fitted.problem, ground.fitted.minimum.at.shape)


def _stated(ground: Ground) -> Array:
    return np.array([base.refractive_index for base in ground.folder.bases.values()])


def _is_far(ground: Ground) -> bool:
    """Whether a base has an index that is not the one stated."""
    return bool(np.any(np.abs(_indices(ground) - _stated(ground)) > _FAR))
