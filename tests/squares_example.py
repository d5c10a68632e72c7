"""Drawn photographs of castings beside label squares: where everything lies, and its colour, is known."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from tint.colorimetry import chart_lab, lab_to_xyz
from tint.photographs import Picture
from tint.photographs.squares import CASTING, MARGIN, MIDDLE, Square

Array = NDArray[np.float64]
Canvas = NDArray[np.float32]

WIDE, HIGH, PER_MM = 420.0, 320.0, 4.0  # of the table [mm], and what it is drawn with [px/mm]
SIDE = 10.0  # of a square [mm]
CHART_AT, PITCH, PATCH = np.array([160.0, 20.0]), 20.0, 17.0
CELL = 60.0
# Rows of places, by the middle of the first [mm]: castings over black, then over white; the rest is bare white card.
OVER_BLACK, OVER_WHITE = 142.0, 250.0
BARE_WHITE = [(30, 30), (30, 80), (330, 30), (330, 80), (90, 200), (270, 200), (30, 295), (210, 295), (370, 295)]
COUNT = 6  # castings
_TO_LINEAR = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])  # IEC 61966
_MARKS = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_ARUCO_MIP_36h12)


@dataclass(frozen=True, kw_only=True)
class Scene:
    """How a table is laid and photographed; `hidden` squares are covered, `swapped` castings lie in each other's place.

    `tilt` is the standard deviation of how labels are turned [degrees], half of them by 180 besides; `blur` that of a
    soft picture [px], `noise` that of a pixel, `uneven` the share by which light falls from the left to the right.
    On the `wrong_side` every casting lies left of its square, and a finger's width right of the square before.
    """

    seed: int = 1
    tilt: float = 6.0
    slant: float = 0.08
    blur: float = 0.8
    noise: float = 0.006
    uneven: float = 0.12
    pixels_per_mm: float = 3.6
    hidden: tuple[int, ...] = ()
    swapped: tuple[int, int] | None = None
    twice: int | None = None
    wrong_side: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class Drawn:
    """A photograph, the table of its squares, and by number where each square's place is [px], which was drawn."""

    picture: Picture
    squares: dict[int, Square]
    middles: dict[int, Array]
    corners: Array
    side_px: float = field(default=0.0)


def table_of(first: int = 40) -> dict[int, Square]:
    """Castings over black, over white, then bare places."""
    named = [(f"s{at}", card) for card in ("black", "white") for at in range(COUNT)]
    rows = [*named, ("black", ""), *[("white", "")] * len(BARE_WHITE)]
    return {
        first + at: Square(number=first + at, name=name, backing=card, seat="air" if card else "")
        for at, (name, card) in enumerate(rows)
    }


def places(scene: Scene) -> list[tuple[float, float]]:
    """Middles of label and casting together, in the order of the table [mm]."""
    black = [(30.0 + CELL * at, OVER_BLACK) for at in range(COUNT + 1)]
    white = [(30.0 + CELL * at, OVER_WHITE) for at in range(COUNT)]
    if scene.wrong_side:
        pitch = SIDE * (1.0 + 2.0 * MARGIN + CASTING + 0.75)
        black[:COUNT], white = ([(60.0 + pitch * at, y) for at in range(COUNT)] for y in (OVER_BLACK, OVER_WHITE))
    every = [*black[:COUNT], *white, black[COUNT], *BARE_WHITE]
    if scene.swapped:
        one, other = scene.swapped
        every[one], every[other] = every[other], every[one]
    return every


def draw(scene: Scene = Scene()) -> Drawn:  # it is frozen
    rng = np.random.default_rng(scene.seed)
    squares = table_of()
    canvas = np.full((round(HIGH * PER_MM), round(WIDE * PER_MM), 3), 0.82, dtype=np.float32)
    _box(canvas, (WIDE / 2, OVER_BLACK), (WIDE, 50.0), 0.0, np.full(3, 0.035))
    _chart(canvas)
    colours = rng.uniform(0.04, 0.7, (COUNT, 3))
    middles, spots = {}, places(scene)
    drawn = list(zip(squares, spots, strict=True))
    if scene.twice is not None:
        drawn += [(scene.twice, (390.0, OVER_WHITE))]
    for number, place in drawn:
        flip = 0 if scene.wrong_side else rng.integers(2)
        turn = np.deg2rad(scene.tilt * rng.standard_normal() + 180.0 * flip)
        along = np.array([np.cos(turn), np.sin(turn)])
        reach = 0.5 * (MIDDLE + 0.5 * CASTING - 0.5 - MARGIN)  # from the middle of both to that of the square
        square = np.array(place) - along * SIDE * reach
        casting = square + along * SIDE * MIDDLE * (-1.0 if scene.wrong_side else 1.0)
        middles[number] = casting
        told = squares[number]
        if told.backing:
            colour = colours[int(told.name[1:])] * (0.85 if told.backing == "black" else 1.0)
            _box(canvas, casting, (CASTING * SIDE, CASTING * SIDE), turn, colour)
        _label(canvas, square, turn, number, hidden=number in scene.hidden)
    return _taken(canvas, scene, rng, squares, middles)


