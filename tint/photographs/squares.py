"""Label squares: printed marks that lie beside castings in a photograph, and say which casting lies where.

A square is a mark of the open ArUco scheme, dictionary MIP 36h12: 250 numbers of 36 bits that differ from each other,
however they are turned, by 12 bits or more (Garrido-Jurado, Munoz-Salinas, Madrid-Cuevas and Medina-Carnicer 2016,
Pattern Recognition 51, 481; from memory). Their mirror images, too, differ from all of them by 6 bits, which smaller
dictionaries do not keep to. OpenCV draws and finds them, where it is installed.

All lengths are in sides of the square, so that it may be printed in any size. Its casting lies right of it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tint.colorimetry import difference
from tint.errors import InputError, JobError, listed
from tint.photographs.colours import Photographed
from tint.photographs.picture import Picture, sample
from tint.photographs.places import SQUARE, Named, Places, Spot, homography, moved
from tint.spectra import Array

SQUARES_FILE = "squares.csv"  # in the swatch folder
NUMBERS = 250  # of the dictionary
CELLS = 8  # of a mark, along each side: six of bits, within a black border
# In sides of the square: white paper around it, a casting as the labels are cut for, and of what lies there the middle
# that is read. The casting begins where the paper ends.
MARGIN, CASTING, READ = 0.25, 2.5, 1.0
MIDDLE = 0.5 + MARGIN + 0.5 * CASTING  # of the casting, from the middle of the square to its right
# Bits that may be wrong in a square that is taken all the same. Of a square and another's mirror image 6 differ, so
# that 4 would have to be wrong besides.
MOST_WRONG = 2
_WORKING_SIDE = 2400  # pixels: larger pictures are scaled down to it before squares are looked for
_LEAST_PART = 0.02  # of the picture's longer side: the smallest way round a square that is looked for
_SAME = 0.5  # sides: two finds of one number so near to each other are one square
# CIEDE2000 from the bare card: below it no casting seems to lie there. Common practice for a difference that an eye
# sees in passing, no source.
_BARE = 1.0

# Where a casting that touches its label must be, too, with room for a gap: else it lies on the other side, and what is
# read is the casting of the next label. [sides from the middle of the square]
_NEAR, _FAR, _HIGH = 1.1, 1.4, 0.5
# How far that may be from what is read, as a share of the picture's range in a channel. Castings of one colour come to
# 0.01 in the pictures of tests/figures/squares.py; real ones are less even at their edges. No source.
_MOST_APART = 0.04

_SQUARE = 0.5 * SQUARE
_READ = READ * _SQUARE + [MIDDLE, 0.0]
_BESIDE = np.array([[_NEAR, -0.5 * _HIGH], [_FAR, -0.5 * _HIGH], [_FAR, 0.5 * _HIGH], [_NEAR, 0.5 * _HIGH]])
_LABEL = (1.0 + 2.0 * MARGIN) * _SQUARE


@dataclass(frozen=True, kw_only=True)
class Square(Named):
    """What a square stands for: a reading, named as in readings.csv."""

    number: int


@dataclass(frozen=True, eq=False)
class Seen:
    """A square in a photograph."""

    number: int
    corners: Array  # shape (4, 2): from its own upper left, round as it was printed [px]


@dataclass(frozen=True, kw_only=True, eq=False)
class Found:
    """What the squares of a photograph say."""

    spots: tuple[Spot, ...]
    seen: tuple[Seen, ...]  # in the same order
    missing: tuple[Square, ...]  # of the table, and not in the picture

    @property
    def outlines(self) -> Array:
        """The squares, shape (n, 4, 2) [px]."""
        return np.array([each.corners for each in self.seen]).reshape(-1, 4, 2)


def _aruco() -> tuple[Any, Any]:
    """OpenCV's marks and the dictionary; InputError where they cannot be loaded."""
    try:
        import cv2

        return cv2.aruco, cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_ARUCO_MIP_36h12)
    except (ImportError, AttributeError) as error:
        absent = "OpenCV, which draws and finds them, is missing or too old"
        raise InputError("squares", absent, mend="run `pip install 'tint[photo]'`") from error


