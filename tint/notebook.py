"""How things show themselves at the end of a notebook cell: a few chips and figures as HTML that needs nothing else.

This stands below what it shows, so that a palette, a blend, a recipe can each have a `_repr_html_` of one line; what is
shown is read by the names of its fields. All words are escaped. Chips are PNGs of flat colours inside the HTML.
"""

from __future__ import annotations

import base64
import math
import struct
import zlib
from collections.abc import Iterable, Sequence
from html import escape
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry

Array = NDArray[np.float64]

_SIZE = (56, 34)  # of a chip [px]
_MOST = 60  # chips in the strip of a palette
_CELL = "text-align:left;vertical-align:top;padding:.15em 1.2em .15em 0"
_QUIET = "opacity:.75;font-size:.92em"


# What all are made of.


class Html(str):
    """A piece that is HTML already, and not words to be escaped."""

    __slots__ = ()


def flat_png(codes: Sequence[str], *, size: tuple[int, int] = _SIZE) -> bytes:
    """Flat colours side by side as a PNG tagged sRGB (ISO/IEC 15948).

    Parameters
    ----------
    codes : sequence of str
        `#rrggbb`, left to right.
    size : tuple of int
        Width and height of each [px].
    """
    width, height = size
    row = b"".join(bytes.fromhex(code.lstrip("#")) * width for code in codes)
    head = struct.pack(">IIBBBBB", width * len(codes), height, 8, 2, 0, 0, 0)
    pixels = zlib.compress((b"\0" + row) * height, 9)
    chunks = ((b"IHDR", head), (b"sRGB", b"\0"), (b"IDAT", pixels), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)) for kind, data in chunks
    )


def chips(codes: Sequence[str], said: str, *, size: tuple[int, int] = _SIZE) -> Html:
    """The same as an image of HTML, with words for those who do not see it."""
    data = base64.b64encode(flat_png(codes, size=size)).decode("ascii")
    return Html(f'<img alt="{escape(said)}" title="{escape(said)}" src="data:image/png;base64,{data}">')


def table(rows: Iterable[Sequence[str]], *, head: Sequence[str] = ()) -> str:
    """Rows of cells; words in them are escaped, pieces of HTML are not."""
    lines = [_row(head, "th")] if head else []
    lines += [_row(row, "td") for row in rows]
    return f'<table style="border-collapse:collapse;margin:.4em 0">{"".join(lines)}</table>' if lines else ""


def _row(cells: Sequence[str], kind: str) -> str:
    shown = (cell if isinstance(cell, Html) else escape(cell) for cell in cells)
    return "<tr>" + "".join(f'<{kind} style="{_CELL}">{cell}</{kind}>' for cell in shown) + "</tr>"


def block(title: str, told: str, *pieces: str, notes: Iterable[str] = ()) -> str:
    """A title, what it holds for, pieces of HTML, and notes."""
    below = "".join(f'<div style="{_QUIET}">{escape(note)}</div>' for note in notes)
    head = f'<div style="font-size:1.15em">{escape(title)}</div><div style="{_QUIET}">{escape(told)}</div>'
    return f'<div style="margin:.3em 0">{head}{"".join(pieces)}{below}</div>'


def codes_of(lab: Array, view: colorimetry.Viewing) -> list[str]:
    """CIELAB, shape (n, 3), as a screen shows it."""
    signal, _ = colorimetry.lab_to_srgb(lab, view)
    return [colorimetry.hex_code(each) for each in signal]


# What each shows.


def blend_html(blend: Any) -> str:
    """A base and its loadings."""
    rows = [(name, f"{loading:.4g} %") for name, loading in blend.loadings.items() if loading]
    return block(blend.base, f"{blend.total:.4g} % pigment, by mass of the mix" if rows else "uncoloured", table(rows))


def appearance_html(look: Any) -> str:
    """A blend as it is foretold: chips, colour and opacity with their errors."""
    view = colorimetry.viewing(look.wavelengths, light=look.setting.light, observer=look.setting.observer)
    shown = [(look.srgb, f"over {look.over}, {look.srgb}")]
    if np.isfinite(look.lab_black).all():
        pair = codes_of(np.stack((look.lab_black, look.lab_white)), view)
        shown += [(pair[0], "over the darkest backing"), (pair[1], "over the lightest backing")]
    rows = [
        ("Lab", ", ".join(f"{x:.2f}" for x in look.lab)),
        ("expected error", f"{look.expected_error:.2f} CIEDE2000"),
    ]
    if not math.isnan(look.contrast_ratio):
        rows.append(("contrast ratio", f"{look.contrast_ratio:.3f} ± {look.contrast_ratio_error:.3f}"))
    if not math.isnan(look.luminous_transmittance):
        rows.append(("light passed", f"{100.0 * look.luminous_transmittance:.3g} %"))
    beyond = [] if look.in_gamut else ["The colour is beyond a screen; the chip is the nearest it can show."]
    images = " ".join(chips([code], said) for code, said in shown)
    return block(str(look.blend), look.conditions, images, table(rows), notes=[*beyond, *look.warnings])


