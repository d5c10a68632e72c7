"""From a photograph and places in it to colours, each with the error that the photograph itself owns to.

A photograph that is not good enough is refused: each reason has its limit, and a word on what mends it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.colorimetry import PATCHES, chart_lab, chart_spectra, difference, viewing
from tint.colorimetry.spectra import GREYS
from tint.errors import JobError
from tint.photographs.calibration import (
    FALL,
    LEAST_PLACES,
    WHITE_PATCH,
    Calibration,
    Chart,
    WhiteCard,
    beside_chart,
    calibrate,
)
from tint.photographs.picture import CELLS, Picture, Samples, sample
from tint.photographs.places import Places, Spot
from tint.spectra import Array
from tint.uncertainty import Z95

# Where a line names nothing else, the limit is common practice and has no source.

# A hundredth of a patch may be glint; more of it at the top of the range, and the mean is no longer what was there.
MOST_CLIPPED = 0.01
# A channel at the bottom is common in very pure colours: sRGB cannot hold them. A quarter of the patches can be spared.
MOST_SPARED = 6
# The white patch, of the picture's range: below that it is four stops too dark in a picture for a screen, two in one in
# proportion to light, and either way few levels tell the dark patches apart.
LEAST_WHITE = 0.3
# Mean CIEDE2000 with a bare matrix and an unbent curve: a chart comes out within 1 to 9, what is not a chart at 15 and
# more, in the photographs of tests/figures/photographing.py.
NO_CHART = 13.0
# Scatter of single pixels within a patch, of the range: at 20 levels of 255 no camera is used as it should be, and dark
# patches reach the bottom by chance.
MOST_SCATTER = 0.08
# Chance error of a patch's mean, CIEDE2000, half of the patches being better: past it noise outweighs what the chart
# can tell.
MOST_NOISE = 0.7
# Means of CIEDE2000 over the chart, each patch predicted by the others: no better than the eye's memory.
MOST_MISSED = 4.0
# Natural logarithms of light. What a white card shows can be taken out, but flare and shadows come with it; what the
# chart alone shows is carried on to the spots, and by more than a sixth nobody should.
MOST_FALL, MOST_FALL_UNSEEN = 0.45, 0.15
# The card's own places against their smooth field, natural logarithm: more is a shadow's edge, a reflection or dirt.
MOST_FIELD_MISSED = 0.03
# A ninth of a spot against the whole, CIEDE2000: an edge, a shadow or a speck is in it. In a noisy picture the chart's
# own patches are uneven too; so many times what they are.
MOST_UNEVEN, MOST_UNEVEN_TIMES = 4.0, 3.0

_WHERE = "photograph"
_ANOTHER = "photograph again"
_LESS_NOISE = f"{_ANOTHER} nearer, in more light, at the lowest sensitivity"


def check_patches(samples: Samples) -> Array:
    """1 for patches to use, 0 for those below what the picture can hold, shape (24,).

    JobError if pixels scatter, a patch is clipped at the top, or too many are at the bottom.
    """
    scatter = float(np.median(samples.scatter))
    if scatter > MOST_SCATTER:
        found = f"it is too noisy: pixels of one patch scatter by {100 * scatter:.0f} % of the range"
        raise JobError(_WHERE, found, f"{100 * MOST_SCATTER:g} % at most", _LESS_NOISE)
    worst = int(np.argmax(samples.too_high))
    if samples.too_high[worst] > MOST_CLIPPED:
        found = f"the patch {PATCHES[worst]} is too bright: {100 * samples.too_high[worst]:.0f} % of it is clipped"
        raise JobError(_WHERE, found, "nothing at the top of the range", f"{_ANOTHER} with less exposure")
    low = samples.too_low > MOST_CLIPPED
    if low[GREYS].any():
        found = "it is too dark: a grey patch has nothing left in a channel"
        raise JobError(_WHERE, found, mend=f"{_ANOTHER} with more exposure, white just below the top")
    if low.sum() > MOST_SPARED:
        found = f"it is too contrasty: {low.sum()} of 24 patches have nothing left in a channel"
        raise JobError(_WHERE, found, f"{MOST_SPARED} at most", "develop it flatter, or with a wider profile")
    return np.where(low, 0.0, 1.0)


def check_chart(missed_plain: float) -> None:
    """Refuse places that hold no chart, by how far the best arrangement is off with a bare matrix."""
    if missed_plain > NO_CHART:
        found = f"no 24-patch chart is at the corners: its colours would be {missed_plain:.0f} CIEDE2000 off"
        mend = "name the middles of the corner patches A1, A6, D6 and D1; see with --look FILE"
        raise JobError(_WHERE, found, mend=mend)


def check_exposure(white_level: float) -> None:
    """Refuse a picture whose white patch is far below the top."""
    if white_level < LEAST_WHITE:
        found = f"it is too dark: the white patch is at {100 * white_level:.0f} % of the picture's range"
        raise JobError(_WHERE, found, f"{100 * LEAST_WHITE:.0f} % at least", f"{_ANOTHER} with more exposure")


def check_noise(noise: Array) -> None:
    """Refuse a picture whose patch means are uncertain by themselves, shape (24,) [CIEDE2000]."""
    if np.median(noise) > MOST_NOISE:
        found = f"it is too noisy: patch means are uncertain by {np.median(noise):.1f} CIEDE2000"
        raise JobError(_WHERE, found, f"{MOST_NOISE:g} at most", _LESS_NOISE)


def check_light(span: float, left_over: float | None) -> None:
    """Refuse light that falls off too much, or that a white card shows not to be smooth [log]."""
    percent, limit = 100.0 * (np.exp(span) - 1.0), MOST_FALL_UNSEEN if left_over is None else MOST_FALL
    at_most = f"{100 * (np.exp(limit) - 1):.0f} % at most"
    if span > limit and left_over is None:
        found = f"the light is uneven: going by the chart it changes by {percent:.0f} % towards the spots"
        raise JobError(_WHERE, found, at_most, "name four places or more of a white card, or light it evenly")
    if span > limit:
        found = f"the light is uneven: it changes by {percent:.0f} % over the places"
        raise JobError(_WHERE, found, at_most, f"{_ANOTHER} with the lamps further off, or in shade")
    if left_over is not None and left_over > MOST_FIELD_MISSED:
        found = f"the white places differ by {100 * left_over:.1f} % from light that changes smoothly"
        mend = "keep shadows and reflections off, or name clean places of one card"
        raise JobError(_WHERE, found, f"{100 * MOST_FIELD_MISSED:g} % at most", mend)


def check_residual(calibration: Calibration) -> None:
    """Refuse a chart whose patches the others do not predict."""
    missed = calibration.missed
    if missed.mean() > MOST_MISSED:
        worst = np.array(PATCHES)[calibration.chart.use > 0][np.argmax(missed)]
        found = f"the chart is missed by {missed.mean():.1f} CIEDE2000 on average, most at {worst}"
        mend = "keep reflections off the chart, use plain daylight, or give its own colours with --chart"
        raise JobError(_WHERE, found, f"{MOST_MISSED:g} at most", mend)


def check_spots(spots: Sequence[Spot], samples: Samples, uneven: Array, *, usual: float) -> None:
    """Refuse spots that are clipped or more uneven than patches usually are; the first is told, and how many more."""
    limit = max(MOST_UNEVEN, MOST_UNEVEN_TIMES * usual)
    each = zip(spots, samples.too_high, samples.too_low, uneven, strict=True)
    wrong = [(spot, *why) for spot, high, low, apart in each if (why := _why_not(high, low, apart, limit))]
    if wrong:
        spot, found, mend = wrong[0]
        more = f"; and {len(wrong) - 1} more" if len(wrong) > 1 else ""
        raise JobError(spot.where, found, mend=f"{mend}, or leave the spot out{more}")


def _why_not(high: float, low: float, apart: float, limit: float) -> tuple[str, str] | None:
    if high > MOST_CLIPPED:
        return f"too bright: {100 * high:.0f} % of it is clipped", f"{_ANOTHER} with less exposure"
    if low > MOST_CLIPPED:
        found = f"a channel has nothing left in {100 * low:.0f} % of it: too dark, or too pure for this picture"
        return found, "develop the raw picture flatter or with a wider profile"
    if apart > limit:
        found = f"is not one colour: a ninth of it is {apart:.1f} CIEDE2000 off the rest"
        return found, "move it or make it smaller; see with --look FILE"
    return None


NOT_AN_OBSERVER = (
    "a camera is no observer: two colours that look alike to it may differ to the eye; the error holds for colours "
    "like the chart's, and a pigment with a narrow band may miss by more"
)


@dataclass(frozen=True, kw_only=True, eq=False)
class SpotColour:
    """A spot's colour."""

    spot: Spot
    lab: Array  # shape (3,): CIELAB [-]
    error: float  # CIEDE2000 that holds 95 times in 100: of the chart, of noise and of light together [-]
    # what noise and what uneven light add to it [CIEDE2000]
    of_noise: float
    of_light: float
    outside: bool  # whether it lies outside of what the chart's patches span


