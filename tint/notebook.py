"""How things show themselves in a notebook: chips and figures as HTML that needs nothing else, and spectra on axes.

This stands below what it shows, so that a palette, a blend, a recipe can each have a `_repr_html_` and a `plot` of one
line; what is shown is read by the names of its fields. All words are escaped. Chips are PNGs of flat colours inside the
HTML. Figures of pictures become pixels here too: matplotlib is asked for nowhere else but in `tint.proofs`.
"""

from __future__ import annotations

import base64
import contextlib
import math
import struct
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.errors import InputError, JobError
from tint.kinds import found
from tint.spectra import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SIZE = (56, 34)  # of a chip [px]
_MOST = 60  # chips in the strip of a palette
_CELL = "text-align:left;vertical-align:top;padding:.15em 1.2em .15em 0"
_DRAWN = "an appearance, a recipe, an answer or a palette"
_QUIET = "opacity:.75;font-size:.92em"


class Html(str):
    """A piece that is HTML already, and not words to be escaped."""

    __slots__ = ()


def flat_png(codes: Sequence[str], *, size: tuple[int, int] = _SIZE) -> bytes:
    """Flat colours side by side as a PNG tagged sRGB (ISO/IEC 15948).

    `codes`: `#rrggbb`, left to right.
    `size`: width and height of each [px].
    """
    width, height = size
    row = b"".join(bytes.fromhex(code.lstrip("#")) * width for code in codes)
    pixels = zlib.compress((b"\0" + row) * height, 9)
    return png_file(width * len(codes), height, pixels, bits=8, space=(b"sRGB", b"\0"))


def png_file(width: int, height: int, pixels: bytes, *, bits: int, space: tuple[bytes, bytes]) -> bytes:
    """A PNG of compressed rows of red, green and blue, with the chunk that tells their colour space."""
    head = struct.pack(">IIBBBBB", width, height, bits, 2, 0, 0, 0)
    chunks = ((b"IHDR", head), space, (b"IDAT", pixels), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)) for kind, data in chunks
    )


def chips(codes: Sequence[str], said: str, *, size: tuple[int, int] = _SIZE) -> Html:
    """The same as an image of HTML, with words for those who do not see it."""
    data = base64.b64encode(flat_png(codes, size=size)).decode("ascii")
    return Html(f'<img alt="{escape(said)}" title="{escape(said)}" src="data:image/png;base64,{data}">')


def table(rows: Iterable[Sequence[str]], *, head: Sequence[str] = ()) -> str:
    """Rows of cells; words in them are escaped, pieces of HTML are not."""
    lines = [*([_row(head, "th")] if head else []), *(_row(row, "td") for row in rows)]
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


def blend_html(blend: Any) -> str:
    """A base and its loadings."""
    rows = [(name, f"{loading:.4g} %") for name, loading in blend.loadings.items() if loading]
    return block(blend.base, f"{blend.total:.4g} % pigment, by mass of the mix" if rows else "uncoloured", table(rows))


def appearance_html(look: Any) -> str:
    """A blend as it is predicted: chips, colour and opacity with their errors."""
    view = colorimetry.viewing(look.wavelengths, light=look.setting.light, observer=look.setting.observer)
    shown = [(look.srgb, f"over {look.over}, {look.srgb}")]
    if np.isfinite(look.lab_black).all():
        pair = codes_of(np.stack((look.lab_black, look.lab_white)), view)
        shown += [(pair[0], "over the darkest backing"), (pair[1], "over the lightest backing")]
    lab = ", ".join(f"{x:.2f}" for x in look.lab)
    rows = [("Lab", lab), ("expected error", f"{look.expected_error:.2f} CIEDE2000")]
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
    rows = table([*made, *into], head=head)
    return block(f"Weigh {sheet.blend}", told, rows, notes=[*sheet.warnings, *sheet.cautions])


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
    return codes_of(lab[np.argsort(-lab[:, 0], kind="stable")][:_MOST], view)


# Spectra on axes, the user's own or new ones, and figures as pixels.

# On and off along a line, in widths of it: told apart in grey too.
DASHES: tuple[Any, ...] = ("-", "--", ":", "-.", (0, (5, 1)), (0, (3, 1, 1, 1, 1, 1)))


