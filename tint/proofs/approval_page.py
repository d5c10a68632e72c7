"""An approval sheet as a page for a browser, and as a PDF of one page: the same words and colours.

The page needs nothing else: type, pictures and the colours of all that its sliders choose are in the file. The PDF has
its letters inside, and its words can be selected.
"""

from __future__ import annotations

import base64
import io
import json
from typing import TYPE_CHECKING, Any

import numpy as np
from PIL import Image

from tint import colorimetry
from tint.proofs import words
from tint.proofs.approval import Approval
from tint.proofs.facts import Row, Shade, beyond_swatches
from tint.proofs.leaf import INK, QUIET, SMALL, Page, one_page, rendered, uri
from tint.proofs.part_picture import part_light
from tint.proofs.portrait import DASH, Portrait, outlined
from tint.proofs.render import LAMP, THINNEST, bare_spectrum, hollow_spectra, png, spectra_of, to_levels, to_light
from tint.proofs.samples import LIGHTS, named
from tint.spectra import Array, Index

if TYPE_CHECKING:
    from tint.proofs.traced.shown import TracedPart

_STEPS = 96  # of the thickness slider, at most: about one for each pixel it moves on a phone
_POINTS = 512  # of the curve that the part is coloured from in the browser: within a level of 255 (tests)
_NODES = (64, 32)  # thicknesses of near and far wall: straight lines between miss by at most 2 levels (tests)
_SLIDER_WORDS = {LAMP: "with a lamp behind", "none": "with nothing behind it"}
_LEAST, _SPAN = -0.5, 2.5  # linear light that those points hold: a lamp or gloss may pass 1, a clipped channel 0
# Heights on the page as a browser prints it, measured on it [mm].
_ROOM, _FIXED = 255.0, 165.0  # of the shorter paper, and of all but running text on it
_OF_TRIAL, _OF_TRACED = 48.0, 48.0  # their words among it
_LABEL, _GUTTER, _PICTURE, _SLAB = 28.0, 7.0, 50.0, 38.0  # lengths on the PDF, chosen by eye [mm]


def approval_page(sheet: Approval) -> bytes:
    """The sheet as HTML, self-contained.

    Raises InputError if what draws it is not installed.
    """
    explored = _explored(sheet)
    return rendered(
        "approval.html.j2",
        sheet=sheet,
        explored=explored,
        data=json.dumps(explored["data"], separators=(",", ":")),
        part=uri("image/png", part_png(sheet)) if sheet.shown else "",
        traced=uri("image/png", sheet.traced.png) if sheet.traced else "",
        fit=print_size(sheet),
    )