def cells_of(number: int) -> NDArray[np.bool_]:
    """A mark as it is printed, shape (8, 8), True where paper stays white.

    InputError if OpenCV is missing.
    """
    aruco, dictionary = _aruco()
    drawn: NDArray[np.bool_] = np.asarray(aruco.generateImageMarker(dictionary, number, CELLS)) > 0
    return drawn


def see_squares(picture: Picture) -> list[Seen]:
    """All squares in a photograph, by number; of one that was found twice at a place, one.

    InputError if OpenCV is missing; JobError if the picture is a mirror image.
    """
    pixels, scale = _grey(picture)
    seen = _detected(pixels, scale)
    if not seen and _detected(np.ascontiguousarray(pixels[:, ::-1]), scale):
        raise JobError(picture.file, "it is a mirror image", mend="turn it over; a telephone's front camera makes them")
    return sorted(_once(seen), key=lambda each: each.number)


def _grey(picture: Picture) -> tuple[NDArray[np.uint8], float]:
    """The picture in grey, not larger than is looked at, and by how much it is smaller."""
    import cv2

    grey = np.asarray(cv2.cvtColor(picture.pixels, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    scale = min(_WORKING_SIDE / max(grey.shape), 1.0)
    if scale == 1.0:
        return grey, scale
    size = (max(round(grey.shape[1] * scale), 1), max(round(grey.shape[0] * scale), 1))
    return np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), dtype=np.uint8), scale


def _detected(pixels: NDArray[np.uint8], scale: float) -> list[Seen]:
    aruco, dictionary = _aruco()
    how = aruco.DetectorParameters()
    how.cornerRefinementMethod = aruco.CORNER_REFINE_SUBPIX
    how.adaptiveThreshWinSizeMax = 63  # for blurred squares and large ones; the usual 23 misses them
    how.minMarkerPerimeterRate = _LEAST_PART
    how.errorCorrectionRate = MOST_WRONG / dictionary.maxCorrectionBits
    corners, numbers, _ = aruco.ArucoDetector(dictionary, how).detectMarkers(pixels)
    if numbers is None:
        return []
    places = np.asarray(corners, dtype=float).reshape(-1, 4, 2)
    places = (places + 0.5) / scale - 0.5
    return [Seen(int(number), each) for number, each in zip(np.ravel(numbers), places, strict=True)]


def _once(seen: Sequence[Seen]) -> list[Seen]:
    """Without what was found again at the same place."""
    kept: list[Seen] = []
    for each in seen:
        side = np.sqrt(_area(each.corners))
        middle = each.corners.mean(axis=0)
        same = (
            other.number == each.number and np.linalg.norm(other.corners.mean(axis=0) - middle) < _SAME * side
            for other in kept
        )
        if not any(same):
            kept.append(each)
    return kept


def _area(quad: Array) -> float:
    """Of a quadrilateral [px2]."""
    x, y = quad.T
    return float(0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))))


def by_squares(picture: Picture, squares: Mapping[int, Square]) -> Found:
    """The spots that the squares of a photograph point to; `squares` is the folder's table.

    Raises InputError if OpenCV is missing.
    Raises JobError if there is no square, one that the table does not have, one of a casting twice, a casting out of
        the picture or not beside its label; or the picture is a mirror image.
    """
    seen = see_squares(picture)
    if not seen:
        mend = "print them with `tint start FOLDER --squares`, lay one beside each casting, photograph sharp and large"
        raise JobError(picture.file, "no label square was found", mend=mend)
    unknown = sorted({each.number for each in seen} - set(squares))
    if unknown:
        found = f"square {listed(map(str, unknown))} stands in no row of {SQUARES_FILE}"
        mend = "lay squares that were printed for this folder, or name the folder that they are of"
        raise JobError(picture.file, found, mend=mend)
    for number, times in sorted(Counter(each.number for each in seen).items()):
        if times > 1 and squares[number].backing:
            found = f"its square {number} is seen {times} times"
            raise JobError(squares[number].where, found, mend="leave one in the picture: each casting has its own")
    spots = tuple(_pointed_to(each, squares[each.number]) for each in seen)
    for spot in spots:
        if not picture.holds(np.array(spot.corners)):
            mend = "photograph with room around, the casting right of its square, or cover the square"
            raise JobError(spot.where, "what its square points to is cut off by the edge of the picture", mend=mend)
    _check_touching(picture, seen, spots)
    there = {each.number for each in seen}
    missing = tuple(each for number, each in squares.items() if number not in there)
    return Found(spots=spots, seen=tuple(seen), missing=missing)