@dataclass(frozen=True, kw_only=True, eq=False)
class Photographed:
    """What a photograph says."""

    # what the colours hold for
    light: str
    observer: int
    spots: tuple[SpotColour, ...]
    calibration: Calibration
    # CIEDE2000 of the chart's patches, each predicted by the others [-]
    missed_mean: float
    missed_95: float
    missed_most: float
    card_places: int  # places of a white card that told how the light falls
    left_out: tuple[str, ...]  # patches that were too pure for the picture
    warnings: tuple[str, ...]


def chart_reference(light: str, observer: int) -> tuple[Array, Array]:
    """CIELAB of the usual chart in a light, shape (24, 3), and XYZ of that light's white, shape (3,)."""
    view = viewing(chart_spectra()[0], light=light, observer=observer)
    return chart_lab(light=light, observer=observer), view.white


def photograph(
    picture: Picture, places: Places, spots: Sequence[Spot], *, reference: Array, white: Array, light: str,
    observer: int, card: str = "white",
) -> Photographed:  # fmt: skip
    """Colours of spots in a photograph.

    `places`: where the chart and the spots are, the corners in the chart's order.
    `reference` (24, 3): CIELAB of the chart in the light asked for [-].
    `white` (3,): XYZ of the perfect white in that light.
    `light`, `observer`: what they hold for.
    `card`: name of the spots, without backing, that show one white card: four or more tell how the light falls.
    Raises JobError if the photograph is not good enough: each reason is one of the above.
    """
    patches, seen = sample(picture, places.patches), sample(picture, places.spots)
    use = check_patches(patches)
    at, spots_at = places.from_chart(places.patches), places.from_chart(places.spots)
    of_card = np.array([spot.name == card and not spot.backing for spot in spots], dtype=bool)
    held = WhiteCard(spots_at[of_card], seen.mean[of_card]) if of_card.sum() >= LEAST_PLACES else None
    chart = Chart(values=patches.mean, at=at, reference=reference, white=white, use=use, card=held)
    calibration = calibrate(chart)
    check_exposure(float(patches.mean[WHITE_PATCH].max()))
    chart_noise, chart_uneven = _chance(calibration, patches, at)
    check_noise(chart_noise)
    check_light(*_span(calibration, at, spots_at))
    check_residual(calibration)
    noise, uneven = _chance(calibration, seen, spots_at)
    check_spots(spots, seen, uneven, usual=float(np.median(chart_uneven)))
    return _told(calibration, spots, seen, spots_at, noise, light=light, observer=observer)


