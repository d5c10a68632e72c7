"""`tint solve`: a target as ranked recipes, and in plain words what keeps one from its target."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tint import jsonable
from tint.cli.answers import show_answer
from tint.cli.asked import base_of, setting_of, setting_options
from tint.cli.options import (
    Sectioned,
    check_picture,
    folder_argument,
    json_option,
    optics_option,
    palette_of,
    replace_option,
)
from tint.cli.rules import rules_of, rules_options
from tint.cli.tables import page, print_json, progress
from tint.cli.wanted import (
    Sample,
    Wish,
    judged_over,
    sample_options,
    target_options,
    wanted,
)
from tint.errors import InputError
from tint.files import write_whole
from tint.palette import Palette
from tint.recipes import Answer, solve
from tint.swatches.instruments import Given
from tint.target import solid_unless_told, without_gloss

_SECTIONS = {
    "Wanted": ["--target-lab", "--target-srgb", "--target-reading", "--opacity", "--tolerance"],
    "Part": ["--thickness", "--wall", "--base", "--over", "--seat", "--light"],
    "Limits": [
        "--most-pigments", "--keep", "--leave-out", "--fix", "--max-total", "--smallest", "--stock", "--insist",
        "--scale-step", "--batch-g", "--waste",
    ],
    "Output": ["--recipes", "--rank-by", "--picture", "--reach", "--replace", "--json"],
    "More about what is wanted": [
        "--target-over", "--target-black", "--target-thickness", "--scale", "--as-blend", "--as-base",
        "--transmittance", "--haze",
    ],
}  # fmt: skip
_LEVELS = (30.0, 45.0, 60.0, 75.0, 90.0)  # L* of the sections, but for those near the target's own
_NEAR = 7.5


@click.command("solve", cls=Sectioned, sections=_SECTIONS)
@folder_argument
@click.option("--base", metavar="NAME", help="Only in this base.  [default: in every base]")
@target_options
@sample_options
@setting_options
@rules_options
@click.option("--picture", metavar="FILE.png", type=click.Path(path_type=Path), help="Draw target and recipes.")
@click.option("--reach", metavar="FILE.png", type=click.Path(path_type=Path), help="Draw what colours can be had.")
@replace_option
@optics_option
@json_option
def command(
    folder: Path,
    base: str | None,
    wish: Wish,
    sample: Sample,
    casting: dict[str, Any],
    said: Given,
    search: dict[str, Any],
    picture: Path | None,
    reach: Path | None,
    replace: bool,
    optics: str,
    as_json: bool,
) -> None:
    """A target: ranked recipes.

    Example: tint solve swatches_demo --thickness 3 --target-lab 70,20,40 --opacity solid

    A colour of which no opacity is told is to be solid, which hides what is behind it; --opacity any lifts that. A
    screen colour is matched without gloss. A target out of reach gets its nearest recipes and the reason; that is no
    error.
    """
    _check_pictures(picture, reach, replace=replace)
    palette = palette_of(folder, optics)
    casting = judged_over(palette, sample, casting)
    setting = setting_of(palette, casting if wish.srgb is None else without_gloss(palette) | casting)
    rules = rules_of(palette, search)
    named = None if base is None else base_of(palette, base)
    target = wanted(palette, wish, sample, setting=setting, base=named, said=said)
    if not wish.opacity_told:
        target = solid_unless_told(target, palette)
    with progress(quiet=as_json) as tell:
        answer = solve(palette, target, setting=setting, base=named, rules=rules, progress=tell)
    written = _draw(palette, answer, picture, reach)
    if as_json:
        print_json(jsonable.answer(answer) | {"optics": optics} | ({"written": written} if written else {}))
        return
    with page() as out:
        show_answer(out, answer, optics)
        for name in written:
            out.print(f"Written: {name}")


def _check_pictures(picture: Path | None, reach: Path | None, *, replace: bool) -> None:
    for path, option in ((picture, "--picture"), (reach, "--reach")):
        if path:
            check_picture(path, option, replace=replace)
    if picture and picture == reach:
        raise InputError("--reach", f"{reach} is the name for --picture too", "expected two names")


def _draw(palette: Palette, answer: Answer, picture: Path | None, reach: Path | None) -> list[str]:
    """Write the pictures asked for; their names."""
    drawn: dict[Path, bytes] = {}
    if picture:
        from tint.proofs import draw_answer  # pictures are for those who ask for them

        drawn[picture] = draw_answer(palette, answer)
    if reach:
        drawn[reach] = _reached(palette, answer)
    for path, content in drawn.items():
        write_whole(path, content)
    return [str(path) for path in drawn]


def _reached(palette: Palette, answer: Answer) -> bytes:
    """What the best recipe's base reaches, with a section at the target's own lightness."""
    from tint.proofs import draw_reach
    from tint.recipes.reach import reach

    target, own = answer.target, float(answer.target.lab[0])
    colours = reach(
        palette,
        base=answer.recipes[0].blend.base,
        setting=answer.setting,
        rules=answer.rules,
        contrast_ratio_min=target.contrast_ratio if target.contrast_ratio is not None else target.contrast_ratio_min,
        lightness=[own, *(level for level in _LEVELS if abs(level - own) > _NEAR)],
    )
    return draw_reach(colours, target)