def _taken(
    canvas: Canvas, scene: Scene, rng: np.random.Generator, squares: dict[int, Square], middles: dict[int, Array]
) -> Drawn:
    width, height = round(WIDE * scene.pixels_per_mm), round(HIGH * scene.pixels_per_mm)
    edge = np.array([[0, 0], [WIDE, 0], [WIDE, HIGH], [0, HIGH]])
    inner = rng.uniform(0.0, scene.slant, (4, 2)) * np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])
    view = (edge / [WIDE, HIGH] + inner) * [width - 1, height - 1]
    matrix = cv2.getPerspectiveTransform((edge * PER_MM).astype(np.float32), view.astype(np.float32))
    seen = cv2.warpPerspective(canvas, matrix, (width, height), flags=cv2.INTER_LINEAR, borderValue=(0.5, 0.5, 0.5))
    x, y = np.meshgrid(np.linspace(0, 1, width), np.linspace(-1, 1, height))
    seen = seen * (0.92 * (1.0 - scene.uneven * x - 0.05 * y * y))[..., None].astype(np.float32)
    seen = cv2.GaussianBlur(seen, (0, 0), scene.blur) if scene.blur else seen
    coded = np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * np.maximum(seen, 1e-9) ** (1 / 2.4) - 0.055)
    coded = coded + scene.noise * rng.standard_normal(coded.shape, dtype=np.float32)
    pixels = np.rint(255.0 * np.clip(coded, 0.0, 1.0)).astype(np.uint8)

    def moved(points: Array) -> Array:
        told = cv2.perspectiveTransform((PER_MM * points).reshape(-1, 1, 2).astype(np.float64), matrix)
        return np.asarray(told.reshape(-1, 2), dtype=np.float64)

    corners = CHART_AT + PITCH * np.array([[0, 0], [5, 0], [5, 3], [0, 3]])
    return Drawn(
        picture=Picture(pixels, "drawn"),
        squares=squares,
        middles={number: moved(at)[0] for number, at in middles.items()},
        corners=moved(corners),
        side_px=SIDE * scene.pixels_per_mm,
    )


def _chart(canvas: Canvas) -> None:
    white = np.array([0.9481, 1.0, 1.0730])  # D65, 10 degrees
    linear = np.clip(lab_to_xyz(chart_lab(), white) @ _TO_LINEAR.T, 0.004, 1.0)
    _box(canvas, CHART_AT + PITCH * np.array([2.5, 1.5]), (6.4 * PITCH, 4.4 * PITCH), 0.0, np.full(3, 0.03))
    for at, colour in enumerate(linear):
        _box(canvas, CHART_AT + PITCH * np.array([at % 6, at // 6]), (PATCH, PATCH), 0.0, colour)


def _label(canvas: Canvas, middle: Array, turn: float, number: int, *, hidden: bool) -> None:
    paper = (1.0 + 2.0 * MARGIN) * SIDE
    _box(canvas, middle, (paper, paper), turn, np.full(3, 0.8))
    along, down = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    cells = cv2.aruco.generateImageMarker(_MARKS, number, 8) > 0
    for row in range(8):
        for column in range(8):
            if not cells[row, column]:
                at = middle + SIDE * ((column - 3.5) / 8 * along + (row - 3.5) / 8 * down)
                _box(canvas, at, (1.02 * SIDE / 8, 1.02 * SIDE / 8), turn, np.full(3, 0.03))
    if hidden:
        _box(canvas, middle - 0.3 * SIDE * along, (0.4 * SIDE, SIDE), turn, np.full(3, 0.5))


def _box(canvas: Canvas, middle: object, size: tuple[float, float], turn: float, colour: Array) -> None:
    along, down = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    signs = 0.5 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    points = np.asarray(middle) + signs[:, :1] * size[0] * along + signs[:, 1:] * size[1] * down
    cv2.fillConvexPoly(canvas, np.rint(points * PER_MM * 16).astype(np.int32), colour.tolist(), cv2.LINE_8, 4)