def plot_spectra(what: Any, *, ax: Axes | None = None, of: str = "") -> Axes:
    """Spectra as curves over wavelength, each in its own colour on a screen.

    `what`: an appearance, a recipe, an answer, a palette, or several appearances or recipes; a mapping names the
        curves. Of an answer its recipes and the target where that was measured, of a palette its bases and pigments.
    `ax`: new ones when absent.
    `of`: `reflectance` (the default) or `transmittance`; of a palette `absorption` (the default) or `scattering`.
    Raises InputError if there is nothing to draw, or no such quantity of it.
    Raises JobError if matplotlib is not installed.
    """
    if ax is None:
        with _needed():
            import matplotlib.pyplot as plt
        ax = plt.subplots()[1]
    if not hasattr(ax, "set_xlabel"):
        raise InputError("ax", found(ax), "the axes of a figure of matplotlib")
    axes: Axes = ax
    if hasattr(what, "pigments"):
        return _components(what, axes, of or "absorption")
    of = of or "reflectance"
    if of not in ("reflectance", "transmittance"):
        raise InputError("spectra", f"`{of}` is not known", "reflectance or transmittance")
    looks = _named(what)
    if not looks:
        raise InputError("spectra", "there is nothing to draw", _DRAWN)
    for at, (name, look) in enumerate(looks.items()):
        values, dashes = getattr(look, of), DASHES[at % len(DASHES)]
        axes.plot(look.wavelengths, values, color=look.srgb, linestyle=dashes, label=name)
    first = next(iter(looks.values()))
    wanted = getattr(what, "target", None)
    if wanted is not None and wanted.spectrum is not None and of == "reflectance":
        axes.plot(first.wavelengths, wanted.spectrum, color="0.5", linewidth=4, alpha=0.5, label="target", zorder=0)
    where = first.conditions if of == "reflectance" else f"{first.setting.thickness_mm:g} mm, a free slab"
    axes.set_title(where, fontsize="small")
    return _finished(axes, of)


def _named(what: Any) -> dict[str, Any]:
    """Appearances by the name of their curve."""
    if isinstance(what, Mapping):
        return {str(name): _look(each) for name, each in what.items()}
    what = getattr(what, "recipes", what)
    many = list(map(_look, what if isinstance(what, Sequence) else [what]))
    if len(many) == 1:
        return {str(many[0].blend): many[0]}
    return {f"{at}, {each.blend.base}": each for at, each in enumerate(many, start=1)}


def _look(each: Any) -> Any:
    look = getattr(each, "appearance", each)
    if not hasattr(look, "reflectance"):
        raise InputError("spectra", f"a {type(each).__name__}", _DRAWN)
    return look


def _components(palette: Any, axes: Axes, of: str) -> Axes:
    if of not in ("absorption", "scattering"):
        raise InputError("spectra of a palette", f"`{of}` is not known", "absorption or scattering")
    values = palette.k if of == "absorption" else palette.s
    for at, (name, row) in enumerate(zip([*palette.bases, *palette.pigments], values, strict=True)):
        if np.any(row):
            axes.plot(palette.wavelengths, row, linestyle=DASHES[at // 10 % len(DASHES)], label=name)
    axes.set_yscale("log")
    return _finished(axes, f"{of}, 1/mm; of a pigment, 1/mm per %")


def _finished(axes: Axes, said: str) -> Axes:
    axes.set_xlabel("wavelength, nm")
    axes.set_ylabel(said)
    axes.legend(frameon=False, fontsize="small")
    return axes


@contextlib.contextmanager
def _needed() -> Iterator[None]:
    try:
        yield
    except ImportError as error:
        mend = "install tint with its extra `plot`, or `pip install matplotlib`"
        raise JobError("plot", "matplotlib is not installed", mend=mend) from error


def plotted(
    draw: Callable[[Figure], Sequence[Axes]], *, width: int, height: int, style: Mapping[str, Any]
) -> tuple[NDArray[np.uint8], list[tuple[int, int, int, int]]]:
    """A figure as pixels, whatever the user's own settings are.

    `draw`: fills a figure of constrained layout, and returns the axes whose places are asked for.
    `style`: what differs from matplotlib's defaults, by the names of its settings.
    Returns `pixels` (height, width, 3)
    Returns `places`: left, top, right and bottom of each of the axes within the figure [px].
    Raises JobError if matplotlib is not installed.
    """
    with _needed():
        import matplotlib.style
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
    with matplotlib.style.context(["default", dict(style)]):
        figure = Figure(figsize=(width / 100.0, height / 100.0), dpi=100, layout="constrained")
        canvas = FigureCanvasAgg(figure)
        axes = draw(figure)
        canvas.draw()  # type: ignore[no-untyped-call]
        pixels = np.array(canvas.buffer_rgba())[..., :3]  # type: ignore[no-untyped-call]
        extents = [np.rint(each.get_window_extent().extents).astype(int).tolist() for each in axes]
    return pixels, [(left, height - top, right, height - bottom) for left, bottom, right, top in extents]