def _pointed_to(seen: Seen, square: Square) -> Spot:
    corners = moved(homography(_SQUARE, seen.corners), _READ)
    x, y = corners.mean(axis=0)
    around = tuple((float(x), float(y)) for x, y in corners)
    return Spot(name=square.name, backing=square.backing, seat=square.seat, x=float(x), y=float(y), corners=around)


def apart_from_label(picture: Picture, seen: Sequence[Seen], spots: Sequence[Spot]) -> Array:
    """How far what lies right beside each label is from what is read, shape (n,) [share of the range]."""
    beside = np.array([moved(homography(_SQUARE, each.corners), _BESIDE) for each in seen])
    read = np.array([spot.corners for spot in spots])
    return np.asarray(np.abs(sample(picture, beside).mean - sample(picture, read).mean).max(axis=-1))


def _check_touching(picture: Picture, seen: Sequence[Seen], spots: Sequence[Spot]) -> None:
    """Refuse castings that do not begin at their labels."""
    apart = apart_from_label(picture, seen, spots)
    wrong = [spot.where for spot, far in zip(spots, apart, strict=True) if far > _MOST_APART]
    if wrong:
        more = f", and {len(wrong) - 1} more" if len(wrong) > 1 else ""
        mend = "lay it right of its square, touching the label's thick edge, in light without shadows"
        raise JobError(wrong[0] + more, "what lies right beside the label is not what is read farther on", mend=mend)


def check_apart(found: Found, places: Places) -> None:
    """Refuse spots that lie on each other, on another's label or on the chart.

    `places` are those of the same spots in the same order, or of more after them.
    """
    import cv2

    chart = np.array([places.patches[at][corner] for at, corner in ((0, 0), (5, 1), (23, 2), (18, 3))])
    labels = [moved(homography(_SQUARE, each.corners), _LABEL) for each in found.seen]
    spots = [np.array(spot.corners) for spot in found.spots]
    others = [("the chart", chart)]
    others += [(f"the label of {spot.where}", label) for spot, label in zip(found.spots, labels, strict=True)]
    others += [(f"that of {spot.where}", quad) for spot, quad in zip(found.spots, spots, strict=True)]
    for at, (spot, quad) in enumerate(zip(found.spots, spots, strict=True)):
        for what, other in others[: 1 + len(labels) + at]:  # a pair of spots is looked at once
            if cv2.intersectConvexConvex(quad.astype(np.float32), other.astype(np.float32))[0] > 0.0:
                mend = "lay each casting right of its own square, and a finger's width from all else"
                raise JobError(spot.where, f"the place that its square points to lies on {what}", mend=mend)


def looks_bare(told: Photographed, found: Found) -> list[str]:
    """A word on castings that look like the bare card: they may lie on the wrong side of their squares."""
    cards: dict[str, list[Array]] = {}
    for each in told.spots:
        if not each.spot.backing:
            cards.setdefault(each.spot.name, []).append(each.lab)
    pointed_to = set(found.spots)
    bare = [
        each.spot.where
        for each in told.spots
        if each.spot in pointed_to
        and each.spot.backing in cards
        and float(difference(np.mean(cards[each.spot.backing], axis=0), each.lab)) < _BARE
    ]
    if not bare:
        return []
    names = ", ".join(bare)
    return [f"as the bare card, within {_BARE:g} CIEDE2000: {names}; does the casting lie right of its square?"]
