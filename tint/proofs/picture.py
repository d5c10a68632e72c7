"""Pictures: boxes, words, signs and colours laid out on a canvas, and the canvas as a PNG tagged sRGB.

A picture is a list of items, each with the box it keeps to, so that what is drawn where can be asked before it is
drawn. Every picture is put together from the same parts: a head, titles, figures, colours with captions, a foot.

References
----------
WCAG 2.1, success criterion 1.4.6: letters contrast with the paper by at least 7 to 1 (a test holds `DARK` and `QUIET`).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from PIL import Image, ImageDraw

from tint.proofs import words
from tint.proofs.facts import Chip, Shade
from tint.proofs.lettering import PLAIN, baseline, face_of, font, line_height, spelled, text_width, wrap
from tint.proofs.render import Levels, png

Ink = tuple[int, int, int]

PAPER: Ink = (222, 222, 222)  # neutral, so that it lends no colour to what is judged on it
DARK: Ink = (28, 28, 28)
QUIET: Ink = (64, 64, 64)
LINE: Ink = (140, 140, 140)
WHITE: Ink = (255, 255, 255)

_FINER = 4  # signs are drawn so many times larger and scaled down, for smooth edges; chosen by eye


@dataclass(frozen=True)
class Box:
    """A rectangle of pixels; `right` and `bottom` are the first ones outside [px]."""

    left: int
    top: int
    right: int
    bottom: int

    @property
    def width(self) -> int:
        return self.right - self.left

    @property
    def height(self) -> int:
        return self.bottom - self.top

    @property
    def centre(self) -> tuple[int, int]:
        return (self.left + self.right) // 2, (self.top + self.bottom) // 2

    def grown(self, by: int) -> Box:
        """Moved out by so many pixels on every side."""
        return Box(self.left - by, self.top - by, self.right + by, self.bottom + by)

    def holds(self, other: Box) -> bool:
        """Whether the other lies wholly in this one."""
        across = self.left <= other.left and other.right <= self.right
        return across and self.top <= other.top and other.bottom <= self.bottom

    def meets(self, other: Box) -> bool:
        """Whether the two share a pixel."""
        across = max(self.left, other.left) < min(self.right, other.right)
        return across and max(self.top, other.top) < min(self.bottom, other.bottom)

    def columns(self, count: int) -> tuple[Box, ...]:
        """Cut into so many columns that share edges."""
        edges = [self.left + self.width * at // count for at in range(count + 1)]
        return tuple(Box(a, self.top, b, self.bottom) for a, b in itertools.pairwise(edges))

    def rows(self, count: int) -> tuple[Box, ...]:
        """Cut into so many rows that share edges."""
        edges = [self.top + self.height * at // count for at in range(count + 1)]
        return tuple(Box(self.left, a, self.right, b) for a, b in itertools.pairwise(edges))


@dataclass(frozen=True)
class Patch:
    """A box of one flat colour."""

    box: Box
    ink: Ink


@dataclass(frozen=True)
class Text:
    """One line of words."""

    box: Box
    words: str
    size: int
    ink: Ink
    face: str = PLAIN


@dataclass(frozen=True)
class NearSign:
    """A disc with an "about equal": the colour beside it is only the nearest that a screen can show."""

    box: Box


@dataclass(frozen=True)
class Pointer:
    """A triangle that points down."""

    box: Box


@dataclass(frozen=True, eq=False)
class Raster:
    """Pixels drawn elsewhere; as many as the box has, shape (height, width, 3)."""

    box: Box
    pixels: Levels


Item = Patch | Text | NearSign | Pointer | Raster


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture, laid out: what is painted, in the order of painting, and the boxes of what matters, by name."""

    canvas: Box
    items: list[Item]
    boxes: dict[str, Box]


