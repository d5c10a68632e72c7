"""`tint proof --compare`: several recipes of an answer on one sheet, for the maker."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tint.appearance import Setting
from tint.cli.answers import bound
from tint.cli.asked import Cast, blend_of, setting_of
from tint.cli.pictured import Approving
from tint.cli.recipes import Several
from tint.cli.wanted import Wish, target_of
from tint.errors import InputError
from tint.palette import Palette
from tint.swatches.instruments import Given
from tint.target import Target

if TYPE_CHECKING:
    from tint.proofs.comparison import Comparison

_SEEN = ("over", "seat", "light", "observer", "geometry")  # what a target in a file holds for


def comparison_of(
    palette: Palette, several: Several, *, wish: Wish, casting: Mapping[str, Any], said: Given, cast: Cast,
    title: str,
) -> Comparison:  # fmt: skip
    """The recipes of a file, compared.

    Raises
    ------
    InputError
        If they cannot be, or the file's target does not hold for the setting asked for.
    """
    from tint.proofs.comparison import compare

    setting = setting_of(palette, {**several.solved_in, **casting})
    blends = {rank: blend_of(palette, doses) for rank, doses in several.recipes.items()}
    target = _target(palette, several, wish, setting, casting, said)
    first = next(iter(blends.values()))
    return compare(
        palette,
        list(blends.values()),
        setting=setting,
        target=target,
        ranks=list(blends),
        limits=[[bound(limit) for limit in several.limits[rank]] for rank in blends],
        trial=cast.trial(palette, first, setting, said),
        title=title,
    )


def _target(
    palette: Palette, several: Several, wish: Wish, setting: Setting, casting: Mapping[str, Any], said: Given
) -> Target | None:  # fmt: skip
    """The target that options name, else the file's."""
    if wish.given or several.target is None:
        return target_of(palette, wish, setting, said)
    for name in _SEEN:
        told = several.solved_in.get(name)
        if told is not None and casting.get(name, told) != told:
            raise InputError(
                f"--{name}", f"{casting[name]}, but the target in the file holds for {told}",
                mend="name a target for it, as with --target-lab, or leave it out",
            )  # fmt: skip
    asked: dict[str, Any] = dict(wish.asked)
    return replace(several.target, **asked)


def drawn(sheet: Comparison, out: Path | None, approving: Approving) -> dict[Path, bytes]:
    """What is to be written of a comparison, by file."""
    contents: dict[Path, bytes] = {}
    if out:
        from tint.proofs.comparison_drawn import draw_comparison

        contents[out] = draw_comparison(sheet)
    if approving.sheet:
        from tint.proofs.comparison_drawn import comparison_page

        contents[approving.sheet] = comparison_page(sheet)
    if approving.pdf:
        from tint.proofs.comparison_drawn import comparison_pdf

        contents[approving.pdf] = comparison_pdf(sheet, made=date.today(), paper=approving.paper)
    return contents


def comparison_json(sheet: Comparison) -> dict[str, Any]:
    """What a comparison says of each recipe."""
    from tint.proofs.comparison import differences, shift_in

    return {
        "recipes": [
            {
                "rank": each.rank,
                "base": each.look.blend.base,
                "loadings": dict(each.look.blend.loadings),
                "delta_e": each.delta_e,
                "expected_error": each.beside.expected_error,
                "contrast_ratio": each.look.contrast_ratio,
                "contrast_ratio_error": each.look.contrast_ratio_error,
                "shifts": {light.light: shift_in(light) for light in each.lights},
                "price_per_kg": each.price_per_kg,
                "limits": list(each.limits),
                "differs": said,
            }
            for each, said in zip(sheet.candidates, differences(sheet.candidates), strict=True)
        ]
    }
