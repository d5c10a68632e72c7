"""A colour wanted, as a place in somebody's photograph: with the chart that is in it, or without any."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tint.colorimetry import Viewing
from tint.errors import InputError
from tint.photographs.chartless import Chartless, Chip, chartless_colour, chips_of, side_of, spot_values
from tint.photographs.colours import chart_reference, find_arrangement, photograph
from tint.photographs.finding import find_corners
from tint.photographs.picture import Picture, read_picture
from tint.photographs.places import Spot, locate

Array = NDArray[np.float64]

_TOLD = re.compile(r"(?P<file>.+):(?P<x>[\d.]+),(?P<y>[\d.]+)(?:,(?P<size>[\d.]+))?(?::(?P<how>\w+))?")
FORM = "FILE:X,Y[,SIZE][:CHIP], in pixels, as in mail.jpg:812,440"


@dataclass(frozen=True, kw_only=True)
class Mailed:
    """A place in a photograph that shows the colour wanted."""

    file: str
    spot: tuple[float, float]  # its middle [px]
    size: float | None = None  # side of the square that is averaged [px]
    chart: bool = False  # whether a 24-patch chart is in the picture, to be found and calibrated with
    # the chip that was chosen as the nearest, of those that the span of a picture without a chart is shown as
    chip: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Wanted:
    """The colour of a place in a photograph."""

    lab: Array  # shape (3,): CIELAB [-]
    error: float  # CIEDE2000 within which it is known, 95 times in 100 [-]; 0 once a customer has chosen a chip
    words: str  # where it is from, and how well it is known
    picture: Picture
    side: float  # of the square that was averaged [px]
    span: Chartless | None = None  # what a picture without a chart says; None with a chart
    chips: tuple[Chip, ...] = ()  # its span, to choose from; empty with a chart


def mailed_in(text: str) -> Mailed:
    """A place told as `FILE:X,Y`, with a square's side as `,SIZE`, and `:chart` or the name of a chip behind.

    Raises
    ------
    InputError
        If it is told otherwise.
    """
    found = _TOLD.fullmatch(text.strip())
    try:
        x, y, size = (float(found[name] or "nan") for name in ("x", "y", "size")) if found else (np.nan,) * 3
    except ValueError:
        x = np.nan
    if found is None or np.isnan(x):
        raise InputError("photo", f"`{text}`", FORM)
    how = found["how"] or ""
    chart = how.lower() == "chart"
    size_px = None if np.isnan(size) else size
    return Mailed(file=found["file"], spot=(x, y), size=size_px, chart=chart, chip="" if chart else how)


def wanted_colour(mailed: Mailed, view: Viewing) -> Wanted:
    """The colour that a photograph shows at a place, in a light.

    Raises
    ------
    InputError
        If there is no such picture, place or chip.
    JobError
        If the picture has no chart that can be found, or is not good enough for it.
    """
    picture = read_picture(mailed.file, as_srgb=not mailed.chart)
    side = side_of(picture, mailed.size)
    named = f"{Path(mailed.file).name} at {mailed.spot[0]:g}, {mailed.spot[1]:g}"
    if mailed.chart:
        spot = Spot(name=named, backing="", seat="", x=mailed.spot[0], y=mailed.spot[1], size=mailed.size)
        reference, white = chart_reference(view.light, view.observer)
        ways = [find_arrangement(picture, each, reference=reference, white=white) for each in find_corners(picture)]
        corners = min(ways, key=lambda found: found[1])[0]
        places = locate(corners, [spot], width=picture.width, height=picture.height)
        told = photograph(
            picture, places, [spot], reference=reference, white=white, light=view.light, observer=view.observer
        )
        (seen,) = told.spots
        words = f"{named}, photographed with a chart: known within {seen.error:.1f} CIEDE2000"
        return Wanted(lab=seen.lab, error=seen.error, words=words, picture=picture, side=side)
    return _without_chart(mailed, picture, side, view, named)


def _without_chart(mailed: Mailed, picture: Picture, side: float, view: Viewing, named: str) -> Wanted:
    span = chartless_colour(spot_values(picture, *mailed.spot, size=mailed.size), view)
    chips = chips_of(span, view)
    held: dict[str, Any] = {"picture": picture, "side": side, "span": span, "chips": chips}
    if not mailed.chip:
        words = f"{named}, photographed without a chart: known within {span.error:.0f} CIEDE2000 only"
        return Wanted(lab=span.lab, error=span.error, words=words, **held)
    chosen = next((chip for chip in chips if chip.name == mailed.chip.upper()), None)
    if chosen is None:
        names = f"{chips[0].name} to {chips[-1].name}"
        raise InputError("photo, chip", f"`{mailed.chip}`", f"a row from A to C and a column from 1 to 5: {names}")
    words = f"chip {chosen.name}, chosen beside {named}"
    return Wanted(lab=chosen.lab, error=0.0, words=words, **held)