def paragraph(words: str, *, left: int, top: int, width: int, size: int, ink: Ink = DARK) -> tuple[list[Text], int]:
    """Lines of wrapped words from a corner on, and the height at which they end [px]."""
    height, face, lines = line_height(size), face_of(spelled(words)), []
    for line in wrap(words, size=size, width=width):
        lines.append(Text(Box(left, top, left + text_width(line, size, face), top + height), line, size, ink, face))
        top += height
    return lines, top


def paint(picture: Picture) -> bytes:
    """The picture as a PNG that carries the sRGB profile; the same bytes for the same picture."""
    image = Image.new("RGB", (picture.canvas.width, picture.canvas.height), PAPER)
    draw = ImageDraw.Draw(image)
    for item in picture.items:
        box = item.box
        if isinstance(item, Patch):
            draw.rectangle((box.left, box.top, box.right - 1, box.bottom - 1), fill=item.ink)
        elif isinstance(item, Raster):
            image.paste(Image.fromarray(item.pixels), (box.left, box.top))
        elif isinstance(item, Text):
            at = (box.left, box.top + baseline(item.size))
            draw.text(at, item.words, fill=item.ink, font=font(item.size, item.face), anchor="ls")
        else:  # a sign is drawn large over what is there, and laid down small
            corners = (box.left, box.top, box.right, box.bottom)
            large = image.crop(corners).resize((box.width * _FINER, box.height * _FINER), Image.Resampling.NEAREST)
            sketch = _draw_near if isinstance(item, NearSign) else _draw_pointer
            sketch(ImageDraw.Draw(large), large.width)
            image.paste(large.resize((box.width, box.height), Image.Resampling.BOX), corners)
    return png(np.asarray(image))


