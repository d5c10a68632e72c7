"""From a photograph and places in it to colours, each with the error that the photograph itself owns to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.colorimetry import PATCHES, chart_lab, chart_spectra, decode, difference, lab_to_xyz, viewing, xyz_to_lab
from tint.colorimetry.chart import root_matrix, root_terms
from tint.photographs import refusals
from tint.photographs.calibration import Calibration, calibrate
from tint.photographs.picture import CELLS, Picture, Samples, sample
from tint.photographs.places import Places, Spot, arrangements, locate
from tint.photographs.response import FALL, LEAST_PLACES, WHITE_PATCH, WhiteCard, beside_chart, card_linear, fall

Array = NDArray[np.float64]

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
    # CIEDE2000 of the chart's patches, each foretold by the others [-]
    missed_mean: float
    missed_95: float
    missed_most: float
    card_places: int  # places of a white card that told how the light falls
    left_out: tuple[str, ...]  # patches that were too pure for the picture
    warnings: tuple[str, ...]


def find_arrangement(picture: Picture, corners: ArrayLike, *, reference: Array, white: Array) -> tuple[Array, float]:
    """Corners in the order of the chart, from whichever they begin, and by how far it is off with a bare matrix.

    Raises
    ------
    InputError
        As `locate`.
    """
    xyz = lab_to_xyz(reference, white)
    best, least = np.asarray(corners, dtype=float), np.inf
    for way in arrangements(best):
        values = sample(picture, locate(way, (), width=picture.width, height=picture.height).patches).mean
        missed = min(_plain_miss(each, reference, xyz, white) for each in (decode(values), values))
        if missed < least:
            best, least = np.asarray(way), missed
    return best, least


def _plain_miss(responses: Array, reference: Array, xyz: Array, white: Array) -> float:
    held = np.maximum(responses, 1e-4)
    found = root_terms(held, 1) @ root_matrix(held, xyz, 1)
    return float(difference(reference, xyz_to_lab(np.maximum(found, 0.0), white)).mean())


def chart_reference(light: str, observer: int) -> tuple[Array, Array]:
    """CIELAB of the usual chart in a light, shape (24, 3), and XYZ of that light's white, shape (3,)."""
    view = viewing(chart_spectra()[0], light=light, observer=observer)
    return chart_lab(light=light, observer=observer), view.white


def photograph(
    picture: Picture,
    places: Places,
    spots: Sequence[Spot],
    *,
    reference: Array,
    white: Array,
    light: str,
    observer: int,
    card: str = "white",
) -> Photographed:
    """Colours of spots in a photograph.

    Parameters
    ----------
    places : Places
        Where the chart and the spots are, the corners in the chart's order.
    reference : ndarray, shape (24, 3)
        CIELAB of the chart in the light asked for [-].
    white : ndarray, shape (3,)
        XYZ of the perfect white in that light.
    light, observer : str, int
        What they hold for.
    card : str
        Name of the spots, without backing, that show one white card: four or more tell how the light falls.

    Raises
    ------
    JobError
        If the photograph is not good enough: each reason is one of `tint.photographs.refusals`.
    """
    patches, seen = sample(picture, places.patches), sample(picture, places.spots)
    use = refusals.check_patches(patches)
    at, spots_at = places.from_chart(places.patches), places.from_chart(places.spots)
    of_card = np.array([spot.name == card and not spot.backing for spot in spots], dtype=bool)
    held = WhiteCard(spots_at[of_card], seen.mean[of_card]) if of_card.sum() >= LEAST_PLACES else None
    calibration = calibrate(patches.mean, at, reference, white=white, use=use, card=held)
    refusals.check_exposure(float(patches.mean[WHITE_PATCH].max()))
    chart_noise, chart_uneven = _chance(calibration, patches, at)
    refusals.check_noise(chart_noise)
    refusals.check_light(*_span(calibration, at, spots_at))
    refusals.check_residual(calibration)
    noise, uneven = _chance(calibration, seen, spots_at)
    refusals.check_spots(spots, seen, uneven, usual=float(np.median(chart_uneven)))
    return _told(calibration, spots, seen, spots_at, noise, light=light, observer=observer)


def _told(
    calibration: Calibration,
    spots: Sequence[Spot],
    seen: Samples,
    at: Array,
    noise: Array,
    *,
    light: str,
    observer: int,
) -> Photographed:
    missed = calibration.missed
    chart_95 = float(np.quantile(missed, 0.95))
    where, unsure = _light_at(calibration, at)
    colours = calibration.lab(seen.mean, where)
    of_light = 1.96 * difference(colours, calibration.lab(seen.mean, where, brighter=unsure))
    of_noise = 1.96 * noise
    carried = calibration.carried(seen.mean, where)
    errors = np.sqrt((calibration.spread * carried) ** 2 + of_noise**2 + of_light**2)
    outside = carried > calibration.most_carried
    card = calibration.seen.card
    return Photographed(
        light=light,
        observer=observer,
        spots=tuple(
            SpotColour(spot=spot, lab=colour, error=float(e), of_noise=float(n), of_light=float(u), outside=bool(out))
            for spot, colour, e, n, u, out in zip(spots, colours, errors, of_noise, of_light, outside, strict=True)
        ),
        calibration=calibration,
        missed_mean=float(missed.mean()),
        missed_95=chart_95,
        missed_most=float(missed.max()),
        card_places=0 if card is None else len(card.at),
        left_out=tuple(name for name, used in zip(PATCHES, calibration.use, strict=True) if not used),
        warnings=tuple(_warnings(calibration, spots, outside)),
    )


def _warnings(calibration: Calibration, spots: Sequence[Spot], outside: NDArray[np.bool_]) -> list[str]:
    told = [NOT_AN_OBSERVER]
    if calibration.seen.card is None:
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
    if calibration.seen.card is not None:
        return at, calibration.seen.card.error(card_linear(calibration.seen, calibration.unknowns), at)
    nearest = beside_chart(at)
    slope, covariance = calibration.unknowns[FALL], calibration.covariance[FALL, FALL]
    carried_on = (at - nearest) @ slope
    chance = np.einsum("ni,ij,nj->n", at, covariance, at)
    return nearest, np.sqrt(carried_on**2 + chance)


def _span(calibration: Calibration, at: Array, spots_at: Array) -> tuple[float, float | None]:
    """How far the light changes over all places, and what a white card's field leaves over [log]."""
    seen, unknowns = calibration.seen, calibration.unknowns
    there = fall(seen, unknowns, np.concatenate((at, spots_at)))
    if seen.card is None:
        return float(np.abs(there[24:]).max(initial=0.0)), None
    return float(np.ptp(there, axis=0).max()), seen.card.left_over(card_linear(seen, unknowns))


def _chance(calibration: Calibration, samples: Samples, at: Array) -> tuple[Array, Array]:
    """Standard deviation of each mean by its ninths, and the farthest ninth, shapes (n,) [CIEDE2000]."""
    middle = calibration.lab(samples.mean, at)
    cells = np.moveaxis(samples.cells, 1, 0)
    apart = np.stack([difference(middle, calibration.lab(cell, at)) for cell in cells])
    return np.sqrt((apart**2).sum(axis=0) / (CELLS**2 - 1)) / CELLS, apart.max(axis=0)