def _told(
    calibration: Calibration, spots: Sequence[Spot], seen: Samples, at: Array, noise: Array, *, light: str,
    observer: int,
) -> Photographed:  # fmt: skip
    missed, card = calibration.missed, calibration.chart.card
    where, unsure = _light_at(calibration, at)
    colours = calibration.lab(seen.mean, where)
    of_light = Z95 * difference(colours, calibration.lab(seen.mean, where, brighter=unsure))
    of_noise = Z95 * noise
    carried = calibration.carried(seen.mean, where)
    errors = np.sqrt((calibration.spread * carried) ** 2 + of_noise**2 + of_light**2)
    outside = carried > calibration.most_carried
    return Photographed(
        light=light,
        observer=observer,
        spots=tuple(
            SpotColour(spot=spot, lab=colour, error=float(e), of_noise=float(n), of_light=float(u), outside=bool(out))
            for spot, colour, e, n, u, out in zip(spots, colours, errors, of_noise, of_light, outside, strict=True)
        ),
        calibration=calibration,
        missed_mean=float(missed.mean()),
        missed_95=float(np.quantile(missed, 0.95)),
        missed_most=float(missed.max()),
        card_places=0 if card is None else len(card.at),
        left_out=tuple(name for name, used in zip(PATCHES, calibration.chart.use, strict=True) if not used),
        warnings=tuple(_warnings(calibration, spots, outside)),
    )


def _warnings(calibration: Calibration, spots: Sequence[Spot], outside: NDArray[np.bool_]) -> list[str]:
    told = [NOT_AN_OBSERVER]
    if calibration.chart.card is None:
        told.append(
            "no white card shows how evenly the light falls: name four places or more of one, on all sides; until then "
            "the error allows for what may be"
        )
    beyond = [spot.where for spot, out in zip(spots, outside, strict=True) if out]
    if beyond:
        told.append(f"outside of what the chart's colours span, so that the error is a guess: {', '.join(beyond)}")
    return told


def _light_at(calibration: Calibration, at: Array) -> tuple[Array, Array]:
    """Where the light is taken from for each spot, shape (n, 2), and its standard deviation, shape (n,) [log]."""
    if calibration.chart.card is not None:
        return at, calibration.chart.card.error(calibration.chart.card_linear(calibration.unknowns), at)
    nearest = beside_chart(at)
    slope, covariance = calibration.unknowns[FALL], calibration.covariance[FALL, FALL]
    carried_on = (at - nearest) @ slope
    chance = np.einsum("ni,ij,nj->n", at, covariance, at)
    return nearest, np.sqrt(carried_on**2 + chance)


def _span(calibration: Calibration, at: Array, spots_at: Array) -> tuple[float, float | None]:
    """How far the light changes over all places, and what a white card's field leaves over [log]."""
    chart, unknowns = calibration.chart, calibration.unknowns
    there = chart.fall(unknowns, np.concatenate((at, spots_at)))
    if chart.card is None:
        return float(np.abs(there[24:]).max(initial=0.0)), None
    return float(np.ptp(there, axis=0).max()), chart.card.left_over(chart.card_linear(unknowns))


def _chance(calibration: Calibration, samples: Samples, at: Array) -> tuple[Array, Array]:
    """Standard deviation of each mean by its ninths, and the farthest ninth, shapes (n,) [CIEDE2000]."""
    middle = calibration.lab(samples.mean, at)
    cells = np.moveaxis(samples.cells, 1, 0)
    apart = np.stack([difference(middle, calibration.lab(cell, at)) for cell in cells])
    return np.sqrt((apart**2).sum(axis=0) / (CELLS**2 - 1)) / CELLS, apart.max(axis=0)