def print_size(sheet: Approval) -> float:
    """By how much the printed page is made smaller so that it stays one: 1 for all but crowded sheets.

    Heights in mm and letters a line are those of the print rules in the template, measured on it.
    """
    told = [(meaning, 82, 3.9) for _, meaning in sheet.terms]
    told += [(line, 102, 3.9) for line in (*sheet.beyond, sheet.promise)]
    told += [(" ".join(sheet.verdict.lines), 110, 4.4)] * bool(sheet.verdict.lines)
    told += [(sheet.asked.words, 80, 4.8)] * bool(sheet.asked.words)
    lights = [" ".join(chip.told) for chip in sheet.lights.chips]
    trial = (_OF_TRIAL if sheet.trial else 0.0) + (_OF_TRACED if sheet.traced else 0.0)
    text = sum(mm * -(-len(line) // letters) for line, letters, mm in told)
    narrow = 3.5 * max(-(-len(line) // 14) for line in lights)
    return min(1.0, max(0.6, _ROOM / (_FIXED + text + narrow + trial)))


def part_png(sheet: Approval) -> bytes:
    """The part as agreed, as a PNG tagged sRGB; nothing without one."""
    if sheet.shown is None:
        return b""
    light = part_light(sheet.palette, sheet.blend, setting=sheet.setting, portrait=sheet.shown.portrait)
    return png(outlined(to_levels(light), sheet.verdict.outline, dash=DASH))


def _explored(sheet: Approval) -> dict[str, Any]:
    """What the sliders choose from, and the colour of every choice."""
    own, overs, over = sheet.setting, slider_backings(sheet), sheet.facts.appearance.over
    depths = slider_thicknesses(own.thickness_mm)
    lights = list(dict.fromkeys((own.light, *LIGHTS)))
    beyond = {"": "", "thin": ", thinner than any swatch", "thick": ", thicker than any swatch"}
    views = [colorimetry.viewing(sheet.palette.wavelengths, light=light, observer=own.observer) for light in lights]
    spectra = _over_each(sheet, overs, np.asarray(depths))
    cards = [bare_spectrum(sheet.palette, each)[None] for each in overs]
    seen = [[_levels(to_light(each, view)) for each in spectra] for view in views]
    data = {
        "thicknesses": [f"{depth:g} mm" for depth in depths],
        "beyond": [beyond[beyond_swatches(sheet.palette, sheet.blend.base, depth)] for depth in depths],
        "backings": [_SLIDER_WORDS.get(each) or words.behind(each) for each in overs],
        "lamp": overs.index(LAMP) if LAMP in overs else -1,
        "lights": [named(light) for light in lights],
        "part": None if sheet.shown is None else _part(sheet, sheet.shown.portrait, overs, views),
        "bare": [[_levels(to_light(card, view))[0][0] for card in cards] for view in views],
        "colours": [[codes for codes, _ in row] for row in seen],
        "exact": [[exact for _, exact in row] for row in seen],
    }
    start = {"thickness": depths.index(own.thickness_mm), "backing": overs.index(over), "light": 0}
    return {"data": data, "start": start}


def _over_each(sheet: Approval, overs: list[str], thickness_mm: Array) -> list[Array]:
    """Spectra of the blend at some thicknesses, by backing."""
    return [
        spectra_of(sheet.palette, sheet.blend, setting=sheet.setting, over=over, thickness_mm=thickness_mm)
        for over in overs
    ]


def slider_thicknesses(own_mm: float) -> list[float]:
    """Round thicknesses from thin to twice the part's own, its own among them [mm]."""
    most = max(2.0 * own_mm, 4.0)
    step = next(step for step in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0) if most / step <= _STEPS or step == 5.0)
    count = int(most / step + 1e-9)
    round_ = {round(step * n, 6) for n in range(1, count + 1)}
    return sorted({*(depth for depth in round_ if abs(depth - own_mm) > 1e-6), own_mm})


def slider_backings(sheet: Approval) -> list[str]:
    """Backings from dark to light, the sheet's own among them, and a lamp behind; its own alone where none is known."""
    if not sheet.palette.tells_opacity:
        return [sheet.facts.appearance.over]
    luminance = sheet.setting.viewing(sheet.palette).weights[:, 1]
    cards = sorted(sheet.palette.backings, key=lambda name: float(sheet.palette.backings[name] @ luminance))
    own = sheet.facts.appearance.over
    return [*(["none"] if own == "none" else []), *cards, LAMP]


def _levels(linear: Array) -> tuple[list[str], list[int]]:
    signal, exact = colorimetry.light_to_srgb(linear)
    return [colorimetry.hex_code(each) for each in signal], exact.astype(int).tolist()


def _part(sheet: Approval, portrait: Portrait, overs: list[str], views: list[colorimetry.Viewing]) -> dict[str, Any]:
    """What the browser colours the part from: thickness and form as a picture, and the curves of light."""
    blank = np.zeros((*portrait.cover.shape, 3), dtype=np.uint8)
    line = outlined(blank, sheet.verdict.outline, dash=DASH)[..., 0]  # the level of a dash; 0 where there is none
    strips: list[tuple[Any, ...]] = [
        (*_in_two_bytes(portrait.thickness_mm, portrait.upto_mm), 255.0 * portrait.cover),
        (200.0 * portrait.shade, 255.0 * np.sqrt(portrait.gloss), line),
    ]
    hollow = None
    if portrait.hollow.any():
        near, far = portrait.both_upto_mm
        how: dict[str, Any] = {"setting": sheet.setting, "near_mm": near, "far_mm": far, "counts": _NODES}
        light = _coded([hollow_spectra(sheet.palette, sheet.blend, over=over, **how) for over in overs], views)
        # Two walls at thicknesses in even ratios up to the thickest of each.
        hollow = {"near": near, "far": far, "least": THINNEST, "nodes": list(_NODES), "light": light}
        strips.append((*_in_two_bytes(portrait.beyond_mm, far), 255.0 * portrait.hollow))  # whether there is a far wall
    packed = np.concatenate([np.stack(strip, axis=-1) for strip in strips])
    out = io.BytesIO()  # numbers, no colours: no profile
    Image.fromarray(np.rint(packed).clip(0, 255).astype(np.uint8)).save(out, format="PNG")
    height, width = portrait.cover.shape
    return {
        "width": width,
        "height": height,
        "map": uri("image/png", out.getvalue()),
        "points": _POINTS,
        "least": _LEAST,
        "span": _SPAN,
        "curves": _coded(_over_each(sheet, overs, portrait.upto_mm * np.linspace(0.0, 1.0, _POINTS) ** 2), views),
        "upto": portrait.upto_mm,
        "hollow": hollow,
    }


def _in_two_bytes(depth: Array, most: float) -> tuple[Index, Index]:
    place = np.rint(65535.0 * np.sqrt(depth / most)).astype(np.int64)
    return place >> 8, place & 255


def _coded(spectra: list[Array], views: list[colorimetry.Viewing]) -> str:
    """Linear light of spectra by backing, as whole numbers by viewing, then by backing, in base 64."""
    linear = np.stack([[to_light(each, view) for each in spectra] for view in views])
    coded = np.rint(np.clip((linear - _LEAST) / _SPAN, 0.0, 1.0) * 65535.0).astype("<u2")
    return base64.b64encode(coded.tobytes()).decode("ascii")


# The PDF.


def approval_pdf(sheet: Approval, *, paper: str = "a4") -> bytes:
    """The sheet as a PDF.

    `paper`: `a4` or `letter`.
    Raises InputError if the typeface is not installed, or the paper is not known.
    Raises JobError if fpdf2 is not installed.
    """
    title = f"{sheet.asked.name}: colour and opacity, for approval"
    return one_page(lambda page: _drawn(page, sheet), paper=paper, title=title, made=sheet.asked.made)


def _drawn(page: Page, sheet: Approval) -> float:
    """Draw the sheet; where it ends."""
    left, width = page.left + _LABEL, page.width - _LABEL
    top = page.paragraph(sheet.asked.name, page.left, 12.0, width=page.width, points=24.0)
    told = f"Colour and opacity, for approval. {sheet.dated}."
    top = page.paragraph(told, page.left, top + 1.0, width=page.width, ink=QUIET)
    if sheet.verdict.lines:
        first = " ".join(sheet.verdict.lines)
        top = page.paragraph(first, page.left, top + 1.0, width=page.width, bold=not sheet.verdict.passes)
    if sheet.asked.words:
        top = _section(page, "You asked for", top)
        top = page.paragraph(f"“{sheet.asked.words}”", left, top, width=width, points=11.0)
    top = _answer(page, sheet, _section(page, "Our answer", top) + 0.6)
    if sheet.traced is not None:
        top = _in_light(page, sheet.traced, _section(page, "In light", top) + 0.6)
    top = _section(page, "What it means", top)
    for term, meaning in sheet.terms:
        page.words(term, left, top, ink=QUIET)
        top = page.paragraph(meaning, left + _LABEL, top, width=width - _LABEL) + 0.2
    if sheet.trial:
        top = page.row(sheet.trial.row, left, _section(page, "The trial", top) + 0.6, width, height=30.0)
    for group in sheet.rows:
        top = _group(page, group, top)
    top = page.paragraphs(sheet.beyond, left, _section(page, "Beyond a screen", top), width)
    top = page.paragraph(sheet.promise, left, _section(page, "Approved", top), width=width) + 14.0
    for name, start, share in (("Name", 0.0, 0.36), ("Signature", 0.39, 0.36), ("Date", 0.78, 0.22)):
        page.rule(left + start * width, top, left + (start + share) * width, ink=INK)
        page.words(name, left + start * width, top + 0.8, points=SMALL, ink=QUIET)
    return top + 0.8 + page.line_height(SMALL)


def _section(page: Page, title: str, top: float) -> float:
    """A rule and a label at its left; where the text beside it begins."""
    page.rule(page.left, top + 2.0, page.right)
    page.words(title, page.left, top + 3.8, bold=True)
    return top + 3.8


def _answer(page: Page, sheet: Approval, top: float) -> float:
    """The part where there is one, and a flat piece on its backing."""
    left, height, ends = page.left + _LABEL, _SLAB, [top]
    if sheet.shown is not None:
        rows, columns = sheet.shown.portrait.cover.shape
        scale = _PICTURE / max(rows, columns)
        height = max(rows * scale, 30.0)
        picture = io.BytesIO(part_png(sheet))
        page.pdf.image(picture, x=left, y=top, w=columns * scale, h=rows * scale, alt_text=sheet.shown.named)
        told = f"{sheet.shown.named}{', made of flat layers' if sheet.traced else ''}."
        ends.append(page.paragraph(told, left, top + rows * scale + 1.0, width=_PICTURE, points=SMALL, ink=QUIET))
        left += _PICTURE + 5.0
    width, facts = page.right - left, sheet.facts
    over = facts.appearance.over
    bare = facts.bare[facts.behind.index(over)] if over in facts.behind else Shade((0, 0, 0), True)
    page.chip(bare, left, top, width, height)
    page.chip(facts.recipe, left + 5.0, top + 5.0, width - 10.0, height - 10.0)
    ends.append(page.paragraph(sheet.slab, left, top + height + 1.0, width=width, points=SMALL, ink=QUIET))
    return max(ends)


def _in_light(page: Page, traced: TracedPart, top: float) -> float:
    """The traced part, and beside it what it is; where both end."""
    left, (rows, columns, _) = page.left + _LABEL, traced.levels.shape
    wide, high = (_PICTURE * min(1.0, 0.75 * columns / rows) * side / columns for side in (columns, rows))
    page.pdf.image(io.BytesIO(traced.png), x=left, y=top, w=wide, h=high, alt_text=traced.named)
    left += wide + 5.0
    told = (f"{traced.named}: as a photograph would show it.", *traced.lines[:-1])
    return float(max(top + high, page.paragraphs(told, left, top, page.right - left)))


def _group(page: Page, group: tuple[Row, ...], top: float) -> float:
    """Rows of colours beside one another."""
    each = (page.width + _GUTTER) / len(group) - _GUTTER
    ends = []
    for at, row in enumerate(group):
        left = page.left + at * (each + _GUTTER)
        page.rule(left, top + 2.0, left + each)
        page.words(row.title, left, top + 3.6, bold=True)
        ends.append(page.row(row, left, top + 8.2, each))
    return max(ends)
