"""A blend drawn against thickness: how it hides, how light passes, and its colours from thin to thick below."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.colorimetry import Viewing
from tint.palette import Palette
from tint.proofs import words
from tint.proofs.lettering import line_height
from tint.proofs.lettering import text_width as width_of
from tint.proofs.picture import DARK, LINE, PAPER, QUIET, Box, Item, Patch, Pointer, Raster, Text, paint, paragraph
from tint.proofs.plotting import DASHES, LINE_WIDTH, UNCAST, Curves, draw_curves
from tint.translucency import Course, Translucency, course, hiding_in_words

Array = NDArray[np.float64]

WIDTH = 1600
_MARGIN, _LEFT, _RIGHT = 64, 250, 1536
_HEIGHT = 400  # of the curves
_BAND, _BARE, _GAP = 104, 16, 18  # a band, the bare backing that shows above and below it, and what parts two
_TITLE, _BODY = 36, 22
_STEPS_MM = (0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
CLIPPED_LINE = (
    "Dashed edge of a band: the true colour is beyond a screen; the band shows the nearest a screen can show."
)


@dataclass(frozen=True)
class Layout:
    """Where things stand on the picture [px].

    Parameters
    ----------
    canvas, curves : Box
    bands : tuple of Box
        Over the darkest backing, over the lightest, lit from behind; bare backing or lamp not counted.
    span_mm : tuple of float
        Thickness at the left and the right edge of curves and bands [mm].
    hides : Box, optional
        The mark where it hides.
    """

    canvas: Box
    curves: Box
    bands: tuple[Box, ...]
    span_mm: tuple[float, float]
    hides: Box | None


def draw_translucency(palette: Palette, sheet: Translucency) -> bytes:
    """A picture of a blend against thickness.

    Parameters
    ----------
    palette : Palette
    sheet : Translucency
        At two thicknesses or more, as `tint.translucency.translucency` gives it.

    Returns
    -------
    bytes
        A PNG tagged sRGB, the same for the same input.

    Raises
    ------
    JobError
        If matplotlib is not installed.
    """
    items, layout = compose(palette, sheet)
    return paint(layout.canvas, items)


def translucency_layout(palette: Palette, sheet: Translucency) -> Layout:
    """Where `draw_translucency` puts things, for the same arguments."""
    return compose(palette, sheet)[1]


def compose(palette: Palette, sheet: Translucency) -> tuple[list[Item], Layout]:
    """Every item of the picture, in the order of painting, and the boxes of what matters."""
    setting = sheet.appearances[0].setting
    span = float(sheet.thickness_mm.min()), float(sheet.thickness_mm.max())
    columns = span[0] + (np.arange(_RIGHT - _LEFT) + 0.5) / (_RIGHT - _LEFT) * (span[1] - span[0])
    run = course(palette, sheet.blend, setting=setting, thickness_mm=columns)
    items, top = _head(palette, sheet)
    curves = Box(_LEFT, top + 40, _RIGHT, top + 40 + _HEIGHT)
    items += _curves(palette, sheet, run, curves, span)
    more, hides = _mark(sheet, curves, span)
    items += more
    more, top = _scales(curves, span)
    items += more
    more, bands, clipped = _bands(palette, run, setting.viewing(palette), top + 14)
    items += more
    more, bottom = _foot(palette, sheet, bands[-1].bottom + _BARE + 26, clipped=clipped)
    return [*items, *more], Layout(Box(0, 0, WIDTH, bottom + 44), curves, bands, span, hides)


def _head(palette: Palette, sheet: Translucency) -> tuple[list[Item], int]:
    width = WIDTH - 2 * _MARGIN
    title, top = paragraph(str(sheet.blend), left=_MARGIN, top=36, width=width, size=_TITLE)
    holds = f"{palette.name}, against thickness. It holds for {sheet.conditions}."
    line, top = paragraph(holds, left=_MARGIN, top=top + 4, width=width, size=_BODY, ink=QUIET)
    rule = Patch(Box(_MARGIN, top + 14, WIDTH - _MARGIN, top + 16), DARK)
    legend, top = _legend(top + 36)
    return [*title, *line, rule, *legend], top


def _legend(top: int) -> tuple[list[Item], int]:
    """Samples of the curves, each with its name."""
    middle, left = top + line_height(_BODY) // 2, _LEFT
    items: list[Item] = []
    for name in (
        "contrast ratio, 95 times in 100 within the grey",
        "light passed, of the free slab",
        "outside the swatches",
    ):
        sample = Box(left, middle - LINE_WIDTH // 2, left + 58, middle + LINE_WIDTH // 2)
        if name.startswith("outside"):
            items += [Patch(Box(left, middle - 11, left + 58, middle + 11), LINE)]
            items += [Patch(Box(left + 1, middle - 10, left + 57, middle + 10), UNCAST)]
        elif name.startswith("light"):
            items += [Patch(dash, QUIET) for dash in _dashes(sample)]
        else:
            items.append(Patch(sample, DARK))
        items.append(_text(name, left + 72, top))
        left += 72 + width_of(name, _BODY) + 44
    return items, top + line_height(_BODY)


def _dashes(along: Box) -> list[Box]:
    on, off = (round(length) for length in DASHES)
    starts = range(along.left, along.right, on + off)
    return [Box(start, along.top, min(start + on, along.right), along.bottom) for start in starts]


def _curves(palette: Palette, sheet: Translucency, run: Course, box: Box, span: tuple[float, float]) -> list[Item]:
    errors = [look.contrast_ratio_error for look in sheet.appearances]
    drawn = Curves(
        thickness_mm=run.thickness_mm,
        contrast_ratio=run.contrast_ratio,
        contrast_ratio_error=np.interp(run.thickness_mm, sheet.thickness_mm, errors),
        transmittance=run.luminous_transmittance,
        span_mm=span,
        cast_mm=palette.seen[sheet.blend.base].thickness_mm,
        marked_mm=sheet.hides_at_mm,
        ticks_mm=_ticks(span),
    )
    return [Raster(box, draw_curves(drawn, width=box.width, height=box.height))]


def _mark(sheet: Translucency, curves: Box, span: tuple[float, float]) -> tuple[list[Item], Box | None]:
    """Where the blend hides, above the curves; nothing when that is outside them."""
    depth = sheet.hides_at_mm
    if depth is None or not span[0] <= depth <= span[1]:
        return [], None
    at = _place(depth, curves, span)
    pointer = Box(at - 11, curves.top - 25, at + 11, curves.top - 3)
    said = f"hides from {depth:.3g} mm"
    right = pointer.right + 10
    left = right if right + width_of(said, _BODY) <= curves.right else pointer.left - 10 - width_of(said, _BODY)
    return [Pointer(pointer), _text(said, left, curves.top - 30)], pointer


def _scales(curves: Box, span: tuple[float, float]) -> tuple[list[Item], int]:
    items: list[Item] = []
    for share in np.linspace(0.0, 1.0, 6):
        said, middle = f"{share:.1f}", round(curves.bottom - share * curves.height)
        items.append(_text(said, curves.left - 14 - width_of(said, _BODY), middle - line_height(_BODY) // 2))
    for depth in _ticks(span):
        said = f"{depth:g}"
        items.append(_text(said, _place(depth, curves, span) - width_of(said, _BODY) // 2, curves.bottom + 16))
    unit = "thickness, mm"
    items.append(_text(unit, curves.left - 30 - width_of(unit, _BODY), curves.bottom + 16, QUIET))
    return items, curves.bottom + 16 + line_height(_BODY)


def _bands(palette: Palette, run: Course, view: Viewing, top: int) -> tuple[list[Item], tuple[Box, ...], bool]:
    """The colours along the thickness, each on what lies bare behind it."""
    lamp = np.ones_like(palette.wavelengths)
    behind = [palette.backing(palette.black), palette.backing(palette.white), lamp]
    names = [f"over {palette.black}", f"over {palette.white}", "lit from behind"]
    labs = [run.lab_black, run.lab_white, run.lab_from_behind]
    items: list[Item] = []
    boxes, clipped = [], False
    for name, bare, lab in zip(names, behind, labs, strict=True):
        whole = Box(_LEFT, top, _RIGHT, top + _BAND)
        box = Box(_LEFT, top + _BARE, _RIGHT, top + _BAND - _BARE)
        colours, shown = _levels(lab, view)
        ground, _ = _levels(colorimetry.lab(np.asarray(bare), view), view)
        items += [Patch(whole.grown(1), LINE), Patch(whole, _ink(ground))]
        items.append(Raster(box, np.broadcast_to(colours, (box.height, *colours.shape)).copy()))
        edges = _clipped(shown, box)
        lines, _ = paragraph(name, left=_MARGIN, top=top + 36, width=_LEFT - _MARGIN - 16, size=_BODY)
        items += [*edges, *lines]
        clipped = clipped or bool(edges)
        boxes.append(box)
        top = whole.bottom + _GAP
    return items, tuple(boxes), clipped


def _clipped(shown: NDArray[np.bool_], box: Box) -> list[Item]:
    """A line of dark and light dashes along the lower edge of a band where a screen cannot show it."""
    edge = Box(box.left, box.bottom, box.right, box.bottom + 3)
    dashes = [dash for dash in _dashes(edge) if not shown[dash.left - box.left]]
    grounds = [
        Box(dash.left, dash.top, min(dash.left + round(sum(DASHES)), edge.right), edge.bottom) for dash in dashes
    ]
    return [*(Patch(ground, PAPER) for ground in grounds), *(Patch(dash, DARK) for dash in dashes)]


def _levels(lab: Array, view: Viewing) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    signal, shown = colorimetry.lab_to_srgb(lab, view)
    return np.rint(255.0 * signal).astype(np.uint8), shown


def _ink(levels: NDArray[np.uint8]) -> tuple[int, int, int]:
    red, green, blue = (int(level) for level in levels)
    return red, green, blue


def _foot(palette: Palette, sheet: Translucency, top: int, *, clipped: bool) -> tuple[list[Item], int]:
    width = WIDTH - 2 * _MARGIN
    items: list[Item] = [Patch(Box(_MARGIN, top, WIDTH - _MARGIN, top + 1), LINE)]
    top += 16
    hides = f"It {hiding_in_words(palette, sheet.blend.base, sheet.hides_at_mm)}."
    cautions = [f"Take care: {warning}." for warning in sheet.warnings]
    notes = [CLIPPED_LINE] if clipped else []
    for line in (hides, *cautions, *notes, words.SCREEN_LINE, words.RATIO_LINE):
        ink = QUIET if line == words.RATIO_LINE else DARK
        lines, top = paragraph(line, left=_MARGIN, top=top, width=width, size=_BODY, ink=ink)
        items += lines
    return items, top


def _ticks(span: tuple[float, float]) -> list[float]:
    """Round thicknesses, about a dozen."""
    step = next((step for step in _STEPS_MM if (span[1] - span[0]) / step <= 13.0), _STEPS_MM[-1])
    first, last = math.ceil(span[0] / step - 1e-9), math.floor(span[1] / step + 1e-9)
    return [round(at * step, 9) for at in range(first, last + 1)]


def _place(depth: float, box: Box, span: tuple[float, float]) -> int:
    return round(box.left + (depth - span[0]) / (span[1] - span[0]) * box.width)


def _text(said: str, left: int, top: int, ink: tuple[int, int, int] = DARK) -> Text:
    return Text(Box(left, top, left + width_of(said, _BODY), top + line_height(_BODY)), said, _BODY, ink)