def recipe_html(recipe: Any) -> str:
    """A recipe: how near it comes, and what binds it."""
    told = f"{recipe.delta_e:.2f} CIEDE2000 from the target, {'met' if recipe.reached else 'not met'}"
    return block("Recipe", told, appearance_html(recipe.appearance), notes=[recipe.reason] if recipe.reason else [])


def answer_html(answer: Any) -> str:
    """An answer: a row a recipe, the target's chip above them."""
    first = answer.recipes[0].appearance
    view = colorimetry.viewing(first.wavelengths, light=first.setting.light, observer=first.setting.observer)
    target = codes_of(answer.target.lab[None], view)[0]
    rows = [
        (
            str(rank),
            chips([target, each.appearance.srgb], f"the target, recipe {rank}"),
            str(each.blend),
            f"{each.delta_e:.2f}",
            f"{each.appearance.expected_error:.2f}",
            "-" if math.isnan(each.appearance.contrast_ratio) else f"{each.appearance.contrast_ratio:.3f}",
            "yes" if each.reached else "no",
        )
        for rank, each in enumerate(answer.recipes, start=1)
    ]
    head = ("", "target, recipe", "by mass of the mix", "CIEDE2000", "error", "contrast", "met")
    told = f"{first.conditions}; on the left of each chip the target"
    return block(f"Wanted: {answer.target.in_words}", told, table(rows, head=head), notes=answer.warnings)


def sheet_html(sheet: Any) -> str:
    """A weigh sheet: premixes first, then every weighing in its order, as the scale shows it."""
    made = [
        (f"for {step.makes}", step.what, f"{step.grams:g} g", step.lot, f"and {step.base_g:g} g of {step.part}")
        for premix in sheet.premixes
        for step in premix.steps
    ]
    into = [("into the cup", line.what, f"{line.grams:g} g", line.lot, *line.beside.values()) for line in sheet.lines]
    told = f"{sheet.total_grams:g} g on a scale of {sheet.scale_step_g:g} g; {sheet.delta_e:.2f} CIEDE2000 by rounding"
    head = ("", "what", "weigh", "lot", *sheet.lines[0].beside)
    notes = [*sheet.warnings, *sheet.cautions]
    return block(f"Weigh {sheet.blend}", told, table([*made, *into], head=head), notes=notes)


def palette_html(palette: Any) -> str:
    """A palette: its swatches as they were read, its bases and pigments, and how well all agree."""
    codes = _swatch_codes(palette)
    strip = chips(codes, "the swatches as read over the lightest backing", size=(14, 34)) if codes else ""
    bases = [
        (name, "base", f"cast at {seen.thickness_mm[0]:g} to {seen.thickness_mm[1]:g} mm")
        for name, seen in palette.seen.items()
    ]
    most = {name: max(seen.max_loading.get(name, 0.0) for seen in palette.seen.values()) for name in palette.pigments}
    pigments = [
        (name, "pigment", f"cast up to {loading:g} %" if loading else "never cast") for name, loading in most.items()
    ]
    differences = [each.delta_e for each in palette.swatches if not math.isnan(each.delta_e)]
    agree = f", median residual {np.median(differences):.2f} CIEDE2000" if differences else ""
    notes = [f"Does not fit: {each.name}, {each.suspect}" for each in palette.swatches if each.suspect]
    told = f"{palette.model} palette of {len(palette.swatches)} swatches{agree}"
    return block(palette.name, told, strip, table([*bases, *pigments]), notes=notes)


def _swatch_codes(palette: Any) -> list[str]:
    """Swatches as read over the lightest backing, light to dark."""
    if not palette.backings:
        return []
    read = palette.evidence.read[palette.evidence.backing == list(palette.backings).index(palette.white)]
    view = colorimetry.viewing(palette.wavelengths)
    lab = colorimetry.lab(read, view)
    order = np.argsort(-lab[:, 0], kind="stable")
    return codes_of(lab[order][:_MOST], view)