def _draw_near(draw: ImageDraw.ImageDraw, size: int) -> None:
    draw.ellipse((0, 0, size - 1, size - 1), fill=WHITE, outline=DARK, width=size // 14)
    xs = [size * (0.24 + 0.52 * at / 24) for at in range(25)]
    for middle in (0.40, 0.60):
        wave = [(x, size * (middle - 0.055 * math.sin((x / size - 0.24) / 0.52 * 2.0 * math.pi))) for x in xs]
        draw.line(wave, fill=DARK, width=size // 12, joint="curve")


def _draw_pointer(draw: ImageDraw.ImageDraw, size: int) -> None:
    draw.polygon([(0, 0), (size - 1, 0), (size // 2, size - 1)], fill=DARK)


# What every picture is put together from.

# Sizes [px], chosen by eye: letters of 21 px on 1600 px are read on a laptop without zooming.
WIDTH, MARGIN = 1600, 64
LEFT, RIGHT = MARGIN, WIDTH - MARGIN
TITLE, FIGURE, HEADING, BODY, SMALL = 44, 38, 26, 22, 21
CHIP_SIGN, STEP_SIGN = 34, 28
_FIGURE_WIDTH = 140
_BELOW = 44  # free below the last line


Line = tuple[str, int, Ink]  # words, their size [px] and ink


@dataclass(frozen=True)
class Layout:
    """A picture while it is laid out; what puts words on it returns where they end [px]."""

    items: list[Item] = field(default_factory=list)  # in the order of painting
    boxes: dict[str, Box] = field(default_factory=dict)  # of what matters, by name

    def lines(self, lines: Sequence[Line], left: int, top: int, width: int) -> int:
        """Paragraphs one below the other."""
        for said, size, ink in lines:
            more, top = paragraph(said, left=left, top=top, width=width, size=size, ink=ink)
            self.items.extend(more)
        return top

    def head(self, title: str, told: str) -> int:
        """The top of any picture: its name, what it holds for, a rule."""
        top = self.lines([(title, TITLE, DARK)], LEFT, 36, RIGHT - LEFT)
        top = self.lines([(told, BODY, QUIET)], LEFT, top + 4, RIGHT - LEFT)
        self.items.append(Patch(Box(LEFT, top + 14, RIGHT, top + 16), DARK))
        return top + 34

    def title(self, said: str, left: int, top: int, width: int) -> int:
        """A heading."""
        return self.lines([(said, HEADING, DARK)], left, top, width) + 10

    def figures(self, said: Sequence[tuple[str, str]], left: int, top: int, width: int) -> int:
        """Large figures, each with what it means beside it."""
        down = baseline(FIGURE) - baseline(BODY)
        for figure, meaning in said:
            end = self.lines([(figure, FIGURE, DARK)], left, top, _FIGURE_WIDTH)
            bottom = self.lines([(meaning, BODY, DARK)], left + _FIGURE_WIDTH, top + down, width - _FIGURE_WIDTH)
            top = max(end, bottom) + 2
        return top

    def named(self, name: str, lines: Sequence[str], left: int, top: int, width: int) -> int:
        """A name, and lines below it that are small and quiet."""
        return self.lines([(name, BODY, DARK), *((line, SMALL, QUIET) for line in lines)], left, top, width)

    def caption(self, under: Box, name: str, lines: Sequence[str]) -> int:
        """The same below a colour."""
        return self.named(name, lines, under.left, under.bottom + 8, under.width - 16)

    def frame(self, box: Box) -> None:
        """A thin line around a box, to be painted before what fills it."""
        self.items.append(Patch(box.grown(1), LINE))

    def raster(self, box: Box, pixels: Levels) -> None:
        """Pixels drawn elsewhere, in a thin line."""
        self.frame(box)
        self.items.append(Raster(box, pixels))

    def sign(self, left: int, top: int, size: int = CHIP_SIGN) -> None:
        """The sign of what a screen cannot show."""
        self.items.append(NearSign(Box(left, top, left + size, top + size)))

    def colour(self, box: Box, shade: Shade, *, at_left: bool = False, size: int = CHIP_SIGN) -> None:
        """A colour, with the sign in an upper corner where a screen cannot show it."""
        self.items.append(Patch(box, shade.rgb))
        if not shade.exact:
            self.sign(box.left + 8 if at_left else box.right - 8 - size, box.top + 8, size)

    def chips(self, chips: Sequence[Chip], strip: Box, *, gap: int = 0) -> tuple[int, list[tuple[Box, ...]]]:
        """Colours side by side in a strip with their captions: where they end, and each chip's boxes."""
        if not gap:
            self.frame(strip)
        boxes, ends = [], [strip.bottom]
        wider = Box(strip.left, strip.top, strip.right + gap, strip.bottom)
        for column, chip in zip(wider.columns(max(len(chips), 1)), chips, strict=False):
            box = Box(column.left, column.top, column.right - gap, column.bottom)
            parts = box.columns(max(len(chip.shades), 1))
            if gap:
                self.frame(box)
            for at, (part, shade) in enumerate(zip(parts, chip.shades, strict=False)):
                self.colour(part, shade, at_left=at == 0 and len(parts) > 1)
            if chip.photo is not None:
                self.items.append(Raster(box, chip.photo.fitted(box.width, box.height)))
            boxes.append(parts)
            ends.append(self.caption(box, chip.name, chip.told))
        return max(ends), boxes

    def finished(
        self, top: int, *, told: Sequence[str], quiet: Sequence[str] = (), width: int = WIDTH, margin: int = MARGIN,
        size: int = BODY,
    ) -> Picture:  # fmt: skip
        """The picture with its foot: a rule, what its signs mean where it has any, then lines dark and quiet."""
        left, right = margin, width - margin
        signs = any(isinstance(item, NearSign) for item in self.items)
        self.items.append(Patch(Box(left, top, right, top + 1), LINE))
        top += 16
        if signs:
            self.sign(left, top + 1, STEP_SIGN)
            beside = left + STEP_SIGN + 10
            top = self.lines([(words.NEAREST_LINE, size, DARK)], beside, top, right - beside)
        lines = [*((line, size, DARK) for line in told), *((line, size, QUIET) for line in quiet)]
        top = self.lines(lines, left, top, right - left)
        return Picture(Box(0, 0, width, top + _BELOW), self.items, self.boxes)
