"""A colour wanted, as a place in somebody's photograph: with the chart that is in it, or without any.

Without a chart nobody knows its light and its camera. The pixels are then read as a screen would show them. What an
unknown light, white balance, exposure and tone curve leave open is stated as a width, and shown as chips, from which
whoever has the thing itself chooses the nearest.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from tint.colorimetry import Viewing, difference, hex_code, hex_to_srgb, lab_to_srgb, srgb_to_lab
from tint.errors import InputError
from tint.photographs.colours import chart_reference, photograph
from tint.photographs.picture import BOTTOM, TOP, Picture, read_picture, sample
from tint.photographs.places import SQUARE, Spot, find_arrangement, find_corners, locate
from tint.spectra import Array

# Standard deviations of what a photograph of unknown light and camera shows, by tests/figures/mailed.py --learn: two
# cameras, ten lights. Of lightness [L*]; of the logarithm of chroma [-]; of hue [degrees]; of a cast on all [a*, b*].
LIGHTNESS, CHROMA, HUE, CAST = 11.5, 0.33, 18.0, 6.5
CLIPPED = 1.1  # times as much where a channel is at the end of its range
_SAMPLES = 512  # of what may be; a fixed draw, so that equal pictures tell equal widths
_SEED = 20240917
_APART = 1.2  # standard deviations from chip to chip: the nearest is then within half of that, either way
_GREY = 12.0  # C*ab below which nobody names a hue, and a cast tells the colours apart; chosen by eye
SHARE = 1.0 / 24.0  # of the shorter side of a picture: the square that is averaged where none is told

_ROWS = ((1.0, "lighter"), (0.0, ""), (-1.0, "darker"))
_OF_HUE = ((-1.0, 0.0), (0.0, -1.0), (0.0, 0.0), (0.0, 1.0), (1.0, 0.0))  # of hue and of chroma, a column each
_OF_CAST = ((0.0, -1.0), (-1.0, 0.0), (0.0, 0.0), (1.0, 0.0), (0.0, 1.0))  # of a* and of b*
# Unique hues in CIELAB [degrees], nearly those of CIECAM02 (CIE 159:2004, from memory), and how near one is its own.
_UNIQUE = {25.0: "redder", 92.0: "yellower", 164.0: "greener", 237.0: "bluer"}
_OWN = 30.0
_CAST_WORDS = ("bluer", "greener", "", "redder", "yellower")


@dataclass(frozen=True, kw_only=True, eq=False)
class Chartless:
    """What a spot of a photograph without a chart says."""

    lab: Array  # shape (3,): CIELAB as a screen would show the spot [-]
    error: float  # CIEDE2000 that holds 95 times in 100 [-]
    # whether a channel is at the end of its range, so that the colour was purer, lighter or darker than any pixel
    clipped: bool


@dataclass(frozen=True, kw_only=True, eq=False)
class Chip:
    """A colour that the thing in the photograph may have."""

    name: str  # by row and column, as `B3`, the one of the picture itself
    lab: Array  # shape (3,): CIELAB [-]
    srgb: str  # as `#rrggbb`
    words: str  # how it differs from the one in the picture; blank for that


def spot_values(picture: Picture, x: float, y: float, *, size: float | None = None) -> Array:
    """The mean of a square in a picture, without specks, shape (3,) [0 to 1].

    `x`, `y`: its middle [px].
    `size`: its side, as of `side_of` [px].
    Raises InputError if it reaches out of the picture, or is too small or too large.
    """
    where = f"{picture.file}, spot {x:g}, {y:g}"
    side = side_of(picture, size)
    if not 4.0 <= side <= min(picture.width, picture.height):
        raise InputError(where, f"{side:g} pixels across", "4 and more, and inside the picture")
    quad = np.array([x, y]) + 0.5 * side * SQUARE
    if not picture.holds(quad):
        raise InputError(where, "reaches out of the picture", f"a place within {picture.width} x {picture.height}")
    return np.asarray(sample(picture, quad[None]).mean[0])


def side_of(picture: Picture, size: float | None) -> float:
    """Side of the square that is averaged: the one told, else a 24th of the picture's shorter side [px]."""
    return SHARE * min(picture.width, picture.height) if size is None else size


def chartless_colour(values: ArrayLike, view: Viewing) -> Chartless:
    """The colour of a spot, and its width; `values` (3,) are red, green and blue as the file holds them [0 to 1]."""
    level = np.asarray(values, dtype=float)
    clipped = bool((level >= TOP / 255.0).any() or (level <= BOTTOM / 255.0).any())
    lab = srgb_to_lab(level, view)
    draws = np.random.default_rng(_SEED).standard_normal((_SAMPLES, 5)) * (CLIPPED if clipped else 1.0)
    error = float(np.quantile(difference(lab, moved(lab, draws)), 0.95))
    return Chartless(lab=lab, error=error, clipped=clipped)


def moved(lab: Array, by: ArrayLike) -> Array:
    """Colours so many standard deviations away, shape (n, 5) to (n, 3): lightness, chroma, hue, cast of a* and b*."""
    step = np.asarray(by, dtype=float)
    light, warm = float(lab[0]), complex(lab[1], lab[2])
    dim = 0.5 + 0.5 * min(light / 50.0, 1.0)  # what is nearly black scatters less
    turned = warm * np.exp(CHROMA * step[:, 1] + 1j * np.radians(HUE) * step[:, 2])
    a, b = turned.real + dim * CAST * step[:, 3], turned.imag + dim * CAST * step[:, 4]
    return np.stack((np.clip(light + dim * LIGHTNESS * step[:, 0], 0.0, 100.0), a, b), axis=-1)


def chips_of(colour: Chartless, view: Viewing) -> tuple[Chip, ...]:
    """The span of what a spot may be, as three rows of five chips, lighter ones first."""
    wide = _APART * (CLIPPED if colour.clipped else 1.0)
    of_cast = float(np.hypot(*colour.lab[1:])) < _GREY
    columns = [(0.0, 0.0, *each) for each in _OF_CAST] if of_cast else [(c, h, 0.0, 0.0) for h, c in _OF_HUE]
    words = _CAST_WORDS if of_cast else _hue_words(colour.lab)
    chips = []
    for row, (up, lightness) in zip("ABC", _ROWS, strict=True):
        labs = moved(colour.lab, wide * np.array([(up, *column) for column in columns]))
        # What a screen cannot show nobody can choose: a chip is the colour that is shown.
        codes = [hex_code(each) for each in lab_to_srgb(labs, view)[0]]
        for at, (code, aside) in enumerate(zip(codes, words, strict=True), start=1):
            told = " and ".join(word for word in (lightness, aside) if word)
            chips.append(Chip(name=f"{row}{at}", lab=srgb_to_lab(hex_to_srgb(code), view), srgb=code, words=told))
    return tuple(chips)


def _hue_words(lab: Array) -> tuple[str, ...]:
    """What a colour becomes when its hue turns back and on: towards the next unique hue that is not its own."""
    angle = float(np.degrees(np.arctan2(lab[2], lab[1])))
    ahead = {word: (hue - angle) % 360.0 for hue, word in _UNIQUE.items()}
    on = min((word for word in ahead if ahead[word] > _OWN), key=ahead.__getitem__)
    back = max((word for word in ahead if ahead[word] < 360.0 - _OWN), key=ahead.__getitem__)
    return back, "greyer", "", "purer", on


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

    InputError if it is told otherwise.
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

    InputError if there is no such picture, place or chip; JobError if the picture has no chart that can be found, or is
    not good enough for it.
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
