"""An answer as a picture: target and recipes as chips over dark and light, and their spectra below."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from tint.appearance import Appearance, predict
from tint.notebook import DASHES
from tint.palette import Palette
from tint.proofs import words
from tint.proofs.diagrams import plot, plot_ink
from tint.proofs.facts import Shade, bare_shades, shade_of
from tint.proofs.picture import DARK, LEFT, LINE, RIGHT, STEP_SIGN, Box, Layout, Patch, Picture, paint
from tint.recipes import Answer, Recipe
from tint.spectra import Array
from tint.target import Target

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


_PER_ROW = 6
_LEAST_COLUMNS = 4  # lest two chips become billboards
MOST = 10  # recipes whose spectra are drawn: more cannot be told apart
# Sizes [px], chosen by eye.
_HALF = 104  # height of a chip over one backing
_BARE, _GAP = 20, 20  # backing that shows above and below chips, and between two
_TARGET_SHARE = 0.3  # of a recipe's chip, where the target lies against it
_PLOT_HEIGHT = 480


def draw_answer(palette: Palette, answer: Answer) -> bytes:
    """`answer_picture` as a PNG tagged sRGB, the same for the same input.

    Raises JobError if matplotlib is not installed.
    """
    return paint(answer_picture(palette, answer))


@dataclass(frozen=True, eq=False)
class _Shown:
    """The target or a recipe: its name, its colours by backing as far as they are known, what is told, its spectrum."""

    name: str
    shades: dict[str, Shade]
    lines: tuple[str, ...]
    spectrum: Array | None


def answer_picture(palette: Palette, answer: Answer) -> Picture:
    """Chips of target and recipes over dark and light, and spectra, at the thickness at which they are compared.

    `answer`: as `tint.recipes.solve` gives it for that palette.

    Its boxes are, for each backing, `bare NAME` in the first row, `target over NAME` and `target beside 1 over NAME`
    where the target's colour is known, `1 over NAME` of each recipe; and `plot` of the spectra.
    """
    target, part = answer.target, answer.setting
    compared = replace(part, thickness_mm=target.thickness_mm or part.thickness_mm)
    same = compared.thickness_mm == part.thickness_mm
    looks = [each.appearance if same else predict(palette, each.blend, setting=compared) for each in answer.recipes]
    over = looks[0].over
    behind = tuple(dict.fromkeys((*palette.pair, over)))
    wanted, recipes = _chips(palette, answer, looks, behind)

    on, held = Layout(), answer.recipes[0].appearance.conditions
    told = f"{palette.name}. Wanted: {target.in_words}. They hold for {held}."
    top = on.head("Recipes beside their target", told)
    halves = ", ".join(words.behind(name) for name in behind)
    beside = " At the left edge of each recipe lies the target, where it is known."
    top = on.title(f"From top to bottom {halves}.{beside}", LEFT, top, RIGHT - LEFT)
    bare = bare_shades(palette, behind, part.viewing(palette))
    every = [wanted, *recipes]
    count = max(_LEAST_COLUMNS, min(_PER_ROW, len(every)))  # in each row, so that chips are of one size
    for at in range(0, len(every), _PER_ROW):
        top = _row(on, every[at : at + _PER_ROW], wanted, dict(zip(behind, bare, strict=True)), top, count) + 20
    some = f", the first {MOST} recipes" if len(recipes) > MOST else ""
    top = on.title(f"Reflectance {words.behind(over)}{some}", LEFT, top + 4, RIGHT - LEFT)
    top = plot(on, _spectra(palette.wavelengths, wanted, recipes[:MOST]), ["plot"], top=top, height=_PLOT_HEIGHT)
    depths = (
        f"Target and recipes are shown as a sample of {compared.thickness_mm:g} mm, which the target was measured on; "
        f"contrast ratios are those of the part of {part.thickness_mm:g} mm."
    )
    ratio = [words.RATIO_LINE] if len(behind) > 1 else []
    return on.finished(top + 20, told=[*([] if same else [depths]), words.SCREEN_LINE], quiet=ratio)


def _chips(
    palette: Palette, answer: Answer, looks: Sequence[Appearance], behind: Sequence[str]
) -> tuple[_Shown, list[_Shown]]:  # fmt: skip
    target, over, view = answer.target, looks[0].over, answer.setting.viewing(palette)

    def shades(labs: dict[str, Array]) -> dict[str, Shade]:
        return {name: shade_of(labs[name], view) for name in behind if name in labs}

    # The colours that the target is known to have, in the seat and thickness that are shown.
    part, known = answer.setting, {over: target.lab}
    depth = target.thickness_mm or part.thickness_mm
    for also in target.also:
        if (also.thickness_mm or depth) == depth and (also.seat or part.seat) == part.seat:
            known.setdefault(also.over or over, also.lab)
    wanted = _Shown("Target", shades(known), _asked(target, over), target.spectrum)
    recipes = [
        _Shown(
            f"{rank}, {each.blend.base}",
            shades(dict(zip(palette.pair, (look.lab_black, look.lab_white), strict=False)) | {look.over: look.lab}),
            _told(each),
            look.reflectance,
        )
        for rank, (each, look) in enumerate(zip(answer.recipes, looks, strict=True), start=1)
    ]
    return wanted, recipes


def _asked(target: Target, over: str) -> tuple[str, ...]:
    asked = f"contrast {target.bounds_in_words('contrast_ratio')}"
    lines = [asked if target.asks_opacity else "no contrast asked for"]
    lines += [f"{kind} {target.bounds_in_words(kind)}" for kind in ("transmittance", "haze") if target.asks(kind)]
    if not target.also:
        lines.append(f"known {words.behind(over)}")
    return tuple(lines)


def _told(recipe: Recipe) -> tuple[str, ...]:
    look = recipe.appearance
    lines = [f"CIEDE2000 {recipe.delta_e:.2f}, {'met' if recipe.reached else 'not met'}"]
    if math.isfinite(look.contrast_ratio):
        lines.append(f"contrast {look.contrast_ratio:.3f}")
    doses = recipe.blend.loadings
    lines.append(", ".join(sorted(doses, key=lambda name: -doses[name])) or "uncoloured")
    return tuple(lines)


def _row(
    on: Layout, chips: Sequence[_Shown], target: _Shown, bare: dict[str, Shade], top: int, count: int
) -> int:  # fmt: skip
    """Chips side by side on their backings, each with its words below; where they end."""
    strip = Box(LEFT, top, RIGHT, top + 2 * _BARE + len(bare) * _HALF)
    inner = Box(strip.left, strip.top + _BARE, strip.right, strip.bottom - _BARE).rows(len(bare))
    on.frame(strip)
    for name, row in zip(bare, inner, strict=True):
        ground = Box(
            strip.left, strip.top if row is inner[0] else row.top,
            strip.right, strip.bottom if row is inner[-1] else row.bottom,
        )  # fmt: skip
        on.items.append(Patch(ground, bare[name].rgb))
        on.boxes.setdefault(f"bare {name}", ground)
    columns = Box(strip.left + _GAP // 2, top, strip.right - _GAP // 2, strip.bottom).columns(count)
    ends = []
    for column, chip in zip(columns, chips, strict=False):
        left, right = column.left + _GAP // 2, column.right - _GAP // 2
        for name, row in zip(bare, inner, strict=True):
            _half(on, Box(left, row.top, right, row.bottom), chip, target, name)
        ends.append(on.named(chip.name, chip.lines, left, strip.bottom + 10, right - left))
    return max(ends)


def _half(on: Layout, box: Box, chip: _Shown, target: _Shown, over: str) -> None:
    """A chip over one backing, with the target against it; where a colour is not known the bare backing shows."""
    sign, own = chip.name.split(",")[0].lower(), box
    if chip is not target and over in target.shades:
        edge = box.left + round(_TARGET_SHARE * box.width)
        beside, own = Box(box.left, box.top, edge, box.bottom), Box(edge, box.top, box.right, box.bottom)
        on.boxes[f"target beside {sign} over {over}"] = beside
        on.colour(beside, target.shades[over], at_left=True, size=STEP_SIGN)
    if over in chip.shades:
        on.boxes[f"{sign} over {over}"] = own
        on.colour(own, chip.shades[over], size=STEP_SIGN)


def _spectra(
    wavelengths: Array, target: _Shown, recipes: Sequence[_Shown]
) -> Callable[[Figure], list[Axes]]:  # fmt: skip
    """The spectra as curves: the target broad and grey, the recipes in dashes upon it."""

    def draw(figure: Figure) -> list[Axes]:
        axes = figure.subplots()
        if target.spectrum is not None:
            axes.plot(wavelengths, target.spectrum, color=plot_ink(LINE), linewidth=9.0, label="target")
        for at, each in enumerate(recipes):
            ink = DARK if at < len(DASHES) else LINE
            name = each.name.split(",")[0]
            assert each.spectrum is not None  # a recipe always has one
            axes.plot(wavelengths, each.spectrum, color=plot_ink(ink), linestyle=DASHES[at % len(DASHES)], label=name)
        axes.set(xlabel="wavelength, nm", xlim=(wavelengths[0], wavelengths[-1]))
        axes.set_ylim(bottom=0.0)
        figure.legend(loc="outside right upper", frameon=False, handlelength=4.0)
        return [axes]

    return draw
